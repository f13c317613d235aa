"""49 CFR Part 236: the sections on locking, each with an unsafe and a safe junction, over time.

The sections' texts are [V] (read in the 2015 annual edition). The junctions and the verdicts are
ours [C], built after the check cases noted beside each section in the project's sources. A model
railroad is not subject to Part 236.

Input: junction texts. Output: the verdict on one question of each.
"""

from dataclasses import dataclass
from typing import Literal

import pytest

import verifier
from tests.published.junctions import verdict
from verifier.properties.catalog import BY_NAME


@dataclass(frozen=True)
class Case:
    """``says``: the section's own words, or what follows from them. ``asked``: the question of
    which the verdict is given."""

    section: str
    says: str
    text: str
    asked: str
    status: Literal["proved", "broken"]


# ------------------------------------------------------------------ a facing switch

FACING = """
edge West entering only
edge Main-End, Siding-End leaving only
block A, B, T, M, S
{parts}
turnout T1 in T
{clauses}
track West = A | B | T1 normal  | M = Main-End
track                T1 reverse | S = Siding-End
signal In at A | B
  heads upper, lower
  Clear            when In-lever reverse and T1 normal and B, T, M clear
  Diverging-Clear  when In-lever reverse and T1 reverse and B, T, S clear
  Stop             otherwise
"""
LEVERS = "lever T1-lever, In-lever positions normal, reverse"
TRACK_CLEAR = "any of B, T occupied"


def facing(lock: str, *parts: str, by: str = "thrown by T1-lever") -> str:
    clauses = f"  {by}\n  {lock}" if lock else f"  {by}"
    return FACING.format(parts="\n".join((LEVERS, *parts)), clauses=clauses)


def by_hand(released: str, *parts: str) -> str:
    lock = f"electric lock released when {released}" if released else ""
    text = facing(lock, *parts, by="thrown by hand")
    return text.replace("lever T1-lever, In-lever", "lever In-lever")


TO_STOP = "trains need 20 s to stop"


def timer(seconds: int, also: str = "") -> str:
    return f"timer In-time {seconds} s runs while In at stop{also}"


FULL = f"locked while {TRACK_CLEAR} or not In at stop"
# A signal that was cleared is not put back by its timer running out: both are asked for.
TIMED = f"{FULL} or not In-time done"

ROUTE_LOCKING = [
    Case("236.408", "effective when the first pair of wheels passes the signal: the switch motor "
         "takes a command while the detector section is occupied",
         facing("locked while not In at stop"), "points-move-under-train: T1", "broken"),
    Case("236.408", "the same with the detector section in the lock",
         facing(FULL), "points-move-under-train: T1", "proved"),
    Case("236.302", "a train has passed the signal and the switch ahead of it is free",
         facing("locked while T occupied or not In at stop"), "route-locking: T1", "broken"),
    Case("236.302", "route locking from the signal on",
         facing(FULL), "route-locking: T1", "proved"),
    Case("236.304", "locking shall be provided: the switch moves with the signal off",
         facing(f"locked while {TRACK_CLEAR}"), "points-move-under-signal: In, T1", "broken"),
    Case("236.304", "the switch is locked while its signal is off",
         facing(FULL), "points-move-under-signal: In, T1", "proved"),
]  # fmt: skip

APPROACH_LOCKING = [
    Case("236.305", "the signal is taken back in the face of a train, and the switch thrown in "
         "the next moment",
         facing(FULL, TO_STOP), "approach-locking: In", "broken"),
    Case("236.305", "the switch is held until the timer has run",
         facing(TIMED, TO_STOP, timer(20)), "approach-locking: In", "proved"),
    Case("236.305", "a timer shorter than trains need",
         facing(TIMED, TO_STOP, timer(10)), "approach-locking: In", "broken"),
    Case("236.407", "time locking, train or no train (236.768): it holds what approach locking "
         "would hold",
         facing(TIMED, TO_STOP, timer(30)), "approach-locking: In", "proved"),
    Case("236.407", "approach locking (236.760): free at once when the approach is proved empty",
         facing(f"{FULL} or A occupied and not In-time done", TO_STOP,
                timer(20, " and A occupied")), "approach-locking: In", "proved"),
    Case("236.407", "the timer runs while the signal is at stop, but nothing asks whether it is "
         "done",
         facing(FULL, TO_STOP, timer(20)), "approach-locking: In", "broken"),
]  # fmt: skip

# ------------------------------------------------------------------ conflicting routes

DIAMOND = """
edge West, North entering only
edge East, South leaving only
block W, N, X, E, S
lever 2-lever, 4-lever positions normal, reverse
crossing X1 in X
trains need 20 s to stop
{parts}
track West  = W | along X1  | E = East
track North = N | across X1 | S = South
signal 2 at W | along X1
  Clear  when 2-lever reverse and 4 at stop {two} and X, E clear
  Stop   otherwise
signal 4 at N | across X1
  Clear  when 4-lever reverse and 2-lever normal {four} and X, S clear
  Stop   otherwise
"""


def diamond(*parts: str, two: str = "", four: str = "") -> str:
    return DIAMOND.format(parts="\n".join(parts), two=two, four=four)


BOTH_TIMES = ("timer 2-time 20 s runs while 2 at stop", "timer 4-time 20 s runs while 4 at stop")

CONFLICTING = [
    Case("236.760", "prevents an aspect to proceed for any conflicting route: the other signal of "
         "a diamond clears as soon as this one is put back",
         diamond(), "approach-locking: 2", "broken"),
    Case("236.760", "the other signal waits for the timer",
         diamond(*BOTH_TIMES, two="and 4-time done", four="and 2-time done"),
         "approach-locking: 2", "proved"),
    Case("236.760", "and the other way about",
         diamond(*BOTH_TIMES, two="and 4-time done", four="and 2-time done"),
         "approach-locking: 4", "proved"),
    Case("236.760", "only one of the two waits: the one that does not",
         diamond(*BOTH_TIMES, four="and 2-time done"), "approach-locking: 4", "broken"),
]  # fmt: skip

# ------------------------------------------------------------------ release of a route

SECTIONS = """
edge West entering only
edge Main-End, Siding-End, Yard-End leaving only
block A, B, T, C, U, M, S, Y
lever Lever-1, Lever-2, In-lever positions normal, reverse
relay In-route
  picks when not In at stop
  sticks while any of {held} occupied
turnout T1 in T
  thrown by Lever-1
  locked while {first} or not In at stop
turnout T2 in U
  thrown by Lever-2
  locked while U occupied or In-route up or not In at stop
track West = A | B | T1 normal  | C | T2 normal  | M = Main-End
track                T1 reverse | S = Siding-End
track                                 T2 reverse | Y = Yard-End
signal In at A | B
  heads upper, lower
  Clear            when In-lever reverse and T1, T2 normal and B, T, C, U, M clear
  Diverging-Clear  when In-lever reverse and T1 reverse and B, T, S clear
  Diverging-Clear  when In-lever reverse and T1 normal and T2 reverse and B, T, C, U, Y clear
  Stop             otherwise
"""


def sections(held: str, first: str = "any of B, T occupied") -> str:
    return SECTIONS.format(held=held, first=first)


RELEASE = [
    Case("236.767", "movement of a switch in advance of the train: the route is released one "
         "section early",
         sections("B, T"), "route-locking: T2", "broken"),
    Case("236.767", "released when the last section before the switch is clear",
         sections("B, T, C"), "route-locking: T2", "proved"),
    Case("236.767", "as a train clears a section of the route, the locking of that section is "
         "released: behind the train",
         sections("B, T, C"), "route-locking: T1", "proved"),
    Case("236.767", "the first switch is released while the train is still before it",
         sections("B, T, C", "T occupied"), "route-locking: T1", "broken"),
]  # fmt: skip

# ------------------------------------------------------------------ loss of shunt


def slow(seconds: int) -> str:
    return facing(
        f"{FULL} or T-track down or B-track down",
        *(f"relay {b}-track\n  picks when {b} clear\n  slow to pick {seconds} s" for b in "TB"),
    )


AUTOMATIC_CROSSING = """
edge North, West entering only
edge South, East leaving only
block A, B, C, D, Diamond
crossing X1 in Diamond
track West  = A | along  X1 | B = East
track North = C | across X1 | D = South
relay Track
  picks when Diamond clear
  {slow}
signal X at A | X1
  Clear  when A occupied and Track up and Diamond, B clear
  Stop   otherwise
signal Y at C | X1
  Clear  when C occupied and X at stop and Track up and Diamond, D clear
  Stop   otherwise
"""


def automatic_crossing(slow: str) -> str:
    return AUTOMATIC_CROSSING.format(slow=slow)


LOSS_OF_SHUNT = [
    Case("236.309", "a loss of shunt of 5 seconds or less shall not release: release after 3 s",
         slow(3), "loss-of-shunt: T1", "broken"),
    Case("236.309", "release after 6 s", slow(6), "loss-of-shunt: T1", "proved"),
    Case("236.309", "or less: exactly 5 s must hold", slow(5), "loss-of-shunt: T1", "proved"),
    Case("236.309", "release after 4 s", slow(4), "loss-of-shunt: T1", "broken"),
    Case("236.309", "no delay at all", facing(FULL), "loss-of-shunt: T1", "broken"),
    Case("236.309", "(a) nor permit an established route to be changed at an automatic "
         "interlocking: a train on the crossing is lost, and the other track is cleared",
         automatic_crossing(""), "loss-of-shunt: X, Y", "broken"),
    Case("236.309", "(a) the track relay of the crossing waits 4 s",
         automatic_crossing("slow to pick 4 s"), "loss-of-shunt: X, Y", "broken"),
    Case("236.309", "(a) it waits 6 s",
         automatic_crossing("slow to pick 6 s"), "loss-of-shunt: X, Y", "proved"),
]  # fmt: skip

# ------------------------------------------------------------------ indication locking


def machine(contacts: str) -> str:
    return facing(FULL, by=f"thrown by T1-lever\n  {contacts}")


INDICATION = [
    Case("236.307", "turnout commanded reverse, points not yet over, and the signal clears on the "
         "command",
         machine("no contacts"), "indication-locking: In, T1", "broken"),
    Case("236.307", "the signal clears on what the contacts say",
         machine("contacts normal, reverse"), "indication-locking: In, T1", "proved"),
    Case("236.762", "points that did not make the movement corresponding to their lever",
         machine("no contacts").replace("T1 normal and", "T1-lever normal and")
         .replace("T1 reverse and", "T1-lever reverse and"),
         "indication-locking: In, T1", "broken"),
]  # fmt: skip

# ------------------------------------------------------------------ hand-operated switches

AT_STOP = "In at stop and B, T clear"

HAND_OPERATED = [
    Case("236.207", "unlocked in a state where a signal over the switch is still clear",
         by_hand("B, T clear"), "hand-points-unlocked: T1", "broken"),
    Case("236.207", "cannot be unlocked until control circuits of signals have been opened",
         by_hand(AT_STOP), "hand-points-unlocked: T1", "proved"),
    Case("236.207", "unlocked right after the signal drops, with a train approaching",
         by_hand(AT_STOP, TO_STOP), "hand-points-unlocked: T1", "broken"),
    Case("236.207", "approach or time locking shall be provided",
         by_hand(f"{AT_STOP} and In-time done", TO_STOP, timer(20)),
         "hand-points-unlocked: T1", "proved"),
    Case("236.314", "unlocked only after signals display aspects indicating stop: a lock that "
         "the operator can release at any time",
         by_hand("Unlock pressed and B, T clear", "button Unlock"),
         "hand-points-unlocked: T1", "broken"),
    Case("236.314", "controlled by the operator, once the signal is at stop",
         by_hand(f"Unlock pressed and {AT_STOP}", "button Unlock"),
         "hand-points-unlocked: T1", "proved"),
    Case("236.410", "a hand-operated switch in main track that nothing locks",
         by_hand(""), "points-move-under-signal: In, T1", "broken"),
    Case("236.410", "locked electrically",
         by_hand(AT_STOP), "points-move-under-signal: In, T1", "proved"),
    Case("236.410", "(b) time locking with a timer that is too short",
         by_hand(f"{AT_STOP} and In-time done", TO_STOP, timer(10)),
         "hand-points-unlocked: T1", "broken"),
]  # fmt: skip

# ------------------------------------------------------------------ track worked both ways

BOTH_WAYS = """
edge West, East
block A, B1, B2, B3, B
trains reverse on A, B
lever 2 positions left, normal, right
{parts}
track West = A | B1 | B2 | B3 | B = East
signal E1 at A | B1
  Approach  when {right} B1 clear
  Stop      otherwise
signal E2 at B1 | B2
  Approach  when {right} B2 clear
  Stop      otherwise
signal E3 at B2 | B3
  Approach  when {right} B3 clear
  Stop      otherwise
signal Out-East at B3 | B
  Clear  when 2 right and B clear
  Stop   otherwise
signal W3 at B | B3
  Approach  when {left} B3 clear
  Stop      otherwise
signal W2 at B3 | B2
  Approach  when {left} B2 clear
  Stop      otherwise
signal W1 at B2 | B1
  Approach  when {left} B1 clear
  Stop      otherwise
signal Out-West at B1 | A
  Clear  when 2 left and A clear
  Stop   otherwise
"""


def both_ways(lock: str | None, *, by_traffic: bool = True) -> str:
    """``lock``: while what the direction of traffic is locked; None for no lock at all."""
    way = "traffic Way on B1, B2, B3\n  rightward when 2 right\n  leftward when 2 left"
    if lock is not None:
        way += f"\n  locked while {lock}"
    ways = {"right": "Way rightward and", "left": "Way leftward and"}
    if not by_traffic:
        ways = dict.fromkeys(ways, "")
    # Signals into the track are put back before it can turn.
    text = BOTH_WAYS.format(parts=way, **ways)
    for name, end in (("E1", "right"), ("W3", "left")):
        at = text.index("when", text.index(f"signal {name}")) + len("when")
        text = f"{text[:at]} 2 {end} and {text[at:].lstrip()}" if by_traffic else text
    return text


OCCUPIED = "any of B1, B2, B3 occupied"
E3 = "  Approach  when Way rightward and B3 clear\n"
LOCKED = f"{OCCUPIED} or not all of E1, W3 at stop"

TRAFFIC = [
    Case("236.204", "a train in block 1 and the head block signal at the other end not at stop",
         both_ways(LOCKED, by_traffic=False), "opposing-signals-drop: W3", "broken"),
    Case("236.204", "in absolute permissive block, the opposing head block signal is at stop; a "
         "second train may follow",
         both_ways(LOCKED), "opposing-signals-drop: W3", "proved"),
    Case("236.204", "the same the other way", both_ways(LOCKED), "opposing-signals-drop: E1",
         "proved"),
    Case("236.405", "traffic changes while a section between the control points is occupied",
         both_ways("not all of E1, W3 at stop"), "traffic-locking: Way", "broken"),
    Case("236.405", "occupancy prevents changing the direction of traffic",
         both_ways(LOCKED), "traffic-locking: Way", "proved"),
    Case("236.405", "one of the sections is forgotten",
         both_ways("any of B1, B3 occupied or not all of E1, W3 at stop"),
         "traffic-locking: Way", "broken"),
    Case("236.769", "while a signal displays an aspect into the section",
         both_ways(OCCUPIED).replace("2 right and Way", "Way"), "traffic-locking: Way", "broken"),
    Case("236.405", "an aspect at restricted speed may be displayed into the occupied block",
         both_ways(LOCKED).replace(E3, f"{E3}  Restricting  when Way rightward and 2 right\n"),
         "traffic-locking: Way", "proved"),
]  # fmt: skip

# ------------------------------------------------------------------ the operator's request

REQUEST = """
edge West entering only
edge East leaving only
block A, M, N
button Clear-2, Cancel-2
relay 2-asked
  picks when Clear-2 pressed
  sticks while not Cancel-2 pressed
track West = A | M | N = East
signal 2 at A | M
  Clear  when 2-asked up {block}
  Stop   otherwise
"""

CONTROL_OPERATOR = [
    Case("236.402", "controlled by track circuits through the entire block: the dispatcher's "
         "request clears it over an occupied block",
         REQUEST.format(block="and M clear"), "proceed-into-occupied: 2, N", "broken"),
    Case("236.402", "the request only ever restricts",
         REQUEST.format(block="and M, N clear"), "proceed-into-occupied: 2, N", "proved"),
]  # fmt: skip

CASES = (
    *ROUTE_LOCKING, *APPROACH_LOCKING, *CONFLICTING, *RELEASE, *LOSS_OF_SHUNT, *INDICATION,
    *HAND_OPERATED, *TRAFFIC, *CONTROL_OPERATOR,
)  # fmt: skip


def _named(case: Case) -> str:
    return f"{case.section} [V] {case.status}: {case.says}"


@pytest.mark.parametrize("case", CASES, ids=_named)
def test_49_cfr_236_V(case: Case) -> None:
    name = case.asked.split(":")[0]
    report = verifier.prove(verifier.load_text(case.text), only=[name])
    assert verdict(report, case.asked).status == case.status


STARTED = [*ROUTE_LOCKING, *APPROACH_LOCKING[:3], *HAND_OPERATED[:4]]


@pytest.mark.parametrize("case", STARTED, ids=_named)
def test_points_may_start_either_way(case: Case) -> None:
    """A junction is safe where it is safe from both starting positions, and only there."""
    name, points = case.asked.split(":")[0], "turnout T1 in T\n"
    assert points in case.text
    statuses = set()
    for position in ("normal", "reverse"):
        text = case.text.replace(points, f"{points}  starts {position}\n")
        report = verifier.prove(verifier.load_text(text), only=[name])
        statuses.add(verdict(report, case.asked).status)
    assert ("broken" if "broken" in statuses else "proved") == case.status


def test_a_start_decides_where_nothing_moves_the_points() -> None:
    """236.303: nobody throws T1, and the signal asks for its lever alone. No train is led into the
    wrong track where T1 starts normal; one is where it starts reverse, or as it was left."""
    text = facing("locked while T1-lever normal")
    for position in ("normal", "reverse"):
        text = text.replace(f"T1 {position} and B", f"T1-lever {position} and B")
    text += 'assume "nobody touches the lever" always T1-lever normal\n'
    points, found = "turnout T1 in T\n", {}
    for start in ("", "  starts normal\n", "  starts reverse\n"):
        plan = verifier.load_text(text.replace(points, points + start))
        report = verifier.prove(plan, only=["collision"])
        found[start.strip()] = {verdict.status for verdict in report.verdicts}
    assert found[""] >= {"broken"} and found["starts reverse"] >= {"broken"}
    assert found["starts normal"] == {"proved"}


def test_every_section_has_a_safe_and_an_unsafe_junction() -> None:
    found: dict[str, set[str]] = {}
    for case in CASES:
        found.setdefault(case.section, set()).add(case.status)
    one_sided = {section for section, statuses in found.items() if len(statuses) < 2}
    # 236.762 and 236.769 define what 236.307 and 236.405 ask for, and share their safe junction.
    assert one_sided == {"236.762", "236.769"}


def test_49_cfr_236_401_V_a_dispatcher_switches_nothing_off() -> None:
    """49 CFR 236.401 [V]: the standards of 236.201 to 236.203, 236.205, 236.206, 236.303,
    236.307 and 236.309 to 236.311 "shall apply to traffic control systems". Whatever is asked of
    a junction is asked too when a dispatcher's buttons, relays and locks are added."""
    plain = both_ways(None, by_traffic=False).replace("trains reverse on A, B\n", "")
    way = plain[plain.index("traffic") : plain.index("track")]
    plan, controlled = (verifier.load_text(t) for t in (plain.replace(way, ""), both_ways(LOCKED)))
    assert not plan.locking.over_time and controlled.locking.over_time
    before = {o.key for entry in BY_NAME.values() for o in entry.make(plan)}
    after = {o.key for entry in BY_NAME.values() for o in entry.make(controlled)}
    assert before
    assert before <= after
    assert {"opposing-signals-drop: E1", "traffic-locking: Way"} <= after - before
