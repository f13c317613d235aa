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
from verifier.plan import observables
from verifier.plan.locking.locking_model import Relay, Throw, Timer, Traffic
from verifier.plan.locking.time_steps import fewest_steps, most_steps
from verifier.plan.model import Plan
from verifier.plan.observables import Condition, Observable

Values = Mapping[str, Expr]
_MEMORY = ("relay", "timer", "traffic")
_LEGS = {"normal": "reverse", "reverse": "normal"}


class Memory:
    """The state of memory and points after one time step. ``lower`` turns a condition of the file
    into an expression over observables, ``now`` an expression over observables into one over
    states and choices; ``unit`` is the length of a time step where durations matter."""

    def __init__(
        self,
        plan: Plan,
        lower: Callable[[Condition], Expr],
        now: Callable[[Expr], Expr],
        unit: Fraction | None,
    ):
        self.plan = plan
        self._lower = lower
        self._now = now
        self._unit = unit
        self._new: dict[Observable, Values] = {}
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
        most = clocks(relay, self._unit)
        picks, counted_up = self._after(relay.name, relay.slow_pick, most)
        drops, counted_down = self._after(relay.name, relay.slow_release, most)
        rising, falling = conjunction(negation(up), wants), conjunction(up, negation(wants))
        next_up = disjunction(
            conjunction(rising, picks), conjunction(up, negation(conjunction(falling, drops)))
        )
        self._set(what, {"down": negation(next_up), "up": next_up})
        if most:
            counts = disjunction(
                conjunction(rising, negation(picks)), conjunction(falling, negation(drops))
            )
            limit = [(rising, counted_up), (falling, counted_down)]
            clock = observables.clock(relay.name, most)
            self.following[clock] = self._counted(clock, counts, limit)

    def _after(self, name: str, delay: Fraction | None, most: int) -> tuple[Expr, int]:
        """When a delay is over, and the most time steps counted until then. It is over at any time
        from the fewest steps that fit into it on, and before one more than the most passes: a
        delay that began earlier within one step, or was rounded, may end first."""
        if not delay:
            return TRUE, 0
        chosen = atom(observables.choice("expiry", name), "yes")
        if self._unit is None:
            return chosen, 0
        least, longest = fewest_steps(delay, self._unit), most_steps(delay, self._unit)
        clock = observables.clock(name, most)
        last = conjunction(
            atom(clock, str(longest)), atom(observables.choice("tick", "time"), "yes")
        )
        counted = atom(clock, *clock.values[least : longest + 1])
        return conjunction(counted, disjunction(chosen, last)), longest

    def _counted(
        self, clock: Observable, counts: Expr, limits: list[tuple[Expr, int]]
    ) -> dict[str, Expr]:
        """A clock that counts on ticks while ``counts``, and is else at 0."""
        tick = atom(observables.choice("tick", "time"), "yes")
        values: dict[str, Expr] = {}
        for i, value in enumerate(clock.values[1:], 1):
            within = disjunction(*(when for when, limit in limits if limit >= i))
            up = conjunction(atom(clock, clock.values[i - 1]), tick, within)
            at_limit = disjunction(*(when for when, limit in limits if limit <= i))
            stay = conjunction(atom(clock, value), disjunction(negation(tick), at_limit))
            values[value] = conjunction(counts, disjunction(up, stay))
        values["0"] = negation(disjunction(*values.values()))
        return values

    def _timer(self, timer: Timer) -> None:
        what = observables.timer(timer.name)
        runs = self._scanned(timer.runs)
        running, done = atom(what, "running"), atom(what, "done")
        most = 0 if self._unit is None else most_steps(timer.seconds, self._unit)
        over, _ = self._after(timer.name, timer.seconds, most)
        next_done = conjunction(runs, disjunction(done, conjunction(running, over)))
        next_running = conjunction(runs, negation(next_done))
        self._set(what, {"idle": negation(runs), "running": next_running, "done": next_done})
        if most:
            clock = observables.clock(timer.name, most)
            counts = conjunction(runs, running, negation(over))
            self.following[clock] = self._counted(clock, counts, [(TRUE, most)])

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


def clocks(relay: Relay, unit: Fraction | None) -> int:
    """How far the clock of a slow relay counts; 0 where it has none."""
    if unit is None:
        return 0
    delays = (d for d in (relay.slow_pick, relay.slow_release) if d is not None)
    return max((most_steps(d, unit) for d in delays), default=0)
