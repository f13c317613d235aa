"""Lenses: the colours a signal shows, and the aspect an engineer takes them for."""

from itertools import product

from verifier.logic.expr import Atom, Expr, atom, both, either
from verifier.plan.aspects import Chart, Combination
from verifier.plan.model import Line, Signal
from verifier.world.rules import Named, first_line


def shown_by(line: Line, signal: Signal, chart: Chart) -> Combination:
    """The colours of a signal while one of its aspect lines acts."""
    aspect = chart.get(line.shows)
    colours = aspect.for_heads(len(signal.heads)) if aspect else None
    assert colours is not None, "checked when the plan was built"
    return colours


def colour_meaning(colour: Atom, signal: Signal, head: int, chart: Chart, named: Named) -> Expr:
    """That one head shows one of these colours."""
    if signal.by_head:
        lines = signal.heads[head].lines
        return first_line(lines, lambda line: line.shows in colour.values, named)
    return first_line(
        signal.lines, lambda line: shown_by(line, signal, chart)[head] in colour.values, named
    )


def aspect_meaning(aspect: Atom, signal: Signal, chart: Chart, named: Named) -> Expr:
    """That a signal is read as one of these aspects."""
    if not signal.by_head:
        return first_line(
            signal.lines,
            lambda line: chart.reading(shown_by(line, signal, chart)) in aspect.values,
            named,
        )
    shown = [tuple(dict.fromkeys(line.shows for line in head.lines)) for head in signal.heads]
    return either(
        *(
            both(*(atom(head.colour, c) for head, c in zip(signal.heads, colours, strict=True)))
            for colours in product(*shown)
            if chart.reading(colours) in aspect.values
        )
    )
