"""A transition system as an and-inverter graph.

In: a system and bad states, expressions over states and inputs. Out: a circuit with a bad literal
for each of them and a constraint for each constraint of the system.

Each value of an observable but one has a bit; the remaining value is meant when no bit is set.
Where several bits are free at once, as for inputs, the first that is set counts (a priority
encoding), so that every valuation of the bits is legal and no constraint is needed.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from verifier.engines.interchange.aiger import FALSE, TRUE, Circuit, Gate, Latch
from verifier.logic.expr import And, Atom, Const, Expr, conjunction, fold
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable


@dataclass(frozen=True, slots=True)
class Code:
    """The encoding of an observable. ``values`` have a bit each, from bit ``first`` of the inputs
    or latches on; ``left_over`` has none; ``ranked``: the first set bit counts."""

    what: Observable
    left_over: str
    values: tuple[str, ...]
    first: int
    ranked: bool


@dataclass(frozen=True, slots=True)
class Gates:
    """The circuit of a system."""

    circuit: Circuit
    states: tuple[Code, ...]
    inputs: tuple[Code, ...]


def gates(system: System, bad: Sequence[Expr]) -> Gates:
    """The circuit of a system, with a bad state for each expression."""
    return _Builder(system).build(bad)


class _Builder:
    """Literals of expressions, and the gates made for them."""

    def __init__(self, system: System) -> None:
        self._system = system
        self._inputs = _codes([(what, what.values) for what in system.inputs])
        self._states = _codes([(what, tuple(system.initial[what])) for what in system.states])
        self._in_bits = sum(len(code.values) for code in self._inputs)
        self._state_bits = sum(len(code.values) for code in self._states)
        self._next = 1 + self._in_bits + self._state_bits + bool(system.alike)
        self._gates: dict[tuple[int, int], Gate] = {}
        self._known: dict[Expr, int] = {}
        self._atoms: dict[tuple[Observable, str], int] = {}
        for codes, before in ((self._inputs, 0), (self._states, self._in_bits)):
            for code in codes:
                self._name_values(code, before)

    def build(self, bad: Sequence[Expr]) -> Gates:
        latches = []
        for code in self._states:
            follows = self._system.following[code.what]
            start = self._system.initial[code.what]
            for at, value in enumerate(code.values, 1 + self._in_bits + code.first):
                reset = 2 * at if value in start else FALSE
                latches.append(Latch(2 * at, self._literal(follows[value]), reset))
        wrong = tuple(self._literal(expr) for expr in bad)
        granted = tuple(self._literal(expr) for expr in self._system.always)
        if self._system.alike:
            # On from the second moment: what starts alike may differ then.
            begun = 2 * (1 + self._in_bits + self._state_bits)
            latches.append(Latch(begun, TRUE))
            alike = self._literal(conjunction(*self._system.start))
            granted = (*granted, self._any([begun, alike]))
        circuit = Circuit(
            tuple(2 * i for i in range(1, self._in_bits + 1)),
            tuple(latches),
            tuple(self._gates.values()),
            wrong,
            granted,
            names=_names("i", self._inputs) | _names("l", self._states),
        )
        return Gates(circuit, self._states, self._inputs)

    def _name_values(self, code: Code, before: int) -> None:
        """The literal of each value of an observable."""
        bits = [2 * (1 + before + code.first + i) for i in range(len(code.values))]
        off = TRUE
        for value, bit in zip(code.values, bits, strict=True):
            self._atoms[code.what, value] = self._both(bit, off) if code.ranked else bit
            off = self._both(off, bit ^ 1)
        self._atoms[code.what, code.left_over] = off

    def _literal(self, expr: Expr) -> int:
        """The literal of an expression; gates are shared between expressions."""
        return fold(expr, self._made, self._known)

    def _made(self, node: Expr, parts: Sequence[int]) -> int:
        match node:
            case Const(value=value):
                return TRUE if value else FALSE
            case Atom(what=what, values=values):
                return self._any([self._atoms[what, value] for value in values])
            case And():
                return self._all(parts)
            case _:
                return self._any(parts)

    def _any(self, literals: Sequence[int]) -> int:
        return self._all([lit ^ 1 for lit in literals]) ^ 1

    def _all(self, literals: Sequence[int]) -> int:
        """The conjunction, as a balanced tree."""
        level = list(literals) or [TRUE]
        while len(level) > 1:
            pairs = [self._both(level[i], level[i + 1]) for i in range(0, len(level) - 1, 2)]
            level = pairs + (level[-1:] if len(level) % 2 else [])
        return level[0]

    def _both(self, one: int, other: int) -> int:
        high, low = max(one, other), min(one, other)
        if low == FALSE or high == low ^ 1:
            return FALSE
        if low in (TRUE, high):
            return high
        gate = self._gates.get((high, low))
        if gate is None:
            gate = self._gates[high, low] = Gate(2 * self._next, high, low)
            self._next += 1
        return gate.out


def _codes(things: Sequence[tuple[Observable, tuple[str, ...]]]) -> tuple[Code, ...]:
    """``things`` with their initial values."""
    codes = []
    first = 0
    for what, start in things:
        # No bit is set at the start, as checkers like it. With several values at the start their
        # bits are free there, and no bit at all must be one of them.
        left_over = start[0]
        values = tuple(value for value in what.values if value != left_over)
        ranked = sum(value in start for value in values) > 1
        codes.append(Code(what, left_over, values, first, ranked))
        first += len(values)
    return tuple(codes)


def _names(letter: str, codes: Sequence[Code]) -> dict[str, str]:
    names = {}
    for code in codes:
        for at, value in enumerate(code.values, code.first):
            text = f"{code.what.kind} {code.what.name} = {value}"
            names[f"{letter}{at}"] = "".join(c if c.isprintable() else " " for c in text)
    return names
