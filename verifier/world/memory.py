"""The transition relation of memory and points: relays, timers and direction of traffic in the
order of the file, then the commanded and the true position of points.

Twin of :mod:`verifier.reference.step`, which does the same with no expressions.
"""

from collections.abc import Callable, Iterator, Mapping
from fractions import Fraction

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
)
from verifier.logic.transition_system import Delay, Window
from verifier.plan import observables
from verifier.plan.locking.locking_model import Relay, Throw, Timer, Traffic
from verifier.plan.model import Plan
from verifier.plan.observables import Condition, Observable

Values = Mapping[str, Expr]
_MEMORY = ("relay", "timer", "traffic")
_LEGS = {"normal": "reverse", "reverse": "normal"}


class Memory:
    """The state of memory and points after one time step. ``lower`` turns a condition of the file
    into an expression over observables, ``now`` an expression over observables into one over
    states and choices; ``timed``: durations matter."""

    def __init__(
        self,
        plan: Plan,
        lower: Callable[[Condition], Expr],
        now: Callable[[Expr], Expr],
        *,
        timed: bool,
    ):
        self.plan = plan
        self._lower = lower
        self._now = now
        self._timed = timed
        self._new: dict[Observable, Values] = {}
        # Where durations matter: what takes a least time.
        self.delays: list[Delay] = []
        self.waits: list[Window] = []
        # The next value of every memory and clock, in the order of the file.
        self.following: dict[Observable, Values] = {}
        for name in plan.locking.memory:
            if name in plan.locking.relays:
                self._relay(plan.locking.relays[name])
            elif name in plan.locking.timers:
                self._timer(plan.locking.timers[name])
            else:
                self._traffic(plan.locking.traffic[name])
        for turnout in switches(plan):
            self._points(turnout)

    def holds(self, condition: Condition) -> Expr:
        """A condition as it is now."""
        return self._now(self._lower(condition))

    def _scanned(self, condition: Condition) -> Expr:
        """A condition that reads the next state of the memory that acts before it."""

        def replaced(part: Atom) -> Expr:
            new = self._new.get(part.what) if part.what.kind in _MEMORY else None
            if new is None:
                return self._now(part)
            return disjunction(*(new[value] for value in part.values))

        return substitute(self._lower(condition), replaced)

    def _set(self, what: Observable, values: Values) -> None:
        self._new[what] = self.following[what] = values

    # -------------------------------------------------------------- memory

    def _relay(self, relay: Relay) -> None:
        what = observables.relay(relay.name)
        up = atom(what, "up")
        sticks = FALSE if relay.sticks is None else self._scanned(relay.sticks)
        wants = disjunction(self._scanned(relay.picks), conjunction(up, sticks))
        picks, drops = (self._after(relay.name, d) for d in (relay.slow_pick, relay.slow_release))
        rising, falling = conjunction(negation(up), wants), conjunction(up, negation(wants))
        next_up = disjunction(
            conjunction(rising, picks), conjunction(up, negation(conjunction(falling, drops)))
        )
        self._set(what, {"down": negation(next_up), "up": next_up})
        self._delay(
            relay.name, (rising, picks, relay.slow_pick), (falling, drops, relay.slow_release)
        )

    def _after(self, name: str, seconds: Fraction | None) -> Expr:
        """When a delay is over: when that is chosen, but where durations matter not at the step at
        which it begins."""
        if not seconds:
            return TRUE
        chosen = atom(observables.choice("expiry", name), "yes")
        if not self._timed:
            return chosen
        return conjunction(chosen, atom(observables.clock(name), "running"))

    def _delay(self, name: str, *ways: tuple[Expr, Expr, Fraction | None]) -> None:
        """The clock of what waits in some way until that is over."""
        slow = [(waits, over, seconds) for waits, over, seconds in ways if seconds]
        if not slow or not self._timed:
            return
        clock = observables.clock(name)
        runs = disjunction(*(conjunction(waits, negation(over)) for waits, over, _ in slow))
        self.following[clock] = {"at rest": negation(runs), "running": runs}
        ends = tuple((conjunction(waits, over), seconds) for waits, over, seconds in slow)
        delay = Delay(clock, ends)
        self.delays.append(delay)
        at_rest = delay.at_rest
        waits = conjunction(negation(at_rest), disjunction(*(when for when, _, _ in slow)))
        self.waits.append(Window(clock, "running", at_rest, waits, delay.longest, closed=True))

    def _timer(self, timer: Timer) -> None:
        what = observables.timer(timer.name)
        runs = self._scanned(timer.runs)
        running, done = atom(what, "running"), atom(what, "done")
        over = self._after(timer.name, timer.seconds)
        next_done = conjunction(runs, disjunction(done, conjunction(running, over)))
        next_running = conjunction(runs, negation(next_done))
        self._set(what, {"idle": negation(runs), "running": next_running, "done": next_done})
        self._delay(timer.name, (conjunction(runs, running), over, timer.seconds))

    def _traffic(self, traffic: Traffic) -> None:
        what = observables.traffic(traffic.name)
        right, left = self._scanned(traffic.rightward), self._scanned(traffic.leftward)
        free = TRUE if traffic.locked is None else negation(self._scanned(traffic.locked))
        rightward = disjunction(
            conjunction(free, right, negation(left)),
            conjunction(
                atom(what, "rightward"), negation(conjunction(free, left, negation(right)))
            ),
        )
        self._set(what, {"rightward": rightward, "leftward": negation(rightward)})

    def turns(self, traffic: str) -> Expr:
        """The direction changes."""
        what = observables.traffic(traffic)
        right, left = what.values
        new = self.following[what]
        return disjunction(
            conjunction(atom(what, right), new[left]), conjunction(atom(what, left), new[right])
        )

    # -------------------------------------------------------------- points

    def is_locked(self, turnout: str) -> Expr:
        throw = self.plan.locking.throws.get(turnout)
        return FALSE if throw is None or throw.locked is None else self.holds(throw.locked)

    def _points(self, turnout: str) -> None:
        throw = self.plan.locking.throws.get(turnout)
        thrown, points = observables.thrown(turnout), observables.points(turnout)
        wanted = self._wanted(turnout, throw)
        free = negation(self.is_locked(turnout))
        commanded = {
            leg: disjunction(
                conjunction(free, wanted[leg]),
                conjunction(atom(thrown, leg), negation(conjunction(free, wanted[_LEGS[leg]]))),
            )
            for leg in _LEGS
        }
        self.following[thrown] = commanded
        if throw is not None and throw.snap:
            # Points that lie open (at no start, so never) stay so.
            lies_open = atom(points, "open")
            closed = {leg: conjunction(commanded[leg], negation(lies_open)) for leg in _LEGS}
            self.following[points] = {**closed, "open": lies_open}
            return
        arrives = atom(observables.choice("arrival", turnout), "yes")
        lies = {
            leg: conjunction(
                commanded[leg],
                disjunction(atom(points, leg), conjunction(atom(points, "open"), arrives)),
            )
            for leg in _LEGS
        }
        self.following[points] = {**lies, "open": negation(disjunction(*lies.values()))}

    def _wanted(self, turnout: str, throw: Throw | None) -> Values:
        """The position now demanded of the points; neither where there is no demand."""
        if throw is not None:
            match throw.by:
                case "lever":
                    lever = next(
                        w for w in self.plan.inputs if w.kind == "lever" and w.name == throw.lever
                    )
                    return {leg: atom(lever, leg) for leg in _LEGS}
                case "buttons":
                    one, two = (atom(observables.button(b), "pressed") for b in throw.buttons)
                    return {
                        "normal": conjunction(one, negation(two)),
                        "reverse": conjunction(two, negation(one)),
                    }
                case "rule":
                    assert throw.reverse_when is not None
                    reverse = self.holds(throw.reverse_when)
                    return {"normal": negation(reverse), "reverse": reverse}
                case _:
                    pass
        chosen = atom(observables.choice("throw", turnout), "yes")
        thrown = observables.thrown(turnout)
        return {leg: conjunction(chosen, atom(thrown, _LEGS[leg])) for leg in _LEGS}

    def points_move(self, turnout: str) -> Expr:
        points = observables.points(turnout)
        new = self.following[points]
        return disjunction(
            atom(points, "open"),
            *(conjunction(atom(points, leg), negation(new[leg])) for leg in _LEGS),
        )


def switches(plan: Plan) -> Iterator[str]:
    """The turnouts and slips of a plan."""
    return (n for n, p in plan.track.pieces.items() if p.kind in ("turnout", "slip"))
