"""`use … turned round`: the statements of a module, mirrored.

In: a statement of the layout, and the names of its directions of traffic. Out: the statement with
left and right exchanged. Signals stay, since `at A | B` gives their direction; so do the positions
of levers, whatever their names. Distances from the left end of a block are mirrored in
`verifier/plan/wiring/detectors_drivers.py`, where the block's length is known.
"""

from collections.abc import Set
from dataclasses import replace
from typing import Any, cast

from verifier.language.syntax import tree as s

_OTHER_WAY = {"rightward": "leftward", "leftward": "rightward"}
_OTHER_CLAUSE: dict[s.ClauseKind, s.ClauseKind] = {
    "rightward when": "leftward when",
    "leftward when": "rightward when",
}


def turned_round(node: Any, traffic: Set[str]) -> Any:
    """A statement, or a part of one, the other way round."""
    match node:
        case s.Fact(state=s.FactState(kind="name", value=way)) if way in _OTHER_WAY:
            return _fact(node, traffic)
        case s.Clause(kind=kind) if kind in _OTHER_CLAUSE:
            node = replace(node, kind=_OTHER_CLAUSE[kind])
        case s.Statement():
            node = node.mirrored()
    return s.with_parts(node, lambda part: turned_round(part, traffic))


def _fact(fact: s.Fact, traffic: Set[str]) -> s.Condition:
    """`West-way, East-way rightward`: said of traffic it turns, of a lever it does not."""
    state = cast(s.FactState, fact.state)
    other = replace(state, value=_OTHER_WAY[state.value])
    turns = tuple(name for name in fact.names if name.text in traffic)
    stays = tuple(name for name in fact.names if name.text not in traffic)
    if not stays:
        return replace(fact, state=other)
    if not turns:
        return fact
    parts = replace(fact, names=turns, state=other), replace(fact, names=stays)
    return (s.AnyOf if fact.quantity == "any" else s.AllOf)(parts, fact.span)
