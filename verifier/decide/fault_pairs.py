"""Two faults at once that do harm together, though neither does alone.

In: a sound world and the effects of single faults. Out: the pairs, each with the first harm found,
and whether something is left open. For each harm, only the faults count that can matter to it with
one other beside: the world in which these may be present is small, however large the layout. Where
what signals show then goes round in a circle, each pair is asked about in a world of its own.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations

from verifier.decide.fault_effects import (
    CIRCLE,
    FaultEffect,
    already_comes_about,
    assumed,
    consequence_of,
)
from verifier.engines.proof_store import ProofStore
from verifier.engines.smt.situations import SituationCheck
from verifier.engines.smt.train_length_constraints import rooms
from verifier.language.diagnostics.diagnostic import InputError
from verifier.logic.expr import conjunction, negation
from verifier.plan.devices import devices
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.wiring.faults import Fault
from verifier.properties.failures import as_judged, counts_against
from verifier.properties.obligation import Obligation
from verifier.verdicts.report import Failure
from verifier.world.fault_cone import FaultsNear
from verifier.world.world import World


class FaultPairs:
    """The search for pairs. ``sound``: a world in which all faults are sound, with the memory facts
    that hold with any two of them; ``unproved``: see
    :class:`~verifier.decide.failures.FailureCheck`; ``every``: all pairs are wanted, not only those
    of which one is silent."""

    def __init__(
        self,
        sound: World,
        singles: Mapping[str, FaultEffect],
        unproved: frozenset[str],
        timeout: float | None,
        store: ProofStore,
        *,
        every: bool,
    ):
        effects = [effect for effect in singles.values() if not effect.unknown]
        self._sound, self._unproved, self._every = sound, unproved, every
        self._harmless = [effect.fault.what for effect in effects if not effect.harms]
        self._silent = {effect.fault.what for effect in effects if effect.silent}
        self._faults: Mapping[Observable, Fault] = {e.fault.what: e.fault for e in effects}
        self._found: dict[frozenset[Observable], Failure] = {}
        # Of a fault whose effect alone is open, so are its pairs.
        self._undecided = next((e.unknown for e in singles.values() if e.unknown), "")

        self._timeout, self._store = timeout, store
        self._shared = self._for_all_harms()
        self._near = FaultsNear(sound)
        self._worlds: dict[tuple[Observable, ...], tuple[World, SituationCheck]] = {}

    def _for_all_harms(self) -> SituationCheck | None:
        """What answers about every harm. None where assumptions speak of what faults change: these
        are asked in a world of each harm's own."""
        sound, given = self._sound, assumed(self._sound)
        everything = World(sound.plan, sound, [*self._faults], _all_names(sound.plan))
        try:
            if assumed(everything) != given:
                return None
        except InputError:  # what an assumption speaks of goes round in a circle
            return None
        assumptions, always = given
        return SituationCheck(
            everything.inputs, assumptions, self._timeout, always, rooms(sound.plan), self._store
        )

    def search(self, harms: Sequence[Obligation]) -> Iterator[tuple[int, int, list[Failure]]]:
        """Yields how many harms of how many are done, with the rows found so far."""
        for done, harm in enumerate(harms):
            for _ in self._pairs_with(harm):
                yield done, len(harms), self._rows()
        yield len(harms), len(harms), self._rows()

    def _pairs_with(self, harm: Obligation) -> Iterator[None]:
        """Find the pairs that do one harm; yields before each question."""
        yield
        holds = harm.key not in self._unproved
        near = self._near.to(harm.formula) if self._shared else None
        broken = [what for what in self._harmless if near is None or what in near]
        if self._silent.isdisjoint(broken) and not self._every:
            return
        asked = [what for what in broken if counts_against(harm, self._faults[what], holds=holds)]
        try:
            self._ask(harm, asked, broken)
        except InputError:
            # With only two of them broken, it may not go round in a circle.
            for pair in combinations(asked, 2):
                if self._every or not self._silent.isdisjoint(pair):
                    yield
                    try:
                        self._ask(harm, pair, pair)
                    except InputError:
                        self._undecided = CIRCLE

    def _ask(
        self, harm: Obligation, asked: Sequence[Observable], broken: Sequence[Observable]
    ) -> None:
        """Find the pairs among those asked, where some may be broken.

        Raises InputError where what signals show then goes round in a circle."""
        world, engine = self._world_with(tuple(broken))
        judged = as_judged(harm, [self._faults[what] for what in asked], self._sound.plan)
        goal = world.expand(judged)
        if harm.key in self._unproved:
            goal = conjunction(goal, negation(already_comes_about(self._sound, harm)))
        more, reason = engine.faults_with(
            goal, asked, at_once=2, spared=set(self._found),
            among=None if self._every else self._silent,
        )  # fmt: skip
        for pair in more:
            first = sorted(pair, key=lambda what: what not in self._silent)
            names = tuple(what.name for what in first)
            unseen = tuple(what.name for what in first if what in self._silent)
            row = Failure(names, "pair", consequence_of([harm]), harm.trouble, unseen)
            self._found[frozenset(pair)] = row
        self._undecided = reason or self._undecided

    def _world_with(self, broken: tuple[Observable, ...]) -> tuple[World, SituationCheck]:
        """The world in which these may be broken, and what answers about it. Harms close to each
        other share one."""
        if broken not in self._worlds:
            plan = self._sound.plan
            world = World(plan, self._sound, broken, _all_names(plan))
            engine = self._shared or SituationCheck.of(world, self._timeout, store=self._store)
            self._worlds[broken] = world, engine
        return self._worlds[broken]

    def _rows(self) -> list[Failure]:
        rows = [*self._found.values()]
        if self._undecided:
            rows.append(Failure(("some pair",), "pair", "undecided", self._undecided))
        return rows


def _all_names(plan: Plan) -> frozenset[str]:
    """The names of everything whose meaning a fault can change."""
    return frozenset((*plan.blocks, *devices(plan), *plan.signals))
