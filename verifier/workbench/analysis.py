"""What the page shows of one text and one state of play: the fast lane, which no proof holds up.

In: a document, a play, and at most one act. Out: what there is to draw and to say, as JSON: the
drawing, what every signal shows and why, what can be set by hand, and what is unsafe just here.
"""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import replace

from verifier.drawing.changes import changes
from verifier.drawing.overlay import NO_OVERLAY, Overlay
from verifier.drawing.svg import picture
from verifier.drawing.template import STYLE
from verifier.explain.signal_causes import causes, reasons
from verifier.language.diagnostics.diagnostic import Diagnostic
from verifier.logic.expr import holds
from verifier.plan import observables
from verifier.plan.model import Plan, Signal
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation
from verifier.properties.failures import counts_against
from verifier.properties.obligation import Obligation
from verifier.reference.equipment import can_be
from verifier.reference.evaluator import Evaluator, Seen, Unsettled
from verifier.reports.json_parts import Json, cause_json, place_with_offsets, text_at
from verifier.reports.words import sentence
from verifier.workbench.controls import drawn_things, group_of, label, state_words
from verifier.workbench.document import Document, Key
from verifier.workbench.situation_play import Action, Play, acted, situation_of
from verifier.workbench.temporal_play import Moment, TemporalPlay

# As many troubles are told of one situation: one false clear often makes several.
MAX_HAZARDS = 8


def analyze(
    reading: Document,
    play: Play,
    act: Action | None = None,
    *,
    before: Play | None = None,
    relevant: Collection[Key] | None = None,
    around: Sequence[str] = (),
    overlay: Overlay = NO_OVERLAY,
) -> Json:
    """``before``: the moment before this one, so that what has changed is marked; ``relevant``:
    what matters of a finding, all else is drawn grey; ``around``: pieces to zoom to."""
    table = _table(reading, play)
    if act is not None:
        table.do(act)
    plan, seen = table.plan, table.seen()
    if before is not None:
        overlay = replace(overlay, marks=tuple(changes(plan, _table(reading, before).seen(), seen)))
    matter = None if relevant is None else {w for w in seen.states if (w.kind, w.name) in relevant}
    drawn = picture(plan, seen, matter, around=around, prefix="p-", overlay=overlay)
    return {
        "title": plan.title,
        "speaks_of_time": plan.locking.over_time,
        "wired": reading.plan.wiring.given,
        "picture": {
            # The page's policy lets no style in by way of markup: it takes it by itself.
            "svg": drawn.svg.replace(STYLE, ""), "style": STYLE[len("<style>"):-len("</style>")],
            "width": drawn.width, "height": drawn.height, "text": drawn.text,
        },
        "signals": [_signal(plan, signal, seen, table) for signal in plan.signals.values()],
        "things": [_thing(plan, what, table.state(what)) for what in table.things()],
        "drawn": drawn_things(plan, table.things()),
        "hazards": [_hazard(obligation) for obligation in table.hazards()][:MAX_HAZARDS],
        "notes": [*table.notes, *table.ruled_out()],
        "play": play_json(table.play),
    }  # fmt: skip


def play_json(play: Play) -> Json:
    return {
        "over_time": play.over_time,
        "lossy": play.lossy,
        "facts": [[kind, name, state] for (kind, name), state in play.facts.items()],
    }


# ------------------------------------------------------------------ the two ways to play


class _SituationTable:
    """One situation, outside time."""

    def __init__(self, reading: Document, play: Play):
        self.reading, self.play, self.plan = reading, play, reading.plan
        self.evaluator = reading.evaluator
        self.notes: list[str] = []

    @property
    def situation(self) -> Situation:
        return situation_of(self.reading, self.play)

    def do(self, act: Action) -> None:
        self.play = acted(self.reading, self.play, act, self.seen())

    def seen(self) -> Seen:
        return self.evaluator.see(self.situation)

    def things(self) -> list[Observable]:
        return list(self.reading.things.values())

    def state(self, what: Observable) -> str:
        return self.situation.state(what)

    def hazards(self) -> Iterator[Obligation]:
        """What must never come about, and does. With something broken, it is what then
        counts."""
        situation = self.situation
        broken = (what for what, _ in situation if what.kind == "fault")
        faults = [self.plan.equipment.fault_of(what) for what in broken]
        asked = self.reading.harms if faults else self.reading.asked
        for obligation in asked:
            if obligation.over != "situations":
                continue
            if not all(counts_against(obligation, fault) for fault in faults):
                continue
            wanted = self.reading.asked_of[obligation.key]
            if holds(obligation.formula, self.evaluator.states(situation, wanted)):
                yield obligation

    def ruled_out(self) -> Iterator[str]:
        """Why the situation is none that a proof looks at."""
        situation = self.situation
        if not can_be(self.plan, situation):
            yield "No train of the lengths your file gives can stand like this."
        for assumption in self.plan.assumptions:
            if not self.evaluator.allows(situation, assumption.condition):
                yield f"Your file takes for granted that this never is: “{assumption.title}”."


class _HistoryTable:
    """A moment of a history."""

    def __init__(self, reading: Document, play: Play):
        self.reading = reading
        self.time = TemporalPlay(reading, lossy=play.lossy)
        self.plan = self.time.plan
        self.moment: Moment = self.time.moment(play)
        self.evaluator = Evaluator(self.plan)
        self.notes: list[str] = []

    @property
    def play(self) -> Play:
        return self.time.play(self.moment)

    @property
    def situation(self) -> Situation:
        return self.time.situation(self.moment)

    def do(self, act: Action) -> None:
        passed = self.time.acted(self.moment, act)
        self.moment = passed.moment
        self.notes += [*passed.notes, *self._held(passed.held)]

    def _held(self, turnout: str) -> Iterator[str]:
        """Why points did not move though they were told to."""
        throw = self.plan.locking.throws.get(turnout)
        if throw is None or throw.locked is None:
            return
        why = reasons(self.plan, self.evaluator, self.situation, throw.locked)
        because = "; ".join(cause.text for cause in why)
        yield f"{turnout} does not move: it is locked ({because})."

    def seen(self) -> Seen:
        return self.time.seen(self.moment)

    def things(self) -> list[Observable]:
        return list(self.time.things(self.moment))

    def state(self, what: Observable) -> str:
        if what.kind == "stock":
            return "occupied" if what.name in self.time.occupied(self.moment) else "vacant"
        return self.moment.get(what, what.usual)

    def hazards(self) -> Iterator[Obligation]:
        """What must never come about at a moment of a history, and does at this one."""
        states = self.seen().states
        for obligation in self.reading.asked:
            wanted = self.reading.asked_of[obligation.key]
            is_of_time = obligation.over == "histories" or (
                obligation.over == "lossy" and self.time.lossy
            )
            asked = is_of_time or obligation.over == "situations"
            if asked and states.keys() >= set(wanted) and holds(obligation.formula, states):
                yield obligation

    def ruled_out(self) -> Iterator[str]:
        states = self.seen().states
        if not self.time.stepper.allowed(states):
            yield "Your file takes for granted that this never is."


_Table = _SituationTable | _HistoryTable


def _table(reading: Document, play: Play) -> _Table:
    return _HistoryTable(reading, play) if play.over_time else _SituationTable(reading, play)


def enter_time(reading: Document, play: Play) -> Play:
    """The moment that begins with things as they stand."""
    time = TemporalPlay(reading)
    return time.play(time.entered(situation_of(reading, play)))


def leave_time(reading: Document, play: Play) -> Play:
    """The situation at a moment, for a hand that wants to break wires as well."""
    time = TemporalPlay(reading, lossy=play.lossy)
    moment = time.moment(play)
    now: dict[Key, str] = {}
    for key, what in reading.things.items():
        kind, name = key
        match kind:
            case "stock" | "standing" if name in time.occupied(moment):
                now[key] = what.values[1]
            case "lever" | "button" | "derail" | "gate" | "relay" | "timer" | "traffic" | "points":
                state = next((s for w, s in moment.items() if (w.kind, w.name) == key), what.usual)
                if state in what.values and state != what.usual:
                    now[key] = state
            case "thrown" if moment.get(observables.points(name)) == "reverse":
                now[key] = "reverse"
    return Play(now)


# ------------------------------------------------------------------ parts, as JSON


def _signal(plan: Plan, signal: Signal, seen: Seen, table: _Table) -> Json:
    aspect = seen.aspect(signal)
    listed = plan.chart.get(aspect)
    level = "stop"
    if listed is not None:
        level = "proceed" if listed.proceeds else "restricting" if listed.permits else "stop"
    try:
        chain = causes(plan, table.evaluator, table.situation, (signal.name,))
    except Unsettled:
        chain = ()
    return {
        "name": signal.name,
        "aspect": aspect,
        "meaning": listed.indication.text if listed else "no aspect that the file lists",
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
    """What is wrong with a text. ``here``: it is in the text itself, not in a file that it
    includes."""
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
