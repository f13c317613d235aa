"""Locality: each place is proved by itself, with what lies beyond free to do anything.

A window is the system of a few states around what is asked; every other state may be anything
at any moment. That allows all histories of the whole layout, and more: what never happens in a
window never happens. Where a window does not suffice it grows; what is found to happen counts
only on the whole layout, so that is where histories are looked for.

Windows that are the same but for their names are proved once.
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

# Rings of a window: what is asked about, what that hangs on, what that hangs on, …
FIRST_RING = 1
# How many moments a history may take that is looked for once a window of so many rings has not
# sufficed, and at last.
LOOKS = {FIRST_RING: 8, FIRST_RING + 1: 16}
LONG = 40
# Moments for which chance is let go on to see what may happen.
SAMPLED = 150
# Seconds for the engines of last resort where the user gives no limit.
PATIENCE = 60.0


@dataclass(frozen=True, slots=True)
class LocalAnswer:
    """An answer and the system it was found in: a window, or the whole."""

    outcome: Answer
    system: System


class Windows:
    """Decides questions about one transition system.

    ``few``: choices that a history should have few of, the most important first; ``timeout``
    in seconds for each question; ``step`` is called before each."""

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
        # By shape of window: what lasts in it, and what that was found to prove.
        self._known: dict[Hashable, _Shape] = {}
        self._proofs: dict[Expr, None] = {}
        self._lasting: dict[frozenset[Observable], tuple[Expr, ...]] = {}
        self._states = frozenset(system.states)

    def decide(self, bads: Sequence[Expr], *, likely: bool = False) -> list[LocalAnswer]:
        """Answers to several questions about one place. ``likely``: these things should
        happen, so histories are looked for first."""
        answers = {i: a for i, bad in enumerate(bads) if (a := self._constant(bad)) is not None}
        if likely:
            left = {i: bad for i, bad in enumerate(bads) if i not in answers}
            answers |= self._look_for(left, LOOKS[FIRST_RING])
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
            if rings in LOOKS and not likely:
                # What a wider window proved of a place like this it will prove here.
                sought = [i for i in waiting if i not in answers and not failed[i][-1].proved_wider]
                answers |= self._look_for({i: bads[i] for i in sought}, LOOKS[rings])
            rings, before = rings + 1, kept
        return [answers.get(i) or self._at_last(bad) for i, bad in enumerate(bads)]

    def lasting(self) -> Iterator[Expr]:
        """Everything found to last, of every window looked at."""
        for clauses in self._lasting.values():
            yield from clauses
        yield from self._proofs

    def _constant(self, bad: Expr) -> LocalAnswer | None:
        if isinstance(bad, Const) and not bad.value:
            return LocalAnswer(Unreachable(()), cut(self.system, ()))
        return None

    # -------------------------------------------------------------- windows

    def window(self, bads: Iterable[Expr], rings: int) -> frozenset[Observable]:
        """The states at most so many steps of hanging-on away from what is asked."""
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
        """The answers of a window, or that it does not suffice."""
        system = cut(self.system, kept, bads.values())
        deadline = self._deadline()
        form = self._shapes.of(system)
        known = self._known.get(form.key)
        if known is None:
            lasting = houdini.lasting(system, deadline=deadline)
            known = _Shape(tuple(map(form.abstract, lasting)), {}, set())
            self._known[form.key] = known
        clauses = tuple(map(form.concrete, known.lasting))
        self._lasting[kept] = clauses
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

    def _look_for(self, bads: Mapping[int, Expr], moments: int) -> dict[int, LocalAnswer]:
        """Those that happen soon, or that chance has come upon, on the whole layout."""
        found = {}
        for i, bad in bads.items():
            most = LONG if self._samples.holding(bad) else moments
            answer = bmc.search(
                self.system, bad, most=most, deadline=self._deadline(), few=self._few
            )
            if isinstance(answer, Reachable):
                found[i] = LocalAnswer(answer, self.system)
        return found

    def _at_last(self, bad: Expr) -> LocalAnswer:
        """What neither a window nor a short history decided: engines on the whole layout, one
        after the other."""
        whole = cut(self.system, self.window([bad], len(self._states)), [bad])
        unknown = None
        for system, engine in self._last_resort(whole):
            answer = engine(system, bad, deadline=self._deadline())
            if not isinstance(answer, Unknown):
                return LocalAnswer(answer, system)
            unknown = unknown or answer
        if unknown is None or unknown.final:
            unknown = Unknown("no reason why it never happens was found", LONG)
        return LocalAnswer(unknown, self.system)

    def _last_resort(self, whole: System) -> Iterator[tuple[System, Engine]]:
        yield self.system, partial(bmc.search, most=LONG, few=self._few)
        yield whole, induction.prove

    def _deadline(self) -> float:
        return monotonic() + (PATIENCE if self._timeout is None else self._timeout)


@dataclass(frozen=True, slots=True)
class _Shape:
    """Of one shape of window, under the names of the shape: the clauses that last; of each
    question asked, how they prove it, None where they do not; questions of these that a wider
    window proved."""

    lasting: tuple[Expr, ...]
    proved: dict[Hashable, Unreachable | None]
    wider: set[Hashable]


@dataclass(frozen=True, slots=True)
class _Unproved:
    """A question that a window does not answer."""

    known: _Shape
    asked: Hashable

    @property
    def proved_wider(self) -> bool:
        return self.asked in self.known.wider
