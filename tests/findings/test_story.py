"""Histories told in the trade's words, what does not matter left out, and why they could be."""

from tests.findings.histories import Chosen, course, end_of_siding, obligation
from verifier.findings.story import Told, told
from verifier.findings.verdicts import Cause
from verifier.plan.model import Plan
from verifier.world.history import Histories

PRESS = {("button", "Clear-4L"): "pressed"}
COMES_IN = {("entry", "Quarry"): "yes"}
IS_IN = {("advance", "Single right to Quarry end"): "yes"}
PASSES = {("advance", "T1 points to Single left"): "yes"}
REVERSE = {("lever", "T1-lever"): "reverse"}
UNDER_TRAIN = "points-move-under-train: T1"


def tell(plan: Plan, key: str, *chosen: Chosen) -> Told:
    histories = Histories(plan)
    return told(histories, course(histories, chosen), obligation(plan, key))


def events(found: Told) -> list[str]:
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
        "4L drops to Stop",
        "the points of T1 move while a train is on them: `Clear when …` of 4L (line 23) and "
        "`locked while …` of T1 (line 12) does not hold",
    ]
    assert found.story.trains == 1
    assert [event.moment for event in found.story.events] == [0, 0, 0, 1, 2, 2, 2, 3, 3]


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
