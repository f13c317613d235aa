"""Census of distances: room to stop, spots, fouling points, gaps at signals, sidings.

Each only where the file gives the numbers that it needs. Lengths are exact, in meters.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction

from verifier.census.says import (
    Must,
    Musts,
    all_of,
    any_of,
    better_than_restricting,
    blocks_of,
    is_read,
    occupied,
    proceeds,
    takes,
    takes_one,
)
from verifier.census.survey import LEGS, Survey, Trip
from verifier.logic.expr import FALSE, TRUE, Expr, atom, constant
from verifier.plan import observables
from verifier.plan.model import Port, Signal
from verifier.plan.signals.aspects import Aspect

FOOT = Fraction("0.3048")
NOTHING = Fraction(0)


# ------------------------------------------------------------------ room to stop


def stopping_distance(survey: Survey) -> Musts:
    """Every signal that can say "prepared to stop", and each signal or bumper that it leads to;
    every two signals that face each other, with other signals before each of them."""
    if survey.plan.wiring.stopping is not None:
        room = _Room(survey, survey.plan.wiring.stopping)
        yield from _ahead(room)
        yield from _face_to_face(room)


@dataclass(frozen=True, slots=True)
class _Room:
    """A survey, and the room in meters that a train needs to stop."""

    survey: Survey
    needed: Fraction

    def stands_back(self, signal: str) -> Fraction:
        return self.survey.plan.wiring.set_back.get(signal, NOTHING)

    def of(self, trip: Trip) -> tuple[Fraction, bool]:
        """How long a trip is at least, and whether it is known exactly."""
        lengths = self.survey.plan.wiring.lengths
        blocks = blocks_of(trip, self.survey)
        known = [lengths[block] for block in blocks if block in lengths]
        back = self.stands_back(trip.end) if trip.ends_at == "signal" else NOTHING
        return sum(known, self.stands_back(trip.signal)) - back, len(known) == len(blocks)


def _prepares(aspect: Aspect) -> bool:
    """Prepared to stop at the next signal."""
    return better_than_restricting(aspect) and aspect.indication.next_at_least is None


def _warns(aspect: Aspect) -> bool:
    second = "proceed prepared to stop at second signal"
    return _prepares(aspect) or aspect.indication.text == second


def _ahead(room: _Room) -> Musts:
    """A train told to be prepared to stop has room to, or was warned a signal earlier."""
    survey = room.survey
    aspects = survey.plan.chart.aspects
    for signal in survey.plan.signals.values():
        prepares = [a for a in aspects if _prepares(a) and a.name in signal.aspect.values]
        trips = [trip for trip in survey.trips[signal.name] if trip.ends_at != "edge"]
        for end in dict.fromkeys(trip.end for trip in trips) if prepares else ():
            there = [(trip, *room.of(trip)) for trip in trips if trip.end == end]
            short = [(trip, far) for trip, far, _ in there if far < room.needed]
            if any(far < room.needed and not known for _, far, known in there):
                continue
            bad = any_of(*(all_of(takes(t), _unwarned(signal, far, room)) for t, far in short))
            yield Must((signal.name, end), all_of(is_read(signal, prepares), bad), (signal.name,))


def _unwarned(signal: Signal, far: Fraction, room: _Room) -> Expr:
    """A train can come to the signal without a warning in time: from beyond the plan past no
    signal, or past a signal that does not warn or is too near."""
    survey = room.survey
    if _open_to_the_world(signal, survey):
        return TRUE
    comes = []
    for trip in survey.trips_to(signal):
        in_time = room.of(trip)[0] + far >= room.needed
        warns = {a.name for a in survey.plan.chart.aspects if in_time and _warns(a)}
        fast = [
            a
            for a in survey.plan.chart.aspects
            if better_than_restricting(a) and a.name not in warns
        ]
        comes.append(all_of(takes(trip), is_read(survey.plan.signals[trip.signal], fast)))
    return any_of(*comes)


def _open_to_the_world(signal: Signal, survey: Survey) -> bool:
    waiting, seen = [signal.enters], set[Port]()
    while waiting:
        before = survey.across(waiting.pop())
        piece = survey.piece(before.piece)
        if piece.kind == "edge" and piece.direction != "leaving":
            return True
        if before not in seen:
            seen.add(before)
            entered = (Port(step.piece, step.enter) for step in survey.steps_to(before))
            waiting += [port for port in entered if port not in survey.posts]
    return False


def _face_to_face(room: _Room) -> Musts:
    """Two trains that come to two signals face to face, both at stop, have room for both; where
    it is less than one needs, neither comes faster than prepared to stop while the other comes."""
    survey, plan = room.survey, room.survey.plan
    for (one, two), far in _facing_pairs(room).items():
        lots = [
            (a, b)
            for a in survey.trips_to(plan.signals[one])
            for b in survey.trips_to(plan.signals[two])
            if len({one, two, a.signal, b.signal}) == 4
        ]
        if not lots:
            continue
        bad = any_of(*(_both_too_fast(a, b, far, room) for a, b in lots))
        first = (lots[0][0].signal, lots[0][1].signal)
        yield Must((one, two, *first), FALSE if far >= 2 * room.needed else bad, first)


def _both_too_fast(a: Trip, b: Trip, far: Fraction, room: _Room) -> Expr:
    plan = room.survey.plan
    fast = [x for x in plan.chart.aspects if better_than_restricting(x) and not _prepares(x)]
    one, two = plan.signals[a.signal], plan.signals[b.signal]
    quick, also = is_read(one, fast), is_read(two, fast)
    if far >= room.needed:
        bad = all_of(quick, also)
    else:
        bad = any_of(all_of(quick, proceeds(two, plan)), all_of(proceeds(one, plan), also))
    return all_of(takes(a), takes(b), bad)


def _facing_pairs(room: _Room) -> Mapping[tuple[str, str], Fraction]:
    """Signals that face each other and their distance: the first ones met on each way from a
    signal, and those beyond them that are nearer than two trains need. Left out where a block
    of unknown length stands between and the known ones are less than that."""
    place = {name: i for i, name in enumerate(room.survey.plan.signals)}
    nearest: dict[tuple[str, str], Fraction] = {}
    unknown = set()
    for signal in room.survey.plan.signals.values():
        for other, far, known in _facing(signal, room):
            if other == signal.name:
                continue
            one, two = sorted((signal.name, other), key=lambda name: place[name])
            nearest[one, two] = min(far, nearest.get((one, two), far))
            if not known and far < 2 * room.needed:
                unknown.add((one, two))
    kept = [pair for pair in nearest if pair not in unknown]
    return {p: nearest[p] for p in sorted(kept, key=lambda p: (place[p[0]], place[p[1]]))}


def _facing(signal: Signal, room: _Room) -> Iterator[tuple[str, Fraction, bool]]:
    """The signals met from the back, with how far at least, and whether that is exact."""
    survey, lengths = room.survey, room.survey.plan.wiring.lengths
    done: set[Port] = set()
    # How far, in what order found, where, over which blocks, whether past a signal, whether exact.
    ways = [(room.stands_back(signal.name), 0, signal.enters, frozenset[str](), False, True)]
    turn = 0
    while ways:
        ways.sort(key=lambda way: way[:2])
        far, _, port, blocks, past, known = ways.pop(0)
        block = survey.block_of(port.piece)
        if port in done or block is None or (past and (far >= 2 * room.needed or not known)):
            continue
        done.add(port)
        if block not in blocks:
            blocks |= {block}
            known = known and block in lengths
            far += lengths.get(block, NOTHING)
        for step in survey.steps_from(port):
            out = Port(step.piece, step.leave)
            turn += 1
            faced = survey.posts.get(out)
            if faced:
                yield faced[0], far + room.stands_back(faced[0]), known
            ways.append((far, turn, survey.across(out), blocks, past or bool(faced), known))


# ------------------------------------------------------------------ spots, fouling, gaps


def train_hidden(survey: Survey) -> Musts:
    """Every block of given length with a spot detector, where the lengths of trains are given."""
    wiring = survey.plan.wiring
    spotted = {d.block for d in wiring.detectors.values() if d.kind == "spot"}
    for block in wiring.lengths if wiring.trains else ():
        if block in spotted:
            clear = atom(observables.block_report(block), "clear")
            yield Must((block,), all_of(occupied(block), clear))


def fouling_undetected(survey: Survey) -> Musts:
    """Every turnout with a fouling point, the block beyond the gap of each of its legs, and every
    signal with a trip over the other leg."""
    for name, machine in survey.plan.wiring.machines.items():
        if machine.fouling is None:
            continue
        found: dict[tuple[str, str], list[Expr]] = {}
        for leg, gap in machine.gaps.items():
            (other,) = (one for one in LEGS if one != leg)
            block = _beyond_the_gap(Port(name, leg), survey)
            for signal in survey.plan.signals if block else ():
                over = [
                    trip for trip in survey.trips[signal]
                    if any((s.piece, s.needs) == (name, other) for s in trip.steps)
                ]  # fmt: skip
                if over:
                    bad = takes_one(over) if gap < machine.fouling else FALSE
                    found.setdefault((signal, block or ""), []).append(bad)
        for (signal, block), ways in found.items():
            lets = proceeds(survey.plan.signals[signal], survey.plan)
            yield Must(
                (signal, name, block), all_of(any_of(*ways), lets, occupied(block)), (signal,)
            )


def _beyond_the_gap(leg: Port, survey: Survey) -> str | None:
    """The block where plain track from a leg leaves the turnout's own block; the block of other
    trackwork that it comes to first, if it is another one."""
    own, port, passed = survey.block_of(leg.piece), survey.across(leg), set[Port]()
    while port not in passed and survey.piece(port.piece).kind == "plain":
        passed.add(port)
        if survey.block_of(port.piece) != own:
            break
        (step,) = survey.steps_from(port)
        port = survey.across(Port(step.piece, step.leave))
    block = survey.block_of(port.piece)
    return block if block != own else None


def gap_beyond_signal(survey: Survey) -> Musts:
    """Every signal that stands a given distance before its gap, where the scale is given: no more
    than 13 scale feet."""
    scale = survey.plan.wiring.scale
    for signal, distance in survey.plan.wiring.set_back.items() if scale else ():
        assert scale is not None
        yield Must((signal,), constant(distance * scale > 13 * FOOT))


# ------------------------------------------------------------------ sidings


def train_does_not_fit(survey: Survey) -> Musts:
    """Every siding: plain track between legs of two turnouts whose other legs are joined as well.
    Where the lengths of trains and of all its blocks are given."""
    wiring = survey.plan.wiring
    done: set[frozenset[Port]] = set()
    turnouts = [n for n, p in survey.plan.track.pieces.items() if p.kind == "turnout"]
    for leg in (Port(name, end) for name in turnouts for end in LEGS):
        far, blocks = _siding(leg, survey)
        if far is None or far.piece == leg.piece or frozenset((leg, far)) in done:
            continue
        done.add(frozenset((leg, far)))
        given = all(block in wiring.lengths for block in blocks)
        if not (wiring.trains and blocks and given and _also_joined(leg, far, survey)):
            continue
        room = sum((wiring.lengths[block] for block in blocks), NOTHING)
        room -= _short_of_clear(leg, survey) + _short_of_clear(far, survey)
        yield Must(blocks, constant(room < wiring.trains.longest), note=True)


def _siding(leg: Port, survey: Survey) -> tuple[Port | None, tuple[str, ...]]:
    """The leg of another turnout that plain track leads to, and the blocks between."""
    port, passed, blocks = survey.across(leg), set[Port](), dict[str, None]()
    while port not in passed and survey.piece(port.piece).kind == "plain":
        passed.add(port)
        blocks[survey.block_of(port.piece) or ""] = None
        (step,) = survey.steps_from(port)
        port = survey.across(Port(step.piece, step.leave))
    if survey.piece(port.piece).kind != "turnout" or port.end not in LEGS:
        return None, ()
    own = {survey.block_of(leg.piece), survey.block_of(port.piece)}
    return port, tuple(block for block in blocks if block not in own)


def _also_joined(leg: Port, far: Port, survey: Survey) -> bool:
    """From the other leg of the one turnout, track leads to the other leg of the other, over
    neither of the two."""
    start, goal = (Port(p.piece, "reverse" if p.end == "normal" else "normal") for p in (leg, far))
    waiting, seen = [survey.across(start)], set[Port]()
    while waiting:
        port = waiting.pop()
        if port == goal:
            return True
        if port not in seen and port.piece not in (leg.piece, far.piece):
            seen.add(port)
            steps = survey.steps_from(port)
            waiting += [survey.across(Port(step.piece, step.leave)) for step in steps]
    return False


def _short_of_clear(leg: Port, survey: Survey) -> Fraction:
    """How much of the block on a leg lies between its gap and the fouling point."""
    machine = survey.plan.wiring.machines.get(leg.piece)
    if machine is None or machine.fouling is None or leg.end not in machine.gaps:
        return NOTHING
    return max(machine.fouling - machine.gaps[leg.end], NOTHING)
