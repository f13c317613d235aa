"""The next test on the bench: which look at which signal best tells explanations apart.

In: a bench and explanations. Out: a set of tests with at most one locomotive, their fault
dictionary (what each test shows with each explanation), and the test to make next.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice, product
from math import gcd, prod

from verifier.diagnosis.bench import Bench, Colors, Setup
from verifier.diagnosis.suspects import Suspects
from verifier.plan.observables import Observable

# Up to this many settings of points and levers all are tried; beyond, for each signal one setting
# for each thing it can show.
ALL_LINES = 24
MAX_LINES = 40
MAX_TRIED = 128
MAX_SETUPS = 320
MAX_SIGNALS = 8
# Calls of the evaluator after which no further test is tried.
MAX_TEST_LOOKS = 7_000
# How points, derails and gates lie unless something is done.
_NORMAL = ("normal", "derailing", "seated")

# What the looks of one test show, in every way it can come out; and that of every test.
Response = frozenset[tuple[Colors, ...]]
Signature = tuple[Response, ...]


@dataclass(frozen=True, slots=True)
class Suite:
    """Tests: each setup, with a look at each signal and at how all that was thrown lies."""

    setups: tuple[Setup, ...]
    signals: tuple[str, ...]

    def looks(self, index: int) -> tuple[str, ...]:
        """The signals, then all that is thrown, that the test of this index looks at."""
        return (*self.signals, *dict(self.setups[index].told))


@dataclass(frozen=True, slots=True)
class TestOutcome:
    """One outcome of a test. ``shows``: what is seen (one of these, where it may change from moment
    to moment); ``groups``: the explanations with which it is, ``None`` for nothing wrong."""

    shows: frozenset[Colors]
    groups: tuple[int | None, ...]


@dataclass(frozen=True, slots=True)
class NextTest:
    """A setup, and the signal, or what is thrown, to look at. ``words``: how to set the layout up,
    where the setup does not say it."""

    setup: Setup
    look: str
    outcomes: tuple[TestOutcome, ...]
    words: str = ""


# ------------------------------------------------------------------ what can be tried


def suite_of(bench: Bench, looked_at: Iterable[str], groups: Iterable[Suspects]) -> Suite:
    """Tests around the signals that were looked at: a locomotive at each place, or at none,
    with points and levers set in every way, or in the ways that let signals clear."""
    signals = _signals(bench, dict.fromkeys(looked_at))
    positions = [(), *_positions(bench, signals, groups)]
    lines = _lines(bench, signals)
    if len(lines) * len(positions) > MAX_SETUPS:
        lines = lines[: max(1, MAX_SETUPS // len(positions))]
    setups = [
        Setup(stands, line.told, line.lies, line.facts) for line in lines for stands in positions
    ]
    return Suite(tuple(setups[:MAX_SETUPS]), tuple(signals))


def _signals(bench: Bench, looked_at: Iterable[str]) -> list[str]:
    """The signals that share equipment with those looked at, these first."""
    plan = bench.plan
    if len(plan.signals) <= MAX_SIGNALS:
        return list(plan.signals)

    def used_by(name: str) -> frozenset[str]:
        cone = bench.influence.cone(name, ())
        return cone.detectors | cone.turnouts | cone.drivers

    first = list(looked_at)
    shared = frozenset[str]().union(*map(used_by, first))
    near = [name for name in plan.signals if name not in first and shared & used_by(name)]
    return [*first, *near][:MAX_SIGNALS] or list(plan.signals)[:MAX_SIGNALS]


def _positions(
    bench: Bench, signals: Sequence[str], groups: Iterable[Suspects]
) -> Iterator[tuple[tuple[str, tuple[str, ...]], ...]]:
    """Everywhere that one locomotive can stand and be told apart."""
    plan, wiring = bench.plan, bench.plan.wiring
    named = {
        wiring.detectors[d].block for s in signals for d in bench.influence.cone(s, ()).detectors
    }
    for group in groups:
        for suspect in group:
            for name in suspect.mistake.about if suspect.mistake else ():
                feeder = wiring.feeders.get(name)
                named.add(feeder.block if feeder else name)
    whole = len(plan.signals) <= MAX_SIGNALS
    for block in plan.blocks:
        if whole or block in named:
            for place in bench.places(block, draws=True):
                yield ((block, (place,)),)


def _lines(bench: Bench, signals: Sequence[str]) -> list[Setup]:
    """Ways to set points and levers, the simplest first."""
    every = _knobs(bench, signals)
    if prod(map(len, every)) <= ALL_LINES:
        found = [_line(bench, chosen) for chosen in product(*every)]
        return sorted(_each_once(found), key=_size)
    kept = [_line(bench, [knob[0] for knob in every])]
    for signal in signals:
        shown: set[Colors] = set()
        own = _knobs(bench, [signal])
        mine = {knob[0][0] for knob in own}
        rest = [knob[0] for knob in every if knob[0][0] not in mine]
        for chosen in islice(product(*own), MAX_TRIED):
            line = _line(bench, [*rest, *chosen])
            for moment in bench.moments(line, ()):
                colors = bench.shows(moment, signal)
                if colors not in shown:
                    shown.add(colors)
                    kept.append(line)
    return sorted(_each_once(kept), key=_size)[:MAX_LINES]


def _each_once(lines: Iterable[Setup]) -> list[Setup]:
    return list({(line.told, line.lies, line.facts): line for line in lines}.values())


# The states in which turnouts and all that is thrown (by name) or anything else (by its observable)
# can be set, the usual one first.
_Knob = list[tuple[str | Observable, str]]


def _knobs(bench: Bench, signals: Sequence[str]) -> list[_Knob]:
    """What can be set before looking at these signals."""
    read = [bench.influence.inputs_read(signal) for signal in signals]
    turnouts = {name for mine, _ in read for name in mine}
    others = {what for _, mine in read for what in mine}
    knobs: list[_Knob] = [[(name, "normal"), (name, "reverse")] for name in bench.plan.track.pieces
                          if name in turnouts]  # fmt: skip
    for what in bench.plan.inputs:
        if what in others and not bench.thrown_by(what.name):
            if what.kind in ("derail", "gate") and bench.throws(what.name):
                knobs.append([(what.name, position) for position in bench.positions(what.name)])
                continue
            states = [value for value in what.values if value != "open" and value != what.usual]
            knobs.append([(what, state) for state in (what.usual, *states)])
    return knobs


def _line(bench: Bench, chosen: Iterable[tuple[str | Observable, str]]) -> Setup:
    told: dict[str, str] = {}
    lies: dict[str, str] = {}
    others: dict[Observable, str] = {}
    for what, state in chosen:
        if not isinstance(what, str):
            others[what] = state
        elif bench.throws(what):
            # All that one lever throws goes together.
            lever = bench.lever_of(what)
            same = [name for name in told if lever and bench.lever_of(name) == lever]
            told[what] = bench.told_with(same[0], told[same[0]])[what] if same else state
        else:
            lies[what] = state
    return Setup((), tuple(told.items()), tuple(lies.items()), tuple(others.items()))


def _size(setup: Setup) -> int:
    """How much has to be done for a setup."""
    points = sum(state not in _NORMAL for _, state in (*setup.told, *setup.lies))
    others = sum(state != what.usual for what, state in setup.facts)
    return len(setup.stands) + points + others


# ------------------------------------------------------------------ what tests show


def fault_dictionary(
    bench: Bench, groups: Iterable[Suspects], suite: Suite
) -> tuple[dict[Suspects, Signature], Suite]:
    """What each test shows with each of these groups present; and the tests tried, fewer than all
    where those would take too long."""
    tables: dict[Suspects, list[Response]] = {group: [] for group in groups}
    limit = bench.looks + MAX_TEST_LOOKS
    tried: list[Setup] = []
    for setup in _mixed(suite.setups):
        for group, table in tables.items():
            table.append(_together(bench, group, setup, suite.signals))
        tried.append(setup)
        if bench.looks > limit:
            break
    return (
        {group: tuple(table) for group, table in tables.items()},
        Suite(tuple(tried), suite.signals),
    )


def _mixed(setups: Sequence[Setup]) -> Iterator[Setup]:
    """All of them, in an order whose beginning samples the whole."""
    count = len(setups)
    step = next(s for s in range(int(count * 0.618) + 1, 2 * count + 2) if gcd(s, count) == 1)
    return (setups[index * step % count] for index in range(count))


def _together(bench: Bench, group: Suspects, setup: Setup, signals: Sequence[str]) -> Response:
    ways = set()
    for moment in bench.moments(setup, group):
        lies = dict(moment.truth.lies)
        ways.add((
            *(bench.shows(moment, signal) for signal in signals),
            *((lies.get(name, bench.positions(name)[0]),) for name, _ in setup.told),
        ))  # fmt: skip
    return frozenset(ways)


def best_test(
    tables: Sequence[Signature], suite: Suite, sound: Signature | None
) -> NextTest | None:
    """The look that leaves the fewest explanations together on average, the one with least
    to do among equals; None where none tells any of them apart. With ``sound``, what is
    shown with nothing wrong: the look that catches most of them."""
    best: tuple[tuple[int, int, int], NextTest] | None = None
    for index, setup in enumerate(suite.setups):
        for column, look in enumerate(suite.looks(index)):
            parts: dict[frozenset[Colors], list[int | None]] = {}
            for number, table in [*([(None, sound)] if sound else []), *enumerate(tables)]:
                shows = frozenset(response[column] for response in table[index])
                parts.setdefault(shows, []).append(number)
            left = _left(parts, sound is not None)
            nothing_learnt = len(tables) if sound else len(tables) ** 2
            if left >= nothing_learnt:
                continue
            price = left, _size(setup), column
            if best is None or price < best[0]:
                found = tuple(
                    TestOutcome(shows, tuple(numbers)) for shows, numbers in parts.items()
                )
                best = price, NextTest(setup, look, found)
    return best[1] if best else None


def _left(parts: dict[frozenset[Colors], list[int | None]], against_sound: bool) -> int:
    """How many explanations a look leaves with the one that is true, summed over all; or how
    many may go unnoticed."""
    left = 0
    for shows, numbers in parts.items():
        for others, more in parts.items():
            if shows & others:
                if against_sound:
                    left += (None in numbers) * sum(number is not None for number in more)
                else:
                    left += len(numbers) * len(more)
    return left
