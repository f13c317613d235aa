"""What follows a moment of a history, worked out directly from the plan.

Part of the reference: what follows is worked out with no expressions, and with nothing of
:mod:`verifier.world` but situations. In: a plan, and a moment: the value of every state, choice
and command. Out: everything that can be observed at that moment, events included, and the value
each state has next.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product

from verifier.plan import observables
from verifier.plan.locking.locking_model import Relay, Throw, Timer, Traffic
from verifier.plan.locking.temporal_plan import running_plan
from verifier.plan.model import Plan, Signal
from verifier.plan.observables import Choice, Condition, Observable
from verifier.plan.situation import Situation
from verifier.reference.condition_eval import Predicate, is_true, looking_at
from verifier.reference.evaluator import Evaluator, Seen
from verifier.reference.positions import Positions
from verifier.reference.state_variables import TICK, StateVariables
from verifier.reference.train_step import Moved, Now, may_be_before, move_trains

Valuation = Mapping[Observable, str]


@dataclass(frozen=True, slots=True)
class Transition:
    """``observed``: everything that can be observed at a moment, events included.
    ``successor``: the next value of each state variable."""

    observed: Mapping[Observable, str]
    successor: Mapping[Observable, str]


class Stepper:
    """The histories of one plan, one step at a time. With ``lossy``, stock on a block may go
    unseen for a few seconds."""

    def __init__(self, plan: Plan, *, lossy: bool = False):
        self.plan = running_plan(plan)
        self.positions = Positions(self.plan)
        self.variables = StateVariables(self.plan, self.positions, lossy=lossy)
        self.states = self.variables.states
        self.choices = self.variables.choices
        self._see = remembering(Evaluator(self.plan))
        self._levers = {what.name: what for what in self.plan.inputs if what.kind == "lever"}

    def initial_states(self) -> Iterator[dict[Observable, str]]:
        """Every way in which it may all start."""
        starts = self.variables.starts()
        for values in product(*starts.values()):
            yield dict(zip(starts, values, strict=True))

    def step(self, moment: Valuation) -> Transition:
        """What there is to see at a moment, and what follows it."""
        return _Moment(self, moment).step()

    def state_of(self, moment: Valuation) -> dict[Observable, str]:
        """The values of the state variables alone."""
        return {what: moment[what] for what in self.states}

    def allowed(self, seen: Valuation) -> bool:
        """Whether the assumptions of the file hold at a moment, given all there is to see."""
        return all(
            is_true(assumed.condition, looking_at(seen), {}, self.plan)
            for assumed in self.plan.assumptions
        )

    # -------------------------------------------------------------- what is seen

    def look(self, moment: Valuation) -> dict[Observable, str]:
        """All that can be observed at a moment, but for events."""
        stock = self._stock(moment)
        unseen = {
            observables.stock(block)
            for block in self.variables.detected
            if self._is_lost(block, moment)
        }
        # Choices that nothing observes are not read: the explicit search branches on reading.
        detected = {**stock, **dict.fromkeys(unseen, "vacant")}
        situation = Situation.of(
            (what, detected.get(what) or moment[what]) for what in self.plan.inputs
        )
        states = {**self._see(situation).states, **self.state_of(moment), **stock}
        named: dict[str, bool] = {}
        for name, condition in self.plan.conditions.items() if unseen else ():
            named[name] = is_true(condition.condition, looking_at(states), named, self.plan)
            states[observables.condition(name)] = "true" if named[name] else "false"
        return states

    def _stock(self, moment: Valuation) -> dict[Observable, str]:
        stock = {observables.stock(block): "vacant" for block in self.plan.blocks}
        for name in self.positions.pieces:
            block = self.plan.track.pieces[name].block
            if block is not None and moment[observables.train(name)] == "occupied":
                stock[observables.stock(block)] = "occupied"
        return stock

    def _is_lost(self, block: str, moment: Valuation) -> bool:
        lost = self.variables.lost(block)
        return lost is not None and moment[lost] != "no"


def remembering(evaluator: Evaluator) -> Callable[[Situation], Seen]:
    """What the evaluator sees, kept for the next moment that is the same situation: moments
    often differ in clocks and choices only."""
    return lru_cache(maxsize=4_000)(evaluator.see)


def replay(plan: Plan, trace: Sequence[Valuation], bad: Predicate, *, lossy: bool = False) -> bool:
    """Whether a trace is a history of the plan, and what is asked of its last moment holds.

    It begins as histories begin; all that is chosen may be chosen; what the file takes for
    granted holds at every moment; and each moment is what follows the one before. What a
    trace leaves open of choices and commands is as usual."""
    stepper = Stepper(plan, lossy=lossy)
    must: Mapping[Observable, tuple[str, ...]] = stepper.variables.starts()
    seen: Mapping[Observable, str] = {}
    for given in trace:
        if any(given.get(what) not in values for what, values in must.items()):
            return False
        chosen = {what: given.get(what, what.usual) for what in stepper.choices}
        if any(value not in what.values for what, value in chosen.items()):
            return False
        step = stepper.step({**{what: given[what] for what in must}, **chosen})
        seen = step.observed
        if not stepper.allowed(seen):
            return False
        must = {what: (value,) for what, value in step.successor.items()}
    return bool(trace) and bad(seen)


def initial_states(plan: Plan) -> Iterator[dict[Observable, str]]:
    """Every way in which the histories of a plan may start."""
    return Stepper(plan).initial_states()


class _Moment:
    """One moment, while what follows it is being worked out."""

    def __init__(self, stepper: Stepper, moment: Valuation):
        self.plan = stepper.plan
        self.positions = stepper.positions
        self.variables = stepper.variables
        self.levers = stepper._levers
        self.now = moment
        self.seen = stepper.look(moment)
        # What memory comes to, as far as it has acted in this step.
        self.acted: dict[Observable, str] = {}

    def step(self) -> Transition:
        following: dict[Observable, str] = {}
        events: dict[Observable, str] = {}
        self._move_points(following, events)
        trains = self._for_trains(events)
        moved = move_trains(self.positions, trains)
        self._keep_trains(moved, following, events)
        self._act(following)
        for name in self.plan.locking.traffic:
            what = observables.traffic(name)
            turns = self.acted[what] != self.now[what]
            events[observables.event("traffic turns", name)] = _yes(turns)
        for signal in self.plan.signals.values():
            self._count_late(signal, trains, following)
        for block in self.variables.detected:
            self._count_lost(block, following)
        ordered = {what: following[what] for what in self.variables.states}
        return Transition({**self.seen, **events}, ordered)

    def chosen(self, kind: Choice, name: str) -> bool:
        return self.now.get(observables.choice(kind, name), "no") == "yes"

    def ticks(self) -> bool:
        return self.now.get(TICK, "no") == "yes"

    def holds(self, condition: Condition) -> bool:
        """Whether a condition holds, memory as it is now."""
        return is_true(condition, looking_at(self.seen), {}, self.plan)

    def holds_by_now(self, condition: Condition) -> bool:
        """The same, memory that has acted already as it will be."""
        return is_true(condition, looking_at({**self.seen, **self.acted}), {}, self.plan)

    # -------------------------------------------------------------- memory

    def _act(self, following: dict[Observable, str]) -> None:
        locking = self.plan.locking
        for name in locking.memory:
            what, clock = self.variables.memory(name), self.variables.clock(name)
            count = int(self.now[clock]) if clock else 0
            if name in locking.relays:
                then, count = self._relay(locking.relays[name], count)
            elif name in locking.timers:
                then, count = self._timer(locking.timers[name], count)
            else:
                then = self._traffic(locking.traffic[name])
            self.acted[what] = following[what] = then
            if clock:
                following[clock] = str(count)

    def _relay(self, relay: Relay, count: int) -> tuple[str, int]:
        now = self.now[observables.relay(relay.name)]
        up = self.holds_by_now(relay.picks)
        if not up and now == "up" and relay.sticks is not None:
            up = self.holds_by_now(relay.sticks)
        wants = "up" if up else "down"
        if wants == now:
            return now, 0
        delay = self.variables.delay(relay.name, wants)
        if delay is None or self.variables.expires(relay.name, wants, self.now):
            return wants, 0
        return now, self._counted(count, delay)

    def _timer(self, timer: Timer, count: int) -> tuple[str, int]:
        now = self.now[observables.timer(timer.name)]
        if not self.holds_by_now(timer.runs):
            return "idle", 0
        if now == "idle":
            return "running", 0
        delay = self.variables.delay(timer.name, "done")
        if now == "done" or delay is None or self.variables.expires(timer.name, "done", self.now):
            return "done", 0
        return "running", self._counted(count, delay)

    def _counted(self, count: int, delay: range) -> int:
        return count + 1 if count < delay.stop - 1 and self.ticks() else count

    def _traffic(self, traffic: Traffic) -> str:
        now = self.now[observables.traffic(traffic.name)]
        if traffic.locked is not None and self.holds_by_now(traffic.locked):
            return now
        rightward = self.holds_by_now(traffic.rightward)
        leftward = self.holds_by_now(traffic.leftward)
        if rightward == leftward:
            return now
        return "rightward" if rightward else "leftward"

    # -------------------------------------------------------------- points

    def _move_points(self, following: dict[Observable, str], events: dict[Observable, str]) -> None:
        for name in self.variables.turnouts:
            throw = self.plan.locking.throws.get(name)
            told, lies = observables.thrown(name), observables.points(name)
            locked = throw is not None and throw.locked is not None and self.holds(throw.locked)
            wanted = None if locked else self._wanted(name, throw)
            following[told] = self.now[told] if wanted is None else wanted
            following[lies] = self._lies_then(name, following[told], throw)
            moves = self.now[lies] == "open" or following[lies] != self.now[lies]
            events[observables.event("points move", name)] = _yes(moves)
            if throw is not None and throw.electric:
                events[observables.event("lock released", name)] = _yes(not locked)

    def _wanted(self, turnout: str, throw: Throw | None) -> str | None:
        """How points are asked to lie, if they are."""
        match throw.by if throw else "anyone":
            case "lever" if throw and throw.lever:
                lever = self.now[self.levers[throw.lever]]
                return lever if lever in ("normal", "reverse") else None
            case "buttons" if throw:
                normal, reverse = (
                    self.now[observables.button(b)] == "pressed" for b in throw.buttons
                )
                if normal == reverse:
                    return None
                return "normal" if normal else "reverse"
            case "rule" if throw and throw.reverse_when:
                return "reverse" if self.holds(throw.reverse_when) else "normal"
            case _:
                if not self.chosen("throw", turnout):
                    return None
                return "reverse" if self.now[observables.thrown(turnout)] == "normal" else "normal"

    def _lies_then(self, turnout: str, told: str, throw: Throw | None) -> str:
        lies = self.now[observables.points(turnout)]
        if lies == "open":
            return told if self.chosen("arrival", turnout) else "open"
        if lies == told:
            return lies
        return told if throw is not None and throw.snap else "open"

    # -------------------------------------------------------------- trains

    def _for_trains(self, events: Mapping[Observable, str]) -> Now:
        now, places, parts = self.now, self.positions, self.variables
        signals = self.plan.signals.values()
        aspects = {s.name: self.plan.chart.get(self.seen[s.reading]) for s in signals}
        return Now(
            on={p: now[observables.train(p)] == "occupied" for p in places.pieces},
            heading={p: now[parts.heading(p)] for p in places.pieces},
            spanned={j: now[observables.across(j)] == "spanned" for j in places.joints},
            restricted={
                p: parts.paced and now[observables.pace(p)] == "restricted" for p in places.pieces
            },
            lies={t: now[observables.points(t)] for t in parts.turnouts},
            moving={
                t: events[observables.event("points move", t)] == "yes" for t in parts.turnouts
            },
            permits={
                name: aspect is not None and aspect.permits for name, aspect in aspects.items()
            },
            proceeds={
                name: aspect is not None and aspect.proceeds for name, aspect in aspects.items()
            },
            late={s.name: self._is_late(s) for s in signals},
            coming_in={
                edge: self.holds(condition)
                for edge, condition in self.plan.locking.running.entering.items()
            },
            chosen=self.chosen,
        )

    def _keep_trains(
        self, moved: Moved, following: dict[Observable, str], events: dict[Observable, str]
    ) -> None:
        for piece in self.positions.pieces:
            on = moved.on.get(piece)
            train, heading, pace = (
                observables.train(piece),
                self.variables.heading(piece),
                observables.pace(piece),
            )
            following[train] = self.now[train] if on is None else "occupied" if on else "vacant"
            following[heading] = moved.heading.get(piece, self.now[heading])
            if self.variables.paced:
                slow = moved.restricted.get(piece)
                following[pace] = (
                    self.now[pace] if slow is None else "restricted" if slow else "full"
                )
            events[observables.event("trains meet", piece)] = _yes(piece in moved.meets)
            events[observables.event("train derails", piece)] = _yes(piece in moved.derails)
        for joint in self.positions.joints:
            across, spanned = observables.across(joint), moved.spanned.get(joint)
            following[across] = (
                self.now[across] if spanned is None else "spanned" if spanned else "free"
            )

    # -------------------------------------------------------------- what is late, what is lost

    def _is_late(self, signal: Signal) -> bool:
        late = self.variables.late(signal.name)
        return late is not None and self.now[late] != "no"

    def _count_late(self, signal: Signal, trains: Now, following: dict[Observable, str]) -> None:
        late = self.variables.late(signal.name)
        if late is None:
            return
        present = may_be_before(self.positions, trains, signal)
        aspect = self.plan.chart.get(self.seen[signal.reading])
        permits = aspect is not None and aspect.permits
        put_back = self.variables.put_back(signal.name)
        assert put_back is not None
        if permits:
            following[put_back] = "0"
        elif self.now[observables.train(signal.enters.piece)] == "occupied":
            following[put_back] = "no"
        else:
            following[put_back] = self._one_more(put_back)
        if permits and present:
            following[late] = "0"
        elif not present:
            following[late] = "no"
        else:
            following[late] = self._one_more(late)

    def _count_lost(self, block: str, following: dict[Observable, str]) -> None:
        lost = self.variables.lost(block)
        if lost is None:
            return
        if self.now[lost] != "no":
            following[lost] = self._one_more(lost)
        else:
            gone = self.seen[observables.stock(block)] == "occupied" and self.chosen("loss", block)
            following[lost] = "0" if gone else "no"

    def _one_more(self, what: Observable) -> str:
        """The next value of what is running out, ``no`` once it has."""
        now = self.now[what]
        if now == "no" or not self.ticks():
            return now
        then = str(int(now) + 1)
        return then if then in what.values else "no"


def _yes(holds: bool) -> str:
    return "yes" if holds else "no"
