"""Clauses of locks and relays that cannot do what they say.

In: the locking of a file, and what it is about. Out: an error for each lock that never holds or
never opens, because it asks for what excludes itself or the contacts it hears never report that,
and for each sequential release that no train makes come true.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import product
from math import prod

from verifier.language.diagnostics.diagnostic import Diagnostic
from verifier.language.diagnostics.registry import diagnostic
from verifier.plan.locking.locking_model import Locking, Relay
from verifier.plan.model import NamedCondition, Port, Signal, Track, facts_read
from verifier.plan.observables import (
    OF_CONTACTS,
    All,
    AnyOne,
    Condition,
    Fact,
    Not,
    Observable,
    facts_unfolded,
)
from verifier.plan.track.build_track import moves_over
from verifier.plan.wiring.wiring_model import Wiring

# Conditions of more situations than these are not looked into, nor trains in more places; and how
# many pieces of track a train stands on at most.
MOST_SITUATIONS, MOST_PLACES, LONGEST = 4_000, 20_000, 4

Named = Mapping[str, NamedCondition]
# What is said of a lock that holds whatever is reported, or never; and of an electric one.
_VAIN = {
    (False, False): "",
    (True, False): "always",
    (True, True): "shut",
    (False, True): "released",
}
# What a fact comes to; None where it may be either.
Look = Callable[[Fact], bool | None]


def impossible_locks(
    locking: Locking, wiring: Wiring, track: Track, signals: Mapping[str, Signal], named: Named
) -> Iterator[Diagnostic]:
    """What the clauses of a file cannot do."""
    for throw in locking.throws.values():
        if throw.locked is not None:
            yield from _stuck(throw.device, throw.locked, throw.electric, wiring, named)
    for traffic in locking.traffic.values():
        if traffic.locked is not None:
            yield from _stuck(traffic.name, traffic.locked, False, wiring, named)
    for relay in locking.relays.values():
        if relay.after:
            yield from _never_released(relay, track, signals, named)


# ------------------------------------------------------------------ locks


def _stuck(
    name: str, locked: Condition, electric: bool, wiring: Wiring, named: Named
) -> Iterator[Diagnostic]:
    """A lock that holds always, or never: because of what it asks for, or of what contacts cannot
    report."""
    facts = list(facts_unfolded([locked], lambda n: named[n].condition))
    read = dict.fromkeys(fact.what for fact in facts)
    if len(facts) > len(read) and prod(len(what.values) for what in read) <= MOST_SITUATIONS:
        outcomes = set(_outcomes(locked, {what: what.values for what in read}, named))
        if len(outcomes) == 1:
            yield diagnostic("CP777", locked.span, _VAIN[outcomes == {True}, electric], name=name)
            return
    deaf = {what: _reported(what, wiring) for what in read}
    silent = [what for what, values in deaf.items() if len(values) < len(what.values)]
    if not silent or prod(len(what.values) for what in read) > MOST_SITUATIONS:
        return
    holds = set(_outcomes(locked, deaf, named))
    if len(holds) > 1 or len(set(_outcomes(locked, {w: w.values for w in read}, named))) < 2:
        return
    variant = ("shut" if electric else "always") if holds == {True} else ""
    what = silent[0]
    missing = [value for value in what.values if value not in deaf[what]]
    yield diagnostic(
        "CP776", locked.span, variant, others=[(wiring.machines[what.name].span, what.name)],
        name=name, contacts=what.name, state=missing[0],
    )  # fmt: skip


def _reported(what: Observable, wiring: Wiring) -> tuple[str, ...]:
    """What can be reported: with one contact or none, points are never reported on their way."""
    machine = wiring.machines.get(what.name) if what.kind in OF_CONTACTS else None
    if machine is None or machine.contacts is None or len(machine.contacts) > 1:
        return what.values
    return tuple(value for value in what.values if value != "moving")


def _outcomes(
    condition: Condition, values: Mapping[Observable, Sequence[str]], named: Named
) -> Iterator[bool]:
    for states in product(*values.values()):
        now = dict(zip(values, states, strict=True))
        yield bool(_comes_to(condition, lambda fact, now=now: now[fact.what] in fact.values, named))  # type: ignore[misc]


def _comes_to(condition: Condition, look: Look, named: Named) -> bool | None:
    """What a condition comes to; None where it may be either."""
    match condition:
        case Fact(what=what, values=values) if what.kind == "condition":
            holds = _comes_to(named[what.name].condition, look, named)
            return holds if holds is None or "true" in values else not holds
        case Fact():
            return look(condition)
        case Not(part=part):
            holds = _comes_to(part, look, named)
            return None if holds is None else not holds
        case All(parts=parts):
            found = [_comes_to(part, look, named) for part in parts]
            return False if False in found else None if None in found else True
        case AnyOne(parts=parts):
            found = [_comes_to(part, look, named) for part in parts]
            return True if True in found else None if None in found else False


# ------------------------------------------------------------------ sequential release


def _never_released(
    relay: Relay, track: Track, signals: Mapping[str, Signal], named: Named
) -> Iterator[Diagnostic]:
    """A release whose steps no train makes come true that passes a signal held by the relay."""
    held = [s for s in signals.values() if _reads(s, relay.name, named)]
    reached = _furthest(relay.after, held or list(signals.values()), track, named)
    if reached is None or reached == len(relay.after):
        return
    step = relay.after[reached]
    blocks = [f.what.name for f in facts_unfolded([step], lambda n: named[n].condition)
              if f.what.kind == "block report"]  # fmt: skip
    yield diagnostic(
        "CP775", step.span, "" if reached else "first", step=reached + 1,
        before=reached, signals=[s.name for s in held or signals.values()],
        blocks=list(dict.fromkeys(blocks)),
    )  # fmt: skip


def _reads(signal: Signal, relay: str, named: Named) -> bool:
    return any(f.what.kind == "relay" and f.what.name == relay for f in facts_read(signal, named))


# Where a train is: how its front came onto the last piece, and all pieces, the rear first.
_Train = tuple[Port, tuple[str, ...]]


def _furthest(
    steps: Sequence[Condition], signals: Iterable[Signal], track: Track, named: Named
) -> int | None:
    """How many steps one train makes come true that passes one of the signals; None where there
    are too many ways to run."""
    waiting: list[tuple[_Train, int]] = [
        ((front, (front.piece,)), 0) for signal in signals for front in _before(signal, track)
    ]
    known = set(waiting)
    best = 0
    while waiting:
        train, done = waiting.pop()
        for now in _reached(steps, done, _seen(train, track), named):
            best = max(best, now)
            if best == len(steps):
                return best
            for after in ((train, now), *((moved, now) for moved in _moved(train, track))):
                if after not in known:
                    known.add(after)
                    waiting.append(after)
        if len(known) > MOST_PLACES:
            return None
    return best


def _before(signal: Signal, track: Track) -> Iterator[Port]:
    """How a train came onto the piece before a signal."""
    out = track.joint_at[signal.enters].other(signal.enters)
    if track.pieces[out.piece].block is None:
        yield out
    for move in moves_over(track.pieces[out.piece]):
        if move.leave == out.end:
            yield Port(out.piece, move.enter)


def _moved(train: _Train, track: Track) -> Iterator[_Train]:
    """Where a train is next: its front goes on, or its rear follows."""
    front, pieces = train
    if len(pieces) > 1:
        yield front, pieces[1:]
    if len(pieces) < LONGEST:
        for way in track.onward.get(front, ()):
            yield way.leads_to, (*pieces, way.leads_to.piece)


def _seen(train: _Train, track: Track) -> Look:
    """What is reported of blocks while one train is there; all else may be either way."""
    occupied = {track.pieces[piece].block for piece in train[1]}

    def look(fact: Fact) -> bool | None:
        if fact.what.kind != "block report":
            return None
        return ("occupied" if fact.what.name in occupied else "clear") in fact.values

    return look


def _reached(steps: Sequence[Condition], done: int, look: Look, named: Named) -> set[int]:
    """How many steps may be reached while a train is somewhere, given how many were before."""
    if done and not any(_may(steps[k], look, named) for k in (done - 1, done)):
        done = 0
    return {done, done + 1} if _may(steps[done], look, named) else {done}


def _may(condition: Condition, look: Look, named: Named) -> bool:
    return _comes_to(condition, look, named) is not False
