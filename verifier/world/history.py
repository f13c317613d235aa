"""The transition relation of a plan: all that may happen on it, one time step after another.

In: a plan. Out: a :class:`System`, and any expression about the layout as one about the
states and choices of a time step. Reports come through the wiring of the file, wherever on its
block stock then stands; in the *lossy* system detection may also be lost for a while.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from functools import cached_property
from typing import get_args

from verifier.logic.expr import (
    FALSE,
    TRUE,
    Atom,
    Expr,
    atom,
    conjunction,
    disjunction,
    negation,
    substitute,
    support,
)
from verifier.logic.time_order import Order
from verifier.logic.transition_system import Delay, System, Timing, Window, window_of
from verifier.plan import observables
from verifier.plan.devices import Device, devices
from verifier.plan.locking import false_reports
from verifier.plan.locking.durations import LOSS_SECONDS, durations_matter
from verifier.plan.locking.locking_model import power_of
from verifier.plan.locking.temporal_plan import running_plan
from verifier.plan.model import Assumption, Pipe, Plan
from verifier.plan.observables import Assumed, Observable, facts_unfolded
from verifier.plan.wiring.faults import DISOBEYED, STOPPED, Fault, FaultKind, all_ways
from verifier.world.circuits import Circuits
from verifier.world.crew import Crew
from verifier.world.held_buttons import HeldButtons
from verifier.world.memory import Memory
from verifier.world.mishaps import Mishaps
from verifier.world.standing import Standing
from verifier.world.train_number import entries_at_most, number_at_most
from verifier.world.trains import Rules, TrainDynamics
from verifier.world.world import World

_EVENTS = frozenset(get_args(observables.Event))
_COMMANDS = ("lever", "button")
# The states of what is thrown, and how it is thrown.
MOVING = ("points", "derail", "gate", "thrown")
Observables = tuple[Observable, ...]
_OF_A_STEP = frozenset(
    ("train", "heading", "across", "pace", "points", "derail", "gate", "thrown", "relay", "timer",
     "traffic", "current", "share", "broken", "blipped", "wreck",
     "again", "before",
     *get_args(observables.Window), *get_args(observables.Timing), *get_args(observables.Choice))
)  # fmt: skip

# Events that are so at a moment, whatever its step leads to.
LASTING = ("lock released",)
# Delays one after the other that are compared from the start.
LONGEST_CHAIN = 3


class Histories:
    """What may happen on a plan. With ``lossy``, stock on a block may go unseen for a few
    seconds (49 CFR 236.309). With ``blips``, a vacant block, or those of a district, are once
    falsely reported occupied, for however long. With ``faults``, one of them may be present from
    some step on; it may work now and then. With ``held``, states tell whether a signal clears again
    behind a train while a button stays pressed.

    Trains that met or derailed stay where they are. The system keeps that in mind only with
    ``wrecks``; without, it is smaller and lets them move on too, which allows more. Likewise with
    ``prompt`` no delay is over while what is quicker has cause to move."""

    def __init__(
        self,
        plan: Plan,
        *,
        lossy: bool = False,
        blips: bool = False,
        faults: Sequence[Fault] = (),
        held: bool = False,
        wrecks: bool = False,
        prompt: bool = False,
    ):
        self.plan = running_plan(plan)
        self.lossy, self.blips = lossy, blips
        # What expressions come to, as they are and as the rules see them.
        self._expanded: dict[Expr, Expr] = {}
        self._as_seen: dict[Expr, Expr] = {}
        self._blips = false_reports.blips(self.plan) if blips else {}
        self._holds = false_reports.holds(self.plan)
        self._ways = all_ways(faults)
        self._world = World(self.plan, None, [fault.what for fault in faults])
        self._circuits = Circuits(self.plan, [fault.what for fault in faults])
        self._standing = Standing(self.plan, self.expand)
        self._devices = devices(self.plan)
        # What a derail that is pipe-connected has in common with its points.
        self._pipes = {
            what: device.pipe
            for device in self._devices.values()
            if device.pipe is not None
            for what in (device.lies, device.told)
        }
        self._to_stop = plan.locking.running.to_stop
        timed = durations_matter(plan.locking, lossy=lossy)
        self._trains_on = {
            block: tuple(n for n, p in self.plan.track.pieces.items() if p.block == block)
            for block in self.plan.blocks
        }
        aspects = self.plan.chart.aspects
        self._permitting = {a.name for a in aspects if a.permits}
        self._clearing = {a.name for a in aspects if a.clears}
        self._restricting = {a.name for a in aspects if a.permits and not a.proceeds}
        stalls, fed = (self._stalls, self._fed) if faults else (None, None)
        self._memory = Memory(
            self.plan, self._world.lower, self._seen, timed=timed, stalls=stalls, fed=fed,
            prompt=prompt,
        )  # fmt: skip
        rules = Rules(self._permits, self._clears, self._restricts, self._memory.holds, self._late)
        hurt = self._hurt if wrecks else None
        self._trains = TrainDynamics(self.plan, rules, paced=self._is_paced(), hurt=hurt)
        self._mishaps = Mishaps(self._trains, self._devices.values(), self._memory.moves)
        self._events: dict[Observable, Expr] = {}
        self.held = held
        self._buttons = HeldButtons(self.plan, self._memory.holds, self._permits, self._proceeds)

    # -------------------------------------------------------------- expressions

    def expand(self, expr: Expr) -> Expr:
        """An expression about the layout as one about the states and choices of a time step.
        Stock and points are the truth."""
        return substitute(expr, lambda part: self._meaning(part, seen=False), self._expanded)

    def lower(self, condition: Assumed) -> Expr:
        return self._world.lower(condition)

    def _seen(self, expr: Expr) -> Expr:
        """The same as the rules see it: of stock, what detection reports."""
        return substitute(expr, lambda part: self._meaning(part, seen=True), self._as_seen)

    def _meaning(self, part: Atom, *, seen: bool) -> Expr:
        kind = part.what.kind
        if kind in _OF_A_STEP or kind in _COMMANDS:
            pipe = self._pipes.get(part.what)
            return part if pipe is None else _of_its_points(pipe, part)
        if kind == "stock":
            there = self._there(part.what.name, seen=seen)
            return there if part.values == ("occupied",) else negation(there)
        if kind == "fault":
            return self._fault(part)
        if kind == "standing":
            return self._standing.meaning(part, self._there(part.what.name, seen=seen))
        if kind in _EVENTS:
            return self._event(part)
        return self._seen(self._world.expand(part))

    def _there(self, block: str, *, seen: bool) -> Expr:
        """That stock is on a block; with ``seen``, that detection has not lost it, or still holds
        its report."""
        there = disjunction(
            *(atom(observables.train(p), "occupied") for p in self._trains_on[block])
        )
        if seen and self.lossy and self.plan.blocks[block].detected:
            there = conjunction(there, atom(observables.window("lost", block), "no"))
        if seen and block in self._holds:
            there = disjunction(there, atom(observables.window("held", block), "yes"))
        places = [place for place, blocks in self._blips.items() if block in blocks] if seen else []
        if places:
            there = disjunction(there, self._falsely(places))
        return there

    def _falsely(self, places: Sequence[str]) -> Expr:
        """That the one false report begins now at one of some places, or still lasts there."""
        blip, blipped = (of(tuple(self._blips)) for of in (observables.blip, observables.blipped))
        begins = conjunction(atom(blip, *places), atom(blipped, observables.NOTHING))
        return disjunction(begins, atom(blipped, *places))

    def _false_report(self) -> Mapping[str, Expr]:
        """The one false report after a step: not begun, where it lasts on, or over."""
        blip, blipped = (of(tuple(self._blips)) for of in (observables.blip, observables.blipped))
        lasts = atom(observables.blip_lasts, "yes")
        on = {place: conjunction(self._falsely([place]), lasts) for place in self._blips}
        none = conjunction(*(atom(what, observables.NOTHING) for what in (blip, blipped)))
        over = negation(disjunction(none, *on.values()))
        return {observables.NOTHING: none, **on, observables.OVER: over}

    # -------------------------------------------------------------- faults

    def broken(self, faults: Iterable[Fault]) -> Expr:
        """That one of some faults is present, whether or not it works now."""
        return atom(self._broken, *all_ways(faults))

    @property
    def _broken(self) -> Observable:
        return observables.broken(tuple(self._ways))

    def _fault(self, part: Atom) -> Expr:
        """That a fault is in one of some states."""
        ways = [name for name, (what, way) in self._ways.items() if what == part.what
                and (way in part.values) != ("sound" in part.values)]  # fmt: skip
        present = atom(self._broken, *ways) if ways else FALSE
        present = conjunction(present, atom(observables.works, "no"))
        return negation(present) if "sound" in part.values else present

    def _breaks(self) -> Mapping[str, Expr]:
        """One thing breaks at most, and stays broken."""
        broken, breaks = self._broken, observables.breaks(tuple(self._ways))
        sound = atom(broken, observables.NOTHING)
        found = {
            way: disjunction(atom(broken, way), conjunction(sound, atom(breaks, way)))
            for way in self._ways
        }
        return {**found, observables.NOTHING: negation(disjunction(*found.values()))}

    def _fed(self, name: str) -> Expr:
        """That a relay, a timer or a direction of traffic has power."""
        power = power_of(name, self.plan.locking)
        return TRUE if power is None else self.expand(self._circuits.fed(power.wire, power.supply))

    def _stalls(self, turnout: str) -> tuple[Expr, Expr]:
        """That points stay as they are, and that they come to no end of their travel."""
        machine = self.plan.wiring.machines.get(turnout)
        if machine is None or machine.motor is None:
            return FALSE, FALSE
        stopped = self._circuits.broken(FaultKind.MACHINE, turnout, ways=(STOPPED,))
        stays = disjunction(
            self._circuits.broken(FaultKind.MACHINE, turnout, ways=(DISOBEYED,)),
            negation(self._circuits.may_move(machine)),
        )
        return self.expand(stays), self.expand(stopped)

    def _permits(self, signal: str) -> Expr:
        return self._seen(atom(self.plan.signals[signal].reading, *self._permitting))

    def _clears(self, signal: str) -> Expr:
        return self._seen(atom(self.plan.signals[signal].reading, *self._clearing))

    def _proceeds(self, signal: str) -> Expr:
        proceeding = (a.name for a in self.plan.chart.aspects if a.proceeds)
        return self._seen(atom(self.plan.signals[signal].reading, *proceeding))

    def _restricts(self, signal: str) -> Expr:
        return self._seen(atom(self.plan.signals[signal].reading, *self._restricting))

    def _late(self, signal: str) -> Expr:
        return FALSE if self._to_stop is None else atom(observables.window("late", signal), "yes")

    def _is_paced(self) -> bool:
        shown = (s.reading.values for s in self.plan.signals.values())
        switching = any(b.switching for b in self.plan.blocks.values())
        return switching or any(self._restricting.intersection(values) for values in shown)

    # -------------------------------------------------------------- events

    def events(self) -> Iterator[Observable]:
        """Everything that may happen at one step."""
        for device in self._devices.values():
            yield observables.event("points move", device.name)
            throw = self.plan.locking.throws.get(device.name)
            if throw is not None and throw.electric:
                yield observables.event("lock released", device.name)
            if device.kind in ("derail", "gate"):
                yield observables.event("train derails", device.name)
        for piece in self._trains.pieces:
            yield observables.event("trains meet", piece)
            yield observables.event("train derails", piece)
        for name in self.plan.locking.traffic:
            yield observables.event("traffic turns", name)
        if self.held:
            yield from (each.event for each in self._buttons.held)

    def _event(self, part: Atom) -> Expr:
        what = part.what
        if what not in self._events:
            self._events[what] = self._event_of(what)
        known = self._events[what]
        return known if part.values == ("yes",) else negation(known)

    def _event_of(self, what: Observable) -> Expr:
        """What happens does so in a step to a moment that the assumptions allow."""
        happens = self._happens(what)
        return happens if what.kind in LASTING else conjunction(happens, self._may_follow)

    @cached_property
    def _may_follow(self) -> Expr:
        """The assumptions hold after the step, whatever people command by then (``then``)."""
        following = self._following
        known: dict[Atom, Expr] = {}

        def after(part: Atom) -> Expr:
            if part not in known:
                values = following.get(part.what)
                known[part] = (
                    atom(observables.then(part.what), *part.values)
                    if values is None
                    else disjunction(*(values[value] for value in part.values))
                )
            return known[part]

        asked = zip(self.plan.assumptions, self._always, strict=True)
        # A step always leads to no more trains than there were with those that came in.
        return conjunction(*(substitute(expr, after) for a, expr in asked if a.trains is None))

    def _hurt(self, piece: str) -> Expr:
        return self._mishaps.hurt(piece)

    def _happens(self, what: Observable) -> Expr:
        name = what.name
        match what.kind:
            case "points move":
                return self._memory.moves(name)
            case "lock released":
                return negation(self._memory.is_locked(name))
            case "traffic turns":
                return self._memory.turns(name)
            case "trains meet":
                return self._mishaps.meets(name)
            case "clears again":
                return self._buttons.clears_again(what)
            case _:
                device = self._devices.get(name)
                if device is None:
                    return self._mishaps.runs_wrong(name)
                return self._mishaps.derails(device)

    def no_mishap(self) -> tuple[Expr, ...]:
        """That no train collides or derails in a step, nor is bound to derail in the next one."""
        kinds = ("trains meet", "train derails")
        happens = [self._happens(event) for event in self.events() if event.kind in kinds]
        return (*map(negation, happens), *map(self._after, self.at_rest_beneath()))

    def at_rest_beneath(self) -> tuple[Expr, ...]:
        """Of each thing that moves, that it is at rest while a train is on it."""
        return tuple(map(self._at_rest_beneath, self._devices.values()))

    def _at_rest_beneath(self, device: Device) -> Expr:
        free = [negation(self._trains.occupied(piece)) for piece in device.pieces]
        free += map(self._trains.is_free, device.joints)
        mover = device if device.pipe is None else self._devices[device.pipe.points]
        rests = (conjunction(atom(mover.lies, to), atom(mover.told, to)) for to in mover.positions)
        return disjunction(conjunction(*free), *rests)

    def _after(self, expr: Expr) -> Expr:
        """An expression over states, as it is after a step."""
        following = self._following
        return substitute(
            expr, lambda part: disjunction(*(following[part.what][v] for v in part.values))
        )

    # -------------------------------------------------------------- the system

    @cached_property
    def _limited(self) -> tuple[tuple[Window, Expr], ...]:
        return tuple(self._windows())

    @cached_property
    def _following(self) -> Mapping[Observable, Mapping[str, Expr]]:
        following: dict[Observable, Mapping[str, Expr]] = dict(self._trains.following())
        following |= self._memory.following
        if self.held:
            following.update(self._buttons.following())
        if self._ways:
            following[self._broken] = self._breaks()
        if self._blips:
            following[observables.blipped(tuple(self._blips))] = self._false_report()
        following |= {window.what: _lasting(window, ends) for window, ends in self._limited}
        return following

    @cached_property
    def _always(self) -> tuple[Expr, ...]:
        return tuple(map(self._assumed, self.plan.assumptions))

    def _assumed(self, assumption: Assumption) -> Expr:
        if assumption.trains is not None:
            return number_at_most(assumption.trains, self._trains)
        return self.expand(self._world.lower(assumption.condition))

    @cached_property
    def system(self) -> System:
        """The transition system: states, inputs, initial states, transition relation."""
        following, always = self._following, (*self._always, *self._promised())
        windows = [window for window, _ in self._limited]
        exprs = [e for values in following.values() for e in values.values()]
        exprs += [self._event_of(event) for event in self.events()]
        exprs += self._reports()
        free = (w for expr in (*exprs, *always) for w in support(expr) if w not in following)
        inputs = tuple(dict.fromkeys((*self._commands(), *free)))
        initial = {what: self._at_start(what) for what in following}
        delays = tuple(self._memory.delays)
        timing = None
        if delays and windows:
            waits = tuple(self._memory.waits)
            timing = Timing(delays, tuple(windows), waits, self._memory.hurries)
        alike = tuple(self._alike(initial))
        return System(tuple(following), inputs, initial, following, always, timing, alike)

    def _promised(self) -> Iterator[Expr]:
        """What the crew promises. (There is always a step that keeps it, so that what happens need
        not ask whether one follows.)"""
        crew = Crew(self.plan, self._memory, self._trains, self._permits, self._late)
        return map(crew.kept, self.plan.locking.promises)

    def _reports(self) -> Iterator[Expr]:
        """What is reported to anyone of blocks: what is asked may depend on it."""
        readers = ("", *self.plan.wiring.drivers)
        for block in self.plan.blocks.values():
            if block.detected and self.plan.wiring.reports_may_differ:
                report = observables.block_report(block.name)
                for reader in readers:
                    yield self.expand(atom(observables.at_reader(report, reader), "occupied"))

    def _windows(self) -> Iterator[tuple[Window, Expr]]:
        """What lasts a limited time, and what ends it before."""
        if self._to_stop is not None:
            yield from self._lateness(self._to_stop)
        if self.lossy:
            yield from self._losses()
        for block, seconds in self._holds.items():
            held = observables.window("held", block)
            stock = self.expand(atom(observables.stock(block), "occupied"))
            lost = atom(observables.window("lost", block), "yes") if self.lossy else FALSE
            yield window_of(held, conjunction(stock, negation(lost)), seconds), FALSE

    @cached_property
    def order(self) -> Order:
        """The comparisons of windows with delays that proofs are likely to need: single delays that
        last as long, of what is near. (Any choice is sound.)"""
        order = Order()
        timing = self.system.timing
        if timing is None:
            return order
        for window in timing.windows:
            near = self._near(window.what)
            for delay in timing.delays:
                if not near.isdisjoint((delay.clock, *self.system.support(delay.clock))):
                    for chain in self._long_enough(window, [delay]):
                        order = order.also([window], [(d.clock, d.longest) for d in chain])
        return order

    def _long_enough(self, window: Window, chain: list[Delay]) -> Iterator[list[Delay]]:
        """The shortest chains that begin so, in which each delay waits for the one before, and
        that last as long as a window."""
        if window.excludes(chain[-1].longest):
            yield chain[-1:]
        elif window.excludes(sum((delay.longest for delay in chain), Fraction(0))):
            yield chain
        elif self.system.timing is not None and len(chain) < LONGEST_CHAIN:
            for delay in self.system.timing.delays:
                if delay not in chain and chain[-1].clock.name in self._reads(delay.clock.name):
                    yield from self._long_enough(window, [*chain, delay])

    def _reads(self, name: str) -> frozenset[str]:
        """The relays and timers that the conditions of one read."""
        locking = self.plan.locking
        if name in locking.timers:
            conditions = [locking.timers[name].runs]
        else:
            relay = locking.relays[name]
            conditions = [c for c in (relay.picks, relay.sticks) if c is not None]
        facts = facts_unfolded(conditions, lambda n: self.plan.conditions[n].condition)
        return frozenset(fact.what.name for fact in facts if fact.what.kind in ("relay", "timer"))

    def _near(self, window: Observable) -> frozenset[Observable]:
        """A window, the commands and memory that it depends on, and what that memory reads."""
        kinds = (*_COMMANDS, "relay", "timer", "traffic")
        reads = {w for w in self.system.support(window) if w.kind in kinds}
        memory = (w for w in reads if w in self.system.following)
        clocks = {c for w in memory for c in self.system.support(w) if c.kind == "clock"}
        return frozenset((window, *reads, *clocks))

    @property
    def in_turn(self) -> Mapping[Observable, str]:
        """The choices by which relays, timers and traffic act in the order of the file."""
        return self._memory.in_turn

    @property
    def standing(self) -> Mapping[Observable, Expr]:
        """The states of trains where they may stand without a route: outside of limits; and of
        each, that all of the train is there."""
        return dict(self._trains.standing())

    def to_rest(self) -> tuple[tuple[Expr, ...], ...]:
        """Conditions that should be brought about one after the other, in two stages: that all of
        each train is on one piece, and then that each has left the layout."""
        return tuple(self._trains.pulled_in()), tuple(self._trains.ways_out())

    @property
    def always_at_entries(self) -> tuple[Expr, ...]:
        """The constraints of the system, with the number of trains asked only where one comes in:
        then it binds no step at which none does. Histories are the same, as long as no more stand
        on the layout at the start."""
        running = self.plan.locking.running
        start = [p for p in self.plan.track.pieces.values() if p.block in running.start_on]
        found = list(self.system.always)
        for i, assumption in enumerate(self.plan.assumptions):
            if assumption.trains is not None and len(start) <= assumption.trains:
                found[i] = entries_at_most(assumption.trains, self._trains)
        return tuple(found)

    def consistent_trains(self) -> tuple[Expr, ...]:
        """What is expected of trains that span joints."""
        return tuple(self._trains.consistent())

    def _commands(self) -> Iterator[Observable]:
        return (w for w in self.plan.inputs if w.kind in _COMMANDS)

    def _at_start(self, what: Observable) -> tuple[str, ...]:
        if what.kind in ("train", "heading"):
            block = self.plan.track.pieces[what.name].block
            if block in self.plan.locking.running.start_on:
                return what.values
        if what.kind in MOVING:
            return self.plan.locking.starts.of(what.name, what.values)
        return (what.usual,)

    def _alike(self, initial: Mapping[Observable, tuple[str, ...]]) -> Iterator[Observables]:
        """What moves starts at rest: it lies as it is thrown."""
        moving: dict[str, list[Observable]] = {}
        for what, values in initial.items():
            if what.kind in MOVING and len(values) > 1:
                moving.setdefault(what.name, []).append(what)
        for group in self.plan.locking.starts.together(moving):
            states = tuple(what for name in group for what in moving.get(name, ()))
            if len(states) > 1:
                yield states

    def _lateness(self, seconds: Fraction) -> Iterator[tuple[Window, Expr]]:
        for signal in self.plan.signals:
            present = self._trains.may_approach(signal)
            fresh = conjunction(self._clears(signal), present)
            late = observables.window("late", signal)
            yield window_of(late, fresh, seconds), negation(present)
            passed = self._trains.occupied(self.plan.signals[signal].enters.piece)
            put_back = observables.window("put back", signal)
            yield window_of(put_back, self._clears(signal), seconds), passed

    def _losses(self) -> Iterator[tuple[Window, Expr]]:
        for block in self.plan.blocks.values():
            if block.detected:
                lost = observables.window("lost", block.name)
                stock = self.expand(atom(observables.stock(block.name), "occupied"))
                begins = conjunction(
                    atom(lost, "no"), atom(observables.choice("loss", block.name), "yes"), stock
                )
                yield window_of(lost, begins, LOSS_SECONDS), FALSE


def _of_its_points(pipe: Pipe, part: Atom) -> Expr:
    """How a pipe-connected derail lies, or is told to lie, as what its points do."""
    of = observables.thrown if part.what.kind == "thrown" else observables.points
    return atom(of(pipe.points), *map(pipe.points_for, part.values))


def _lasting(window: Window, ends: Expr) -> Mapping[str, Expr]:
    """A window is on once it has begun, and then until something ends it or its time is over."""
    stays = atom(observables.stays(window.what), "yes")
    goes_on = conjunction(window.is_on, negation(ends), stays)
    on = disjunction(window.begins, goes_on)
    return {"no": negation(on), "yes": on}
