"""Why the end of a history was allowed: which signals cleared for the trains, why points were free
to move, when and why relays dropped.

In: a history (:class:`TraceView`) and what it breaks. Out: chains of causes, each with the rule of
the file in a few words.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from verifier.explain.signal_causes import causes, reasons
from verifier.explain.trace_view import TraceView, TrainMove, acting_line
from verifier.explain.wiring_causes import Circuit
from verifier.language.source import Span
from verifier.plan import observables
from verifier.plan.devices import Device
from verifier.plan.locking.locking_model import Relay, Timer, Traffic, power_of
from verifier.plan.model import Signal
from verifier.plan.observables import Condition, Observable
from verifier.plan.situation import Situation
from verifier.properties.locking_phrases import met
from verifier.properties.obligation import Obligation
from verifier.reference.equipment import EquipmentState
from verifier.verdicts.causes import Cause, CauseKind, Subject, cause

# How far back a chain goes from what memory holds to how it came about.
MAX_STEPS_BACK = 4

# By moment, and what an event tells of (of a train: which): the number of the event.
Numbers = Mapping[tuple[int, Observable | int], int]

_MEMORY = ("relay", "timer", "traffic")


@dataclass(frozen=True, slots=True)
class Allowed:
    """A cause, and the rule that allowed it in a few words (empty where there is none)."""

    cause: Cause
    rule: str = ""


def why_allowed(
    record: TraceView,
    obligation: Obligation,
    asked: Sequence[Observable],
    numbers: Numbers,
    matters: Collection[Observable],
) -> Iterator[Allowed]:
    """Why the last moment could happen. ``asked``: the observables that show what is wrong;
    ``matters``: the states and inputs that suffice for it."""
    return _Why(record, obligation, asked, numbers, matters).all()


class _Why:
    def __init__(
        self,
        record: TraceView,
        obligation: Obligation,
        asked: Sequence[Observable],
        numbers: Numbers,
        matters: Collection[Observable],
    ):
        self.record = record
        self.plan = record.plan
        self._obligation = obligation
        self._numbers = numbers
        self._matters = matters
        self._asked = asked
        self._recalled: set[tuple[Observable, int]] = set()

    def all(self) -> Iterator[Allowed]:
        found: dict[Cause, Allowed] = {}
        for allowed in (*self._by_signals(), *self._by_locks()):
            found.setdefault(replace(allowed.cause, span=None, because=()), allowed)
        yield from found.values()

    def _by_signals(self) -> Iterator[Allowed]:
        """The signals that let trains come, those that do at the end, and points that moved
        since such a signal cleared."""
        coming = self._coming()
        for train in (*coming, *self._standing(coming)):
            yield from self._let_come(train, moves=train in coming)
        shown = [w.name for w in self._asked if w.kind == "reading"]
        for name in dict.fromkeys((*self._obligation.signals, *shown)):
            if self.record.permits(self.record.last, self.plan.signals[name]):
                yield self._shows(name, self.record.last)

    def _by_locks(self) -> Iterator[Allowed]:
        """What was not locked at the end."""
        for what in self._asked:
            match what.kind:
                case "points move" | "train derails":
                    device = self._mover(what.name)
                    if device is not None and self._moves(device):
                        yield self._free_to_move(device)
                case "lock released":
                    yield from self._released(what.name)
                case "traffic turns":
                    yield from self._turned(what.name)
                case _:
                    pass

    def _line(self, span: Span) -> str:
        return span.seen_from(self.plan.source)

    # -------------------------------------------------------------- trains

    def _coming(self) -> tuple[int, ...]:
        """The trains that meet or derail in the last step."""
        places = {w.name for w in self._asked if w.kind in ("trains meet", "train derails")}
        return tuple(
            dict.fromkeys(
                went.train
                for went in self.record.went[self.record.last]
                if went.onto and went.onto.piece in places and went.move in ("front", "enters")
            )
        )

    def _standing(self, coming: Collection[int]) -> tuple[int, ...]:
        """The other trains that matter at the last moment."""
        here = self.record.where[self.record.last]
        there = {here[w.name] for w in self._matters if w.kind == "train" and w.name in here}
        return tuple(sorted(there.difference(coming)))

    def _let_come(self, train: int, *, moves: bool) -> Iterator[Allowed]:
        """By which signal a train was let come, the last one it passed."""
        passed: tuple[int, TrainMove] | None = None
        for k, steps in enumerate(self.record.went):
            for went in steps:
                if went.train == train and went.under:
                    passed = k, went
        name = self.record.name(train)
        if passed is None:
            origin = self.record.origins[train]
            at_edge = self.plan.track.pieces.get(origin)
            if at_edge is not None and at_edge.kind == "edge":
                kind, subject = CauseKind.CAME_IN, Subject("edge", origin)
            else:
                kind, subject = CauseKind.STOOD, Subject("track", origin)
            free = cause(kind, subject, None, train=name)
            yield Allowed(free, f"no signal holds {name}" if moves else "")
            return
        k, went = passed
        assert went.under is not None
        number = self._numbers.get((k, train))
        signal = self.plan.signals[went.under]
        late = self.record.is_too_late(k, went)
        while k and late and not self.record.clears(k, signal):
            k -= 1  # when it last saw the signal clear
        shows = self._shows(signal.name, k)
        said = {"train": name, "event": f" (event {number})" if number else ""}
        subject, aspect = Subject("signal", signal.name), self.record.aspect(k, signal)
        span, because = shows.cause.span, shows.cause.because
        let = cause(CauseKind.LET_COME, subject, span, because, state=aspect, **said)
        yield replace(shows, cause=let)
        yield from self._moved_since(signal, k)

    def _shows(self, name: str, k: int) -> Allowed:
        """That a signal shows what it does, by the line of its rules that acts."""
        signal = self.plan.signals[name]
        (chain,) = causes(
            self.plan, self.record.evaluator, self.record.situation(k), (name,),
            recall=lambda what: self._recall(what, k, 0),
        )  # fmt: skip
        line = acting_line(self.record, k, signal)
        if line is None:
            return Allowed(chain, f"the rules of {name} ({self._line(signal.span)})")
        said = f"{line.shows} otherwise" if line.when is None else f"{line.shows} when …"
        return Allowed(chain, f"`{said}` of {name} ({self._line(line.span)})")

    # -------------------------------------------------------------- points

    def _mover(self, name: str) -> Device | None:
        """What moves, or what moves it: points that a derail is pipe-connected to."""
        device = self.record.devices.get(name)
        if device is None or device.pipe is None:
            return device
        return self.record.devices[device.pipe.points]

    def _moves(self, device: Device) -> bool:
        now, then = (f(self.record.last, device.lies) for f in (self.record.now, self.record.then))
        on_its_way = now == "open" and self.record.then(self.record.last, device.told) != "open"
        return on_its_way or now != then

    def _moved_since(self, signal: Signal, k: int) -> Iterator[Allowed]:
        """Why points of its routes could move once the signal, clear at ``k``, had cleared."""
        cleared = k
        while cleared and self.record.permits(cleared - 1, signal):
            cleared -= 1
        for device in met(self.plan.routes_of(signal.name), self.plan):
            if device.pipe is not None:
                continue
            for j in range(self.record.last - 1, cleared - 1, -1):
                now, then = self.record.now(j, device.lies), self.record.then(j, device.lies)
                if now not in ("open", then):
                    yield self._not_locked(device, j)
                    break

    def _free_to_move(self, device: Device) -> Allowed:
        """Why nothing held it when it was last told to move: when it began to, unless it was turned
        back on its way, or did not obey at once."""
        lies, told = device.lies, device.told
        k = self.record.last
        while k and self.record.now(k, lies) == "open":
            k -= 1
        said = (j for j in range(self.record.last, -1, -1)
                if self.record.now(j, told) != self.record.then(j, told))  # fmt: skip
        return self._not_locked(device, next(said, k))

    def _not_locked(self, device: Device, k: int) -> Allowed:
        turnout = device.name
        throw = self.plan.locking.throws.get(turnout)
        span = device.span if throw is None else throw.span
        subject = Subject(device.lies.kind, turnout)
        if throw is None or throw.locked is None:
            free = cause(CauseKind.NO_LOCK, subject, span)
            return Allowed(free, free.text)
        span, because = throw.locked.span, self._why(throw.locked, k)
        if throw.electric:
            kind = CauseKind.LOCK_RELEASED
            rule = f"the electric lock of {turnout} ({self._line(span)})"
        else:
            kind = CauseKind.NOT_LOCKED
            rule = f"`locked while …` of {turnout} ({self._line(span)}) does not hold"
        return Allowed(cause(kind, subject, span, because), rule)

    def _released(self, turnout: str) -> Iterator[Allowed]:
        throw = self.plan.locking.throws.get(turnout)
        if throw is not None and throw.locked is not None:
            span = throw.locked.span
            rule = f"`electric lock released when …` of {turnout} ({self._line(span)})"
            kind = self.record.devices[turnout].lies.kind
            subject, because = Subject(kind, turnout), self._why(throw.locked, self.record.last)
            yield Allowed(cause(CauseKind.LOCK_RELEASED, subject, span, because), rule)

    def _turned(self, name: str) -> Iterator[Allowed]:
        traffic = self.plan.locking.traffic[name]
        what = observables.traffic(name)
        will = self.record.then(self.record.last, what)
        wanted = traffic.rightward if will == "rightward" else traffic.leftward
        because = self._why(wanted, self.record.last, of=name)
        subject = Subject("traffic", name)
        if traffic.locked is None:
            free = cause(CauseKind.NO_TRAFFIC_LOCK, subject, traffic.span, because)
            yield Allowed(free, free.text)
            return
        span = traffic.locked.span
        because = (*self._why(traffic.locked, self.record.last, of=name), *because)
        rule = f"`locked while …` of {name} ({self._line(span)}) does not hold"
        yield Allowed(cause(CauseKind.TRAFFIC_NOT_LOCKED, subject, span, because), rule)

    # -------------------------------------------------------------- memory

    def _why(
        self, condition: Condition, k: int, *, of: str = "", back: int = 0
    ) -> tuple[Cause, ...]:
        """The facts that make a condition true or false at a moment. ``of``: the memory that
        acts by it; what it sees after it has acted."""
        acted = self._acted(of, k)
        situation = self.record.situation(k)
        if acted:
            given = {**dict(situation), **{what: self.record.then(k, what) for what in acted}}
            situation = Situation.of(given.items())
        found = reasons(
            self.plan, self.record.evaluator, situation, condition,
            recall=lambda what: self._recall(what, k + (what in acted), back),
        )  # fmt: skip
        return tuple(dict.fromkeys(found))

    def _recall(self, what: Observable, k: int, back: int) -> Cause | None:
        """How a relay, timer or direction of traffic came to be as it is at moment ``k``; that a
        train is not seen; None of all else."""
        if what.kind == "block report" and what.name in self.record.unseen(k):
            kind, subject = CauseKind.TRAIN_NOT_DETECTED, Subject("block", what.name)
            return cause(kind, subject, None, state="clear")
        if what.kind not in _MEMORY:
            return None
        state = self.record.then(k - 1, what) if k else self.record.now(k, what)
        element = self._element(what)
        since = next((j for j in range(k - 1, -1, -1) if self.record.now(j, what) != state), None)
        subject = Subject(what.kind, what.name)
        if since is None:
            return cause(CauseKind.REMEMBERED_FROM_START, subject, element.span, state=state)
        number = self._numbers.get((since, what))
        found = cause(CauseKind.STATE, subject, element.span, state=state)
        if number is not None:
            kind, event = CauseKind.REMEMBERED_SINCE, str(number)
            found = cause(kind, subject, element.span, state=state, event=event)
        if (what, since) in self._recalled or back >= MAX_STEPS_BACK:
            return found
        self._recalled.add((what, since))
        if state in ("down", "idle") and (off := self._unpowered(what, since)) is not None:
            return replace(found, because=(cause(CauseKind.NO_POWER, subject, None, (off,)),))
        condition = _mover(element, state)
        because = self._why(condition, since, of=element.name, back=back + 1)
        return replace(found, span=condition.span, because=because)

    def _unpowered(self, what: Observable, k: int) -> Cause | None:
        """Why a relay or timer has no power at a moment; None where it has."""
        power = power_of(what.name, self.plan.locking)
        if power is None:
            return None
        wires = Circuit(self.plan, EquipmentState(self.plan, self.record.situation(k)))
        return wires.unpowered(power.wire, power.supply, power.span)

    def _element(self, what: Observable) -> Relay | Timer | Traffic:
        locking = self.plan.locking
        match what.kind:
            case "relay":
                return locking.relays[what.name]
            case "timer":
                return locking.timers[what.name]
            case _:
                return locking.traffic[what.name]

    def _acted(self, name: str, k: int) -> dict[Observable, None]:
        """Memory that this one sees after it has acted, at moment ``k``."""
        if not name:
            return {}
        locking = self.plan.locking
        order = locking.memory
        seen = frozenset(order[: order.index(name)])
        if locking.building.of_relays:
            seen = self.record.seen_after(k, name)
        return dict.fromkeys(self._named(other) for other in order if other in seen)

    def _named(self, name: str) -> Observable:
        locking = self.plan.locking
        if name in locking.relays:
            return observables.relay(name)
        return observables.timer(name) if name in locking.timers else observables.traffic(name)


def _mover(element: Relay | Timer | Traffic, state: str) -> Condition:
    """The condition by which memory came to a state: as it holds, or no longer does."""
    match element:
        case Relay(picks=picks, sticks=sticks):
            return picks if state == "up" or sticks is None else sticks
        case Timer(runs=runs):
            return runs
        case Traffic(rightward=rightward, leftward=leftward):
            return rightward if state == "rightward" else leftward
