"""A transition system as clauses over bits, for the SAT solver of the bit-level engines.

In: a :class:`System` and expressions over its states and inputs. Out: for each expression, a
literal; for each value of a state, the literal that it has this value now, and the literal that it
has it next. An observable of two values is one bit; one of more values has a bit for each, of which
exactly one is set.

Trusted by nobody: :mod:`verifier.engines.temporal.induction` checks what is derived from it.
"""

from collections.abc import Iterable, Iterator, Sequence
from itertools import combinations

from verifier.engines.temporal.gates import TRUE, Gates
from verifier.engines.temporal.sat import Clause
from verifier.logic.expr import And, Atom, Const, Expr, Or, atom, disjunction, fold
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable


class TransitionCnf:
    """The bits of one system. ``clauses`` define every literal handed out."""

    def __init__(self, system: System):
        self.system = system
        self.clauses: list[Clause] = [(TRUE,)]
        self.variables = TRUE
        self._bits: dict[tuple[Observable, str], int] = {}
        self.gates = Gates(self._variable, self._define)
        self._known: dict[Expr, int] = {}
        # By bit of a state: what it says.
        self._meaning: dict[int, tuple[Observable, str]] = {}
        for what in (*system.states, *system.inputs):
            self._declare(what)
        self.state_bits = tuple(self._meaning_of(system.states))
        inputs = (abs(self._bits[what, v]) for what in system.inputs for v in what.values)
        self.input_bits = tuple(dict.fromkeys(bit for bit in inputs if bit != TRUE))
        self._next = self._successors()
        self.constraints = tuple(self.literal(expr) for expr in system.always)
        # The same after one step, with some inputs.
        self.next_constraints = tuple(self._after_a_step(system.always))
        # A literal that every initial state satisfies, by bit.
        self.initial = dict(self._settled_at_start())
        self.start = tuple(self._alike())
        self.initial_clauses = (
            *(
                tuple(self._bits[what, value] for value in system.initial[what])
                for what in system.states
            ),
            *self.start,
        )
        self.one_start = all(len(set(values)) == 1 for values in system.initial.values())

    # -------------------------------------------------------------- bits

    def _variable(self) -> int:
        self.variables += 1
        return self.variables

    def _define(self, clause: Sequence[int]) -> None:
        self.clauses.append(tuple(clause))

    def _declare(self, what: Observable) -> None:
        values = self.gates.one_of(what.values, what.values)
        self._bits.update({(what, value): literal for value, literal in values.items()})

    def _meaning_of(self, states: Iterable[Observable]) -> list[int]:
        for what in states:
            for value in what.values:
                bit = self._bits[what, value]
                if bit > TRUE:
                    self._meaning[bit] = what, value
        return list(self._meaning)

    def bit(self, what: Observable, value: str) -> int:
        """The literal that ``what`` has this value now."""
        return self._bits[what, value]

    def _successors(self) -> dict[int, int]:
        following = self.system.following
        return {
            bit: self.literal(following[what][value])
            for bit, (what, value) in self._meaning.items()
        }

    def next(self, literal: int) -> int:
        """The literal that a state's literal holds after one step."""
        if abs(literal) == TRUE:
            return literal
        return self._next[literal] if literal > 0 else -self._next[-literal]

    def _after_a_step(self, exprs: Iterable[Expr]) -> Iterator[int]:
        states = set(self.system.states)
        now, known = self._bits, dict[Expr, int]()
        self._bits = {key: self.next(bit) for key, bit in now.items() if key[0] in states}
        for what in self.system.inputs if self.system.always else ():
            self._declare(what)
        for expr in exprs:
            yield fold(expr, self._made, known)
        self._bits = now

    def _alike(self) -> Iterator[Clause]:
        """Clauses of the states that start with one value."""
        for group in self.system.alike:
            for one, other in combinations(group, 2):
                for value in self.system.initial[one]:
                    yield -self._bits[one, value], self._bits[other, value]

    def _settled_at_start(self) -> Iterable[tuple[int, int]]:
        for bit, (what, value) in self._meaning.items():
            start = self.system.initial[what]
            if value not in start:
                yield bit, -bit
            elif len(set(start)) == 1:
                yield bit, bit

    # -------------------------------------------------------------- expressions

    def literal(self, expr: Expr) -> int:
        """The literal of an expression over states and inputs."""
        return fold(expr, self._made, self._known)

    def _made(self, node: Expr, parts: Sequence[int]) -> int:
        match node:
            case Const(value=value):
                return TRUE if value else -TRUE
            case Atom(what=what, values=values):
                if 2 * len(values) > len(what.values):
                    others = [v for v in what.values if v not in values]
                    return -self.gates.any_of([self._bits[what, v] for v in others])
                return self.gates.any_of([self._bits[what, v] for v in values])
            case And():
                return self.gates.all_of(parts)
            case _:
                return self.gates.any_of(parts)

    # -------------------------------------------------------------- clauses of states

    def atom(self, literal: int) -> Atom:
        """What a state's literal says."""
        what, value = self._meaning[abs(literal)]
        others = [v for v in what.values if v != value]
        said = atom(what, value) if literal > 0 else atom(what, *others)
        assert isinstance(said, Atom)
        return said

    def what(self, literal: int) -> Observable:
        """The state that a literal speaks of."""
        return self._meaning[abs(literal)][0]

    def clause(self, clause: Iterable[int]) -> Expr:
        """The expression of a clause of state literals."""
        return disjunction(*map(self.atom, clause))

    def clause_of(self, expr: Expr) -> Clause | None:
        """The clause of a disjunction of atoms of states; None where there is none, or it is
        always true."""
        literals: set[int] = set()
        for part in expr.parts if isinstance(expr, Or) else (expr,):
            if not isinstance(part, Atom):
                return None
            what, values = part.what, part.values
            others = [value for value in what.values if value not in values]
            if len(others) == 1:
                literals.add(-self._bits[what, others[0]])
            else:
                literals.update(self._bits[what, value] for value in values)
        return None if TRUE in literals else tuple(sorted(literals - {-TRUE}))

    def valuation(self, model: Sequence[int], whats: Iterable[Observable]) -> dict[Observable, str]:
        """The values of observables in a model: at position ``v - 1`` the literal of variable
        ``v`` that holds. (Whatever a wrong model says is as good as any: it is checked.)"""
        return {
            what: next(
                (
                    v
                    for v in what.values
                    if (bit := self._bits[what, v]) == TRUE or model[abs(bit) - 1] == bit
                ),
                what.usual,
            )
            for what in whats
        }
