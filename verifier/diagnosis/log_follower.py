"""Follow a plan beside the log of what a built layout did, and find where the two part.

In: a plan, and events in the order of time. Out: the first :class:`Departure`. Detectors, contacts,
levers and buttons say what the rules act on; lamps, relays and points are compared with what the
rules make of it, worked out by the reference stepper. Which relay acts first is left open: the
layout departs only where no order explains it. Stock must come from beside a block, and go there.

Memory is constant: of the log only the last events are kept, and what was worked out is kept in
caches of fixed size.
"""

from collections import deque
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from math import inf
from typing import Literal

from verifier.diagnosis.log_reader import LogEvent, LoggedThing
from verifier.plan import observables
from verifier.plan.devices import Device, devices
from verifier.plan.model import Plan, Port
from verifier.plan.observables import Observable
from verifier.plan.wiring.derive_equipment import without_wiring
from verifier.reference.condition_eval import is_true, looking_at
from verifier.reference.explicit_states import in_any_order
from verifier.reference.step import Stepper

# How long, in seconds, a lamp or relay may take to follow, and points that the file gives no time.
TOLERANCE, POINTS_TAKE = 1.0, 5.0
LAST_EVENTS = 8
# Ways in which relays may stand that are followed at a time, orders tried, steps to come to rest.
MOST_WAYS, MOST_ORDERS, MOST_STEPS = 64, 64, 120
_CACHED = 1 << 14
_KEPT = ("thrown", "relay", "timer", "traffic", "clock")

DepartureKind = Literal["lamp", "memory", "points", "appears", "vanishes"]


class CannotFollow(Exception):
    """The plan leaves open what comes next, so that nothing can be compared with it."""


@dataclass(frozen=True, slots=True)
class Departure:
    """Where the layout parts from the plan: at ``time`` after the event in ``line``, ``name`` was
    ``seen`` where the plan has ``expected``, and stayed so. ``reported``: the inputs then;
    ``memory``: how relays stood by the plan; ``lamps``: by head the color last seen; ``states``:
    all that the plan has at that moment. ``last``: the events up to it."""

    kind: DepartureKind
    name: str
    expected: str
    seen: str
    time: float
    line: int
    reported: Mapping[Observable, str]
    memory: Mapping[Observable, str]
    lamps: Mapping[str, str]
    states: Mapping[Observable, str]
    last: tuple[LogEvent, ...]


@dataclass(frozen=True, slots=True)
class Followed:
    """``events``: how many were read; ``until``: the last of them; ``departure``: None where
    the layout did as planned all along. ``unseen``: names of heads that the log does not have."""

    plan: Plan
    events: int
    until: LogEvent | None
    departure: Departure | None
    unseen: tuple[str, ...]


def follow(plan: Plan, events: Iterable[LogEvent], tolerance: float = TOLERANCE) -> Followed:
    """Follow a log up to the first departure. ``tolerance``: seconds that a lamp or relay may take.

    Raises :class:`InputError` as the events do, and :class:`CannotFollow`."""
    follower = PlanFollower(plan, tolerance)
    count, event = 0, None
    for count, event in enumerate(events, start=1):
        departure = follower.take(event)
        if departure is not None:
            return Followed(plan, count, event, departure, follower.unseen())
    return Followed(plan, count, event, follower.end(), follower.unseen())


_Values = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Way:
    """How memory may stand: the values of what is kept, and since when each delay runs."""

    kept: _Values
    since: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class _Wrong:
    """Something that is not as planned since a time, and what was read just before."""

    kind: DepartureKind
    name: str
    expected: str
    seen: str
    time: float
    line: int
    allowed: float
    inputs: _Values
    kept: _Values
    last: tuple[LogEvent, ...]


class PlanFollower:
    """Takes one event after another."""

    def __init__(self, plan: Plan, tolerance: float = TOLERANCE):
        self.plan, self.tolerance = plan, tolerance
        # An assumption of the file is nothing that a built layout keeps to.
        self.stepper = Stepper(replace(without_wiring(plan), assumptions=()))
        self.running = self.stepper.plan
        self.devices = {d.name: d for d in devices(self.running).values() if d.pipe is None}
        self._piece = {
            block: next((n for n, p in plan.track.pieces.items() if p.block == block), None)
            for block in plan.blocks
        }
        self._commands = [w for w in self.stepper.choices if w.kind in ("lever", "button")]
        self._read = (
            *(observables.block_report(block) for block in plan.blocks),
            *(device.report for device in self.devices.values()),
            *self._commands,
        )
        self._place = {what: n for n, what in enumerate(self._read)}
        self._inputs = [what.usual for what in self._read]
        self._kept = tuple(w for w in self.stepper.states if w.kind in _KEPT)
        self._kept_at = {what: n for n, what in enumerate(self._kept)}
        self._usual = {w: w.usual for w in (*self.stepper.states, *self.stepper.choices)}
        self._step = lru_cache(_CACHED)(self._stepped)
        self._show = lru_cache(_CACHED)(self._shown)
        self._detectors: dict[str, dict[str, str]] = {}  # by block and detector
        self._seen: dict[LoggedThing, str] = {}  # what is compared
        self._ways: dict[_Way, dict[str, _Wrong]] = {}
        self._track = _Track(plan, tolerance)
        self._last: deque[LogEvent] = deque(maxlen=LAST_EVENTS)
        self._now: float | None = None
        self._line = 0
        self._changed = True

    # -------------------------------------------------------------- events

    def take(self, event: LogEvent) -> Departure | None:
        """The departure that shows by the time of this event; what it says counts from then on."""
        if self._now is None:
            self._ways = {_Way(tuple(what.usual for what in self._kept)): {}}
            self._now = event.time
        if event.time > self._now:
            departure = self._until(event.time)
            if departure is not None:
                return departure
            self._now = event.time
        self._apply(event)
        return None

    def end(self) -> Departure | None:
        """The departure that shows in what the log ends with."""
        return None if self._now is None else self._until(self._now, over=True)

    def unseen(self) -> tuple[str, ...]:
        """The heads that the log has not spoken of so far."""
        spoken = {thing.name for thing in self._seen}
        return tuple(
            head.name for signal in self.plan.signals.values() for head in signal.heads
            if head.name not in spoken and signal.name not in spoken
        )  # fmt: skip

    def _apply(self, event: LogEvent) -> None:
        thing, state = event.thing, event.state
        self._last.append(event)
        self._line = event.line
        match thing.kind:
            case "detector":
                said = self._detectors.setdefault(thing.what.name, {})
                said[thing.name] = state
                occupied = "occupied" in said.values()
                self._report(thing.what, "occupied" if occupied else "clear")
            case "block" | "position" | "command":
                self._report(thing.what, state)
            case _:
                self._changed |= self._seen.get(thing) != state
                self._seen[thing] = state

    def _report(self, what: Observable, state: str) -> None:
        place = self._place.get(what)
        if place is None:
            return
        changed = self._inputs[place] != state
        self._inputs[place] = state
        self._changed |= changed
        if what.kind == "block report":
            assert self._now is not None
            self._track.reports(what.name, state, self._now, self._line, tuple(self._last))

    # -------------------------------------------------------------- time

    def _until(self, time: float, *, over: bool = False) -> Departure | None:
        """Let the plan go on to a time. What was read last has come together by now."""
        assert self._now is not None
        if self._changed:
            self._changed = False
            self._settle(self._now)
            self._compare(self._now)
        while (due := self._due()) <= time:
            self._expire(due)
            self._settle(due)
            self._compare(due)
        found = self._refuted(time, over=over)
        strange = self._track.strange(time, over=over)
        if strange is not None and (found is None or strange.time < found.time):
            kept = next(iter(self._ways)).kept
            return self._departure(replace(strange, inputs=tuple(self._inputs), kept=kept))
        return None if found is None else self._departure(found)

    def _due(self) -> float:
        """When the next delay is over, by the plan."""
        return min(
            (
                since + self._delay(name, way.kept)
                for way in self._ways
                for name, since in way.since
            ),
            default=inf,
        )

    def _delay(self, name: str, kept: _Values) -> float:
        locking = self.plan.locking
        timer = locking.timers.get(name)
        if timer is not None:
            return float(timer.seconds)
        relay = locking.relays[name]
        is_up = kept[self._kept_at[observables.relay(name)]] == "up"
        return float((relay.slow_release if is_up else relay.slow_pick) or 0)

    def _expire(self, due: float) -> None:
        ways: dict[_Way, dict[str, _Wrong]] = {}
        for way, wrong in self._ways.items():
            ended = next((n for n, s in way.since if s + self._delay(n, way.kept) <= due), "")
            if not ended:
                ways.setdefault(way, wrong)
                continue
            for kept, waiting in self._step(way.kept, tuple(self._inputs), ended):
                since = tuple((n, s) for n, s in way.since if n != ended and n in waiting)
                ways.setdefault(_Way(kept, since), dict(wrong))
        self._ways = ways

    def _settle(self, time: float) -> None:
        """Let relays act until all are at rest, in whatever order."""
        inputs = tuple(self._inputs)
        rest: dict[_Way, dict[str, _Wrong]] = {}
        todo = [(self._thrown_by_hand(way), wrong, 0) for way, wrong in self._ways.items()]
        seen: set[_Way] = set()
        while todo:
            way, wrong, depth = todo.pop()
            if way in seen:
                continue
            seen.add(way)
            if depth > MOST_STEPS or len(seen) > MOST_WAYS * MOST_STEPS:
                raise CannotFollow("relays do not come to rest")
            before = dict(way.since)
            for kept, waiting in self._step(way.kept, inputs, ""):
                since = tuple((name, before.get(name, time)) for name in waiting)
                then = _Way(kept, since)
                if kept == way.kept:
                    rest.setdefault(then, dict(wrong))
                else:
                    todo.append((then, wrong, depth + 1))
        if not rest or len(rest) > MOST_WAYS:
            raise CannotFollow("it depends too much on which relay acts first")
        self._ways = rest

    def _thrown_by_hand(self, way: _Way) -> _Way:
        """People throw what nothing else does; unless it is locked."""
        kept = list(way.kept)
        for device in self.devices.values():
            throw = self.plan.locking.throws.get(device.name)
            if throw is not None and throw.by not in ("hand", "anyone"):
                continue
            lies = self._inputs[self._place[device.report]]
            if throw is not None and throw.locked is not None:
                states = self._show(way.kept, tuple(self._inputs))
                if is_true(throw.locked, looking_at(states), {}, self.running):
                    continue
            if lies in device.positions:
                kept[self._kept_at[device.told]] = lies
        return _Way(tuple(kept), way.since)

    # -------------------------------------------------------------- the plan

    def _moment(self, kept: _Values, inputs: _Values) -> dict[Observable, str]:
        moment = {**self._usual, **dict(zip(self._kept, kept, strict=True))}
        for what, state in zip(self._read, inputs, strict=True):
            if what.kind == "block report":
                piece = self._piece[what.name]
                if piece is not None:
                    occupied = "occupied" if state == "occupied" else "vacant"
                    moment[observables.train(piece)] = occupied
            elif what.kind in observables.OF_CONTACTS:
                moment[self.devices[what.name].lies] = "open" if state == "moving" else state
            else:
                moment[what] = state
        return moment

    def _stepped(
        self, kept: _Values, inputs: _Values, expiring: str
    ) -> tuple[tuple[_Values, tuple[str, ...]], ...]:
        """What memory may be next, each with the delays that run on."""
        moment = self._moment(kept, inputs)
        if expiring:
            moment[observables.choice("expiry", expiring)] = "yes"
        steps = in_any_order(self.stepper, moment, MOST_ORDERS)
        if steps is None:
            raise CannotFollow("it depends too much on which relay acts first")
        found = ((tuple(s.successor[w] for w in self._kept), s.waiting) for s in steps)
        return tuple(dict.fromkeys(found))

    def _shown(self, kept: _Values, inputs: _Values) -> Mapping[Observable, str]:
        """Everything that can be observed by the plan."""
        return self.stepper.look(self._moment(kept, inputs))

    # -------------------------------------------------------------- comparing

    def _compare(self, time: float) -> None:
        """Note for each way what is not as it has it, since when."""
        inputs = tuple(self._inputs)
        for way, wrong in self._ways.items():
            states = self._show(way.kept, inputs)
            for thing, state in self._seen.items():
                planned = states[thing.what]
                kind: DepartureKind = "memory" if thing.kind == "memory" else "lamp"
                self._note(wrong, way, kind, thing.name, planned, state, time, self.tolerance)
            for device in self.devices.values():
                told = way.kept[self._kept_at[device.told]]
                lies = inputs[self._place[device.report]]
                allowed = self.tolerance + self._takes(device)
                self._note(wrong, way, "points", device.name, told, lies, time, allowed)

    def _note(
        self,
        wrong: dict[str, _Wrong],
        way: _Way,
        kind: DepartureKind,
        name: str,
        planned: str,
        seen: str,
        time: float,
        allowed: float,
    ) -> None:
        key = f"{kind} {name}"
        known = wrong.get(key)
        if planned == seen:
            wrong.pop(key, None)
        elif known is None or (known.expected, known.seen) != (planned, seen):
            # Wrong in another way is wrong on; once the plan has moved on, there is time again.
            goes_on = known is not None and known.seen != seen
            since, line = (known.time, known.line) if known and goes_on else (time, self._line)
            wrong[key] = _Wrong(
                kind, name, planned, seen, since, line, allowed, tuple(self._inputs), way.kept,
                tuple(self._last),
            )  # fmt: skip

    def _takes(self, device: Device) -> float:
        machine = self.plan.wiring.machines.get(device.name)
        if machine is not None and machine.seconds is not None:
            return float(machine.seconds)
        return POINTS_TAKE

    def _refuted(self, time: float, *, over: bool) -> _Wrong | None:
        """Drop the ways that are wrong for too long; what refutes the last of them. At the end of
        the log, what has lasted for just as long as allowed is wrong, too."""
        verdicts = []
        for way, wrong in self._ways.items():
            late = [
                w for w in wrong.values()
                if time - w.time > w.allowed or (over and time - w.time >= w.allowed)
            ]  # fmt: skip
            verdicts.append((way, min(late, key=lambda w: w.time, default=None)))
        alive = [way for way, found in verdicts if found is None]
        if alive:
            self._ways = {way: self._ways[way] for way in alive}
            return None
        return max((found for _, found in verdicts if found), key=lambda w: w.time, default=None)

    def _departure(self, wrong: _Wrong) -> Departure:
        memory = dict(zip(self._kept, wrong.kept, strict=True))
        return Departure(
            wrong.kind, wrong.name, wrong.expected, wrong.seen, wrong.time, wrong.line,
            dict(zip(self._read, wrong.inputs, strict=True)),
            {what: state for what, state in memory.items() if what.kind != "clock"},
            {thing.name: state for thing, state in self._seen.items() if thing.kind == "head"},
            self._show(wrong.kept, wrong.inputs), wrong.last,
        )  # fmt: skip


# ------------------------------------------------------------------ track


@dataclass(slots=True)
class _Block:
    state: str
    since: float
    occupied_until: float  # the last time at which it was occupied
    doubt: _Wrong | None = None


class _Track:
    """Stock does not come out of nothing: a block becomes occupied only from beside it, and clear
    only to there. Points are not looked at, since a train may run through them."""

    def __init__(self, plan: Plan, tolerance: float):
        self.tolerance = tolerance
        self._beside = {block: frozenset(_neighbors(plan, block)) for block in plan.blocks}
        self._blocks: dict[str, _Block] = {}
        self._doubts: set[str] = set()

    def reports(
        self, name: str, state: str, time: float, line: int, last: tuple[LogEvent, ...]
    ) -> None:
        block = self._blocks.get(name)
        if block is None:
            until = time if state == "occupied" else -inf
            self._blocks[name] = _Block(state, time, until)
            return
        if block.state == state:
            return
        if block.state == "occupied":
            block.occupied_until = time
        block.state, block.since = state, time
        kind: DepartureKind = "appears" if state == "occupied" else "vanishes"
        planned = "clear" if state == "occupied" else "occupied"
        block.doubt = _Wrong(
            kind, name, planned, state, time, line, self.tolerance, (), (), last
        )  # fmt: skip
        self._doubts.add(name)

    def strange(self, time: float, *, over: bool) -> _Wrong | None:
        """The first change that nothing beside the block explains, once that is certain."""
        found = []
        for name in tuple(self._doubts):
            doubt = self._blocks[name].doubt
            assert doubt is not None
            if self._explained(name, doubt):
                self._doubts.discard(name)
            elif time - doubt.time > doubt.allowed or (over and time - doubt.time >= doubt.allowed):
                found.append(doubt)
        return min(found, key=lambda one: one.time, default=None)

    def _explained(self, name: str, doubt: _Wrong) -> bool:
        for other in self._beside[name]:
            block = self._blocks.get(other)
            if block is None:
                return True  # an edge, or track of which the log says nothing
            if block.state == "occupied" and block.since <= doubt.time + self.tolerance:
                return True
            if block.occupied_until >= doubt.time - self.tolerance:
                return True
        return False


def _neighbors(plan: Plan, block: str) -> Iterator[str]:
    """What stock on a block can come from: other blocks; where it may come from anywhere else, the
    name of what is there."""
    for joint in plan.track.joints:
        for here, there in ((joint.a, joint.b), (joint.b, joint.a)):
            if plan.track.pieces[here.piece].block == block:
                yield from _at(plan, there, block)


def _at(plan: Plan, port: Port, block: str) -> Iterator[str]:
    piece = plan.track.pieces[port.piece]
    if piece.kind == "bumper" or piece.block == block:
        return
    detected = piece.block is not None and plan.blocks[piece.block].detected
    yield piece.block if detected and piece.block is not None else f"({port.piece})"
