"""Locks, timers, starting positions and promises.

In: something broken over time. Out: proposals: a lock on what moves, with a timer where time has to
run; a position at the start; what the crew promises last of all.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from verifier.language.syntax import tree
from verifier.mending.by_lines import held_already, held_by_lines, held_by_timers, righted
from verifier.mending.changes import (
    Change,
    Proposal,
    after,
    before,
    further_clause,
    instead,
    without,
)
from verifier.mending.given import Given, all_facts, clauses_of, conjoined, disjoined
from verifier.plan.devices import Device, devices
from verifier.plan.locking.crew_rules import led_to
from verifier.plan.model import Port
from verifier.properties.amounts import decimal
from verifier.properties.obligation import Obligation

MOVING = frozenset(
    ("points-move-under-train", "points-move-under-signal", "approach-locking", "route-locking",
     "hand-points-unlocked", "derailment", "collision", "indication-locking", "traffic-locking",
     "opposing-signals-drop")
)  # fmt: skip
FOR_GOOD = frozenset(("locked-for-good", "train-cannot-leave", "route-never-set"))
_AT_REST = {"derail": "derailing", "gate": "seated"}


@dataclass(frozen=True, slots=True)
class _Asked:
    """While what something is held, and how the opposite is written."""

    held: str
    free: str
    cost: float
    timer: str = ""
    words: str = ""


def locks(given: Given, obligation: Obligation) -> Iterator[Proposal]:
    """A lock on what moves at the place of an obligation."""
    if obligation.property not in MOVING:
        return
    for device in _concerned(given, obligation):
        yield from _put_right(given, device)
        for asked in _ways_to_hold(given, device):
            made = _locked(given, device, asked)
            if made is not None:
                yield made


def _concerned(given: Given, obligation: Obligation) -> list[Device]:
    """What moves at the place of an obligation, that which it names first."""
    known = devices(given.plan)
    named = [known[name] for name in obligation.subjects if name in known]
    if named:
        return named
    found = [
        d for d in known.values()
        if any(route.signal in obligation.signals
               for route, _ in led_to(d, given.plan.routes, given.plan.signals))
    ]  # fmt: skip
    return found or list(known.values())


def _ways_to_hold(given: Given, device: Device) -> Iterator[_Asked]:
    """What a lock lacks, of all that it may be held by."""
    plan = given.plan
    there = _names_there(given, device)
    led = list(led_to(device, plan.routes, plan.signals))
    signals = list(dict.fromkeys(route.signal for route, _ in led))
    lacking = [name for name in signals if name not in there]
    parts: list[tuple[str, str]] = []
    if device.block not in there:
        parts.append((f"{device.block} occupied", f"{device.block} clear"))
        yield _asked(parts, 2, "while stock stands there")
    over: list[tuple[str, str]] = []
    if lacking:
        at_stop = f"{', '.join(lacking)} at stop"
        every = "all of " if len(lacking) > 1 else ""
        over.append((f"not {every}{at_stop}", at_stop))
        cost = 3 if lacking == signals else 2
        yield _asked(over, cost, "while a signal over it is clear")
        if parts:
            words = "while stock stands there or a signal over it is clear"
            yield _asked([*parts, *over], 4, words)
    if signals:
        yield from _with_timer(given, device, signals, parts, over)
    ways = [(2.1, one) for one in held_by_lines(plan, signals, there)]
    for name, timer in held_by_timers(plan, device, signals, there):
        ways.append((1.5 if name in given.unasked else 2.2, timer))
    for usual, one in ways:
        yield _asked([one], usual, f"while {one[0]}")
        if parts:
            yield _asked([*parts, one], usual + 1, f"while stock stands there or {one[0]}")


def _asked(parts: Sequence[tuple[str, str]], cost: float, words: str, timer: str = "") -> _Asked:
    held, free = zip(*parts, strict=True)
    return _Asked(" or ".join(held), " and ".join(free), cost, timer, words)


def _with_timer(
    given: Given,
    device: Device,
    signals: list[str],
    stock: list[tuple[str, str]],
    over: list[tuple[str, str]],
) -> Iterator[_Asked]:
    """The same with a new timer, for as long as trains need to stop, and half as long again."""
    seconds = given.plan.locking.running.to_stop
    if seconds is None:
        return
    at_stop, clear = f"{', '.join(signals)} at stop", f"{device.block} clear"
    timer = given.free_name(f"{device.name}-time", f"{device.name}-lock-time")
    done = (f"not {timer} done", f"{timer} done")
    for cost, longer in ((5, Fraction(1)), (6, Fraction(3, 2))):
        said = f"timer {timer} {decimal(seconds * longer)} s runs while {at_stop}"
        until = f"until its signals have been at stop for {decimal(seconds * longer)} s"
        words = f"while stock stands there or a signal over it is clear, and {until}"
        yield _asked([*stock, *over, done], cost, words, said)
        words = f"while stock stands there, and {until}"
        yield _asked([*stock, done], cost, words, f"{said} and {clear}")


def _names_there(given: Given, device: Device) -> frozenset[str]:
    """What the lock of something is held by already."""
    locking = given.plan.locking.throws.get(device.name)
    locked = locking.locked if locking else None
    return held_already(locked) if locked is not None else frozenset()


def _put_right(given: Given, device: Device) -> Iterator[Proposal]:
    """The lock that something has, with one part of its condition put right."""
    statement = given.alone(device.name)
    if statement is None or device.pipe is not None:
        return
    for kind in ("locked while", "electric lock"):
        for clause in clauses_of(statement, kind):
            if clause.condition is not None:
                for one in righted(given, clause.condition, kind == "electric lock"):
                    why = f"{one.why} in the lock of {device.name}"
                    yield Proposal(why, one.cost, (instead(clause.condition.span, one.text),))


def _locked(given: Given, device: Device, asked: _Asked) -> Proposal | None:
    statement = given.alone(device.name)
    if statement is None or device.pipe is not None:
        return None
    throw = given.plan.locking.throws.get(device.name)
    changes: list[Change] = []
    if asked.timer:
        changes.append(before(given.text, statement.span, f"{asked.timer}\n"))
    locked = clauses_of(statement, "locked while")
    electric = clauses_of(statement, "electric lock")
    if locked and locked[0].condition is not None:
        changes += disjoined(locked[0].condition, asked.held)
    elif electric and electric[0].condition is not None:
        changes += conjoined(electric[0].condition, asked.free)
    elif throw is None or throw.by in ("anyone", "hand"):
        by = "" if throw is not None and throw.by == "hand" else "thrown by hand\n  "
        clause = f"{by}electric lock released when {asked.free}"
        changes.append(further_clause(given.text, statement.span, clause))
    else:
        changes.append(further_clause(given.text, statement.span, f"locked while {asked.held}"))
    what = "an electric lock" if throw is None or throw.by in ("anyone", "hand") else "a lock"
    held = "give" if not (locked or electric) else "let"
    why = f"{held} {device.title} {what} that holds it {asked.words}"
    if locked or electric:
        why = f"let the lock of {device.name} hold it also {asked.words}"
    return Proposal(why, asked.cost, tuple(changes))


def locks_without_power(given: Given, obligation: Obligation) -> Iterator[Proposal]:
    """A relay that must be up to unlock, where a lock opens as relays drop without power. It picks
    only after a time, so that the lock stays shut when the power comes back before a train."""
    seconds = given.plan.locking.running.to_stop
    if obligation.property not in ("supply-lost", "wire-broken") or seconds is None:
        return
    for device in devices(given.plan).values():
        statement = given.alone(device.name)
        locked = clauses_of(statement, "locked while") if statement else []
        if statement is None or not locked or locked[0].condition is None:
            continue
        asked = {
            name.text: None for fact in all_facts(locked[0].condition) for name in fact.names
            if name.text in given.plan.locking.relays
        }  # fmt: skip
        led = led_to(device, given.plan.routes, given.plan.signals)
        signals = list(dict.fromkeys(route.signal for route, _ in led))
        statements = [given.declaring(name) for name in signals]
        if not asked or not signals or not all(isinstance(s, tree.Signal) for s in statements):
            continue
        rest = f"{', '.join(asked)} down and {device.block} clear"
        free = given.free_name(f"{device.name}-free")
        timer = given.free_name(f"{device.name}-free-time")
        said = (
            f"timer {timer} {decimal(seconds)} s runs while {', '.join(signals)} at stop and {rest}"
            f"\nrelay {free}\n  picks when {timer} done and {rest}\n  sticks while {rest}"
        )
        passing = {a.name for a in given.plan.chart.aspects if a.permits}
        lines = [
            change
            for signal in statements if isinstance(signal, tree.Signal)
            for rule in signal.rules if rule.when is not None and rule.shows.text in passing
            for change in conjoined(rule.when, f"{free} down")
        ]  # fmt: skip
        held = instead(locked[0].condition.span, f"{free} down or {device.block} occupied")
        why = (
            f"let a relay {free} that must be up unlock {device.name}, and pick only after "
            f"{decimal(seconds)} s at rest"
        )
        changes = (held, after(given.text, statement.span, f"\n{said}"), *lines)
        yield Proposal(why, 1, changes)


def times(given: Given, obligation: Obligation) -> Iterator[Proposal]:
    """Timers that run as long as trains need to stop, and half as long again."""
    seconds = given.plan.locking.running.to_stop
    if obligation.property not in MOVING or seconds is None:
        return
    for statement in given.of_kind(tree.Timer):
        timer = given.plan.locking.timers.get(statement.name.text)
        if timer is None or timer.seconds >= seconds * 2:
            continue
        for longer in (Fraction(1), Fraction(3, 2)):
            if timer.seconds >= seconds * longer:
                continue
            span = statement.length[0].span.to(statement.length[-1].span)
            said = f"{decimal(seconds * longer)} s"
            why = f"let timer {timer.name} run for {said}: trains need {decimal(seconds)} s to stop"
            yield Proposal(why, 1, (instead(span, said),))


def starts(given: Given, obligation: Obligation) -> Iterator[Proposal]:
    """The position at the start of what the file leaves open."""
    if obligation.property not in FOR_GOOD:
        return
    for device in devices(given.plan).values():
        statement = given.declaring(device.name)
        if statement is None or device.name in given.plan.locking.starts.positions:
            continue
        position = _AT_REST.get(type(statement).__name__.lower(), "normal")
        change = further_clause(given.text, statement.span, f"starts {position}")
        why = f"put {device.name} {position} before each session"
        yield Proposal(why, 5, (change,))


def edges(given: Given, obligation: Obligation) -> Iterator[Proposal]:
    """A track kept free for the other direction: no train comes in there, and a signal for those
    that did goes, with all that it could show."""
    if obligation.property not in FOR_GOOD:
        return
    for statement in given.of_kind(tree.Edge):
        for name in statement.names:
            if statement.direction != "both" or statement.entering is not None:
                continue
            changes = edge_alone(given, statement, name, f"edge {name.text} leaving only")
            yield Proposal(f"let trains only leave at {name.text}", 9, changes)
            signals = _for_trains_from(given, name.text)
            gone = [_taken_out(given, signal) for signal in signals]
            if signals and all(gone):
                trades = frozenset(
                    v.obligation.key for v in given.report.verdicts
                    if set(signals) & set(v.obligation.signals)
                )  # fmt: skip
                why = f"let trains only leave at {name.text}, and do without {', '.join(signals)}"
                every = (*changes, *(change for some in gone for change in some))
                yield Proposal(why, 8.5, every, trades)


def _for_trains_from(given: Given, edge: str) -> list[str]:
    """The signals that trains from an edge come to first, over plain track."""
    track = given.plan.track
    into = track.joint_at[Port(edge, track.pieces[edge].ends[0])].other(
        Port(edge, track.pieces[edge].ends[0])
    )
    piece = track.pieces[into.piece]
    if piece.kind != "plain":
        return []
    last = Port(piece.name, next(end for end in piece.ends if end != into.end))
    beyond = track.joint_at[last].other(last)
    return [name for name, signal in given.plan.signals.items() if signal.enters == beyond]


def _taken_out(given: Given, signal: str) -> list[Change]:
    """A signal taken out, and out of the lists of names that have it; empty where a condition is
    about it alone."""
    statement = given.declaring(signal)
    changes = [without(given.text, statement.span)] if statement else []
    for other in given.statements:
        for fact in (f for f in all_facts(other) if other is not statement):
            names = [name.text for name in fact.names]
            if signal in names:
                if len(names) == 1:
                    return []
                span = fact.names[0].span.to(fact.names[-1].span)
                left = ", ".join(name for name in names if name != signal)
                changes.append(instead(span, left))
    return changes


def edge_alone(
    given: Given, statement: tree.Edge, name: tree.Name, written: str
) -> tuple[Change, ...]:
    """An edge taken out of a statement that declares several, with a statement of its own."""
    if len(statement.names) == 1:
        return (instead(statement.span, written),)
    others = [n.text for n in statement.names if n is not name]
    span = statement.names[0].span.to(statement.names[-1].span)
    return (instead(span, ", ".join(others)), after(given.text, statement.span, written))


def promises(given: Given, obligation: Obligation) -> Iterator[Proposal]:
    """What the crew could promise, where no equipment does it."""
    if obligation.over == "situations" or not given.report.promises:
        return
    yield _promised(given, (p.text for p in given.report.promises))


def _promised(given: Given, texts: Iterable[str]) -> Proposal:
    said = [f"crew promises {text}" for text in texts]
    here = next(given.of_kind(tree.Signal), given.statements[-1])
    change = before(given.text, here.span, "\n".join(said) + "\n")
    why = "let the crew promise what no lock does (see `clearproof why`)"
    return Proposal(why, 12, (change,))
