"""What must agree on every layout: the claims of :mod:`verifier`, one by one.

In: a plan. Each function asserts; a failure is a bug in a verdict.
"""

from collections.abc import Iterable
from random import Random

from tests.differential.truth import Truth
from verifier.engines.enumerator import tally
from verifier.engines.evaluator import Evaluator
from verifier.findings.verdicts import Report, Verdict
from verifier.logic.expr import atom
from verifier.world.situation import Situation
from verifier.world.world import World


def world_agrees(truth: Truth, world: World) -> None:
    """What logic makes of every observable is what the evaluator sees, everywhere."""
    for what in dict.fromkeys(what for what, _ in truth.where):
        for value in what.values:
            expr = atom(what, value)
            expanded = truth.of(world.expand(expr))
            assert expanded == truth.of(expr), f"{what} {value}"


def verdicts_agree(truth: Truth, report: Report) -> None:
    """Every verdict is what going through all situations gives."""
    for verdict in report.verdicts:
        where = truth.of(verdict.obligation.formula) & truth.allowed
        match verdict.obligation.mode, verdict.status:
            case "never", "proved":
                assert where == 0, verdict.obligation.key
                assert verdict.covered == len(truth.situations)
                _rests_on_is_right(truth, verdict)
            case "never", "broken":
                _finding_is_right(truth, verdict, where)
            case "possible", "proved":
                assert verdict.witness is not None
                assert verdict.witness in truth.listed(where), verdict.obligation.key
            case "possible", "broken":
                assert where == 0, verdict.obligation.key
                _rests_on_is_right(truth, verdict)
            case _, "waived":
                pass
            case _:
                raise AssertionError(f"{verdict.obligation.key}: {verdict.status}")


def _finding_is_right(truth: Truth, verdict: Verdict, where: int) -> None:
    key, finding = verdict.obligation.key, verdict.finding
    assert finding is not None, key
    assert finding.smallest, key
    assert finding.situation == truth.simplest(where), key
    # Whoever agrees on the relevant facts is in the same trouble, and none is told in vain.
    agreeing = truth.agreeing(finding.situation, finding.relevant)
    assert agreeing & truth.allowed & ~where == 0, key
    assert finding.covered == agreeing.bit_count(), key
    for what in finding.relevant:
        others = tuple(w for w in finding.relevant if w != what)
        freed = truth.agreeing(finding.situation, others)
        assert freed & truth.allowed & ~where != 0, f"{key}: {what} does not matter"


def _rests_on_is_right(truth: Truth, verdict: Verdict) -> None:
    """The assumptions named are enough, and none of them is named in vain."""
    evaluator = Evaluator(truth.plan)
    used = [a for a in truth.plan.assumptions if a.title in verdict.rests_on]
    where = truth.listed(truth.of(verdict.obligation.formula)) if truth.plan.assumptions else []
    for left_out in (None, *used):
        needed = [a.condition for a in used if a is not left_out]
        holds = any(all(evaluator.allows(s, c) for c in needed) for s in where)
        assert holds == (left_out is not None), verdict.obligation.key


def tallies_agree(truth: Truth, report: Report) -> None:
    """The enumerator counts what going through all situations gives."""
    obligations = [v.obligation for v in report.verdicts]
    for verdict, counted in zip(report.verdicts, tally(truth.plan, obligations), strict=True):
        where = truth.of(verdict.obligation.formula) & truth.allowed
        assert counted.count == where.bit_count(), verdict.obligation.key
        assert counted.smallest == truth.simplest(where), verdict.obligation.key


def states_agree(truth: Truth, situations: Iterable[Situation], r: Random) -> None:
    """Working out only what is asked for gives what working out everything gives."""
    evaluator = Evaluator(truth.plan)
    observables = list(dict.fromkeys(what for what, _ in truth.where))
    for situation in situations:
        seen = evaluator.see(situation).states
        wanted = r.sample(observables, min(len(observables), 4))
        assert evaluator.states(situation, wanted) == {what: seen[what] for what in wanted}
        for assumption in truth.plan.assumptions:
            allowed = evaluator.allows(situation, assumption.condition)
            assert allowed == evaluator.true(assumption.condition, evaluator.see(situation))
