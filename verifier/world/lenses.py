"""Lenses: the colors a signal shows, and the aspect an engineer takes them for.

What a head is told to show follows from its rules and from what its driver does about
dead inputs and lamps; what it really shows also from power, wires and lamps.
"""

from collections.abc import Callable, Iterator, Mapping
from itertools import product

from verifier.logic.expr import (
    FALSE,
    TRUE,
    Atom,
    Expr,
    atom,
    conjunction,
    constant,
    disjunction,
    negation,
)
from verifier.plan import observables
from verifier.plan.model import Line, Plan, Signal
from verifier.plan.observables import Observable, facts_unfolded
from verifier.plan.signals.aspects import Chart, Combination
from verifier.plan.wiring.wiring_model import Driver
from verifier.world.circuits import Circuits
from verifier.world.rules import Reader, first_line


def shown_by(line: Line, signal: Signal, chart: Chart) -> Combination:
    """The colors of a signal while one of its aspect lines acts."""
    aspect = chart.get(line.shows)
    colors = aspect.for_heads(len(signal.heads)) if aspect else None
    assert colors is not None, "checked when the plan was built"
    return colors


class Lenses:
    """What the heads of one plan show. ``reader`` tells who reads the rules of a head."""

    def __init__(self, plan: Plan, circuits: Circuits, reader: Callable[[str], Reader]):
        self._plan = plan
        self._chart = plan.chart
        self._circuits = circuits
        self._reader = reader
        self._partner = {
            **dict(plan.wiring.swapped_heads),
            **{other: one for one, other in plan.wiring.swapped_heads},
        }
        self._heads: Mapping[str, tuple[Signal, int]] = {
            head.name: (signal, i)
            for signal in plan.signals.values()
            for i, head in enumerate(signal.heads)
        }
        self._dead: dict[str, Expr] = {}

    # -------------------------------------------------------------- what heads are told

    def color(self, part: Atom) -> Expr:
        """That a head is told to show one of these colors."""
        name = part.what.name
        driver = self._plan.wiring.driver_of(name)
        if driver is None:
            return self._ruled(name, part.values)
        powered = self._circuits.fed(driver.name, driver.supply)
        tripped = self._tripped(name, driver)
        return disjunction(
            conjunction(negation(powered), constant("dark" in part.values)),
            conjunction(powered, tripped, constant(driver.when_out in part.values)),
            conjunction(powered, negation(tripped), self._driven(name, driver, part.values)),
        )

    def _driven(self, head: str, driver: Driver, colors: tuple[str, ...]) -> Expr:
        """By its rules, and by what its driver does about dead inputs."""
        ruled = self._ruled(head, colors)
        dead = self._dead_inputs(head, driver)
        return disjunction(
            conjunction(negation(dead), ruled),
            conjunction(dead, constant(driver.when_missing in colors)),
        )

    def _dead_inputs(self, head: str, driver: Driver) -> Expr:
        if driver.when_missing is None:
            return FALSE
        if head not in self._dead:
            asked = dict.fromkeys(self._asked(head))
            self._dead[head] = self._circuits.dead_inputs(driver, asked)
        return self._dead[head]

    def _asked(self, head: str) -> Iterator[Observable]:
        """Every observable that the rules of a head test."""
        signal, index = self._heads[head]
        lines = signal.lines or signal.heads[index].lines
        whens = (line.when for line in lines if line.when is not None)
        named = self._plan.conditions
        return (s.what for s in facts_unfolded(whens, lambda name: named[name].condition))

    def _tripped(self, head: str, driver: Driver) -> Expr:
        """That the driver sees a head of the same signal fail to light."""
        if driver.when_out is None:
            return FALSE
        signal, _ = self._heads[head]
        out = []
        for other in signal.heads:
            if other.name not in driver.heads:
                continue
            for color in other.color.values:
                fails = negation(self._circuits.lights(other.name, color))
                if color != "dark" and fails is not FALSE:
                    out.append(conjunction(fails, self._driven(other.name, driver, (color,))))
        return disjunction(*out)

    def _ruled(self, head: str, colors: tuple[str, ...]) -> Expr:
        signal, index = self._heads[head]
        reader = self._reader(head)
        if signal.by_head:
            lines = signal.heads[index].lines
            return first_line(lines, lambda line: line.shows in colors, reader)
        return first_line(
            signal.lines,
            lambda line: shown_by(line, signal, self._chart)[index] in colors,
            reader,
        )

    def aspect(self, part: Atom) -> Expr:
        """That the colors a signal is told to show are one of these aspects."""
        signal = self._plan.signals[part.what.name]
        if signal.by_head:
            told = [(head.color, head.color.values) for head in signal.heads]
            return _one_of(told, lambda colors: self._chart.reading(colors) in part.values)

        def all_heads(color: str | None) -> Expr:
            colors = (color or "dark",) * len(signal.heads)
            return constant(self._chart.reading(colors) in part.values)

        # All its heads have one driver, or none, so what it does it does to all of them. (To
        # go by the colors of each head would lose that they come from the same line.)
        first = signal.heads[0].name
        ruled = first_line(
            signal.lines,
            lambda line: self._chart.reading(shown_by(line, signal, self._chart)) in part.values,
            self._reader(first),
        )
        driver = self._plan.wiring.driver_of(first)
        if driver is None:
            return ruled
        powered, tripped = (
            self._circuits.fed(driver.name, driver.supply),
            self._tripped(first, driver),
        )
        dead = self._dead_inputs(first, driver)
        return disjunction(
            conjunction(negation(powered), all_heads("dark")),
            conjunction(powered, tripped, all_heads(driver.when_out)),
            conjunction(powered, negation(tripped), dead, all_heads(driver.when_missing)),
            conjunction(powered, negation(tripped), negation(dead), ruled),
        )

    # -------------------------------------------------------------- what is seen

    def lens(self, part: Atom) -> Expr:
        """That a head really shows one of these colors."""
        name = part.what.name
        if not self._plan.wiring.drivers:
            return disjunction(*(self._told(name, color) for color in part.values))
        lit = disjunction(*(self._lit(name, c) for c in self._colors_of(name) if c in part.values))
        if "dark" not in part.values:
            return lit
        any_lit = disjunction(*(self._lit(name, color) for color in self._colors_of(name)))
        return disjunction(lit, negation(any_lit))

    def _told(self, head: str, color: str) -> Expr:
        signal, index = self._heads[head]
        what = signal.heads[index].color
        return atom(what, color) if color in what.values else FALSE

    def _lit(self, head: str, color: str) -> Expr:
        source = self._partner.get(head, head)
        if self._plan.wiring.driver_of(source) is None:
            return FALSE
        return conjunction(self._told(source, color), self._circuits.lights(head, color))

    def _colors_of(self, head: str) -> tuple[str, ...]:
        """The colors a head can be lit in; dark is none."""
        signal, index = self._heads[self._partner.get(head, head)]
        return tuple(c for c in signal.heads[index].color.values if c != "dark")

    def reading(self, part: Atom, *, at_best: bool) -> Expr:
        """That a signal is taken for one of these aspects."""
        signal = self._plan.signals[part.what.name]
        if self._shows_what_it_is_told(signal) and not (at_best and self._may_be_dark(signal)):
            return atom(signal.aspect, *part.values)
        seen = [
            (observables.lens(head.name, (*colors, "dark")), (*colors, "dark"))
            for head in signal.heads
            for colors in [self._colors_of(head.name)]
        ]
        read = taken_for if at_best else taken_for_at_worst
        return _one_of(seen, lambda colors: read(colors, self._chart) in part.values)

    def _shows_what_it_is_told(self, signal: Signal) -> bool:
        wiring = self._plan.wiring
        if not wiring.drivers:
            return True
        drivers = [wiring.driver_of(head.name) for head in signal.heads]
        # Heads of one driver go dark together; what is left of several may look like an aspect.
        together = all(driver is drivers[0] for driver in drivers)
        return all(
            driver is not None
            and head.name not in self._partner
            and (together or self._circuits.fed(driver.name, driver.supply) is TRUE)
            and all(self._circuits.lights(head.name, c) is TRUE for c in head.color.values)
            for head, driver in zip(signal.heads, drivers, strict=True)
        )

    def _may_be_dark(self, signal: Signal) -> bool:
        """Whether one of several heads may be told to be dark where drivers light them: what
        is left may look like an aspect."""
        wiring = self._plan.wiring
        if not wiring.drivers or len(signal.heads) == 1:
            return False
        shown = {line.shows for head in signal.heads for line in head.lines}
        for line in signal.lines:
            shown.update(shown_by(line, signal, self._chart))
        for head in signal.heads:
            driver = wiring.driver_of(head.name)
            shown.update((driver.when_missing or "", driver.when_out or "") if driver else ())
        return "dark" in shown


def taken_for(colors: Combination, chart: Chart) -> str:
    """The aspect an engineer takes colors for. Where no aspect lists them because a head
    is dark, and the rest looks like an aspect, it may be taken for that."""
    read = chart.reading(colors)
    lit = tuple(color for color in colors if color != "dark")
    if read == observables.UNLISTED and lit and len(lit) < len(colors):
        return chart.reading(lit)
    return read


def taken_for_at_worst(colors: Combination, chart: Chart) -> str:
    """The same at worst: an imperfect signal is the most restrictive there is."""
    return chart.reading(colors)


def _one_of(
    shown: list[tuple[Observable, tuple[str, ...]]], wanted: Callable[[Combination], bool]
) -> Expr:
    """That the colors of the heads are a combination that is wanted."""
    good = [colors for colors in product(*(values for _, values in shown)) if wanted(colors)]
    if len(shown) == 1:
        return atom(shown[0][0], *(colors[0] for colors in good)) if good else FALSE
    return disjunction(
        *(
            conjunction(*(atom(what, c) for (what, _), c in zip(shown, colors, strict=True)))
            for colors in good
        )
    )
