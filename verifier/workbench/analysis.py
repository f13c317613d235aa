"""What the page shows at once of a text and a state of play, without a proof.

In: a document, a play, and at most one action. Out: JSON: the drawing, what each signal shows and
why, what the user can set, and what is unsafe in this state.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace

from verifier.drawing.overlay import NO_OVERLAY, Overlay, changes
from verifier.drawing.svg.picture import picture
from verifier.drawing.svg.template import STYLE
from verifier.drawing.wiring.ink import STYLE as WIRING_STYLE
from verifier.drawing.wiring.picture import wiring_pages
from verifier.explain.signal_causes import causes
from verifier.language.diagnostics.diagnostic import Diagnostic
from verifier.plan.model import Plan, Signal
from verifier.plan.observables import Observable
from verifier.properties.obligation import Obligation
from verifier.reference.evaluator import Seen, Unsettled
from verifier.reports.json_parts import Json, cause_json, place_with_offsets, text_at
from verifier.reports.words import sentence
from verifier.workbench.controls import drawn_things, group_of, label, state_words
from verifier.workbench.document import Document
from verifier.workbench.situation_play import Action, Play, SituationPlay, situation_of
from verifier.workbench.temporal_play import TemporalPlay

# At most this many hazards are shown of one situation: one false clear often causes several.
MAX_HAZARDS = 8

_Play = SituationPlay | TemporalPlay


def analyze(
    document: Document,
    play: Play,
    action: Action | None = None,
    *,
    before: Play | None = None,
    relevant: Collection[tuple[str, ...]] | None = None,
    around: Sequence[str] = (),
    overlay: Overlay = NO_OVERLAY,
) -> Json:
    """The page after an action. ``before``: the previous moment, so that changes are marked;
    ``relevant``: what matters for a finding, the rest is gray; ``around``: pieces to zoom to."""
    now = _played(document, play)
    if action is not None:
        now.do(action)
    plan, seen = now.plan, now.seen()
    if before is not None:
        overlay = replace(
            overlay, marks=tuple(changes(plan, _played(document, before).seen(), seen))
        )
    matter = None if relevant is None else {w for w in seen.states if (w.kind, w.name) in relevant}
    drawn = picture(plan, seen, matter, around=around, prefix="p-", overlay=overlay)
    return {
        "title": "" if plan.title == plan.source.name else plan.title,
        "speaks_of_time": plan.locking.over_time,
        "wired": document.plan.wiring.given,
        "picture": {
            # The page's security policy refuses style sheets in markup.
            "svg": drawn.unstyled, "style": STYLE + WIRING_STYLE,
            "width": drawn.width, "height": drawn.height, "text": drawn.text,
        },
        "signals": [_signal(plan, signal, seen, now) for signal in plan.signals.values()],
        "things": [_thing(plan, what, now.state(what)) for what in now.things()],
        "drawn": drawn_things(plan, now.things()),
        "hazards": [_hazard(obligation) for obligation in now.hazards()][:MAX_HAZARDS],
        "notes": [*now.notes, *now.ruled_out()],
        "play": play_json(now.play),
    }  # fmt: skip


def wiring_json(document: Document) -> Json:
    """The wiring diagram, page by page."""
    pages = wiring_pages(document.plan)
    return {"pages": [{"title": page.title, "svg": page.unstyled} for page in pages]}


def play_json(play: Play) -> Json:
    return {
        "over_time": play.over_time,
        "lossy": play.lossy,
        "facts": [[kind, name, state] for (kind, name), state in play.facts.items()],
    }


def _played(document: Document, play: Play) -> _Play:
    return TemporalPlay(document, play) if play.over_time else SituationPlay(document, play)


def change_time(document: Document, play: Play) -> Json:
    """The analysis after a change from a situation to a moment that begins with it, or back."""
    if play.over_time:
        return analyze(document, TemporalPlay(document, play).outside_time())
    time = TemporalPlay(document, Play())
    time.enter(situation_of(document, play))
    return analyze(document, time.play)


# ------------------------------------------------------------------ parts, as JSON


def _signal(plan: Plan, signal: Signal, seen: Seen, now: _Play) -> Json:
    aspect = seen.aspect(signal)
    listed = plan.chart.get(aspect)
    level = "stop"
    if listed is not None:
        level = "proceed" if listed.proceeds else "restricting" if listed.permits else "stop"
    try:
        chain = causes(plan, now.evaluator, now.situation, (signal.name,))
    except Unsettled:
        chain = ()
    meaning = listed.indication.text if listed else "no aspect that the file lists"
    unlit = seen.unlit(signal)
    return {
        "name": signal.name,
        "aspect": "dark" if unlit else aspect,
        "meaning": f"would show {aspect}: {meaning}" if unlit else meaning,
        "level": level if listed else "unlisted",
        "heads": [
            {"name": head.name, "color": color}
            for head, color in zip(signal.heads, seen.colors(signal), strict=True)
        ],
        "line": signal.span.line,
        "why": [cause_json(cause, place_with_offsets) for cause in chain],
    }


def _thing(plan: Plan, what: Observable, state: str) -> Json:
    return {
        "kind": what.kind,
        "name": what.name,
        "label": label(what),
        "group": group_of(plan, what),
        "state": state,
        "usual": what.usual,
        "states": [[value, state_words(plan, what, value)] for value in what.values],
    }


def _hazard(obligation: Obligation) -> Json:
    return {
        "key": obligation.key,
        "property": obligation.property,
        "sentence": sentence(obligation.trouble),
        "signals": list(obligation.signals),
        "advice": obligation.advice,
        "over_time": obligation.over != "situations",
    }


def diagnostics_json(diagnostics: Iterable[Diagnostic], name: str) -> list[Json]:
    """The errors of a text. ``here``: in the text itself, not in an included file."""
    return [
        {
            "code": d.code,
            "message": d.message,
            "hint": d.hint,
            "place": place_with_offsets(d.span),
            "here": d.span.source.name == (name or "(not saved yet)"),
            "used": [u.words for u in d.span.uses],
            "others": [text_at(text, span, place_with_offsets) for span, text in d.others],
        }
        for d in diagnostics
    ]
