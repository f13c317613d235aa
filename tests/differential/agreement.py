"""What must agree on every layout: the claims of :mod:`verifier`, one by one.

In: a plan. Each function asserts; a failure is a bug in a verdict.
"""

from collections.abc import Iterable, Sequence
from itertools import combinations
from random import Random

from tests.differential.truth import Broken, Truth
from verifier.engines.results import Exists
from verifier.engines.smt.situations import SituationCheck
from verifier.engines.smt.train_length_constraints import rooms
from verifier.logic.expr import Expr, atom, conjunction
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation
from verifier.plan.wiring.faults import Fault, FaultKind
from verifier.properties.catalog import FAILURES
from verifier.properties.failures import counts_against, harms, more_restrictive
from verifier.properties.obligation import Obligation
from verifier.reference.evaluator import Evaluator, Unsettled
from verifier.reference.explicit_situations import tally
from verifier.verdicts.report import Report, Verdict
from verifier.world.train_constraints import train_constraints
from verifier.world.world import World


def world_agrees(truth: Truth, world: World) -> None:
    """What logic makes of every observable is what the evaluator sees, everywhere."""
    for what in dict.fromkeys(what for what, _ in truth.where):
        for value in what.values:
            expr = atom(what, value)
            expanded = truth.of(world.expand(expr))
            differs = truth.listed(expanded ^ truth.of(expr))
            assert not differs, f"{what} {what.reader} {value}: {dict(differs[0])}"


def possible_agrees(truth: Truth, world: World, r: Random) -> None:
    """Logic and lengths together allow stock to stand just where the evaluator does."""
    plan = truth.plan
    possible = truth.everywhere
    for body in train_constraints(plan):
        possible &= truth.of(world.expand(body))
    for what, room in rooms(plan).items():
        check = SituationCheck([what], rooms={what: room})
        fits = [v for v in what.values if isinstance(check.find(atom(what, v)), Exists)]
        possible &= truth.of(atom(what, *fits))
    differs = truth.listed(possible ^ truth.possible)
    assert not differs, f"{dict(differs[0])}"
    check = SituationCheck.of(world)
    numbers = range(len(truth.situations))
    for i in r.sample(numbers, min(10, len(truth.situations))):
        just = conjunction(*(atom(w, truth.situations[i].state(w)) for w in world.inputs))
        found = isinstance(check.find(just), Exists)
        assert found == bool(truth.allowed >> i & 1), f"{dict(truth.situations[i])}"


def verdicts_agree(truth: Truth, report: Report) -> None:
    """Every verdict is what going through all situations gives, with nothing broken."""
    for verdict in report.verdicts:
        if verdict.obligation.property in FAILURES:
            continue
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
    where = truth.of(verdict.obligation.formula) & truth.possible
    where = where if truth.plan.assumptions else 0
    situations = truth.listed(where)
    for left_out in (None, *used):
        needed = [a.condition for a in used if a is not left_out]
        holds = any(all(evaluator.allows(s, c) for c in needed) for s in situations)
        assert holds == (left_out is not None), verdict.obligation.key


def tallies_agree(truth: Truth, report: Report) -> None:
    """The enumerator counts what going through all situations gives."""
    verdicts = [v for v in report.verdicts if v.obligation.property not in FAILURES]
    obligations = [v.obligation for v in verdicts]
    for verdict, counted in zip(
        verdicts, tally(truth.plan, [o.holds_in for o in obligations]), strict=True
    ):
        where = truth.of(verdict.obligation.formula) & truth.allowed
        assert counted.count == where.bit_count(), verdict.obligation.key
        assert counted.smallest == truth.simplest(where), verdict.obligation.key


def states_agree(truth: Truth, situations: Iterable[Situation], r: Random) -> None:
    """Working out only what is asked for gives what working out everything gives."""
    evaluator = Evaluator(truth.plan)
    observables = list(dict.fromkeys(what for what, _ in truth.where if what.kind != "fault"))
    observables = [what for what in observables if not what.reader]
    for situation in situations:
        seen = evaluator.see(situation).states
        wanted = r.sample(observables, min(len(observables), 4))
        assert evaluator.states(situation, wanted) == {what: seen[what] for what in wanted}
        for assumption in truth.plan.assumptions:
            allowed = evaluator.allows(situation, assumption.condition)
            assert allowed == evaluator.true(assumption.condition, evaluator.see(situation))


# ------------------------------------------------------------------ with something broken


def _harms(plan: Plan, report: Report) -> list[Obligation]:
    """What the failure analysis has to ask about: all that the file does not set aside."""
    held = [v for v in report.verdicts if v.status != "waived" or v.needless]
    return list(harms(plan, [v.obligation for v in held if v.obligation.property not in FAILURES]))


def _unproved(report: Report) -> set[str]:
    return {v.obligation.key for v in report.verdicts if v.status in ("broken", "undecided")}


def _newly(truth: Truth, harm: Obligation, sound: Truth) -> int:
    """Where a harm comes about that does not in the same situation with nothing broken, or
    only in one that the assumptions then rule out."""
    once = sound.of(harm.formula) & sound.allowed
    already = 0
    for number in range(len(truth.broken)):
        already |= once << number * len(sound.situations)
    return truth.of(harm.formula) & ~already


def _points_alike(truth: Truth, sound: Truth) -> dict[str, int]:
    """Where aspects are compared: all points lie as in the same situation with nothing broken."""
    alike = truth.everywhere
    for what in {what for what, _ in truth.where if what.kind == "points"}:
        same = 0
        for state in what.values:
            once = sound.where.get((what, state), 0)
            for number in range(len(truth.broken)):
                same |= once << number * len(sound.situations) & truth.where.get((what, state), 0)
        alike &= same
    return {"more-favorable": alike}


def failures_agree(truth: Truth, report: Report) -> None:
    """Each fault does the harm that going through all situations with it shows, and its
    finding is right. ``truth`` has every way in which some things may be broken."""
    asked = _harms(truth.plan, report)
    sound = Truth(truth.plan)
    alike = _points_alike(truth, sound)
    new = {harm.key: _newly(truth, harm, sound) & alike.get(harm.property, ~0) for harm in asked}
    unproved = _unproved(report)
    rows = {row.faults: row for row in report.failures if row.kind != "pair"}
    verdicts = {v.obligation.subjects: v for v in report.verdicts
                if v.obligation.property in FAILURES}  # fmt: skip
    assert len(rows) == len(verdicts) == len(truth.plan.equipment.faults)
    for fault in truth.plan.equipment.faults:
        if fault.what not in truth.faults:
            continue
        here = truth.of(_is_broken(fault.what)) & truth.allowed
        done = [
            h
            for h in asked
            if counts_against(h, fault, holds=h.key not in unproved) and new[h.key] & here
        ]
        row, verdict = rows[fault.name,], verdicts[fault.name,]
        assert row.consequence == _consequence(truth, here, done), f"{row}\n{done[:1]}"
        if verdict.status == "waived":
            assert verdict.needless == (not done)
            continue
        assert verdict.status == ("broken" if done else "proved"), fault.name
        if done:
            assert row.why in {harm.trouble for harm in done}
            told = [h for h in done if h.trouble in verdict.obligation.trouble]
            _failure_is_right(truth, fault, verdict, [new[h.key] for h in told])


def silent_agree(truth: Truth, report: Report) -> None:
    """Just those faults are silent with which, in every situation, no harm is done, no signal is
    read differently, every head shows what it shows without, and so does every indicator. (Whoever
    looks at an indicator finds its own wire broken, be it never lit.) ``truth`` as in
    :func:`failures_agree`."""
    evaluator = Evaluator(truth.plan)
    differs: set[Observable] = set()
    for i, situation in enumerate(truth.situations):
        if not truth.allowed >> i & 1:
            continue
        broken = [what for what, _ in situation if what.kind == "fault"]
        sound = evaluator.see(Situation.of((w, s) for w, s in situation if w.kind != "fault"))
        seen = evaluator.see(situation)
        for signal in truth.plan.signals.values():
            if seen.colors(signal) != sound.colors(signal):
                differs.update(broken)
        for indicator in truth.plan.indicators.values():
            if seen.state(indicator.what) != sound.state(indicator.what):
                differs.update(broken)
    for row in report.failures:
        fault = next((f for f in truth.plan.equipment.faults if (f.name,) == row.faults), None)
        if fault is not None and fault.what in truth.faults:
            expected = row.consequence == "none" and not fault.moves_points
            expected = expected and fault.kind is not FaultKind.INDICATOR
            assert bool(row.silent) == (expected and fault.what not in differs), row


def _is_broken(what: Observable) -> Expr:
    return atom(what, *what.values[1:])


def _consequence(truth: Truth, here: int, done: Sequence[Obligation]) -> str:
    if done:
        of_signals = any(harm.property != "indicator-misleads" for harm in done)
        return "false proceed" if of_signals else "false indication"
    signals = truth.plan.signals.values()
    less = any(truth.of(more_restrictive(s, truth.plan)) & here for s in signals)
    return "more restrictive" if less else "none"


def _failure_is_right(truth: Truth, fault: Fault, verdict: Verdict, told: Sequence[int]) -> None:
    where = truth.of(verdict.obligation.formula) & truth.allowed & told[0]
    finding = verdict.finding
    assert finding is not None and finding.smallest, fault.name
    assert finding.situation == truth.simplest(where), fault.name
    assert where & ~truth.of(_is_broken(fault.what)) == 0, fault.name
    # However everything else is, nothing else being broken.
    agreeing = truth.agreeing(finding.situation, finding.relevant)
    agreeing &= truth.of(_is_broken(fault.what))
    assert agreeing & truth.allowed & ~where == 0, fault.name


def silent_pairs_agree(every: Report, usual: Report) -> None:
    """Without being asked for all pairs a report tells just those with a silent fault. ``every``
    was asked, and is compared with the evaluator by :func:`pairs_agree`."""
    silent = {name for row in every.failures if len(row.faults) == 1 for name in row.silent}
    told = {frozenset(r.faults) for r in every.failures if len(r.faults) == 2}
    expected = {pair for pair in told if pair & silent}
    undecided = [r for r in (*every.failures, *usual.failures)
                 if r.kind == "pair" and r.consequence == "undecided"]  # fmt: skip
    found = {frozenset(r.faults) for r in usual.failures if len(r.faults) == 2}
    assert found == expected or undecided


def pairs_agree(plan: Plan, report: Report) -> None:
    """Just those pairs are told that do harm though neither of the two does alone. Where
    some pair goes round in a circle, the report says that not all is known."""
    rows = report.failures
    told = {frozenset(row.faults) for row in rows if len(row.faults) == 2}
    all_known = not any(row.kind == "pair" and row.consequence == "undecided" for row in rows)
    alone = {row.faults[0] for row in rows
             if row.kind != "pair"
             and row.consequence in ("false proceed", "false indication")}  # fmt: skip
    asked = _harms(plan, report)
    sound = Truth(plan)
    for one, other in combinations(plan.equipment.faults, 2):
        if one.name in alone or other.name in alone:
            assert {one.name, other.name} not in told
            continue
        both_broken: list[Broken] = [
            ((one.what, state), (other.what, another))
            for state in one.what.values[1:]
            for another in other.what.values[1:]
        ]
        try:
            truth = Truth(plan, both_broken)
        except Unsettled:
            assert not all_known
            continue
        alike = _points_alike(truth, sound)
        found = any(
            _newly(truth, h, sound) & truth.allowed & alike.get(h.property, ~0)
            for h in asked
            if all(
                counts_against(h, fault, holds=h.key not in _unproved(report))
                for fault in (one, other)
            )
        )
        is_told = {one.name, other.name} in told
        assert found == is_told or not (all_known or is_told), f"{one.name} and {other.name}"
