"""Histories told in the trade's words, what does not matter left out, and why they could be."""

from collections.abc import Sequence

from tests.decide.histories import Chosen, course, end_of_siding, obligation
from verifier.api import load_text, prove
from verifier.engines.temporal.scheduling import Scheduled, scheduled
from verifier.explain.trace_narrative import Narrative, narrative
from verifier.explain.trace_slicing import Moment
from verifier.logic.expr import holds
from verifier.plan.model import Plan
from verifier.properties.examples import example
from verifier.verdicts.causes import Cause
from verifier.world.history import Histories

PRESS = {("button", "Clear-4L"): "pressed"}
COMES_IN = {("entry", "Quarry"): "yes"}
IS_IN = {("advance", "Single right to Quarry end"): "yes"}
PASSES = {("advance", "T1 points to Single left"): "yes"}
REVERSE = {("lever", "T1-lever"): "reverse"}
UNDER_TRAIN = "points-move-under-train: T1"


def tell(plan: Plan, key: str, *chosen: Chosen) -> Narrative:
    """The history up to where it first comes to what the obligation is about."""
    histories = Histories(plan)
    broken = obligation(plan, key)
    bad = histories.expand(broken.formula)
    moments = course(histories, chosen)
    last = next(k for k, moment in enumerate(moments) if holds(bad, moment))
    return narrative(histories, timed(histories, moments[: last + 1]), broken)


def timed(histories: Histories, moments: Sequence[Moment]) -> Scheduled:
    played = scheduled(histories.system, moments)
    assert played is not None
    return played


def events(found: Narrative) -> list[str]:
    return [event.text for event in found.story.events]


def texts(causes: tuple[Cause, ...]) -> list[str]:
    return [text for c in causes for text in (c.text, *texts(c.because))]


def test_a_history_is_told_event_by_event() -> None:
    found = tell(
        end_of_siding(), UNDER_TRAIN, {**PRESS, **COMES_IN}, IS_IN, {**PASSES, **REVERSE}, {}
    )
    assert events(found) == [
        "operator presses Clear-4L",
        "relay 4L-route picks",
        "a train comes in at Quarry, onto Single",
        "4L clears to Clear",
        "operator throws T1-lever reverse",
        "T1 begins to move toward reverse",
        "the front of the train passes 4L and comes onto T1",
        "the points of T1 move while a train is on them: `Clear when …` of 4L (line 23) and "
        "`locked while …` of T1 (line 12) does not hold",
    ]
    assert found.story.trains == 1
    assert [event.moment for event in found.story.events] == [0, 0, 0, 1, 2, 2, 2, 3]


def test_what_does_not_matter_is_left_out() -> None:
    elsewhere = {("entry", "West-Siding"): "yes"}
    plan = end_of_siding()
    with_more = tell(
        plan,
        UNDER_TRAIN,
        {**PRESS, **COMES_IN, **elsewhere},
        {**IS_IN, ("reversal", "Siding"): "yes"},
        {**PASSES, **REVERSE, **PRESS},
        REVERSE,
    )
    without = tell(plan, UNDER_TRAIN, {**PRESS, **COMES_IN}, IS_IN, {**PASSES, **REVERSE}, {})
    assert events(with_more) == events(without)
    assert with_more.story.trains == 1
    assert with_more.story.moments == without.story.moments


def test_points_that_nothing_locks() -> None:
    plan = end_of_siding(lock="")
    found = tell(plan, UNDER_TRAIN, {**PRESS, **COMES_IN}, IS_IN, PASSES, REVERSE)
    assert (
        events(found)[-3:]
        == [
            "operator throws T1-lever reverse",
            "T1 begins to move toward reverse",
            "the points of T1 move while a train is on them: `Clear when …` of 4L (line 23) and "
            "nothing locks T1",
        ]
        or "nothing locks T1" in events(found)[-1]
    )
    assert [cause.text for cause in found.causes] == [
        "4L let the train come (event 5): it showed Clear",
        "nothing locks T1",
    ]


def test_two_trains_and_the_signal_that_let_one_come() -> None:
    plan = end_of_siding(lock="")
    found = tell(
        plan,
        "collision: Siding",
        {**PRESS, **COMES_IN, ("entry", "West-Siding"): "yes"},
        IS_IN,
        PASSES,
        REVERSE,
        {**REVERSE, ("arrival", "T1"): "yes"},
        {**REVERSE, ("advance", "Siding right to T1 reverse"): "yes"},
    )
    assert found.story.trains == 2
    assert events(found)[-2:] == [
        "the front of the train from Quarry comes onto Siding, where a train stands",
        "two trains meet on Siding: `Clear when …` of 4L (line 23) and nothing locks T1",
    ]
    said = texts(found.causes)
    passing = 1 + events(found).index("the front of the train from Quarry passes 4L and comes onto "
                                      "T1")  # fmt: skip
    assert f"4L let the train from Quarry come (event {passing}): it showed Clear" in said
    picking = 1 + events(found).index("relay 4L-route picks")
    assert f"relay 4L-route is up since event {picking}" in said
    assert "button Clear-4L is pressed" in said
    assert said[-1] == "the train from West-Siding came in at West-Siding and has passed no signal"


def test_why_a_relay_had_let_go() -> None:
    """The lock asks for a relay that let go as soon as the train was on the switch."""
    plan = end_of_siding(lock="locked while 4L-route up")
    found = tell(plan, UNDER_TRAIN, {**PRESS, **COMES_IN}, IS_IN, PASSES, {}, REVERSE)
    dropped = 1 + events(found).index("relay 4L-route drops")
    assert texts(found.causes[1:]) == [
        "T1 is not locked: `locked while …` does not hold",
        f"relay 4L-route is down since event {dropped}",
        "Switch reports occupied (stock stands there)",
    ]


# ------------------------------------------------------------------ from the properties' examples


def example_plan(name: str) -> Plan:
    return load_text(example(name, "broken"), f"{name}.ixl")


def test_two_fronts_at_once() -> None:
    plan = example_plan("collision")
    found = tell(
        plan,
        "collision: S",
        {("entry", "West"): "yes", ("entry", "East"): "yes"},
        {
            ("advance", joint(plan, "W", "S")): "yes",
            ("advance", joint(plan, "S", "E")): "yes",
        },
    )
    assert events(found)[2:] == [
        "a train comes in at West, onto W",
        "another train comes in at East, onto E",
        "the front of the train from West passes 2R and comes onto S as another train does",
        "the front of the train from East passes 2L and comes onto S as another train does",
        "two trains meet on S: `Approach when …` of 2R (line 7) and `Approach when …` of 2L "
        "(line 13)",
    ]
    assert [cause.text for cause in found.causes] == [
        "2R let the train from West come (event 5): it showed Approach",
        "2L let the train from East come (event 6): it showed Approach",
    ]


def test_traffic_that_turns() -> None:
    plan = example_plan("traffic-locking")
    found = tell(
        plan,
        "traffic-locking: Way",
        {("entry", "West"): "yes", ("lever", "2"): "right"},
        {("lever", "2"): "right", ("advance", joint(plan, "W", "S")): "yes"},
        {("lever", "2"): "left"},
    )
    assert events(found)[-2:] == [
        "the direction of traffic Way turns leftward",
        "the direction of traffic Way turns while a train is on S or a signal lets a train onto "
        "it: `Clear when …` of 2R (line 10) and `locked while …` of Way (line 7) does not hold",
    ]
    assert "the direction of traffic Way is rightward, as at the start" in texts(found.causes)


def test_a_train_that_is_too_late_to_stop() -> None:
    """A train passes its signal after that was put back, and after the points moved."""
    plan = example_plan("approach-locking")
    found = tell(
        plan,
        "derailment: T1",
        {("entry", "West"): "yes"},
        {("lever", "In-lever"): "reverse"},
        {("lever", "T1-lever"): "reverse", ("stays late", "In"): "yes"},
        {("lever", "T1-lever"): "reverse", ("advance", joint(plan, "A", "T1")): "yes"},
    )
    said = events(found)
    assert "In drops to Stop" in said
    assert "the front of the train passes In, too late to stop, and comes onto T1" in said
    assert said[-1].startswith("a train derails at the points of T1: `Clear when …` of In")
    first, *_ = found.causes
    assert first.text.startswith("In let the train come (event ")
    assert first.text.endswith("): it showed Clear")


def test_a_train_that_is_not_seen() -> None:
    plan = example_plan("loss-of-shunt")
    histories = Histories(plan, lossy=True)
    lever = {("lever", "In-lever"): "reverse"}
    stays = {("stays lost", "T"): "yes"}
    over = {("expiry", "T-track"): "yes"}
    chosen: list[Chosen] = [
        {},
        over,
        {("entry", "West"): "yes", **lever},
        {**lever, ("advance", joint(plan, "A", "T1")): "yes"},
        {("loss", "T"): "yes"},
        stays,
        {**stays, **over},
        {**stays, ("lever", "T1-lever"): "reverse"},
        {("lever", "T1-lever"): "reverse"},
    ]
    moments = course(histories, chosen)
    broken = obligation(plan, "loss-of-shunt: T1")
    bad = histories.expand(broken.formula)
    last = next(k for k, moment in enumerate(moments) if holds(bad, moment))
    found = narrative(histories, timed(histories, moments[: last + 1]), broken)
    said = events(found)
    assert "the train on T is no longer detected" in said
    # What takes its time is told after that time has passed.
    picks = [k for k, text in enumerate(said) if text == "relay T-track picks"]
    assert picks and all(said[k - 1] == "3 s pass" for k in picks)
    assert "T reports clear (the train there is not detected)" in texts(found.causes)
    assert found.story.trains == 1


def joint(plan: Plan, one: str, other: str) -> str:
    """The name of the joint between two pieces."""
    return next(j.name for j in plan.track.joints if {j.a.piece, j.b.piece} == {one, other})


def test_what_nothing_told_depends_on_is_left_out() -> None:
    """What signals show after trains have passed, and relays that only follow."""
    plan = load_text("""
edge West, East
block A, B, C
track West | A | B | C | East
signal 1 at West | A
  Clear when A clear and not 3 at stop
  Approach when A clear
  Stop otherwise
signal 3 at A | B
  Approach when B clear
  Stop otherwise
signal 2 at East | C
  Approach when C clear
  Stop otherwise
signal 4 at C | B
  Approach when B clear
  Stop otherwise
relay Repeater picks when A occupied
trains never reverse
""")
    report = prove(plan, only=("collision",))
    (broken,) = [v for v in report.verdicts if v.obligation.subjects == ("B",)]
    assert broken.finding and broken.finding.story
    told = [event.text for event in broken.finding.story.events]
    assert not any("drops" in text or "Repeater" in text for text in told)
    assert len(told) <= 9
