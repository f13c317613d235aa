"""State variables and choices: what a moment of a history consists of.

Part of the reference, beside :mod:`verifier.reference.step`. In: a running plan. Out: the
observables kept from moment to moment, with their initial values, and those chosen anew at each.
"""

from collections.abc import Iterator, Mapping
from fractions import Fraction

from verifier.plan import observables
from verifier.plan.locking.time_steps import LOSS_SECONDS, fewest_steps, most_steps, step_length
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.reference.positions import POINTS, Positions

TICK = observables.choice("tick", "time")
_COMMANDS = ("lever", "button", "derail", "gate")


class StateVariables:
    """The state variables and choices of one plan. With ``lossy``, stock may go undetected."""

    def __init__(self, plan: Plan, positions: Positions, *, lossy: bool):
        self.plan = plan
        self.positions = positions
        self.unit = step_length(plan.locking, lossy=lossy)
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
        self._delays = {of: self._counts(seconds) for of, seconds in self._seconds() if seconds}
        self.states = tuple(self._states())
        self.choices = tuple(self._choices())

    def starts(self) -> Mapping[Observable, tuple[str, ...]]:
        """The initial values of each state variable."""
        pieces, stocked = self.plan.track.pieces, self.plan.locking.running.start_on
        return {
            what: what.values
            if what.kind in ("train", "heading") and pieces[what.name].block in stocked
            else (what.usual,)
            for what in self.states
        }

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

    def clock(self, name: str) -> Observable | None:
        """The counter of moments of a timer or a slow relay; None if nothing is counted."""
        if self.unit is None:
            return None
        counts = (delay.stop - 1 for (of, _), delay in self._delays.items() if of == name)
        most = max(counts, default=0)
        return observables.clock(name, most) if most else None

    def delay(self, name: str, to: str) -> range | None:
        """The counts at which a timer may be ``done``, or a slow relay ``up`` or ``down``; None
        if it changes at once."""
        return self._delays.get((name, to))

    def _seconds(self) -> Iterator[tuple[tuple[str, str], Fraction | None]]:
        for timer in self.plan.locking.timers.values():
            yield (timer.name, "done"), timer.seconds
        for relay in self.plan.locking.relays.values():
            yield (relay.name, "up"), relay.slow_pick
            yield (relay.name, "down"), relay.slow_release

    def _counts(self, seconds: Fraction) -> range:
        """The number of moments that a delay may last: any where durations do not matter."""
        if self.unit is None:
            return range(1)
        return range(fewest_steps(seconds, self.unit), most_steps(seconds, self.unit) + 1)

    def expires(self, name: str, to: str, now: Mapping[Observable, str]) -> bool:
        """Whether a delay ends now: when chosen, but within its range of counts, and at the last
        count when time passes."""
        delay, clock = self.delay(name, to), self.clock(name)
        if delay is None:
            return True
        count = int(now[clock]) if clock else 0
        must = count == delay.stop - 1 and clock is not None and now.get(TICK) == "yes"
        return count in delay and (must or now.get(observables.choice("expiry", name)) == "yes")

    def put_back(self, signal: str) -> Observable | None:
        """The counter of moments since a signal was put back; None without time to stop."""
        return observables.age("put back", signal, self.late_most) if self.late_most else None

    def late(self, signal: str) -> Observable | None:
        """The counter of moments for which a train may be too late to stop at a signal."""
        return observables.age("late", signal, self.late_most) if self.late_most else None

    def lost(self, block: str) -> Observable | None:
        """The counter of moments for which stock on a block goes undetected; None if never."""
        return observables.age("lost", block, self.lost_most) if self.lost_most else None

    # -------------------------------------------------------------- all of them

    def _window(self, seconds: Fraction | None) -> int:
        return most_steps(seconds, self.unit) if seconds is not None and self.unit else 0

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
            if any(of == name for of, _ in self._delays):
                yield observables.choice("expiry", name)
        if self.unit is not None:
            yield TICK
        if self.lost_most:
            yield from (observables.choice("loss", block) for block in self.detected)
        yield from (what for what in self.plan.inputs if what.kind in _COMMANDS)
