"""Track that can be laid and cannot be worked: signals, crossings, loops, crossovers."""

from tests.messages.expecting import expect


def test_two_gaps() -> None:
    expect(
        "block North, South\n"
        "track North |(g1) South |(g2) North\n"
        "signal 2 at North | South\n"
        "  Stop otherwise\n",
        code="CP308",
        underlined="North | South",
        message="`North` and `South` meet at 2 gaps, so the place of signal `2` is not clear",
        hint=(
            "Name the gap on the `track` line and here, `|(g1)`, or write the leg, as in "
            "`Main | normal T1`."
        ),
        more=("one gap is here", "one gap is here"),
    )


def test_circle_of_one_block() -> None:
    expect(
        "block North\ntrack North |(g1) North\n",
        code="CP303",
        underlined="North |(g1) North",
        message="`North` is joined to itself",
        hint="Use two blocks: a gap lies between two of them.",
    )


def test_crossings() -> None:
    expect(
        "edge W, E, N, S\n"
        "block West, East, North, South, Diamond\n"
        "crossing X1 in Diamond\n"
        "track W = West | X1 | East = E\n"
        "track N = North | across X1 | South = S\n",
        code="CP304",
        underlined="X1",
        message="the track over crossing `X1` must be `along` or `across`",
        hint="Write `along X1` or `across X1`.",
    )
    expect(
        "edge W, E, N, S\n"
        "block West, East, North, South, Diamond\n"
        "crossing X1 in Diamond\n"
        "track W = West | normal X1 | East = E\n"
        "track N = North | across X1 | South = S\n",
        code="CP304",
        underlined="normal X1",
        message="the track over crossing `X1` must be `along` or `across`",
        hint="Write `along X1` or `across X1`.",
    )


def test_back_into_itself() -> None:
    expect(
        "edge West\n"
        "block Main, Switch, Loop\n"
        "turnout T1 in Switch\n"
        "track West = Main | T1 normal | Loop | reverse T1\n"
        "signal 2 at Main | T1\n"
        "  Stop otherwise\n",
        code="CP310",
        underlined="2",
        message=(
            "the track beyond signal `2` runs back into itself at `T1` before any other signal"
        ),
        hint=(
            "Put a signal on the way back to `T1`, so that a train stops before it meets "
            "its own track."
        ),
        more=("it comes back here",),
    )


def test_crossover_legs() -> None:
    expect(
        "edge W1, E1, W2, E2\n"
        "block A, B, C, D, S1, S2\n"
        "turnout T1 in S1\n"
        "turnout T3 in S2\n"
        "crossover K1 is T1, T3\n"
        "track W1 = A | T1 normal | B = E1\n"
        "track W2 = C | reverse T3 | D = E2\n"
        "track T1 reverse | normal T3\n",
        code="CP313",
        underlined="crossover K1 is T1, T3",
        message="the reverse legs of `T1` and `T3` do not lead to each other",
        hint="Join the reverse legs of the two turnouts on a `track` line.",
    )


def test_signal_leads_off_the_plan() -> None:
    expect(
        "edge West, East\n"
        "block Main, Single\n"
        "track West = Main | Single | East\n"
        "signal 2 at Single | East\n"
        "  Stop otherwise\n",
        code="CP307",
        underlined="Single | East",
        message="signal `2` would govern no track of this plan",
        hint=(
            "Write the pieces in the order in which the train meets them: `at Main | T1` "
            "governs moves from Main into T1."
        ),
    )
