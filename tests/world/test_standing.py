"""Where on its block stock stands is chosen anew at each moment; reports outlast a train."""

from functools import partial

import pytest

import verifier
from verifier.engines.results import Reachable
from verifier.engines.temporal.bmc import search as bounded_search
from verifier.engines.temporal.localization import Windows
from verifier.logic.expr import Expr, atom, conjunction, holds
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.reference.explicit_states import Never, Reached, search
from verifier.reference.step import replay
from verifier.world.history import Histories


def line(*, through: str = "m1", more: str = "", clears: str = "") -> Plan:
    """One block that a train enters at one end and leaves at the other, and a relay that picks
    whenever the detector sees it."""
    return verifier.load_text(f"""
    supply Rail track power 14 V
    district North fed by Rail
    edge West entering only
    edge East leaving only
    block Main in North feeders m1, m2
    block Beyond
    track West = Main | Beyond = East
    detector D current-sensing through {through} {more}
    relay Again picks when Lost up and Main occupied
    relay Lost picks when Seen up and Main clear sticks while Main clear
    relay Seen picks when Main occupied
    built as one program
    trains never reverse
    signal 2 at Main | Beyond
      {clears}
      Stop otherwise
    """)


def reaches(plan: Plan, bad: Expr) -> bool:
    """Whether a history leads there; the engines and the search over the stepper agree on it."""
    histories = Histories(plan)
    goal, predicate = histories.expand(bad), partial(holds, bad)
    (answer,) = search(plan, [predicate], most_steps=20_000)
    (found,) = Windows(histories.system, timeout=20).decide([goal])
    if isinstance(answer, Reached):
        bounded = bounded_search(histories.system, goal, most=len(answer.history) - 1)
        assert isinstance(bounded, Reachable)
        assert replay(plan, bounded.trace, predicate)
        return True
    assert isinstance(answer, Never) and not isinstance(found.outcome, Reachable)
    return False


AGAIN = atom(observables.relay("Again"), "up")
LOST = atom(observables.relay("Lost"), "up")
MAIN = atom(observables.train("Main"), "occupied")


def test_a_train_is_seen_lost_and_seen_again_as_it_moves_on() -> None:
    """It enters beside m1, draws at m2, which bypasses the detector, and then beside m1 again: one
    place for good would never let the last relay pick while the train is there."""
    assert reaches(line(), conjunction(AGAIN, MAIN))


def test_a_train_that_draws_through_the_detector_anywhere_is_never_lost() -> None:
    assert not reaches(line(through="m1, m2"), conjunction(LOST, MAIN))


REPORT = atom(observables.block_report("Main"), "occupied")
VACANT = atom(observables.stock("Main"), "vacant")


@pytest.mark.parametrize(("hold", "is_held"), [("", False), ("hold 4 s", True)])
def test_a_detector_that_holds_its_report_outlasts_the_train(hold: str, is_held: bool) -> None:
    """A report of occupied lasts while the train is elsewhere already."""
    more = f"{hold} output closed when clear"
    plan = line(through="m1, m2", more=more, clears="Clear when Beyond clear")
    gone = conjunction(REPORT, VACANT, atom(observables.train("Beyond"), "vacant"))
    assert reaches(plan, conjunction(REPORT, VACANT)) is is_held
    assert reaches(plan, gone) is is_held
