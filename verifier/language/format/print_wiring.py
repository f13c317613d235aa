"""Wiring statements as text: from the syntax tree to clauses.

A clause of a statement has a line of its own, in the order written; those of supplies and
trains, and what a detector is on, stand in the first line.
"""

from collections.abc import Iterable, Iterator, Sequence

from verifier.language.format.print_conditions import condition
from verifier.language.format.segments import Clause, Segment, clause, list_segments, listed, whole
from verifier.language.source import Span
from verifier.language.syntax import tree as s


def wiring(statement: s.Statement) -> tuple[Clause, ...]:
    """The clauses of one wiring statement, in order."""
    match statement:
        case s.Supply():
            return (_supply(statement),)
        case s.District(name=name, supply=supply, run=run, span=span):
            text = f"district {name.text} fed by {supply.text}"
            segments = [Segment(text, span.start, supply.span.end)]
            return (clause([*segments, *_run(run)]),)
        case s.CommonReturn(supplies=supplies, span=span):
            return (listed("common return", supplies, span),)
        case s.Detector():
            return _detector(statement)
        case s.Driver(name=name, heads=heads, clauses=below, span=span):
            first = clause(list_segments(f"driver {name.text} drives", heads, span.start))
            return first, *clauses_below(below)
        case s.Trains():
            return (_trains(statement),)
        case s.Scale(name=name, ratio=ratio, span=span):
            text = name.text if name else ":".join(a.number for a in ratio or ())
            return (whole(f"scale {text}", span),)
        case s.StoppingDistance(length=distance, span=span):
            return (whole(f"stopping distance {length(distance)}", span),)
        case _:
            raise AssertionError(f"no such statement: {statement}")


def clauses_below(clauses: Iterable[s.Clause]) -> Iterator[Clause]:
    """Clauses that have a line each, below the first line of their statement."""
    return (_below(part) for part in clauses)


def _below(part: s.Clause) -> Clause:
    if part.condition is None:
        return clause(list(_segments(part)), indent=2)
    words = "electric lock released when" if part.kind == "electric lock" else part.kind
    first, *others = condition(words, part.condition)
    opening = Segment(first.text, part.span.start, first.end)
    return clause([opening, *others], indent=2, splits=1)


def feeders(groups: Iterable[s.Feeders]) -> Iterator[Clause]:
    """The feeders of a block, below it."""
    for group in groups:
        segments = list_segments("feeders", group.names, group.span.start)
        yield clause([*segments, *_run(group.run)], indent=2)


def length(amounts: s.Length) -> str:
    """``8 ft 6 in``."""
    return " ".join(f"{a.number} {a.unit}".rstrip() for a in amounts)


# ------------------------------------------------------------------ statements


def _supply(supply: s.Supply) -> Clause:
    word = "booster" if supply.booster else "supply"
    first = Segment(f"{word} {supply.name.text}", supply.span.start, supply.name.span.end)
    segments = [first, *(part for c in supply.clauses for part in _segments(c))]
    rest = " ".join(segment.text for segment in segments[1:])
    return Clause(tuple(segments), (first.text, rest), table="supply")


def _detector(detector: s.Detector) -> tuple[Clause, ...]:
    beside: list[s.Clause] = []
    for part in detector.clauses:
        if part.kind not in ("on", "at"):
            break
        beside.append(part)
    text = f"detector {detector.name.text} {detector.kind}"
    segments = [Segment(text, detector.span.start, detector.first.end)]
    segments += [segment for part in beside for segment in _segments(part)]
    return clause(segments), *clauses_below(detector.clauses[len(beside) :])


def _trains(trains: s.Trains) -> Clause:
    text = f"trains {length(trains.shortest)} to {length(trains.longest)}"
    segments = [Segment(text, trains.span.start, trains.longest[-1].span.end)]
    for part in trains.clauses:
        before = segments.pop()
        segments.append(Segment(f"{before.text},", before.start, before.end))
        segments += _segments(part)
    return clause(segments)


# ------------------------------------------------------------------ clauses

_DETECTABLE = {
    "throughout": "throughout",
    "locomotive": "at the locomotive only",
    "both": "at both ends",
}


def _segments(part: s.Clause) -> Iterator[Segment]:
    """One clause as segments; lists have one for each of their items."""
    span = part.span
    match part.kind:
        case "through" | "reads" | "thrown by" if part.names:
            yield from _named(part)
        case "at":
            yield from _list("at", [(length(a), _of(a)) for a in part.lengths], span)
        case "gap":
            legs = zip(part.words, part.lengths, strict=True)
            items = [(f"{leg.text} {length(a)}", leg.span.to(_of(a))) for leg, a in legs]
            yield from _list("gap", items, span)
        case "contacts" if part.words:
            word = "contacts" if len(part.words) > 1 else "contact"
            yield from _list(word, [(leg.text, leg.span) for leg in part.words], span)
        case "powered by":
            name = part.names[0]
            yield Segment(f"powered by {name.text}", span.start, name.span.end)
            yield from _run(part.run)
        case _:
            yield Segment(_text(part), span.start, span.end)


def _text(part: s.Clause) -> str:
    word = part.words[0].text if part.words else ""
    amount = length(part.lengths[0]) if part.lengths else ""
    match part.kind:
        case "contacts":
            return "no contacts"
        case "rating":
            return amount
        case "detectable":
            return f"detectable {_DETECTABLE[word]}"
        case "output":
            return f"output closed when {word}"
        case "without track power":
            return "without track power reads occupied"
        case "when input missing" | "when lamp out":
            return f"{part.kind} shows {word}"
        case "fed by" | "on":
            return f"{part.kind} {part.names[0].text}"
        case _:
            return " ".join(text for text in (part.kind, word, amount) if text)


def _named(part: s.Clause) -> Iterator[Segment]:
    items = [
        (f"{name.text} contacts" if name in part.contacts else name.text, name.span)
        for name in part.names
    ]
    return _list(part.kind, items, part.span)


def _list(word: str, items: Sequence[tuple[str, Span]], span: Span) -> Iterator[Segment]:
    for i, (text, place) in enumerate(items):
        start = place.start if i else span.start
        last = i == len(items) - 1
        end = span.end if last else place.end
        yield Segment(f"{'' if i else f'{word} '}{text}{'' if last else ','}", start, end)


def _run(run: s.Run | None) -> list[Segment]:
    if run is None:
        return []
    text = f"over {length(run.length)} of {length(run.gauge)}"
    return [Segment(text, run.span.start, run.span.end)]


def _of(amounts: s.Length) -> Span:
    return amounts[0].span.to(amounts[-1].span)
