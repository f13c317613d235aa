"""How each relay, timer, direction of traffic and device acts in one step, given what it reads.

In: an element of the plan, and what its conditions come to as it sees the others. Out: the next
values of its states, and its delay where durations matter.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction

from verifier.logic.expr import FALSE, TRUE, Expr, atom, conjunction, disjunction, negation
from verifier.logic.transition_system import Delay, Window
from verifier.plan import observables
from verifier.plan.devices import Device, devices
from verifier.plan.locking.locking_model import Relay, Throw, Timer, Traffic
from verifier.plan.model import Plan
from verifier.plan.observables import Condition, Observable

Values = Mapping[str, Expr]
# What a condition comes to, as one that acts sees it.
Read = Callable[[Condition], Expr]
# Of a relay, timer or direction of traffic: that it has power.
Fed = Callable[[str], Expr]
# Of what moves: that a fault leaves it as it is, and that it leaves it open once it moves.
Stalls = Callable[[str], tuple[Expr, Expr]]
# A delay that may begin and end: while it is waited for, when it is over, how long it lasts.
_Way = tuple[Expr, Expr, Fraction | None]


@dataclass(frozen=True, slots=True)
class Acts:
    """The next values of the states of one that acts; its delay, and that it is not late."""

    following: Mapping[Observable, Values]
    delay: Delay | None = None
    wait: Window | None = None


class Acting:
    """How everything of a plan acts. ``timed``: durations matter; ``stalls``: what faults do to
    points; ``fed``: what they do to the power of memory. ``hurries``: that no time passes."""

    def __init__(
        self,
        plan: Plan,
        *,
        timed: bool,
        stalls: Stalls | None = None,
        fed: Fed | None = None,
        hurries: Expr = FALSE,
    ):
        self.plan = plan
        self._fed = fed
        self._stalls = stalls
        self._timed = timed
        self._hurries = hurries
        self.devices = devices(plan)
        # What has a state of its own: not derails that are pipe-connected.
        self.moving = tuple(name for name, d in self.devices.items() if d.pipe is None)

    def states_of(self, name: str) -> tuple[Observable, ...]:
        """The states by which others see one that acts."""
        locking = self.plan.locking
        if name in locking.relays:
            return (observables.relay(name),)
        if name in locking.timers:
            return (observables.timer(name),)
        if name in locking.traffic:
            return (observables.traffic(name),)
        return self.devices[name].told, self.devices[name].lies

    def act(self, name: str, read: Read) -> Acts:
        if self._fed is not None and (fed := self._fed(name)) is not TRUE:
            return self._act(name, lambda condition: conjunction(fed, read(condition)))
        return self._act(name, read)

    def _act(self, name: str, read: Read) -> Acts:
        locking = self.plan.locking
        if name in locking.relays:
            return self._relay(locking.relays[name], read)
        if name in locking.timers:
            return self._timer(locking.timers[name], read)
        if name in locking.traffic:
            return self._traffic(locking.traffic[name], read)
        return self._device(self.devices[name], read)

    # -------------------------------------------------------------- memory

    def _relay(self, relay: Relay, read: Read) -> Acts:
        what = observables.relay(relay.name)
        up = atom(what, "up")
        sticks = FALSE if relay.sticks is None else read(relay.sticks)
        wants = disjunction(read(relay.picks), conjunction(up, sticks))
        picks, drops = (self._after(relay.name, d) for d in (relay.slow_pick, relay.slow_release))
        kept = negation(self._forgotten(relay.name))
        rising, falling = conjunction(negation(up), wants), conjunction(up, kept, negation(wants))
        next_up = disjunction(
            conjunction(rising, picks), conjunction(up, kept, negation(conjunction(falling, drops)))
        )
        return self._delayed(
            relay.name, what, {"down": negation(next_up), "up": next_up},
            (rising, picks, relay.slow_pick), (falling, drops, relay.slow_release),
        )  # fmt: skip

    def _forgotten(self, name: str) -> Expr:
        """That a program on a board has no power, so that what it keeps is as at the start."""
        if self._fed is None or self.plan.locking.building.board is None:
            return FALSE
        return negation(self._fed(name))

    def _after(self, name: str, seconds: Fraction | None) -> Expr:
        """When a delay is over: when that is chosen, but where durations matter not at the step at
        which it begins."""
        if not seconds:
            return TRUE
        chosen = atom(observables.choice("expiry", name), "yes")
        if not self._timed:
            return chosen
        ripe = atom(observables.ripe(name), "yes")
        may_end = TRUE if self._hurries is FALSE else disjunction(negation(self._hurries), ripe)
        return conjunction(chosen, atom(observables.clock(name), "running"), may_end)

    def _delayed(self, name: str, what: Observable, values: Values, *ways: _Way) -> Acts:
        """With the clock of what waits in some way until that is over."""
        slow = [(waits, over, seconds) for waits, over, seconds in ways if seconds]
        if not slow or not self._timed:
            return Acts({what: values})
        clock = observables.clock(name)
        runs = disjunction(*(conjunction(waits, negation(over)) for waits, over, _ in slow))
        following = {what: values, clock: {"at rest": negation(runs), "running": runs}}
        ends = tuple((conjunction(waits, over), seconds) for waits, over, seconds in slow)
        delay = Delay(clock, ends)
        at_rest = delay.at_rest
        waits = conjunction(negation(at_rest), disjunction(*(when for when, _, _ in slow)))
        wait = Window(clock, "running", at_rest, waits, delay.longest, closed=True)
        return Acts(following, delay, wait)

    def _timer(self, timer: Timer, read: Read) -> Acts:
        what = observables.timer(timer.name)
        runs = read(timer.runs)
        running, done = atom(what, "running"), atom(what, "done")
        over = self._after(timer.name, timer.seconds)
        next_done = conjunction(runs, disjunction(done, conjunction(running, over)))
        next_running = conjunction(runs, negation(next_done))
        values = {"idle": negation(runs), "running": next_running, "done": next_done}
        return self._delayed(
            timer.name, what, values, (conjunction(runs, running), over, timer.seconds)
        )

    def _traffic(self, traffic: Traffic, read: Read) -> Acts:
        what = observables.traffic(traffic.name)
        right, left = read(traffic.rightward), read(traffic.leftward)
        free = TRUE if traffic.locked is None else negation(read(traffic.locked))
        rightward = disjunction(
            conjunction(free, right, negation(left)),
            conjunction(
                atom(what, "rightward"), negation(conjunction(free, left, negation(right)))
            ),
            self._forgotten(traffic.name),
        )
        return Acts({what: {"rightward": rightward, "leftward": negation(rightward)}})

    # -------------------------------------------------------------- what moves

    def is_locked(self, device: str, read: Read) -> Expr:
        throw = self.plan.locking.throws.get(device)
        return FALSE if throw is None or throw.locked is None else read(throw.locked)

    def _device(self, device: Device, read: Read) -> Acts:
        throw = self.plan.locking.throws.get(device.name)
        told, lies = device.told, device.lies
        wanted = self._wanted(device, throw, read)
        free = negation(self.is_locked(device.name, read))
        commanded = {
            to: disjunction(
                conjunction(free, wanted[to]),
                conjunction(atom(told, to), negation(conjunction(free, wanted[device.other(to)]))),
            )
            for to in device.positions
        }
        if throw is not None and throw.snap:
            closed = {to: commanded[to] for to in device.closed}
        else:
            arrives = atom(observables.choice("arrival", device.name), "yes")
            open_before = conjunction(atom(lies, "open"), arrives)
            closed = {
                to: conjunction(commanded[to], disjunction(atom(lies, to), open_before))
                for to in device.closed
            }
        if self._stalls is not None:
            closed = self._unless_stalled(device, closed, commanded)
        elif throw is not None and throw.snap:
            return Acts({told: commanded, lies: {"open": FALSE, **commanded}})
        lies_open = negation(disjunction(*closed.values()))
        return Acts({told: commanded, lies: {**closed, "open": lies_open}})

    def _unless_stalled(self, device: Device, lies: Values, commanded: Values) -> dict[str, Expr]:
        """How something lies next, given when it lies each way with nothing broken."""
        assert self._stalls is not None
        stays, stops = self._stalls(device.name)
        sound = conjunction(negation(stays), negation(stops))
        return {
            to: disjunction(
                conjunction(sound, lies[to]),
                conjunction(stays, atom(device.lies, to)),
                conjunction(stops, negation(stays), atom(device.lies, to), commanded[to]),
            )
            for to in device.closed
        }

    def _wanted(self, device: Device, throw: Throw | None, read: Read) -> Values:
        """The position now demanded; neither where there is no demand."""
        normal, away = device.positions
        if throw is not None:
            match throw.by:
                case "lever":
                    lever = next(
                        w for w in self.plan.inputs if w.kind == "lever" and w.name == throw.lever
                    )
                    return {normal: atom(lever, "normal"), away: atom(lever, "reverse")}
                case "buttons":
                    one, two = (atom(observables.button(b), "pressed") for b in throw.buttons)
                    return {
                        normal: conjunction(one, negation(two)),
                        away: conjunction(two, negation(one)),
                    }
                case "rule":
                    assert throw.away_when is not None
                    reverse = read(throw.away_when)
                    return {normal: negation(reverse), away: reverse}
                case _:
                    pass
        chosen = atom(observables.choice("throw", device.name), "yes")
        return {to: conjunction(chosen, atom(device.told, device.other(to)))
                for to in device.positions}  # fmt: skip
