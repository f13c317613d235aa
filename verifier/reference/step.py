"""The transition from one moment of a history to the next, worked out directly from the plan.

Part of the reference: no expressions, and nothing that encodes. In: a plan, and a moment: the
value of every state variable, choice and command. Out: everything that can be observed at that
moment, events included, and the next value of each state variable.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence, Set
from fractions import Fraction
from functools import cached_property, lru_cache
from itertools import product

from verifier.plan import observables
from verifier.plan.devices import Device
from verifier.plan.locking.durations import delays
from verifier.plan.locking.temporal_plan import running_plan
from verifier.plan.model import Assumption, Plan, Signal
from verifier.plan.observables import Choice, Condition, Observable
from verifier.plan.situation import Situation
from verifier.plan.wiring.faults import Fault
from verifier.reference.acting import Acted, Acting, Alike
from verifier.reference.commands_read import commands_read
from verifier.reference.condition_eval import Predicate, is_true, looking_at
from verifier.reference.crew import CrewStep
from verifier.reference.evaluator import Evaluator, Seen
from verifier.reference.held_buttons import HeldButtons
from verifier.reference.places import Places
from verifier.reference.positions import Positions
from verifier.reference.state_variables import StateVariables
from verifier.reference.stopwatch import Stopwatch
from verifier.reference.train_step import TrainStep
from verifier.reference.transition import Transition, Valuation


class Stepper:
    """The transitions of one plan. With ``lossy``, stock on a block may go undetected for a few
    seconds (49 CFR 236.309). With ``blips``, a vacant block, or those of a district, are once
    falsely reported occupied, for however long. With ``faults``, one of them may be present from
    some moment on; it may work now and then. With ``held``, whether a signal clears again behind a
    train while a button stays pressed is kept in mind. With ``prompt``, no delay is over
    while what surely comes to rest has cause to move at once, but where it could have been
    before."""

    def __init__(
        self,
        plan: Plan,
        *,
        lossy: bool = False,
        blips: bool = False,
        faults: Sequence[Fault] = (),
        held: bool = False,
        prompt: bool = False,
    ):
        self.given, self.lossy, self.blips, self.faults = plan, lossy, blips, tuple(faults)
        self.held = held
        self.prompt = prompt
        self.plan = running_plan(plan)
        self.positions = Positions(self.plan)
        self.variables = StateVariables(
            self.plan, self.positions, lossy=lossy, blips=blips, faults=faults, held=held,
            prompt=prompt,
        )  # fmt: skip
        self.states = self.variables.states
        self.choices = self.variables.choices
        self._see = remembering(Evaluator(self.plan))
        self._places = Places(self.plan)
        self.held_buttons = HeldButtons(self.plan, self.look) if held else None

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
        alike: Alike | None = None,
    ) -> Transition:
        """The transition from a moment. ``made``: the choices made so far, where a choice is made
        when it is read; then whether one sees another that cannot change is not read. ``wrecked``:
        the pieces on which trains stand that met or derailed earlier: they stay there.
        ``alike``: where steps from one moment differ only in who sees whom, filled by the first for
        the others.

        Raises :class:`~verifier.reference.evaluator.Unsettled`."""
        return _Step(self, moment, made, wrecked, alike).transition()

    def state_of(self, moment: Valuation) -> dict[Observable, str]:
        """The values of the state variables alone."""
        return {what: moment[what] for what in self.states}

    def goes(self, step: Transition) -> bool:
        """Whether a history may have this step: the assumptions of the file hold at its moment,
        the crew keeps its promises, and there are no more trains than the file says."""
        return not step.broken and self.allowed(step.observed)

    def allowed(self, observed: Valuation) -> bool:
        """Whether the assumptions of the file hold at a moment, given all that is observed. (How
        many trains there may be binds those that come in, so it is asked of steps.)"""
        look = looking_at(observed)
        return all(is_true(a.condition, look, {}, self.plan) for a in self._of_moments)

    def may_follow(self, state: Valuation) -> bool:
        """Whether the assumptions of the file allow a moment in this state, whatever people
        command at it."""
        if not self._of_moments:
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
        if what == observables.works:
            return self.variables.broken_in(state) is not None
        return what.kind != "standing" or self._may_be_seen(what.name, state)

    def _may_be_seen(self, block: str, state: Valuation) -> bool:
        """Whether a detector may see stock on a block: it stands there, or is imagined there."""
        if self._stock(state)[observables.stock(block)] == "occupied":
            return True
        held = self.variables.held(block) if block in self.variables.holds else None
        if held and state[held] == "yes":
            return True
        blips = self.variables.blips
        lasting = state[observables.blipped(tuple(blips))] if blips else observables.OVER
        begins = lasting == observables.NOTHING
        return any(block in blips[place] for place in blips if begins or place == lasting)

    @cached_property
    def _of_moments(self) -> tuple[Assumption, ...]:
        return tuple(a for a in self.plan.assumptions if a.trains is None)

    @cached_property
    def _commands_assumed(self) -> tuple[Observable, ...]:
        """The commands that the assumptions of the file depend on."""
        assumed = [assumption.condition for assumption in self._of_moments]
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
        broken = self.variables.broken_in(moment)
        if broken is not None and moment[observables.works] == "no":
            fault, way = broken
            given[fault] = way
        settled: Mapping[Observable, str] = given
        if self._places.inputs:
            settled = self._places.settled(given, vacant, self._spanned(moment))
        missed = undetected - imagined
        return Situation.of((w, state) for w, state in settled.items() if w.name not in missed
                            or w.kind not in ("stock", "standing"))  # fmt: skip

    def _spanned(self, moment: Valuation) -> frozenset[str]:
        """The joints that trains stand across."""
        joints = self.positions.joints
        return frozenset(j for j in joints if moment[observables.across(j)] == "spanned")

    def _imagined(self, moment: Valuation) -> frozenset[str]:
        """The blocks that are falsely reported occupied, or still."""
        held = ((block, self.variables.held(block)) for block in self.variables.holds)
        found = frozenset(block for block, what in held if what and moment[what] == "yes")
        return found.union(self.variables.blips.get(self._false_report(moment), ()))

    def _false_report(self, moment: Valuation) -> str:
        """Where the one false report is at a moment: it begins, or still lasts."""
        blips = tuple(self.variables.blips)
        if not blips:
            return observables.NOTHING
        lasting = moment[observables.blipped(blips)]
        return moment[observables.blip(blips)] if lasting == observables.NOTHING else lasting

    def false_report_after(self, moment: Valuation) -> str:
        """The same at the next moment, as far as that follows: it lasts on, or is over."""
        now = self._false_report(moment)
        if now in (observables.NOTHING, observables.OVER):
            return now
        return now if moment.get(observables.blip_lasts) == "yes" else observables.OVER

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


# Kept: those of one plan, with detection truthful or lost, and each of these prompt or not.
MOST_KEPT = 4
_latest: list[Stepper] = []


def _stepper_of(
    plan: Plan, lossy: bool, blips: bool, faults: tuple[Fault, ...], held: bool, prompt: bool
) -> Stepper:
    """The last ones are kept: histories of one plan are replayed one after the other, and each is
    looked at in two ways."""
    ways = lossy, blips, faults, held, prompt
    for kept in _latest:
        of_it = kept.lossy, kept.blips, kept.faults, kept.held, kept.prompt
        if kept.given is plan and of_it == ways:
            return kept
    new = Stepper(plan, lossy=lossy, blips=blips, faults=faults, held=held, prompt=prompt)
    _latest[:] = [new, *_latest[: MOST_KEPT - 1]]
    return new


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
    held: bool = False,
    seconds: Sequence[Fraction] = (),
    wrecks_stay: bool = True,
    mishaps: bool = True,
    prompt: bool = False,
) -> bool:
    """Whether a trace is a history of the plan at whose last moment ``bad`` holds.

    Its first moment is an initial state, each moment follows from the one before, each choice
    has one of its values, the assumptions of the file hold at every moment, the crew keeps its
    promises, and where durations matter ``seconds``, how long each moment lasts (none where not
    given), agree with them. Trains that met or derailed stay where they are; without
    ``wrecks_stay`` they may move on; without ``mishaps`` no train does either. ``prompt``: as in
    :class:`Stepper`.
    Choices and commands that a moment leaves out have their usual values.

    Raises :class:`~verifier.reference.evaluator.Unsettled`."""
    stepper = _stepper_of(plan, lossy, blips, tuple(faults), held, prompt)
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
        passes = watch.passes(state, step.begun, step.ended, lasts, hurries=step.hurries)
        if not passes or not stepper.goes(step) or not (mishaps or is_calm(observed)):
            return False
        possible = {what: (value,) for what, value in step.successor.items()}
    return bool(trace) and bad(observed)


def is_prompt(
    plan: Plan,
    trace: Sequence[Valuation],
    *,
    lossy: bool = False,
    blips: bool = False,
    faults: Sequence[Fault] = (),
    held: bool = False,
    seconds: Sequence[Fraction] = (),
) -> bool:
    """Whether in a history, of which :func:`replay` says that it is one, no delay is over and no
    time passes while what surely comes to rest has cause to move.

    Raises :class:`~verifier.reference.evaluator.Unsettled`."""
    stepper = _stepper_of(plan, lossy, blips, tuple(faults), held, True)
    if not stepper.variables.settling or not any(delays(plan.locking)):
        return True
    state: Valuation = {what: trace[0].get(what, what.usual) for what in stepper.states}
    for k, moment in enumerate(trace):
        if any(moment[what] != value for what, value in state.items() if what in moment):
            return False
        chosen = {what: moment.get(what, what.usual) for what in stepper.choices}
        ripens = {what: "yes" for what in stepper.choices if what.kind == "ripens"}
        step = stepper.step({**state, **chosen, **ripens})
        if step.hurries and k < len(seconds) and seconds[k]:
            return False
        state = step.successor
    return True


def is_calm(observed: Valuation) -> bool:
    """Whether no train collides or derails at a moment."""
    kinds = ("trains meet", "train derails")
    return not any(w.kind in kinds and value == "yes" for w, value in observed.items())


class _Step:
    """One transition, while it is computed. What happens in it does so only if the assumptions
    allow the moment that it leads to."""

    def __init__(
        self,
        stepper: Stepper,
        moment: Valuation,
        made: Valuation | None,
        wrecked: Set[str],
        alike: Alike | None,
    ):
        self.stepper = stepper
        self._wrecked = wrecked
        self.plan = stepper.plan
        self.variables = stepper.variables
        self.now = moment
        # Whether it has been chosen how trains move.
        self._trains_chosen = made is None or alike is not None
        self._alike = Alike() if alike is None else alike
        if self._alike.observed is None:
            self._alike.observed = stepper.look(moment)
        self.observed = self._alike.observed
        self._made = made
        self.successor: dict[Observable, str] = {}
        self.events: dict[Observable, str] = {}
        self.begun: list[Observable] = []
        self.ended: list[tuple[str, str]] = []

    def transition(self) -> Transition:
        acting = Acting(
            self.variables, self.now, self.observed, self.stepper.look, self.stepper.situation,
            self._made, self._alike,
        )  # fmt: skip
        acted = acting.all_acted()
        step = self._alike.step_of(acted)
        if step is None:
            step = self._transition(acting, acted)
            self._alike.steps.append((acted, step))
        return step

    def _transition(self, acting: Acting, acted: Mapping[str, Acted]) -> Transition:
        self.successor |= {what: self.now[what] for what in self.variables.states}
        self.hurries = bool(self.variables.settling) and acting.hurries
        for name, one in acted.items():
            self._becomes(name, one)
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
            self.variables, self.now, self.observed, moving, self._holds, self._wrecked,
            chosen=self._trains_chosen,
        )  # fmt: skip
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
        for block in self.variables.holds:
            self._hold(block)
        self._break()
        if self.variables.blips:
            blipped = observables.blipped(tuple(self.variables.blips))
            self.successor[blipped] = self.stepper.false_report_after(self.now)
        self._hold_down()
        if not self.stepper.may_follow(self.successor):
            self.events |= {what: "no" for what in self.events if what.kind != "lock released"}
        thrown = {
            device.name for device in self.variables.moving
            if self.successor[device.told] != self.now[device.told]
        }  # fmt: skip
        broken = CrewStep(self.variables, self.now, trains, thrown).broken()
        seen = {**self.observed, **self.events}
        waiting = tuple(name for name, one in acted.items() if one.waits)
        return Transition(
            seen, self.successor, tuple(self.begun), tuple(self.ended), broken, trains.wrecked(),
            waiting, self.hurries,
        )  # fmt: skip

    def _event(self, kind: observables.Event, name: str, happens: bool) -> None:
        self.events[observables.event(kind, name)] = "yes" if happens else "no"

    def _chosen(self, kind: Choice, name: str) -> bool:
        return self.now.get(observables.choice(kind, name), "no") == "yes"

    def _holds(self, condition: Condition) -> bool:
        """Whether a condition holds now."""
        return is_true(condition, looking_at(self.observed), {}, self.plan)

    # -------------------------------------------------------------- what acted

    def _becomes(self, name: str, acted: Acted) -> None:
        self.successor |= acted.states
        self.ended += acted.ended
        clock = self.variables.clock(name)
        if clock:
            self.successor[clock] = "running" if acted.waits else "at rest"
            self._ripens(name, clock)

    def _ripens(self, name: str, clock: Observable) -> None:
        """Whether a delay could have been over when time last passed."""
        ripe = self.variables.ripe(name)
        if ripe is None:
            return
        could = self.now[clock] == self.successor[clock] == "running"
        if could:
            could = self.now[ripe] == "yes" if self.hurries else self._chosen("ripens", name)
        self.successor[ripe] = "yes" if could else "no"

    def _moves(self, device: Device) -> bool:
        """Whether something moves. A gate that was thrown open lies open, and does not."""
        lies, then = self.now[device.lies], self.successor[device.lies]
        return then != lies or (lies == "open" and self.successor[device.told] != "open")

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

    def _hold(self, block: str) -> None:
        """Whether the detector of a block will still report stock once it has left."""
        held, lost = self.variables.held(block), self.variables.lost(block)
        if held is not None:
            detected = lost is None or self.now[lost] == "no"
            stock = self.observed[observables.stock(block)] == "occupied"
            self._window(held, begins=stock and detected, ends=False)

    def _break(self) -> None:
        """Something breaks while nothing is broken yet."""
        broken, ways = self.variables.broken, self.variables.ways
        if broken is not None and self.now[broken] == observables.NOTHING:
            self.successor[broken] = self.now[observables.breaks(tuple(ways))]

    def _hold_down(self) -> None:
        """What becomes of signals while buttons stay pressed."""
        buttons = self.stepper.held_buttons
        if buttons is not None:
            for state, after, event, again in buttons.step(self.now, self.observed):
                self.successor[state] = after
                self.events[event] = "yes" if again else "no"
            self.successor.update(buttons.commanded(self.now))

    def _window(self, window: Observable, *, begins: bool, ends: bool) -> None:
        """Whether a window is on at the next moment: it begins, or it is not over yet."""
        if begins:
            self.begun.append(window)
        on = self.now[window] == "yes" and not ends
        stays = on and not begins and self.now.get(observables.stays(window), "no") == "yes"
        self.successor[window] = "yes" if begins or stays else "no"
