"""Statements of memory, time and locking as text: from the syntax tree to clauses."""

from verifier.language.format.print_conditions import condition
from verifier.language.format.print_wiring import clauses_below, length
from verifier.language.format.segments import Clause, Segment, clause, list_segments, listed, whole
from verifier.language.syntax import tree as s


def locking(statement: s.Statement) -> tuple[Clause, ...]:
    """The clauses of one statement about locking, in order; none of any other statement."""
    match statement:
        case s.Relay(name=name, clauses=below, span=span):
            head = clause([Segment(f"relay {name.text}", span.start, name.span.end)])
            return head, *clauses_below(below)
        case s.Timer(name=name, length=lasts, runs=runs, span=span):
            text = f"timer {name.text} {length(lasts)}"
            head = clause([Segment(text, span.start, lasts[-1].span.end)])
            segments = condition("runs while", runs)
            return head, clause(segments, indent=2, splits=1, joins=True)
        case s.Route():
            return (_route(statement),)
        case s.Traffic(name=name, blocks=blocks, clauses=below, span=span):
            segments = list_segments(f"traffic {name.text} on", blocks, span.start)
            return clause(segments), *clauses_below(below)
        case s.Running():
            return (_running(statement),)
        case _:
            return ()


def _route(route: s.Route) -> Clause:
    text = f"route {route.name.text} from {route.signal.text} to {route.to.text}"
    segments = [Segment(text, route.span.start, route.to.span.end)]
    for i, way in enumerate(route.via):
        comma = "," if i < len(route.via) - 1 else ""
        words = f"{'' if i else 'via '}{way.points.text} {way.position.text}{comma}"
        start = way.span.start if i else segments[0].end
        segments.append(Segment(words, start, way.span.end))
    return clause(segments)


def _running(running: s.Running) -> Clause:
    match running.kind:
        case "need to stop":
            return whole(f"trains need {length(running.length)} to stop", running.span)
        case "reverse on" | "start on":
            return listed(f"trains {running.kind}", running.blocks, running.span)
        case kind:
            return whole(f"trains {kind}", running.span)
