"""Equipment in place of a promise: a lock that does what a crew would promise, proved.

In: a plan and a promise about throwing points. Out: the same plan with a lock (and a timer where
time has to run), and how a file says it.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from verifier.plan import observables
from verifier.plan.devices import Device, devices
from verifier.plan.locking.crew_rules import led_to
from verifier.plan.locking.locking_model import THROWING, Promise, Throw, Timer
from verifier.plan.model import Plan, Signal
from verifier.plan.observables import AnyOne, Condition, Fact, Not
from verifier.properties.amounts import decimal
from verifier.properties.locking_phrases import is_occupied, not_at_stop
from verifier.repair.equipment_edit import Equipment, with_inputs


@dataclass(frozen=True, slots=True)
class _Held:
    """While what points are held, and how the opposite is written; what that needs besides."""

    while_: tuple[Condition, ...]
    held: str
    free: str
    timer: Timer | None = None
    written: str = ""


def lock(plan: Plan, promises: Iterable[Promise]) -> Equipment | None:
    """A lock that does what these promises about the same points say; None where no lock can: it
    would have to see a train where no detector is, or the promise is about blocks."""
    several = list(promises)
    names = {name for promise in several for name in promise.about}
    if len(names) != 1 or any(p.rule not in THROWING for p in several):
        return None
    (name,) = names
    held = [_held(plan, name, promise) for promise in several]
    parts = [part for part in held if part is not None]
    if len(parts) < len(held):
        return None
    return _installed(plan, name, parts)


def _held(plan: Plan, name: str, promise: Promise) -> _Held | None:
    device = devices(plan)[name]
    led = list(led_to(device, plan.routes, plan.signals))
    signals = [plan.signals[s] for s in dict.fromkeys(route.signal for route, _ in led)]
    match promise.rule:
        case "under a train":
            return _occupied(plan, _blocks_of(device, plan))
        case "under clear signals":
            facts = tuple(not_at_stop(signal, plan) for signal in signals)
            free = f"{_listed(s.name for s in signals)} at stop"
            return _Held(facts, f"not {free}" if len(signals) == 1 else f"not ({free})", free)
        case "ahead of a train":
            before = [
                plan.track.pieces[move.piece].block
                for route, count in led
                for move in route.moves[:count]
            ]
            return _occupied(plan, before)
        case _:
            return _timed(plan, device, signals)


def _occupied(plan: Plan, blocks: Iterable[str | None]) -> _Held | None:
    names = list(dict.fromkeys(block for block in blocks if block is not None))
    facts = [is_occupied(block, plan) for block in names]
    seen = tuple(fact for fact in facts if fact is not None)
    if not seen or len(seen) < len(facts):
        return None
    of = "any of " if len(names) > 1 else ""
    return _Held(seen, f"{of}{_listed(names)} occupied", f"{_listed(names)} clear")


def _blocks_of(device: Device, plan: Plan) -> list[str | None]:
    """The blocks in which a train that stands on it is."""
    beside = [port.piece for joint in device.joints for port in (joint.a, joint.b)]
    return [plan.track.pieces[piece].block for piece in (*device.pieces, *beside)]


def _timed(plan: Plan, device: Device, signals: list[Signal]) -> _Held | None:
    """Time runs while all signals over the points are at stop."""
    seconds = plan.locking.running.to_stop
    name = f"{device.name}-lock-time"
    if seconds is None or name in plan.locking.timers:
        return None
    clear = tuple(not_at_stop(signal, plan) for signal in signals)
    span = device.span
    timer = Timer(name, seconds, Not(AnyOne(clear, span), span), span)
    done = Fact(observables.timer(timer.name), ("done",), span, f"{timer.name} done")
    written = (
        f"`timer {timer.name} {decimal(seconds)} s runs while "
        f"{_listed(s.name for s in signals)} at stop`, and "
    )
    return _Held((Not(done, span),), f"not {timer.name} done", f"{timer.name} done", timer, written)


def _installed(plan: Plan, name: str, parts: list[_Held]) -> Equipment:
    locking = plan.locking
    throw = locking.throws.get(name) or _unsaid(plan, name)
    by_hand = throw.by in ("hand", "anyone")
    held = [condition for part in parts for condition in part.while_]
    all_held = [throw.locked, *held] if throw.locked is not None else held
    span = devices(plan)[name].span
    changed = replace(
        throw,
        by="hand" if by_hand else throw.by,
        electric=by_hand or throw.electric,
        locked=AnyOne(tuple(all_held), span),
    )
    timers = [part.timer for part in parts if part.timer is not None]
    added = tuple(observables.timer(timer.name) for timer in timers)
    locking = replace(
        locking,
        throws={**locking.throws, name: changed},
        timers={**locking.timers, **{timer.name: timer for timer in timers}},
        memory=(*locking.memory, *(timer.name for timer in timers)),
    )
    locked = with_inputs(replace(plan, locking=locking), added)
    return Equipment(_written(plan, name, throw, parts), locked)


def _unsaid(plan: Plan, name: str) -> Throw:
    """How points are thrown of which the file says nothing."""
    span = devices(plan)[name].span
    return Throw(name, "anyone", None, (), None, None, False, False, None, span)


def _written(plan: Plan, name: str, throw: Throw, parts: list[_Held]) -> str:
    """What to install, and how a file says it."""
    under = f"under `{devices(plan)[name].title}`"
    timers = "".join(part.written for part in parts)
    free, held = (" and ".join(p.free for p in parts), " or ".join(p.held for p in parts))
    if throw.electric:
        return f"the electric lock of {name}: {timers}add `and {free}` to `released when …`"
    if throw.by in ("hand", "anyone"):
        hand = "" if throw.by == "hand" else "`thrown by hand` and "
        lock = f"{hand}`electric lock released when {free}` {under}"
        return f"an electric lock on {name}: {timers}{lock}"
    if throw.locked is not None:
        return f"the lock of {name}: {timers}add `or {held}` to `locked while …`"
    return f"a lock on {name}: {timers}`locked while {held}` {under}"


def _listed(names: Iterable[str]) -> str:
    return ", ".join(names)
