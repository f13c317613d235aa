"""Rules with one condition dropped: what happens when a person forgets it.

In: a checked plan. Out: plans, each with one fact left out of one line of a rule.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from verifier.plan.model import Line, Plan
from verifier.plan.observables import All, AnyOne, Condition, Fact, Not


@dataclass(frozen=True, slots=True)
class Mutant:
    """``said``: what was dropped, and from where, for a person."""

    said: str
    plan: Plan


def mutants(plan: Plan) -> Iterator[Mutant]:
    """Every fact of every line of every signal and head, dropped one by one."""
    for signal in plan.signals.values():
        for line in signal.lines:
            for dropped, changed in _dropping(line):
                lines = tuple(changed if old is line else old for old in signal.lines)
                yield _with(plan, signal.name, line, dropped, lines=lines)
        for head in signal.heads:
            for line in head.lines:
                for dropped, changed in _dropping(line):
                    lines = tuple(changed if old is line else old for old in head.lines)
                    heads = tuple(replace(h, lines=lines) if h is head else h for h in signal.heads)
                    yield _with(plan, signal.name, line, dropped, heads=heads)


def _with(plan: Plan, name: str, line: Line, dropped: Fact, **changes: object) -> Mutant:
    signal = replace(plan.signals[name], **changes)  # type: ignore[arg-type]
    said = f"line {line.span.line}: {name} {line.shows} without `{dropped.text}`"
    return Mutant(said, replace(plan, signals={**plan.signals, name: signal}))


def _dropping(line: Line) -> Iterator[tuple[Fact, Line]]:
    if line.when is not None:
        for dropped, when in without_one(line.when):
            yield dropped, replace(line, when=when)


def without_one(condition: Condition) -> Iterator[tuple[Fact, Condition]]:
    """The condition with one fact left out. The only fact of a line stays: without it the
    line would have no condition at all, which nobody writes."""
    match condition:
        case Fact():
            return
        case Not(part=part, span=span):
            for dropped, left in without_one(part):
                yield dropped, Not(left, span)
        case All(parts=parts, span=span) | AnyOne(parts=parts, span=span):
            group = type(condition)
            for i, part in enumerate(parts):
                before, after = parts[:i], parts[i + 1 :]
                rest = before + after
                inner = part.part if isinstance(part, Not) else part
                if isinstance(inner, Fact) and rest:
                    yield inner, rest[0] if len(rest) == 1 else group(rest, span)
                for dropped, left in without_one(part):
                    yield dropped, group((*before, left, *after), span)
