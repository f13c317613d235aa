"""How things stand in the play area, and what a hand does to them: one situation, outside time.

In: a document, the facts that are not as usual, and one act: points thrown, stock put
down, a wire cut. Out: the facts afterwards. What the signals make of it is worked out elsewhere
(:mod:`verifier.workbench.analysis`); files with memory can be played over time as well
(:mod:`verifier.workbench.temporal_play`).
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation
from verifier.reference.evaluator import Seen
from verifier.workbench.document import Document, Key

ActionKind = Literal["turn", "put", "set", "usual", "moment", "trains", "time"]
ACTION_KINDS: tuple[ActionKind, ...] = ("turn", "put", "set", "usual", "moment", "trains", "time")


@dataclass(frozen=True, slots=True)
class Action:
    """What a hand does. ``turn``: the usual thing to do with what is pointed at (throw points,
    press a button, move a lever to its next position); ``put``: stock on a block, or off it;
    ``set``: something into a state; ``usual``: all as usual. Over time: ``moment``: one passes;
    ``trains``: one passes, and trains go on; ``time``: what is timed runs out. ``runs``: over
    time, moments pass after the act until nothing changes any more."""

    do: ActionKind
    kind: str = ""
    name: str = ""
    state: str = ""
    runs: bool = False


@dataclass(frozen=True, slots=True)
class Play:
    """``facts``: what is not as usual, by kind and name. ``over_time``: these are the states and
    choices of a moment of a history; ``lossy``: of one in which detection may be lost."""

    facts: Mapping[Key, str] = field(default_factory=dict)
    over_time: bool = False
    lossy: bool = False


def situation_of(reading: Document, play: Play) -> Situation:
    """The situation, as far as the text as it is now knows the things it speaks of."""
    known = ((reading.things.get(key), state) for key, state in play.facts.items())
    return Situation.of((w, state) for w, state in known if w and state in w.values)


def acted(reading: Document, play: Play, act: Action, seen: Seen) -> Play:
    """The play after one act. ``seen``: how things stand before it."""
    if act.do == "usual":
        return Play()
    now = dict(play.facts)
    for what, state in _done(reading, act, seen):
        key = (what.kind, what.name)
        if state == what.usual:
            now.pop(key, None)
        else:
            now[key] = state
    return Play(now)


def _done(reading: Document, act: Action, seen: Seen) -> Iterable[tuple[Observable, str]]:
    things = reading.things
    match act.do:
        case "put":
            what = things.get(("standing", act.name)) or things.get(("stock", act.name))
            if what is not None:
                vacant = seen.states.get(observables.stock(act.name), "vacant") == "vacant"
                wanted = act.state or ("on" if vacant else "off")
                yield what, what.values[1] if wanted == "on" else what.usual
        case "set":
            what = things.get((act.kind, act.name))
            if what is not None and act.state in what.values:
                yield what, act.state
        case "turn" if act.kind == "points":
            yield from _thrown(reading, act.name, seen)
        case "turn":
            what = things.get((act.kind, act.name))
            if what is not None:
                yield what, next_state(what, seen.states.get(what, what.usual))


def next_state(what: Observable, state: str) -> str:
    """Where a hand moves something next: of two positions the other one, else on in a round."""
    if what.kind in ("derail", "fault"):
        return what.values[1] if state == what.usual else what.usual
    return what.values[(what.values.index(state) + 1) % len(what.values)]


def _thrown(reading: Document, turnout: str, seen: Seen) -> Iterable[tuple[Observable, str]]:
    """All that tells how points lie, set so that they lie the other way and rest."""
    lies = seen.states.get(observables.points(turnout), "normal")
    wanted = "reverse" if lies == "normal" else "normal"
    for end in thrown_together(reading.plan, turnout):
        for key in controls(reading.plan, end):
            what = reading.things.get(key)
            if what is not None and wanted in what.values:
                yield what, wanted
        motion = reading.things.get(("motion", end))
        if motion is not None:
            yield motion, motion.usual


def thrown_together(plan: Plan, turnout: str) -> tuple[str, ...]:
    """Both ends of a crossover; any other turnout by itself."""
    pair = next((c.ends for c in plan.crossovers.values() if turnout in c.ends), None)
    return pair or (turnout,)


def controls(plan: Plan, turnout: str) -> list[Key]:
    """What may tell how points lie: themselves, the way they were told, their lever."""
    found: list[Key] = [("points", turnout), ("thrown", turnout)]
    machine, throw = plan.wiring.machines.get(turnout), plan.locking.throws.get(turnout)
    levers = (machine.lever if machine else None, throw.lever if throw else None)
    return [*found, *(("lever", lever) for lever in dict.fromkeys(levers) if lever)]
