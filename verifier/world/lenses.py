"""Lenses: the colors a signal shows, and the aspect an engineer reads.

What a head is commanded to show follows from its rules and from its driver's reaction to dead
inputs and lamps; what it really shows also from power, wires and lamps.
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
from verifier.plan.model import Head, Plan, Signal
from verifier.plan.observables import Observable, facts_unfolded
from verifier.plan.signals.aspects import Chart, Combination
from verifier.plan.signals.colors import flashes, flashing, steady
from verifier.plan.wiring.faults import FaultKind
from verifier.plan.wiring.lamps import looks
from verifier.plan.wiring.wiring_model import Driver
from verifier.world.circuits import Circuits
from verifier.world.rules import Reader, first_line, lower


class Lenses:
    """What the heads of one plan show. ``reader`` gives the reader of a head's rules."""

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

    # -------------------------------------------------------------- commanded colors

    def color(self, part: Atom) -> Expr:
        """That a head is commanded to show one of these colors."""
        head = part.what.name
        ruled = self._ruled(head, part.values)
        return self._by_driver(head, ruled, lambda color: color in part.values)

    def _by_driver(self, head: str, ruled: Expr, all_show: Callable[[str | None], bool]) -> Expr:
        """What a driver makes of its rules' ``ruled``: ``all_show`` tells whether it is so while
        all heads that the driver lights show one color, or are dark."""
        driver = self._plan.wiring.driver_of(head)
        if driver is None:
            return ruled
        powered = self._circuits.fed(driver.name, driver.supply)
        tripped, dead = self._tripped(head, driver), self._dead_inputs(head, driver)
        lit = conjunction(powered, negation(tripped))
        return disjunction(
            conjunction(negation(powered), constant(all_show("dark"))),
            conjunction(powered, tripped, constant(all_show(driver.when_out))),
            conjunction(lit, dead, constant(all_show(driver.when_missing))),
            conjunction(lit, negation(dead), ruled),
        )

    def _driven(self, head: str, driver: Driver, colors: tuple[str, ...]) -> Expr:
        """By its rules, and by its driver's reaction to dead inputs."""
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
            read = dict.fromkeys(self._observables_read(head))
            self._dead[head] = self._circuits.dead_inputs(driver, read)
        return self._dead[head]

    def _observables_read(self, head: str) -> Iterator[Observable]:
        """Every observable that the rules of a head test."""
        signal, index = self._heads[head]
        lines = signal.lines or signal.heads[index].lines
        whens = (line.when for line in lines if line.when is not None)
        named = self._plan.conditions
        return (s.what for s in facts_unfolded(whens, lambda name: named[name].condition))

    def _tripped(self, head: str, driver: Driver, *, lit: bool = False) -> Expr:
        """That the driver sees a head of the same signal fail to light. ``lit``: were a train to
        light them all."""
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
                    driven = self._driven(other.name, driver, (color,))
                    watched = TRUE if lit else self._watched(other)
                    out.append(conjunction(fails, driven, watched))
        return disjunction(*out)

    def _watched(self, head: Head) -> Expr:
        """That a driver would see that a head does not light: not one that is dark for want of a
        train, unless it tests its lamps."""
        tested = head.tested or self._circuits.hears_of_lamps
        return TRUE if tested else self._lit_up(head.name)

    def _lit_up(self, head: str) -> Expr:
        """That a head is not dark for want of a train."""
        signal, index = self._heads[head]
        if not signal.heads[index].approach or signal.lit is None:
            return TRUE
        return lower(signal.lit, self._reader(head))

    def _ruled(self, head: str, colors: tuple[str, ...]) -> Expr:
        signal, index = self._heads[head]
        reader = self._reader(head)
        if signal.by_head:
            lines = signal.heads[index].lines
            return first_line(lines, lambda line: line.shows in colors, reader)
        return first_line(
            signal.lines,
            lambda line: signal.colors(line.shows, self._chart)[index] in colors,
            reader,
        )

    def aspect(self, part: Atom) -> Expr:
        """That the colors a signal is commanded to show are one of these aspects."""
        signal = self._plan.signals[part.what.name]
        return self._aspect(signal, part.values, self._plan.chart_of(signal))

    def _aspect(self, signal: Signal, values: tuple[str, ...], chart: Chart) -> Expr:
        """The same, by a chart: that of the signal, or without its plate."""
        if signal.by_head:
            heads = [(head.color, head.color.values) for head in signal.heads]
            return _one_of(heads, lambda colors: chart.reading(colors) in values)

        # All its heads have one driver, or none, so what it does it does to all of them. (To
        # go by the colors of each head would lose that they come from the same line.)
        def all_show(color: str | None) -> bool:
            return chart.reading((color or "dark",) * len(signal.heads)) in values

        first = signal.heads[0].name
        ruled = first_line(
            signal.lines,
            lambda line: chart.reading(signal.colors(line.shows, self._chart)) in values,
            self._reader(first),
        )
        return self._by_driver(first, ruled, all_show)

    # -------------------------------------------------------------- what is seen

    def lens(self, part: Atom) -> Expr:
        """That a head really shows one of these colors."""
        name = part.what.name
        if not self._plan.wiring.drivers:
            return disjunction(*(self._commanded(name, color) for color in part.values))
        signal, index = self._heads[name]
        if signal.heads[index].make == "semaphore":
            return self._arm(name, part.values)
        lit = disjunction(*(self._lit(name, c) for c in self._colors_of(name) if c in part.values))
        if "dark" not in part.values:
            return lit
        any_lit = disjunction(*(self._lit(name, color) for color in self._colors_of(name)))
        return disjunction(lit, negation(any_lit))

    def _arm(self, head: str, values: tuple[str, ...]) -> Expr:
        """How an arm points, by colors: whatever does not hold it up, it falls to red."""
        up = {c: self._lit(head, c) for c in self._colors_of(head) if c != "red"}
        down = negation(disjunction(*up.values())) if "red" in values else FALSE
        return disjunction(down, *(held for color, held in up.items() if color in values))

    def _commanded(self, head: str, color: str) -> Expr:
        signal, index = self._heads[head]
        what = signal.heads[index].color
        return atom(what, color) if color in what.values else FALSE

    def _commanded_for_a_train(self, head: str, color: str) -> Expr:
        """The same, were a train to light the heads of the signal: its driver then sees, at once as
        ever, that a lamp is out."""
        driver = self._plan.wiring.driver_of(head)
        as_it_is = self._commanded(head, color)
        if driver is None or driver.when_out is None:
            return as_it_is
        powered = self._circuits.fed(driver.name, driver.supply)
        trips = conjunction(powered, self._tripped(head, driver, lit=True))
        return disjunction(
            conjunction(trips, constant(driver.when_out == color)),
            conjunction(negation(trips), as_it_is),
        )

    def _lit(self, head: str, color: str) -> Expr:
        """That a head is lit in a color."""
        up = self._lit_up(self._partner.get(head, head))
        return conjunction(up, self._lit_by(head, color, self._commanded))

    def _lit_by(self, head: str, color: str, commanded: Callable[[str, str], Expr]) -> Expr:
        """That what heads are ``commanded`` lights one of them in a color."""
        source = self._partner.get(head, head)
        if self._plan.wiring.driver_of(source) is None:
            return FALSE
        seen, circuits = steady(color), self._circuits
        found = []
        for driven in dict.fromkeys((seen, *map(steady, self._colors_of(head)))):
            shows = circuits.shows(head, driven, seen)
            if shows is FALSE:
                continue
            if flashes(color):
                told = commanded(source, flashing(driven))
                found.append(conjunction(told, shows, circuits.flashes(source)))
                continue
            stopped = conjunction(
                commanded(source, flashing(driven)), circuits.flasher_stays_lit(source)
            )
            found.append(conjunction(shows, disjunction(commanded(source, driven), stopped)))
        return disjunction(*found)

    def _colors_of(self, head: str) -> tuple[str, ...]:
        """The colors a head can be lit in, a flashing one also steady; dark is none."""
        signal, index = self._heads[self._partner.get(head, head)]
        colors = signal.heads[index].color.values
        signal, index = self._heads[head]  # what is left of a color that is another's
        make = signal.heads[index].make
        colors = (*colors, *(seen for color in colors for seen in looks(make, color)))
        return tuple(c for c in dict.fromkeys((*colors, *map(steady, colors))) if c != "dark")

    def reading(self, part: Atom, *, at_best: bool) -> Expr:
        """That an engineer reads one of these aspects at a signal."""
        signal = self._plan.signals[part.what.name]
        seen = self._read(signal, part.values, self._plan.chart_of(signal), at_best)
        there = self._circuits.sound(FaultKind.PLATE, signal.name) if signal.plate else TRUE
        if there is TRUE:
            return seen
        without = self._read(signal, part.values, self._chart, at_best)
        return disjunction(conjunction(there, seen), conjunction(negation(there), without))

    def _read(self, signal: Signal, values: tuple[str, ...], chart: Chart, at_best: bool) -> Expr:
        """That the lenses show one of these aspects, by a chart: that of the signal, or without
        its plate."""
        if self._shows_the_command(signal) and not (at_best and self._may_be_dark(signal)):
            if chart is self._plan.chart_of(signal):
                return atom(signal.aspect, *values)
            return self._aspect(signal, values, chart)
        seen = [
            (observables.lens(head.name, (*colors, "dark")), (*colors, "dark"))
            for head in signal.heads
            for colors in [self._colors_of(head.name)]
        ]
        # At worst, a combination of colors that no aspect lists is the most restrictive one.
        read = chart.best_reading if at_best else chart.reading
        if signal.lit is not None:
            return self._for_a_train(signal, seen, lambda colors: read(colors) in values)
        return _one_of(seen, lambda colors: read(colors) in values)

    def _for_a_train(
        self,
        signal: Signal,
        seen: list[tuple[Observable, tuple[str, ...]]],
        wanted: Callable[[Combination], bool],
    ) -> Expr:
        """What an engineer reads of heads that a train lights: while none stands before the signal,
        nobody reads it, and what counts is what it would show to one that came."""
        behind = self._plan.track.pieces[signal.joint.other(signal.enters).piece].block
        nobody = self._circuits.vacant(behind) if behind else TRUE
        sights: list[dict[str, Expr]] = []
        for head, (_, colors) in zip(signal.heads, seen, strict=True):
            source = self._partner.get(head.name, head.name)
            own = self._heads[source][0] is signal  # (a train before one lights no other)
            would = self._commanded_for_a_train if own else self._commanded
            here = conjunction(negation(nobody), self._lit_up(source))
            rest = "red" if head.make == "semaphore" else "dark"
            sight = {
                c: disjunction(
                    conjunction(here, self._lit_by(head.name, c, self._commanded)),
                    conjunction(nobody, self._lit_by(head.name, c, would)),
                )
                for c in colors
                if c not in ("dark", rest)
            }
            sights.append({**sight, rest: negation(disjunction(*sight.values()))})
        return disjunction(*(
            conjunction(*(sight[c] for sight, c in zip(sights, colors, strict=True)))
            for colors in product(*sights) if wanted(colors)
        ))  # fmt: skip

    def _shows_the_command(self, signal: Signal) -> bool:
        wiring = self._plan.wiring
        if not wiring.drivers:
            return True
        drivers = [wiring.driver_of(head.name) for head in signal.heads]
        # Heads of one driver go dark together; what is left of several may look like an aspect.
        together = all(driver is drivers[0] for driver in drivers)
        return all(
            driver is not None
            and head.make != "semaphore"
            and not head.approach
            and head.name not in self._partner
            and (together or self._circuits.fed(driver.name, driver.supply) is TRUE)
            and all(
                self._circuits.shows(head.name, steady(c), steady(c)) is TRUE
                for c in head.color.values
                if c != "dark"
            )
            and self._circuits.flashes(head.name) is TRUE
            for head, driver in zip(signal.heads, drivers, strict=True)
        )

    def _may_be_dark(self, signal: Signal) -> bool:
        """Whether drivers may be commanded to leave one of several heads dark: the rest may look
        like an aspect."""
        wiring = self._plan.wiring
        if not wiring.drivers or len(signal.heads) == 1:
            return False
        shown = {line.shows for head in signal.heads for line in head.lines}
        for line in signal.lines:
            shown.update(signal.colors(line.shows, self._chart))
        for head in signal.heads:
            driver = wiring.driver_of(head.name)
            shown.update((driver.when_missing or "", driver.when_out or "") if driver else ())
        return "dark" in shown


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
