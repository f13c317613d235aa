"""Layouts that remember or lock: what can be brought about from rest, one thing done at a time.

In: a bench. Out: places at which all has come to rest, each with the things to do that lead there
from another, worked out by :mod:`verifier.engines.stepper`; a walk from place to place. After each
thing that is done, all there is to wait for is waited for: points, relays, timers. One locomotive
at most is on the track; it is driven from block to block, so that it is on both for a while, over
points that lie for it. No more than two buttons are held. From anywhere there is a way back
to rest: everything is put back, and the supply of the logic is switched off and on again.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from heapq import heappop, heappush

from verifier.diagnosis.bench import Bench, Setup
from verifier.engines.stepper import Stepper
from verifier.findings.record import occupied_blocks
from verifier.plan import facts
from verifier.plan.facts import Observable
from verifier.plan.model import Plan, Port
from verifier.trial.progress import Progress, silent
from verifier.trial.walk import Act, Walk

# So many moments are worked out at most, all in all; and so many until all has come to rest.
MOST_MOMENTS = 30_000
MOST_WAITED = 120
MOST_HELD = 2
# What it costs to begin again: everything else apart, as much as two pieces of stock.
AGAIN = 6

_HANDLED = ("lever", "button", "derail", "gate")
_KEPT = (*_HANDLED, "relay", "timer", "traffic")

Moment = dict[Observable, str]


def is_played(plan: Plan) -> bool:
    """Whether what a layout shows may depend on what was done before."""
    thrown = {n for n, m in plan.wiring.machines.items() if m.motor or m.contacts == ()}
    return bool(plan.locking.memory) or any(
        throw.locked is not None
        or throw.by in ("buttons", "rule")
        or (throw.by == "lever" and throw.turnout not in thrown)
        for throw in plan.locking.throws.values()
    )


def can_be_played(plan: Plan) -> bool:
    """Histories know no detectors: where there are any, what they report may be otherwise."""
    return not plan.wiring.detectors and not plan.equipment.places


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """``setup``: how all stands when it has come to rest, memory included; ``done``: the same of
    what a person sets alone. ``onward``: what can be done next, and where that leads."""

    moment: Mapping[Observable, str]
    setup: Setup
    done: Setup
    onward: list[tuple[tuple[Act, ...], "Place"]]


@dataclass(frozen=True, slots=True)
class _Tried:
    """One thing done: what it changes, one after the other, each time till all is at rest. With
    ``thrown``, a turnout is thrown by hand. ``acts``: in words, where not as a walk has them."""

    changes: tuple[Mapping[Observable, str], ...]
    acts: tuple[Act, ...] = ()
    thrown: str | None = None


class Played:
    """All places found, from rest on, in the order in which they were found."""

    def __init__(self, bench: Bench, progress: Progress = silent):
        self._bench, self._plan, self._progress = bench, bench.given, progress
        self._stepper = Stepper(bench.given)
        self._walk = Walk(bench)
        self._handled = [w for w in self._stepper.choices if w.kind in _HANDLED]
        self._expiring = [w.name for w in self._stepper.choices if w.kind == "expiry"]
        self._passing = {
            what: "yes" if what.kind in ("arrival", "tick") else what.usual
            for what in self._stepper.choices
        }
        self._pieces = _pieces(self._stepper)
        self._by_hand = [
            n for n in self._stepper.parts.turnouts
            if n not in self._plan.locking.throws
            or self._plan.locking.throws[n].by in ("hand", "anyone")
        ]  # fmt: skip
        self._left = MOST_MOMENTS
        start = {what: what.usual for what in (*self._stepper.states, *self._handled)}
        settled = self._settled(start)
        self.rest = self._place(settled if settled is not None else start)
        self.places: list[Place] = [self.rest]
        self._explore()
        self._at = {place.setup: place for place in self.places}
        self._ways: dict[Place, dict[Place, tuple[int, tuple[Act, ...]]]] = {}

    # -------------------------------------------------------------- the walk

    def acts(self, before: Setup, after: Setup) -> list[Act]:
        """What to do to get from one place to another, in order."""
        return list(self._way(before, after)[1])

    def cost(self, before: Setup, after: Setup) -> int:
        return self._way(before, after)[0]

    def _way(self, before: Setup, after: Setup) -> tuple[int, tuple[Act, ...]]:
        return self._from(self._at.get(before, self.rest))[self._at[after]]

    def _from(self, start: Place) -> dict[Place, tuple[int, tuple[Act, ...]]]:
        """The cheapest way from a place to every other."""
        if start not in self._ways:
            found: dict[Place, tuple[int, tuple[Act, ...]]] = {}
            waiting: list[tuple[int, int, Place, tuple[Act, ...]]] = [(0, 0, start, ())]
            number = 0
            while waiting:
                price, _, place, acts = heappop(waiting)
                if place in found:
                    continue
                found[place] = price, acts
                further = place.onward
                if place is start and start is not self.rest:
                    further = [*further, (self._again(place), self.rest)]
                for more, then in further:
                    number += 1
                    cost = price + sum(act.cost for act in more)
                    heappush(waiting, (cost, number, then, (*acts, *more)))
            self._ways[start] = found
        return self._ways[start]

    def _again(self, place: Place) -> tuple[Act, ...]:
        back = self._walk.acts(place.done, self.rest.done)
        off = "switch the low-voltage supply of the signals and relays off, and on again"
        return (*back, Act(off, AGAIN))

    # -------------------------------------------------------------- what can be brought about

    def _explore(self) -> None:
        known = {_key(self.rest.moment): self.rest}
        for place in self.places:  # it grows meanwhile
            for tried in self._tries(place.moment):
                if self._left <= 0:
                    return
                self._progress(MOST_MOMENTS - self._left, MOST_MOMENTS)
                settled = self._done(place.moment, tried)
                if settled is None:
                    continue
                key = _key(settled)
                if key not in known:
                    known[key] = self._place(settled)
                    self.places.append(known[key])
                then = known[key]
                if then is not place:
                    acts = tried.acts or tuple(self._walk.acts(place.done, then.done))
                    place.onward.append((acts, then))

    def _done(self, moment: Mapping[Observable, str], tried: "_Tried") -> Moment | None:
        """How all is once something was done; None where that is not to be done."""
        now = dict(moment)
        for changes in tried.changes:
            settled = self._settled({**now, **changes}, tried.thrown)
            if settled is None or not self._is_kind(now, settled):
                return None
            now = settled
        return now

    def _tries(self, moment: Mapping[Observable, str]) -> Iterator["_Tried"]:
        """One more thing done."""
        held = sum(moment[w] == "pressed" for w in self._handled if w.kind == "button")
        for what in self._handled:
            for state in what.values:
                half = state == "open" and what.kind == "derail"
                too_many = state == "pressed" and held >= MOST_HELD
                if state != moment[what] and not half and not too_many:
                    yield _Tried(({what: state},))
        for turnout in self._by_hand:
            yield _Tried(({},), thrown=turnout)
        trains = {block: facts.train(piece) for block, piece in self._pieces.items()}
        on = next((b for b, train in trains.items() if moment[train] == "occupied"), None)
        if on is None:
            for block, train in trains.items():
                yield _Tried(({train: "occupied"},), (self._walk.put((block, "occupied")),))
            return
        gone = {trains[on]: "vacant"}
        yield _Tried((gone,), (self._walk.take((on, "occupied")),))
        for block in self._driven_to(on, moment):
            act = Act(f"drive the locomotive from {on} to {block}", 2)
            yield _Tried(({trains[block]: "occupied"}, gone), (act,))

    def _driven_to(self, block: str, moment: Mapping[Observable, str]) -> Iterator[str]:
        """The blocks beside one, over points that lie for it."""
        found: dict[str, None] = {}
        pieces = self._plan.track.pieces
        for joint in self._plan.track.joints:
            blocks = [pieces[port.piece].block for port in (joint.a, joint.b)]
            if block not in blocks or None in blocks or blocks[0] == blocks[1]:
                continue
            if all(self._is_lined(port, moment) for port in (joint.a, joint.b)):
                found |= dict.fromkeys(b for b in blocks if b is not None and b != block)
        yield from (other for other in found if other in self._pieces)

    def _is_lined(self, port: Port, moment: Mapping[Observable, str]) -> bool:
        match self._plan.track.pieces[port.piece].kind:
            case "turnout":
                return port.end in ("points", moment[facts.points(port.piece)])
            case "slip":
                return False
            case _:
                return True

    def _is_kind(self, before: Mapping[Observable, str], after: Mapping[Observable, str]) -> bool:
        """No points have moved beneath stock or lie open, and all is as the file assumes."""
        plan = self._stepper.plan
        occupied = {*occupied_blocks(plan, before), *occupied_blocks(plan, after)}
        for name in self._stepper.parts.turnouts:
            what, block = facts.points(name), self._plan.track.pieces[name].block
            if after[what] == "open" or (before[what] != after[what] and block in occupied):
                return False
        return self._stepper.allowed(self._stepper.look(self._whole(after)))

    def _place(self, moment: Mapping[Observable, str]) -> Place:
        stands = tuple(
            (block, ("occupied",)) for block in occupied_blocks(self._stepper.plan, moment)
        )
        turnouts = self._stepper.parts.turnouts
        told = tuple((n, moment[facts.thrown(n)]) for n in turnouts if self._bench.throws(n))
        lies = tuple((n, moment[facts.points(n)]) for n in turnouts if not self._bench.throws(n))
        hand = tuple((n, moment[facts.points(n)]) for n in self._by_hand)
        kept = tuple((w, s) for w, s in moment.items() if w.kind in _KEPT)
        done = tuple((w, s) for w, s in kept if w.kind in _HANDLED)
        return Place(moment, Setup(stands, told, lies, kept), Setup(stands, (), hand, done), [])

    # -------------------------------------------------------------- waiting

    def _settled(
        self, moment: Mapping[Observable, str], thrown: str | None = None
    ) -> Moment | None:
        """How all is once nothing moves any more and there is nothing to wait for; None where
        it does not come to rest. ``thrown``: a turnout thrown by hand at first."""
        now = self._after(moment, (), thrown)
        waiting: dict[str, Fraction] = {}
        for _ in range(MOST_WAITED):
            then = self._after(now, ())
            if then != now:
                now = then
                continue
            due = {name: self._after(now, (name,)) for name in self._expiring}
            due = {name: then for name, then in due.items() if then != now}
            if not due:
                return now
            waiting = {name: waiting.get(name, self._seconds(name, now)) for name in due}
            first = min(due, key=lambda name: waiting[name])
            passed = waiting.pop(first)
            waiting = {name: left - passed for name, left in waiting.items()}
            now = due[first]
        return None

    def _seconds(self, name: str, now: Mapping[Observable, str]) -> Fraction:
        """How long a timer or a slow relay takes."""
        timer = self._plan.locking.timers.get(name)
        if timer is not None:
            return timer.seconds
        relay = self._plan.locking.relays[name]
        is_up = now[facts.relay(name)] == "up"
        return (relay.slow_release if is_up else relay.slow_pick) or Fraction(0)

    def _after(
        self, moment: Mapping[Observable, str], expiring: Sequence[str], thrown: str | None = None
    ) -> Moment:
        """The next moment: points arrive, time passes, no train moves by itself."""
        self._left -= 1
        chosen = {facts.choice("expiry", name): "yes" for name in expiring}
        if thrown is not None:
            chosen[facts.choice("throw", thrown)] = "yes"
        following = self._stepper.step({**self._whole(moment), **chosen}).following
        return {**following, **{what: moment[what] for what in self._handled}}

    def _whole(self, moment: Mapping[Observable, str]) -> Moment:
        """A moment with all that is chosen at it."""
        return {**self._passing, **moment}


def _key(moment: Mapping[Observable, str]) -> frozenset[tuple[Observable, str]]:
    return frozenset((what, state) for what, state in moment.items() if state != what.usual)


def _pieces(stepper: Stepper) -> dict[str, str]:
    """By block, a piece of track on it."""
    found: dict[str, str] = {}
    for name in stepper.places.pieces:
        block = stepper.plan.track.pieces[name].block
        if block is not None:
            found.setdefault(block, name)
    return found
