"""State variables and choices: what a moment of a history consists of.

Part of the reference, beside :mod:`verifier.reference.step`. In: a running plan. Out: the
observables kept from moment to moment, with their initial values, and those chosen anew at each.
"""

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction

from verifier.plan import observables
from verifier.plan.devices import devices
from verifier.plan.locking import false_reports
from verifier.plan.locking.durations import LOSS_SECONDS, delays, durations_matter
from verifier.plan.locking.held_buttons import commands_of, held_buttons
from verifier.plan.locking.settling import settling
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.wiring.faults import Fault, all_ways
from verifier.reference.positions import Positions
from verifier.reference.sights import sights_of

_COMMANDS = ("lever", "button")
_OF_WIRING = ("standing", "current", "share")
# What is thrown, and how it is thrown.
_MOVING = ("points", "derail", "gate", "thrown")


class StateVariables:
    """The state variables and choices of one plan. ``lossy``, ``blips``, ``faults`` and
    ``held`` as in :class:`~verifier.reference.step.Stepper`."""

    def __init__(
        self,
        plan: Plan,
        positions: Positions,
        *,
        lossy: bool,
        blips: bool = False,
        faults: Sequence[Fault] = (),
        held: bool = False,
        prompt: bool = False,
    ):
        self.held_buttons = held_buttons(plan) if held else ()
        self.blips = false_reports.blips(plan) if blips else {}
        self.holds = false_reports.holds(plan)
        self.ways = all_ways(faults)
        self.faults = frozenset(fault.what for fault in plan.equipment.faults)
        self.plan = plan
        self.positions = positions
        self.timed = durations_matter(plan.locking, lossy=lossy)
        self._prompt = prompt
        # What moves before any time passes, where it has cause to.
        self.settling = settling(plan) if prompt else frozenset[str]()
        self._to_stop = plan.locking.running.to_stop
        self._lossy = lossy
        self.devices = devices(plan)
        # What has a state of its own: all but derails that are pipe-connected.
        self.moving = [d for d in self.devices.values() if d.pipe is None]
        self.detected = [block.name for block in plan.blocks.values() if block.detected]
        self.paced = any(block.switching for block in plan.blocks.values()) or any(
            aspect.permits and not aspect.proceeds
            for signal in plan.signals.values()
            for value in signal.aspect.values
            if (aspect := plan.chart.get(value))
        )
        self.acting = (*plan.locking.memory, *(device.name for device in self.moving))
        self.sights = tuple(sights_of(plan, self.acting)) if plan.locking.building.of_relays else ()
        self.turnouts = [device.name for device in self.moving if device.has_points]
        self._delays = {(d.name, d.to): d.seconds for d in delays(plan.locking)}
        self.states = tuple(self._states())
        self.choices = tuple(self._choices())

    def starts(self) -> Mapping[Observable, tuple[str, ...]]:
        """The initial values of each state variable, whatever those of the others."""
        pieces, stocked = self.plan.track.pieces, self.plan.locking.running.start_on
        starts: dict[Observable, tuple[str, ...]] = {}
        for what in self.states:
            starts[what] = (what.usual,)
            if what.kind in ("train", "heading") and pieces[what.name].block in stocked:
                starts[what] = what.values
            elif what.kind in _MOVING:
                positions = self.plan.locking.starts.positions.get(what.name)
                starts[what] = positions or _at_rest(what)
        return starts

    def is_start(self, state: Mapping[Observable, str]) -> bool:
        """Whether what moves is at rest, and what starts alike lies alike; given that each state
        variable has one of its initial values."""
        lies: dict[str, set[str]] = {}
        for what in self.states:
            if what.kind in _MOVING:
                lies.setdefault(what.name, set()).add(state[what])
        alike = (
            set[str]().union(*(lies.get(name, ()) for name in group))
            for group in self.plan.locking.starts.alike
        )
        return all(len(positions) <= 1 for positions in (*lies.values(), *alike))

    # -------------------------------------------------------------- observables

    def heading(self, piece: str) -> Observable:
        """The end by which the train on a piece came in."""
        return observables.heading(piece, self.plan.track.pieces[piece].ends)

    def memory(self, name: str) -> Observable:
        """The state of a relay, a timer or a direction of traffic."""
        locking = self.plan.locking
        if name in locking.relays:
            return observables.relay(name)
        return observables.timer(name) if name in locking.timers else observables.traffic(name)

    def seen_by(self, name: str) -> tuple[Observable, ...]:
        """The states by which others see one that acts."""
        if name in self.devices:
            return self.devices[name].told, self.devices[name].lies
        return (self.memory(name),)

    def clock(self, name: str) -> Observable | None:
        """Whether a timer or a slow relay waits; None where durations do not matter."""
        waits = self.timed or self._prompt
        return observables.clock(name) if waits and self._is_delayed(name) else None

    def ripe(self, name: str) -> Observable | None:
        """Whether a timer or a slow relay that waits could have ended when time last passed; None
        where that does not matter."""
        return observables.ripe(name) if self.settling and self._is_delayed(name) else None

    def _is_delayed(self, name: str) -> bool:
        return any(of == name for of, _ in self._delays)

    def delay(self, name: str, to: str) -> Fraction | None:
        """The least seconds after which a timer may be ``done``, or a slow relay ``up`` or
        ``down``; None if it changes at once."""
        return self._delays.get((name, to))

    def put_back(self, signal: str) -> Observable | None:
        """Whether a signal was put back lately; None without time to stop."""
        return None if self._to_stop is None else observables.window("put back", signal)

    def late(self, signal: str) -> Observable | None:
        """Whether a train may be too late to stop at a signal; None without time to stop."""
        return None if self._to_stop is None else observables.window("late", signal)

    def lost(self, block: str) -> Observable | None:
        """Whether stock on a block goes undetected; None if it never does."""
        return observables.window("lost", block) if self._lossy else None

    def held(self, block: str) -> Observable | None:
        """Whether the detector of a block still reports stock that has left; None if it never
        does."""
        return observables.window("held", block) if block in self.holds else None

    @property
    def broken(self) -> Observable | None:
        """What is broken; None where nothing may be."""
        return observables.broken(tuple(self.ways)) if self.ways else None

    def broken_in(self, state: Mapping[Observable, str]) -> tuple[Observable, str] | None:
        """What is broken in a state, and in which way; None if nothing is."""
        return None if self.broken is None else self.ways.get(state[self.broken])

    def windows(self) -> Iterator[tuple[Observable, Fraction]]:
        """What lasts less than so many seconds."""
        if self._to_stop is not None:
            for signal in self.plan.signals:
                yield observables.window("late", signal), self._to_stop
                yield observables.window("put back", signal), self._to_stop
        if self._lossy:
            yield from (
                (observables.window("lost", block), LOSS_SECONDS) for block in self.detected
            )
        for block, seconds in self.holds.items():
            yield observables.window("held", block), seconds

    # -------------------------------------------------------------- all of them

    def _states(self) -> Iterator[Observable]:
        for piece in self.positions.pieces:
            yield observables.train(piece)
            yield self.heading(piece)
            if self.paced:
                yield observables.pace(piece)
        yield from map(observables.across, self.positions.joints)
        for device in self.moving:
            yield device.lies
            yield device.told
        for name in self.plan.locking.memory:
            yield self.memory(name)
            clock = self.clock(name)
            if clock is not None:
                yield clock
            if (ripe := self.ripe(name)) is not None:
                yield ripe
        yield from (window for window, _ in self.windows())
        if self.broken is not None:
            yield self.broken
        if self.blips:
            yield observables.blipped(tuple(self.blips))
        yield from (each.state for each in self.held_buttons)
        yield from map(observables.before, commands_of(self.held_buttons))

    def _choices(self) -> Iterator[Observable]:
        yield from (observables.choice("advance", joint) for joint in self.positions.joints)
        for name in self.positions.pieces:
            if self.positions.may_turn(name):
                yield observables.choice("reversal", name)
        for name, piece in self.plan.track.pieces.items():
            if piece.kind == "edge" and piece.direction != "leaving":
                yield observables.choice("entry", name)
        for device in self.moving:
            throw = self.plan.locking.throws.get(device.name)
            if throw is None or not throw.snap:
                yield observables.choice("arrival", device.name)
            if throw is None or throw.by in ("hand", "anyone"):
                yield observables.choice("throw", device.name)
        for name in self.plan.locking.memory:
            if self._is_delayed(name):
                yield observables.choice("expiry", name)
            if self.ripe(name) is not None:
                yield observables.choice("ripens", name)
        yield from (sight.choice for sight in self.sights)
        yield from (observables.stays(window) for window, _ in self.windows())
        if self.ways:
            yield observables.breaks(tuple(self.ways))
            yield observables.works
        if self.blips:
            yield observables.blip(tuple(self.blips))
            yield observables.blip_lasts
        if self._lossy:
            yield from (observables.choice("loss", block) for block in self.detected)
        yield from (what for what in self.plan.inputs if what.kind in _COMMANDS)
        yield from (what for what in self.plan.inputs if what.kind in _OF_WIRING)


def _at_rest(what: Observable) -> tuple[str, ...]:
    """How something lies while it does not move: it does not lie open, but for a gate."""
    return tuple(v for v in what.values if v != "open" or what.values[0] == "seated")
