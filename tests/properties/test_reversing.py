"""Reversing sections: the rails of drawn track joined one by one, against what is asked."""

from collections.abc import Iterator
from itertools import product
from random import Random

import pytest

import verifier
from tests.differential.junctions import write_junction
from verifier.language.diagnostics.diagnostic import InputError
from verifier.plan.model import Joint, Plan, Port
from verifier.plan.track.turning import comes_back_turned, turning_ways

ASKED = ["rail-meets-rail", "reverser-not-isolated"]
POWER = """
supply Track-A track power DCC 15 V
reverser Turn fed by Track-A
reverser Turn-2 fed by Track-A
district Plain fed by Track-A
district Around fed by Turn
district Around-2 fed by Turn-2
prove "something" never train on Loop and Loop vacant
"""


def found(text: str) -> dict[str, str]:
    """The verdicts of a track, by property and subjects. Proving compares the census too."""
    plan = verifier.load_text(POWER + text)
    verdicts = verifier.prove(plan, only=ASKED).verdicts
    return {v.obligation.key: v.status for v in verdicts}


# ------------------------------------------------------------------ by rails


def shorted(plan: Plan, joints: tuple[Joint, ...]) -> bool:
    """Whether the two rails meet, by joining every two pieces of rail that touch: within a piece
    and at a joint. Rails are drawn ones: the upper and the lower one of each end."""
    group: dict[tuple[Port, str], int] = {}
    for number, (port, rail) in enumerate(product(plan.track.joint_at, ("upper", "lower"))):
        group[port, rail] = number

    def join(one: tuple[Port, str], other: tuple[Port, str]) -> None:
        old, new = group[one], group[other]
        for key, value in group.items():
            if value == old:
                group[key] = new

    pieces = {port.piece for joint in joints for port in (joint.a, joint.b)}
    for one, other, crossed in _touching(plan, pieces):
        for rail, beyond in (("upper", "lower"), ("lower", "upper")):
            join((one, rail), (other, beyond if crossed else rail))
    for joint in joints:
        # Drawn from left to right, what is up stays up; where two right ends meet, one is turned
        # by half a circle.
        turned = _right(joint.a) == _right(joint.b)
        for rail, beyond in (("upper", "lower"), ("lower", "upper")):
            join((joint.a, rail), (joint.b, beyond if turned else rail))
    return any(group[port, "upper"] == group[port, "lower"] for port in plan.track.joint_at)


def _right(port: Port) -> bool:
    return port.end in ("right", "normal", "reverse", "along-right", "across-right")


def _touching(plan: Plan, pieces: set[str]) -> Iterator[tuple[Port, Port, bool]]:
    """The ends of a piece whose rails are one, drawn with points and left ends on the left."""
    for name in pieces:
        ends = plan.track.pieces[name].ends
        match plan.track.pieces[name].kind:
            case "plain":
                yield Port(name, "left"), Port(name, "right"), False
            case "turnout":
                yield Port(name, "points"), Port(name, "normal"), False
                yield Port(name, "points"), Port(name, "reverse"), False
            case "crossing":
                yield Port(name, "along-left"), Port(name, "along-right"), False
                yield Port(name, "across-left"), Port(name, "across-right"), False
            case "slip":
                for end in ends[1:]:
                    yield Port(name, ends[0]), Port(name, end), False
            case _:
                pass


@pytest.mark.parametrize("seed", range(25))
def test_rails_meet_where_joining_them_one_by_one_says_so(seed: int) -> None:
    r, looked = Random(seed), 0
    while looked < 4:
        text = write_junction(r, 3000)
        try:
            plan = verifier.load_text(text)
        except InputError:
            continue
        looked += 1
        joints = list(plan.track.joints)
        for _ in range(5):
            some = tuple(j for j in joints if r.random() < 0.9)
            assert comes_back_turned(some, plan.track) == shorted(plan, some)
        ways = turning_ways(plan.track)
        assert bool(ways) == shorted(plan, plan.track.joints)
        assert all(shorted(plan, way) for way in ways)
        rest = tuple(j for j in joints if not any(j in way for way in ways))
        assert not shorted(plan, rest)


# ------------------------------------------------------------------ by hand

LOOP = """
edge West
block Lead, Switch in Plain
block Loop in {district}
turnout T1 in Switch
track West = Lead | T1 normal {one} Loop {two} reverse T1
signal 2 at Lead | T1
  Stop otherwise
signal 4 at Loop {one} normal T1
  Stop otherwise
signal 6 at Loop {two} reverse T1
  Stop otherwise
"""


@pytest.mark.parametrize(
    ("district", "one", "two", "meets", "isolated"),
    [
        ("Plain", "|", "|", True, True),
        ("Plain", "||", "|", True, True),
        ("Plain", "||", "||", True, True),
        ("Around", "|", "|", True, False),
        ("Around", "||", "|", False, False),
        ("Around", "|", "||", False, False),
        ("Around", "||", "||", False, True),
    ],
)
def test_a_balloon_loop(district: str, one: str, two: str, meets: bool, isolated: bool) -> None:
    verdicts = found(LOOP.format(district=district, one=one, two=two))
    said = verdicts.pop("rail-meets-rail: Switch, Loop")
    assert (said == "broken") == meets
    assert verdicts["reverser-not-isolated: Turn"] == ("proved" if isolated else "broken")


WYE = """
edge West, East
bumper Tail
block W, E, T in Plain
block W-Switch, E-Switch, T-Switch in Plain
block Main-Leg in Plain
block E-Leg in {second}
block Loop in {first}
turnout T1 in W-Switch
turnout T3 in E-Switch
turnout T5 in T-Switch
track West = W | T1 normal | Main-Leg | normal T3 | E = East
track T1 reverse || Loop || normal T5 | T = Tail
track T5 reverse {joint} E-Leg {joint} reverse T3
signal 2 at W | T1
  Stop otherwise
"""
LEGS = "W-Switch, E-Switch, T-Switch, Main-Leg, E-Leg, Loop"


@pytest.mark.parametrize(
    ("first", "second", "joint", "meets"),
    [
        ("Plain", "Plain", "|", True),
        ("Around", "Plain", "|", False),
        ("Around", "Around", "||", False),
        ("Around", "Around-2", "||", False),
    ],
)
def test_a_wye(first: str, second: str, joint: str, meets: bool) -> None:
    verdicts = found(WYE.format(first=first, second=second, joint=joint))
    assert verdicts[f"rail-meets-rail: {LEGS}"] == ("broken" if meets else "proved")
    assert verdicts["reverser-not-isolated: Turn"] == "proved"


def test_two_reversers_do_not_meet() -> None:
    text = """
        edge West, East
        block Near in Around
        block Loop in {}
        track West = Near || Loop = East
        signal 2 at Near || Loop
          Stop otherwise
    """
    assert found(text.format("Around"))["reverser-not-isolated: Turn"] == "proved"
    assert found(text.format("Around-2"))["reverser-not-isolated: Turn"] == "broken"
    assert found(text.format("Around-2"))["reverser-not-isolated: Turn-2"] == "broken"
    assert found(text.format("Plain"))["reverser-not-isolated: Turn"] == "proved"


def test_crossings_keep_their_tracks_apart_and_slips_do_not() -> None:
    """A track that leaves a crossing on the right and comes back to it on the right, too."""
    text = """
        edge A, B
        block West, East, Middle in Plain
        block Loop, Loop-2 in Plain
        {device} X in Middle
        bumper End
        turnout T9 in East
        track A = West | along X | Loop | T9 normal = End
        track B = Loop-2 | across X | reverse T9
    """
    assert not any(key.startswith("rail") for key in found(text.format(device="crossing")))
    assert found(text.format(device="slip"))["rail-meets-rail: East, Middle, Loop"] == "broken"


def test_a_crossover_and_a_double_slip_of_two_tracks_turn_nothing() -> None:
    text = """
        edge A, B, C, D
        block West, East, Upper, Lower, S in Plain
        block Loop in Plain
        turnout T1 in S
        turnout T3 in S
        slip P1 in S
        track A = West | T1 normal = along P1 | East = B
        track C = Upper | across P1 = normal T3 | Lower = D
        track T1 reverse | Loop | reverse T3
        signal 2 at West | T1
          Stop otherwise
    """
    assert not any(key.startswith("rail") for key in found(text))


@pytest.mark.parametrize("turned", ["", "turned round"])
@pytest.mark.parametrize("joint", ["|", "||"])
def test_a_module_turned_round(turned: str, joint: str) -> None:
    verdicts = found(f"""
        edge West
        block Main in Plain
        block Loop in Around
        module Balloon (lead, loop)
          block Switch
          turnout T1 in Switch
          track lead | T1 normal || loop {joint} reverse T1
          signal 2 at lead | T1
            Stop otherwise
          signal 4 at loop || normal T1
            Stop otherwise
          signal 6 at loop {joint} reverse T1
            Stop otherwise
        end
        use Balloon as End {turned} with lead = Main, loop = Loop
        track {"West = Main" if not turned else "Main = West"}
    """)
    assert verdicts["rail-meets-rail: Loop, End.Switch"] == "proved"
    isolated = "proved" if joint == "||" else "broken"
    assert verdicts["reverser-not-isolated: Turn"] == isolated


def test_two_loops_are_asked_one_by_one() -> None:
    verdicts = found("""
        block Single, W-Switch, E-Switch in Plain
        block Loop in Around
        block E-Loop in Plain
        turnout T1 in W-Switch
        turnout T3 in E-Switch
        track normal T1 | Single | T3 normal || E-Loop || reverse T3
        track T1 normal || Loop || reverse T1
        signal 2 at Single | T1
          Stop otherwise
        signal 4 at Single | T3
          Stop otherwise
        signal 6 at Loop || normal T1
          Stop otherwise
        signal 8 at Loop || reverse T1
          Stop otherwise
        signal 10 at E-Loop || normal T3
          Stop otherwise
        signal 12 at E-Loop || reverse T3
          Stop otherwise
    """)
    assert verdicts["rail-meets-rail: W-Switch, Loop"] == "proved"
    assert verdicts["rail-meets-rail: E-Switch, E-Loop"] == "broken"
