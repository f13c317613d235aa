"""CP3xx: track."""

from verifier.language.diagnostics.code import Code

_ENDS = """\
edge West, East
bumper End
block Main, Spur, Switch, Single
turnout T1 in Switch
"""
_TURNOUT = (
    _ENDS
    + """\
track West = Main | normal  T1 | Single = East
track End  = Spur | reverse T1
"""
)
_LOOP = """\
edge West
block Main, Switch, Loop
turnout T1 in Switch
track West = Main | T1 normal | Loop | reverse T1
"""
_OVAL = """\
block North, South
track North |(g1) South |(g2) North
"""
_THROAT = """\
edge West-1, East-1, West-2, East-2
block Lead-1, Lead-2, Throat, Yard-1, Yard-2
slip P1, P2, P3, P4, P5, P6, P7, P8, P9 in Throat
track West-1 = Lead-1 | along P1 = along P2 = along P3 = along P4 = along P5
    = along P6 = along P7 = along P8 = along P9 | Yard-1 = East-1
track West-2 = Lead-2 | across P1 = across P2 = across P3 = across P4 = across P5
    = across P6 = across P7 = across P8 = across P9 | Yard-2 = East-2
signal 2 at Lead-1 | P1
  Stop otherwise
"""
_TWO_THROATS = """\
edge West-1, East-1, West-2, East-2
block Lead-1, Lead-2, Throat-1, Throat-2, Yard-1, Yard-2
slip P1, P2, P3, P4, P5 in Throat-1
slip P6, P7, P8, P9 in Throat-2
track West-1 = Lead-1 | along P1 = along P2 = along P3 = along P4 = along P5
    | along P6 = along P7 = along P8 = along P9 | Yard-1 = East-1
track West-2 = Lead-2 | across P1 = across P2 = across P3 = across P4 = across P5
    | across P6 = across P7 = across P8 = across P9 | Yard-2 = East-2
signal 2 at Lead-1 | P1
  Stop otherwise
signal 4 at P5 along | along P6
  Stop otherwise
signal 6 at P5 across | across P6
  Stop otherwise
"""

TRACK = (
    Code(
        "CP301",
        "an end of track is joined twice",
        """\
A turnout has one points end and two legs, a stretch of plain track two ends,
and each of them is joined to one thing only, as rails are. Here two `track`
lines, or two places in one line, join the same end to different things, or
join the same two in different ways.

Where the turnout is the trouble, look at the side its leg's word stands on:
`reverse T1` has its legs on the left, `T1 reverse` on the right. Where plain
track is, it may be another stretch of the same block that is meant: then
write what lies on both its sides.""",
        _ENDS + "track West = Main | normal T1 | Single = East\ntrack End = Spur | normal T1\n",
        _TURNOUT,
    ),
    Code(
        "CP302",
        "an end of track leads nowhere",
        """\
Every leg of every turnout and every end of plain track goes on to something:
more track, a bumper, or an edge where this plan stops. A forgotten leg is a
way for a train that nothing was proved about.

Join it on a `track` line.""",
        "edge West, East\nblock Main, Switch, Single\nturnout T1 in Switch\n"
        "track West = Main | normal T1 | Single = East\n",
        _TURNOUT,
    ),
    Code(
        "CP303",
        "track runs through its own end",
        """\
A `track` line goes on beyond an edge or a bumper, where by its meaning track
ends, or joins a piece of track to itself. A circle of track is written by
ending the line with the block it began with, and takes at least two blocks.

End the line at the edge or bumper, or name the block that comes between.""",
        "edge West, East\nblock Main, Single\ntrack Main = West = Single = East\n",
        "edge West, East\nblock Main, Single\ntrack West = Main | Single = East\n",
    ),
    Code(
        "CP304",
        "which leg, or which track?",
        """\
A `track` line that runs over a turnout takes one of its legs, and has to say
which, on the side where that leg lies: `normal T1` with the legs on the left,
`T1 normal` with the legs on the right. Over a crossing or a slip it says
which of the two tracks it is: `along X1` or `across X1`. Plain track, edges
and bumpers have no legs.

Add the word, or take it away.""",
        _ENDS + "track West = Main | T1 | Single = East\ntrack End = Spur | reverse T1\n",
        _TURNOUT,
    ),
    Code(
        "CP305",
        "no gap between two blocks",
        """\
The rail is joined through (`=`) between two different blocks. To the
detectors they are then one block: a train in either shows in both, or in
whichever feeds the rail. (In a file that gives feeders or detectors this is
read, and what comes of it is proved.)

Cut a gap and write `|` (one rail) or `||` (both rails), or make it one block.""",
        _ENDS + "track West = Main = normal T1 | Single = East\ntrack End = Spur | reverse T1\n",
        _TURNOUT,
    ),
    Code(
        "CP306",
        "declared, but on no track",
        """\
A block, turnout, crossing, slip, edge or bumper is declared and then appears
on no `track` line. It has no place on the layout, so nothing can be proved
about it. More often than not a `track` line is missing or names something
else.

Draw it on a `track` line, or take the declaration out.""",
        "edge West, East\nblock Main, Single\ntrack West = Main = East\n",
        "edge West, East\nblock Main, Single\ntrack West = Main | Single = East\n",
    ),
    Code(
        "CP307",
        "a signal cannot stand there",
        """\
A signal stands at a gap between two neighboring pieces of track, because
that is where the track it protects begins: `signal 4L at Single | T1` stands
beside Single, at the gap to T1, and governs trains that go from Single into
T1. Here the two are no neighbors, or the rail is joined through between
them, or no track of this plan lies beyond.

Name the pieces on either side of the gap, in the order in which the train
meets them.""",
        _TURNOUT + "signal 2 at Main | Single\n  Stop otherwise\n",
        _TURNOUT + "signal 2 at Main | T1\n  Stop otherwise\n",
    ),
    Code(
        "CP308",
        "the two meet in more than one place",
        """\
The two pieces of track that the signal stands between meet at more than one
gap, as the two blocks of an oval do. It has to be clear at which of them the
signal stands, and which way a train passes it.

Give the gaps names on the `track` line, `|(g1)`, and name the gap of the
signal.""",
        _OVAL + "signal 2 at North | South\n  Clear when South clear\n  Stop otherwise\n",
        _OVAL + "signal 2 at North |(g1) South\n  Clear when South clear\n  Stop otherwise\n"
        "signal 4 at South |(g2) North\n  Clear when North clear\n  Stop otherwise\n",
    ),
    Code(
        "CP310",
        "the track beyond a signal runs back into itself",
        """\
From this signal a train can come back to track of the same route without
meeting another signal, as on a return loop whose way out has none. It could
run into its own rear, and there is no point on its way at which one could say
what it was allowed to enter.

Put a signal on the way back.""",
        _LOOP + "signal 2 at Main | T1\n  Stop otherwise\n",
        _LOOP + "signal 2 at Main | T1\n  Stop otherwise\n"
        "signal 4 at Loop | reverse T1\n  Stop otherwise\n"
        "signal 6 at Loop | normal T1\n  Stop otherwise\n",
    ),
    Code(
        "CP311",
        "on which side does the derail stand?",
        """\
A derail stands on plain track and protects what lies beyond it on one side.
`toward` names that: the turnout, or the next block, on the side that is
protected. If the name lies on neither side, or can be reached on both, the
derail has no place.

Name what lies next to the derail's block on that side.""",
        _TURNOUT + "derail D1 on Switch toward T1\n",
        _TURNOUT + "derail D1 on Spur toward T1\n",
    ),
    Code(
        "CP312",
        "too many routes from one signal",
        """\
So many facing turnouts lie beyond the signal, with no other signal among
them, that more than 300 routes lead from it. Each would have to be looked at
with every other, and nobody could check the result against the layout.

Put signals inside the trackwork, so that each governs less of it.""",
        _THROAT,
        _TWO_THROATS,
    ),
    Code(
        "CP313",
        "a crossover is two turnouts",
        """\
A crossover is made of exactly two turnouts, thrown together, whose reverse
legs are joined: the track between them is the way across. Only then does it
make sense to say that the crossover lies normal or reverse.

Name the two turnouts, and draw the track between their reverse legs.""",
        _TURNOUT + "crossover K1 is T1\n",
        "edge West-1, East-1, West-2, East-2\n"
        "block Track-1-West, Switch-1, Track-1-East, Track-2-West, Switch-2, Track-2-East\n"
        "turnout T1 in Switch-1\nturnout T3 in Switch-2\ncrossover K1 is T1, T3\n"
        "track West-1 = Track-1-West | T1 normal | Track-1-East = East-1\n"
        "track West-2 = Track-2-West | normal T3 | Track-2-East = East-2\n"
        "track T1 reverse | reverse T3\n",
    ),
)
