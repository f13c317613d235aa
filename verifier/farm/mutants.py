"""Rules with one condition dropped: what happens when a person forgets it.

In: a checked plan. Out: plans, each with one fact left out of one line of a rule, wherever that
line stands.
"""

from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass, replace

from verifier.plan.model import Line, Plan, Signal
from verifier.plan.observables import All, AnyOne, Condition, Fact, Not


@dataclass(frozen=True, slots=True)
class Mutant:
    """``said``: what was dropped, and from where, for a person."""

    said: str
    plan: Plan


def mutants(plan: Plan) -> Iterator[Mutant]:
    """Every fact of every line of every signal and head, dropped one by one, as one edit of the
    text does: where a line stands for several heads or in every use of a module, from all of
    these at once."""
    copies: dict[Hashable, list[list[_Dropped]]] = {}
    for written in _lines(plan):
        ways = list(_dropping(written))
        spans = (written.line.span, *(fact.span for _, fact, _ in ways))
        place = written.line.span.source.name, tuple((span.start, span.end) for span in spans)
        copies.setdefault(place, []).append(ways)
    for alike in copies.values():
        for changes in zip(*alike, strict=True):
            yield _with(plan, changes)


@dataclass(frozen=True, slots=True)
class _Written:
    """A line of a signal, or of its head of this number."""

    signal: str
    head: int | None
    line: Line


# A line, the fact that is dropped from it, and what is left of it.
_Dropped = tuple[_Written, Fact, Line]


def _lines(plan: Plan) -> Iterator[_Written]:
    for signal in plan.signals.values():
        yield from (_Written(signal.name, None, line) for line in signal.lines)
        for number, head in enumerate(signal.heads):
            yield from (_Written(signal.name, number, line) for line in head.lines)


def _dropping(written: _Written) -> Iterator[_Dropped]:
    line = written.line
    if line.when is not None:
        for dropped, when in without_one(line.when):
            yield written, dropped, replace(line, when=when)


def _with(plan: Plan, changes: Sequence[_Dropped]) -> Mutant:
    """The plan with a fact left out of all copies of a line."""
    signals = dict(plan.signals)
    said: dict[str, list[str]] = {}
    for written, _, line in changes:
        signals[written.signal] = _changed(signals[written.signal], written, line)
        said.setdefault(written.signal, []).append(line.shows)
    shown = ", ".join(f"{name} {' over '.join(shows)}" for name, shows in said.items())
    dropped = ", ".join(dict.fromkeys(f"`{fact.text}`" for _, fact, _ in changes))
    number = changes[0][0].line.span.line
    return Mutant(f"line {number}: {shown} without {dropped}", replace(plan, signals=signals))


def _changed(signal: Signal, written: _Written, line: Line) -> Signal:
    def changed(lines: Sequence[Line]) -> tuple[Line, ...]:
        return tuple(line if old is written.line else old for old in lines)

    if written.head is None:
        return replace(signal, lines=changed(signal.lines))
    heads = (
        replace(head, lines=changed(head.lines)) if number == written.head else head
        for number, head in enumerate(signal.heads)
    )
    return replace(signal, heads=tuple(heads))


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
