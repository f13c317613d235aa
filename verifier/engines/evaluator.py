"""What a layout does in one situation, worked out directly from the plan.

This is the reference. It shares no code with :mod:`verifier.world` and
:mod:`verifier.logic`: no expressions, no simplification, no solver. Nothing is called
broken before this evaluator has replayed it, and the enumerator is built on it.
"""

from collections.abc import Iterable, Mapping
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
        self._owners: list[tuple[str, tuple[Line, ...]]] = []
        for signal in plan.signals.values():
            if signal.by_head:
                self._owners += [(head.name, head.lines) for head in signal.heads]
            else:
                self._owners.append((signal.name, signal.lines))
        self._signal_of: dict[str, Signal] = {}
        self._reads: dict[str, tuple[Observable, ...]] = {}
        for signal in plan.signals.values():
            self._signal_of[signal.name] = signal
            self._signal_of |= {head.name: signal for head in signal.heads}
        for owner, lines in self._owners:
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
        """Raises :class:`Unsettled` where the rules do not settle what is shown."""
        states = situation.complete(self.plan.inputs)
        states |= dict(self._reports(states))
        acting = self._settle(states)
        for owner, lines in self._owners:
            for line in lines:
                acts = "acts" if acting[owner] == {line.index} else "idle"
                states[facts.line(owner, line.index)] = acts
        for signal in self.plan.signals.values():
            states |= {what: values.pop() for what, values in self._shown(signal, acting).items()}
        for name, condition in self.plan.conditions.items():
            truth = _true(condition.condition, states, self.plan)
            states[facts.condition(name)] = "true" if truth else "false"
        return Seen(states)

    def _reports(self, truth: Mapping[Observable, str]) -> Iterable[tuple[Observable, str]]:
        """Reports repeat the truth, where no wiring says otherwise."""
        for what, state in truth.items():
            match what.kind:
                case "stock":
                    if self.plan.blocks[what.name].detected:
                        report = "clear" if state == "vacant" else "occupied"
                        yield facts.block_report(what.name), report
                case "points":
                    report = "moving" if state == "open" else state
                    yield facts.points_report(what.name), report
                case "derail":
                    report = "moving" if state == "open" else state
                    yield facts.derail_report(what.name), report
                case "gate":
                    yield facts.gate_report(what.name), state
                case _:
                    pass

    def _settle(self, states: Mapping[Observable, str]) -> dict[str, set[int]]:
        """Which line acts, for each signal or head: shrink what is possible until settled."""
        possible = {owner: {line.index for line in lines} for owner, lines in self._owners}
        lines_of = dict(self._owners)
        waiting = dict.fromkeys(owner for owner, _ in reversed(self._owners))
        while waiting:
            owner = next(iter(waiting))
            del waiting[owner]
            outcomes = self._outcomes(owner, lines_of[owner], states, possible)
            if outcomes < possible[owner]:
                possible[owner] = outcomes
                waiting.update(dict.fromkeys(self._read_by.get(owner, ())))
        for owner, left in possible.items():
            if len(left) != 1:
                raise Unsettled(owner)
        return possible

    def _outcomes(
        self,
        owner: str,
        lines: tuple[Line, ...],
        states: Mapping[Observable, str],
        possible: Mapping[str, set[int]],
    ) -> set[int]:
        """Lines that may act, over every way the signals it reads may turn out."""
        reads = self._reads[owner]
        ways = [sorted(self._shown(self._signal_of[r.name], possible)[r]) for r in reads]
        if prod(map(len, ways)) > MAX_COMBINATIONS:
            return possible[owner]
        outcomes = set()
        for values in product(*ways):
            there = {**states, **dict(zip(reads, values, strict=True))} if reads else states
            outcomes.add(
                next(
                    line.index
                    for line in lines
                    if line.when is None or _true(line.when, there, self.plan)
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


def _true(condition: Condition, states: Mapping[Observable, str], plan: Plan) -> bool:
    match condition:
        case Says(what=what, values=values):
            if what.kind == "condition":
                return _true(plan.conditions[what.name].condition, states, plan)
            return states[what] in values
        case All(parts=parts):
            return all(_true(part, states, plan) for part in parts)
        case AnyOne(parts=parts):
            return any(_true(part, states, plan) for part in parts)
        case Not(part=part):
            return not _true(part, states, plan)
