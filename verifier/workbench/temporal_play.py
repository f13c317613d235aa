"""The play area over time: relays pick and drop, points take their time, trains go on.

In: a document, the states of a moment, and one act. Out: the moment after it, worked out by the
stepper, which every history is replayed with. Nothing here decides anything: it only chooses
what people, trains and time do next.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from verifier.explain.trace_view import occupied_blocks, situation_of
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation
from verifier.reference.evaluator import Seen
from verifier.reference.state_variables import TICK
from verifier.reference.step import Stepper, Transition
from verifier.workbench.document import Document, by_key
from verifier.workbench.situation_play import Action, Play, next_state, thrown_together

Moment = Mapping[Observable, str]

# Moments that pass by themselves after an act; a layout that goes on longer is told of.
MAX_MOMENTS = 40
# Moments while what is timed runs out.
MAX_TIMED = 400

_COMMANDS = ("lever", "button", "derail", "gate")
# What people set by hand. The rest of a moment follows from that, and from time.
_SHOWN = ("points", "lever", "button", "derail", "gate", "relay", "timer", "traffic")


@dataclass(frozen=True, slots=True)
class Passed:
    """A moment, and what there is to say of how it came about."""

    moment: Moment
    notes: tuple[str, ...] = ()
    # Points that were asked to move and did not.
    held: str = ""


class TemporalPlay:
    """One layout, played over time."""

    def __init__(self, reading: Document, *, lossy: bool = False):
        self.stepper: Stepper = reading.lossy_stepper if lossy else reading.stepper
        self.plan: Plan = self.stepper.plan
        self.lossy = lossy
        self._all = (*self.stepper.states, *self.stepper.choices)
        self._known = by_key(self._all)

    # -------------------------------------------------------------- to and from the page

    def moment(self, play: Play) -> Moment:
        """The moment that a play speaks of, complete."""
        known = {}
        for key, state in play.facts.items():
            what = self._known.get(key)
            if what is not None and state in what.values:
                known[what] = state
        return {what: known.get(what, what.usual) for what in self._all}

    def play(self, moment: Moment) -> Play:
        changed: dict[tuple[str, str], str] = {
            (w.kind, w.name): s for w, s in moment.items() if s != w.usual
        }
        return Play(changed, over_time=True, lossy=self.lossy)

    def entered(self, situation: Situation) -> Moment:
        """The moment that begins with things as they stand in a situation."""
        moment = {what: what.usual for what in self._all}
        for what, state in situation:
            here = self._known.get((what.kind, what.name))
            if here is not None and state in here.values:
                moment[here] = state
        for name in self.stepper.variables.turnouts:
            told, lies = observables.thrown(name), moment[observables.points(name)]
            moment[told] = moment[told] if lies == "open" else lies
        for what, state in situation:
            if what.kind in ("stock", "standing") and state != what.usual:
                moment = {**moment, **self._stocked(what.name, moment, on=True)}
        return moment

    def seen(self, moment: Moment) -> Seen:
        """All there is to see at a moment, what then happens included."""
        return Seen(self.stepper.step(moment).observed)

    def situation(self, moment: Moment) -> Situation:
        """The moment as the rules see it."""
        return situation_of(self.plan, moment)

    def things(self, moment: Moment) -> Iterator[Observable]:
        """What can be set by hand: stock by block, which way trains are bound, and what is not
        worked out from that."""
        yield from map(observables.stock, self.plan.blocks)
        for piece in self.stepper.positions.pieces:
            if moment[observables.train(piece)] == "occupied":
                yield self.stepper.variables.heading(piece)
        yield from (what for what in self._all if what.kind in _SHOWN)

    def occupied(self, moment: Moment) -> tuple[str, ...]:
        return occupied_blocks(self.plan, moment)

    # -------------------------------------------------------------- acts

    def acted(self, moment: Moment, act: Action) -> Passed:
        match act.do:
            case "usual":
                return Passed({what: what.usual for what in self._all})
            case "moment":
                return Passed(self._next(moment))
            case "trains":
                return Passed(self._next(moment, trains=True))
            case "time":
                return self._time_runs(moment)
            case "put":
                on = act.state == "on" or (not act.state and act.name not in self.occupied(moment))
                return self._then(act, {**moment, **self._stocked(act.name, moment, on=on)})
            case "set" if act.kind == "stock":
                on = act.state == "occupied"
                return self._then(act, {**moment, **self._stocked(act.name, moment, on=on)})
            case "turn" if act.kind == "points" and act.runs:
                return self._throw(moment, act.name)
            case "turn" if act.kind == "button" and act.runs:
                return self._press(moment, observables.button(act.name))
            case "turn" if act.kind == "points":
                lies = moment.get(observables.points(act.name), "normal")
                wanted = "reverse" if lies == "normal" else "normal"
                ends = thrown_together(self.plan, act.name)
                set_ = {observables.points(end): wanted for end in ends}
                set_ |= {observables.thrown(end): wanted for end in ends}
                return Passed({**moment, **{w: s for w, s in set_.items() if w in moment}})
            case _:
                what = self._known.get((act.kind, act.name))
                if what is None:
                    return Passed(moment)
                state = next_state(what, moment[what]) if act.do == "turn" else act.state
                if state not in what.values:
                    return Passed(moment)
                return self._then(act, {**moment, what: state})

    def _then(self, act: Action, moment: Moment) -> Passed:
        return self._settled(moment) if act.runs else Passed(moment)

    def _stocked(self, block: str, moment: Moment, *, on: bool) -> dict[Observable, str]:
        """A train put on the first piece of a block, or all trains on it taken away."""
        pieces = [n for n, p in self.plan.track.pieces.items() if p.block == block]
        if on:
            if block in self.occupied(moment) or not pieces:
                return {}
            return self._train_on(pieces)
        gone = {observables.train(piece): "vacant" for piece in pieces}
        for name, joint in self.stepper.positions.joints.items():
            if joint.a.piece in pieces or joint.b.piece in pieces:
                gone[observables.across(name)] = "free"
        return {what: state for what, state in gone.items() if what in moment}

    def _train_on(self, pieces: list[str]) -> dict[Observable, str]:
        """A train on one of these pieces, bound for the nearest signal there is to pass."""
        for signal in self.plan.signals.values():
            for port in self.stepper.positions.approach(signal):
                if port.piece in pieces:
                    heading = self.stepper.variables.heading(port.piece)
                    return {observables.train(port.piece): "occupied", heading: port.end}
        return {observables.train(pieces[0]): "occupied"}

    # -------------------------------------------------------------- time

    def _step(self, moment: Moment, chosen: Moment) -> Transition:
        given = {w: "no" for w in self.stepper.choices if w.kind not in _COMMANDS}
        arrives = {w: "yes" for w in self.stepper.choices if w.kind == "arrival"}
        return self.stepper.step({**moment, **given, **arrives, **chosen})

    def _next(self, moment: Moment, *, trains: bool = False) -> Moment:
        """What follows a moment: points arrive; trains go on only where ``trains`` says so."""
        go: dict[Observable, str] = {}
        if trains:
            go = {w: "yes" for w in self.stepper.choices if w.kind in ("advance", "tick")}
        return self._after(moment, go)

    def _after(self, moment: Moment, chosen: Moment) -> Moment:
        """The moment after this one; what people hold stays as they hold it, and all else that
        is chosen is chosen anew."""
        following = self._step(moment, chosen).successor
        held = {w: s for w, s in moment.items() if w.kind in _COMMANDS}
        return {**{what: what.usual for what in self._all}, **held, **following}

    def _settled(self, moment: Moment) -> Passed:
        """Moments pass until nothing changes any more."""
        for _ in range(MAX_MOMENTS):
            following = self._after(moment, {})
            if following == moment:
                return Passed(moment)
            moment = following
        return Passed(moment, ("It goes on changing: something picks and drops in turn.",))

    def _time_runs(self, moment: Moment) -> Passed:
        """Time passes until what is timed has run out."""
        chosen = {w: "yes" for w in self.stepper.choices if w.kind in ("tick", "expiry")}
        for _ in range(MAX_TIMED if TICK in chosen else 2):
            following = self._after(moment, chosen)
            if following == moment:
                break
            moment = following
        return self._settled(moment)

    # -------------------------------------------------------------- hands

    def _press(self, moment: Moment, button: Observable) -> Passed:
        """Press a button, and let it go once all has settled."""
        if button not in moment:
            return Passed(moment)
        pressed = self._settled({**moment, button: "pressed"})
        return self._settled({**pressed.moment, button: "released"})

    def _throw(self, moment: Moment, turnout: str) -> Passed:
        """Do what throws the points, and see whether they move."""
        lies = moment[observables.points(turnout)]
        wanted = "reverse" if lies == "normal" else "normal"
        for end in thrown_together(self.plan, turnout):
            throw = self.plan.locking.throws.get(end)
            match throw.by if throw else "anyone":
                case "lever" if throw and throw.lever:
                    lever = self._known[("lever", throw.lever)]
                    passed = self._settled({**moment, lever: wanted})
                case "buttons" if throw:
                    normal, reverse = throw.buttons
                    which = normal if wanted == "normal" else reverse
                    passed = self._press(moment, observables.button(which))
                case "rule":
                    note = f"A rule throws {end}: it moves when what the rule asks for changes."
                    return Passed(moment, (note,), turnout)
                case _ if moment[observables.thrown(end)] == wanted:
                    passed = self._settled(moment)
                case _:
                    passed = self._settled(
                        self._after(moment, {observables.choice("throw", end): "yes"})
                    )
            moment = passed.moment
        held = turnout if moment[observables.points(turnout)] != wanted else ""
        return Passed(moment, passed.notes, held)
