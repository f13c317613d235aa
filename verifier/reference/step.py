"""The transition from one moment of a history to the next, worked out directly from the plan.

Part of the reference: no expressions, and nothing that encodes. In: a plan, and a moment: the
value of every state variable, choice and command. Out: everything that can be observed at that
moment, events included, and the next value of each state variable.
"""

from collections import ChainMap
from collections.abc import Callable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property, lru_cache
from itertools import product

from verifier.plan import observables
from verifier.plan.devices import Device
from verifier.plan.locking.locking_model import Relay, Throw, Timer, Traffic
from verifier.plan.locking.temporal_plan import running_plan
from verifier.plan.model import Plan, Signal
from verifier.plan.observables import Choice, Condition, Observable
from verifier.plan.situation import Situation
from verifier.plan.wiring.faults import DISOBEYED, STOPPED, Fault, FaultKind
from verifier.reference.commands_read import commands_read
from verifier.reference.condition_eval import Predicate, is_true, looking_at
from verifier.reference.crew import CrewStep
from verifier.reference.equipment import EquipmentState
from verifier.reference.evaluator import Evaluator, Seen
from verifier.reference.places import Places
from verifier.reference.positions import Positions
from verifier.reference.sights import Sight, may_change, without_circles
from verifier.reference.state_variables import StateVariables
from verifier.reference.stopwatch import Stopwatch
from verifier.reference.train_step import TrainStep
from verifier.reference.transition import Transition, Valuation


class Stepper:
    """The transitions of one plan. With ``lossy``, stock on a block may go undetected for a few
    seconds (49 CFR 236.309). With ``blips``, a vacant block, or those of a district, are once
    reported occupied for a moment. With ``faults``, one of them may be present from some moment
    on."""

    def __init__(
        self,
        plan: Plan,
        *,
        lossy: bool = False,
        blips: bool = False,
        faults: Sequence[Fault] = (),
    ):
        self.given, self.lossy, self.blips, self.faults = plan, lossy, blips, tuple(faults)
        self.plan = running_plan(plan)
        self.positions = Positions(self.plan)
        self.variables = StateVariables(
            self.plan, self.positions, lossy=lossy, blips=blips, faults=faults
        )
        self.states = self.variables.states
        self.choices = self.variables.choices
        self._see = remembering(Evaluator(self.plan))
        self._places = Places(self.plan)

    def initial_states(self) -> Iterator[dict[Observable, str]]:
        """Every state in which a history may start."""
        starts = self.variables.starts()
        for values in product(*starts.values()):
            state = dict(zip(starts, values, strict=True))
            if self.variables.is_start(state):
                yield state

    def step(
        self,
        moment: Valuation,
        made: Valuation | None = None,
        wrecked: Set[str] = frozenset(),
    ) -> Transition:
        """The transition from a moment. ``made``: the choices made so far, where a choice is made
        when it is read; then whether one sees another that cannot change is not read. ``wrecked``:
        the pieces on which trains stand that met or derailed earlier: they stay there.

        Raises :class:`~verifier.reference.evaluator.Unsettled`."""
        return _Step(self, moment, made, wrecked).transition()

    def state_of(self, moment: Valuation) -> dict[Observable, str]:
        """The values of the state variables alone."""
        return {what: moment[what] for what in self.states}

    def goes(self, step: Transition) -> bool:
        """Whether a history may have this step: the assumptions of the file hold at its moment,
        and the crew keeps its promises."""
        return not step.broken and self.allowed(step.observed)

    def allowed(self, observed: Valuation) -> bool:
        """Whether the assumptions of the file hold at a moment, given all that is observed."""
        look = looking_at(observed)
        return all(is_true(a.condition, look, {}, self.plan) for a in self.plan.assumptions)

    def may_follow(self, state: Valuation) -> bool:
        """Whether the assumptions of the file allow a moment in this state, whatever people
        command at it."""
        if not self.plan.assumptions:
            return True
        moment = {**state, **{what: what.usual for what in self.choices}}
        ways = (
            what.values if self._matters(what, state) else (what.usual,)
            for what in self._commands_assumed
        )
        for values in product(*ways):
            commands = dict(zip(self._commands_assumed, values, strict=True))
            if self.allowed(self.look({**moment, **commands})):
                return True
        return False

    def _matters(self, what: Observable, state: Valuation) -> bool:
        """Whether it makes a difference in a state how a choice is made."""
        stock = self._stock(state)
        return what.kind != "standing" or stock[observables.stock(what.name)] == "occupied"

    @cached_property
    def _commands_assumed(self) -> tuple[Observable, ...]:
        """The commands that the assumptions of the file depend on."""
        assumed = [assumption.condition for assumption in self.plan.assumptions]
        return tuple(commands_read(self.plan, assumed, self.choices))

    def look(self, moment: Valuation) -> dict[Observable, str]:
        """Everything that can be observed at a moment, except events.

        Reads no choice but commands: the explicit-state search branches on each one read.
        Raises :class:`~verifier.reference.evaluator.Unsettled`."""
        stock = self._stock(moment)
        unreal = self._undetected(moment) | self._imagined(moment)
        situation = self.situation(moment)
        states = {**self._see(situation).states, **self.state_of(moment), **stock}
        named: dict[str, bool] = {}
        for name, condition in self.plan.conditions.items() if unreal else ():
            named[name] = is_true(condition.condition, looking_at(states), named, self.plan)
            states[observables.condition(name)] = "true" if named[name] else "false"
        return states

    def situation(self, moment: Valuation) -> Situation:
        """A moment as detectors and contacts, and so the rules, see it."""
        stock, undetected = self._stock(moment), self._undetected(moment)
        vacant = {b for b in self.plan.blocks if stock[observables.stock(b)] == "vacant"}
        imagined = self._imagined(moment)
        given = {}
        for what in self.plan.inputs:
            if what.kind in ("stock", "standing"):
                if what.name not in vacant or what.name in imagined:
                    given[what] = "occupied" if what.kind == "stock" else moment[what]
            else:
                given[what] = moment[what]
        broken = self.variables.broken
        if broken and moment[broken] != observables.NOTHING:
            fault, way = self.variables.ways[moment[broken]]
            given[fault] = way
        settled = self._places.settled(given, vacant) if self._places.inputs else given
        missed = undetected - imagined
        return Situation.of((w, state) for w, state in settled.items() if w.name not in missed
                            or w.kind not in ("stock", "standing"))  # fmt: skip

    def _imagined(self, moment: Valuation) -> frozenset[str]:
        """The blocks that are falsely reported occupied."""
        blips = self.variables.blips
        if not blips or moment[observables.blipped] == "yes":
            return frozenset()
        return frozenset(blips.get(moment[observables.blip(tuple(blips))], ()))

    def _undetected(self, moment: Valuation) -> frozenset[str]:
        """The blocks on which detection has lost stock."""
        lost = ((b, self.variables.lost(b)) for b in self.variables.detected)
        return frozenset(block for block, what in lost if what and moment[what] != "no")

    def _stock(self, moment: Valuation) -> dict[Observable, str]:
        stock = {observables.stock(block): "vacant" for block in self.plan.blocks}
        for name in self.positions.pieces:
            block = self.plan.track.pieces[name].block
            if block is not None and moment[observables.train(name)] == "occupied":
                stock[observables.stock(block)] = "occupied"
        return stock


_latest: list[Stepper] = []


def _stepper_of(plan: Plan, lossy: bool, blips: bool, faults: tuple[Fault, ...]) -> Stepper:
    """The last one is kept: histories of one plan are replayed one after the other."""
    kept = _latest[0] if _latest else None
    same = kept and (kept.lossy, kept.blips, kept.faults) == (lossy, blips, faults)
    if kept and kept.given is plan and same:
        return kept
    _latest[:] = [Stepper(plan, lossy=lossy, blips=blips, faults=faults)]
    return _latest[0]


def remembering(evaluator: Evaluator) -> Callable[[Situation], Seen]:
    """The evaluator with a cache: moments that differ in clocks and choices only are the same
    situation."""
    return lru_cache(maxsize=4_000)(evaluator.see)


def replay(
    plan: Plan,
    trace: Sequence[Valuation],
    bad: Predicate,
    *,
    lossy: bool = False,
    blips: bool = False,
    faults: Sequence[Fault] = (),
    seconds: Sequence[Fraction] = (),
    wrecks_stay: bool = True,
) -> bool:
    """Whether a trace is a history of the plan at whose last moment ``bad`` holds.

    Its first moment is an initial state, each moment follows from the one before, each choice
    has one of its values, the assumptions of the file hold at every moment, the crew keeps its
    promises, and where durations matter ``seconds``, how long each moment lasts (none where not
    given), agree with them. Trains that met or derailed stay where they are; without
    ``wrecks_stay`` they may move on. Choices and commands that a moment leaves out have their
    usual values. Raises :class:`~verifier.reference.evaluator.Unsettled`."""
    stepper = _stepper_of(plan, lossy, blips, tuple(faults))
    possible: Mapping[Observable, tuple[str, ...]] = stepper.variables.starts()
    observed: Valuation = {}
    watch = Stopwatch(stepper.variables)
    wrecked: frozenset[str] = frozenset()
    for k, moment in enumerate(trace):
        if any(moment.get(what) not in values for what, values in possible.items()):
            return False
        if not k and not stepper.variables.is_start(moment):
            return False
        chosen = {what: moment.get(what, what.usual) for what in stepper.choices}
        if any(value not in what.values for what, value in chosen.items()):
            return False
        state = stepper.state_of(moment)
        step = stepper.step({**state, **chosen}, wrecked=wrecked)
        wrecked = step.wrecked if wrecks_stay else wrecked
        observed = step.observed
        lasts = seconds[k] if k < len(seconds) else Fraction(0)
        passes = watch.passes(state, step.begun, step.ended, lasts)
        if not passes or not stepper.goes(step):
            return False
        possible = {what: (value,) for what, value in step.successor.items()}
    return bool(trace) and bad(observed)


@dataclass(frozen=True, slots=True)
class _Acted:
    """What one comes to that acts: its next states; whether it waits on; the delay that ended."""

    states: Valuation
    waits: bool = False
    ended: tuple[tuple[str, str], ...] = ()


class _Step:
    """One transition, while it is computed. What happens in it does so only if the assumptions
    allow the moment that it leads to.

    Trains start from one moment. Relays, timers, traffic and what moves, built of relays, act in
    any order (:mod:`verifier.reference.sights`). As one program relays, timers and traffic act in
    the order of the file, each on the new values of those before it, and what moves starts from
    the same moment as trains."""

    def __init__(
        self, stepper: Stepper, moment: Valuation, made: Valuation | None, wrecked: Set[str]
    ):
        self.stepper = stepper
        self._wrecked = wrecked
        self.plan = stepper.plan
        self.variables = stepper.variables
        self.now = moment
        self.observed = stepper.look(moment)
        self._look = stepper.look
        self._made = made
        # What one that acts sees.
        self._seen: Mapping[Observable, str] = self.observed
        self.successor: dict[Observable, str] = {}
        self.events: dict[Observable, str] = {}
        self.begun: list[Observable] = []
        self.ended: list[tuple[str, str]] = []

    def transition(self) -> Transition:
        self.successor |= {what: self.now[what] for what in self.variables.states}
        self._everything_acts()
        moving = {device.name for device in self.variables.moving if self._moves(device)}
        moving |= {d.name for d in self.variables.devices.values()
                   if d.pipe is not None and d.pipe.points in moving}  # fmt: skip
        for name in self.variables.devices:
            self._event("points move", name, name in moving)
            throw = self.plan.locking.throws.get(name)
            if throw is not None and throw.electric:
                locked = throw.locked is not None and self._holds(throw.locked)
                self._event("lock released", name, not locked)
        trains = TrainStep(
            self.variables, self.now, self.observed, moving, self._holds, self._wrecked
        )
        trains.run()
        self.successor |= trains.successor
        for piece in self.variables.positions.pieces:
            self._event("trains meet", piece, piece in trains.meets)
            self._event("train derails", piece, piece in trains.derails)
        for name in self.variables.devices:
            self._event("train derails", name, name in trains.derails)
        for name in self.plan.locking.traffic:
            what = observables.traffic(name)
            self._event("traffic turns", name, self.successor[what] != self.now[what])
        for signal in self.plan.signals.values():
            self._be_late(signal, trains)
        for block in self.variables.detected:
            self._lose(block)
        self._break()
        blips = self.variables.blips
        if blips and self.now[observables.blip(tuple(blips))] != observables.NOTHING:
            self.successor[observables.blipped] = "yes"
        if not self.stepper.may_follow(self.successor):
            self.events |= {what: "no" for what in self.events if what.kind != "lock released"}
        thrown = {
            device.name for device in self.variables.moving
            if self.successor[device.told] != self.now[device.told]
        }  # fmt: skip
        broken = CrewStep(self.variables, self.now, trains, thrown).broken()
        seen = {**self.observed, **self.events}
        return Transition(
            seen, self.successor, tuple(self.begun), tuple(self.ended), broken, trains.wrecked()
        )

    def _event(self, kind: observables.Event, name: str, happens: bool) -> None:
        self.events[observables.event(kind, name)] = "yes" if happens else "no"

    def _chosen(self, kind: Choice, name: str) -> bool:
        return self.now.get(observables.choice(kind, name), "no") == "yes"

    def _holds(self, condition: Condition) -> bool:
        """Whether a condition holds now."""
        return is_true(condition, looking_at(self.observed), {}, self.plan)

    def _holds_as_seen(self, condition: Condition | None) -> bool:
        """Whether a condition holds for one that acts, as it sees the others."""
        look = looking_at(self._seen)
        return condition is not None and is_true(condition, look, {}, self.plan)

    # -------------------------------------------------------------- everything acts

    def _everything_acts(self) -> None:
        if not self.plan.locking.building.of_relays:
            acted: dict[Observable, str] = {}
            for name in self.plan.locking.memory:
                states = self._act(name, acted, {})
                self._becomes(name, states)
                acted |= states.states
            for device in self.variables.moving:
                self._becomes(device.name, self._act(device.name, {}, {}))
            return
        seen = self._sights_now()
        done: dict[str, _Acted] = {}
        waiting = list(self.variables.acting)
        while waiting:
            name = waiting.pop()
            own = [sight for sight in seen if sight.reader == name]
            first = [sight.read for sight in own if sight.read not in done]
            if first:
                waiting += [name, *first]
            elif name not in done:
                views: tuple[dict[Observable, str], dict[Observable, str]] = ({}, {})
                for sight in own:
                    views[sight.by_signals].update(done[sight.read].states)
                done[name] = self._act(name, *views)
        for name in self.variables.acting:
            self._becomes(name, done[name])

    def _becomes(self, name: str, acted: _Acted) -> None:
        self.successor |= acted.states
        self.ended += acted.ended
        clock = self.variables.clock(name)
        if clock:
            self.successor[clock] = "running" if acted.waits else "at rest"

    def _sights_now(self) -> frozenset[Sight]:
        """Who sees whom after it has acted."""
        sights = self.variables.sights
        if self._made is None:
            chosen = [s for s in sights if self.now.get(s.choice) == "yes"]
            return without_circles(chosen)
        before = {
            name: {what: self.now[what] for what in self.variables.seen_by(name)}
            for name in self.variables.acting
        }
        change = may_change(
            self.variables.acting, before, sights, lambda *way: self._act(*way).states
        )
        return without_circles(
            [s for s in sights
             if (self.now if s.read in change else self._made).get(s.choice) == "yes"]
        )  # fmt: skip

    def _act(self, name: str, direct: Valuation, by_signals: Valuation) -> _Acted:
        """How one acts that sees some states not as they were."""
        self._seen = self._as_seen(direct, by_signals)
        locking = self.plan.locking
        if name in locking.relays:
            return self._relay(locking.relays[name])
        if name in locking.timers:
            return self._timer(locking.timers[name])
        if name in locking.traffic:
            return self._traffic(locking.traffic[name])
        return self._device(self.variables.devices[name])

    def _as_seen(self, direct: Valuation, by_signals: Valuation) -> Valuation:
        """What is observed, where some states are seen not as they were: directly, and by the
        signals that depend on them."""
        near = {**self.observed, **direct}
        if any(what.kind in observables.LYING for what in direct):
            near |= self._look(ChainMap({**direct}, self.now))  # type: ignore[arg-type]
        far: Mapping[Observable, str] = self.observed
        if by_signals:
            far = self._look(ChainMap({**by_signals}, self.now))  # type: ignore[arg-type]
        return {**near, **{w: far[w] for w in near if w.kind in ("aspect", "color")}}

    # -------------------------------------------------------------- memory

    def _relay(self, relay: Relay) -> _Acted:
        what = observables.relay(relay.name)
        now = self.now[what]
        stuck = now == "up" and self._holds_as_seen(relay.sticks)
        wanted = "up" if stuck or self._holds_as_seen(relay.picks) else "down"
        if wanted == now:
            return _Acted({what: now})
        return self._delayed(relay.name, what, wanted)

    def _timer(self, timer: Timer) -> _Acted:
        what = observables.timer(timer.name)
        now = self.now[what]
        if not self._holds_as_seen(timer.runs):
            return _Acted({what: "idle"})
        if now != "running":
            return _Acted({what: "running" if now == "idle" else "done"})
        return self._delayed(timer.name, what, "done")

    def _delayed(self, name: str, what: Observable, then: str) -> _Acted:
        """The state of a relay or timer that waits to change, and whether it waits on. A delay is
        over when that is chosen, but not in the moment in which it begins."""
        if self.variables.delay(name, then) is None:
            return _Acted({what: then})
        clock = self.variables.clock(name)
        may_end = clock is None or self.now[clock] == "running"
        if not may_end or not self._chosen("expiry", name):
            return _Acted({what: self.now[what]}, waits=True)
        return _Acted({what: then}, ended=((name, then),))

    def _traffic(self, traffic: Traffic) -> _Acted:
        what = observables.traffic(traffic.name)
        rightward = self._holds_as_seen(traffic.rightward)
        leftward = self._holds_as_seen(traffic.leftward)
        if rightward == leftward or self._holds_as_seen(traffic.locked):
            return _Acted({what: self.now[what]})
        return _Acted({what: "rightward" if rightward else "leftward"})

    # -------------------------------------------------------------- what moves

    def _moves(self, device: Device) -> bool:
        """Whether something moves. A gate that was thrown open lies open, and does not."""
        lies, then = self.now[device.lies], self.successor[device.lies]
        return then != lies or (lies == "open" and self.successor[device.told] != "open")

    def _device(self, device: Device) -> _Acted:
        """How something lies next, having been thrown if it is to be."""
        throw = self.plan.locking.throws.get(device.name)
        locked = throw is not None and self._holds_as_seen(throw.locked)
        wanted = None if locked else self._wanted(device, throw)
        told = wanted or self.now[device.told]
        return _Acted({device.told: told, device.lies: self._next_lie(device, told, throw)})

    def _wanted(self, device: Device, throw: Throw | None) -> str | None:
        """The position that is called for, None if it is left as it is."""
        normal, reverse = device.positions
        match throw.by if throw else "anyone":
            case "lever" if throw and throw.lever:
                levers = {what.name: what for what in self.plan.inputs if what.kind == "lever"}
                stands = self.now[levers[throw.lever]]
                return {"normal": normal, "reverse": reverse}.get(stands)
            case "buttons" if throw:
                back, away = (self.now[observables.button(b)] == "pressed" for b in throw.buttons)
                if back == away:
                    return None
                return normal if back else reverse
            case "rule" if throw and throw.away_when:
                return reverse if self._holds_as_seen(throw.away_when) else normal
            case _:
                if not self._chosen("throw", device.name):
                    return None
                return reverse if self.now[device.told] == normal else normal

    def _next_lie(self, device: Device, told: str, throw: Throw | None) -> str:
        lies = self.now[device.lies]
        match self._stall(device.name):
            case "stays":
                return lies
            case "stops":
                return lies if lies == told else "open"
            case _:
                pass
        if (throw is not None and throw.snap) or lies == told:
            return told
        arrives = lies == "open" and self._chosen("arrival", device.name)
        return told if arrives else "open"

    def _stall(self, turnout: str) -> str:
        """Whether a fault leaves points as they are (``stays``), or open once they move
        (``stops``); empty if neither."""
        machine = self.plan.wiring.machines.get(turnout)
        if not self.variables.ways or machine is None or machine.motor is None:
            return ""
        wires = EquipmentState(self.plan, self.stepper.situation(self.now))
        way = wires.fault(FaultKind.MACHINE, turnout)
        if way == DISOBEYED or not wires.has_power(turnout, machine.supply):
            return "stays"
        return "stops" if way == STOPPED else ""

    # -------------------------------------------------------------- what is late, what is lost

    def _be_late(self, signal: Signal, trains: TrainStep) -> None:
        """Whether a train may still be unable to stop at a signal (``late``), and whether the
        signal was put back to stop lately, before a train passed (``put back``)."""
        late, put_back = self.variables.late(signal.name), self.variables.put_back(signal.name)
        if late is None or put_back is None:
            return
        clears, present = trains.clears(signal), trains.may_be_before(signal)
        passed = self.now[observables.train(signal.enters.piece)] == "occupied"
        self._window(put_back, begins=clears, ends=passed)
        self._window(late, begins=present and clears, ends=not present)

    def _lose(self, block: str) -> None:
        lost = self.variables.lost(block)
        if lost is None:
            return
        stock = self.observed[observables.stock(block)] == "occupied"
        begins = self.now[lost] == "no" and stock and self._chosen("loss", block)
        self._window(lost, begins=begins, ends=False)

    def _break(self) -> None:
        """Something breaks while nothing is broken yet."""
        broken = self.variables.broken
        if broken is not None and self.now[broken] == observables.NOTHING:
            self.successor[broken] = self.now[observables.breaks(tuple(self.variables.ways))]

    def _window(self, window: Observable, *, begins: bool, ends: bool) -> None:
        """Whether a window is on at the next moment: it begins, or it is not over yet."""
        if begins:
            self.begun.append(window)
        on = self.now[window] == "yes" and not ends
        stays = on and not begins and self.now.get(observables.stays(window), "no") == "yes"
        self.successor[window] = "yes" if begins or stays else "no"
