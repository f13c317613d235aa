"""What a layout does in one situation, worked out directly from the plan.

This is the reference. It shares no code with :mod:`verifier.world` and
:mod:`verifier.logic`: no expressions, no simplification, no solver. Nothing is called
broken before this evaluator has replayed it, and the enumerator is built on it.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import product
from math import prod

from verifier.plan import facts
from verifier.plan.aspects import Chart
from verifier.plan.facts import All, AnyOne, Condition, Not, Observable, Says, says_in
from verifier.plan.model import Head, Line, Plan, Signal
from verifier.world.situation import Situation

MAX_COMBINATIONS = 4096


class Unsettled(Exception):
    """What some signal shows cannot be settled without going round in a circle."""


@dataclass(frozen=True, slots=True)
class Seen:
    """The state of every observable in one situation: truth, commands, reports, which
    line of each signal acts, the colours shown, the aspects read."""

    states: Mapping[Observable, str]

    def state(self, what: Observable) -> str:
        return self.states[what]

    def aspect(self, signal: Signal) -> str:
        """The aspect an engineer reads."""
        return self.states[signal.aspect]

    def colours(self, signal: Signal) -> tuple[str, ...]:
        """The colours of the heads, top to bottom."""
        return tuple(self.states[head.colour] for head in signal.heads)


def evaluate(plan: Plan, situation: Situation) -> Seen:
    """Everything that can be observed of the layout in this situation."""
    return Evaluator(plan).see(situation)


class Evaluator:
    """The evaluator of one plan: what depends on what is worked out once."""

    def __init__(self, plan: Plan):
        self.plan = plan
        self._lines: dict[str, tuple[Line, ...]] = {}
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
                for says in _all_says(line.when, plan)
                if says.what.kind in ("aspect", "colour")
            ))  # fmt: skip
        self._read_by: dict[str, list[str]] = {}
        for owner, reads in self._reads.items():
            for what in reads:
                signal = self._signal_of[what.name]
                for source in [signal.name, *(head.name for head in signal.heads)]:
                    self._read_by.setdefault(source, []).append(owner)

    def see(self, situation: Situation) -> Seen:
        """Everything. Raises :class:`Unsettled` where the rules do not settle it."""
        given = _Given(self.plan, situation)
        acting = self._settle(given, self._lines, set(self._lines))
        states = {what: given[what] for what in self._given_observables()}
        for owner, lines in self._lines.items():
            for line in lines:
                acts = "acts" if acting[owner] == {line.index} else "idle"
                states[facts.line(owner, line.index)] = acts
        for signal in self.plan.signals.values():
            states |= {what: values.pop() for what, values in self._shown(signal, acting).items()}
        for name, condition in self.plan.conditions.items():
            truth = _true(condition.condition, states, {}, self.plan)
            states[facts.condition(name)] = "true" if truth else "false"
        return Seen(states)

    def states(self, situation: Situation, wanted: Iterable[Observable]) -> dict[Observable, str]:
        """The states of some observables: only what they depend on is worked out.

        Starts with the signals wanted and takes in those they read as long as something
        is unsettled without them. Raises :class:`Unsettled`."""
        wanted = list(wanted)
        given = _Given(self.plan, situation)
        needed = {owner for what in wanted for owner in self._owners_of(what)}
        active = set(needed)
        while True:
            acting = self._settle(
                given, dict.fromkeys(o for o in self._lines if o in active), set()
            )
            open_ones = [owner for owner in active if len(acting[owner]) > 1]
            if all(len(acting[owner]) == 1 for owner in needed):
                break
            more = {
                o for owner in open_ones for r in self._reads[owner] for o in self._owners_of(r)
            }
            if more <= active:
                raise Unsettled(open_ones[0])
            active |= more
        states: dict[Observable, str] = {}
        shown: dict[Observable, str] = {}
        for owner in needed:
            signal = self._signal_of[owner]
            for what, values in self._shown(signal, acting).items():
                if len(values) == 1:
                    shown[what] = next(iter(values))
        for what in wanted:
            match what.kind:
                case "line":
                    owner, _, index = what.name.rpartition("/")
                    states[what] = "acts" if acting[owner] == {int(index)} else "idle"
                case "condition":
                    inner = self.plan.conditions[what.name].condition
                    holds = _true(inner, given, dict(shown), self.plan)
                    states[what] = "true" if holds else "false"
                case "aspect" | "colour":
                    states[what] = shown[what]
                case _:
                    states[what] = given[what]
        return states

    def true(self, condition: Condition, seen: Seen) -> bool:
        """Whether a condition of the file holds."""
        return _true(condition, seen.states, {}, self.plan)

    def allows(self, situation: Situation, condition: Condition) -> bool:
        """The same in a situation of which only what matters is worked out."""
        wanted = dict.fromkeys(says.what for says in says_in(condition))
        return _true(condition, self.states(situation, wanted), {}, self.plan)

    def _owners_of(self, what: Observable) -> list[str]:
        """The signals or heads whose lines decide the state of an observable."""
        match what.kind:
            case "line":
                return [what.name.rpartition("/")[0]]
            case "condition":
                reads = _all_says(self.plan.conditions[what.name].condition, self.plan)
                return [
                    owner
                    for says in reads
                    if says.what.kind in ("aspect", "colour")
                    for owner in self._owners_of(says.what)
                ]
            case "aspect" | "colour":
                signal = self._signal_of[what.name]
                if signal.by_head:
                    return [head.name for head in signal.heads]
                return [signal.name]
            case _:
                return []

    def _given_observables(self) -> Iterable[Observable]:
        """Truth, commands and reports."""
        for what in self.plan.inputs:
            yield what
            match what.kind:
                case "stock":
                    if self.plan.blocks[what.name].detected:
                        yield facts.block_report(what.name)
                case "points":
                    yield facts.points_report(what.name)
                case "derail":
                    yield facts.derail_report(what.name)
                case "gate":
                    yield facts.gate_report(what.name)
                case _:
                    pass

    def _settle(
        self,
        given: "_Given",
        owners: Iterable[str],
        must: set[str],
    ) -> dict[str, set[int]]:
        """Which line acts, for each signal or head: shrink what is possible until settled.

        Only ``owners`` are worked on; the lines of all others stay possible."""
        possible = dict(self._all_lines)
        waiting = dict.fromkeys(reversed(list(owners)))
        active = set(waiting)
        while waiting:
            owner = next(iter(waiting))
            del waiting[owner]
            outcomes = self._outcomes(owner, self._lines[owner], given, possible)
            if outcomes < possible[owner]:
                possible[owner] = outcomes
                waiting.update(
                    dict.fromkeys(o for o in self._read_by.get(owner, ()) if o in active)
                )
        for owner in must:
            if len(possible[owner]) != 1:
                raise Unsettled(owner)
        return possible

    def _outcomes(
        self,
        owner: str,
        lines: tuple[Line, ...],
        states: "_Given",
        possible: Mapping[str, set[int]],
    ) -> set[int]:
        """Lines that may act, over every way the signals it reads may turn out."""
        reads = self._reads[owner]
        ways = [sorted(self._shown(self._signal_of[r.name], possible)[r]) for r in reads]
        if prod(map(len, ways)) > MAX_COMBINATIONS:
            return possible[owner]
        outcomes = set()
        for values in product(*ways):
            there = dict(zip(reads, values, strict=True))
            outcomes.add(
                next(
                    line.index
                    for line in lines
                    if line.when is None or _true(line.when, states, there, self.plan)
                )
            )
        return outcomes

    def _shown(
        self, signal: Signal, possible: Mapping[str, set[int]]
    ) -> dict[Observable, set[str]]:
        """The aspects and colours a signal may show, given which lines may act."""
        chart = self.plan.chart
        if signal.by_head:
            colours = [_may_show(head, possible[head.name]) for head in signal.heads]
            combinations = set(product(*colours))
        else:
            combinations = {
                _colours(signal, line, chart)
                for line in signal.lines
                if line.index in possible[signal.name]
            }
        shown = {head.colour: {c[i] for c in combinations} for i, head in enumerate(signal.heads)}
        shown[signal.aspect] = {_read(c, chart) for c in combinations}
        return shown


class _Given(Mapping[Observable, str]):
    """Truth, commands and reports in one situation. Reports repeat the truth where no
    wiring says otherwise."""

    def __init__(self, plan: Plan, situation: Situation):
        self._plan = plan
        self._situation = situation

    def __getitem__(self, what: Observable) -> str:
        match what.kind:
            case "block report":
                state = self._situation.state(facts.stock(what.name))
                return "clear" if state == "vacant" else "occupied"
            case "points report":
                return _moving(self._situation.state(facts.points(what.name)))
            case "derail report":
                return _moving(self._situation.state(facts.derail(what.name)))
            case "gate report":
                return self._situation.state(facts.gate(what.name))
            case "aspect" | "colour" | "line" | "condition":
                raise KeyError(what)
            case _:
                return self._situation.state(what)

    def __iter__(self) -> Iterator[Observable]:
        return iter(self._plan.inputs)

    def __len__(self) -> int:
        return len(self._plan.inputs)


def _moving(position: str) -> str:
    return "moving" if position == "open" else position


def _may_show(head: Head, indexes: set[int]) -> list[str]:
    return [line.shows for line in head.lines if line.index in indexes]


def _colours(signal: Signal, line: Line, chart: Chart) -> tuple[str, ...]:
    for aspect in chart.aspects:
        if aspect.name == line.shows:
            for combination in aspect.combinations:
                if len(combination) == len(signal.heads):
                    return combination
    raise AssertionError(f"{signal.name} cannot show {line.shows}")


def _read(colours: tuple[str, ...], chart: Chart) -> str:
    """The least restrictive aspect these colours are listed for."""
    best: tuple[int, str] | None = None
    for aspect in chart.aspects:
        if colours in aspect.combinations and (best is None or aspect.indication.rank > best[0]):
            best = aspect.indication.rank, aspect.name
    return best[1] if best else facts.UNLISTED


def _all_says(condition: Condition, plan: Plan) -> Iterable[Says]:
    """Every fact of a condition, named conditions opened up (each once)."""
    stack, opened = [condition], set()
    while stack:
        for says in says_in(stack.pop()):
            yield says
            name = says.what.name
            if says.what.kind == "condition" and name not in opened:
                opened.add(name)
                stack.append(plan.conditions[name].condition)


def _true(
    condition: Condition,
    states: Mapping[Observable, str],
    supposed: dict[Observable, str],
    plan: Plan,
) -> bool:
    """Whether a condition holds; ``supposed`` goes before ``states``, and keeps what the
    named conditions come to."""
    match condition:
        case Says(what=what, values=values):
            if what.kind == "condition" and what not in supposed:
                inner = _true(plan.conditions[what.name].condition, states, supposed, plan)
                supposed[what] = "true" if inner else "false"
            return (supposed.get(what) or states[what]) in values
        case All(parts=parts):
            return all(_true(part, states, supposed, plan) for part in parts)
        case AnyOne(parts=parts):
            return any(_true(part, states, supposed, plan) for part in parts)
        case Not(part=part):
            return not _true(part, states, supposed, plan)
