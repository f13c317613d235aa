"""Diagnosis: which faults and wiring mistakes explain what was seen on the bench.

In: a plan and observations. Out: a :class:`Diagnosis`: the smallest groups of suspects that
explain every observation, in ambiguity groups that no test with one locomotive tells apart, and
the next test that best tells these apart.

Ranking: groups of fewer suspects first; among equals those with the likelier kinds, in the
order of :data:`verifier.diagnosis.suspects.LIKELY` (common practice, no source); then file
order. The search tries groups of one, then of two, then of three. A group grows only by a suspect
that affects an observation which the group does not explain, so none is missed.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from verifier.diagnosis.bench import Bench
from verifier.diagnosis.equivalence import indistinguishable
from verifier.diagnosis.observations import Observation, Sight, observations
from verifier.diagnosis.suspects import Suspect, Suspects, can_be_together
from verifier.diagnosis.test_selection import (
    NextTest,
    Signature,
    best_test,
    fault_dictionary,
    suite_of,
)
from verifier.plan.model import Plan

MOST_TOGETHER = 3
# Calls of the evaluator after which the search for an explanation is cut short, and how many
# more for each signal that was looked at.
MAX_LOOKS = 8_000
MORE_LOOKS = 150
# How many explanations tests tell apart.
MAX_CANDIDATES = 150
# With more signals than these nothing is proved indistinguishable: it would take too long.
MAX_PROVED = 40

Verdict = Literal["nothing wrong", "explained", "unexplained"]


@dataclass(frozen=True, slots=True)
class AmbiguityGroup:
    """Explanations that none of the tests tried tells apart, the likeliest first.
    ``proved``: no situation does."""

    members: tuple[Suspects, ...]
    proved: bool


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """``expected``: for each observation, what the signals looked at would show with nothing
    wrong; empty where points could not lie so. ``groups``: what explains all observations; where
    nothing is wrong, what would have gone unnoticed so far. ``explanations`` counts all of them;
    ``looked_at`` counts the single suspects; ``cut_short``: not every group was tried; ``tests``:
    how many were tried to tell the explanations apart; ``followed``: the observations are steps of
    a test card, each after the one before."""

    plan: Plan
    observations: tuple[Observation, ...]
    expected: tuple[tuple[Sight, ...], ...]
    verdict: Verdict
    groups: tuple[AmbiguityGroup, ...]
    explanations: int
    looked_at: int
    cut_short: bool
    tests: int
    next_test: NextTest | None
    followed: bool = False


def diagnose(plan: Plan, texts: Iterable[str]) -> Diagnosis:
    """What explains these observations, each in plain words.

    Raises :class:`~verifier.language.diagnostics.diagnostic.InputError` for words that cannot be
    understood."""
    bench = Bench(plan)
    return diagnosis(bench, observations(bench, texts))


def diagnosis(bench: Bench, seen: Sequence[Observation]) -> Diagnosis:
    """The same for observations that were read; what the bench has worked out is kept."""
    found, cut_short = explanations(bench, seen)
    nothing_wrong = found == ((),)
    if nothing_wrong:
        found = tuple((s,) for s in bench.suspects if explains(bench, (s,), seen))
    ranked = sorted(found, key=lambda group: rank(group, bench))
    shown = ranked[:MAX_CANDIDATES]
    looked = [sight.signal for observation in seen for sight in observation.sights]
    tables, suite = fault_dictionary(bench, [(), *shown], suite_of(bench, looked, shown))
    sound = tables.pop(())
    groups = _ambiguity_groups(bench, tables, sound if nothing_wrong else None)
    told_apart = [tables[group.members[0]] for group in groups]
    test = best_test(told_apart, suite, sound if nothing_wrong else None)
    verdict: Verdict = "nothing wrong" if nothing_wrong else "explained" if found else "unexplained"
    due = tuple(expected(bench, observation) for observation in seen)
    return Diagnosis(
        bench.given, tuple(seen), due, verdict, tuple(groups), len(found), len(bench.suspects),
        cut_short, len(suite.setups), test,
    )  # fmt: skip


def rank(group: Suspects, bench: Bench) -> tuple[int, int, tuple[int, ...], tuple[int, ...]]:
    """The place of an explanation in the list: smaller is likelier."""
    ranks = sorted((suspect.rank for suspect in group), reverse=True)
    # What only a card tries, as locks, is none of the bench's own.
    places = {suspect: place for place, suspect in enumerate(bench.suspects)}
    order = tuple(sorted(places.get(suspect, len(places)) for suspect in group))
    return len(group), sum(ranks), tuple(ranks), order


def expected(bench: Bench, observation: Observation) -> tuple[Sight, ...]:
    """What the signals looked at would show with nothing wrong."""
    moments = list(bench.moments(observation.setup, ()))
    return tuple(
        Sight(signal, frozenset(bench.shows(moment, signal) for moment in moments))
        for signal in (sight.signal for sight in observation.sights)
    )


def _ambiguity_groups(
    bench: Bench, tables: Mapping[Suspects, Signature], sound: Signature | None
) -> list[AmbiguityGroup]:
    """Explanations with the same outcome of every test put together. With ``sound``, what no
    test shows at all comes last."""
    groups: dict[Signature, list[Suspects]] = {}
    for group, table in tables.items():
        groups.setdefault(table, []).append(group)
    hidden = groups.pop(sound, None) if sound else None
    found = [*groups.values(), *([hidden] if hidden else [])]
    return [AmbiguityGroup(tuple(members), _proved(bench, members)) for members in found]


def _proved(bench: Bench, members: Sequence[Suspects]) -> bool:
    """Whether the first of them is proved indistinguishable from each of the others."""
    if len(bench.plan.signals) > MAX_PROVED:
        return len(members) == 1
    return all(indistinguishable(bench, members[0], other) for other in members[1:])


# ------------------------------------------------------------------ the search


def explains(bench: Bench, group: Suspects, seen: Iterable[Observation]) -> bool:
    """Whether everything can have been seen with these suspects present and no others."""
    return all(_explains(bench, group, observation) for observation in seen)


def _explains(bench: Bench, group: Suspects, observation: Observation) -> bool:
    return any(
        all(bench.shows(moment, sight.signal) in sight.colors for sight in observation.sights)
        for moment in bench.moments(observation.setup, group)
    )


def explanations(bench: Bench, seen: Sequence[Observation]) -> tuple[tuple[Suspects, ...], bool]:
    """The smallest groups that explain everything, all of one size, and whether the search
    was cut short. ``((),)``: nothing needs to be wrong."""
    search = _GroupSearch(bench, seen)
    for size in range(MOST_TOGETHER + 1):
        found = search.of_size(size)
        if found or search.cut_short:
            return tuple(found), search.cut_short
    return (), False


class _GroupSearch:
    """The search for groups that explain all observations."""

    def __init__(self, bench: Bench, seen: Sequence[Observation]):
        self.bench, self.seen = bench, seen
        self.cut_short = False
        sights = sum(len(observation.sights) for observation in seen)
        self._limit = bench.looks + MAX_LOOKS + MORE_LOOKS * sights
        self._order = {suspect: i for i, suspect in enumerate(bench.suspects)}

    def of_size(self, size: int) -> list[Suspects]:
        """All groups of one size, where no smaller one explains everything."""
        if size == 0:
            return [()] if explains(self.bench, (), self.seen) else []
        found: list[Suspects] = []
        waiting: list[Suspects] = [()]
        met: set[Suspects] = {()}
        while waiting:
            group = waiting.pop()
            if self.bench.looks > self._limit:
                self.cut_short = True
                return found
            last = len(group) == size - 1
            for suspect in self._next(group, last):
                larger = tuple(sorted((*group, suspect), key=self._order.__getitem__))
                if larger in met or not can_be_together(larger):
                    continue
                met.add(larger)
                if not last:
                    waiting.append(larger)
                elif explains(self.bench, larger, self.seen):
                    found.append(larger)
        return found

    def _next(self, group: Suspects, last: bool) -> list[Suspect]:
        """Suspects that affect what a group does not explain: the first such observation, or,
        where only one may be added, every one of them."""
        open_ones = (o for o in self.seen if not _explains(self.bench, group, o))
        found = [s for s in self.bench.suspects if s not in group]
        for observation in open_ones:
            found = _affecting(self.bench, group, observation, found)
            if not last or not found:
                break
        return found


def _affecting(
    bench: Bench, group: Suspects, observation: Observation, among: Iterable[Suspect]
) -> list[Suspect]:
    """Those suspects that can change what was seen in an observation, beside a group."""
    mentioned = (*dict(observation.setup.told), *dict(observation.setup.lies))
    looks = {
        (bench.influence.cone(sight.signal, group), truth.stood)
        for truth in {moment.truth for moment in bench.moments(observation.setup, group)}
        for sight in observation.sights
    }
    affects = bench.influence.affects
    return [
        suspect
        for suspect in among
        if bench.moves(suspect, mentioned)
        or any(affects(suspect, cone, stood, group) for cone, stood in looks)
    ]
