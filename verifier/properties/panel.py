"""Indicators and bells of the panel: that they never say what is not so.

``clearproof explain NAME`` prints the docstring.
"""

from collections.abc import Iterator

from verifier.logic.expr import Expr, atom, conjunction, negation
from verifier.plan.model import Plan
from verifier.plan.panel import Indicator, Side, truly
from verifier.plan.signals.heads import signal_of
from verifier.properties.obligation import Obligation
from verifier.world.rules import Reader, lower


def indicator_misleads(plan: Plan) -> Iterator[Obligation]:
    """No indicator or bell of the panel lets people rely on what is not so.

    People rely on an indicator that says that a block is clear, how points lie, that a gate is
    seated, or that a signal is at stop. One that is `lit when Main occupied` says that Main is
    clear while it is dark: it must not be dark with a train on Main, be it that its wire is broken
    or its lamp burned out. One that is `lit when Main clear` must not be lit then. Where both
    are there, people go by the second. What breaks is asked about in the failure table.
    """
    for indicator in plan.indicators.values():
        if indicator.relied is not None:
            yield _misleads(indicator, indicator.relied, plan)


def _misleads(indicator: Indicator, relied: Side, plan: Plan) -> Obligation:
    said = indicator.when.span.one_line
    so = "not true" if relied == "on" else "true"
    names = tuple(dict.fromkeys(_names(indicator, plan)))
    return Obligation(
        "indicator-misleads",
        (indicator.name,),
        _formula(indicator, relied, plan),
        f"{indicator.name} {indicator.word(relied)}, and `{said}` is {so}",
        (indicator.span,),
        tuple(name for name in names if name in plan.signals),
        pieces=tuple(
            piece.name
            for piece in plan.track.pieces.values()
            if piece.name in names or piece.block in names
        ),
        place=indicator.name,
    )


def _formula(indicator: Indicator, relied: Side, plan: Plan) -> Expr:
    true = truly(indicator.when, lambda name: plan.conditions[name].condition)
    so = lower(true, Reader("", {}))
    return conjunction(atom(indicator.what, relied), negation(so) if relied == "on" else so)


def _names(indicator: Indicator, plan: Plan) -> Iterator[str]:
    """What it is about; of heads, their signals."""
    for fact in plan.facts_repeated(indicator.name):
        yield signal_of(fact.what.name, plan.signals)
