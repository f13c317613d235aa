"""The fewest promises of a crew: enough, none too many, each with its history and its lock."""

import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import pytest

import verifier
from verifier.decide.histories import HistoryProver
from verifier.engines.stopping import OutOfTime
from verifier.pipeline import prove
from verifier.plan.model import Plan
from verifier.reference.step import replay
from verifier.repair.crew_candidates import candidates
from verifier.repair.fewest_promises import Fewest, fewest_promises, safety, with_promises
from verifier.repair.promise_boards import boards
from verifier.repair.promise_equipment import equipment

HAND = """
edge West-Main, West-Siding, East
block Main, Siding, Switch, Single
turnout T1 in Switch
  thrown by hand
track West-Main   = Main   | normal  T1 | Single = East
track West-Siding = Siding | reverse T1
signal 4L at Single | T1
  heads upper, lower
  Clear            when T1 normal  and Switch, Main clear and 4RA, 4RB at stop
  Diverging-Clear  when T1 reverse and Switch, Siding clear and 4RA, 4RB at stop
  Stop             otherwise
signal 4RA at Main | T1
  Clear  when T1 normal and Switch, Single clear
  Stop   otherwise
signal 4RB at Siding | T1
  Clear  when T1 reverse and Switch, Single clear
  Stop   otherwise
"""
GATE = """
edge West, East
block A, Bridge, B
gate G1 on Bridge
track West = A | Bridge | B = East
signal 2R at A | Bridge
  Clear when G1 seated and Bridge, B clear and 2L at stop
  Stop otherwise
signal 2L at B | Bridge
  Clear when G1 seated and Bridge, A clear
  Stop otherwise
"""


def looked(text: str, step: Callable[[], None] = lambda: None) -> Fewest:
    return fewest_promises(verifier.load_text(text), None, step)


@cache
def by_hand() -> Fewest:
    return looked(HAND)


def promised(found: Fewest) -> list[str]:
    return [needed.promise.text for needed in found.needed]


def fails(plan: Plan) -> list[str]:
    return [v.obligation.key for v in prove(plan, repairs=False).verdicts if v.fails]


def test_the_fewest_are_enough_and_none_is_too_many() -> None:
    found = by_hand()
    assert found.suffices and not found.stopped and not found.remaining
    assert promised(found) == ["not to throw T1 under a train",
                               "not to throw T1 under clear signals"]  # fmt: skip
    assert not fails(found.promised)
    for needed in found.needed:
        others = [n.promise for n in found.needed if n is not needed]
        assert fails(with_promises(found.plan, others))


def test_what_happens_where_a_promise_is_broken_is_replayed_by_the_reference() -> None:
    found = by_hand()
    for needed in found.needed:
        broken = needed.broken
        assert broken is not None and broken.finding is not None and broken.finding.story
        moments = broken.finding.story.moments
        others = [n.promise for n in found.needed if n is not needed]
        assert replay(with_promises(found.plan, others), moments, broken.obligation.holds_in)
        assert not replay(found.promised, moments, broken.obligation.holds_in)


def test_a_lock_in_place_of_a_promise_does_what_it_says() -> None:
    """Written into the file, without that promise, everything is proved."""
    under_clear = by_hand().needed[1]
    lock = "electric lock released when 4L, 4RA, 4RB at stop"
    assert under_clear.equipment == f"an electric lock on T1: `{lock}` under `turnout T1`"
    text = HAND.replace("thrown by hand\n", f"thrown by hand\n  {lock}\n")
    rule = "crew promises not to throw T1 under a train\n"
    assert not fails(verifier.load_text(text + rule))
    assert fails(verifier.load_text(text))


def test_one_lock_in_place_of_all_promises() -> None:
    text = by_hand().together["T1"]
    lock = "electric lock released when Switch clear and 4L, 4RA, 4RB at stop"
    assert text == f"an electric lock on T1: `{lock}` under `turnout T1`"
    written = HAND.replace("thrown by hand\n", f"thrown by hand\n  {lock}\n")
    assert not fails(verifier.load_text(written))


def test_a_gate_is_promised_too() -> None:
    found = looked(GATE)
    assert found.suffices and not found.remaining
    assert promised(found) == ["not to throw G1 under a train",
                               "not to throw G1 under clear signals"]  # fmt: skip
    lock = "electric lock released when Bridge clear and 2R, 2L at stop"
    assert found.together["G1"] == (
        f"an electric lock on G1: `thrown by hand` and `{lock}` under `gate G1`"
    )


def test_what_no_promise_prevents_remains() -> None:
    """A signal that trusts the lever lets trains onto points that still move."""
    text = HAND.replace("thrown by hand", "no contacts\n  thrown by hand")
    found = looked(text)
    assert found.suffices
    assert "indication-locking" in {v.obligation.property for v in found.remaining}
    assert all(v.status == "broken" for v in found.remaining)


def test_a_promise_of_the_file_is_no_more_than_a_candidate() -> None:
    found = looked(HAND + "crew promises one train at a time on Main, Switch\n")
    assert promised(found) == promised(by_hand())


@pytest.mark.parametrize("reached", [0, 3, 12, 30, 60])
def test_stopped_early_it_says_no_more_than_is_proved(reached: int) -> None:
    asked = 0

    def step() -> None:
        nonlocal asked
        asked += 1
        if asked > reached:
            raise OutOfTime("not reached within 1 s")

    found = looked(HAND, step)
    assert found.stopped == "not reached within 1 s"
    if found.suffices:
        prover = HistoryProver(found.promised, None, lambda: None)
        verdicts = prover.verdicts(safety(found.promised))
        assert all(v.status == "proved" for v in verdicts)
    else:
        assert not found.needed or all(n.broken is None for n in found.needed)


LINE = """
edge West, East
block A, B, C, D, E
track West = A | B | C | D | E = East
signal 1 at A | B
  Clear when B clear
  Stop otherwise
signal 3 at B | C
  Clear when C clear
  Stop otherwise
signal 5 at C | D
  Clear when D clear
  Stop otherwise
signal 7 at D | E
  Clear when E clear
  Stop otherwise
signal 8 at E | D
  Clear when D clear
  Stop otherwise
signal 6 at D | C
  Clear when C clear
  Stop otherwise
signal 4 at C | B
  Clear when B clear
  Stop otherwise
signal 2 at B | A
  Clear when A clear
  Stop otherwise
"""
STATEMENT = re.compile(r"`((?:lever|timer|traffic|edge|signal) [^`]*)`")
IN_LINES = re.compile(r"`(and [^`]*)` in each line of ([^;]*) that lets trains pass")


def installed(text: str, equipment: str) -> str:
    """The file with what is offered written into it, as its user would."""
    for condition, names in IN_LINES.findall(equipment):
        for name in names.split(" and "):
            text = re.sub(rf"(signal {name} at.*\n  Clear when .*)", rf"\1 {condition}", text)
    return text + "\n".join(STATEMENT.findall(equipment)) + "\n"


@pytest.mark.parametrize(
    ("text", "promise", "what"),
    [
        (f"{LINE}trains obey signals\n", "one direction at a time on B, C, D", "a traffic lock"),
        (f"{LINE}trains need 20 s to stop\n", "one train at a time on B, C, D", "a traffic lock"),
    ],
)  # fmt: skip
def test_what_replaces_the_dispatchers_word_does_what_it_says(
    text: str, promise: str, what: str
) -> None:
    """Written into the file, without that promise, nothing is left but what no promise mends."""
    found = looked(text)
    (needed,) = found.needed
    assert needed.promise.text == promise and needed.equipment.startswith(f"{what}: ")
    plan = with_promises(verifier.load_text(installed(text, needed.equipment)), ())
    left = {v.obligation.key for v in found.remaining}
    asked = [o for o in safety(plan) if o.key not in left]
    assert {o.key for o in safety(found.plan)} - left <= {o.key for o in asked}
    prover = HistoryProver(plan, None, lambda: None)
    assert all(v.status == "proved" for v in prover.verdicts(asked))


SHUNT = """
edge West, Yard, East
block Main, Siding, Switch, Single, Far
turnout T1 in Switch
  thrown by hand
  electric lock released when Switch clear and 2, 4, 6 at stop
track West = Main | normal T1 | Single | Far = East
track Yard = Siding | reverse T1
signal 2 at Main | T1
  Clear when T1 normal and Switch, Single clear
  Stop otherwise
signal 4 at Siding | T1
  Clear when T1 reverse and Switch, Single clear
  Stop otherwise
signal 6 at Single | T1
  Clear     when T1 normal and Switch, Main clear and 2, 4 at stop
  Approach  when T1 reverse and Switch, Siding clear and 2, 4 at stop
  Stop      otherwise
signal 8 at Single | Far
  Clear when Far clear
  Stop otherwise
signal 10 at Far | Single
  Clear when Single clear
  Stop otherwise
"""


def test_a_lever_holds_what_lies_before_the_stretch_too() -> None:
    """A train that has passed its signal and is still on the points counts as coming."""
    found = looked(SHUNT)
    (needed,) = found.needed
    assert needed.promise.text == "one train at a time on Single"
    assert needed.equipment.startswith("a lever for the dispatcher: ")
    written = installed(SHUNT, needed.equipment)
    assert "Single, Switch clear" in written
    held = verifier.load_text(written)
    loose = verifier.load_text(written.replace("and Single, Switch clear", "and Single clear"))
    for plan, safe in ((held, True), (loose, False)):
        collisions = [o for o in safety(plan) if o.property == "collision"]
        prover = HistoryProver(plan, None, lambda: None)
        assert all(v.status == "proved" for v in prover.verdicts(collisions)) is safe


def test_trains_that_turn_back_meet_a_board() -> None:
    one_way = LINE.partition("signal 8")[0].replace("West, East", "West\nedge East leaving only")
    text = f"{one_way}trains reverse on B, C\n"
    plan = verifier.load_text(text)
    promise = replace(candidates(plan)[-1][0], rule="to reverse", about=("B", "C"))
    (made,) = boards(with_promises(plan, ()), promise)
    assert made.text == (
        "boards that always show stop: `signal Board-1 at B | A Stop otherwise`; "
        "`signal Board-2 at C | B Stop otherwise`"
    )
    written = verifier.load_text(text + "\n".join(STATEMENT.findall(made.text)) + "\n")
    names = [route.name for route in written.routes]
    assert names == [route.name for route in made.plan.routes]
    for asked, safe in ((plan, False), (written, True), (made.plan, True)):
        prover = HistoryProver(with_promises(asked, ()), None, lambda: None)
        collisions = [o for o in safety(asked) if o.property == "collision"]
        assert all(v.status == "proved" for v in prover.verdicts(collisions)) is safe


WIRED = """
edge West, East
supply Bus-1 12 V
block A
block B feeders b1
block C feeders c1
block D
track West = A | B | C | D = East
detector D-B current-sensing through b1 powered by Bus-1 output closed when clear
detector D-C current-sensing through c1 powered by Bus-1 output closed when clear
signal 2 at A | B
  Clear when B clear
  Stop otherwise
signal 4 at D | C
  Clear when C clear
  Stop otherwise
driver Box-2 drives 2
  powered by Bus-1
  reads D-B{more}
driver Box-4 drives 4
  powered by Bus-1
  reads D-B, D-C
"""


def test_what_a_driver_is_not_wired_to_is_not_asked_of_its_signal() -> None:
    for more, offered in ((", D-C", 2), ("", 0)):
        plan = verifier.load_text(WIRED.format(more=more))
        promise = replace(
            candidates(plan)[-1][0], rule="one train at a time", about=("B", "C"), text=""
        )
        assert len(list(equipment(with_promises(plan, ()), [promise]))) == offered
