"""Census over time: points, routes and signals do not change under or ahead of a train.

Nothing here is asked of a file that says nothing of time: no memory, no lock, no word on how
trains run.
"""

from collections.abc import Callable, Collection, Iterator
from dataclasses import replace

from verifier.census.movers import (
    Meeting,
    Mover,
    meetings_with,
    movers,
    only_commanded,
    train_on,
)
from verifier.census.says import (
    Must,
    Musts,
    all_of,
    any_of,
    blocks_of,
    clears,
    lie,
    no,
    occupied,
    permits,
    proceeds,
    takes,
    takes_one,
)
from verifier.census.signals import pairs_that_meet
from verifier.census.survey import Step, Survey, Trip, meetings
from verifier.logic.expr import FALSE, TRUE, Expr, atom
from verifier.plan import observables
from verifier.plan.locking.locking_model import Throw
from verifier.plan.model import Port, Signal

# ------------------------------------------------------------------ what happens in a history


def runs(port: Port, survey: Survey) -> Expr:
    """A train is on the piece, and came in by this end."""
    heading = observables.heading(port.piece, survey.piece(port.piece).ends)
    return all_of(train_on(port.piece), atom(heading, port.end))


def _over_time(survey: Survey) -> bool:
    return survey.plan.locking.over_time


# ------------------------------------------------------------------ what moves


def _movers(survey: Survey) -> Iterator[Mover]:
    return movers(survey) if _over_time(survey) else iter(())


def points_move_under_train(survey: Survey) -> Musts:
    """Everything that moves: it does not with a train on it."""
    for mover in _movers(survey):
        yield Must((mover.name,), all_of(mover.moves, mover.under))


def points_move_under_signal(survey: Survey) -> Musts:
    """Every signal and everything that moves and that a trip from it runs over, or that protects
    it: it does not move while the signal permits that trip."""
    for signal, mover, met in _signals_and_movers(survey):
        comes = any_of(*(meeting.comes for meeting in met))
        bad = all_of(permits(signal, survey.plan), comes, mover.moves)
        yield Must((signal.name, mover.name), bad, (signal.name,))


def indication_locking(survey: Survey) -> Musts:
    """The same: the signal does not permit that trip while it is commanded so but does not lie
    so."""
    for signal, mover, met in _signals_and_movers(survey):
        ways = (all_of(m.comes, only_commanded(mover, m.position)) for m in met)
        bad = all_of(permits(signal, survey.plan), any_of(*ways))
        yield Must((signal.name, mover.name), bad, (signal.name,))


def _signals_and_movers(survey: Survey) -> Iterator[tuple[Signal, Mover, list[Meeting]]]:
    """Every signal and everything that moves on trips from it, with how a train comes to it."""
    for signal in survey.plan.signals.values() if _over_time(survey) else ():
        for mover in movers(survey):
            met = list(meetings_with(mover, survey.trips[signal.name], survey))
            if met:
                yield signal, mover, met


def route_locking(survey: Survey) -> Musts:
    """Everything that moves and that a trip comes to over other track: it does not move with a
    train on that track and headed for it."""
    for mover in _movers(survey):
        comes, signals = _headed_for(mover, survey)
        if comes is not FALSE:
            yield Must((mover.name,), all_of(comes, mover.moves), signals)


def loss_of_shunt(survey: Survey) -> Musts:
    """Everything that a machine throws, and everything with a lock: it does not move
    under or ahead of a train that is undetected for a moment. Every two signals from which trains
    cross on the level: neither lets one pass with a train of the other on the crossing, or in the
    route and still before it. Notes without slow relays."""
    relays = survey.plan.locking.relays.values()
    slow = [r for r in relays if r.slow_pick is not None or r.slow_release is not None]
    for mover in _movers(survey):
        throw = survey.plan.locking.throws.get(mover.thrown_as)
        if throw is not None and (_by_machine(throw) or throw.locked is not None):
            comes, signals = _headed_for(mover, survey)
            bad = all_of(any_of(mover.under, comes), mover.moves)
            yield Must((mover.name,), bad, signals, note=not slow)
    across = pairs_that_meet(survey, "across") if _over_time(survey) else {}
    for (one, two), trips in across.items():
        ways = []
        for a, b, _, pieces in trips:
            for mine, other in ((a, b), (b, a)):
                lets = all_of(permits(survey.plan.signals[other.signal], survey.plan), takes(other))
                last = max(k for k, step in enumerate(mine.steps) if step.piece in pieces)
                ways.append(all_of(any_of(*_inside(mine, last + 1, survey)), lets))
        yield Must((one.name, two.name), any_of(*ways), (one.name, two.name), note=not slow)


def false_occupancy(survey: Survey) -> Musts:
    """The same points and crossings: not even where a block is falsely reported occupied once.
    Notes where no relay releases after a sequence. Where one does, and the file says how long
    trains need to stop, also every signal that approach locking counts: nothing of its routes is
    released then."""
    sequence = any(relay.after for relay in survey.plan.locking.relays.values())
    for must in loss_of_shunt(survey):
        yield replace(must, note=not sequence)
    if sequence:
        yield from approach_locking(survey)


def _by_machine(throw: Throw) -> bool:
    return throw.by != "anyone" and throw.by != "hand"


def _headed_for(mover: Mover, survey: Survey) -> tuple[Expr, tuple[str, ...]]:
    """A train is inside a route and has not come to it yet, and the points between choose the way
    there; and the signals of those routes."""
    comes, signals = [], dict[str, None]()
    for trip in survey.every_trip():
        at = next((met.steps for met in meetings_with(mover, (trip,), survey)), None)
        inside = list(_inside(trip, at, survey)) if at else []
        comes += inside
        if inside:
            signals[trip.signal] = None
    return any_of(*comes), tuple(signals)


def _inside(trip: Trip, at: int, survey: Survey) -> Iterator[Expr]:
    """A train is on one of the first steps of a trip, and the points that choose among these lie
    for it."""
    for i, here in enumerate(trip.steps[:at]):
        between = [s for s in trip.steps[i + 1 : at] if s.chooses]
        way = all_of(*(lie(s.piece, s.needs) for s in between if s.needs))
        own = lie(here.piece, here.needs) if here.chooses and here.needs else TRUE
        yield all_of(runs(Port(here.piece, here.enter), survey), own, way)


# ------------------------------------------------------------------ a signal put back


def approach_locking(survey: Survey) -> Musts:
    """Every signal with anything that moves on its trips, or with a signal that its trips conflict
    with, where the file says how long trains need to stop: once it is put back in front of a train,
    nothing of its routes is released before the train has had time to stop."""
    return _released(survey, lambda signal: may_still_pass(signal, survey))


def time_locking(survey: Survey) -> Musts:
    """The same signals, with a train or without one. A note."""
    for must in _released(survey, _was_put_back):
        yield Must(must.subjects, must.formula, must.at, note=True)


def _was_put_back(signal: Signal) -> Expr:
    return atom(observables.window("put back", signal.name), "yes")


def _released(survey: Survey, while_: Callable[[Signal], Expr]) -> Musts:
    if not _over_time(survey) or survey.plan.locking.running.to_stop is None:
        return
    for signal in survey.plan.signals.values():
        trips = survey.trips[signal.name]
        moves = [
            all_of(met.comes, mover.moves)
            for mover in movers(survey)
            for met in meetings_with(mover, trips, survey)
        ]
        others = [
            all_of(takes(trip), takes(other), lets)
            for trip in trips
            for other, lets in _conflicting(trip, survey)
        ]
        if moves or others:
            released = any_of(*moves, *others)
            bad = all_of(while_(signal), no(clears(signal, survey.plan)), released)
            yield Must((signal.name,), bad, (signal.name,))


def _conflicting(trip: Trip, survey: Survey) -> Iterator[tuple[Trip, Expr]]:
    """The trips of other signals that meet one otherwise than side by side, and that their signal
    lets a train onto it: at speed, where both are head on on `switching only` track."""
    plan = survey.plan
    rivals = dict.fromkeys(other for step in trip.steps for other in survey.over[step.piece])
    for other in rivals:
        for how, pieces in meetings(trip, other).items() if other.signal != trip.signal else ():
            if how != "side by side":
                blocks = [plan.blocks.get(survey.block_of(piece) or "") for piece in pieces]
                slow = how == "head on" and all(b is not None and b.switching for b in blocks)
                lets = proceeds if slow else permits
                yield other, lets(plan.signals[other.signal], plan)


def may_still_pass(signal: Signal, survey: Survey) -> Expr:
    """A train on the approach, or beyond the edge at the signal, saw it clear too recently to be
    sure to stop, and does not stand across the joint at the signal."""
    if survey.plan.locking.running.to_stop is None:
        return FALSE
    joint = signal.joint
    name = f"{joint.a.piece} {joint.a.end} to {joint.b.piece} {joint.b.end}"
    free = atom(observables.across(name), "free")
    before = survey.piece(survey.across(signal.enters).piece)
    late = atom(observables.window("late", signal.name), "yes")
    if before.kind == "edge" and before.direction != "leaving":
        return all_of(late, free)
    return all_of(late, free, any_of(*_on_approach(signal, survey)))


def _on_approach(signal: Signal, survey: Survey) -> Iterator[Expr]:
    """A train on the trackwork right behind the signal; on plain track back to the next signal
    the same way or to trackwork."""
    out, passed = survey.across(signal.enters), set[Port]()
    if survey.piece(out.piece).kind != "plain":
        for step in survey.steps_to(out):
            lies = lie(step.piece, step.needs) if step.needs else TRUE
            yield all_of(lies, runs(Port(step.piece, step.enter), survey))
    while survey.piece(out.piece).kind == "plain" and out not in passed:
        passed.add(out)
        (step,) = survey.steps_to(out)
        enter = Port(step.piece, step.enter)
        yield runs(enter, survey)
        if enter in survey.posts:
            break
        out = survey.across(enter)


def hand_points_unlocked(survey: Survey) -> Musts:
    """Everything with an electric lock that a trip runs over: the lock is not released while the
    signal of the trip permits it, nor while a train may still pass that signal."""
    for mover in _movers(survey):
        throw = survey.plan.locking.throws.get(mover.name)
        ways, signals = [], dict[str, None]()
        for met in meetings_with(mover, survey.every_trip(), survey):
            signal = survey.plan.signals[met.trip.signal]
            late = may_still_pass(signal, survey)
            ways.append(all_of(met.comes, any_of(permits(signal, survey.plan), late)))
            signals[signal.name] = None
        if ways and throw is not None and throw.electric:
            released = atom(observables.event("lock released", mover.name), "yes")
            yield Must((mover.name,), all_of(released, any_of(*ways)), tuple(signals))


# ------------------------------------------------------------------ trains


def collision(survey: Survey) -> Musts:
    """Every piece of track but the ends; pieces of plain track go by their block, together."""
    grounds: dict[str, list[Expr]] = {}
    for name, piece in survey.plan.track.pieces.items() if _over_time(survey) else ():
        if piece.kind not in ("edge", "bumper"):
            title = piece.block if piece.kind == "plain" and piece.block else name
            meet = atom(observables.event("trains meet", name), "yes")
            grounds.setdefault(title, []).append(meet)
    for title, meets in grounds.items():
        yield Must((title,), any_of(*meets))


def derailment(survey: Survey) -> Musts:
    """Everything that moves."""
    for mover in _movers(survey):
        yield Must((mover.name,), atom(observables.event("train derails", mover.name), "yes"))


def opposing_signals_drop(survey: Survey) -> Musts:
    """Every signal with a trip over track, or to plain track beyond, on which trains can run
    toward it: let in by signals or over an edge. It does not proceed with one on the trip; the
    first of several signals is at stop with one anywhere up to the next trackwork."""
    if not _over_time(survey):
        return
    let_on = {(s.piece, s.enter) for trip in survey.every_trip() for s in trip.steps}
    firsts = {port for port in survey.posts if _is_first(port, survey)}
    for signal in survey.plan.signals.values():
        ways = []
        for trip in survey.trips[signal.name]:
            beyond, end = _beyond(trip, firsts, survey)
            toward = any((s.piece, s.leave) in let_on for s in (*trip.steps, *beyond))
            comes_in = survey.piece(end).kind == "edge" and survey.piece(end).direction != "leaving"
            if not (toward or comes_in):
                continue
            near = [runs(Port(s.piece, s.leave), survey) for s in trip.steps]
            if signal.enters in firsts and beyond:
                far = [runs(Port(s.piece, s.leave), survey) for s in beyond]
                lets = permits(signal, survey.plan)
                ways.append(all_of(takes(trip), lets, any_of(*near, *far)))
            else:
                lets = proceeds(signal, survey.plan)
                ways.append(all_of(takes(trip), lets, any_of(*near)))
        if ways:
            yield Must((signal.name,), any_of(*ways), (signal.name,))


def _beyond(trip: Trip, firsts: Collection[Port], survey: Survey) -> tuple[tuple[Step, ...], str]:
    """Plain track beyond a trip, up to where the first signal the other way lets trains onto it,
    and the piece after it."""
    found: dict[str, Step] = {}
    port = survey.across(Port(trip.steps[-1].piece, trip.steps[-1].leave))
    while survey.piece(port.piece).kind == "plain" and port.piece not in found:
        if survey.across(port) in firsts:
            break
        (found[port.piece],) = survey.steps_from(port)
        port = survey.across(Port(port.piece, found[port.piece].leave))
    return tuple(found.values()), port.piece


def _is_first(port: Port, survey: Survey) -> bool:
    """No other signal the same way stands before it on the same plain track."""
    before, passed = survey.across(port), set[Port]()
    while survey.piece(before.piece).kind == "plain" and before not in passed:
        passed.add(before)
        (step,) = survey.steps_to(before)
        if Port(step.piece, step.enter) in survey.posts:
            return False
        before = survey.across(Port(step.piece, step.enter))
    return True


def traffic_locking(survey: Survey) -> Musts:
    """Every direction of traffic: it does not turn with a train on its blocks, nor while a signal
    outside them permits a trip onto them."""
    plan = survey.plan
    for traffic in plan.locking.traffic.values() if _over_time(survey) else ():
        held, signals = [occupied(block) for block in traffic.blocks], []
        for signal in plan.signals.values():
            onto = [
                trip for trip in survey.trips[signal.name]
                if any(block in traffic.blocks for block in blocks_of(trip, survey))
            ]  # fmt: skip
            stands_on = survey.block_of(survey.across(signal.enters).piece)
            if onto and stands_on not in traffic.blocks:
                held.append(all_of(permits(signal, plan), takes_one(onto)))
                signals.append(signal.name)
        turns = atom(observables.event("traffic turns", traffic.name), "yes")
        yield Must((traffic.name,), all_of(turns, any_of(*held)), tuple(signals))
