"""What a proof over time rests on, as sentences about routes, locks and trains.

In: a plan and the clauses of an inductive invariant. Out: sentences such as *while relay 4L-route
is up, T1 lies normal*.

Clauses become :class:`Sentence` data first, and only :func:`_written` puts these into English. A
group of facts inside another begins with a word of its own (*both*, *all of*, *either*), so that a
sentence can be read in one way only: ``tests/explain`` reads each back and compares its meaning
with the clauses.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from verifier.explain.state_text import StateWords
from verifier.language.listing import listing
from verifier.logic.expr import (
    FALSE,
    TRUE,
    And,
    Atom,
    Expr,
    Or,
    atom,
    conjunction,
    disjunction,
    negation,
    support,
)
from verifier.plan import observables
from verifier.plan.model import Plan

Form = Literal["as told", "never together", "always", "while"]


@dataclass(frozen=True, slots=True)
class Sentence:
    """While all ``premises`` hold, all of ``held`` do.

    ``form`` chooses the phrasing: points that lie as they were told (``held``), facts of one kind
    that are never true together (``premises``), a single fact that always holds, or the general
    one."""

    form: Form
    held: tuple[Expr, ...] = ()
    premises: tuple[Expr, ...] = ()


def sentences(plan: Plan, clauses: Iterable[Expr]) -> tuple[str, ...]:
    """The clauses in English, the simplest first; one sentence for each set of premises."""
    words = StateWords(plan)
    return tuple(dict.fromkeys(_written(sentence, words) for sentence in structured(clauses)))


def structured(clauses: Iterable[Expr]) -> Iterator[Sentence]:
    """Sentences that together mean what the clauses mean."""
    parts = [part for part in dict.fromkeys(_apart(clauses)) if part is not TRUE]
    for pair in _lying_as_told(parts):
        yield Sentence("as told", pair)
        parts = [part for part in parts if part not in pair]
    conditional: dict[tuple[Expr, ...], list[Expr]] = {}
    for clause in parts:
        if not isinstance(clause, Or):
            yield Sentence("always", (clause,))
        elif all(_is_presence(part) for part in clause.parts) and len(_kinds(clause)) == 1:
            yield Sentence("never together", premises=tuple(map(negation, clause.parts)))
        else:
            premises, held = _split(clause)
            conditional.setdefault(premises, []).append(held)
    for premises, facts in sorted(conditional.items(), key=lambda item: len(item[0])):
        together = conjunction(*facts)  # what is said of one thing becomes one fact
        held_then = together.parts if isinstance(together, And) else (together,)
        yield Sentence("while", held_then, premises)


def _apart(clauses: Iterable[Expr]) -> Iterator[Expr]:
    for clause in clauses:
        if isinstance(clause, And):
            yield from _apart(clause.parts)
        else:
            yield clause


def _lying_as_told(clauses: Sequence[Expr]) -> Iterator[tuple[Expr, Expr]]:
    """The two clauses for each turnout that never lies otherwise than told."""
    known = set(clauses)
    turnouts = dict.fromkeys(w for clause in clauses for w in support(clause) if w.kind == "points")
    for points in turnouts:
        thrown = observables.thrown(points.name)
        pair = (
            disjunction(atom(thrown, "normal"), atom(points, "reverse", "open")),
            disjunction(atom(thrown, "reverse"), atom(points, "normal", "open")),
        )
        if known.issuperset(pair):
            yield pair


def _is_presence(part: Expr) -> bool:
    """Whether it says that a relay is down, or that no train is on some track."""
    return isinstance(part, Atom) and (part.what.kind, part.values) in _ABSENT


_ABSENT = (("relay", ("down",)), ("train", ("vacant",)))


def _kinds(clause: Expr) -> set[observables.Kind]:
    return {what.kind for what in support(clause)}


def _split(clause: Or) -> tuple[tuple[Expr, ...], Expr]:
    """A disjunction as premises and what holds under them."""
    parts = clause.parts
    held = max(range(len(parts)), key=lambda i: (_worth(parts[i], parts), -i))
    return tuple(negation(p) for i, p in enumerate(parts) if i != held), parts[held]


# ------------------------------------------------------------------ in English


def _written(sentence: Sentence, words: StateWords) -> str:
    match sentence:
        case Sentence("as told", (first, _)):
            (turnout,) = {what.name for what in support(first)}
            return f"{turnout} lies as it was told, or is still moving"
        case Sentence("never together"):
            return _never_together([p for p in sentence.premises if isinstance(p, Atom)], words)
        case Sentence("always", (fact,)):
            return _always(fact, words)
    premises = listing(_facts(sentence.premises, words))
    if sentence.held == (FALSE,):
        return f"it never happens that {premises}"
    return f"while {premises}, {listing(_fact(part, words) for part in sentence.held)}"


def _always(fact: Expr, words: StateWords) -> str:
    match fact:
        case Atom(what=what, values=values) if what.kind == "relay":
            return f"relay {what.name} is {'always' if values == ('up',) else 'never'} up"
        case Atom(what=what, values=("vacant",)) if what.kind == "train":
            return f"no train ever stands on {words.track(what.name)}"
        case Atom(what=what, values=values) if what.kind == "heading":
            return words.came_in("any", what.name, values)
        case _:
            return f"at all times {_fact(fact, words)}"


def _never_together(atoms: Sequence[Atom], words: StateWords) -> str:
    names = [atom.what.name for atom in atoms]
    if atoms[0].what.kind == "train":
        return f"trains never stand on {listing(map(words.track, names))} at once"
    return f"relays {listing(names)} are never {'both' if len(atoms) == 2 else 'all'} up"


def _facts(parts: Sequence[Expr], words: StateWords) -> Iterator[str]:
    """Facts that hold together; a train and where it came from are one."""
    atoms = [part for part in parts if isinstance(part, Atom)]
    headings = {a.what.name: a for a in atoms if a.what.kind == "heading"}
    trains = {a.what.name for a in atoms if (a.what.kind, a.values) == ("train", ("occupied",))}
    for part in parts:
        match part:
            case Atom(what=what) if what.kind == "train" and what.name in headings.keys() & trains:
                yield words.train_from(what.name, headings[what.name].values)
            case Atom(what=what) if what.kind == "heading" and what.name in trains:
                pass  # said of the train
            case _:
                yield _fact(part, words)


def _fact(part: Expr, words: StateWords) -> str:
    """A fact; a group of facts after a word that says how far it goes."""
    match part:
        case Atom(what=what, values=values):
            return words.clause(what, values)
        case And(parts=parts):
            lead = "both" if len(parts) == 2 else "all of"
            return f"{lead} {listing(_fact(p, words) for p in parts)}"
        case Or(parts=parts):
            return f"either {listing((_fact(p, words) for p in parts), 'or')}"
        case _:
            raise AssertionError("an invariant is neither true nor false as such")


# What reads best as what holds: the lie of points, then a lock, then where trains are.
_WORTH = {
    "points": 9, "thrown": 8, "traffic": 6, "timer": 5, "heading": 4, "late": 3, "put back": 3,
    "clock": 3, "ripe": 3, "across": 2,
}  # fmt: skip


def _worth(part: Expr, parts: Sequence[Expr]) -> int:
    if not isinstance(part, Atom):
        return 0
    if part.what.kind == "relay":
        return 7 if part.values == ("up",) else 3
    if part.what.kind in ("train", "across") and part.values == part.what.values[1:]:
        return 5  # that a train is there reads better than that it is not elsewhere
    if part.what.kind == "heading" and not any(
        isinstance(p, Atom) and p.what.kind == "train" and p.what.name == part.what.name
        for p in parts
    ):
        return 0
    return _WORTH.get(part.what.kind, 1)
