"""What a moment of a history is made of: its states, its choices, how it may all start.

Part of the reference, beside :mod:`verifier.reference.step`. In: a running plan. Out: the
observables remembered from moment to moment, those chosen anew at each, and what the first may
be at the start.
"""

from collections.abc import Iterator, Mapping
from fractions import Fraction

from verifier.plan import observables
from verifier.plan.locking.time_steps import LOSS_SECONDS, delay_in, moment, window_in
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.reference.positions import POINTS, Positions

TICK = observables.choice("tick", "time")
_COMMANDS = ("lever", "button", "derail", "gate")


class StateVariables:
    """The states and choices of one plan. With ``lossy``, stock on a block may go unseen."""

    def __init__(self, plan: Plan, places: Positions, *, lossy: bool):
        self.plan = plan
        self.positions = places
        self.unit = moment(plan.locking, lossy=lossy)
        self.late_most = self._window(plan.locking.running.to_stop)
        self.lost_most = self._window(LOSS_SECONDS) if lossy else 0
        self.turnouts = [n for n, p in plan.track.pieces.items() if p.kind in POINTS]
        self.detected = [block.name for block in plan.blocks.values() if block.detected]
        self.paced = any(block.switching for block in plan.blocks.values()) or any(
            aspect.permits and not aspect.proceeds
            for signal in plan.signals.values()
            for value in signal.aspect.values
            if (aspect := plan.chart.get(value))
        )
        self.states = tuple(self._states())
        self.choices = tuple(self._choices())

    def starts(self) -> Mapping[Observable, tuple[str, ...]]:
        """What each state may be at the start."""
        stocked = self.plan.locking.running.start_on
        open_to_any = {
            name for name in self.positions.pieces if self.plan.track.pieces[name].block in stocked
        }
        return {
            what: what.values
            if what.kind in ("train", "heading") and what.name in open_to_any
            else (what.usual,)
            for what in self.states
        }

    # -------------------------------------------------------------- observables

    def heading(self, piece: str) -> Observable:
        return observables.heading(piece, self.plan.track.pieces[piece].ends)

    def memory(self, name: str) -> Observable:
        """A relay, a timer or a direction of traffic."""
        locking = self.plan.locking
        if name in locking.relays:
            return observables.relay(name)
        return observables.timer(name) if name in locking.timers else observables.traffic(name)

    def clock(self, name: str) -> Observable | None:
        """What counts the moments of a timer or a slow relay; None where nothing counts."""
        if self.unit is None:
            return None
        timer = self.plan.locking.timers.get(name)
        delays = [self.delay(name, to) for to in (("done",) if timer else ("up", "down"))]
        most = max((delay.stop - 1 for delay in delays if delay), default=0)
        return observables.clock(name, most) if most else None

    def delay(self, name: str, to: str) -> range | None:
        """How many moments may be counted when a relay that waits to go up, or down, does so,
        or when a timer is done; None: it does not wait. Where moments are not counted, none is."""
        timer, relay = self.plan.locking.timers.get(name), self.plan.locking.relays.get(name)
        if timer is not None:
            seconds: Fraction | None = timer.seconds
        elif relay is not None:
            seconds = relay.slow_pick if to == "up" else relay.slow_release
        else:
            seconds = None
        if not seconds:
            return None
        if self.unit is None:
            return range(1)
        return range(delay_in(seconds, self.unit), window_in(seconds, self.unit) + 1)

    def expires(self, name: str, to: str, now: Mapping[Observable, str]) -> bool:
        """Whether what waits to go somewhere goes there now: as is chosen, but neither too soon
        nor beyond one moment more."""
        delay, clock = self.delay(name, to), self.clock(name)
        if delay is None:
            return True
        count = int(now[clock]) if clock else 0
        must = count == delay.stop - 1 and clock is not None and now.get(TICK) == "yes"
        return count in delay and (must or now.get(observables.choice("expiry", name)) == "yes")

    def put_back(self, signal: str) -> Observable | None:
        return observables.put_back(signal, self.late_most) if self.late_most else None

    def late(self, signal: str) -> Observable | None:
        return observables.late(signal, self.late_most) if self.late_most else None

    def lost(self, block: str) -> Observable | None:
        return observables.lost(block, self.lost_most) if self.lost_most else None

    # -------------------------------------------------------------- all of them

    def _window(self, seconds: Fraction | None) -> int:
        return window_in(seconds, self.unit) if seconds is not None and self.unit else 0

    def _states(self) -> Iterator[Observable]:
        for piece in self.positions.pieces:
            yield observables.train(piece)
            yield self.heading(piece)
            if self.paced:
                yield observables.pace(piece)
        yield from map(observables.across, self.positions.joints)
        for turnout in self.turnouts:
            yield observables.points(turnout)
            yield observables.thrown(turnout)
        for name in self.plan.locking.memory:
            yield self.memory(name)
            clock = self.clock(name)
            if clock is not None:
                yield clock
        yield from filter(None, map(self.late, self.plan.signals))
        yield from filter(None, map(self.put_back, self.plan.signals))
        yield from filter(None, map(self.lost, self.detected))

    def _choices(self) -> Iterator[Observable]:
        yield from (observables.choice("advance", joint) for joint in self.positions.joints)
        for name in self.positions.pieces:
            if self.positions.may_turn(name):
                yield observables.choice("reversal", name)
        for name, piece in self.plan.track.pieces.items():
            if piece.kind == "edge" and piece.direction != "leaving":
                yield observables.choice("entry", name)
        for turnout in self.turnouts:
            throw = self.plan.locking.throws.get(turnout)
            if throw is None or not throw.snap:
                yield observables.choice("arrival", turnout)
            if throw is None or throw.by in ("hand", "anyone"):
                yield observables.choice("throw", turnout)
        for name in self.plan.locking.memory:
            if self.delay(name, "up") or self.delay(name, "down"):
                yield observables.choice("expiry", name)
        if self.unit is not None:
            yield TICK
        if self.lost_most:
            yield from (observables.choice("loss", block) for block in self.detected)
        yield from (what for what in self.plan.inputs if what.kind in _COMMANDS)
