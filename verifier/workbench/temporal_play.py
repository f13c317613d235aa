"""The play area over time: relays pick and drop, points take their time, trains move.

In: a document, the states of a moment, and actions. Out: the moments after them, computed by the
stepper that also replays counterexamples. Nothing is decided here: the play only chooses what
people, trains and time do next.
"""

from collections.abc import Iterator, Mapping

from verifier.explain.signal_causes import reasons
from verifier.explain.trace_view import occupied_blocks
from verifier.explain.trace_view import situation_of as situation_at
from verifier.logic.expr import holds
from verifier.plan import observables
from verifier.plan.devices import Device
from verifier.plan.model import Assumption
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation
from verifier.properties.obligation import Obligation
from verifier.reference.evaluator import Evaluator, Seen
from verifier.reference.explicit_states import in_any_order
from verifier.reference.transition import Transition
from verifier.workbench.document import Document, Key, by_key
from verifier.workbench.situation_play import (
    Action,
    Play,
    next_state,
    thrown_together,
)

Moment = Mapping[Observable, str]

# At most this many moments pass on their own after an action.
MAX_MOMENTS = 40
# Where relays could act in more orders, what follows is taken to depend on the order.
MAX_ORDERS = 64
BY_ORDER = (
    "What comes of this depends on which relay acts first. Here all that move together move in the "
    "same instant; proofs consider every order."
)
# While time does not run, what lasts a limited time goes on.
_STAYS = ("stays late", "stays put back", "stays lost")

_COMMANDS = ("lever", "button")
# What people set by hand. The rest of a moment follows from that, and from time.
_LIES = ("points", "derail", "gate")
_SHOWN = (*_LIES, *_COMMANDS, "relay", "timer", "traffic")


class TemporalPlay:
    """A moment of a history. ``notes``: what to tell the user about the last action."""

    def __init__(self, document: Document, play: Play):
        self._document, self._lossy = document, play.lossy
        self._stepper = document.lossy_stepper if play.lossy else document.stepper
        self.plan = self._stepper.plan
        self.evaluator = Evaluator(self.plan)
        self.notes: list[str] = []
        self._all = (*self._stepper.states, *self._stepper.choices)
        self._known = by_key(self._all)
        self._reset: Moment = {what: what.usual for what in self._all}
        self.moment: Moment = {**self._reset, **self._states(play.facts)}

    def _states(self, facts: Mapping[Key, str]) -> dict[Observable, str]:
        """The facts about states and choices of this history."""
        known = ((self._known.get(key), state) for key, state in facts.items())
        return {what: state for what, state in known if what and state in what.values}

    @property
    def play(self) -> Play:
        changed: dict[Key, str] = {
            (w.kind, w.name): s for w, s in self.moment.items() if s != w.usual
        }
        return Play(changed, over_time=True, lossy=self._lossy)

    @property
    def situation(self) -> Situation:
        """The moment as the rules see it."""
        return situation_at(self.plan, self.moment)

    def seen(self) -> Seen:
        """Everything that can be observed, with what happens next."""
        return Seen(self._stepper.step(self.moment).observed)

    def things(self) -> Iterator[Observable]:
        """What the user can set: stock by block, the directions of trains, and controls and
        memory."""
        yield from map(observables.stock, self.plan.blocks)
        for piece in self._stepper.positions.pieces:
            if self.moment[observables.train(piece)] == "occupied":
                yield self._stepper.variables.heading(piece)
        yield from (what for what in self._all if what.kind in _SHOWN)

    def state(self, what: Observable) -> str:
        if what.kind == "stock":
            return "occupied" if what.name in self._occupied(self.moment) else "vacant"
        return self.moment.get(what, what.usual)

    def hazards(self) -> Iterator[Obligation]:
        """The properties that this moment violates."""
        states = self.seen().states
        over = {"situations", "histories", *(["lossy"] if self._lossy else [])}
        for obligation in self._document.obligations:
            is_known = states.keys() >= set(self._document.supports[obligation.key])
            if obligation.over in over and is_known and holds(obligation.formula, states):
                yield obligation

    def ruled_out(self) -> Iterator[str]:
        """Why proofs exclude this moment."""
        step = self._stepper.step(self.moment)
        too_many = any(isinstance(broken, Assumption) for broken in step.broken)
        if too_many or not self._stepper.allowed(step.observed):
            yield "Your file assumes that this never happens."

    def _occupied(self, moment: Moment) -> tuple[str, ...]:
        return occupied_blocks(self.plan, moment)

    # -------------------------------------------------------------- into time and out of it

    def enter(self, situation: Situation) -> None:
        """Begin with the states of a situation."""
        moment = dict(self._reset)
        moment |= self._states({(what.kind, what.name): state for what, state in situation})
        for device in self._stepper.variables.moving:
            lies = moment[device.lies]
            if lies in device.positions:
                moment[device.told] = lies
        for what, state in situation:
            if what.kind in ("stock", "standing") and state != what.usual:
                moment |= self._stocked(what.name, moment, on=True)
        self.moment = moment

    def outside_time(self) -> Play:
        """The situation at this moment, in which the user can break things."""
        now: dict[Key, str] = {}
        for (kind, name), what in self._document.things.items():
            if kind in ("stock", "standing") and name in self._occupied(self.moment):
                now[kind, name] = what.values[1]
            elif kind in _SHOWN:
                known = self._known.get((kind, name))
                state = what.usual if known is None else self.moment[known]
                if state in what.values and state != what.usual:
                    now[kind, name] = state
            elif kind == "thrown" and self.moment.get(observables.points(name)) == "reverse":
                now[kind, name] = "reverse"
        return Play(now)

    # -------------------------------------------------------------- actions

    def do(self, action: Action) -> None:
        """Go on to the moment after an action."""
        self.moment = self._after_action(self.moment, action)

    def _after_action(self, moment: Moment, action: Action) -> Moment:
        name = action.name
        match action.do:
            case "usual":
                return self._reset
            case "moment":
                return self._after(moment, self._chosen(*_STAYS))
            case "trains":
                return self._after(moment, self._chosen("advance", *_STAYS))
            case "time":
                return self._time_runs(moment)
            case "put":
                on = action.state == "on" or (
                    not action.state and name not in self._occupied(moment)
                )
                moment = {**moment, **self._stocked(name, moment, on=on)}
            case "set" if action.kind == "stock":
                on = action.state == "occupied"
                moment = {**moment, **self._stocked(name, moment, on=on)}
            case "turn" if action.kind in _LIES and action.runs:
                return self._throw(moment, name)
            case "turn" if action.kind == "button" and action.runs:
                return self._press(moment, observables.button(name))
            case "turn" | "set" if action.kind in _LIES:
                wanted = action.state if action.do == "set" else self._other_way(moment, name)
                return {**moment, **self._lying(moment, name, wanted)}
            case _:
                what = self._known.get((action.kind, name))
                if what is None:
                    return moment
                state = next_state(what, moment[what]) if action.do == "turn" else action.state
                if state not in what.values:
                    return moment
                moment = {**moment, what: state}
        return self._settled(moment) if action.runs else moment

    def _device(self, name: str) -> Device:
        return self._stepper.variables.devices[name]

    def _other_way(self, moment: Moment, name: str) -> str:
        """The position opposite to that in which something lies; the first where it lies open."""
        device = self._device(name)
        lies = moment.get(device.lies, device.positions[0])
        return device.other(lies) if lies in device.positions else device.positions[0]

    def _lying(self, moment: Moment, name: str, position: str) -> Moment:
        """Something, and what is thrown together with it, at rest in a position."""
        ends = [self._device(end) for end in thrown_together(self.plan, name)]
        changed = {d.lies: position for d in ends if position in d.lies.values}
        changed |= {d.told: position for d in ends if position in d.positions}
        return {what: state for what, state in changed.items() if what in moment}

    def _stocked(self, block: str, moment: Moment, *, on: bool) -> dict[Observable, str]:
        """A train put on the first piece of a block, or all trains on it taken away."""
        pieces = [n for n, p in self.plan.track.pieces.items() if p.block == block]
        if on:
            if block in self._occupied(moment) or not pieces:
                return {}
            return self._train_on(pieces)
        gone = {observables.train(piece): "vacant" for piece in pieces}
        for name, joint in self._stepper.positions.joints.items():
            if joint.a.piece in pieces or joint.b.piece in pieces:
                gone[observables.across(name)] = "free"
        return {what: state for what, state in gone.items() if what in moment}

    def _train_on(self, pieces: list[str]) -> dict[Observable, str]:
        """A train on one of these pieces, bound for the nearest signal there is to pass."""
        for signal in self.plan.signals.values():
            for port in self._stepper.positions.approach(signal):
                if port.piece in pieces:
                    heading = self._stepper.variables.heading(port.piece)
                    return {observables.train(port.piece): "occupied", heading: port.end}
        return {observables.train(pieces[0]): "occupied"}

    # -------------------------------------------------------------- time

    def _step(self, moment: Moment, chosen: Moment) -> Transition:
        return self._stepper.step(self._whole(moment, chosen))

    def _whole(self, moment: Moment, chosen: Moment) -> Moment:
        given = {w: w.usual for w in self._stepper.choices if w.kind not in _COMMANDS}
        return {**moment, **given, **self._chosen("arrival"), **chosen}

    def _chosen(self, *kinds: str) -> Moment:
        return {what: "yes" for what in self._stepper.choices if what.kind in kinds}

    def _after(self, moment: Moment, chosen: Moment) -> Moment:
        """The next moment: points arrive, and controls stay as they are set."""
        step = self._step(moment, chosen)
        self.notes += [f"Proofs leave this out: {p.title}." for p in step.broken]
        ways = in_any_order(self._stepper, self._whole(moment, chosen), MAX_ORDERS)
        depends = ways is None or any(way.successor != ways[0].successor for way in ways)
        if depends and BY_ORDER not in self.notes:
            self.notes.append(BY_ORDER)
        following = step.successor
        held = {w: s for w, s in moment.items() if w.kind in _COMMANDS}
        return {**self._reset, **held, **following}

    def _settled(self, moment: Moment) -> Moment:
        """The moment at which nothing changes any more."""
        for _ in range(MAX_MOMENTS):
            following = self._after(moment, self._chosen(*_STAYS))
            if following == moment:
                return moment
            moment = following
        self.notes.append("It does not come to rest: something picks and drops in turn.")
        return moment

    def _time_runs(self, moment: Moment) -> Moment:
        """The moment at which all timers have expired."""
        for _ in range(MAX_MOMENTS):
            following = self._after(moment, self._chosen("expiry"))
            if following == moment:
                break
            moment = following
        return self._settled(moment)

    # -------------------------------------------------------------- controls

    def _press(self, moment: Moment, button: Observable) -> Moment:
        """Press a button, and release it once everything has settled."""
        if button not in moment:
            return moment
        pressed = self._settled({**moment, button: "pressed"})
        return self._settled({**pressed, button: "released"})

    def _throw(self, moment: Moment, turnout: str) -> Moment:
        """Operate what throws the points, and say why they do not move."""
        lies = self._device(turnout).lies
        if lies not in moment:
            pipe = self._device(turnout).pipe
            assert pipe is not None
            self.notes.append(f"{turnout} is pipe-connected to {pipe.points}: throw that.")
            return moment
        wanted = self._other_way(moment, turnout)
        for end in thrown_together(self.plan, turnout):
            normal, _ = self._device(end).positions
            throw = self.plan.locking.throws.get(end)
            match throw.by if throw else "anyone":
                case "lever" if throw and throw.lever:
                    lever = self._known[("lever", throw.lever)]
                    stands = "normal" if wanted == normal else "reverse"
                    moment = self._settled({**moment, lever: stands})
                case "buttons" if throw:
                    back, away = throw.buttons
                    which = back if wanted == normal else away
                    moment = self._press(moment, observables.button(which))
                case "rule":
                    self.notes.append(f"A rule throws {end}: it moves when the rule says so.")
                    break
                case _:
                    thrown = {observables.choice("throw", end): "yes"}
                    is_thrown = moment[self._device(end).told] == wanted
                    chosen = {**self._chosen(*_STAYS), **thrown}
                    moment = self._settled(moment if is_thrown else self._after(moment, chosen))
        if moment[lies] != wanted:
            self.notes += self._lock_of(turnout, moment)
        return moment

    def _lock_of(self, turnout: str, moment: Moment) -> Iterator[str]:
        """Why locked points do not move."""
        throw = self.plan.locking.throws.get(turnout)
        if throw is not None and throw.locked is not None:
            situation = situation_at(self.plan, moment)
            why = reasons(self.plan, self.evaluator, situation, throw.locked)
            because = "; ".join(cause.text for cause in why)
            yield f"{turnout} does not move: it is locked ({because})."
