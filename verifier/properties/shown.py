"""Aspects: what colors may mean, and that whatever is shown has a meaning.

``clearproof explain NAME`` prints the docstring of each property."""

from collections.abc import Iterator
from itertools import combinations

from verifier.logic.expr import FALSE, atom, constant
from verifier.plan.model import Plan
from verifier.plan.observables import UNLISTED
from verifier.plan.signals.aspects import Aspect
from verifier.plan.signals.colors import steady
from verifier.properties.obligation import Obligation


def aspect_not_listed(plan: Plan) -> Iterator[Obligation]:
    """The heads of a signal never show a combination of colors that no aspect lists.

    An engineer reads such a combination as the most restrictive aspect of the signal, but it is
    an error in the rules.
    """
    for signal in plan.signals.values():
        yield Obligation(
            "aspect-not-listed",
            (signal.name,),
            atom(signal.aspect, UNLISTED) if UNLISTED in signal.aspect.values else FALSE,
            f"{signal.name} shows colors that no aspect lists",
            (signal.span, *(head.span for head in signal.heads if head.lines)),
            (signal.name,),
            (),
            (signal.enters.piece,),
        )


def aspect_ambiguous(plan: Plan) -> Iterator[Obligation]:
    """Each combination of colors has one name, each indication has one name, and colors keep
    their fundamental meaning.

    A lone red means stop, and a lone green means proceed. A lone yellow or lunar means that speed
    is restricted and a stop may be required. A single white light is never used. A red that
    flashes, or has a plate, may also mean restricted speed (236.23(a); common practice, from
    memory).
    """
    aspects = sorted(plan.chart.aspects, key=lambda a: (a.span.source.name, a.span.start))
    for one, two in combinations(aspects, 2):
        shared = [" over ".join(c) for c in one.combinations if c in two.combinations]
        shared += [f"{' over '.join(c)} with {plate}" for plate, c in one.plated
                   if (plate, c) in two.plated]  # fmt: skip
        trouble = ""
        if shared:
            trouble = f"{shared[0]} is listed both as {one.name} and as {two.name}"
        elif one.indication == two.indication:
            trouble = (
                f"{one.name} and {two.name} are two names for one indication, "
                f"`{one.indication.text}`"
            )
        if trouble:
            yield _chart_obligation((one, two), trouble)
    for aspect in aspects:
        shown = [*((None, colors) for colors in aspect.combinations), *aspect.plated]
        told = (_against_fundamentals(colors, plate, aspect) for plate, colors in shown)
        trouble = next(filter(None, told), "")
        yield _chart_obligation((aspect,), trouble)


def _chart_obligation(about: tuple[Aspect, ...], trouble: str) -> Obligation:
    return Obligation(
        "aspect-ambiguous",
        tuple(a.name for a in about),
        constant(bool(trouble)),
        trouble or f"{about[0].name} is ambiguous",
        tuple(a.span for a in about if not a.built_in),
    )


def _against_fundamentals(colors: tuple[str, ...], plate: str | None, aspect: Aspect) -> str:
    if len(colors) != 1:
        return ""
    color = steady(colors[0])
    qualified = plate is not None or color != colors[0]
    if color == "white":
        return f"{aspect.name} is a single white light, which is never used"
    if color == "red" and (aspect.proceeds if qualified else aspect.clears):
        return f"{aspect.name} is a lone red, yet it lets a train proceed"
    if color == "green" and not aspect.proceeds:
        return f"{aspect.name} is a lone green, yet it does not let a train proceed"
    if color in ("yellow", "lunar") and aspect.indication.text == "proceed":
        return f"{aspect.name} is a lone {color}, yet it restricts nothing"
    return ""
