"""Why a signal shows what it shows: the chain back to rule lines, reports and truth.

In: a plan, a situation, the names of signals. Out: a chain of causes for each. From a report
down, :mod:`verifier.explain.wiring_causes` continues the chain.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import replace

from verifier.explain.wiring_causes import Circuit
from verifier.language.source import Span
from verifier.plan import observables
from verifier.plan.model import Head, Line, Plan, Signal
from verifier.plan.observables import All, AnyOne, Condition, Fact, Not, Observable, at_reader
from verifier.plan.panel import Indicator
from verifier.plan.signals.colors import flashes
from verifier.plan.signals.heads import signal_of
from verifier.plan.situation import Situation
from verifier.plan.wiring.faults import FaultKind
from verifier.reference.condition_eval import is_true
from verifier.reference.equipment import EquipmentState
from verifier.reference.evaluator import Evaluator
from verifier.reference.inputs import asked_by
from verifier.verdicts.causes import Cause, CauseKind, Subject, cause

MAX_DEPTH = 6

# What has a chain of its own, told once: its name, and who reads it.
_Key = tuple[str, str]

# In a history: how a relay, a timer or a direction of traffic came to be as it is, or why a
# report is what it is; None where the moment itself tells.
Recall = Callable[[Observable], Cause | None]


def causes(
    plan: Plan,
    evaluator: Evaluator,
    situation: Situation,
    names: tuple[str, ...],
    relevant: Collection[Observable] | None = None,
    recall: Recall | None = None,
) -> tuple[Cause, ...]:
    """One chain for each of the signals, and indicators, named. A chain explains a signal or a
    named condition once.

    ``relevant``: the inputs that matter (None: all). A cause that follows from other inputs
    alone is left out: the rule that acts may read it, but the trouble would be the same."""
    return tuple(
        teller.indicator(plan.indicators[name])
        if name in plan.indicators
        else teller.seen(plan.signals[name])
        for name in names
        for teller in (_Teller(plan, evaluator, situation, relevant, recall),)
    )


def reasons(
    plan: Plan,
    evaluator: Evaluator,
    situation: Situation,
    condition: Condition,
    recall: Recall | None = None,
) -> tuple[Cause, ...]:
    """The facts that make a condition true, or false: as few as show it, each with what is
    behind it."""
    teller = _Teller(plan, evaluator, situation, None, recall)
    return tuple(teller.why(condition))


class _Teller:
    def __init__(
        self,
        plan: Plan,
        evaluator: Evaluator,
        situation: Situation,
        relevant: Collection[Observable] | None,
        recall: Recall | None = None,
    ):
        self._recall = recall
        self._relevant = None if relevant is None else {(w.kind, w.name) for w in relevant}
        self._left_out: set[_Key] = set()
        # Named without a chain of its own, which stands elsewhere.
        self._referred: set[_Key] = set()
        self._plan = plan
        self._evaluator = evaluator
        self._situation = situation
        self._told: set[_Key] = set()
        self._wires = EquipmentState(plan, situation)
        self._circuit = Circuit(plan, self._wires)
        self._named: dict[str, dict[str, bool]] = {}

    def _states(self, *wanted: Observable) -> Mapping[Observable, str]:
        return self._evaluator.states(self._situation, wanted)

    # -------------------------------------------------------------- the panel

    def indicator(self, indicator: Indicator) -> Cause:
        """Why an indicator or a bell is on, or off."""
        (state,) = self._states(indicator.what).values()
        board = self._plan.wiring.driver_of(indicator.name)
        reader = board.name if board else ""
        because = tuple(self._why(indicator.when, reader, 0))
        if state == "off" and self._true(indicator.when, reader) and board is not None:
            off = self._circuit.unpowered(board.name, board.supply, board.span)
            wire = CauseKind.BELL_WIRE_BROKEN if indicator.bell else CauseKind.INDICATOR_WIRE_BROKEN
            because = (off or cause(wire, Subject(indicator.kind, indicator.name), indicator.span),)
        said = indicator.word("on" if state == "on" else "off")
        subject = Subject(indicator.kind, indicator.name)
        return cause(CauseKind.INDICATES, subject, indicator.span, because, state=said)

    # -------------------------------------------------------------- signals

    def seen(self, signal: Signal) -> Cause:
        """What an engineer sees and, where the signal is driven to show something else, why."""
        heads = signal.heads
        missing = []
        if signal.plate and self._wires.is_broken(FaultKind.PLATE, signal.name):
            missing.append(
                cause(CauseKind.PLATE_MISSING, Subject("signal", signal.name), signal.span,
                      state=signal.plate)
            )  # fmt: skip
        wanted = [signal.reading, *(head.lens for head in heads), *(head.color for head in heads)]
        states = self._states(*wanted)
        seen = self._sight(signal, states)
        unlit = signal.lit is not None and self._wires.vacant(signal.lit.what.name)
        if not missing and all(seen[head.name] == states[head.color] for head in heads):
            shown = self.signal(signal, 0)
            return replace(shown, kind=CauseKind.WOULD_SHOW) if unlit else shown
        reasons = missing + [
            self._otherwise(head, signal, states, seen[head.name])
            for head in heads
            if seen[head.name] != states[head.color]
        ]
        reasons = list(dict.fromkeys(reasons))
        if unlit:
            reasons.append(
                cause(CauseKind.JUDGED_UNLIT, Subject("signal", signal.name), signal.span)
            )
        lit = [color for color in seen.values() if color != "dark"]
        reading = states[signal.reading]
        if lit and len(lit) < len(heads) and reading != observables.UNLISTED:
            reasons.append(_signal(CauseKind.LIT_LOOKS_LIKE, signal, None, (), reading, lit))
        ruled = replace(self.signal(signal, 0), kind=CauseKind.SHOULD_SHOW)
        unlisted = reading == observables.UNLISTED
        kind = CauseKind.SHOWS if unlisted else CauseKind.LOOKS_LIKE
        return _signal(kind, signal, signal.span, (*reasons, ruled), reading, [*seen.values()])

    def _sight(self, signal: Signal, states: Mapping[Observable, str]) -> dict[str, str]:
        """What an engineer sees of each head who stands before a signal, or would come there."""
        if signal.lit is None:
            return {head.name: states[head.lens] for head in signal.heads}
        colors = [head.color for s in self._plan.signals.values() for head in s.heads]
        told = {what.name: state for what, state in self._states(*colors).items()}
        seen = self._wires.sight(signal, told)
        return {head.name: color for head, color in zip(signal.heads, seen, strict=True)}

    def _otherwise(
        self, head: Head, signal: Signal, states: Mapping[Observable, str], seen: str
    ) -> Cause:
        """Why a head does not show the color that its driver gives it: where nobody stands before a
        signal that trains light, what its driver would see once it is lit."""
        driver = self._plan.wiring.driver_of(head.name)
        told = {other.name: states[other.color] for other in signal.heads}
        nobody = signal.lit is not None and self._wires.vacant(signal.lit.what.name)
        if nobody and driver is not None and driver.when_out == seen:
            out = [
                self._unlit(other, told[other.name], "dark")
                for other in signal.heads
                if other.name in driver.heads and self._wires.would_fail(other.name, told)
            ]
            if out:
                subject = Subject("driver", driver.name)
                kind = CauseKind.SHOWN_WHEN_OUT
                return cause(kind, subject, driver.span, tuple(out), state=seen)
        return self._unlit(head, told[head.name], seen)

    def _unlit(self, head: Head, color: str, seen: str) -> Cause:
        """Why a head does not show the color that its driver gives it."""
        wiring, subject = self._plan.wiring, Subject("head", head.name)
        for pair in wiring.swapped_heads:
            if head.name in pair:
                other = pair[0] if head.name == pair[1] else pair[1]
                return cause(CauseKind.HEADS_SWAPPED, subject, head.span, other=other)
        if wiring.drivers and wiring.driver_of(head.name) is None:
            return cause(CauseKind.HEAD_UNDRIVEN, subject, head.span)
        signal = self._plan.signals[signal_of(head.name, self._plan.signals)]
        here = signal.lit is not None and not self._wires.vacant(signal.lit.what.name)
        if here and not self._wires.lit_up(head.name):
            return cause(CauseKind.NO_TRAIN_BEFORE, subject, head.span)
        if head.make == "semaphore":
            return cause(CauseKind.ARM_FELL, subject, head.span)
        if self._wires.is_broken(FaultKind.HEAD, head.name):
            return cause(CauseKind.HEAD_BROKEN, subject, head.span)
        if head.in_common and self._wires.is_broken(FaultKind.LAMP_COMMON, *head.in_common):
            return cause(CauseKind.COMMON_BROKEN, subject, head.span)
        if flashes(color) and (stopped := self._wires.stopped_flasher(head.name)):
            return cause(CauseKind.FLASHER_STOPPED, subject, head.span, state=stopped)
        if seen != "dark":
            return cause(CauseKind.LED_OUT, subject, head.span, state=seen, other=color)
        return cause(CauseKind.LAMP_OUT, subject, head.span, state=color)

    def signal(self, signal: Signal, depth: int) -> Cause:
        """What a signal is driven to show."""
        wanted = [signal.aspect, *(head.color for head in signal.heads)]
        states = self._states(*wanted)
        colors = [states[head.color] for head in signal.heads]

        def shows(span: Span, because: Iterable[Cause] = ()) -> Cause:
            aspect = states[signal.aspect]
            return _signal(CauseKind.SHOWS, signal, span, because, aspect, colors)

        if (signal.name, "") in self._told or depth >= MAX_DEPTH:
            self._refer_to(signal.name, "")
            return shows(signal.span)
        self._told.add((signal.name, ""))
        if signal.by_head and len(signal.heads) > 1:
            return shows(signal.span, (self._head(head, depth) for head in signal.heads))
        # Of a lone head there is nothing to add in between.
        owner, lines = signal.rules[0]
        line = self._acting(owner, lines)
        ruled = self._ruled(signal, line)
        instead = [
            reason
            for head in signal.heads
            if (reason := self._instead(head, signal, ruled)) is not None
        ]
        # All heads may do so for one and the same reason.
        instead = list(dict.fromkeys(instead))
        if not instead:
            return shows(line.span, self._why_line(line, lines, owner, depth))
        return shows(signal.span, instead)

    def _head(self, head: Head, depth: int) -> Cause:
        line = self._acting(head.name, head.lines)
        signal = self._plan.signals[signal_of(head.name, self._plan.signals)]
        ruled = {h.name: self._acting(h.name, h.lines).shows for h in signal.heads}
        instead = self._instead(head, signal, ruled)
        subject, kind = Subject("head", head.name), CauseKind.HEAD_SHOWS
        if instead is not None:
            (state,) = self._states(head.color).values()
            return cause(kind, subject, head.span, (instead,), state=state)
        because = tuple(self._why_line(line, head.lines, head.name, depth))
        return cause(kind, subject, line.span, because, state=line.shows)

    def _ruled(self, signal: Signal, line: Line) -> dict[str, str]:
        """The colors that the acting line gives the heads of a signal."""
        if signal.by_head:
            return {signal.heads[0].name: line.shows}
        colors = signal.colors(line.shows, self._plan.chart)
        return {head.name: color for head, color in zip(signal.heads, colors, strict=True)}

    def _instead(self, head: Head, signal: Signal, ruled: dict[str, str]) -> Cause | None:
        """Why the driver of a head does not do what the rules say; None where it does."""
        driver = self._plan.wiring.driver_of(head.name)
        if driver is None:
            return None
        subject = Subject("driver", driver.name)
        off = self._circuit.unpowered(driver.name, driver.supply, driver.span)
        if off is not None:
            return cause(CauseKind.DRIVER_UNPOWERED, subject, driver.span, (off,))
        if driver.when_out is not None:
            out = [
                self._unlit(other, ruled[other.name], "dark")
                for other in signal.heads
                if other.name in driver.heads
                and self._wires.fails_to_light(other.name, driver, ruled)
            ]
            if out:
                kind, state = CauseKind.SHOWN_WHEN_OUT, driver.when_out
                return cause(kind, subject, driver.span, tuple(out), state=state)
        if driver.when_missing is not None:
            asked = dict.fromkeys(asked_by(self._plan, head.name))
            found = (self._circuit.dead_input(driver.name, what) for what in asked)
            dead = tuple(dict.fromkeys(filter(None, found)))
            if dead:
                kind, state = CauseKind.SHOWN_WHEN_MISSING, driver.when_missing
                return cause(kind, subject, driver.span, dead, state=state)
        return None

    def _acting(self, owner: str, lines: tuple[Line, ...]) -> Line:
        found = {line.index: observables.line(owner, line.index) for line in lines}
        states = self._states(*found.values())
        return next(line for line in lines if states[found[line.index]] == "acts")

    # -------------------------------------------------------------- rules

    def _reader_of(self, owner: str) -> str:
        """The driver that reads the rules of a signal or head."""
        signal = self._plan.signals.get(owner)
        head = owner if signal is None else signal.heads[0].name
        driver = self._plan.wiring.driver_of(head)
        return driver.name if driver else ""

    def _why_line(
        self, line: Line, lines: tuple[Line, ...], owner: str, depth: int
    ) -> Iterator[Cause]:
        reader = self._reader_of(owner)
        if line.when is not None:
            yield from self._why(line.when, reader, depth)
            return
        for earlier in lines[: line.index]:
            assert earlier.when is not None
            reasons = tuple(self._why(earlier.when, reader, depth))
            if reasons or self._relevant is None:
                kind, subject = CauseKind.LINE_NOT_SHOWN, Subject("line", owner)
                yield cause(kind, subject, earlier.span, reasons, state=earlier.shows)

    def why(self, condition: Condition) -> Iterator[Cause]:
        return self._why(condition, "", 0)

    def _why(self, condition: Condition, reader: str, depth: int) -> Iterator[Cause]:
        """The facts that make a condition true, or false: as few as show it."""
        match condition:
            case Fact():
                found, matters = self._fact(condition, reader, depth)
                if matters:
                    yield found
            case Not(part=part):
                yield from self._why(part, reader, depth)
            case All(parts=parts) | AnyOne(parts=parts):
                deciding = self._true(condition, reader) != isinstance(condition, All)
                if deciding:
                    wanted = isinstance(condition, AnyOne)
                    part = next(p for p in parts if self._true(p, reader) == wanted)
                    yield from self._why(part, reader, depth)
                else:
                    for part in parts:
                        yield from self._why(part, reader, depth)

    def _true(self, condition: Condition, reader: str) -> bool:
        """Whether a condition holds, as a driver hears what it asks for."""

        def look(says: Fact) -> bool:
            what = at_reader(says.what, reader)
            return self._states(what)[what] in says.values

        return is_true(condition, look, self._named.setdefault(reader, {}), self._plan)

    def _refer_to(self, name: str, reader: str) -> None:
        if (name, reader) in self._told:
            self._referred.add((name, reader))

    def _chained(self, key: tuple[str, str], found: Cause) -> bool:
        """Whether what has a chain of its own comes, at its end, from something that
        matters."""
        if self._relevant is None:
            return True
        if not found.because and key not in self._referred:
            self._left_out.add(key)
        return key not in self._left_out

    def _in_relevant(self, *sources: tuple[str, str]) -> bool:
        return self._relevant is None or not self._relevant.isdisjoint(sources)

    def _fact(self, says: Fact, reader: str, depth: int) -> tuple[Cause, bool]:
        """A fact with what is behind it, and whether it matters."""
        what, name = says.what, says.what.name
        recalled = self._recall(what) if self._recall is not None else None
        if recalled is not None:
            return replace(recalled, span=recalled.span or says.span), True
        match what.kind:
            case "block report":
                report = self._circuit.block(name, reader)
                return self._report(report, says, ("stock", name), ("standing", name))
            case "points report":
                report = self._circuit.points(name, reader)
                machine = self._plan.wiring.machines.get(name)
                lever = ("lever", machine.lever or "") if machine else ("", "")
                return self._report(
                    report, says, ("points", name), ("thrown", name), ("motion", name), lever
                )
            case "derail report" if name in self._plan.wiring.machines:
                report = self._circuit.derail(name, reader)
                return self._report(report, says, ("derail", name), ("thrown", name))
            case "gate report" if name in self._plan.wiring.machines:
                gate = observables.gate(name)
                report = self._circuit.gate(name, reader, self._states(gate)[gate])
                return self._report(report, says, ("gate", name), ("thrown", name))
            case "condition":
                inner = self._plan.conditions[name]
                holds = self._true(says, reader) == ("true" in says.values)
                kind = CauseKind.HOLDS if holds else CauseKind.DOES_NOT_HOLD
                found = cause(kind, Subject("condition", name), inner.span)
                if (name, reader) in self._told or depth >= MAX_DEPTH:
                    self._refer_to(name, reader)
                else:
                    self._told.add((name, reader))
                    reasons = tuple(self._why(inner.condition, reader, depth + 1))
                    found = replace(found, because=reasons)
                return found, self._chained((name, reader), found)
            case "aspect" | "color":
                owner = signal_of(name, self._plan.signals)
                found = self.signal(self._plan.signals[owner], depth + 1)
                return found, self._chained((owner, ""), found)
            case _:
                return self._simple(says)

    def _report(self, report: Cause, says: Fact, *sources: tuple[str, str]) -> tuple[Cause, bool]:
        """A report that is not true matters, whatever it comes from."""
        matters = report.kind is CauseKind.REPORTS_FALSELY or self._in_relevant(*sources)
        return replace(report, span=says.span), matters

    def _simple(self, says: Fact) -> tuple[Cause, bool]:
        """A fact that nothing is behind."""
        what = says.what
        state = self._states(what)[what]
        if what.kind == "derail report":
            lies = "open, between its ends" if state == "moving" else state
            kind, subject = CauseKind.REPORTS, Subject("derail", what.name)
            found = cause(kind, subject, says.span, state=state, truth=f"it lies {lies}")
        else:
            subject = Subject(what.kind, what.name)
            found = cause(CauseKind.STATE, subject, says.span, state=state)
        source = _SOURCES.get(what.kind, what.kind)
        return found, self._in_relevant((source, what.name))


# What a report that is always true comes from.
_SOURCES: Mapping[observables.Kind, observables.Kind] = {
    "derail report": "derail",
    "gate report": "gate",
}


def _signal(
    kind: CauseKind,
    signal: Signal,
    span: Span | None,
    because: Iterable[Cause],
    aspect: str,
    colors: Iterable[str],
) -> Cause:
    subject, said = Subject("signal", signal.name), " over ".join(colors)
    return cause(kind, subject, span, tuple(because), state=aspect, colors=said)
