"""Localization abstraction: each place is proved with everything beyond it free.

In: a system and bad states of one place. Out: for each, an answer and the system it was found in.

A window keeps the states within some dependency steps of the property; every other state is an
unconstrained input. A window overapproximates the whole system, so a proof in it is sound; where
none is found the window is widened. Traces count only in the whole system, so bounded model
checking searches there. Windows that are equal up to names are proved once.

Trusts :func:`~verifier.logic.transition_system.cut`, the induction check and, for windows proved
once, :mod:`verifier.engines.temporal.symmetry`.
"""

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from time import monotonic

from verifier.engines.results import Answer, Engine, Reachable, Unknown, Unreachable
from verifier.engines.temporal import bmc, houdini, induction
from verifier.engines.temporal.simulation import Samples
from verifier.engines.temporal.symmetry import Shapes
from verifier.logic.expr import Const, Expr, support
from verifier.logic.transition_system import System, cut
from verifier.plan.observables import Observable

# Radius of the first window: the property's support, and the support of those states.
FIRST_RING = 1
# Longest trace searched once a window of so many rings has not sufficed, and at last.
DEPTHS = {FIRST_RING: 8, FIRST_RING + 1: 16}
LONG = 40
# Steps of random simulation.
SAMPLED = 150
# Seconds for the engines of last resort where the user gives no limit.
PATIENCE = 60.0


@dataclass(frozen=True, slots=True)
class LocalAnswer:
    """An answer and the system it was found in: a window, or the whole."""

    outcome: Answer
    system: System


class Windows:
    """Decides the reachability of bad states of one transition system.

    ``few``: inputs of which a trace should use few, the most important first; ``timeout`` in
    seconds for each bad state; ``step`` is called before each."""

    def __init__(
        self,
        system: System,
        *,
        few: Sequence[frozenset[Observable]] = (),
        timeout: float | None = None,
        step: Callable[[], None] = lambda: None,
    ):
        self.system = system
        self._few = few
        self._timeout = timeout
        self._step = step
        self._supports: dict[Observable, frozenset[Observable]] = {}
        self._shapes = Shapes()
        # By shape of window: its invariant, and what that was found to prove.
        self._known: dict[Hashable, _Shape] = {}
        self._proofs: dict[Expr, None] = {}
        self._invariants: dict[frozenset[Observable], tuple[Expr, ...]] = {}
        self._states = frozenset(system.states)

    def decide(self, bads: Sequence[Expr], *, likely: bool = False) -> list[LocalAnswer]:
        """The answers for several bad states of one place. ``likely``: they should be reachable,
        so traces are searched first."""
        answers = {i: a for i, bad in enumerate(bads) if (a := self._constant(bad)) is not None}
        if likely:
            left = {i: bad for i, bad in enumerate(bads) if i not in answers}
            answers |= self._search(left, DEPTHS[FIRST_RING])
        rings, before = FIRST_RING, frozenset[Observable]()
        failed: dict[int, list[_Unproved]] = {i: [] for i in range(len(bads))}
        while waiting := [i for i in range(len(bads)) if i not in answers]:
            kept = self.window([bads[i] for i in waiting], rings)
            if kept == before:
                break
            for i, answer in self._in_window(kept, {i: bads[i] for i in waiting}).items():
                if isinstance(answer, _Unproved):
                    failed[i].append(answer)
                    continue
                answers[i] = answer
                for once in failed[i]:
                    once.known.wider.add(once.asked)
            if rings in DEPTHS and not likely:
                # A wider window proved this of an isomorphic place, so it will here.
                sought = [i for i in waiting if i not in answers and not failed[i][-1].proved_wider]
                answers |= self._search({i: bads[i] for i in sought}, DEPTHS[rings])
            rings, before = rings + 1, kept
        return [answers.get(i) or self._whole_system(bad) for i, bad in enumerate(bads)]

    def invariants(self) -> Iterator[Expr]:
        """The invariants found, of every window."""
        for clauses in self._invariants.values():
            yield from clauses
        yield from self._proofs

    def _constant(self, bad: Expr) -> LocalAnswer | None:
        if isinstance(bad, Const) and not bad.value:
            return LocalAnswer(Unreachable(()), cut(self.system, ()))
        return None

    # -------------------------------------------------------------- windows

    def window(self, bads: Iterable[Expr], rings: int) -> frozenset[Observable]:
        """The states within ``rings`` dependency steps of the support of ``bads``."""
        inside = {w for bad in bads for w in support(bad) if w in self._states}
        edge = set(inside)
        for _ in range(rings):
            beyond = {w for what in edge for w in self._support(what) if w in self._states}
            edge = beyond - inside
            inside |= edge
        return frozenset(inside)

    def _support(self, state: Observable) -> frozenset[Observable]:
        if state not in self._supports:
            self._supports[state] = self.system.support(state)
        return self._supports[state]

    def _in_window(
        self, kept: frozenset[Observable], bads: Mapping[int, Expr]
    ) -> "dict[int, LocalAnswer | _Unproved]":
        """The answers of a window; :class:`_Unproved` where it does not suffice."""
        system = cut(self.system, kept, bads.values())
        deadline = self._deadline()
        form = self._shapes.of(system)
        known = self._known.get(form.key)
        if known is None:
            invariant = houdini.lasting(system, deadline=deadline)
            known = _Shape(tuple(map(form.abstract, invariant)), {}, set())
            self._known[form.key] = known
        clauses = tuple(map(form.concrete, known.invariant))
        self._invariants[kept] = clauses
        answers: dict[int, LocalAnswer | _Unproved] = {}
        for i, bad in bads.items():
            self._step()
            asked = form.question(self._shapes.form(bad))
            if asked not in known.proved:
                found = induction.prove(system, bad, clauses, deadline=deadline)
                known.proved[asked] = (
                    Unreachable(tuple(map(form.abstract, found.clauses)))
                    if isinstance(found, Unreachable)
                    else None
                )
            proved = known.proved[asked]
            if proved is None:
                answers[i] = _Unproved(known, asked)
                continue
            needed = tuple(map(form.concrete, proved.clauses))
            self._proofs.update(dict.fromkeys(needed))
            answers[i] = LocalAnswer(Unreachable(needed), system)
        return answers

    # -------------------------------------------------------------- histories

    @cached_property
    def _samples(self) -> Samples:
        return Samples(self.system, moments=SAMPLED)

    def _search(self, bads: Mapping[int, Expr], moments: int) -> dict[int, LocalAnswer]:
        """Those with a short trace in the whole system, or a longer one where a sample has one."""
        found = {}
        for i, bad in bads.items():
            most = LONG if self._samples.holding(bad) else moments
            answer = bmc.search(
                self.system, bad, most=most, deadline=self._deadline(), few=self._few
            )
            if isinstance(answer, Reachable):
                found[i] = LocalAnswer(answer, self.system)
        return found

    def _whole_system(self, bad: Expr) -> LocalAnswer:
        """The answer for what neither a window nor a short trace decided: by bounded model
        checking, then by induction within the cone of influence."""
        cone = cut(self.system, self.window([bad], len(self._states)), [bad])
        search = partial(bmc.search, most=LONG, few=self._few)
        engines: tuple[tuple[System, Engine], ...] = (
            (self.system, search), (cone, induction.prove)
        )  # fmt: skip
        unknown = None
        for system, engine in engines:
            answer = engine(system, bad, deadline=self._deadline())
            if not isinstance(answer, Unknown):
                return LocalAnswer(answer, system)
            unknown = unknown or answer
        if unknown is None or unknown.final:
            unknown = Unknown("no reason why it never happens was found", LONG)
        return LocalAnswer(unknown, self.system)

    def _deadline(self) -> float:
        return monotonic() + (PATIENCE if self._timeout is None else self._timeout)


@dataclass(frozen=True, slots=True)
class _Shape:
    """Of one shape of window, under canonical names: its invariant; by property, the proof or
    None; the properties that a wider window proved."""

    invariant: tuple[Expr, ...]
    proved: dict[Hashable, Unreachable | None]
    wider: set[Hashable]


@dataclass(frozen=True, slots=True)
class _Unproved:
    """A property that a window does not prove."""

    known: _Shape
    asked: Hashable

    @property
    def proved_wider(self) -> bool:
        return self.asked in self.known.wider
