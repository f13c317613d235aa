"""How each relay, timer, direction of traffic and turnout acts in one step, given what it reads.

In: an element of the plan, and what its conditions come to as it sees the others. Out: the next
values of its states, and its delay where durations matter.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction

from verifier.logic.expr import FALSE, TRUE, Expr, atom, conjunction, disjunction, negation
from verifier.logic.transition_system import Delay, Window
from verifier.plan import observables
from verifier.plan.locking.locking_model import Relay, Throw, Timer, Traffic
from verifier.plan.model import Plan
from verifier.plan.observables import Condition, Observable

Values = Mapping[str, Expr]
# What a condition comes to, as one that acts sees it.
Read = Callable[[Condition], Expr]
LEGS = {"normal": "reverse", "reverse": "normal"}
# Of some points: that a fault leaves them as they are, and that it leaves them open once they move.
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
    points."""

    def __init__(self, plan: Plan, *, timed: bool, stalls: Stalls | None = None):
        self.plan = plan
        self._stalls = stalls
        self._timed = timed
        self.turnouts = tuple(switches(plan))

    def states_of(self, name: str) -> tuple[Observable, ...]:
        """The states by which others see one that acts."""
        locking = self.plan.locking
        if name in locking.relays:
            return (observables.relay(name),)
        if name in locking.timers:
            return (observables.timer(name),)
        if name in locking.traffic:
            return (observables.traffic(name),)
        return observables.thrown(name), observables.points(name)

    def act(self, name: str, read: Read) -> Acts:
        locking = self.plan.locking
        if name in locking.relays:
            return self._relay(locking.relays[name], read)
        if name in locking.timers:
            return self._timer(locking.timers[name], read)
        if name in locking.traffic:
            return self._traffic(locking.traffic[name], read)
        return self._points(name, read)

    # -------------------------------------------------------------- memory

    def _relay(self, relay: Relay, read: Read) -> Acts:
        what = observables.relay(relay.name)
        up = atom(what, "up")
        sticks = FALSE if relay.sticks is None else read(relay.sticks)
        wants = disjunction(read(relay.picks), conjunction(up, sticks))
        picks, drops = (self._after(relay.name, d) for d in (relay.slow_pick, relay.slow_release))
        rising, falling = conjunction(negation(up), wants), conjunction(up, negation(wants))
        next_up = disjunction(
            conjunction(rising, picks), conjunction(up, negation(conjunction(falling, drops)))
        )
        return self._delayed(
            relay.name, what, {"down": negation(next_up), "up": next_up},
            (rising, picks, relay.slow_pick), (falling, drops, relay.slow_release),
        )  # fmt: skip

    def _after(self, name: str, seconds: Fraction | None) -> Expr:
        """When a delay is over: when that is chosen, but where durations matter not at the step at
        which it begins."""
        if not seconds:
            return TRUE
        chosen = atom(observables.choice("expiry", name), "yes")
        if not self._timed:
            return chosen
        return conjunction(chosen, atom(observables.clock(name), "running"))

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
        )
        return Acts({what: {"rightward": rightward, "leftward": negation(rightward)}})

    # -------------------------------------------------------------- points

    def is_locked(self, turnout: str, read: Read) -> Expr:
        throw = self.plan.locking.throws.get(turnout)
        return FALSE if throw is None or throw.locked is None else read(throw.locked)

    def _points(self, turnout: str, read: Read) -> Acts:
        throw = self.plan.locking.throws.get(turnout)
        thrown, points = observables.thrown(turnout), observables.points(turnout)
        wanted = self._wanted(turnout, throw, read)
        free = negation(self.is_locked(turnout, read))
        commanded = {
            leg: disjunction(
                conjunction(free, wanted[leg]),
                conjunction(atom(thrown, leg), negation(conjunction(free, wanted[LEGS[leg]]))),
            )
            for leg in LEGS
        }
        if throw is not None and throw.snap:
            # Points that lie open (at no start, so never) stay so.
            lies_open = atom(points, "open")
            closed = {leg: conjunction(commanded[leg], negation(lies_open)) for leg in LEGS}
            return Acts(
                {thrown: commanded, points: self._unless_stalled(turnout, closed, commanded)}
            )
        arrives = atom(observables.choice("arrival", turnout), "yes")
        lies = {
            leg: conjunction(
                commanded[leg],
                disjunction(atom(points, leg), conjunction(atom(points, "open"), arrives)),
            )
            for leg in LEGS
        }
        return Acts({thrown: commanded, points: self._unless_stalled(turnout, lies, commanded)})

    def _unless_stalled(self, turnout: str, lies: Values, commanded: Values) -> Values:
        """How points lie next, given when they lie each way with nothing broken."""
        points = observables.points(turnout)
        if self._stalls is not None:
            stays, stops = self._stalls(turnout)
            sound = conjunction(negation(stays), negation(stops))
            lies = {
                leg: disjunction(
                    conjunction(sound, lies[leg]),
                    conjunction(stays, atom(points, leg)),
                    conjunction(stops, negation(stays), atom(points, leg), commanded[leg]),
                )
                for leg in LEGS
            }
        return {**lies, "open": negation(disjunction(*lies.values()))}

    def _wanted(self, turnout: str, throw: Throw | None, read: Read) -> Values:
        """The position now demanded of the points; neither where there is no demand."""
        if throw is not None:
            match throw.by:
                case "lever":
                    lever = next(
                        w for w in self.plan.inputs if w.kind == "lever" and w.name == throw.lever
                    )
                    return {leg: atom(lever, leg) for leg in LEGS}
                case "buttons":
                    one, two = (atom(observables.button(b), "pressed") for b in throw.buttons)
                    return {
                        "normal": conjunction(one, negation(two)),
                        "reverse": conjunction(two, negation(one)),
                    }
                case "rule":
                    assert throw.reverse_when is not None
                    reverse = read(throw.reverse_when)
                    return {"normal": negation(reverse), "reverse": reverse}
                case _:
                    pass
        chosen = atom(observables.choice("throw", turnout), "yes")
        thrown = observables.thrown(turnout)
        return {leg: conjunction(chosen, atom(thrown, LEGS[leg])) for leg in LEGS}


def switches(plan: Plan) -> Iterator[str]:
    """The turnouts and slips of a plan."""
    return (n for n, p in plan.track.pieces.items() if p.kind in ("turnout", "slip"))
