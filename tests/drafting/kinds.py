"""Kinds of plans that drafts are tried on with every option: track alone."""

from tests.drafting.plans import shaped_plan

END_OF_SIDING = """\
edge West, Mill, East
block Main, Switch, Single, Spur
turnout T1 in Switch
track West = Main | normal  T1 | Single = East
track Mill = Spur | reverse T1
"""

PASSING_SIDING = """\
edge West, East
block West-Single, Main, Siding, East-Single, West-Switch, East-Switch
turnout T1 in West-Switch
turnout T3 in East-Switch
track West = West-Single | T1 normal | Main | normal T3 | East-Single = East
track T1 reverse | Siding | reverse T3
"""

YARD = """\
edge West, East
bumper E1, E2, E3
block Lead, A, B, C, Main, Y1, Y2, Y3
turnout T1 in A
turnout T3 in B
turnout T5 in C
track West = Lead | T1 normal | Main = East
track T1 reverse | T3 normal | Y1 = E1
track T3 reverse | T5 normal | Y2 = E2
track T5 reverse | Y3 = E3
"""

OVAL = """\
block Ring, Main, Siding, A, B
turnout T1 in A
turnout T2 in B
track Ring | T1 normal | Main | normal T2 | Ring
track T1 reverse | Siding | reverse T2
trains start on Main, Siding
"""

CROSSING = """\
edge West, East, North, South
block W, E, N, S, Diamond
crossing X1 in Diamond
track West = W | along X1 | E = East
track North = N | across X1 | S = South
"""

SLIP = CROSSING.replace("crossing X1", "slip X1")

DOUBLE_TRACK = """\
edge West-1, East-2 entering only
edge East-1, West-2 leaving only
block A0, A1, A2, B0, B1, B2, S1, S2, S3, S4
turnout T1 in S1
turnout T3 in S2
turnout T5 in S3
turnout T7 in S4
crossover K1 is T1, T3
crossover K2 is T5, T7
track West-1 = A0 | T1 normal | A1 | normal T5 | A2 = East-1
track West-2 = B0 | normal T3 | B1 | T7 normal | B2 = East-2
track T1 reverse | reverse T3
track T7 reverse | reverse T5
"""

KINDS = {
    "end of siding": END_OF_SIDING, "passing siding": PASSING_SIDING, "yard ladder": YARD,
    "wye": shaped_plan(1), "oval": OVAL, "terminal": shaped_plan(3, 3), "crossing": CROSSING,
    "slip": SLIP, "double track": DOUBLE_TRACK,
}  # fmt: skip
