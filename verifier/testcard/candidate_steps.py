"""Steps that a test card is chosen from.

In: a bench. Out: setups, each with what it shows with nothing wrong. Where a layout can be in few
enough ways, all that a person can do is looked at; where there are more, every setting of points
and levers with no locomotive or with one; where that is too much as well, the solver's answers
only, one for each goal.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product

from verifier.diagnosis.bench import Bench, Colors, Setup
from verifier.logic.expr import Expr, holds, support
from verifier.plan.observables import Observable
from verifier.reference.evaluator import Evaluator, Unsettled
from verifier.testcard.fault_list import sound_colors
from verifier.testcard.operator_actions import Knob, Stands, knobs, places, settings, with_stock

# Every way a layout can be in, up to so many; else one locomotive, up to so many.
EVERYTHING = 500
ONE_LOCOMOTIVE = 3_000
# Steps in which faults and mistakes are looked for, where there are more than EVERYTHING; below
# that none is left out, since the fewest of all are asked for.
TELLING = 250
# For each goal so many steps at most are kept.
FOR_EACH = 6


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """A step that the card may have. ``states``: for each way it may come out with nothing
    wrong, what there is to be observed."""

    setup: Setup
    states: tuple[dict[Observable, str], ...]
    colors: dict[str, frozenset[Colors]]

    def shows(self, when: Expr) -> bool:
        """Whether an expression holds however the step comes out."""
        return all(holds(when, states) for states in self.states)


class Trial:
    """One layout, as setups of it are tried on the evaluator."""

    def __init__(self, bench: Bench, asked: Iterable[Observable]):
        self.bench = bench
        self._evaluator = Evaluator(bench.plan)
        # What is asked of at a driver's inputs, beside what can be seen anyhow.
        self._read = tuple(dict.fromkeys(what for what in asked if what.reader))
        self._known: dict[object, Candidate | None] = {}

    def candidate(self, setup: Setup) -> Candidate | None:
        """A setup with all it shows; None where the file's assumptions rule it out, no stock
        can stand so, or the rules do not settle what it shows."""
        key = setup.stands, setup.told, setup.lies, setup.facts
        if key not in self._known:
            self._known[key] = self._tried(setup)
        return self._known[key]

    def _tried(self, setup: Setup) -> Candidate | None:
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


def first_pool(trial: Trial) -> tuple[list[Candidate], bool]:
    """Steps to begin with, those with least to do first, and whether they are all there are."""
    given = knobs(trial.bench)
    ways = 1
    for _, states in given:
        ways *= len(states)
    everywhere = _everywhere(trial.bench)
    stocked = 1
    for _, here in everywhere:
        stocked *= 1 + len(here)
    if ways * stocked <= EVERYTHING:
        return _of(trial, given, _all_stock(everywhere)), True
    single = list(places(trial.bench))
    if ways * (1 + len(single)) <= ONE_LOCOMOTIVE:
        stands: list[Stands] = [(), *(((block, (place,)),) for block, place in single)]
        return _of(trial, given, stands), False
    return [], False


def _everywhere(bench: Bench) -> list[tuple[str, tuple[str, ...]]]:
    """By block, every state in which stock can be on it."""
    return [
        (what.name, tuple(v for v in what.values if v != what.usual))
        for what in bench.plan.inputs
        if what.kind in ("stock", "standing")
    ]


def _all_stock(everywhere: Sequence[tuple[str, tuple[str, ...]]]) -> list[Stands]:
    each = [[None, *((block, (place,)) for place in here)] for block, here in everywhere]
    found = [tuple(one for one in chosen if one is not None) for chosen in product(*each)]
    return sorted(found, key=len)


def _of(trial: Trial, given: Sequence[Knob], stands: Sequence[Stands]) -> list[Candidate]:
    found = [
        trial.candidate(with_stock(setup, stand))
        for stand in stands
        for setup in settings(trial.bench, given)
    ]
    return [candidate for candidate in found if candidate is not None]


def telling(pool: Sequence[Candidate]) -> list[Candidate]:
    """Those steps in which a fault or mistake is likeliest to show: for each thing a signal
    shows, the settings with which most other signals show something too."""
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
    """Whether a signal shows something other than red."""
    return any(color not in ("red", "dark") for shown in colors for color in shown)


def asked_of(exprs: Iterable[Expr]) -> Iterator[Observable]:
    for expr in exprs:
        yield from support(expr)
