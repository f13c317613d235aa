"""Diagnosis of the results of a test card on a layout with memory.

In: a bench, its card, and the observations in its steps. Out: a :class:`Diagnosis`: the single
faults that explain all observations when the card is simulated with them from the first step on,
and the remaining step that best distinguishes them.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from verifier.diagnosis.bench import Bench, Colors
from verifier.diagnosis.diagnose import (
    AmbiguityGroup,
    Diagnosis,
    Verdict,
    expected,
    explains,
    rank,
)
from verifier.diagnosis.observations import Observation, Sight
from verifier.diagnosis.suspects import Suspect
from verifier.diagnosis.test_selection import NextTest, Response, Signature, Suite, best_test
from verifier.testcard.card_model import Card, Found
from verifier.testcard.fault_list import (
    CardFault,
    card_faults,
    thrown_shows,
    without_power,
)
from verifier.testcard.fault_simulation import FaultSimulator, Sighting

_Sights = tuple[Sighting, ...]


def diagnose_sequence(
    bench: Bench, card: Card, simulator: FaultSimulator, seen: Mapping[int, Observation],
    further: Sequence[Observation] = (),
) -> Diagnosis:  # fmt: skip
    """The faults that explain the observations ``seen``, by the number of the step, and
    ``further`` observations, each on its own."""
    matcher = _Matcher(bench, card, simulator)
    expected_sights = matcher.sound()
    nothing_wrong = _while_agreeing(expected_sights, seen) is not None and explains(
        bench, (), further
    )
    found: dict[Suspect, list[_Sights]] = {}
    slips = [found for found in card.found if found.fault.slip is not None]
    faults = list(matcher.faults())
    tried = {fault.suspect for fault in faults} | {found.fault.suspect for found in slips}
    faults += [f.fault for f in slips if not _is_refuted(f, expected_sights, seen)]
    for fault in faults:
        for sights in matcher.sights(fault):
            agreeing = _while_agreeing(sights, seen)
            if (
                agreeing is not None
                and matcher.explains_each(fault, seen)
                and explains(bench, fault.group, further)
            ):
                found.setdefault(fault.suspect, []).append(agreeing)
    left = [step for step in card.steps if step.number not in seen]
    suite = Suite(tuple(step.setup for step in left), tuple(bench.plan.signals))
    numbers = [step.number - 1 for step in left]
    tables = _tables([(None, [expected_sights]), *found.items()], numbers, suite)
    sound = tables.pop(None)
    groups: dict[Signature, list[Suspect]] = {}
    for suspect in sorted(found, key=lambda s: rank((s,), bench)):
        groups.setdefault(tables[suspect], []).append(suspect)
    test = best_test(list(groups), suite, sound if nothing_wrong else None)
    verdict: Verdict = "nothing wrong" if nothing_wrong else "explained" if found else "unexplained"
    return Diagnosis(
        bench.given, (*seen.values(), *further),
        (*(_expected(expected_sights[number - 1], found) for number, found in seen.items()),
         *(expected(bench, observation) for observation in further)),
        verdict,
        tuple(AmbiguityGroup(tuple((s,) for s in group), False) for group in groups.values()),
        len(found), len(tried), not nothing_wrong and not found, len(left),
        _named(test, card), followed=True,
    )  # fmt: skip


class _Matcher:
    """One card, simulated with one fault at a time."""

    def __init__(self, bench: Bench, card: Card, simulator: FaultSimulator):
        self._bench, self._card, self._simulator = bench, card, simulator

    def faults(self) -> Iterator[CardFault]:
        for fault in card_faults(self._bench):
            yield from without_power(self._bench, fault) or [fault]

    def sound(self) -> _Sights:
        """What each step shows without faults."""
        return tuple(
            Sighting({signal: next(iter(lit)) for signal, lit in step.colors.items()}, step.lies)
            for step in self._card.steps
        )

    def sights(self, fault: CardFault) -> Iterator[Iterator[Sighting]]:
        """What each step shows with a fault, as far as it is known, for each possible outcome;
        worked out step by step."""
        if self._simulator.may_remember(fault):
            yield from self._simulator.every(fault, self._card.steps)
        else:
            yield self._without_memory(fault)

    def _without_memory(self, fault: CardFault) -> Iterator[Sighting]:
        """What each step shows with a fault that memory does not detect."""
        known = True
        for step in self._card.steps:
            yield self._static(fault, step.number - 1) if known else Sighting({}, {})
            if fault.suspect.trouble is not None and thrown_shows(step.setup, fault):
                known = False  # afterwards, memory may differ

    def _static(self, fault: CardFault, number: int) -> Sighting:
        """What a step alone shows in every outcome."""
        setup = self._card.steps[number].setup
        moments = list(self._bench.moments(setup, fault.group))
        colors: dict[str, Colors] = {}
        for signal in self._bench.plan.signals:
            shown = {self._bench.shows(moment, signal) for moment in moments}
            if len(shown) == 1:
                colors[signal] = shown.pop()
        lies = {name: {dict(m.truth.lies).get(name) for m in moments} for name, _ in setup.told}
        return Sighting(
            colors, {n: s for n, (s, *more) in lies.items() if s is not None and not more}
        )

    def _may_show(self, sight: Sight) -> bool:
        """Whether a signal whose wiring is sound may show this, whatever relays come to."""
        plan = self._bench.given
        signal = plan.signals[sight.signal]
        if signal.by_head:
            return True
        shown = {
            signal.colors(line.shows, plan.chart) for _, lines in signal.rules for line in lines
        }
        return not shown.isdisjoint(sight.colors)

    def explains_each(self, fault: CardFault, seen: Mapping[int, Observation]) -> bool:
        """Whether a fault that memory does not detect explains each observation on its own; of a
        slip in locks and relays, whether every signal shows what its rules may make of it."""
        if fault.slip is not None:
            return all(
                self._may_show(sight) for seen_in in seen.values() for sight in seen_in.sights
            )
        if self._simulator.may_remember(fault) or fault.suspect.trouble is not None:
            return True
        return explains(self._bench, fault.group, seen.values())


def _is_refuted(found: Found, expected: _Sights, seen: Mapping[int, Observation]) -> bool:
    """Whether one looked where a slip shows for sure, and all was as it must be there."""
    number, look = found.at[0]
    if number not in seen or look in seen[number].not_looked_at:
        return False
    must, observation = expected[number - 1], seen[number]
    if look in must.lies:
        return dict(observation.setup.lies).get(look) == must.lies[look]
    sights = (sight for sight in observation.sights if sight.signal == look)
    return any(sight.colors == {must.colors[look]} for sight in sights)


def _while_agreeing(sights: Iterable[Sighting], seen: Mapping[int, Observation]) -> _Sights | None:
    """What the steps show; None as soon as one of them disagrees with what was seen in it."""
    found: list[Sighting] = []
    for number, shown in enumerate(sights, start=1):
        if number in seen and not _agrees(shown, seen[number]):
            return None
        found.append(shown)
    return tuple(found)


def _agrees(shown: Sighting, observation: Observation) -> bool:
    """Whether an observation agrees with what its step shows."""
    for sight in observation.sights:
        lit = shown.colors.get(sight.signal)
        if lit is not None and lit not in sight.colors:
            return False
    return all(
        shown.lies.get(name, state) == state
        for name, state in observation.setup.lies
        if name not in observation.not_looked_at
    )


def _expected(expected: Sighting, observation: Observation) -> tuple[Sight, ...]:
    return tuple(
        Sight(sight.signal, frozenset({expected.colors[sight.signal]}))
        for sight in observation.sights
    )


def _tables(
    every: Sequence[tuple[Suspect | None, Sequence[_Sights]]],
    numbers: Sequence[int],
    suite: Suite,
) -> dict[Suspect | None, Signature]:
    """What each suspect shows in each remaining step. What is not known may be anything that some
    suspect shows."""
    tables: dict[Suspect | None, list[Response]] = {who: [] for who, _ in every}
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
    """Rows in which each unknown entry takes each of its possible values."""
    for k in range(max(map(len, anything), default=1)):
        filled = [one or some[k % len(some)] for one, some in zip(row, anything, strict=True)]
        yield tuple(one for one in filled if one is not None)


def _shown(seen: Sighting, look: str) -> Colors | None:
    if look in seen.lies:
        return (seen.lies[look],)
    return seen.colors.get(look)


def _named(test: NextTest | None, card: Card) -> NextTest | None:
    """A test, named by its step of the card."""
    if test is None:
        return None
    number = next(step.number for step in card.steps if step.setup is test.setup)
    return replace(test, words=f"go on to step {number} of the card")
