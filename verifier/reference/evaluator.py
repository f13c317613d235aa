"""What a layout does in one situation, worked out directly from the plan.

This is the reference: it uses no expressions, no simplification and no solver. Nothing is called
broken before this evaluator has replayed it.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache, partial
from itertools import product

from verifier.plan import observables
from verifier.plan.model import Head, Line, Plan, Signal
from verifier.plan.observables import Assumed, Condition, Fact, Observable, at_reader, facts_in
from verifier.plan.panel import Indicator
from verifier.plan.signals.aspects import Chart
from verifier.plan.situation import Situation
from verifier.plan.wiring.faults import FaultKind
from verifier.reference.condition_eval import all_says, is_true, looking_at, true_in
from verifier.reference.equipment import Asked, EquipmentState
from verifier.reference.inputs import heard

# Partial valuations of the signals that one signal reads. If its rules tell more than these
# apart, the signal is left unsettled.
MAX_WAYS = 20_000


class Unsettled(Exception):
    """What a signal shows depends, in a circle, on itself."""


class TooManyWays(Unsettled):
    """What a signal shows was not settled within :data:`MAX_WAYS`."""


@dataclass(frozen=True, slots=True)
class Seen:
    """The state of every observable in one situation: truth, commands, reports (also as each
    board that asks for one gets it), the line of each signal that acts, the colors shown, the
    aspects read."""

    states: Mapping[Observable, str]

    def state(self, what: Observable) -> str:
        """The state of one observable."""
        return self.states[what]

    def aspect(self, signal: Signal) -> str:
        """The aspect an engineer takes it for."""
        return self.states[signal.reading]

    def colors(self, signal: Signal) -> tuple[str, ...]:
        """The colors of the lenses, top to bottom."""
        return tuple(self.states[head.lens] for head in signal.heads)

    def unlit(self, signal: Signal) -> bool:
        """Whether a signal is dark for want of a train before it: its aspect is the one that it
        would show."""
        if signal.lit is None or set(self.colors(signal)) != {"dark"}:
            return False
        return self.states.get(observables.stock(signal.lit.what.name)) != "occupied"


def evaluate(plan: Plan, situation: Situation) -> Seen:
    """Everything that can be observed of a layout in a situation.

    Raises :class:`Unsettled`."""
    return Evaluator(plan).see(situation)


class Evaluator:
    """The evaluator of one plan. It works out once which signals read which."""

    def __init__(self, plan: Plan):
        self.plan = plan
        self._lines: dict[str, tuple[Line, ...]] = {}
        self._asked: Asked = {}
        for signal in plan.signals.values():
            if signal.by_head:
                self._lines |= {head.name: head.lines for head in signal.heads}
            else:
                self._lines[signal.name] = signal.lines
        self._all_lines = {
            owner: {line.index for line in lines} for owner, lines in self._lines.items()
        }
        self._signal_of: dict[str, Signal] = {}
        self._reads: dict[str, tuple[Observable, ...]] = {}
        for signal in plan.signals.values():
            self._signal_of[signal.name] = signal
            self._signal_of |= {head.name: signal for head in signal.heads}
        for owner, lines in self._lines.items():
            self._reads[owner] = tuple(dict.fromkeys(
                says.what
                for line in lines if line.when is not None
                for says in all_says(line.when, plan)
                if says.what.kind in ("aspect", "color")
            ))  # fmt: skip
        self._partner = {
            **dict(plan.wiring.swapped_heads),
            **{other: one for one, other in plan.wiring.swapped_heads},
        }
        self._read_by: dict[str, list[str]] = {}
        for owner, reads in self._reads.items():
            for what in reads:
                signal = self._signal_of[what.name]
                for source in [signal.name, *(head.name for head in signal.heads)]:
                    self._read_by.setdefault(source, []).append(owner)
        self._given = tuple(self._given_observables())
        # The line of each signal or head, by its number, as an observable.
        self._acts = {
            owner: [(line.index, observables.line(owner, line.index)) for line in lines]
            for owner, lines in self._lines.items()
        }
        # The same colors are read again in situation after situation.
        self._read = cache(partial(_read, chart=plan.chart))
        self._colors = {
            signal.name: {
                line.index: _colors(signal, line, plan.chart) for line in signal.lines
            }
            for signal in plan.signals.values() if not signal.by_head
        }  # fmt: skip

    def see(self, situation: Situation) -> Seen:
        """Everything that can be observed in a situation. Raises :class:`Unsettled`."""
        given = _Inputs(self.plan, situation, self._asked)
        acting, given_up = self._settle(given, self._lines)
        for owner, indexes in acting.items():
            if len(indexes) != 1:
                raise _unsettled(owner, given_up)
        states = {what: given[what] for what in self._given}
        states |= {w: state for w, state in situation if w.kind == "fault"}
        for owner, lines in self._acts.items():
            for index, what in lines:
                states[what] = "acts" if acting[owner] == {index} else "idle"
        told: dict[str, str] = {}
        for signal in self.plan.signals.values():
            shown = {w: values.pop() for w, values in self._shown(signal, given, acting).items()}
            states |= shown
            told |= {head.name: shown[head.color] for head in signal.heads}
        for signal in self.plan.signals.values():
            states |= self._seen(signal, given, told)
        for indicator in self.plan.indicators.values():
            states[indicator.what] = self._indicated(indicator, given, states)
        states |= self._without_faults(situation, states)
        known: dict[str, bool] = {}
        for name, condition in self.plan.conditions.items():
            known[name] = is_true(condition.condition, looking_at(states), known, self.plan)
            states[observables.condition(name)] = "true" if known[name] else "false"
        return Seen(states)

    def states(self, situation: Situation, wanted: Iterable[Observable]) -> dict[Observable, str]:
        """The states of some observables, evaluating only their cone of influence.

        Starts with the signals wanted, and adds those they read as long as something is
        unsettled without them. Raises :class:`Unsettled`."""
        wanted = list(wanted)
        given = _Inputs(self.plan, situation, self._asked)
        needed = {owner for what in wanted for owner in self._owners_of(what)}
        active = set(needed)
        while True:
            acting, given_up = self._settle(given, [o for o in self._lines if o in active])
            unsettled = [owner for owner in active if len(acting[owner]) > 1]
            if all(len(acting[owner]) == 1 for owner in needed):
                break
            more = {
                o for owner in unsettled for r in self._reads[owner] for o in self._owners_of(r)
            }
            if more <= active:
                raise _unsettled(unsettled[0], given_up)
            active |= more
        states: dict[Observable, str] = {}
        shown: dict[Observable, str] = {}
        by_name = {self._signal_of[owner].name: self._signal_of[owner] for owner in needed}
        for signal in by_name.values():
            for what, values in self._shown(signal, given, acting).items():
                if len(values) == 1:
                    shown[what] = next(iter(values))
        told = {what.name: state for what, state in shown.items() if what.kind == "color"}

        def look(says: Fact) -> bool:
            known = shown if says.what in shown else given
            return known[says.what] in says.values

        named: dict[str, bool] = {}
        for what in wanted:
            match what.kind:
                case "line":
                    owner, _, index = what.name.rpartition("/")
                    states[what] = "acts" if acting[owner] == {int(index)} else "idle"
                case "condition":
                    inner = self.plan.conditions[what.name].condition
                    named[what.name] = is_true(inner, look, named, self.plan)
                    states[what] = "true" if named[what.name] else "false"
                case "aspect" | "color":
                    states[what] = shown[what]
                case "indicator":
                    states[what] = self._indicated(self.plan.indicators[what.name], given, shown)
                case "lens" | "reading" | "worst reading":
                    states[what] = self._seen(self._signal_of[what.name], given, told)[what]
                case "sound reading":
                    sound = self.plan.signals[what.name].reading
                    states[what] = self.states(_sound(situation), [sound])[sound]
                case _:
                    states[what] = given[what]
        return states

    def true(self, condition: Assumed, seen: Seen) -> bool:
        """Whether a condition of the file holds, given everything observed."""
        return true_in(condition, seen.states, self.plan)

    def allows(self, situation: Situation, condition: Assumed) -> bool:
        """Whether a condition holds in a situation, evaluating only what it reads.

        Raises :class:`Unsettled`."""
        wanted = dict.fromkeys(says.what for says in facts_in(condition))
        return true_in(condition, self.states(situation, wanted), self.plan)

    def _owners_of(self, what: Observable) -> list[str]:
        """The signals or heads whose lines decide the state of an observable."""
        match what.kind:
            case "line":
                return [what.name.rpartition("/")[0]]
            case "condition":
                return self._owners_asked(self.plan.conditions[what.name].condition)
            case "indicator":
                return self._owners_asked(self.plan.indicators[what.name].when)
            case "aspect" | "color":
                return self._owners_in(self._signal_of[what.name])
            case "lens" | "reading" | "worst reading":
                signal = self._signal_of[what.name]
                lit_by = [self._partner.get(head.name, head.name) for head in signal.heads]
                signals = {s.name: s for s in (signal, *(self._signal_of[h] for h in lit_by))}
                return [owner for s in signals.values() for owner in self._owners_in(s)]
            case _:
                return []

    def _owners_asked(self, condition: Condition) -> list[str]:
        """The signals or heads that a condition asks about, named conditions expanded."""
        return [
            owner
            for says in all_says(condition, self.plan)
            if says.what.kind in ("aspect", "color")
            for owner in self._owners_of(says.what)
        ]

    def _owners_in(self, signal: Signal) -> list[str]:
        return [head.name for head in signal.heads] if signal.by_head else [signal.name]

    def _given_observables(self) -> Iterable[Observable]:
        """Truth, commands and reports, these as boards get them at their inputs as well."""
        yield from self.plan.inputs
        yield from dict.fromkeys(heard(self.plan))
        for block in self.plan.blocks.values():
            yield observables.stock(block.name)
            if block.detected:
                yield observables.block_report(block.name)
        for piece in self.plan.track.pieces.values():
            if piece.kind in ("turnout", "slip"):
                yield observables.points(piece.name)
                yield observables.points_report(piece.name)
        yield from map(observables.derail, self.plan.derails)
        yield from map(observables.derail_report, self.plan.derails)
        yield from map(observables.gate_report, self.plan.gates)

    def _settle(
        self, given: "_Inputs", owners: Iterable[str]
    ) -> tuple[dict[str, set[int]], set[str]]:
        """The lines that may act, for each signal or head, as the greatest fixed point. Also the
        owners that were given up for too many valuations.

        Only ``owners`` are evaluated; all lines of others may act."""
        possible = dict(self._all_lines)
        given_up: set[str] = set()
        waiting = dict.fromkeys(reversed(list(owners)))
        active = set(waiting)
        while waiting:
            owner = next(iter(waiting))
            del waiting[owner]
            outcomes = self._outcomes(owner, given, possible)
            if outcomes is None:
                given_up.add(owner)
            elif outcomes < possible[owner]:
                possible[owner] = outcomes
                waiting.update(
                    dict.fromkeys(o for o in self._read_by.get(owner, ()) if o in active)
                )
        return possible, given_up

    def _outcomes(
        self, owner: str, given: "_Inputs", possible: Mapping[str, set[int]]
    ) -> set[int] | None:
        """The lines that may act, over all valuations of the signals that the owner reads. None
        if there are too many.

        A partial valuation is split only when a rule reads an undetermined value."""
        outcomes: set[int] = set()
        ways: list[dict[Observable, set[str]]] = [
            {
                what: self._shown(self._signal_of[what.name], given, possible)[what]
                for what in self._reads[owner]
            }
        ]
        for _ in range(MAX_WAYS):
            if not ways or outcomes == possible[owner]:
                return outcomes
            way = ways.pop()
            try:
                outcomes.add(self._first_true(owner, given, way))
            except _Open as question:
                may, asked = way[question.says.what], set(question.says.values)
                ways.append({**way, question.says.what: may - asked})
                ways.append({**way, question.says.what: may & asked})
        return None

    def _first_true(self, owner: str, given: "_Inputs", way: Mapping[Observable, set[str]]) -> int:
        """The first line whose condition holds; raises :class:`_Open`."""
        signal = self._signal_of[owner]
        driver = self.plan.wiring.driver_of(owner if signal.by_head else signal.heads[0].name)
        reader = driver.name if driver else ""

        def look(says: Fact) -> bool:
            may = way.get(says.what)
            if may is None:
                return given[at_reader(says.what, reader)] in says.values
            if may.issubset(says.values):
                return True
            if may.isdisjoint(says.values):
                return False
            raise _Open(says)

        known: dict[str, bool] = {}
        return next(
            line.index
            for line in self._lines[owner]
            if line.when is None or is_true(line.when, look, known, self.plan)
        )

    def _shown(
        self, signal: Signal, given: "_Inputs", possible: Mapping[str, set[int]]
    ) -> dict[Observable, set[str]]:
        """The aspects and colors that a signal may be caused to display."""
        if signal.by_head:
            colors = [_may_show(head, possible[head.name]) for head in signal.heads]
            combinations = set(product(*colors))
        else:
            of_lines = self._colors[signal.name]
            combinations = {of_lines[index] for index in possible[signal.name]}
        if self.plan.wiring.drivers:
            combinations = {_told(signal, colors, given.wires) for colors in combinations}
        shown = {head.color: {c[i] for c in combinations} for i, head in enumerate(signal.heads)}
        shown[signal.aspect] = {self._read(c, signal.plate) for c in combinations}
        return shown

    def _seen(
        self, signal: Signal, given: "_Inputs", told: Mapping[str, str]
    ) -> dict[Observable, str]:
        """The colors of the lenses, and the aspects they are read as."""
        colors = tuple(given.wires.shown(head.name, told) for head in signal.heads)
        states = {head.lens: c for head, c in zip(signal.heads, colors, strict=True)}
        missing = bool(signal.plate) and given.wires.is_broken(FaultKind.PLATE, signal.name)
        plate = "" if missing else signal.plate
        colors = given.wires.sight(signal, told)
        worst = self._read(colors, plate)
        lit = tuple(color for color in colors if color != "dark")
        best = worst
        if (
            self.plan.wiring.drivers
            and worst == observables.UNLISTED
            and 0 < len(lit) < len(colors)
        ):
            best = self._read(lit, plate)
        return {**states, signal.reading: best, signal.worst_reading: worst}

    def _indicated(
        self, indicator: Indicator, given: "_Inputs", shown: Mapping[Observable, str]
    ) -> str:
        """Whether an indicator or a bell is on, by what its board hears and signals show."""
        board = self.plan.wiring.driver_of(indicator.name)

        def look(says: Fact) -> bool:
            if says.what.kind in ("aspect", "color"):
                return shown[says.what] in says.values
            return given[at_reader(says.what, board.name if board else "")] in says.values

        told = is_true(indicator.when, look, {}, self.plan)
        return "on" if told and given.wires.is_turned_on(indicator.name) else "off"

    def _without_faults(
        self, situation: Situation, states: Mapping[Observable, str]
    ) -> dict[Observable, str]:
        """The aspects that signals would be read as in the same situation without faults."""
        signals = self.plan.signals.values()
        sound = _sound(situation)
        known = states if sound == situation else self.see(sound).states
        return {signal.sound_reading: known[signal.reading] for signal in signals}


def _sound(situation: Situation) -> Situation:
    return Situation.of((what, state) for what, state in situation if what.kind != "fault")


class _Inputs(Mapping[Observable, str]):
    """Truth, commands and reports in one situation."""

    def __init__(self, plan: Plan, situation: Situation, asked: Asked):
        self._plan = plan
        self._situation = situation
        self.wires = EquipmentState(plan, situation, asked)

    def __getitem__(self, what: Observable) -> str:
        match what.kind:
            case "stock":
                return "vacant" if self.wires.vacant(what.name) else "occupied"
            case "points":
                return self.wires.lies(what.name)
            case "block report":
                return self.wires.block_report(what.name, what.reader)
            case "points report":
                return self.wires.points_report(what.name, what.reader)
            case "derail report":
                return self.wires.derail_report(what.name, what.reader)
            case "derail":
                return self.wires.derail_lies(what.name)
            case "gate report":
                return self.wires.gate_report(what.name, what.reader)
            case _ if what.is_worked_out:
                raise KeyError(what)
            case _:
                return self._situation.state(what)

    def __iter__(self) -> Iterator[Observable]:
        return iter(self._plan.inputs)

    def __len__(self) -> int:
        return len(self._plan.inputs)


def _may_show(head: Head, indexes: set[int]) -> list[str]:
    return [line.shows for line in head.lines if line.index in indexes]


def _colors(signal: Signal, line: Line, chart: Chart) -> tuple[str, ...]:
    for aspect in chart.aspects:
        if aspect.name == line.shows:
            fits = [c for kind, c in aspect.plated if kind == signal.plate]
            # Colors that mean something else beside the plate do not show the aspect.
            fits += [c for c in aspect.combinations if not _means_more(c, signal.plate, chart)]
            for combination in fits:
                if len(combination) == len(signal.heads):
                    return combination
    raise AssertionError(f"{signal.name} cannot show {line.shows}")


def _told(signal: Signal, ruled: tuple[str, ...], wires: EquipmentState) -> tuple[str, ...]:
    """The colors that drivers cause a signal to display, given those of its rules."""
    by_head = {head.name: color for head, color in zip(signal.heads, ruled, strict=True)}
    return tuple(wires.told(head.name, by_head) for head in signal.heads)


def _means_more(colors: tuple[str, ...], plate: str, chart: Chart) -> bool:
    """Whether some aspect lists these colors together with this plate."""
    return any((plate, colors) in aspect.plated for aspect in chart.aspects)


def _read(colors: tuple[str, ...], plate: str, chart: Chart) -> str:
    """The least restrictive aspect these colors are listed for, beside a plate (empty for none)."""
    best: tuple[int, str] | None = None
    qualified = _means_more(colors, plate, chart)
    for aspect in chart.aspects:
        listed = (plate, colors) in aspect.plated if qualified else colors in aspect.combinations
        if listed and (best is None or aspect.indication.rank > best[0]):
            best = aspect.indication.rank, aspect.name
    return best[1] if best else observables.UNLISTED


class _Open(Exception):
    """A rule reads an undetermined value."""

    def __init__(self, says: Fact):
        self.says = says


def _unsettled(owner: str, given_up: set[str]) -> Unsettled:
    return TooManyWays(owner) if given_up else Unsettled(owner)
