"""Never proved when it is not known; never broken without a replay."""

import os
import signal
from collections.abc import Callable

import pytest
from z3 import z3core

import verifier
from tests.decide.layouts import BROKEN, SAFE
from tests.junction_files import spec
from verifier.decide.situations import SituationProver
from verifier.engines.session import Session
from verifier.engines.smt.situations import SituationCheck
from verifier.logic.expr import FALSE, TRUE, Expr, negation
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.properties.catalog import obligations
from verifier.properties.obligation import Obligation
from verifier.reference import evaluator as evaluating
from verifier.reference.evaluator import Evaluator, TooManyWays, Unsettled
from verifier.verdicts.exit_codes import ExitCode
from verifier.verdicts.report import InternalError, Verdict
from verifier.world.world import World


def test_the_layouts_are_what_they_are_said_to_be() -> None:
    safe = verifier.prove(verifier.load_text(SAFE))
    assert {v.status for v in safe.verdicts} == {"proved"}
    assert safe.exit_code == ExitCode.AS_EXPECTED
    broken = verifier.prove(verifier.load_text(BROKEN))
    assert [v.obligation.key for v in broken.verdicts if v.status != "proved"] == [
        "opposing-proceeds: 4L, 4RA", "opposing-proceeds: 4L, 4RB",
    ]  # fmt: skip
    assert broken.exit_code == ExitCode.BROKEN


# ------------------------------------------------------------------ replay


@pytest.mark.parametrize("wrong", [lambda e: TRUE, negation], ids=["always", "opposite"])
def test_a_wrong_encoding_is_an_error_of_ours(
    wrong: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Logic that says a danger is there where it is not."""
    plan = verifier.load_text(SAFE)
    right = World.expand
    monkeypatch.setattr(World, "expand", lambda self, expr: wrong(right(self, expr)))  # type: ignore[operator]
    with pytest.raises(InternalError, match="does not replay"):
        verifier.prove(plan)


def test_a_situation_read_wrongly_is_an_error_of_ours(monkeypatch: pytest.MonkeyPatch) -> None:
    """The solver finds one situation, another one is read off it."""
    plan = verifier.load_text(BROKEN.replace("T1 normal  and", "T1 reverse and"))
    right = SituationCheck._read

    def turned(self: SituationCheck, cone: tuple[Observable, ...]) -> dict[Observable, str]:
        return {
            what: what.values[what.values.index(state) - 1]
            for what, state in right(self, cone).items()
        }

    monkeypatch.setattr(SituationCheck, "_read", turned)
    with pytest.raises(InternalError, match="does not replay"):
        verifier.prove(plan)


def test_a_situation_no_assumption_allows_is_an_error_of_ours(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The assumption is lost on the way to the solver."""
    plan = verifier.load_text(BROKEN + 'assume "stored cars" always train on Main\n')
    init = SituationCheck.__init__
    monkeypatch.setattr(
        SituationCheck,
        "__init__",
        lambda self, inputs, assumptions=(), *rest: init(self, inputs, (), *rest),
    )
    with pytest.raises(InternalError, match='not allowed by the assumption "stored cars"'):
        verifier.prove(plan)


def test_a_situation_that_leaves_a_signal_open_is_an_error_of_ours(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def open_one(*_: object) -> dict[Observable, str]:
        raise Unsettled("4L")

    plan = verifier.load_text(BROKEN)
    monkeypatch.setattr(Evaluator, "states", open_one)
    with pytest.raises(InternalError, match="4L shows is not settled"):
        verifier.prove(plan)


def test_a_replay_beyond_its_limit_leaves_it_undecided(monkeypatch: pytest.MonkeyPatch) -> None:
    ring = """
    block A, B
    track A |(g1) B |(g2) A
    signal 1E at A |(g1) B  Clear when B clear and (2E at stop or 2E proceeds)  Stop otherwise
    signal 2E at B |(g2) A  Clear when A clear and 1E green  Stop otherwise
    """
    plan = verifier.load_text(ring)
    whole = verifier.prove(plan, only=["never-shown"])
    assert {v.status for v in whole.verdicts} == {"proved"}
    monkeypatch.setattr(evaluating, "MAX_WAYS", 1)
    with pytest.raises(TooManyWays):
        verifier.evaluate(plan, whole.verdicts[0].witness or pytest.fail("no witness"))
    report = verifier.prove(plan, only=["never-shown"])
    assert report.verdicts[0].status == "undecided"
    assert "cannot be replayed" in report.verdicts[0].why


RING_OVER_TIME = """
trains obey signals
trains never reverse
trains start on A, B
block A, B
track A |(g1) B |(g2) A
signal 1E at A |(g1) B  Clear when (2E at stop or 2E proceeds)  Stop otherwise
signal 2E at B |(g2) A  Clear when A clear and 1E green  Stop otherwise
"""


def test_a_history_that_a_circle_keeps_from_being_replayed_is_undecided(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Never a traceback, and never a verdict: what goes wrong was not seen to go wrong."""
    plan = verifier.load_text(RING_OVER_TIME)
    asked = ["collision", "route-never-set"]
    whole = {v.obligation.key: v.status for v in verifier.prove(plan, only=asked).verdicts}
    assert set(whole.values()) == {"broken", "proved"}
    monkeypatch.setattr(evaluating, "MAX_WAYS", 1)
    for verdict in verifier.prove(plan, only=asked).verdicts:
        assert verdict.status in ("undecided", whole[verdict.obligation.key])
        if whole[verdict.obligation.key] == "broken" or verdict.obligation.mode == "possible":
            assert verdict.status == "undecided"
            assert "round in a circle" in verdict.why


# ------------------------------------------------------------------ not known


def false_as_they_stand(plan: Plan) -> set[str]:
    """Obligations that simplification alone decides, with no solver."""
    world = World(plan)
    asked = obligations(plan, world.lower)
    return {o.key for o in asked if o.mode == "never" and world.expand(o.formula) is FALSE}


@pytest.mark.parametrize("text", [SAFE, BROKEN], ids=["safe", "broken"])
def test_a_solver_that_gives_up_proves_nothing(text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    plan = verifier.load_text(text)
    constant = false_as_they_stand(plan)
    monkeypatch.setattr(Session, "_ask", lambda *_: z3core.Z3_L_UNDEF)
    report = verifier.prove(plan)
    # What is false as it stands needs no solver; all else is left open.
    decided = {v.obligation.key for v in report.verdicts if v.status != "undecided"}
    assert decided <= constant
    assert len(report.verdicts) > len(decided)
    assert all(v.why for v in report.verdicts if v.status == "undecided")
    assert report.exit_code == ExitCode.UNDECIDED


def test_no_time_at_all_proves_nothing() -> None:
    report = verifier.prove(verifier.load_text(SAFE), timeout=0.0)
    undecided = [v for v in report.verdicts if v.status == "undecided"]
    assert {v.why for v in undecided} == {"no answer within 0 s"}
    proved = {v.obligation.key for v in report.verdicts if v.status == "proved"}
    assert proved <= false_as_they_stand(report.plan)
    assert report.exit_code == ExitCode.UNDECIDED


def test_when_assumptions_are_not_known_to_allow_anything_nothing_is_decided() -> None:
    plan = verifier.load_text(SAFE + 'assume "stored cars" always train on Main\n')
    report = verifier.prove(plan, timeout=0.0)
    assert {v.status for v in report.verdicts} == {"undecided"}
    assert all("assumptions allow" in v.why for v in report.verdicts)


def test_unknown_halfway_through_is_undecided_for_that_one_only(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    plan = verifier.load_text(BROKEN)
    before = verifier.prove(plan).verdicts
    right, asked = SituationCheck.find, []

    def sometimes(self: SituationCheck, goal: Expr, *, smallest: bool = False) -> object:
        asked.append(goal)
        if len(asked) % 3 == 0:
            monkeypatch.setattr(SituationCheck, "_check", lambda *_: None)
            try:
                return right(self, goal, smallest=smallest)
            finally:
                monkeypatch.setattr(SituationCheck, "_check", check)
        return right(self, goal, smallest=smallest)

    check = SituationCheck._check
    monkeypatch.setattr(SituationCheck, "find", sometimes)
    after = verifier.prove(plan).verdicts
    assert {v.status for v in after} == {"proved", "undecided", "broken"}
    for one, two in zip(before, after, strict=True):
        assert two.status in (one.status, "undecided")


# ------------------------------------------------------------------ Ctrl-C


def _stopping_at(number: int, stop: Callable[[], None], monkeypatch: pytest.MonkeyPatch) -> None:
    """The ``number``-th obligation (from 0) is where the user loses patience."""
    decide = SituationProver.decide
    decided: list[Obligation] = []

    def impatient(self: SituationProver, obligation: Obligation) -> Verdict:
        if len(decided) == number:
            stop()
        decided.append(obligation)
        return decide(self, obligation)

    monkeypatch.setattr(SituationProver, "decide", impatient)


def _raise() -> None:
    raise KeyboardInterrupt


def _press() -> None:
    os.kill(os.getpid(), signal.SIGINT)


@pytest.mark.parametrize("stop", [_raise, _press], ids=["raised", "pressed"])
def test_ctrl_c_keeps_what_is_decided(
    stop: Callable[[], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    plan = verifier.load_text(BROKEN)
    whole = verifier.prove(plan)
    number = next(i for i, v in enumerate(whole.verdicts) if v.status == "broken") + 4
    _stopping_at(number, stop, monkeypatch)
    # Who runs the tests may have put Ctrl-C aside.
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        report = verifier.prove(plan)
        assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
    finally:
        signal.signal(signal.SIGINT, before)
    assert report.interrupted
    assert [v.obligation.key for v in report.verdicts] == [v.obligation.key for v in whole.verdicts]
    kept = [v for v in report.verdicts if v.status != "undecided"]
    assert number <= len(kept) <= number + 1
    for one, two in zip(whole.verdicts, kept, strict=False):
        assert (one.status, one.covered) == (two.status, two.covered)
    rest = report.verdicts[len(kept) :]
    assert {(v.status, v.why) for v in rest} == {("undecided", "interrupted before it was decided")}
    assert report.exit_code == ExitCode.BROKEN


def test_ctrl_c_before_the_first_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    plan = verifier.load_text(SAFE)
    _stopping_at(0, _raise, monkeypatch)
    report = verifier.prove(plan)
    assert {v.status for v in report.verdicts} == {"undecided"}
    assert report.exit_code == ExitCode.UNDECIDED


def test_an_expectation_is_not_called_unmet_after_ctrl_c(monkeypatch: pytest.MonkeyPatch) -> None:
    plan = verifier.load_text(BROKEN + "expect broken opposing-proceeds for 4L, 4RA\n")
    _stopping_at(0, _raise, monkeypatch)
    assert verifier.prove(plan).unmet == ()


def test_points_that_are_locked_may_lie_otherwise_than_their_lever() -> None:
    """A rule that asks the lever clears a route over points that lie for another."""
    text = spec("locked-and-wired-end-of-siding").read_text("utf-8")
    for leg in ("normal", "reverse"):
        text = text.replace(f"4L-lets and T1 {leg}", f"4L-lets and T1-lever {leg}")
    report = verifier.prove(verifier.load_text(text), only=["aspect-against-route"])
    [broken] = [v for v in report.verdicts if v.status == "broken"]
    assert broken.obligation.signals == ("4L",)


# Memory that a train on B goes past unseen: only feeder b1 passes through B's detector, so that a
# short train that comes onto C was last beside b2.
UNSEEN = """
edge West entering only
edge East leaving only
block A 1 m feeders a1
block B 1 m feeders b1, b2
block C 1 m feeders c1
track West = A | B | C = East
detector DB current-sensing through {through}
detector DC current-sensing through c1
trains 100 mm to 200 mm, detectable throughout
trains never reverse
relay Both
  picks when B occupied and C occupied
  sticks while Both up
relay Seen-C
  picks when C occupied
  sticks while Seen-C up
signal 2R at A | B
  Approach when Seen-C up and Both down and B, C clear
  Stop otherwise
"""


START = "trains start on B, C\n"


@pytest.mark.parametrize(
    ("through", "start", "status"),
    [("b1", START, "broken"), ("b1, b2", START, "proved"), ("b1", "", "proved")],
)
def test_memory_that_does_not_hear_the_truth_may_come_to_more(
    through: str, start: str, status: str
) -> None:
    """With a feeder missed, trains on B and C leave `Both` down: 2R proceeds with a train beside
    that feeder. With nothing on the track at the start 2R never lets one in."""
    plan = verifier.load_text(UNSEEN.format(through=through) + start)
    report = verifier.prove(plan, only=["proceed-into-occupied"])
    (verdict,) = (v for v in report.verdicts if v.obligation.subjects == ("2R", "B"))
    assert verdict.status == status
