"""Why a signal shows what it shows: the chain back to rule lines, reports and truth.

In: a plan, a situation, the names of signals. Out: a chain of causes for each. From a report
on down it is told by :mod:`verifier.explain.wiring_causes`.
"""

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import replace

from verifier.explain.wiring_causes import Circuit, Told
from verifier.plan import observables
from verifier.plan.model import Head, Line, Plan, Signal
from verifier.plan.observables import All, AnyOne, Condition, Not, Observable, Says, heard
from verifier.plan.signals.heads import signal_of
from verifier.plan.situation import Situation
from verifier.plan.wiring.faults import FaultKind
from verifier.reference.condition_eval import is_true
from verifier.reference.equipment import Wires, asked_by
from verifier.reference.evaluator import Evaluator
from verifier.verdicts.report import Cause

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
    signals: tuple[str, ...],
    relevant: Collection[Observable] | None = None,
    recall: Recall | None = None,
) -> tuple[Cause, ...]:
    """One chain for each of the signals named. What a signal or a named condition comes from
    is told once in a chain.

    ``relevant``: the inputs that matter. What comes from others alone is left out: the rule
    that acts may read it, but the trouble would be the same without. None: all matter."""
    return tuple(
        _Teller(plan, evaluator, situation, relevant, recall).seen(plan.signals[name])
        for name in signals
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
        # Named without a chain of its own, since that is told elsewhere.
        self._referred: set[_Key] = set()
        self._plan = plan
        self._evaluator = evaluator
        self._situation = situation
        self._told: set[_Key] = set()
        self._wires = Wires(plan, situation)
        self._circuit = Circuit(plan, self._wires)
        self._named: dict[str, dict[str, bool]] = {}

    def _states(self, *wanted: Observable) -> Mapping[Observable, str]:
        return self._evaluator.states(self._situation, wanted)

    # -------------------------------------------------------------- signals

    def seen(self, signal: Signal) -> Cause:
        """What an engineer sees. Where that is not what the signal is told to show, why."""
        heads = signal.heads
        wanted = [signal.reading, *(head.lens for head in heads), *(head.color for head in heads)]
        states = self._states(*wanted)
        if all(states[head.lens] == states[head.color] for head in heads):
            return self.signal(signal, 0)
        lenses = " over ".join(states[head.lens] for head in heads)
        reasons = [
            self._unlit(head, states[head.color])
            for head in heads
            if states[head.lens] != states[head.color]
        ]
        lit = [states[head.lens] for head in heads if states[head.lens] != "dark"]
        reading = states[signal.reading]
        if lit and len(lit) < len(heads) and reading != observables.UNLISTED:
            reasons.append(Cause(f"what is lit looks like {reading} ({' over '.join(lit)})", None))
        told = self.signal(signal, 0)
        text = f"{signal.name} looks like {reading} ({lenses})"
        if reading == observables.UNLISTED:
            text = f"{signal.name} shows {reading} ({lenses})"
        told = replace(told, text=told.text.replace(" shows ", " is told to show ", 1))
        return Cause(text, signal.span, (*reasons, told))

    def _unlit(self, head: Head, told: str) -> Cause:
        """Why a head does not show the color it is told."""
        wiring = self._plan.wiring
        for pair in wiring.swapped_heads:
            if head.name in pair:
                other = pair[0] if head.name == pair[1] else pair[1]
                return Cause(f"the wires of {head.name} and {other} are swapped", head.span)
        if wiring.drivers and wiring.driver_of(head.name) is None:
            return Cause(f"{head.name} is dark: no driver lights it", head.span)
        if self._wires.is_broken(FaultKind.HEAD, head.name):
            return Cause(f"{head.name} is dark: nothing of it lights", head.span)
        return Cause(f"{head.name} is dark: its {told} lamp is out", head.span)

    def signal(self, signal: Signal, depth: int) -> Cause:
        """What a signal is told to show."""
        wanted = [signal.aspect, *(head.color for head in signal.heads)]
        states = self._states(*wanted)
        colors = " over ".join(states[head.color] for head in signal.heads)
        text = f"{signal.name} shows {states[signal.aspect]} ({colors})"
        if (signal.name, "") in self._told or depth >= MAX_DEPTH:
            self._refer_to(signal.name, "")
            return Cause(text, signal.span)
        self._told.add((signal.name, ""))
        if signal.by_head and len(signal.heads) > 1:
            return Cause(text, signal.span, tuple(self._head(head, depth) for head in signal.heads))
        # A lone head goes by its signal's name, so there is nothing to add in between.
        lines = signal.lines or signal.heads[0].lines
        line = self._acting(signal.name, lines)
        ruled = self._ruled(signal, line)
        instead = [
            reason
            for head in signal.heads
            if (reason := self._instead(head, signal, ruled)) is not None
        ]
        # All heads may do so for one and the same reason.
        instead = list(dict.fromkeys(instead))
        if not instead:
            return Cause(text, line.span, tuple(self._why_line(line, lines, signal.name, depth)))
        return Cause(text, signal.span, tuple(instead))

    def _head(self, head: Head, depth: int) -> Cause:
        line = self._acting(head.name, head.lines)
        signal = self._plan.signals[signal_of(head.name, self._plan.signals)]
        ruled = {h.name: self._acting(h.name, h.lines).shows for h in signal.heads}
        instead = self._instead(head, signal, ruled)
        if instead is not None:
            (state,) = self._states(head.color).values()
            return Cause(f"{head.name} is {state}", head.span, (instead,))
        return Cause(
            f"{head.name} is {line.shows}",
            line.span,
            tuple(self._why_line(line, head.lines, head.name, depth)),
        )

    def _ruled(self, signal: Signal, line: Line) -> dict[str, str]:
        """The colors that the acting line gives the heads of a signal."""
        if signal.by_head:
            return {signal.heads[0].name: line.shows}
        aspect = self._plan.chart.get(line.shows)
        colors = aspect.for_heads(len(signal.heads)) if aspect else None
        assert colors is not None, "checked when the plan was built"
        return {head.name: color for head, color in zip(signal.heads, colors, strict=True)}

    def _instead(self, head: Head, signal: Signal, ruled: dict[str, str]) -> Cause | None:
        """Why the driver of a head does not do what the rules say; None where it does."""
        driver = self._plan.wiring.driver_of(head.name)
        if driver is None:
            return None
        off = self._circuit.unpowered(driver.name, driver.supply, driver.span)
        if off is not None:
            return Cause(f"{driver.name} has no power, so that its heads are dark", driver.span,
                         (off,))  # fmt: skip
        if driver.when_out is not None:
            out = [
                self._unlit(other, ruled[other.name])
                for other in signal.heads
                if other.name in driver.heads
                and self._wires.fails_to_light(other.name, driver, ruled)
            ]
            if out:
                text = f"{driver.name} shows {driver.when_out} when a lamp is out"
                return Cause(text, driver.span, tuple(out))
        if driver.when_missing is not None:
            asked = dict.fromkeys(asked_by(self._plan, head.name))
            found = (self._circuit.dead_input(driver.name, what) for what in asked)
            dead = list(dict.fromkeys(cause for cause in found if cause is not None))
            if dead:
                text = f"{driver.name} shows {driver.when_missing} while an input is missing"
                return Cause(text, driver.span, tuple(dead))
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
                yield Cause(f"{earlier.shows} is not shown", earlier.span, reasons)

    def why(self, condition: Condition) -> Iterator[Cause]:
        return self._why(condition, "", 0)

    def _why(self, condition: Condition, reader: str, depth: int) -> Iterator[Cause]:
        """The facts that make a condition true, or false: as few as show it."""
        match condition:
            case Says():
                cause, matters = self._fact(condition, reader, depth)
                if matters:
                    yield cause
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

        def look(says: Says) -> bool:
            what = heard(says.what, reader)
            return self._states(what)[what] in says.values

        return is_true(condition, look, self._named.setdefault(reader, {}), self._plan)

    def _refer_to(self, name: str, reader: str) -> None:
        if (name, reader) in self._told:
            self._referred.add((name, reader))

    def _chained(self, key: tuple[str, str], cause: Cause) -> bool:
        """Whether what has a chain of its own comes, at its end, from something that
        matters."""
        if self._relevant is None:
            return True
        if not cause.because and key not in self._referred:
            self._left_out.add(key)
        return key not in self._left_out

    def _in_relevant(self, *sources: tuple[str, str]) -> bool:
        return self._relevant is None or not self._relevant.isdisjoint(sources)

    def _fact(self, says: Says, reader: str, depth: int) -> tuple[Cause, bool]:
        """A fact with what is behind it, and whether it matters."""
        what, name = says.what, says.what.name
        recalled = self._recall(what) if self._recall is not None else None
        if recalled is not None:
            return replace(recalled, span=recalled.span or says.span), True
        match what.kind:
            case "block report":
                told = self._circuit.block(name, reader)
                return self._report(told, says, ("stock", name), ("standing", name))
            case "points report":
                told = self._circuit.points(name, reader)
                machine = self._plan.wiring.machines.get(name)
                lever = ("lever", machine.lever or "") if machine else ("", "")
                return self._report(
                    told, says, ("points", name), ("thrown", name), ("motion", name), lever
                )
            case "condition":
                inner = self._plan.conditions[name]
                holds = self._true(says, reader) == ("true" in says.values)
                text = f"{name} {'holds' if holds else 'does not hold'}"
                cause = Cause(text, inner.span)
                if (name, reader) in self._told or depth >= MAX_DEPTH:
                    self._refer_to(name, reader)
                else:
                    self._told.add((name, reader))
                    reasons = tuple(self._why(inner.condition, reader, depth + 1))
                    cause = Cause(text, inner.span, reasons)
                return cause, self._chained((name, reader), cause)
            case "aspect" | "color":
                owner = signal_of(name, self._plan.signals)
                cause = self.signal(self._plan.signals[owner], depth + 1)
                return cause, self._chained((owner, ""), cause)
            case _:
                return self._simple(says)

    def _report(self, told: Told, says: Says, *sources: tuple[str, str]) -> tuple[Cause, bool]:
        """A report that is not true matters, whatever it comes from."""
        matters = not told.true or self._in_relevant(*sources)
        return Cause(told.text, says.span, told.because), matters

    def _simple(self, says: Says) -> tuple[Cause, bool]:
        """A fact that nothing is behind."""
        what = says.what
        state = self._states(what)[what]
        match what.kind:
            case "derail report":
                lies = "open, between its ends" if state == "moving" else state
                text, source = f"{what.name} reports {state} (it lies {lies})", "derail"
            case "gate report":
                text, source = f"{what.name} reports {state}", "gate"
            case "lever":
                text, source = f"lever {what.name} stands {state}", "lever"
            case "button":
                text, source = f"button {what.name} is {state}", "button"
            case "relay" | "timer" | "traffic":
                text, source = f"{what.kind} {what.name} is {state}", what.kind
            case _:
                text, source = f"{what.name} is {state}", what.kind
        return Cause(text, says.span), self._in_relevant((source, what.name))
