"""Where a built layout parts from its plan, for people (terminal lines) and for programs (JSON).

In: what came of following a log, and the suspects. Out: lines, or an object.
"""

from collections.abc import Iterator, Sequence

from verifier.diagnosis.log_follower import Departure, Followed
from verifier.diagnosis.suspects import Suspects
from verifier.language.listing import several
from verifier.plan.model import Plan
from verifier.reference.evaluator import Seen
from verifier.reports.ink import Ink
from verifier.reports.json_parts import Json
from verifier.reports.lines import drawing, indented
from verifier.verdicts.exit_codes import ExitCode

SCHEMA_VERSION = 1


def exit_code(found: Followed) -> ExitCode:
    """As planned, or not."""
    return ExitCode.AS_EXPECTED if found.departure is None else ExitCode.BROKEN


def replay_lines(
    found: Followed, suspects: Sequence[Suspects], more: bool, ink: Ink
) -> Iterator[str]:
    """What was compared, and the first departure with the drawing and the last events.
    ``more``: there are further suspects."""
    plan = found.plan
    yield ink.paint(plan.title, "strong") + ink.paint(f"   {plan.source.name}", "quiet")
    if found.unseen:
        yield f"   Not compared, since the log does not have them: {', '.join(found.unseen)}."
    gone = found.departure
    if gone is None:
        until = f", up to {found.until.written}" if found.until else ""
        said = f"{several(found.events, 'event')}{until}"
        yield ink.paint("   As planned", "good") + f" in all that the log has: {said}."
        return
    yield ""
    yield ink.paint(f"   {headline(gone)}", "bad")
    yield f"   It shows first {_when(gone)}."
    yield ""
    # Reports are drawn as if they were the truth: where something seems to stand.
    yield "   By the plan, with what was reported, it would look like this:"
    yield from indented(drawing(plan, Seen(gone.states), ink))
    yield ""
    held = [
        f"{what.name} {state}"
        for what, state in gone.memory.items()
        if what.kind in ("relay", "timer", "traffic") and state != what.usual
    ]
    if held:
        yield f"   By the plan: {'; '.join(held)}."
    yield "   The last events:"
    for event in gone.last:
        yield f"      line {event.line}, {event.written}: {event.text}"
    yield ""
    yield from _suspects(plan, gone, suspects, more)


def _when(gone: Departure) -> str:
    """Right after an event, or so long after it as a delay takes."""
    event = gone.last[-1]
    after = gone.time - event.time
    if after:
        return f"{after:.10g} s after line {event.line} of the log, which is at {event.written}"
    return f"after line {event.line} of the log, at {event.written}"


def headline(gone: Departure) -> str:
    """The departure in a sentence."""
    name = gone.name
    match gone.kind:
        case "lamp":
            return f"{name} shows {gone.seen}; by the plan it must show {gone.expected}."
        case "memory":
            return f"{name} is {gone.seen}; by the plan it must be {gone.expected}."
        case "points" if gone.seen == "moving":
            return f"{name} is still between its ends; by the plan it must lie {gone.expected}."
        case "points":
            return f"{name} is reported {gone.seen}; by the plan it must lie {gone.expected}."
        case "appears":
            return f"{name} is reported occupied, but nothing could have come from beside it."
        case "vanishes":
            return f"{name} is reported clear, but what stood there has gone nowhere."


def _suspects(
    plan: Plan, gone: Departure, suspects: Sequence[Suspects], more: bool
) -> Iterator[str]:
    if gone.kind in ("appears", "vanishes"):
        yield "   If nobody put stock down or lifted it there, this may be wrong:"
    elif suspects:
        yield "   What may be wrong, the likeliest first:"
    for group in suspects:
        yield f"      {' and '.join(suspect.text for suspect in group)}"
    if more:
        yield "      and others."
    if not suspects:
        why = (
            "no fault or wiring mistake of the file explains it; see whether the rules were "
            "built as written"
            if plan.wiring.given
            else "the file says nothing of its wiring"
        )
        yield f"      not known: {why}."


def replay_json(found: Followed, suspects: Sequence[Suspects], more: bool) -> Json:
    """The same as an object."""
    gone = found.departure
    return {
        "version": SCHEMA_VERSION,
        "file": found.plan.source.name,
        "events": found.events,
        "until": found.until.time if found.until else None,
        "not_compared": list(found.unseen),
        "departure": None
        if gone is None
        else {
            "kind": gone.kind,
            "name": gone.name,
            "expected": gone.expected,
            "seen": gone.seen,
            "line": gone.line,
            "time": gone.time,
            "says": headline(gone),
            "last": [{"line": e.line, "time": e.time, "what": e.thing.name, "state": e.state}
                     for e in gone.last],
            "suspects": [[suspect.text for suspect in group] for group in suspects],
            "more_suspects": more,
        },
    }  # fmt: skip
