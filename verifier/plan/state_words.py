"""The one table of how the state of an observable is said.

In: an observable and states of it. Out: a clause (*lever 4 stands left*), or a fact as a person
types it (*lever 4 left*).
"""

from collections.abc import Sequence

from verifier.language.listing import listing
from verifier.plan.observables import Observable

# By kind: how a clause begins, how one begins that denies a single state, and how a fact does.
_TABLE = {
    "relay": ("relay {} is", "relay {} is not", "relay {} is"),
    "timer": ("timer {} is", "timer {} is not", "timer {} is"),
    "traffic": (
        "the direction of traffic {} is",
        "the direction of traffic {} is not",
        "traffic {} is",
    ),
    "points": ("{} lies", "{} does not lie", "{} lies"),
    "thrown": ("{} is told to lie", "{} is not told to lie", "{} told to lie"),
    "lever": ("lever {} stands", "lever {} does not stand", "lever {}"),
    "button": ("button {} is", "button {} is not", "button {}"),
    "derail": ("derail {} is", "derail {} is not", "{} lies"),
    "gate": ("gate {} is", "gate {} is not", "gate {}"),
    "gate report": ("{} reports", "{} does not report", "{}"),
}
_OTHERS = ("{} is", "{} is not", "{}")


def state_clause(kind: str, name: str, state: str) -> str:
    """``relay 4L-route is up``."""
    begins, _, _ = _TABLE.get(kind, _OTHERS)
    return f"{begins.format(name)} {state}"


def states_clause(what: Observable, states: Sequence[str]) -> str:
    """``T1 lies normal``; ``T1 does not lie open`` rather than all other states."""
    left_out = [state for state in what.values if state not in states]
    if len(left_out) != 1 or len(what.values) == 2:
        return state_clause(what.kind, what.name, one_of(states))
    _, denied, _ = _TABLE.get(what.kind, _OTHERS)
    return f"{denied.format(what.name)} {left_out[0]}"


def typed_fact(what: Observable, state: str) -> str:
    """``lever 4 left``."""
    *_, begins = _TABLE.get(what.kind, _OTHERS)
    return f"{begins.format(what.name)} {state}"


def one_of(states: Sequence[str]) -> str:
    """``left``, ``either left or right``."""
    return f"either {listing(states, 'or')}" if len(states) > 1 else states[0]
