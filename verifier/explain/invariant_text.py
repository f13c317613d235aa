"""What a proof over time rests on, as sentences about routes, locks and trains.

In: a plan and clauses that last from moment to moment (each: one fact or another holds). Out:
sentences such as *while relay 4L-route is up, T1 lies normal*.
"""

from collections.abc import Iterable, Iterator, Sequence

from verifier.explain.state_text import Phrases
from verifier.logic.expr import (
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
from verifier.properties.phrases import listing


def sentences(plan: Plan, clauses: Iterable[Expr]) -> tuple[str, ...]:
    """One sentence for what holds under the same circumstances, the simplest first."""
    teller = _Teller(plan)
    together: dict[tuple[str, ...], list[Expr]] = {}
    alone: dict[str, None] = {}
    parts = list(dict.fromkeys(_apart(clauses)))
    for turnout, pair in _lying_as_told(parts):
        alone[f"{turnout} lies as it was told, or is still moving"] = None
        parts = [part for part in parts if part not in pair]
    for clause in parts:
        if always := teller.always(clause):
            alone[always] = None
        else:
            premises, held = teller.under(clause)
            together.setdefault(premises, []).append(held)
    whiles = []
    for premises, held_then in sorted(together.items(), key=lambda item: len(item[0])):
        # What is said of one thing comes to one fact.
        every = conjunction(*held_then)
        facts_ = every.parts if isinstance(every, And) else (every,)
        said = dict.fromkeys(map(teller.fact, facts_))
        whiles.append(f"while {listing(list(premises))}, {listing(list(said))}")
    return (*alone, *whiles)


def _apart(clauses: Iterable[Expr]) -> Iterator[Expr]:
    for clause in clauses:
        if isinstance(clause, And):
            yield from _apart(clause.parts)
        else:
            yield clause


def _lying_as_told(clauses: Sequence[Expr]) -> Iterator[tuple[str, tuple[Expr, Expr]]]:
    """Turnouts that never lie otherwise than told, and the two clauses that say so."""
    known = set(clauses)
    named = {what.name: what for clause in clauses for what in support(clause)
             if what.kind == "points"}  # fmt: skip
    for name, points in named.items():
        thrown = observables.thrown(name)
        pair = (
            disjunction(atom(thrown, "normal"), atom(points, "reverse", "open")),
            disjunction(atom(thrown, "reverse"), atom(points, "normal", "open")),
        )
        if known.issuperset(pair):
            yield name, pair


class _Teller:
    def __init__(self, plan: Plan):
        self._phrases = Phrases(plan)

    def always(self, clause: Expr) -> str:
        """What holds at all times, whatever else; empty where that takes circumstances."""
        parts = clause.parts if isinstance(clause, Or) else (clause,)
        if len(parts) == 1:
            return self._always(parts[0])
        atoms = [part for part in parts if isinstance(part, Atom)]
        return self._never_all(atoms) if len(atoms) == len(parts) else ""

    def under(self, clause: Expr) -> tuple[tuple[str, ...], Expr]:
        """The circumstances, in words, and what holds in them."""
        parts = clause.parts if isinstance(clause, Or) else (clause,)
        held = max(range(len(parts)), key=lambda i: (_worth(parts[i], parts), -i))
        others = [negation(part) for i, part in enumerate(parts) if i != held]
        return tuple(self._facts(others)), parts[held]

    def _always(self, part: Expr) -> str:
        match part:
            case Atom(what=what, values=values) if what.kind == "relay":
                return f"relay {what.name} is {'always' if 'up' in values else 'never'} up"
            case Atom(what=what, values=("vacant",)):
                return f"no train ever stands on {self._phrases.track(what.name)}"
            case Atom(what=what, values=values) if what.kind == "heading":
                return self._phrases.fact(what, values).replace("the train", "any train", 1)
            case _:
                return f"at all times {self.fact(part)}"

    def _never_all(self, atoms: Sequence[Atom]) -> str:
        """Relays of which not all are up, or tracks that are not all occupied."""
        every = "both" if len(atoms) == 2 else "all"
        names = [atom.what.name for atom in atoms]
        if all(a.what.kind == "relay" and a.values == ("down",) for a in atoms):
            return f"relays {listing(names)} are never {every} up"
        if all(a.what.kind == "train" and a.values == ("vacant",) for a in atoms):
            titles = [self._phrases.track(name) for name in names]
            return f"trains never stand on {listing(titles)} at once"
        return ""

    def _facts(self, parts: Sequence[Expr]) -> Iterator[str]:
        """Several facts that hold at once; a train and where it came in by are told in one."""
        headed = {p.what.name: p for p in parts if isinstance(p, Atom) and p.what.kind == "heading"}
        there = {
            p.what.name
            for p in parts
            if isinstance(p, Atom) and p.what.kind == "train" and p.values == ("occupied",)
        }
        for part in parts:
            if isinstance(part, Atom) and part.what.name in headed.keys() & there:
                if part.what.kind == "train":
                    heading = headed[part.what.name]
                    yield self._phrases.train_from(heading.what.name, heading.values)
                elif part.what.kind != "heading":
                    yield self.fact(part)
            else:
                yield self.fact(part)

    def fact(self, part: Expr) -> str:
        match part:
            case Atom(what=what, values=values):
                return self._phrases.fact(what, values)
            case And(parts=parts):
                return listing([self.fact(p) for p in parts])
            case Or(parts=parts):
                return listing([self.fact(p) for p in parts]).replace(" and ", " or ")
            case _:
                return "it is always so" if repr(part) == "true" else "it is never so"


# What reads best as what holds: the lie of points, then a lock, then where trains are.
_WORTH = {
    "points": 9, "thrown": 8, "traffic": 6, "timer": 5, "heading": 4, "late": 3, "put back": 3,
    "clock": 3, "across": 2,
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
