"""Spacer, z3's engine for constrained Horn clauses, as a second opinion on small systems. It
decided nothing in any junction file (tests/benchmarks/ablation.py), so the product has it not.

In: a system and a bad state. Out: a proof whose clauses
:mod:`verifier.engines.temporal.induction` has checked, a trace found by
:mod:`verifier.engines.temporal.bmc`, or that it is unknown.
"""

from collections.abc import Mapping, Sequence
from time import monotonic

import z3

from verifier.engines.results import Answer, Interrupted, Reachable, Unknown
from verifier.engines.session import TOLERANCE as WITHIN
from verifier.engines.stopping import OUT_OF_TIME
from verifier.engines.temporal import bmc, induction
from verifier.engines.temporal.unroller import Unrolling
from verifier.logic.expr import FALSE, TRUE, And, Expr, atom, conjunction, disjunction, negation
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable

# No history that is told is longer.
LONGEST = 400

# What in the search's own preparations would take "what can be reached" apart.
AS_GIVEN = {"xform.slice": False, "xform.inline_linear": False, "xform.inline_eager": False}

Bit = tuple[Observable, str]


def decide(system: System, bad: Expr, *, deadline: float | None = None) -> Answer:
    """Whether ``bad`` ever happens.

    Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""
    search = _HornClauses(system, bad)
    found = search.ask(deadline)
    if isinstance(found, Unknown):
        return found
    if found:
        return _history(system, bad, deadline)
    clauses = search.clauses()
    if clauses is None:
        return Unknown("the solver's reason could not be read")
    return induction.prove(system, bad, clauses, deadline=deadline)


def _history(system: System, bad: Expr, deadline: float | None) -> Reachable | Unknown:
    return bmc.search(system, bad, most=LONGEST, deadline=deadline)


class _HornClauses:
    """All that can be reached, as rules."""

    def __init__(self, system: System, bad: Expr):
        self._bits: list[Bit] = [
            (what, value)
            for what in system.states
            for value in (what.values[1:] if len(what.values) == 2 else what.values)
        ]
        terms = Unrolling(system, start=False)
        self._context = terms.context
        now = [terms.bit(*bit, 0) for bit in self._bits]
        then = [terms.term(system.following[what][value], 0) for what, value in self._bits]
        starts = [terms.term(atom(w, *system.initial[w]), 0) for w in system.states]
        starts += [terms.term(clause, 0) for clause in system.start]
        always = [terms.term(expr, 0) for expr in system.always]
        chosen = [
            terms.bit(what, value, 0)
            for what in system.inputs
            for value in (what.values[1:] if len(what.values) == 2 else what.values)
        ]
        asked = terms.term(bad, 0)
        one_each = list(terms.solver.assertions())

        self._rules = z3.Fixedpoint(ctx=terms.context)
        self._rules.set(engine="spacer", **AS_GIVEN)
        self._reached = z3.Function(
            "reached", *(z3.BoolSort(self._context) for _ in now), z3.BoolSort(self._context)
        )
        self._happens = z3.Function("happens", z3.BoolSort(self._context))
        self._rules.register_relation(self._reached, self._happens)
        free = [bit for bit in (*now, *chosen) if z3.is_const(bit) and not _is_fixed(bit)]
        if free:
            self._rules.declare_var(*free)
        here = self._reached(*now)
        self._rules.rule(here, [*starts, *one_each])
        self._rules.rule(self._reached(*then), [here, *always, *one_each])
        self._rules.rule(self._happens(), [here, *always, *one_each, asked])

    def ask(self, deadline: float | None) -> bool | Unknown:
        if deadline is not None:
            left = int((deadline - monotonic()) * 1000)
            if left <= 0:
                return Unknown(OUT_OF_TIME)
            self._rules.set(timeout=left)
        try:
            found = self._rules.query(self._happens())
            reason = "" if found != z3.unknown else str(self._rules.reason_unknown())
        except z3.Z3Exception as error:
            found, reason = z3.unknown, str(error)
        if found != z3.unknown:
            return bool(found == z3.sat)
        late = deadline is not None and monotonic() >= deadline - WITHIN
        if not late and ("cancel" in reason or "interrupt" in reason):
            raise Interrupted
        return Unknown(OUT_OF_TIME if late else f"the solver gave up ({reason})")

    # -------------------------------------------------------------- its reason

    def clauses(self) -> tuple[Expr, ...] | None:
        """What holds of all that can be reached, as the solver says; None where that is more
        than an expression can say."""
        said = self._rules.get_cover_delta(-1, self._reached)
        bits = {
            z3.Var(i, z3.BoolSort(self._context)): atom(*bit) for i, bit in enumerate(self._bits)
        }
        expr = _expr(said, {var.get_id(): expr for var, expr in bits.items()})
        if expr is None:
            return None
        return expr.parts if isinstance(expr, And) else (expr,)


def _is_fixed(term: z3.BoolRef) -> bool:
    return bool(z3.is_true(term) or z3.is_false(term))


def _expr(term: z3.BoolRef, known: Mapping[int, Expr]) -> Expr | None:
    """A term as an expression; None where it cannot be one."""
    done = dict(known)
    stack = [term]
    while stack:
        node = stack[-1]
        if node.get_id() in done:
            stack.pop()
            continue
        children = node.children()
        waiting = [child for child in children if child.get_id() not in done]
        if waiting:
            stack.extend(waiting)
            continue
        expr = _joined(node, [done[child.get_id()] for child in children])
        if expr is None:
            return None
        done[node.get_id()] = expr
        stack.pop()
    return done[term.get_id()]


def _joined(node: z3.BoolRef, parts: Sequence[Expr]) -> Expr | None:
    if not z3.is_app(node):
        return None
    match node.decl().kind():
        case z3.Z3_OP_TRUE:
            return TRUE
        case z3.Z3_OP_FALSE:
            return FALSE
        case z3.Z3_OP_AND:
            return conjunction(*parts)
        case z3.Z3_OP_OR:
            return disjunction(*parts)
        case z3.Z3_OP_NOT:
            return negation(parts[0])
        case z3.Z3_OP_IMPLIES:
            return disjunction(negation(parts[0]), parts[1])
        case z3.Z3_OP_EQ | z3.Z3_OP_IFF:
            return disjunction(conjunction(*parts), conjunction(*map(negation, parts)))
        case z3.Z3_OP_ITE:
            return disjunction(
                conjunction(parts[0], parts[1]), conjunction(negation(parts[0]), parts[2])
            )
        case _:
            return None
