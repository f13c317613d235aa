"""What a proof elsewhere decided, as plain data, and whether it is found here too."""

import json
from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from typing import Any

from verifier.decide.sent_proofs import NoProof, observable, written
from verifier.engines.proof_store import ProofStore
from verifier.farm.lent import Lent
from verifier.logic.expr import Const, support
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation
from verifier.properties.obligation import Obligation
from verifier.reference.evaluator import Unsettled
from verifier.verdicts.report import InternalError, Report, Verdict

Json = dict[str, Any]
# What is raised where data of a worker is not what it should be: whatever it sends may be.
NOT_SO = (
    NoProof, Unsettled, AttributeError, ArithmeticError, LookupError, RecursionError, TypeError,
    ValueError,
)  # fmt: skip


def prove_lent(file: Lent, store: ProofStore, *, repairs: bool, **options: Any) -> Report:
    """The report on a file that is lent. Raises InputError."""
    from verifier.pipeline import prove

    plan, world = file.checked()
    return prove(plan, world=world, store=store, repairs=repairs, **options)


def decided(report: Report) -> Json:
    """All that a report decides, as it comes out of JSON."""
    found = {
        "verdicts": [[v.obligation.key, v.status, v.expected, v.known] for v in report.verdicts],
        "failures": [[r.faults, r.kind, r.consequence, r.silent] for r in report.failures],
        "unmet": [unmet.text for unmet in report.unmet],
        "grade": report.grade.value,
    }
    known: Json = json.loads(json.dumps(found))
    return known


# ------------------------------------------------------------------ counterexamples


def shown_by(verdict: Verdict) -> Json | None:
    """The situation or the history of what is broken."""
    finding = verdict.finding
    if finding is None:
        return None
    key, story = verdict.obligation.key, finding.story
    if story is None:
        return {"key": key, "situation": _states(dict(finding.situation))}
    seconds = [str(s) for s in story.seconds]
    return {"key": key, "moments": [_states(m) for m in story.moments], "seconds": seconds}


def _states(moment: Mapping[Observable, str]) -> list[list[Any]]:
    return [[*written(what), state] for what, state in moment.items()]


def replays(plan: Plan, obligation: Obligation, shown: Json) -> bool:
    """Whether what was sent breaks an obligation, by the reference. Raises one of :data:`NOT_SO`
    where it is no such data."""
    if "moments" in shown:
        return _is_history(plan, obligation, shown)
    # Where there is memory, a history must lead to its state, unless nothing depends on it.
    if plan.locking.over_time and not isinstance(obligation.formula, Const):
        return False
    return obligation.of_situations and _is_situation(plan, obligation, shown)


def _is_history(plan: Plan, obligation: Obligation, shown: Json) -> bool:
    from verifier.decide.replayed import AS_FOUND, Hasty, MovesOn, Tried

    over = obligation.over
    tried = Tried(
        plan, (), lossy=over == "lossy", blips=over == "blips", held=over == "held"
    )  # fmt: skip
    moments = [_moment(m) for m in shown["moments"]]
    seconds = [Fraction(_text(s)) for s in shown["seconds"]]
    try:
        tried.check(obligation, moments, seconds, AS_FOUND)
    except (MovesOn, Hasty, InternalError):
        return False
    return plan.locking.over_time


def _is_situation(plan: Plan, obligation: Obligation, shown: Json) -> bool:
    from verifier.reference.evaluator import Evaluator
    from verifier.reference.standing import can_be

    facts = _moment(shown["situation"])
    inputs = set(plan.inputs)
    if any(what not in inputs or state not in what.values for what, state in facts.items()):
        return False
    situation, evaluator = Situation.of(facts.items()), Evaluator(plan)
    allowed = all(evaluator.allows(situation, a.condition) for a in plan.assumptions)
    states = evaluator.states(situation, support(obligation.formula))
    return allowed and can_be(plan, situation) and obligation.holds_in(states)


def _moment(states: Iterable[Sequence[Any]]) -> dict[Observable, str]:
    return {observable(what): _text(state) for *what, state in states}


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError(value)
    return value
