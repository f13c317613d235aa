"""Small junctions of the Otter Valley railroad to draw, and what the tests do with them."""

from functools import cache
from typing import Any

from verifier.drawing.terminal.picture import picture
from verifier.language.source import Source
from verifier.language.syntax.parse import parse
from verifier.plan.build import build
from verifier.plan.model import Plan
from verifier.plan.situation import Situation
from verifier.reference.evaluator import Seen, evaluate

END_OF_SIDING = """
edge West-Main, West-Siding, Quarry
block Main, Siding, Switch, Single
turnout T1 in Switch
track West-Main   = Main   | normal  T1 | Single = Quarry
track West-Siding = Siding | reverse T1
signal 4L at Single | T1
  heads upper, lower
  Clear             when T1 normal  and Switch, Main clear
  Diverging-Clear   when T1 reverse and Switch, Siding clear
  Stop              otherwise
signal 4RA at Main | T1
  Clear when T1 normal and Switch, Single clear
  Stop  otherwise
signal 4RB at Siding | T1
  Clear when T1 reverse and Switch, Single clear
  Stop  otherwise
"""

PASSING_SIDING = """
edge West, East
block W-Single, Main, Siding, E-Single, W-Switch, E-Switch
turnout T1 in W-Switch
turnout T3 in E-Switch
track West = W-Single | T1 normal | Main | normal T3 | E-Single = East
track T1 reverse | Siding | reverse T3
signal 2R at W-Single | T1
  heads upper, lower
  Clear           when T1 normal and W-Switch, Main clear
  Diverging-Clear when T1 reverse and W-Switch, Siding clear
  Stop            otherwise
signal 2LA at Main | T1
  Clear when T1 normal and W-Switch, W-Single clear
  Stop  otherwise
signal 2LB at Siding | T1
  Clear when T1 reverse and W-Switch, W-Single clear
  Stop  otherwise
signal 4L at E-Single | T3
  heads upper, lower
  Clear           when T3 normal and E-Switch, Main clear
  Diverging-Clear when T3 reverse and E-Switch, Siding clear
  Stop            otherwise
signal 4RA at Main | T3
  Clear when T3 normal and E-Switch, E-Single clear
  Stop  otherwise
signal 4RB at Siding | T3
  Clear when T3 reverse and E-Switch, E-Single clear
  Stop  otherwise
"""

DOUBLE_JUNCTION = """
edge West-1, West-2, East-1, East-2, Quarry-1, Quarry-2
block W1, W2, E1, E2, Q1, Q2, P1, P2
turnout T1 in P1
turnout T3 in P2
crossing X1 in P2
track West-1 = W1 | T1 normal | E1 = East-1
track West-2 = W2 | T3 normal = along X1 | E2 = East-2
track T1 reverse | across X1 | Q1 = Quarry-1
track T3 reverse | Q2 = Quarry-2
signal 1R at W1 | T1
  heads upper, lower
  Clear           when T1 normal and P1, E1 clear
  Diverging-Clear when T1 reverse and P1, P2, Q1 clear
  Stop            otherwise
signal 3R at W2 | T3
  heads upper, lower
  Clear           when T3 normal and P2, E2 clear
  Diverging-Clear when T3 reverse and P2, Q2 clear
  Stop            otherwise
signal 2L at E2 | X1
  Clear when T3 normal and P2, W2 clear
  Stop  otherwise
signal 4L at Q2 | T3
  Clear when T3 reverse and P2, W2 clear
  Stop  otherwise
"""

CROSSOVER = """
edge West-1, West-2, East-1, East-2
block A1, A2, B1, B2, P1, P2
turnout T1 in P1
turnout T2 in P2
crossover K1 is T1, T2
track West-1 = A1 | T1 normal | B1 = East-1
track West-2 = A2 | normal T2 | B2 = East-2
track T1 reverse || reverse T2
signal 2R at A1 | T1
  heads upper, lower
  Clear           when T1 normal and P1, B1 clear
  Diverging-Clear when T1, T2 reverse and P1, P2, B2 clear
  Stop            otherwise
signal 4L at B2 | T2
  heads upper, lower
  Clear           when T2 normal and P2, A2 clear
  Diverging-Clear when T1, T2 reverse and P1, P2, A1 clear
  Stop            otherwise
"""

DIAMOND = """
edge North, South, West, East
block N1, S1, W1, E1, Diamond
crossing X1 in Diamond
track North = N1 | along X1 | S1 = South
track West = W1 | across X1 | E1 = East
signal 2R at N1 | along X1
  Clear when Diamond, S1 clear
  Stop  otherwise
signal 4R at W1 | across X1
  Clear when Diamond, E1 clear
  Stop  otherwise
signal 4L at E1 | across X1
  Clear when Diamond, W1 clear
  Stop  otherwise
"""

WYE = """
edge West, East, South
block W, E, S, Main-Leg, West-Leg, East-Leg, P1, P2, P3
turnout T1 in P1
turnout T2 in P2
turnout T3 in P3
track West = W | T1 normal | Main-Leg | normal T2 | E = East
track T1 reverse | West-Leg | normal T3 | S = South
track T3 reverse | East-Leg | reverse T2
signal 2R at W | T1
  heads upper, lower
  Clear           when T1 normal and P1, Main-Leg clear
  Diverging-Clear when T1 reverse and P1, West-Leg clear
  Stop            otherwise
"""

YARD = """
edge Main-West, Main-East
block Lead, Main, Ladder, Y1, Y2, Y3, Y4
block Y5 undetected
turnout T1, T2, T3, T4, T5 in Ladder
bumper End1, End2, End3, End4, End5
track Main-West = Lead | T1 normal | Main = Main-East
track T1 reverse = T2 normal | Y1 = End1
track T2 reverse = T3 normal | Y2 = End2
track T3 reverse = T4 normal | Y3 = End3
track T4 reverse = T5 normal | Y4 = End4
track T5 reverse | Y5 = End5
signal 2R at Lead | T1
  heads upper, lower
  Clear           when T1 normal and Ladder, Main clear
  Diverging-Clear when T1 reverse and Ladder clear
  Stop            otherwise
"""

THROAT = """
edge Heron-Falls
bumper End1, End2, End3, End4, End5, End6
block Y1, Y2, Y3, Y4, Y5, Y6, Throat, Lead
turnout T1, T2, T3, T4, T5 in Throat
track End6 = Y6 | normal T5 = normal T4 = normal T3 = normal T2 = normal T1 | Lead = Heron-Falls
track End1 = Y1 | reverse T1
track End2 = Y2 | reverse T2
track End3 = Y3 | reverse T3
track End4 = Y4 | reverse T4
track End5 = Y5 | reverse T5
signal 2L at Lead | T1
  heads upper, lower
  Approach            when T1, T2, T3, T4, T5 normal and Throat, Y6 clear
  Diverging-Approach  when T1 reverse and Throat, Y1 clear
  Stop                otherwise
"""

OVAL = """
block B1, B2, B3
track B1 |(g1) B2 |(g2) B3 |(g3) B1
signal 1E at B3 | B1
  Clear    when B1 clear and 2E proceeds
  Approach when B1 clear
  Stop     otherwise
signal 2E at B1 | B2
  Clear when B2 clear
  Stop  otherwise
signal 3E at B2 | B3
  Clear when B3 clear
  Stop  otherwise
"""

SPUR = """
edge West, East
block Main-West, Main-East, Switch
block Spur
bumper End-of-Spur
turnout T1 in Switch
derail D1 on Spur toward T1
track West = Main-West | normal T1 | Main-East = East
track End-of-Spur = Spur | reverse T1
signal 2R at Main-West | T1
  Clear when T1 normal and D1 derailing
  Stop  otherwise
"""

LIFT_GATE = """
edge Millrace, Loon-Cove
block West, Bridge, East
gate G1 on Bridge
track Millrace = West || Bridge || East = Loon-Cove
signal 2R at West | Bridge
  Clear when G1 seated and Bridge clear
  Stop  otherwise
"""

SLIP = """
edge Track-1, Track-2, Mill, Wharf
block West-1, West-2, East-1, East-2, Slip
slip P1 in Slip
track Track-1 = West-1 | along P1 | East-1 = Mill
track Track-2 = West-2 | across P1 | East-2 = Wharf
"""

BALLOON = """
edge Birch-Landing
block Single, Loop-A, Loop-B, Switch
turnout T1 in Switch
track Birch-Landing = Single | T1 normal | Loop-A | Loop-B | reverse T1
"""

SCISSORS = """
edge West-1, West-2, East-1, East-2
block A1, A2, B1, B2, Plant
turnout T1, T2, T3, T4 in Plant
crossing X in Plant
track West-1 = A1 | T1 normal = normal T2 | B1 = East-1
track West-2 = A2 | T3 normal = normal T4 | B2 = East-2
track T1 reverse = along X = reverse T4
track T3 reverse = across X = reverse T2
"""

SAMPLES = {
    "end of siding": END_OF_SIDING,
    "passing siding": PASSING_SIDING,
    "double-track junction": DOUBLE_JUNCTION,
    "crossover": CROSSOVER,
    "diamond": DIAMOND,
    "wye": WYE,
    "yard": YARD,
    "throat": THROAT,
    "oval": OVAL,
    "spur": SPUR,
    "lift gate": LIFT_GATE,
    "slip": SLIP,
    "balloon": BALLOON,
    "scissors": SCISSORS,
}


@cache
def load(text: str) -> Plan:
    source = Source("sample.ixl", text)
    return build(source, parse(source))


def seen(plan: Plan, **states: str) -> Seen:
    """What is seen where these things are so (``T1="reverse"``, ``Main="occupied"``; a
    hyphen in a name is written as an underscore) and all else is as usual."""
    wanted = {name.replace("_", "-"): state for name, state in states.items()}
    facts = [(what, wanted.pop(what.name)) for what in plan.inputs if what.name in wanted]
    assert not wanted, f"no such thing: {wanted}"
    return evaluate(plan, Situation.of(facts))


def draw(plan: Plan, seen: Seen | None = None, **options: Any) -> list[str]:
    """The lines of the terminal drawing."""
    return list(picture(plan, seen, **options).lines)


def line_of_sidings(count: int) -> str:
    """A single-track line with this many passing sidings: two control points each."""
    blocks, statements, branches = ["S0"], [], []
    main = "track West = S0"
    for i in range(1, count + 1):
        blocks += [f"M{i}", f"D{i}", f"S{i}", f"PW{i}", f"PE{i}"]
        statements += [f"turnout W{i} in PW{i}", f"turnout E{i} in PE{i}"]
        main += f" | W{i} normal | M{i} | normal E{i} | S{i}"
        branches.append(f"track W{i} reverse | D{i} | reverse E{i}")
        for name, near, points in (
            (f"{i}WA", f"S{i - 1}", f"W{i}"),
            (f"{i}WB", f"M{i}", f"W{i}"),
            (f"{i}WC", f"D{i}", f"W{i}"),
            (f"{i}EA", f"S{i}", f"E{i}"),
            (f"{i}EB", f"M{i}", f"E{i}"),
            (f"{i}EC", f"D{i}", f"E{i}"),
        ):
            branches.append(
                f"signal {name} at {near} | {points}\n"
                f"  Clear when {points} normal\n  Stop otherwise"
            )
    lines = ["edge West, East", f"block {', '.join(blocks)}", *statements, main + " = East"]
    return "\n".join([*lines, *branches])
