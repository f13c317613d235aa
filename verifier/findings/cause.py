"""Why a signal shows what it shows: the chain back to rule lines, reports and truth."""

from collections.abc import Collection, Iterator, Mapping

from verifier.engines.evaluator import Evaluator
from verifier.findings.verdicts import Cause
from verifier.plan import facts
from verifier.plan.facts import All, AnyOne, Condition, Not, Observable, Says, says_in
from verifier.plan.model import Head, Line, Plan, Signal
from verifier.world.situation import Situation

MAX_DEPTH = 6


# The truth a report speaks of, by the kind of report.
_TRUTH = {
    "block report": "stock",
    "points report": "points",
    "derail report": "derail",
    "gate report": "gate",
}


def causes(
    plan: Plan,
    evaluator: Evaluator,
    situation: Situation,
    signals: tuple[str, ...],
    relevant: Collection[Observable] | None = None,
) -> tuple[Cause, ...]:
    """One chain for each of the signals named. What a signal or a named condition comes from
    is told once in a chain.

    ``relevant``: the inputs that matter. What comes from others alone is left out: the rule
    that acts may read it, but the trouble would be the same without. None: all matter."""
    return tuple(
        _Teller(plan, evaluator, situation, relevant).signal(plan.signals[name], 0)
        for name in signals
    )


class _Teller:
    def __init__(
        self,
        plan: Plan,
        evaluator: Evaluator,
        situation: Situation,
        relevant: Collection[Observable] | None,
    ):
        self._relevant = None if relevant is None else {(w.kind, w.name) for w in relevant}
        self._left_out: set[str] = set()
        # Named without a chain of its own, since that is told elsewhere.
        self._referred: set[str] = set()
        self._plan = plan
        self._evaluator = evaluator
        self._situation = situation
        self._told: set[str] = set()

    def _states(self, *wanted: Observable) -> Mapping[Observable, str]:
        return self._evaluator.states(self._situation, wanted)

    def signal(self, signal: Signal, depth: int) -> Cause:
        wanted = [signal.aspect, *(head.colour for head in signal.heads)]
        states = self._states(*wanted)
        colours = " over ".join(states[head.colour] for head in signal.heads)
        text = f"{signal.name} shows {states[signal.aspect]} ({colours})"
        if signal.name in self._told or depth >= MAX_DEPTH:
            self._refer_to(signal.name)
            return Cause(text, signal.span)
        self._told.add(signal.name)
        if signal.by_head and len(signal.heads) > 1:
            return Cause(text, signal.span, tuple(self._head(head, depth) for head in signal.heads))
        # A lone head goes by its signal's name, so there is nothing to add in between.
        lines = signal.lines or signal.heads[0].lines
        line = self._acting(signal.name, lines)
        return Cause(text, line.span, tuple(self._why_line(line, lines, depth)))

    def _head(self, head: Head, depth: int) -> Cause:
        line = self._acting(head.name, head.lines)
        return Cause(
            f"{head.name} is {line.shows}",
            line.span,
            tuple(self._why_line(line, head.lines, depth)),
        )

    def _acting(self, owner: str, lines: tuple[Line, ...]) -> Line:
        observables = {line.index: facts.line(owner, line.index) for line in lines}
        states = self._states(*observables.values())
        return next(line for line in lines if states[observables[line.index]] == "acts")

    def _why_line(self, line: Line, lines: tuple[Line, ...], depth: int) -> Iterator[Cause]:
        if line.when is not None:
            yield from self._why(line.when, depth)
            return
        for earlier in lines[: line.index]:
            assert earlier.when is not None
            reasons = tuple(self._why(earlier.when, depth))
            if reasons or self._relevant is None:
                yield Cause(f"{earlier.shows} is not shown", earlier.span, reasons)

    def _why(self, condition: Condition, depth: int) -> Iterator[Cause]:
        """The facts that make a condition true, or false: as few as show it."""
        match condition:
            case Says():
                cause = self._fact(condition, depth)
                if self._matters(condition.what, cause):
                    yield cause
            case Not(part=part):
                yield from self._why(part, depth)
            case All(parts=parts) | AnyOne(parts=parts):
                deciding = self._true(condition) != isinstance(condition, All)
                if deciding:
                    wanted = isinstance(condition, AnyOne)
                    part = next(p for p in parts if self._true(p) == wanted)
                    yield from self._why(part, depth)
                else:
                    for part in parts:
                        yield from self._why(part, depth)

    def _true(self, condition: Condition) -> bool:
        states = self._states(*dict.fromkeys(says.what for says in says_in(condition)))
        return _holds(condition, states)

    def _refer_to(self, name: str) -> None:
        if name in self._told:
            self._referred.add(name)

    def _matters(self, what: Observable, cause: Cause) -> bool:
        """Whether a fact comes, at the end of its chain, from something that matters."""
        if self._relevant is None:
            return True
        if what.kind not in ("condition", "aspect", "colour"):
            return (_TRUTH.get(what.kind, what.kind), what.name) in self._relevant
        name = what.name.split(".")[0]
        if not cause.because and name not in self._referred:
            self._left_out.add(name)
        return name not in self._left_out

    def _fact(self, says: Says, depth: int) -> Cause:
        what = says.what
        state = self._states(what)[what]
        match what.kind:
            case "block report":
                truth = "nothing stands there" if state == "clear" else "stock stands there"
                return Cause(f"{what.name} reports {state} ({truth})", says.span)
            case "points report" | "derail report":
                lies = "open, between its ends" if state == "moving" else state
                return Cause(f"{what.name} reports {state} (it lies {lies})", says.span)
            case "gate report":
                return Cause(f"{what.name} reports {state}", says.span)
            case "lever":
                return Cause(f"lever {what.name} stands {state}", says.span)
            case "button":
                return Cause(f"button {what.name} is {state}", says.span)
            case "condition":
                inner = self._plan.conditions[what.name]
                text = f"{what.name} {'holds' if state == 'true' else 'does not hold'}"
                if what.name in self._told or depth >= MAX_DEPTH:
                    self._refer_to(what.name)
                    return Cause(text, inner.span)
                self._told.add(what.name)
                return Cause(text, inner.span, tuple(self._why(inner.condition, depth + 1)))
            case "aspect":
                return self.signal(self._plan.signals[what.name], depth + 1)
            case "colour":
                name = what.name.split(".")[0]
                return self.signal(self._plan.signals[name], depth + 1)
            case _:
                return Cause(f"{what.name} is {state}", says.span)


def _holds(condition: Condition, states: Mapping[Observable, str]) -> bool:
    match condition:
        case Says(what=what, values=values):
            return states[what] in values
        case All(parts=parts):
            return all(_holds(part, states) for part in parts)
        case AnyOne(parts=parts):
            return any(_holds(part, states) for part in parts)
        case Not(part=part):
            return not _holds(part, states)
