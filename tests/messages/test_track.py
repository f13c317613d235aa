"""Track that cannot be laid: CP3xx."""

from tests.messages.expecting import PIECES, TRACK, expect


def test_joined_twice() -> None:
    expect(
        PIECES
        + ("track West = Main | normal T1 | Single = East\ntrack End = Siding | normal T1\n"),
        code="CP301",
        underlined="Siding | normal T1",
        message="the normal leg of T1 is joined twice",
        hint="Every leg and every end of a track is joined to one thing only.",
        more=("the first time is here",),
    )
    expect(
        PIECES
        + ("track West = Main | normal T1 | Single = East\ntrack Siding | T1 reverse = End\n"),
        code="CP301",
        underlined="Siding | T1 reverse",
        message="the points end of T1 is joined twice",
        hint=(
            "Every leg and every end of a track is joined to one thing only. A leg's "
            "word stands on the side where that leg is: `reverse T1` has its legs on "
            "the left, `T1 reverse` on the right."
        ),
        more=("the first time is here",),
    )
    expect(
        PIECES
        + (
            "track West = Main | normal T1 | Single = East\n"
            "track End = Siding | reverse T1\n"
            "track Main || normal T1\n"
        ),
        code="CP301",
        underlined="Main",
        message="the right end of `Main` is joined already to `T1`",
        hint=(
            "A piece of track has two ends. If this is another stretch of the same "
            "block, write what lies on both its sides."
        ),
        more=("joined here",),
    )


def test_runs_on_or_into_itself() -> None:
    expect(
        PIECES + ("track Main = West = Single\ntrack End = Siding | reverse T1\n"),
        code="CP303",
        underlined="West",
        message="track goes on beyond the edge `West`",
        hint="Track ends at an edge or a bumper: it stands first or last on a `track` line.",
    )
    expect(
        PIECES + "track West = Main | Main | normal T1\n",
        code="CP303",
        underlined="Main | Main",
        message="`Main` runs into itself",
        hint="Two pieces of track that meet at a gap need two blocks.",
    )
    expect(
        PIECES + "track End = West = East\n",
        code="CP303",
        underlined="West",
        message="track goes on beyond the edge `West`",
        hint="Track ends at an edge or a bumper: it stands first or last on a `track` line.",
    )


def test_legs() -> None:
    expect(
        PIECES + ("track West = Main | T1 | Single = East\ntrack End = Siding | reverse T1\n"),
        code="CP304",
        underlined="T1",
        message="which leg of turnout `T1` does this track take?",
        hint=(
            "Write `normal T1` or `reverse T1` where the legs are on the left, `T1 "
            "normal` or `T1 reverse` where they are on the right."
        ),
    )
    expect(
        PIECES
        + (
            "track West = Main | normal T1 normal | Single = East\n"
            "track End = Siding | reverse T1\n"
        ),
        code="CP304",
        underlined="normal T1 normal",
        message="which leg of turnout `T1` does this track take?",
        hint=(
            "Write `normal T1` or `reverse T1` where the legs are on the left, `T1 "
            "normal` or `T1 reverse` where they are on the right."
        ),
    )
    expect(
        PIECES
        + ("track West = Main | along T1 | Single = East\ntrack End = Siding | reverse T1\n"),
        code="CP304",
        underlined="along T1",
        message="which leg of turnout `T1` does this track take?",
        hint=(
            "Write `normal T1` or `reverse T1` where the legs are on the left, `T1 "
            "normal` or `T1 reverse` where they are on the right."
        ),
    )
    expect(
        PIECES
        + (
            "track West = normal Main | normal T1 | Single = East\n"
            "track End = Siding | reverse T1\n"
        ),
        code="CP304",
        underlined="normal Main",
        message="`Main` is plain track: it has no normal leg",
        hint="Only turnouts, crossings and slips have legs.",
    )
    expect(
        PIECES + "track normal West = Main\n",
        code="CP304",
        underlined="normal West",
        message="`West` is an end: it has no normal leg",
        hint="Only turnouts, crossings and slips have legs.",
    )


def test_no_gap() -> None:
    expect(
        PIECES
        + ("track West = Main = normal T1 | Single = East\ntrack End = Siding | reverse T1\n"),
        code="CP305",
        underlined="Main = normal T1",
        message="no gap between block Main and block Switch",
        hint="Write `|` (or `||`): two blocks that share a rail are one block to a detector.",
    )


def test_gap_names() -> None:
    expect(
        PIECES
        + (
            "track West = Main |(g1) normal T1 |(g1) Single = East\n"
            "track End = Siding | reverse T1\n"
        ),
        code="CP202",
        underlined="|(g1)",
        message="two gaps are called `g1`",
        hint="Give every gap a name of its own.",
        more=("the first one is here",),
    )


def test_steps_of_another_kind() -> None:
    expect(
        PIECES
        + ("track West = Mian | normal T1 | Single = East\ntrack End = Siding | reverse T1\n"),
        code="CP201",
        underlined="Mian",
        message="nothing is called `Mian`",
        hint="Did you mean `Main`?",
    )
    expect(
        PIECES + ("gate G1 on Main\ntrack West = Main | normal T1 | G1\n"),
        code="CP203",
        underlined="G1",
        message=(
            "`G1` is a gate, and here must stand a block, a turnout, a crossing, a "
            "slip, an edge, or a bumper"
        ),
        hint="",
        more=("it is declared here",),
    )
    expect(
        PIECES
        + ("track West = Quarry | normal T1 | Single = East\ntrack End = Siding | reverse T1\n"),
        code="CP201",
        underlined="Quarry",
        message="nothing is called `Quarry`",
        hint=(
            "If the name is right, a `block`, `turnout`, `crossing`, `slip`, `edge`, "
            "or `bumper` statement must declare it."
        ),
    )


def test_on_no_track() -> None:
    expect(
        TRACK + "block Team\n",
        code="CP306",
        underlined="Team",
        message="block `Team` lies on no track",
        hint="Draw it on a `track` line, or put a turnout or crossing in it.",
    )
    expect(
        TRACK + "turnout T2 in Switch\n",
        code="CP306",
        underlined="T2",
        message="turnout `T2` stands on no track",
        hint="Draw it on a `track` line.",
    )
    expect(
        TRACK + "edge North\n",
        code="CP306",
        underlined="North",
        message="edge `North` stands on no track",
        hint="Draw it on a `track` line.",
    )


def test_where_signals_stand() -> None:
    expect(
        TRACK + ("signal 2 at Main | Single\n  Stop otherwise\n"),
        code="CP307",
        underlined="Main | Single",
        message="Main and Single do not meet at a gap",
        hint="What Main meets: West, the normal leg of T1.",
    )
    expect(
        TRACK + ("signal 2 at Main | reverse T1\n  Stop otherwise\n"),
        code="CP307",
        underlined="Main | reverse T1",
        message="Main and T1 do not meet at a gap",
        hint="What Main meets: West, the normal leg of T1.",
    )
    expect(
        TRACK + ("signal 2 at T1 | Switch\n  Stop otherwise\n"),
        code="CP307",
        underlined="T1 | Switch",
        message="T1 and Switch do not meet at a gap",
        hint="What T1 meets: Main, Single, Siding.",
    )
    expect(
        TRACK + ("signal 2 at West | Main\n  Stop otherwise\n"),
        code="CP307",
        underlined="West | Main",
        message="no gap lies between West and Main, so signal `2` cannot stand there",
        hint=(
            "A signal stands at a gap: its block begins there. Write `|` on the "
            "`track` line where the gap is cut."
        ),
        more=("the joint is here",),
    )
    expect(
        TRACK + ("signal 2 at Main | West\n  Stop otherwise\n"),
        code="CP307",
        underlined="Main | West",
        message="no gap lies between Main and West, so signal `2` cannot stand there",
        hint=(
            "A signal stands at a gap: its block begins there. Write `|` on the "
            "`track` line where the gap is cut."
        ),
        more=("the joint is here",),
    )
    expect(
        TRACK + ("signal 2 at Main = T1\n  Stop otherwise\n"),
        code="CP307",
        underlined="Main = T1",
        message="signal `2` is written at a joined rail",
        hint="A signal stands at a gap: write `Main | T1`.",
    )
    expect(
        TRACK + ("signal 2 at Main |(g1) T1\n  Stop otherwise\n"),
        code="CP307",
        underlined="Main |(g1) T1",
        message="Main and T1 do not meet at a gap called `g1`",
        hint="What Main meets: West, the normal leg of T1.",
    )
    expect(
        TRACK + ("signal 2 at Quarry | T1\n  Stop otherwise\n"),
        code="CP201",
        underlined="Quarry",
        message="nothing is called `Quarry`",
        hint=(
            "If the name is right, a `block`, `turnout`, `crossing`, `slip`, `edge`, "
            "or `bumper` statement must declare it."
        ),
    )
    expect(
        TRACK + ("signal 2 at B1 | T1\n  Stop otherwise\n"),
        code="CP201",
        underlined="B1",
        message="nothing is called `B1`",
        hint=(
            "If the name is right, a `block`, `turnout`, `crossing`, `slip`, `edge`, "
            "or `bumper` statement must declare it."
        ),
    )


def test_derails() -> None:
    expect(
        TRACK + "derail D1 on Switch toward T1\n",
        code="CP311",
        underlined="Switch",
        message="no plain track lies in block Switch: where does derail `D1` stand?",
        hint="A derail stands on plain track, before the turnout it protects.",
    )
    expect(
        TRACK + "derail D1 on Siding toward Siding\n",
        code="CP311",
        underlined="Siding",
        message="on which side of Siding does derail `D1` stand?",
        hint="After `toward` name what lies next to Siding on that side: End or T1.",
    )


def test_crossovers() -> None:
    expect(
        TRACK + "crossover K1 is T1\n",
        code="CP313",
        underlined="crossover K1 is T1",
        message="crossover `K1` needs two turnouts",
        hint="A crossover is two turnouts thrown together: `crossover K1 is T1, T2`.",
    )
    expect(
        TRACK + "crossover K1 is T1, T1\n",
        code="CP313",
        underlined="crossover K1 is T1, T1",
        message="crossover `K1` needs two turnouts",
        hint="A crossover is two turnouts thrown together: `crossover K1 is T1, T2`.",
    )


def test_leads_nowhere() -> None:
    expect(
        "edge West, East\n"
        "block Main, Switch, Single\n"
        "turnout T1 in Switch\n"
        "track West = Main | normal T1 | Single = East\n",
        code="CP302",
        underlined="T1",
        message="the reverse leg of T1 leads nowhere",
        hint=(
            "Join it on a `track` line: to more track, to an `edge` where the plan "
            "stops, or to a `bumper`."
        ),
    )
    expect(
        "edge West\nblock Main, Single\ntrack West = Main | Single\n",
        code="CP302",
        underlined="Single",
        message="the right end of Single leads nowhere",
        hint=(
            "Join it on a `track` line: to more track, to an `edge` where the plan "
            "stops, or to a `bumper`."
        ),
    )


def test_no_track_at_all() -> None:
    expect(
        "block Switch\nedge West, East\nturnout T1 in Switch\n",
        code="CP306",
        underlined="West",
        message="no track is drawn",
        hint="Say with `track` lines how the pieces are joined.",
    )
