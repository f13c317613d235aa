"""Ways of writing aspects wrong, and what is said about them."""

from tests.messages.expecting import expect


def test_aspect() -> None:
    expect(
        "aspect",
        code="CP105",
        underlined="aspect",
        message="this `aspect` statement stops short after `aspect`",
        hint=(
            "Expected a name. An aspect is written `aspect Clear green or green over red proceed`."
        ),
    )
    expect(
        "aspect Clear",
        code="CP105",
        underlined="Clear",
        message="this `aspect` statement stops short after `Clear`",
        hint=(
            "Expected a color (green, yellow, red, lunar, white or dark). An aspect "
            "is written `aspect Clear green or green over red proceed`."
        ),
    )
    expect(
        "aspect Clear green",
        code="CP105",
        underlined="green",
        message="this `aspect` statement stops short after `green`",
        hint=(
            "Expected `or`, `over`, `with`, or an indication, such as `proceed` or `stop`. "
            "An aspect is written `aspect Clear green or green over red proceed`."
        ),
    )
    expect(
        "aspect Clear blue proceed",
        code="CP104",
        underlined="blue",
        message="`blue` was not expected here",
        hint=(
            "Expected a color (green, yellow, red, lunar, white or dark). An aspect "
            "is written `aspect Clear green or green over red proceed`."
        ),
    )
    expect(
        "aspect Clear green red proceed",
        code="CP104",
        underlined="red",
        message="`red` was not expected here",
        hint=(
            "Expected `or`, `over`, `with`, or an indication, such as `proceed` or `stop`. "
            "An aspect is written `aspect Clear green or green over red proceed`."
        ),
    )
    expect(
        "aspect Clear green, red proceed",
        code="CP104",
        underlined=",",
        message="`,` was not expected here",
        hint=("Write `over` between the heads of one signal, `or` between two ways to show it."),
    )
    expect(
        "aspect Clear green and red proceed",
        code="CP104",
        underlined="and",
        message="`and` was not expected here",
        hint=("Write `over` between the heads of one signal, `or` between two ways to show it."),
    )
    expect(
        "aspect Clear green under red proceed",
        code="CP104",
        underlined="under",
        message="`under` was not expected here",
        hint=(
            "Expected `or`, `over`, `with`, or an indication, such as `proceed` or `stop`. "
            "An aspect is written `aspect Clear green or green over red proceed`."
        ),
    )
    expect(
        "aspect Clear green proceed quickly",
        code="CP107",
        underlined="quickly",
        message="`quickly` is not part of an indication",
        hint=(
            "`clearproof explain indications` lists the indications. The common ones are "
            "`proceed`, `proceed prepared to stop at next signal` and `stop`."
        ),
    )
    expect(
        "aspect Clear green prepared to stop",
        code="CP107",
        underlined="prepared",
        message="`prepared` is not part of an indication",
        hint=(
            "`clearproof explain indications` lists the indications. The common ones are "
            "`proceed`, `proceed prepared to stop at next signal` and `stop`."
        ),
    )
    expect(
        "aspect Clear green proceed at slow",
        code="CP107",
        underlined="at",
        message="`at` is not part of an indication",
        hint=(
            "`clearproof explain indications` lists the indications. The common ones are "
            "`proceed`, `proceed prepared to stop at next signal` and `stop`."
        ),
    )
    expect(
        "aspect Clear green over proceed",
        code="CP104",
        underlined="proceed",
        message="`proceed` was not expected here",
        hint=(
            "Expected a color (green, yellow, red, lunar, white or dark). An aspect "
            "is written `aspect Clear green or green over red proceed`."
        ),
    )
    expect(
        "aspect proceed green proceed",
        code="CP106",
        underlined="proceed",
        message="`proceed` is a word of the language, so it cannot be a name",
        hint=(
            "Use another spelling, such as `Proceed`. An aspect is written `aspect Clear "
            "green or green over red proceed`."
        ),
    )
    expect(
        "aspect Clear green stop and wait",
        code="CP107",
        underlined="and",
        message="`and` is not part of an indication",
        hint=(
            "`clearproof explain indications` lists the indications. The common ones are "
            "`proceed`, `proceed prepared to stop at next signal` and `stop`."
        ),
    )
