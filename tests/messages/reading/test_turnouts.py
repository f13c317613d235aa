"""Ways of writing turnouts, and all else that a route lies over, wrong, and what is said."""

from tests.messages.expecting import expect


def test_turnout() -> None:
    expect(
        "turnout",
        code="CP105",
        underlined="turnout",
        message="this `turnout` statement stops short after `turnout`",
        hint="Expected a name. A turnout is written `turnout T1 in Switch`.",
    )
    expect(
        "turnout T1",
        code="CP105",
        underlined="T1",
        message="this `turnout` statement stops short after `T1`",
        hint="Expected a comma or `in`. A turnout is written `turnout T1 in Switch`.",
    )
    expect(
        "turnout T1 on Switch",
        code="CP104",
        underlined="on",
        message="`on` was not expected here",
        hint="Expected a comma or `in`. A turnout is written `turnout T1 in Switch`.",
    )
    expect(
        "turnout T1 Switch",
        code="CP104",
        underlined="Switch",
        message="`Switch` was not expected here",
        hint="Expected a comma or `in`. A turnout is written `turnout T1 in Switch`.",
    )
    expect(
        "turnout in Switch",
        code="CP104",
        underlined="in",
        message="`in` was not expected here",
        hint="Expected a name. A turnout is written `turnout T1 in Switch`.",
    )
    expect(
        "turnout T1 in\ntrack A = B",
        code="CP105",
        underlined="in",
        message="this `turnout` statement stops short after `in`",
        hint="Expected a name. A turnout is written `turnout T1 in Switch`.",
    )
    expect(
        "turnout T1, in Switch",
        code="CP106",
        underlined="in",
        message="`in` is a word of the language, so it cannot be a name",
        hint=("Use another spelling, such as `In`. A turnout is written `turnout T1 in Switch`."),
    )
    expect(
        "turnout T1 in Switch, Main",
        code="CP104",
        underlined=",",
        message="`,` was not expected here",
        hint=(
            "Expected a clause of the turnout (`motor`, `thrown by`, `contacts`, `locked while` "
            "…) or the next statement. A turnout is written `turnout T1 in Switch`."
        ),
    )


def test_crossing() -> None:
    expect(
        "crossing X1",
        code="CP105",
        underlined="X1",
        message="this `crossing` statement stops short after `X1`",
        hint="Expected a comma or `in`. A crossing is written `crossing X1 in Diamond`.",
    )
    expect(
        "crossing X1 at Diamond",
        code="CP104",
        underlined="at",
        message="`at` was not expected here",
        hint="Expected a comma or `in`. A crossing is written `crossing X1 in Diamond`.",
    )
    expect(
        "crossing X1 in Diamond along",
        code="CP104",
        underlined="along",
        message="`along` was not expected here",
        hint="Expected the next statement. A crossing is written `crossing X1 in Diamond`.",
    )


def test_slip() -> None:
    expect(
        "slip P1",
        code="CP105",
        underlined="P1",
        message="this `slip` statement stops short after `P1`",
        hint=(
            "Expected a comma or `in`. A slip is written `slip P1 in Throat` or "
            "`slip P2 in Throat single along to across`."
        ),
    )
    expect(
        "slip P1 in Throat double",
        code="CP104",
        underlined="double",
        message="`double` was not expected here",
        hint=(
            "Expected `single`, a clause about how it moves (`motor`, `thrown by`, `contacts`, "
            "`locked while` …), or the next statement. A slip is written `slip P1 in Throat` or "
            "`slip P2 in Throat single along to across`."
        ),
    )
    expect(
        "slip P1 in Throat single",
        code="CP105",
        underlined="single",
        message="this `slip` statement stops short after `single`",
        hint=(
            "Expected `across` or `along`. A slip is written `slip P1 in Throat` or "
            "`slip P2 in Throat single along to across`."
        ),
    )
    expect(
        "slip P1 in Throat single along across",
        code="CP104",
        underlined="across",
        message="`across` was not expected here",
        hint=(
            "Expected `to`. A slip is written `slip P1 in Throat` or `slip P2 in "
            "Throat single along to across`."
        ),
    )
    expect(
        "slip P1 in Throat single normal to reverse",
        code="CP104",
        underlined="normal",
        message="`normal` was not expected here",
        hint=(
            "Expected `across` or `along`. A slip is written `slip P1 in Throat` or "
            "`slip P2 in Throat single along to across`."
        ),
    )
    expect(
        "slip P1 in Throat single along to along",
        code="CP104",
        underlined="along",
        message="`along` was not expected here",
        hint=(
            "Expected `across`. A slip is written `slip P1 in Throat` or `slip P2 in "
            "Throat single along to across`."
        ),
    )


def test_derail() -> None:
    expect(
        "derail D1",
        code="CP105",
        underlined="D1",
        message="this `derail` statement stops short after `D1`",
        hint="Expected `on`. A derail is written `derail D1 on Spur toward T1`.",
    )
    expect(
        "derail D1 in Spur toward T1",
        code="CP104",
        underlined="in",
        message="`in` was not expected here",
        hint="Expected `on`. A derail is written `derail D1 on Spur toward T1`.",
    )
    expect(
        "derail D1 on Spur",
        code="CP105",
        underlined="Spur",
        message="this `derail` statement stops short after `Spur`",
        hint="Expected `toward`. A derail is written `derail D1 on Spur toward T1`.",
    )
    expect(
        "derail D1 on Spur towards T1",
        code="CP104",
        underlined="towards",
        message="`towards` was not expected here",
        hint="Did you mean `toward`? A derail is written `derail D1 on Spur toward T1`.",
    )
    expect(
        "derail D1, D2 on Spur toward T1",
        code="CP104",
        underlined=",",
        message="`,` was not expected here",
        hint="Give each of them a statement of its own.",
    )


def test_gate() -> None:
    expect(
        "gate G1",
        code="CP105",
        underlined="G1",
        message="this `gate` statement stops short after `G1`",
        hint="Expected a comma or `on`. A gate is written `gate G1 on Bridge`.",
    )
    expect(
        "gate G1 in Bridge",
        code="CP104",
        underlined="in",
        message="`in` was not expected here",
        hint="Expected a comma or `on`. A gate is written `gate G1 on Bridge`.",
    )
    expect(
        "gate G1 on",
        code="CP105",
        underlined="on",
        message="this `gate` statement stops short after `on`",
        hint="Expected a name. A gate is written `gate G1 on Bridge`.",
    )


def test_crossover() -> None:
    expect(
        "crossover K1",
        code="CP105",
        underlined="K1",
        message="this `crossover` statement stops short after `K1`",
        hint="Expected `is`. A crossover is written `crossover K1 is T1, T2`.",
    )
    expect(
        "crossover K1 T1, T2",
        code="CP104",
        underlined="T1",
        message="`T1` was not expected here",
        hint="Expected `is`. A crossover is written `crossover K1 is T1, T2`.",
    )
    expect(
        "crossover K1 are T1, T2",
        code="CP104",
        underlined="are",
        message="`are` was not expected here",
        hint="Expected `is`. A crossover is written `crossover K1 is T1, T2`.",
    )
    expect(
        "crossover K1 is T1 and T2",
        code="CP104",
        underlined="and",
        message="`and` was not expected here",
        hint="In a list of names, write a comma.",
    )
