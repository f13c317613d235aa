"""What the signals show in one situation, drawn and listed."""

from collections.abc import Iterator

from verifier.explain.signal_causes import causes
from verifier.explain.state_text import fact_words
from verifier.plan.model import Plan
from verifier.plan.situation import Situation
from verifier.reference.evaluator import Evaluator
from verifier.reference.standing import can_be
from verifier.reports.ink import Ink
from verifier.reports.lines import cause_lines, drawing, indented, paragraph
from verifier.reports.words import inputs_of


def shown_lines(plan: Plan, situation: Situation, ink: Ink, *, why: bool = False) -> Iterator[str]:
    """The situation in words, the drawing, and a line for each signal."""
    yield ink.paint(plan.title, "strong")
    said = [fact_words(plan, what, situation.state(what)) for what in inputs_of(plan)
            if what in situation.facts]  # fmt: skip
    words = f"{'; '.join(said)}; everything else as usual" if said else "everything as usual"
    yield f"   Situation: {words} (track vacant, points normal)."
    evaluator = Evaluator(plan)
    seen = evaluator.see(situation)
    for text in ruled_out(plan, evaluator, situation):
        yield from paragraph(text, ink)
    yield ""
    yield from indented(drawing(plan, seen, ink))
    yield ""
    wide = max(map(len, (*plan.signals, *plan.indicators)), default=0)
    for signal in plan.signals.values():
        aspect = seen.aspect(signal)
        listed = plan.chart.get(aspect)
        style = "unsure"
        if listed:
            style = "good" if listed.proceeds else "unsure" if listed.permits else "bad"
        meaning = f": {listed.indication.text}" if listed else ""
        colors = " over ".join(seen.colors(signal))
        shown = f"{ink.paint(aspect, style)} ({colors}){meaning}"
        if seen.unlit(signal):
            shown = f"dark (would show {ink.paint(aspect, style)}{meaning})"
        yield f"   {signal.name:<{wide}}  {shown}"
        if why:
            for cause in causes(plan, evaluator, situation, (signal.name,)):
                for inner in cause.because:
                    yield from cause_lines(inner, "       ", ink)
    for indicator in plan.indicators.values():
        on = seen.state(indicator.what) == "on"
        yield f"   {indicator.name:<{wide}}  {indicator.word('on' if on else 'off')}"


def ruled_out(plan: Plan, evaluator: Evaluator, situation: Situation) -> Iterator[str]:
    """Why proofs do not consider a situation, a sentence for each reason."""
    if not can_be(plan, situation):
        yield "No train of the lengths in your file can stand like this."
    for assumption in plan.assumptions:
        if not evaluator.allows(situation, assumption.condition):
            yield f'Your file assumes that this never happens: "{assumption.title}".'
