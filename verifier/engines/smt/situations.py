"""The situation check: is there an allowed situation in which an expression holds?

One incremental z3 solver. Each query is restricted to its cone of influence: the goal's support,
and the assumptions that share inputs with it, directly or through other assumptions. Assumptions
outside the cone are solved by themselves, once, and their part is added to every situation found.

A bug here could make a wrong "proved"; every answer is compared with the enumerator's on
generated layouts, and every situation found is replayed by the evaluator.
"""

from collections.abc import Collection, Hashable, Iterable, Mapping, Sequence
from functools import cached_property
from time import monotonic

import z3

from verifier.engines.minimal_core import minimal_core
from verifier.engines.proof_store import NO_STORE, ProofStore
from verifier.engines.results import Exists, Impossible, SituationAnswer, Unknown
from verifier.engines.session import Session
from verifier.engines.smt.alike import Form
from verifier.engines.smt.train_length_constraints import Room, rooms, standing_is_possible
from verifier.engines.stopping import OUT_OF_TIME
from verifier.logic.expr import TRUE, Atom, Const, Expr, negation, support
from verifier.plan.minimality import TIERS, tier_of, values_in_order
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation
from verifier.world.train_constraints import train_constraints
from verifier.world.world import World

Assignment = dict[Observable, str]
EVERYWHERE: Mapping[Observable, Room] = {}


class SituationCheck:
    """Queries about the inputs of one layout.

    ``inputs`` in the order of the file; ``assumptions`` as expressions over inputs;
    ``always`` constraints of the world; ``rooms`` where lengths limit how stock can stand;
    ``timeout`` in seconds for each query, None for no limit; ``store``: what earlier checks, of
    this layout or others, found; ``effort``: the work to spend on each query, in the solver's own
    unit (a second is about 700,000), where results must not depend on the clock."""

    def __init__(
        self,
        inputs: Sequence[Observable],
        assumptions: Sequence[Expr] = (),
        timeout: float | None = None,
        always: Sequence[Expr] = (),
        rooms: Mapping[Observable, Room] = EVERYWHERE,
        store: ProofStore = NO_STORE,
        effort: int | None = None,
    ):
        self._rank = {what: i for i, what in enumerate(inputs)}
        # The file's own come first: `rests_on` speaks of them alone.
        self._assumptions = [(a, support(a)) for a in (*assumptions, *always)]
        self._own = len(assumptions)
        self._rooms = rooms
        self._timeout = timeout
        self._store = store
        self._effort = effort
        self._deadline: float | None = None
        # Whether the solver answered each query of the question so far.
        self._answered = True
        self._terms: dict[Expr, z3.BoolRef] = {}
        self._bits: dict[tuple[Observable, str], z3.BoolRef] = {}
        self._domains: dict[Observable, list[z3.BoolRef]] = {}
        self._groups = self._group_assumptions()
        self._elsewhere: dict[int, SituationAnswer] = {}
        # What was found for a question that others may equal up to names, by positions.
        self._alike: dict[Hashable, tuple[tuple[int, ...], ...]] = {}

    @cached_property
    def _session(self) -> Session:
        """Made when the first question is not in the store."""
        return Session() if self._effort is None else Session(rlimit=self._effort)

    @staticmethod
    def of(
        world: World,
        timeout: float | None = None,
        *,
        assumed: bool = True,
        store: ProofStore = NO_STORE,
        effort: int | None = None,
    ) -> "SituationCheck":
        """Answers questions about a layout. Without ``assumed`` the file's assumptions are
        left out."""
        plan = world.plan
        taken = plan.assumptions if assumed else ()
        return SituationCheck(
            world.inputs,
            [world.expand(world.lower(a.condition)) for a in taken],
            timeout,
            [
                *(world.expand(body) for body in train_constraints(plan)),
                *map(world.expand, world.memory_facts),
            ],
            rooms(plan),
            store,
            effort,
        )

    # -------------------------------------------------------------- queries

    def find(self, goal: Expr, *, smallest: bool = False) -> SituationAnswer:
        """An allowed situation in which ``goal`` holds, the simplest one if asked for.

        Raises :class:`Interrupted` on Ctrl-C."""
        self._start_clock()
        if isinstance(goal, Const) and not goal.value:
            return Impossible()
        cone, applying = self.cone(goal)
        answer = self._answer(goal, cone, applying, smallest)
        if isinstance(answer, Exists):
            return self._with_the_rest(answer, applying)
        return answer

    def _answer(
        self, goal: Expr, cone: Sequence[Observable], applying: Sequence[int], smallest: bool
    ) -> SituationAnswer:
        """The answer over these inputs and assumptions only, from the store if it is there. The
        store counts positions among the assumptions that apply."""
        found = self._store.answer(
            ("situation", smallest, *self._question(goal, cone, applying)),
            lambda: _moved(
                self._find(goal, cone, applying, smallest), {k: i for i, k in enumerate(applying)}
            ),
            lambda answer: (
                self._answered
                and (
                    isinstance(answer, Impossible)
                    or (isinstance(answer, Exists) and answer.smallest)
                )
            ),
        )
        return _moved(found, dict(enumerate(applying)))

    def _question(
        self, goal: Expr, cone: Sequence[Observable], applying: Sequence[int]
    ) -> tuple[Hashable, ...]:
        """All that an answer over these inputs and assumptions depends on."""
        asked = [self._assumptions[i][0] for i in applying]
        own = sum(i < self._own for i in applying)
        spaces = ((w, self._rooms[w]) for w in cone if w in self._rooms)
        geometry = tuple((w, room.geometry, *room.covers.items()) for w, room in spaces)
        return goal, tuple(cone), own, tuple(asked), geometry

    def _find(
        self, goal: Expr, cone: Sequence[Observable], applying: Sequence[int], smallest: bool
    ) -> SituationAnswer:
        """The answer over these inputs and assumptions only."""
        self._session.push()
        try:
            self._allow(cone)
            self._session.add(self._term(goal))
            self._session.add(*(self._term(self._assumptions[i][0]) for i in applying
                               if i >= self._own))  # fmt: skip
            names = {i: self._session.boolean(f"assumption {i}") for i in applying if i < self._own}
            for i, name in names.items():
                self._session.add(z3.Implies(name, self._term(self._assumptions[i][0])))
            found = self._check(list(names.values()))
            if found is None:
                return Unknown(self._why())
            if not found:
                return Impossible(self._rests_on(names))
            model = self._read(cone)
            self._session.add(*names.values())
            if not smallest:
                return Exists(_situation(model))
            done, model = self._shrink(cone, model)
            return Exists(_situation(model), done)
        finally:
            self._session.pop()

    def _rests_on(self, names: dict[int, z3.BoolRef]) -> tuple[int, ...]:
        """A minimal core of the assumptions that make the goal impossible."""
        return tuple(
            minimal_core(list(names), lambda some: self._check([names[i] for i in some]) is False)
        )

    def _with_the_rest(self, answer: Exists, applying: Sequence[int]) -> SituationAnswer:
        """The situation found, extended to satisfy the assumptions outside the cone."""
        facts = dict(answer.situation)
        smallest = answer.smallest
        for group in self._groups:
            if group[0] in applying:
                continue
            found = self._elsewhere.get(group[0])
            if found is None:
                cone, _ = self.cone(self._assumptions[group[0]][0])
                found = self._answer(TRUE, cone, group, True)
                if not isinstance(found, Unknown):
                    self._elsewhere[group[0]] = found
            if not isinstance(found, Exists):
                return found
            facts |= dict(found.situation)
            smallest = smallest and found.smallest
        inputs_in_order = sorted(facts.items(), key=lambda fact: self._rank[fact[0]])
        return Exists(Situation.of(inputs_in_order), smallest)

    def faults_with(
        self,
        goal: Expr,
        faults: Sequence[Observable],
        *,
        at_once: int = 1,
        spared: Collection[frozenset[Observable]] = (),
        among: Collection[Observable] | None = None,
    ) -> tuple[list[tuple[Observable, ...]], str]:
        """Every set of ``at_once`` of these faults with which, and no other fault, ``goal`` is
        satisfiable; and why the search was given up, empty when it was not. Supersets of
        ``spared`` are skipped, and sets without any of ``among``, where that is given.

        Raises :class:`Interrupted` on Ctrl-C."""
        self._start_clock()
        cone, applying = self.cone(goal)
        inside = set(cone)
        asked = [fault for fault in faults if fault in inside]
        needed = None if among is None else tuple(fault for fault in asked if fault in among)
        if isinstance(goal, Const) or len(asked) < at_once or needed == ():
            return [], ""
        tried = frozenset(group for group in spared if group and group.issubset(asked))
        form = Form([goal, *(self._assumptions[i][0] for i in applying)], self._rooms)
        groups = frozenset(frozenset(form.numbers(group)) for group in tried)
        lists = form.numbers(asked), None if needed is None else form.numbers(needed)
        alike = form.key, at_once, groups, *lists
        if alike in self._alike:
            return [tuple(asked[i] for i in group) for group in self._alike[alike]], ""
        found, why = self._store.answer(
            ("faults", at_once, tried, tuple(asked), needed, *self._question(goal, cone, applying)),
            lambda: self._faults_with(goal, cone, applying, asked, at_once, tried, needed),
            lambda answer: not answer[1],
        )
        if not why:
            place = {what: i for i, what in enumerate(asked)}
            self._alike[alike] = tuple(tuple(place[what] for what in group) for group in found)
        return list(found), why

    def _faults_with(
        self,
        goal: Expr,
        cone: Sequence[Observable],
        applying: Sequence[int],
        asked: Sequence[Observable],
        at_once: int,
        spared: Collection[frozenset[Observable]],
        needed: Sequence[Observable] | None,
    ) -> tuple[tuple[tuple[Observable, ...], ...], str]:
        """The sets, in the order of ``asked``, and why the search was given up."""
        place = {what: i for i, what in enumerate(asked)}
        found: list[tuple[Observable, ...]] = []

        def one_sound(group: Collection[Observable]) -> z3.BoolRef:
            return self._session.any_of([self._bit(fault, fault.usual) for fault in group])

        self._session.push()
        try:
            self._allow(cone)
            self._session.add(self._term(goal))
            self._session.add(*(self._term(self._assumptions[i][0]) for i in applying))
            broken = {fault: self._session.no(self._bit(fault, fault.usual)) for fault in asked}
            others = (w for w in cone if w.kind == "fault" and w not in broken)
            self._session.add(*(self._bit(fault, fault.usual) for fault in others))
            bits = list(broken.values())
            self._session.add(z3.AtMost(*bits, at_once), z3.AtLeast(*bits, at_once))
            if needed is not None:
                self._session.add(self._session.any_of([broken[fault] for fault in needed]))
            for group in spared:
                self._session.add(one_sound(sorted(group, key=place.__getitem__)))
            while True:
                answer = self._check([])
                if not answer:
                    found.sort(key=lambda these: [place[what] for what in these])
                    return tuple(found), self._why() if answer is None else ""
                model = self._read(asked)
                these = tuple(fault for fault in asked if model[fault] != fault.usual)
                found.append(these)
                self._session.add(one_sound(these))
        finally:
            self._session.pop()

    def relevant(self, goal: Expr, situation: Situation) -> tuple[Observable, ...]:
        """A minimal set of the situation's facts that implies ``goal`` in every allowed situation
        with no other fault."""
        self._start_clock()
        cone, applying = self.cone(goal)
        facts = tuple((w, situation.state(w)) for w in cone)
        return self._store.answer(
            ("relevant", facts, *self._question(goal, cone, applying)),
            lambda: self._relevant(goal, situation, cone, applying),
            lambda _: self._answered,
        )

    def _relevant(
        self,
        goal: Expr,
        situation: Situation,
        cone: Sequence[Observable],
        applying: Sequence[int],
    ) -> tuple[Observable, ...]:
        sound = [w for w in cone if w.kind == "fault" and w not in situation.facts]
        facts = [w for w in cone if w.kind != "fault" or w in situation.facts]
        order = sorted(facts, key=lambda w: (w not in situation.facts, self._rank[w]))
        self._session.push()
        try:
            self._allow(cone)
            self._session.add(self._term(negation(goal)))
            self._session.add(*(self._bit(w, w.usual) for w in sound))
            self._session.add(*(self._term(self._assumptions[i][0]) for i in applying))
            fixed = {w: self._bit(w, situation.state(w)) for w in facts}
            core = set(minimal_core(
                order, lambda some: self._check([fixed[what] for what in some]) is False
            ))  # fmt: skip
            return tuple(what for what in facts if what in core)
        finally:
            self._session.pop()

    def cone(self, goal: Expr) -> tuple[tuple[Observable, ...], tuple[int, ...]]:
        """The cone of influence: its inputs in file order, and the assumptions that apply."""
        inside = set(support(goal))
        applying: set[int] = set()
        grew = True
        while grew:
            grew = False
            for i, (_, about) in enumerate(self._assumptions):
                if i not in applying and (not about or inside.intersection(about)):
                    applying.add(i)
                    inside.update(about)
                    grew = True
        return tuple(sorted(inside, key=self._rank.__getitem__)), tuple(sorted(applying))

    def _group_assumptions(self) -> list[tuple[int, ...]]:
        """Assumptions connected by shared inputs. One without inputs belongs to every cone."""
        groups: dict[int, tuple[int, ...]] = {}
        for i, (expr, about) in enumerate(self._assumptions):
            if about and not any(i in group for group in groups.values()):
                applying = self.cone(expr)[1]
                groups[i] = tuple(k for k in applying if self._assumptions[k][1])
        return list(groups.values())

    # -------------------------------------------------------------- minimization

    def _shrink(self, cone: Sequence[Observable], model: Assignment) -> tuple[bool, Assignment]:
        """The simplest situation, in the order of :mod:`verifier.plan.minimality`, and
        whether there was time to find it. The goal is in the solver already."""
        for tier in range(len(TIERS)):
            here = [what for what in cone if tier_of(what) == tier]
            unusual = [self._session.no(self._bit(what, what.usual)) for what in here]
            most = sum(1 for what in here if model[what] != what.usual)
            for limit in range(most):
                found = self._check([], z3.AtMost(*unusual, limit))
                if found is None:
                    return False, model
                if found:
                    model, most = self._read(cone), limit
                    break
            if unusual:
                self._session.add(z3.AtMost(*unusual, most))
        fixed: list[z3.BoolRef] = []
        for what in cone:
            for value in values_in_order(what):
                if model[what] != value:
                    found = self._check([*fixed, self._bit(what, value)])
                    if found is None:
                        return False, model
                    if not found:
                        continue
                    model = self._read(cone)
                fixed.append(self._bit(what, value))
                break
        return True, model

    # -------------------------------------------------------------- the solver

    def _start_clock(self) -> None:
        self._deadline = None if self._timeout is None else monotonic() + self._timeout
        self._answered = True

    def _check(self, literals: Sequence[z3.BoolRef], *extra: z3.BoolRef) -> bool | None:
        if extra:
            self._session.push()
        try:
            self._session.add(*extra)
            found = self._session.check(literals, self._deadline)
            self._answered = self._answered and found is not None
            return found
        finally:
            if extra:
                self._session.pop()

    def _why(self) -> str:
        if self._timeout is not None and self._session.reason is OUT_OF_TIME:
            return f"no answer within {self._timeout:g} s"
        return self._session.reason

    def _read(self, cone: Iterable[Observable]) -> Assignment:
        """The values in the model; the usual one where it is open."""
        return {what: self._value(what) for what in cone}

    def _value(self, what: Observable) -> str:
        is_so = self._session.is_so
        if len(what.values) == 2:
            return what.values[is_so(self._bit(what, what.values[1]))]
        return next((v for v in what.values if is_so(self._bit(what, v))), what.usual)

    # -------------------------------------------------------------- encoding

    def _allow(self, cone: Iterable[Observable]) -> None:
        """Every input is in exactly one of its states."""
        for what in cone:
            if what not in self._domains:
                self._domains[what] = self._domain(what)
            self._session.add(*self._domains[what])

    def _domain(self, what: Observable) -> list[z3.BoolRef]:
        terms: list[z3.BoolRef] = []
        if len(what.values) == 1:
            terms.append(self._bit(what, what.values[0]))
        elif len(what.values) > 2:
            bits = [self._bit(what, value) for value in what.values]
            terms += [z3.Or(*bits), z3.AtMost(*bits, 1)]
        if what in self._rooms:
            terms += standing_is_possible(what, self._rooms[what], self._bit)
        return terms

    def _bit(self, what: Observable, value: str) -> z3.BoolRef:
        """One Boolean for each state; two-state things have one Boolean in all."""
        key = what, value
        bit = self._bits.get(key)
        if bit is None:
            if len(what.values) == 2 and value == what.values[0]:
                bit = self._session.no(self._bit(what, what.values[1]))
            else:
                bit = self._session.boolean(f"{what.kind} {what.name} = {value}")
            self._bits[key] = bit
        return bit

    def _term(self, expr: Expr) -> z3.BoolRef:
        return self._session.encode(expr, self._of_atom, self._terms)

    def _of_atom(self, part: Atom) -> z3.BoolRef:
        return self._session.any_of([self._bit(part.what, value) for value in part.values])


def _situation(values: Assignment) -> Situation:
    return Situation.of(values.items())


def _moved(answer: SituationAnswer, positions: Mapping[int, int]) -> SituationAnswer:
    """The answer with the positions of its assumptions replaced."""
    if isinstance(answer, Impossible):
        return Impossible(tuple(positions[i] for i in answer.rests_on))
    return answer
