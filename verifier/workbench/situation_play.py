"""The play area outside time: one situation, and what an action of the user changes in it.

In: a document, the facts that differ from normal, and actions: points thrown, stock added, a wire
cut. Out: the situation after them, and what is unsafe in it. Files with memory can also be played
over time (:mod:`verifier.workbench.temporal_play`).
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Literal, get_args

from verifier.logic.expr import holds, support
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation
from verifier.properties.failures import as_judged, counts_against
from verifier.properties.obligation import Obligation
from verifier.reference.evaluator import Seen
from verifier.reports.answers import ruled_out
from verifier.workbench.document import Document, Key

ActionKind = Literal["turn", "put", "set", "usual", "moment", "trains", "time"]
ACTION_KINDS: tuple[ActionKind, ...] = get_args(ActionKind)


@dataclass(frozen=True, slots=True)
class Action:
    """An action of the user. ``turn`` operates a thing (throw points, press a button, move a lever
    to its next position); ``put`` adds or removes stock on a block; ``set`` puts a thing into a
    state; ``usual`` resets everything. Over time, ``moment`` lets one moment pass, in ``trains``
    trains move too, and ``time`` expires the timers. ``runs``: over time, moments pass after the
    action until nothing changes."""

    do: ActionKind
    kind: str = ""
    name: str = ""
    state: str = ""
    runs: bool = False


@dataclass(frozen=True, slots=True)
class Play:
    """A state of the play area as the page keeps it. ``facts``: states that differ from normal, by
    kind and name. ``over_time``: they are the states and choices of a moment of a history;
    ``lossy``: of one in which detection may be lost."""

    facts: Mapping[Key, str] = field(default_factory=dict)
    over_time: bool = False
    lossy: bool = False


def situation_of(document: Document, play: Play) -> Situation:
    """The situation, restricted to things that the text still has."""
    known = ((document.things.get(key), state) for key, state in play.facts.items())
    return Situation.of((w, state) for w, state in known if w and state in w.values)


class SituationPlay:
    """One situation. ``notes``: what to tell the user about the last action."""

    def __init__(self, document: Document, play: Play):
        self.document, self.play, self.plan = document, play, document.plan
        self.evaluator = document.evaluator
        self.notes: list[str] = []

    @property
    def situation(self) -> Situation:
        return situation_of(self.document, self.play)

    def seen(self) -> Seen:
        """Everything that can be observed."""
        return self.evaluator.see(self.situation)

    def things(self) -> list[Observable]:
        """The things that the user can set."""
        return list(self.document.things.values())

    def state(self, what: Observable) -> str:
        return self.situation.state(what)

    def hazards(self) -> Iterator[Obligation]:
        """The properties that the situation violates; with a fault, those that hold under it."""
        situation = self.situation
        broken = (what for what, _ in situation if what.kind == "fault")
        faults = [self.plan.equipment.fault_of(what) for what in broken]
        for obligation in self.document.harms if faults else self.document.obligations:
            if obligation.over != "situations":
                continue
            if not all(counts_against(obligation, fault) for fault in faults):
                continue
            formula = as_judged(obligation, faults, self.plan)
            asked = self.document.supports[obligation.key]
            if formula is not obligation.formula:
                asked = support(formula)
            if holds(formula, self.evaluator.states(situation, asked)):
                yield obligation

    def ruled_out(self) -> Iterator[str]:
        """Why proofs exclude this situation."""
        return ruled_out(self.plan, self.evaluator, self.situation)

    # -------------------------------------------------------------- actions

    def do(self, action: Action) -> None:
        """Change the play by an action."""
        facts = {} if action.do == "usual" else dict(self.play.facts)
        for what, state in self._changes(action, self.seen()):
            key = (what.kind, what.name)
            if state == what.usual:
                facts.pop(key, None)
            else:
                facts[key] = state
        self.play = Play(facts)

    def _changes(self, action: Action, seen: Seen) -> Iterator[tuple[Observable, str]]:
        things = self.document.things
        what = things.get((action.kind, action.name))
        match action.do:
            case "put":
                stock = things.get(("standing", action.name)) or things.get(("stock", action.name))
                if stock is not None:
                    vacant = seen.states.get(observables.stock(action.name), "vacant") == "vacant"
                    wanted = action.state or ("on" if vacant else "off")
                    yield stock, stock.values[1] if wanted == "on" else stock.usual
            case "set" if what is not None and action.state in what.values:
                yield what, action.state
            case "turn" if action.kind == "points":
                yield from self._thrown(action.name, seen)
            case "turn" if what is not None:
                yield what, next_state(what, seen.states.get(what, what.usual))

    def _thrown(self, turnout: str, seen: Seen) -> Iterator[tuple[Observable, str]]:
        """Everything that determines how points lie, set so that they lie the other way."""
        things = self.document.things
        wanted = other_way(seen.states.get(observables.points(turnout), "normal"))
        for end in thrown_together(self.plan, turnout):
            for key in controls(self.plan, end):
                what = things.get(key)
                if what is not None and wanted in what.values:
                    yield what, wanted
            motion = things.get(("motion", end))
            if motion is not None:
                yield motion, motion.usual


def other_way(lies: str) -> str:
    """The position to which points that lie so are thrown."""
    return "reverse" if lies == "normal" else "normal"


def next_state(what: Observable, state: str) -> str:
    """The next state of a thing when it is operated: its states take turns."""
    if what.kind in ("derail", "fault"):
        return what.values[1] if state == what.usual else what.usual
    return what.values[(what.values.index(state) + 1) % len(what.values)]


def thrown_together(plan: Plan, turnout: str) -> tuple[str, ...]:
    """Both ends of a crossover; any other turnout alone."""
    pair = next((c.ends for c in plan.crossovers.values() if turnout in c.ends), None)
    return pair or (turnout,)


def controls(plan: Plan, turnout: str) -> list[Key]:
    """What may determine how points lie: their position, their command, their levers."""
    found: list[Key] = [("points", turnout), ("thrown", turnout)]
    machine, throw = plan.wiring.machines.get(turnout), plan.locking.throws.get(turnout)
    levers = (machine.lever if machine else None, throw.lever if throw else None)
    return [*found, *(("lever", lever) for lever in dict.fromkeys(levers) if lever)]
