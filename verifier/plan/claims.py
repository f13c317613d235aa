"""The claims of a file: properties of its own, assumptions, waivers, expectations."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from verifier.language.syntax import tree
from verifier.plan.conditions import resolve
from verifier.plan.levers import lever_locks
from verifier.plan.locking.locking_model import Promise, Running
from verifier.plan.model import Assumption, Expectation, Plan, Proof, Track, Waiver
from verifier.plan.observables import Not
from verifier.plan.train_count import train_counts
from verifier.plan.vocabulary import Vocabulary


@dataclass(frozen=True, slots=True)
class Claims:
    proofs: tuple[Proof, ...]
    assumptions: tuple[Assumption, ...]
    waivers: tuple[Waiver, ...]
    expectations: tuple[Expectation, ...]


def granted(plan: Plan) -> tuple[Assumption | Promise, ...]:
    """All that proofs over time take for granted: what the file assumes, then what the crew
    promises."""
    return (*plan.assumptions, *plan.locking.promises)


def limits_on_trains(plan: Plan) -> Iterator[tuple[str, Plan]]:
    """Each line that says when trains come in, or where they turn back, and the plan without it."""
    running = plan.locking.running
    for edge, condition in running.entering.items():
        others = {e: c for e, c in running.entering.items() if e != edge}
        title = f"edge {edge} entering when {condition.span.one_line}"
        yield title, with_running(plan, replace(running, entering=others))
    if running.reverse_on is not None:
        where = f"trains reverse on {', '.join(running.reverse_on)}"
        title = where if running.reverse_on else "trains never reverse"
        yield title, with_running(plan, replace(running, reverse_on=None))


def never_has_trains(plan: Plan) -> bool:
    """Whether no history has a train: none comes in by an edge, and none is there at the start.
    What is proved over time is then proved of an empty layout."""
    pieces = plan.track.pieces.values()
    come_in = any(p.kind == "edge" and p.direction != "leaving" for p in pieces)
    return plan.locking.over_time and not come_in and not plan.locking.running.start_on


def with_running(plan: Plan, running: Running) -> Plan:
    """The plan on which trains run so."""
    return replace(plan, locking=replace(plan.locking, running=running))


def read_claims(statements: Sequence[tree.Statement], words: Vocabulary, track: Track) -> Claims:
    """All claims of a file; errors are noted in ``words.names``."""
    return Claims(
        _proofs(statements, words),
        (
            *_assumptions(statements, words),
            *train_counts(statements, track, words.names),
            *lever_locks(statements, words),
        ),
        tuple(
            Waiver(s.claim.text, tuple(n.text for n in s.subjects), s.reason, s.span)
            for s in tree.of_kind(statements, tree.Waive)
        ),
        tuple(
            Expectation(s.claim.text, tuple(n.text for n in s.subjects), s.span)
            for s in tree.of_kind(statements, tree.Expect)
        ),
    )


def _proofs(statements: Iterable[tree.Statement], words: Vocabulary) -> tuple[Proof, ...]:
    proofs: dict[str, Proof] = {}
    for s in tree.of_kind(statements, tree.Prove):
        condition = resolve(s.condition, words, in_rule=False)
        if s.title in proofs:
            earlier = proofs[s.title].span
            words.names.error("CP202", s.span, "properties", others=[earlier], title=s.title)
        if condition is not None:
            proofs[s.title] = Proof(s.title, s.mode, condition, s.span)
    return tuple(proofs.values())


def _assumptions(statements: Iterable[tree.Statement], words: Vocabulary) -> tuple[Assumption, ...]:
    assumptions = []
    for s in tree.of_kind(statements, tree.Assume):
        condition = resolve(s.condition, words, in_rule=False)
        if condition is not None:
            if s.mode == "never":
                condition = Not(condition, s.condition.span)
            text = f"{s.mode} {s.condition.span.one_line}"
            assumptions.append(Assumption(s.title, condition, text, s.span))
    return tuple(assumptions)
