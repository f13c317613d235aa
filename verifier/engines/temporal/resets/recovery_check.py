"""Judging plans: whether one of them recovers each state of a window in which a goal fails.

In: a :class:`~verifier.engines.temporal.resets.recovery.Window` and plans. Out: whether z3 finds no
state that all of the plans miss, whatever the states beyond do.

Trusts z3's "unsat", nothing else: the window is encoded anew, apart from the search for plans.
"""

from collections.abc import Sequence

import z3

from verifier.engines.session import Session
from verifier.engines.temporal.resets.recovery import Plan, Window
from verifier.logic.expr import Atom, Expr, support
from verifier.plan.observables import Observable


def each_recovered(window: Window, plans: Sequence[Plan], deadline: float | None) -> bool:
    """Whether each state of the window is recovered by one of the plans.

    Raises :class:`~verifier.engines.results.Interrupted` on Ctrl-C."""
    return _Judge(window).accepts(plans, deadline)


class _Judge(Session):
    """Executions of a window that begin in one state, one for each plan."""

    def __init__(self, window: Window):
        super().__init__(relevancy=0)
        self._window = window
        self._states = frozenset(window.system.states)
        self._beyond = frozenset(window.beyond)
        self._chosen = frozenset(window.chosen)
        self._plans: Sequence[Plan] = ()
        self._bits: dict[tuple[Observable, str, int, int], z3.BoolRef] = {}
        self._terms: dict[tuple[int, int], dict[Expr, z3.BoolRef]] = {}

    def accepts(self, plans: Sequence[Plan], deadline: float | None) -> bool:
        """See :func:`each_recovered`."""
        window = self._window
        self._plans = plans
        known = self._states | self._beyond
        for expr in (*window.given, *window.known, *window.held, *window.invariant):
            self.add(self._term(expr, -1, 0))
        if known.issuperset(what for goal in window.goals for what in support(goal)):
            self.add(self.any_of([self.no(self._term(goal, -1, 0)) for goal in window.goals]))
        for number, plan in enumerate(plans):
            for step in range(len(plan)):
                # A subset of what lasts is assumed: of the states within the window it follows.
                lasting = (*window.held, *window.invariant)
                about = [e for e in lasting if not self._beyond.isdisjoint(support(e))]
                self.add(*(self._term(expr, number, step) for expr in about))
                self.add(self.no(self._works(number, step)))
        return self.check((), deadline) is False

    def _works(self, plan: int, step: int) -> z3.BoolRef:
        """A goal holds that did not hold at first, with all that must be kept, and every step up
        to this one is allowed."""
        window, comes = self._window, list[z3.BoolRef]()
        kept = self._named(self.all_of([self._keeps(e, plan, step) for e in window.kept]))
        for goal in window.goals:
            now = self._term(goal, plan, step)
            if self._is_of_state(goal):
                now = self.all_of([self.no(self._term(goal, -1, 0)), now])
            comes.append(self.all_of([now, kept]))
            kept = self._named(self.all_of([kept, self._keeps(goal, plan, step)]))
        always = window.system.always
        allowed = [self._term(e, plan, t) for t in range(step + 1) for e in always]
        return self.all_of([self.any_of(comes), *allowed])

    def _is_of_state(self, expr: Expr) -> bool:
        return all(what in self._states or what in self._beyond for what in support(expr))

    def _keeps(self, expr: Expr, plan: int, step: int) -> z3.BoolRef:
        """What held at first holds now. (Of inputs nothing can be kept.)"""
        if not self._is_of_state(expr):
            return self.true
        return self.any_of([self.no(self._term(expr, -1, 0)), self._term(expr, plan, step)])

    # -------------------------------------------------------------- terms

    def _term(self, expr: Expr, plan: int, step: int) -> z3.BoolRef:
        known = self._terms.setdefault((plan, step), {})
        return self.encode(expr, lambda part: self._of_atom(part, plan, step), known)

    def _of_atom(self, part: Atom, plan: int, step: int) -> z3.BoolRef:
        return self.any_of([self._bit(part.what, value, plan, step) for value in part.values])

    def _bit(self, what: Observable, value: str, plan: int, step: int) -> z3.BoolRef:
        """``what`` has this value at a step of a plan. All begin in the same state, plan -1."""
        is_input = what not in self._states and what not in self._beyond
        if is_input:
            assert plan >= 0, what
            chosen = self._plans[plan][step][what] if what in self._chosen else what.usual
            return self.true if chosen == value else self.false
        key = what, value, plan if step else -1, step
        known = self._bits.get(key)
        if known is None:
            if len(what.values) == 2 and value == what.values[0]:
                known = self.no(self._bit(what, what.values[1], plan, step))
            elif step and what in self._states:
                comes = self._term(self._window.system.following[what][value], plan, step - 1)
                known = self._named(comes)
            else:
                known = self.fresh()
                if len(what.values) > 2:
                    self._bits[key] = known
                    bits = [self._bit(what, v, plan, step) for v in what.values]
                    if value == what.values[0]:
                        self.add(self.any_of(bits), z3.AtMost(*bits, 1))
            self._bits[key] = known
        return known

    def _named(self, term: z3.BoolRef) -> z3.BoolRef:
        """A variable for a term, which keeps terms short."""
        if term is self.true or term is self.false:
            return term
        name = self.fresh()
        self.add(self.iff(name, term))
        return name
