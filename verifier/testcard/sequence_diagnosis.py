"""What explains the results of a card whose layout remembers what it hears.

In: a bench, its card, and what was seen in steps of it. Out: a :class:`Diagnosis`: which one thing
wrong explains all of that, once the card was gone through with it from the first step on; and the
step, of those not looked at yet, that best tells these apart.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from verifier.diagnosis.bench import Bench, Colors
from verifier.diagnosis.diagnose import (
    Alike,
    Diagnosis,
    Verdict,
    expected,
    explains,
    rank,
)
from verifier.diagnosis.observations import Observation, Sight
from verifier.diagnosis.suspects import Suspect
from verifier.diagnosis.telling import NextTest, Suite, Table, Together, best_test
from verifier.testcard.card import Card
from verifier.testcard.fault_list import CardFault, turnout_shows, without_power, wrongs
from verifier.testcard.fault_simulation import ExpectedStep, FaultSimulator, Sighting

_Sights = tuple[Sighting, ...]


def diagnose_sequence(
    bench: Bench, card: Card, replays: FaultSimulator, seen: Mapping[int, Observation],
    further: Sequence[Observation] = (),
) -> Diagnosis:  # fmt: skip
    """What explains what was ``seen``, by the number of its step, and ``further`` looks, each by
    itself."""
    follower = _Matcher(bench, card, replays)
    must = follower.must()
    nothing_wrong = _agrees(must, seen) and explains(bench, (), further)
    found: dict[Suspect, list[_Sights]] = {}
    for wrong in follower.wrongs():
        for sights in follower.sights(wrong):
            if (
                _agrees(sights, seen)
                and follower.stands(wrong, seen)
                and explains(bench, wrong.group, further)
            ):
                found.setdefault(wrong.suspect, []).append(sights)
    left = [step for step in card.steps if step.number not in seen]
    suite = Suite(tuple(step.setup for step in left), tuple(bench.plan.signals))
    numbers = [step.number - 1 for step in left]
    tables = _tables([(None, [must]), *found.items()], numbers, suite)
    sound = tables.pop(None)
    groups: dict[Table, list[Suspect]] = {}
    for suspect in sorted(found, key=lambda s: rank((s,), bench)):
        groups.setdefault(tables[suspect], []).append(suspect)
    test = best_test(list(groups), suite, sound if nothing_wrong else None)
    verdict: Verdict = "nothing wrong" if nothing_wrong else "explained" if found else "unexplained"
    return Diagnosis(
        bench.given, (*seen.values(), *further),
        (*(_due(must[number - 1], observation) for number, observation in seen.items()),
         *(expected(bench, observation) for observation in further)),
        verdict, tuple(Alike(tuple((s,) for s in group), False) for group in groups.values()),
        len(found), len(bench.suspects), not nothing_wrong and not found, len(left),
        _named(test, card), followed=True,
    )  # fmt: skip


class _Matcher:
    """One card, gone through with one thing wrong at a time."""

    def __init__(self, bench: Bench, card: Card, replays: FaultSimulator):
        self._bench, self._card, self._replays = bench, card, replays
        self._steps = [
            ExpectedStep(step.ways, dict(step.colors), dict(step.lies)) for step in card.steps
        ]

    def wrongs(self) -> Iterator[CardFault]:
        for wrong in wrongs(self._bench):
            yield from without_power(self._bench, wrong) or [wrong]

    def must(self) -> _Sights:
        """What each step shows with nothing wrong."""
        return tuple(
            Sighting({signal: next(iter(lit)) for signal, lit in step.colors.items()}, step.lies)
            for step in self._steps
        )

    def sights(self, wrong: CardFault) -> Iterator[_Sights]:
        """What each step shows with something wrong, as far as it can be told, in every way it
        may come out."""
        if self._replays.may_remember(wrong):
            yield from self._replays.every(wrong, self._steps)
            return
        known, found = True, []
        for step in self._card.steps:
            found.append(self._static(wrong, step.number - 1) if known else Sighting({}, {}))
            if wrong.suspect.trouble is not None and turnout_shows(step.setup, wrong):
                known = False  # what comes after that may be remembered otherwise
        yield tuple(found)

    def _static(self, wrong: CardFault, number: int) -> Sighting:
        """The same of a step by itself: what shows in one way only."""
        setup = self._card.steps[number].setup
        moments = list(self._bench.moments(setup, wrong.group))
        colors: dict[str, Colors] = {}
        for signal in self._bench.plan.signals:
            shown = {self._bench.shows(moment, signal) for moment in moments}
            if len(shown) == 1:
                colors[signal] = shown.pop()
        lies = {name: {dict(m.truth.lies).get(name) for m in moments} for name, _ in setup.told}
        return Sighting(
            colors, {n: s for n, (s, *more) in lies.items() if s is not None and not more}
        )

    def stands(self, wrong: CardFault, seen: Mapping[int, Observation]) -> bool:
        """Whether each look by itself can come of it, where nothing of it is remembered."""
        if self._replays.may_remember(wrong) or wrong.suspect.trouble is not None:
            return True
        return explains(self._bench, wrong.group, seen.values())


def _agrees(sights: _Sights, seen: Mapping[int, Observation]) -> bool:
    """Whether all that was seen may be what there is to see."""
    for number, observation in seen.items():
        there = sights[number - 1]
        for sight in observation.sights:
            lit = there.colors.get(sight.signal)
            if lit is not None and lit not in sight.colors:
                return False
        for turnout, state in observation.setup.lies:
            if there.lies.get(turnout, state) != state:
                return False
    return True


def _due(must: Sighting, observation: Observation) -> tuple[Sight, ...]:
    return tuple(
        Sight(sight.signal, frozenset({must.colors[sight.signal]})) for sight in observation.sights
    )


def _tables(
    every: Sequence[tuple[Suspect | None, Sequence[_Sights]]],
    numbers: Sequence[int],
    suite: Suite,
) -> dict[Suspect | None, Table]:
    """What each of these shows in each step left. What cannot be told may be anything that any
    of them shows."""
    tables: dict[Suspect | None, list[Together]] = {who: [] for who, _ in every}
    for index, number in enumerate(numbers):
        looks = suite.looks(index)
        shown = {
            who: [[_shown(sights[number], look) for look in looks] for sights in sightings]
            for who, sightings in every
        }
        anything = [
            sorted({row[c] for rows in shown.values() for row in rows} - {None}, key=str)
            or [("?",)]
            for c in range(len(looks))
        ]
        for who, rows in shown.items():
            tables[who].append(frozenset(one for row in rows for one in _filled(row, anything)))
    return {who: tuple(table) for who, table in tables.items()}


def _filled(
    row: Sequence[Colors | None], anything: Sequence[Sequence[Colors | None]]
) -> Iterator[tuple[Colors, ...]]:
    """A row with every state of what it leaves open in one of the rows that come out."""
    for k in range(max(map(len, anything), default=1)):
        filled = [one or some[k % len(some)] for one, some in zip(row, anything, strict=True)]
        yield tuple(one for one in filled if one is not None)


def _shown(seen: Sighting, look: str) -> Colors | None:
    if look in seen.lies:
        return (seen.lies[look],)
    return seen.colors.get(look)


def _named(test: NextTest | None, card: Card) -> NextTest | None:
    """A test by the step of the card that it is."""
    if test is None:
        return None
    number = next(step.number for step in card.steps if step.setup is test.setup)
    return replace(test, words=f"go on to step {number} of the card")
