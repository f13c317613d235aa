"""Expressions over observables, in negation normal form.

Four kinds of node: a constant, an atom (an observable is in one of some of its states), a
conjunction, a disjunction. The negation of an atom is the atom with the other states, so no
node for "not" is needed. Build nodes with :func:`atom`, :func:`conjunction`,
:func:`disjunction`, :func:`negation` only: they simplify, and equal expressions are the same
object.

A bug here could make a wrong "proved"; the enumerator, which uses none of it to evaluate
a layout, is the check.
"""

from collections.abc import Callable, Collection, Iterator, Mapping
from functools import lru_cache
from typing import TypeVar
from weakref import WeakValueDictionary

from verifier.plan.observables import Observable

T = TypeVar("T")


class Expr:
    """A node. Compared by identity; :func:`fold` walks it without recursion."""

    __slots__ = ("__weakref__", "_opposite", "_speaks")
    # Those of a group; all else has none.
    parts: "tuple[Expr, ...]" = ()
    # Computed on first use.
    _opposite: "Expr | None"
    _speaks: "tuple[Observable, ...] | None"

    def __init__(self) -> None:
        self._opposite = None
        self._speaks = None


class Const(Expr):
    __slots__ = ("value",)

    def __init__(self, value: bool) -> None:
        super().__init__()
        self.value = value

    def __repr__(self) -> str:
        return "true" if self.value else "false"


class Atom(Expr):
    """``what`` is in one of ``values`` (in the order of its states; never none nor all)."""

    __slots__ = ("values", "what")

    def __init__(self, what: Observable, values: tuple[str, ...]) -> None:
        super().__init__()
        self.what = what
        self.values = values

    def __repr__(self) -> str:
        return f"{self.what.kind} {self.what.name} = {' or '.join(self.values)}"


class Group(Expr):
    __slots__ = ("parts",)
    word = ""

    def __init__(self, parts: tuple[Expr, ...]) -> None:
        super().__init__()
        self.parts = parts

    def __repr__(self) -> str:
        return _shortly(self, SHOWN_LEVELS)


class And(Group):
    __slots__ = ()
    word = "and"


class Or(Group):
    __slots__ = ()
    word = "or"


# So many atoms and groups are kept with what they were made of.
RECENT = 1 << 17

# As many levels of groups are shown when an expression is printed.
SHOWN_LEVELS = 6


def _shortly(expr: Expr, levels: int) -> str:
    if not isinstance(expr, Group):
        return repr(expr)
    if not levels:
        return "(…)"
    return "(" + f" {expr.word} ".join(_shortly(p, levels - 1) for p in expr.parts) + ")"


TRUE: Expr = Const(True)
FALSE: Expr = Const(False)

_known: WeakValueDictionary[tuple[object, ...], Expr] = WeakValueDictionary()


def constant(value: bool) -> Expr:
    return TRUE if value else FALSE


def atom(what: Observable, *values: str) -> Expr:
    """``what`` is in one of ``values``."""
    return _atom(what, values)


@lru_cache(maxsize=RECENT)
def _atom(what: Observable, values: tuple[str, ...]) -> Expr:
    ordered = tuple([v for v in what.values if v in values])
    if not ordered:
        return FALSE
    if len(ordered) == len(what.values):
        return TRUE
    key = (what, ordered)
    node = _known.get(key)
    if node is None:
        node = _known[key] = Atom(what, ordered)
    return node


def conjunction(*parts: Expr) -> Expr:
    """All of the parts hold."""
    return _group(And, parts)


def disjunction(*parts: Expr) -> Expr:
    """At least one of the parts holds."""
    return _group(Or, parts)


def negation(expr: Expr) -> Expr:
    """The expression does not hold. Every node caches its negation."""
    stack = [expr]
    while stack:
        node = stack[-1]
        if node._opposite is None:
            waiting = (
                [p for p in node.parts if p._opposite is None] if isinstance(node, Group) else []
            )
            if waiting:
                stack.extend(waiting)
                continue
            _turn(node)
        stack.pop()
    assert expr._opposite is not None
    return expr._opposite


def _turn(node: Expr) -> None:
    """Set the cached negation of a node whose parts have theirs."""
    turned: Expr
    match node:
        case Const():
            turned = constant(not node.value)
        case Atom():
            turned = atom(node.what, *(v for v in node.what.values if v not in node.values))
        case And():
            turned = disjunction(*(p._opposite for p in node.parts if p._opposite))
        case Or():
            turned = conjunction(*(p._opposite for p in node.parts if p._opposite))
        case _:
            raise AssertionError(node)
    node._opposite = turned
    if turned._opposite is None:
        turned._opposite = node


@lru_cache(maxsize=RECENT)
def _group(kind: type[And] | type[Or], parts: tuple[Expr, ...]) -> Expr:
    """Flatten, merge atoms of one observable, drop what is absorbed. The groups made last are
    kept, since the next version of a file makes most of them again."""
    unit, zero = (TRUE, FALSE) if kind is And else (FALSE, TRUE)
    flat: dict[Expr, None] = {}
    for part in parts:
        for leaf in part.parts if isinstance(part, kind) else (part,):
            if leaf is zero:
                return zero
            if leaf is not unit:
                flat[leaf] = None
    merged = _merge_atoms(kind, flat)
    if merged is None:
        return zero
    kept = _absorb(kind, merged)
    if not kept:
        return unit
    if len(kept) == 1:
        return kept[0]
    key = (kind, *(id(part) for part in kept))
    node = _known.get(key)
    if node is None:
        node = _known[key] = kind(tuple(kept))
    return node


def _merge_atoms(kind: type[Group], flat: Collection[Expr]) -> list[Expr] | None:
    """One atom for each observable; None when they leave nothing (or everything) over."""
    named = [part.what for part in flat if isinstance(part, Atom)]
    if len(named) == len(set(named)):
        return [*flat]
    by_observable: dict[Observable, tuple[str, ...]] = {}
    order: list[Expr | Observable] = []
    for part in flat:
        if not isinstance(part, Atom):
            order.append(part)
            continue
        have = by_observable.get(part.what)
        if have is None:
            order.append(part.what)
            by_observable[part.what] = part.values
        elif kind is And:
            by_observable[part.what] = tuple(v for v in have if v in part.values)
        else:
            by_observable[part.what] = tuple(
                v for v in part.what.values if v in have or v in part.values
            )
    merged: list[Expr] = []
    for item in order:
        node = item if isinstance(item, Expr) else atom(item, *by_observable[item])
        if node is (FALSE if kind is And else TRUE):
            return None
        if node is not (TRUE if kind is And else FALSE):
            merged.append(node)
    return merged


def _absorb(kind: type[Group], parts: list[Expr]) -> list[Expr]:
    """``a or (a and b)`` is ``a``; ``a and (a or b)`` is ``a``."""
    groups = {part: {*part.parts} for part in parts if part.parts}
    if not groups:
        return parts
    alone = {*parts}
    kept = []
    for part in parts:
        inner = groups.get(part)
        if (
            inner is None
            or isinstance(part, kind)
            or (inner.isdisjoint(alone) and not any(other < inner for other in groups.values()))
        ):
            kept.append(part)
    return kept


# ------------------------------------------------------------------ walks


def fold(
    expr: Expr, step: Callable[[Expr, tuple[T, ...]], T], known: dict[Expr, T] | None = None
) -> T:
    """Bottom-up over the shared graph: each node once, on an explicit stack. ``known``: results
    of nodes, used and added to, for expressions that share parts."""
    done: dict[Expr, T] = {} if known is None else known
    stack: list[Expr] = [expr]
    while stack:
        node = stack[-1]
        if node in done:
            stack.pop()
            continue
        parts = node.parts
        if parts:
            waiting = [part for part in parts if part not in done]
            if waiting:
                stack += waiting
                continue
            done[node] = step(node, tuple([done[part] for part in parts]))
        else:
            done[node] = step(node, ())
        stack.pop()
    return done[expr]


def nodes(expr: Expr) -> Iterator[Expr]:
    """Every node once, in a fixed order (depth first, left to right)."""
    seen: set[Expr] = set()
    stack = [expr]
    while stack:
        node = stack.pop()
        if node in seen:
            continue
        seen.add(node)
        yield node
        stack += node.parts[::-1]


def support(expr: Expr) -> tuple[Observable, ...]:
    """The observables that occur in an expression, each once, in a fixed order."""
    if expr._speaks is not None:
        return expr._speaks
    found: dict[Observable, None] = {}
    seen: set[Expr] = set()
    stack = [expr]
    while stack:
        node = stack.pop()
        if node in seen:
            continue
        seen.add(node)
        if node._speaks is not None:
            found.update(dict.fromkeys(node._speaks))
        elif isinstance(node, Atom):
            found[node.what] = None
        else:
            stack += node.parts[::-1]
    expr._speaks = tuple(found)
    return expr._speaks


def substitute(
    expr: Expr, replace: Callable[[Atom], Expr], known: dict[Expr, Expr] | None = None
) -> Expr:
    """The expression with every atom replaced. ``known``: as in :func:`fold`, for the same
    ``replace``."""

    def step(node: Expr, parts: tuple[Expr, ...]) -> Expr:
        match node:
            case Atom():
                return replace(node)
            case And():
                return node if parts == node.parts else conjunction(*parts)
            case Or():
                return node if parts == node.parts else disjunction(*parts)
            case _:
                return node

    return fold(expr, step, known)


def holds(expr: Expr, state: Mapping[Observable, str]) -> bool:
    """Whether the expression holds in a valuation."""

    def step(node: Expr, parts: tuple[bool, ...]) -> bool:
        match node:
            case Const():
                return node.value
            case Atom():
                return state[node.what] in node.values
            case And():
                return all(parts)
            case _:
                return any(parts)

    return fold(expr, step)
