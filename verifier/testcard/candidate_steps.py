"""The candidate steps that a test card is chosen from.

In: a bench. Out: setups, each with what it shows without faults. If a layout has few setups, all of
them are candidates; if it has more, every setting of points and levers with at most one locomotive;
if that is too much, only the solver's answers, one for each goal.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import product
from math import prod

from verifier.diagnosis.bench import Bench, Colors, Setup
from verifier.logic.expr import Expr, holds
from verifier.plan.observables import Observable
from verifier.reference.evaluator import Evaluator, Unsettled
from verifier.testcard.fault_list import sound_colors
from verifier.testcard.operator_actions import (
    Control,
    Stands,
    controls,
    places,
    settings,
)

# All setups, up to this many; else those with at most one locomotive, up to this many.
EVERYTHING = 500
ONE_LOCOMOTIVE = 3_000
# The number of candidates kept for their faults if there are more than EVERYTHING; below that all
# are kept, so that the card is the smallest of all.
TELLING = 250
# The number of candidates kept for each goal.
FOR_EACH = 6


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """A possible step of the card. ``states``: everything that can be observed, for each outcome
    that is possible without faults."""

    setup: Setup
    states: tuple[dict[Observable, str], ...]
    colors: dict[str, frozenset[Colors]]

    def shows(self, when: Expr) -> bool:
        """Whether an expression holds in every outcome of the step."""
        return all(holds(when, states) for states in self.states)


class CandidateBuilder:
    """Evaluates setups of one layout."""

    def __init__(self, bench: Bench, read: Iterable[Observable]):
        self.bench = bench
        self._evaluator = Evaluator(bench.plan)
        # Readings at a driver's inputs, which are not observed otherwise.
        self._read = tuple(dict.fromkeys(what for what in read if what.reader))
        self._known: dict[object, Candidate | None] = {}

    def candidate(self, setup: Setup) -> Candidate | None:
        """A setup with everything it shows; None if the file's assumptions exclude it, if no stock
        can stand so, or if the rules leave open what it shows."""
        key = setup.stands, setup.told, setup.lies, setup.facts
        if key not in self._known:
            self._known[key] = self._evaluated(setup)
        return self._known[key]

    def _evaluated(self, setup: Setup) -> Candidate | None:
        plan, states = self.bench.plan, []
        try:
            for moment in self.bench.moments(setup, ()):
                situation = moment.truth.situation
                if not all(
                    self._evaluator.allows(situation, a.condition) for a in plan.assumptions
                ):
                    return None
                seen = dict(self._evaluator.see(situation).states)
                states.append(seen | self._evaluator.states(situation, self._read))
        except Unsettled:
            return None
        if not states:
            return None
        return Candidate(setup, tuple(states), sound_colors(self.bench, setup))


def first_candidates(builder: CandidateBuilder) -> tuple[list[Candidate], bool]:
    """Candidates, those with the least stock first, and whether they are all there are."""
    given = controls(builder.bench)
    count = prod(len(states) for _, states in given)
    everywhere = _everywhere(builder.bench)
    if count * prod(1 + len(here) for _, here in everywhere) <= EVERYTHING:
        return _with_each(builder, given, _all_stock(everywhere)), True
    single = list(places(builder.bench))
    if count * (1 + len(single)) <= ONE_LOCOMOTIVE:
        stands: list[Stands] = [(), *(((block, (place,)),) for block, place in single)]
        return _with_each(builder, given, stands), False
    return [], False


def _everywhere(bench: Bench) -> list[tuple[str, tuple[str, ...]]]:
    """For each block, the states in which stock is on it."""
    return [
        (what.name, tuple(v for v in what.values if v != what.usual))
        for what in bench.plan.inputs
        if what.kind in ("stock", "standing")
    ]


def _all_stock(everywhere: Sequence[tuple[str, tuple[str, ...]]]) -> list[Stands]:
    each = [[None, *((block, (place,)) for place in here)] for block, here in everywhere]
    found = [tuple(one for one in chosen if one is not None) for chosen in product(*each)]
    return sorted(found, key=len)


def _with_each(
    builder: CandidateBuilder, given: Sequence[Control], stands: Sequence[Stands]
) -> list[Candidate]:
    found = [
        builder.candidate(replace(setup, stands=stand))
        for stand in stands
        for setup in settings(builder.bench, given)
    ]
    return [candidate for candidate in found if candidate is not None]


def most_revealing(pool: Sequence[Candidate]) -> list[Candidate]:
    """The candidates that are likeliest to show a fault: for all that a signal shows, the settings
    in which most other signals show something too."""
    if len(pool) <= EVERYTHING:
        return list(pool)
    bare: dict[object, int] = {}
    best: dict[tuple[str, frozenset[Colors]], list[tuple[int, object]]] = {}
    for candidate in pool:
        if candidate.setup.stands:
            continue
        key = _setting(candidate.setup)
        lit = sum(_is_open(colors) for colors in candidate.colors.values())
        bare[key] = lit
        for signal, colors in candidate.colors.items():
            best.setdefault((signal, colors), []).append((-lit, key))
    kept = {
        key for those in best.values()
        for _, key in sorted(those, key=lambda pair: pair[0])[:2]
    }  # fmt: skip
    found = [candidate for candidate in pool if _setting(candidate.setup) in kept]
    return found[:TELLING]


def _setting(setup: Setup) -> object:
    return setup.told, setup.lies, setup.facts


def _is_open(colors: frozenset[Colors]) -> bool:
    """Whether a signal shows something else than red."""
    return any(color not in ("red", "dark") for shown in colors for color in shown)
