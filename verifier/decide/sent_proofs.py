"""Proofs as plain data, for another process to check: clauses to try, and delays to compare.

In: the store of a proof. Out: JSON, and from such JSON a store that has only what is worth trying.
Nothing in it is believed: whoever proves with that store checks each clause by induction
(:mod:`verifier.engines.temporal.kept_clauses`), and asks everything else again.
"""

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Any, cast

from verifier.decide.earlier_proofs import Ways, keep_order, keep_states, kept_order, kept_states
from verifier.engines.proof_store import ProofStore
from verifier.logic.expr import And, Atom, Const, Expr, atom, conjunction, constant, disjunction
from verifier.logic.time_order import Comparison, Order
from verifier.plan.observables import Kind, Observable

Json = dict[str, Any]
# Deeper expressions than this are no clauses of ours.
_DEEPEST = 50


class NoProof(Exception):
    """The data is no such store."""


def sent(store: ProofStore) -> Json:
    """What a store has that is worth trying."""
    table: dict[Observable, int] = {}

    def number(what: Observable) -> int:
        return table.setdefault(what, len(table))

    def of_order(order: Order) -> list[Any]:
        return [
            [number(what), list(map(number, c.delays)), list(map(str, c.credit)),
             list(map(str, c.later))]
            for what, c in order.compared.items()
        ]  # fmt: skip

    def of_clause(expr: Expr) -> list[Any]:
        match expr:
            case Atom(what=what, values=values):
                return ["atom", number(what), list(values)]
            case Const(value=value):
                return ["constant", value]
            case _:
                word = "and" if isinstance(expr, And) else "or"
                return [word, *map(of_clause, expr.parts)]

    both = (False, True)
    # Those of finer systems are kept under no kind: nobody tries them again.
    kinds = (kind for kind in store.kinds if isinstance(kind, Ways))
    clauses = [[kind, [of_clause(c) for c in store.clauses_of(kind)]] for kind in kinds]
    orders = [[lossy, of_order(kept_order(store, lossy=lossy))] for lossy in both]
    states = [[lossy, list(map(number, kept_states(store, lossy=lossy)))] for lossy in both]
    return {
        "whats": list(map(written, table)),
        "clauses": clauses,
        "orders": orders,
        "states": states,
    }


def received(data: Mapping[str, Any]) -> ProofStore:
    """A store that has just that to try. Raises :class:`NoProof`."""
    try:
        return _received(data)
    except (TypeError, ValueError, LookupError, AttributeError, ArithmeticError) as error:
        raise NoProof(str(error)) from None


def _received(data: Mapping[str, Any]) -> ProofStore:
    whats = [observable(entry) for entry in data["whats"]]

    def clause_of(entry: Any, depth: int = 0) -> Expr:
        word, *rest = entry
        if depth > _DEEPEST:
            raise ValueError(depth)
        match word:
            case "atom":
                return atom(whats[rest[0]], *map(_text, rest[1]))
            case "constant":
                return constant(rest[0] is True)
            case "and":
                return conjunction(*(clause_of(part, depth + 1) for part in rest))
            case "or":
                return disjunction(*(clause_of(part, depth + 1) for part in rest))
        raise ValueError(word)

    store = ProofStore()
    for kind, clauses in data["clauses"]:
        store.learn(Ways(*map(_yes_or_no, kind)), map(clause_of, clauses))
    for lossy, order in data["orders"]:
        compared = {
            whats[what]: Comparison(
                tuple(whats[i] for i in delays),
                tuple(map(Fraction, map(_text, credit))),
                tuple(map(Fraction, map(_text, later))),
            )
            for what, delays, credit, later in order
        }
        keep_order(store, Order(compared), lossy=_yes_or_no(lossy))
    for lossy, states in data["states"]:
        keep_states(store, [whats[i] for i in states], lossy=_yes_or_no(lossy))
    return store


def written(what: Observable) -> list[Any]:
    """An observable as data."""
    return [what.kind, what.name, list(what.values), what.usual, what.reader]


def observable(written: Sequence[Any]) -> Observable:
    """The same again. Raises TypeError or ValueError where it is none."""
    kind, name, values, usual, reader = written
    words = tuple(_text(value) for value in values)
    return Observable(cast(Kind, _text(kind)), _text(name), words, _text(usual), _text(reader))


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError(value)
    return value


def _yes_or_no(value: Any) -> bool:
    if not isinstance(value, bool):
        raise TypeError(value)
    return value
