"""49 CFR Part 236: gates (movable bridges) and derails that move, each section with an unsafe and a
safe junction, over time.

The sections' texts are [V] (read in the 2015 annual edition and its mirrors). The junctions and the
verdicts are ours [C]. 236.312: the bridge locked before an aspect to proceed; 236.314, 236.410:
electric locks on hand-operated derails; 236.301: a derail pipe-connected to its switch; 236.760,
236.767, 236.768: "any ... switch, movable-point frog, or derail in the route".

Input: junction texts. Output: the verdict on one question of each.
"""

import pytest

import verifier
from tests.published.junctions import verdict
from tests.published.test_locking_rules import Case
from verifier.properties.catalog import BY_NAME

BRIDGE = """
edge West entering only
edge East leaving only
block A, L, B, C
lever In-lever, G1-lever positions normal, reverse
{parts}
gate G1 on B
  starts seated
{clauses}
track West = A | L | B | C = East
signal In at A | L
  Clear  when In-lever reverse and {seated} and L, B, C clear
  Stop   otherwise
"""
TIME = "timer In-time 30 s runs while In at stop and L, B clear"
TO_STOP = "trains need 20 s to stop"
ON_IT = "locked while any of L, B occupied"


def bridge(lock: str, *parts: str, by: str = "thrown by G1-lever", seated: str = "") -> str:
    clauses = "\n".join(f"  {line}" for line in (by, lock) if line)
    asked = seated or "G1-lever normal and G1 seated"
    return BRIDGE.format(parts="\n".join(parts), clauses=clauses, seated=asked)


SPUR = """
edge West entering only
edge East leaving only
bumper End
block A, L, T, M, S
lever In-lever, D1-lever, T1-lever positions normal, reverse
{parts}
turnout T1 in T
  thrown by T1-lever
  starts normal
  locked while any of L, T, S occupied or not In at stop or not In-time done
derail D1 on S toward T1
{clauses}
track West = A | L | T1 normal  | M = East
track                T1 reverse | S = End
signal In at A | L
  heads upper, lower
  Clear               when In-lever reverse and {main} and L, T, M clear
  Diverging-Approach  when In-lever reverse and {spur} and L, T, S clear
  Stop                otherwise
timer In-time 30 s runs while In at stop and L, T clear
trains need 20 s to stop
"""
PIPE = "pipe-connected to T1"
HELD = "locked while any of L, T, S occupied or not In at stop or not In-time done"


def spur(*clauses: str) -> str:
    piped = PIPE in clauses
    main, spur = "T1 normal and D1 derailing", "T1 reverse and D1 non-derailing"
    if not piped:
        clauses = ("thrown by D1-lever", "starts derailing", *clauses)
    lines = "\n".join(f"  {line}" for line in clauses)
    return SPUR.format(parts="", clauses=lines, main=main, spur=spur)


CASES = [
    Case("236.312", "before a signal governing movements over the bridge can display an aspect to "
         "proceed the bridge must be locked: nothing locks it under a train",
         bridge("", "trains obey signals"), "points-move-under-train: G1", "broken"),
    Case("236.312", "the same with the bridge locked while a train is on it or comes",
         bridge(ON_IT), "points-move-under-train: G1", "proved"),
    Case("236.312", "locked, and aligned: a signal that asks only for the lever",
         bridge(ON_IT, seated="G1-lever normal"), "span-not-locked: In, G1", "broken"),
    Case("236.312", "a signal that asks for the seated contact",
         bridge(ON_IT), "span-not-locked: In, G1", "proved"),
    Case("236.312", "opened by hand with a signal at proceed",
         bridge(ON_IT, by="thrown by hand", seated="G1 seated"),
         "points-move-under-signal: In, G1", "broken"),
    Case("236.312", "the hand held by an electric lock while a signal is not at stop",
         bridge("electric lock released when In at stop and L, B clear", by="thrown by hand",
                seated="G1 seated"),
         "points-move-under-signal: In, G1", "proved"),
    Case("236.767", "route locking: the bridge is free while the train is on its way to it",
         bridge("locked while B occupied or not In at stop"), "route-locking: G1", "broken"),
    Case("236.767", "held from the signal on", bridge(ON_IT), "route-locking: G1", "proved"),
    Case("236.760", "approach locking: opened in front of a train that cannot stop",
         bridge(ON_IT, TO_STOP), "approach-locking: In", "broken"),
    Case("236.768", "time locking: held until time has run",
         bridge(f"{ON_IT} or not In-time done", TIME, TO_STOP), "approach-locking: In", "proved"),
    Case("236.768", "and whether a train comes or not",
         bridge(f"{ON_IT} or not In-time done", TIME, TO_STOP), "time-locking: In", "proved"),
    Case("236.309", "a loss of shunt of 5 seconds opens the bridge beneath a train",
         bridge(ON_IT), "loss-of-shunt: G1", "broken"),
    Case("236.314", "a hand-operated derail without an electric lock",
         spur().replace("thrown by D1-lever", "thrown by hand"),
         "points-move-under-signal: In, D1", "broken"),
    Case("236.314", "its lock released with the signal over it at proceed",
         spur("electric lock released when L, T, S clear")
         .replace("thrown by D1-lever", "thrown by hand"),
         "hand-points-unlocked: D1", "broken"),
    Case("236.314", "released only with the signal at stop, and after time has run",
         spur("electric lock released when In at stop and In-time done and L, T, S clear")
         .replace("thrown by D1-lever", "thrown by hand"),
         "hand-points-unlocked: D1", "proved"),
    Case("236.760", "a derail in the route moves in front of a train that cannot stop",
         spur("locked while any of L, T, S occupied or not In at stop"),
         "approach-locking: In", "broken"),
    Case("236.760", "the same derail held by time", spur(HELD), "approach-locking: In", "proved"),
    Case("236.767", "a derail ahead of a train within the route entered",
         spur("locked while any of T, S occupied or not In at stop"),
         "route-locking: D1", "broken"),
    Case("236.767", "held from the signal on", spur(HELD), "route-locking: D1", "proved"),
    Case("236.301", "a derail pipe-connected to its switch is held by the lock of the switch",
         spur(PIPE), "points-move-under-signal: In, D1", "proved"),
    Case("236.301", "and lies as the switch does", spur(PIPE), "derailment: D1", "proved"),
    Case("236.205", "a derail worked by itself lies against the signal that asks for none",
         spur(HELD).replace(" and D1 derailing", ""), "derail-not-set: In, D1", "broken"),
]  # fmt: skip


MACHINE = ("motor slow 5 s", "contacts seated, open")
CASES += [
    Case("236.307", "a span whose machine did not obey opens under the train that it lets in",
         bridge(f"{ON_IT} {' '.join(MACHINE)}", seated="G1 seated"),
         "points-stalled: machine of G1", "broken"),
    Case("236.307", "trains are let in while the span lies as its lever stands",
         bridge(f"{ON_IT} {' '.join(MACHINE)}"), "points-stalled: machine of G1", "proved"),
    Case("236.307", "a derail whose machine did not obey moves under the train that it lets in",
         spur(HELD, "motor slow 3 s"), "points-stalled: machine of D1", "broken"),
]  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=lambda c: f"{c.section}-{c.asked}-{c.status}")
def test_sections_on_what_moves(case: Case) -> None:
    name = case.asked.split(":")[0]
    report = verifier.prove(verifier.load_text(case.text), only=[name])
    assert verdict(report, case.asked).status == case.status, case.says


def test_each_section_is_named_by_the_property_that_covers_it() -> None:
    for case in CASES:
        name = case.asked.partition(":")[0]
        assert name in BY_NAME
    assert "236.312" in BY_NAME["span-not-locked"].source
    assert "236.314" in BY_NAME["hand-points-unlocked"].source
