"""Track that cannot be laid: CP3xx."""

from tests.messages.expecting import PIECES, TRACK, expect


def test_joined_twice() -> None:
    expect(
        PIECES
        + ("track West = Main | normal T1 | Single = East\ntrack End = Siding | normal T1\n"),
        code="CP301",
        underlined="Siding | normal T1",
        message="the normal leg of T1 is joined twice",
        hint="Join every leg, and every end of track, to one thing only.",
        more=("it is joined here first",),
    )
    expect(
        PIECES
        + ("track West = Main | normal T1 | Single = East\ntrack Siding | T1 reverse = End\n"),
        code="CP301",
        underlined="Siding | T1 reverse",
        message="the points end of T1 is joined twice",
        hint=(
            "Join every end to one thing only. Check the side of the leg's word: "
            "`reverse T1` has its legs on the left, `T1 reverse` on the right."
        ),
        more=("it is joined here first",),
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
        message="the right end of `Main` is already joined to `T1`",
        hint=(
            "A stretch of track has two ends. For another stretch of the same block, "
            "write what is on both sides of it."
        ),
        more=("it is joined here",),
    )


def test_runs_on_or_into_itself() -> None:
    expect(
        PIECES + ("track Main = West = Single\ntrack End = Siding | reverse T1\n"),
        code="CP303",
        underlined="West",
        message="the track goes on beyond edge `West`",
        hint="Track ends at an edge or a bumper. Put it first or last on its `track` line.",
    )
    expect(
        PIECES + "track West = Main | Main | normal T1\n",
        code="CP303",
        underlined="Main | Main",
        message="`Main` is joined to itself",
        hint="Use two blocks: a gap lies between two of them.",
    )
    expect(
        PIECES + "track End = West = East\n",
        code="CP303",
        underlined="West",
        message="the track goes on beyond edge `West`",
        hint="Track ends at an edge or a bumper. Put it first or last on its `track` line.",
    )


def test_legs() -> None:
    expect(
        PIECES + ("track West = Main | T1 | Single = East\ntrack End = Siding | reverse T1\n"),
        code="CP304",
        underlined="T1",
        message="the leg of turnout `T1` is missing",
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
        message="the leg of turnout `T1` is missing",
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
        message="the leg of turnout `T1` is missing",
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
        message="`Main` is plain track and has no normal leg",
        hint="Remove the word. Only turnouts, crossings and slips have legs.",
    )
    expect(
        PIECES + "track normal West = Main\n",
        code="CP304",
        underlined="normal West",
        message="`West` is an end of track and has no normal leg",
        hint="Remove the word. Only turnouts, crossings and slips have legs.",
    )


def test_no_gap() -> None:
    expect(
        PIECES
        + ("track West = Main = normal T1 | Single = East\ntrack End = Siding | reverse T1\n"),
        code="CP305",
        underlined="Main = normal T1",
        message="no gap between blocks `Main` and `Switch`",
        hint="Write `|` or `||`. To a detector, two blocks that share both rails are one block.",
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
        hint="Rename one of them.",
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
            "`G1` is a gate, but this must be a block, a turnout, a crossing, a slip, an "
            "edge or a bumper"
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
            "If the name is right, declare it with a `block`, `turnout`, `crossing`, "
            "`slip`, `edge` or `bumper` statement."
        ),
    )


def test_on_no_track() -> None:
    expect(
        TRACK + "block Team\n",
        code="CP306",
        underlined="Team",
        message="block `Team` is on no `track` line",
        hint="Put it on a `track` line, or put a turnout or crossing in it.",
    )
    expect(
        TRACK + "turnout T2 in Switch\n",
        code="CP306",
        underlined="T2",
        message="turnout `T2` is on no `track` line",
        hint="Put it on a `track` line.",
    )
    expect(
        TRACK + "edge North\n",
        code="CP306",
        underlined="North",
        message="edge `North` is on no `track` line",
        hint="Put it on a `track` line.",
    )


def test_where_signals_stand() -> None:
    expect(
        TRACK + ("signal 2 at Main | Single\n  Stop otherwise\n"),
        code="CP307",
        underlined="Main | Single",
        message="no gap joins `Main` and `Single`",
        hint="Next to `Main`: West, the normal leg of T1.",
    )
    expect(
        TRACK + ("signal 2 at Main | reverse T1\n  Stop otherwise\n"),
        code="CP307",
        underlined="Main | reverse T1",
        message="no gap joins `Main` and `T1`",
        hint="Next to `Main`: West, the normal leg of T1.",
    )
    expect(
        TRACK + ("signal 2 at T1 | Switch\n  Stop otherwise\n"),
        code="CP307",
        underlined="T1 | Switch",
        message="no gap joins `T1` and `Switch`",
        hint="Next to `T1`: Main, Single, Siding.",
    )
    expect(
        TRACK + ("signal 2 at West | Main\n  Stop otherwise\n"),
        code="CP307",
        underlined="West | Main",
        message="signal `2` needs a gap between `West` and `Main`",
        hint=(
            "The block that a signal protects begins at a gap. Write `|` on the `track` "
            "line where the gap is cut."
        ),
        more=("the joint is here",),
    )
    expect(
        TRACK + ("signal 2 at Main | West\n  Stop otherwise\n"),
        code="CP307",
        underlined="Main | West",
        message="signal `2` needs a gap between `Main` and `West`",
        hint=(
            "The block that a signal protects begins at a gap. Write `|` on the `track` "
            "line where the gap is cut."
        ),
        more=("the joint is here",),
    )
    expect(
        TRACK + ("signal 2 at Main = T1\n  Stop otherwise\n"),
        code="CP307",
        underlined="Main = T1",
        message="signal `2` needs a gap, not a continuous rail",
        hint="Write `Main | T1`.",
    )
    expect(
        TRACK + ("signal 2 at Main |(g1) T1\n  Stop otherwise\n"),
        code="CP307",
        underlined="Main |(g1) T1",
        message="no gap called `g1` joins `Main` and `T1`",
        hint="Next to `Main`: West, the normal leg of T1.",
    )
    expect(
        TRACK + ("signal 2 at Quarry | T1\n  Stop otherwise\n"),
        code="CP201",
        underlined="Quarry",
        message="nothing is called `Quarry`",
        hint=(
            "If the name is right, declare it with a `block`, `turnout`, `crossing`, "
            "`slip`, `edge` or `bumper` statement."
        ),
    )
    expect(
        TRACK + ("signal 2 at B1 | T1\n  Stop otherwise\n"),
        code="CP201",
        underlined="B1",
        message="nothing is called `B1`",
        hint=(
            "If the name is right, declare it with a `block`, `turnout`, `crossing`, "
            "`slip`, `edge` or `bumper` statement."
        ),
    )


def test_derails() -> None:
    expect(
        TRACK + "derail D1 on Switch toward T1\n",
        code="CP311",
        underlined="Switch",
        message="block `Switch` has no plain track for derail `D1`",
        hint="Put the derail on plain track, in front of the turnout that it protects.",
    )
    expect(
        TRACK + "derail D1 on Siding toward Siding\n",
        code="CP311",
        underlined="Siding",
        message="the side of `Siding` that derail `D1` protects is not clear",
        hint="After `toward`, name what is next to `Siding` on that side: `End` or `T1`.",
    )


def test_crossovers() -> None:
    expect(
        TRACK + "crossover K1 is T1\n",
        code="CP313",
        underlined="crossover K1 is T1",
        message="crossover `K1` needs two different turnouts",
        hint="Name the two turnouts that are thrown together: `crossover K1 is T1, T2`.",
    )
    expect(
        TRACK + "crossover K1 is T1, T1\n",
        code="CP313",
        underlined="crossover K1 is T1, T1",
        message="crossover `K1` needs two different turnouts",
        hint="Name the two turnouts that are thrown together: `crossover K1 is T1, T2`.",
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
        message="the file draws no track",
        hint="Join the pieces with `track` lines.",
    )
