"""What a proof elsewhere decided, as plain data, and whether it is found here too."""

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from verifier.decide.sent_proofs import observable, written
from verifier.engines.proof_store import ProofStore
from verifier.farm.lent import Lent
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation
from verifier.properties.obligation import Obligation
from verifier.verdicts.report import Report, Verdict

Json = dict[str, Any]


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
    """Whether what was sent breaks an obligation, by the reference. Raises TypeError, ValueError,
    KeyError where it is no such data."""
    from fractions import Fraction

    from verifier.reference.evaluator import Evaluator
    from verifier.reference.standing import can_be
    from verifier.reference.step import replay

    if "moments" in shown:
        return replay(
            plan, [_moment(m) for m in shown["moments"]], obligation.holds_in,
            lossy=obligation.over == "lossy", blips=obligation.over == "blips",
            seconds=[Fraction(str(s)) for s in shown["seconds"]],
        )  # fmt: skip
    situation = Situation.of(_moment(shown["situation"]).items())
    evaluator = Evaluator(plan)
    allowed = all(evaluator.allows(situation, a.condition) for a in plan.assumptions)
    return (
        allowed and can_be(plan, situation) and obligation.holds_in(evaluator.see(situation).states)
    )


def _moment(states: Iterable[Sequence[Any]]) -> dict[Observable, str]:
    return {observable(what): str(state) for *what, state in states}
