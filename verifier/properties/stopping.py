"""Room to stop: from a signal to the next one, and between opposing signals at stop.

``clearproof explain`` prints the docstring of :func:`stopping_distance`."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from heapq import heappop, heappush
from itertools import count

from verifier.logic.expr import TRUE, Expr, conjunction, constant, disjunction
from verifier.plan.model import Piece, Plan, Port, Route, Signal
from verifier.plan.signals.aspects import Aspect
from verifier.plan.track.build_track import moves_over
from verifier.plan.wiring.wiring_model import Number
from verifier.properties.amounts import length
from verifier.properties.obligation import Obligation
from verifier.properties.phrases import proceeds, shows_one_of, signals_with_routes, takes

SECOND = "proceed prepared to stop at second signal"


@dataclass(frozen=True, slots=True)
class _Ground:
    """A plan with an index by port: the first signal that governs entrance at it, and the routes
    that end there."""

    plan: Plan
    governing: Mapping[Port, Signal]
    arriving: Mapping[Port, tuple[Route, ...]]

    def routes_to(self, signal: Signal) -> tuple[Route, ...]:
        found = self.arriving.get(signal.enters, ())
        return tuple(route for route in found if route.signal != signal.name)


def _ground(plan: Plan) -> _Ground:
    governing: dict[Port, Signal] = {}
    for signal in plan.signals.values():
        governing.setdefault(signal.enters, signal)
    arriving: dict[Port, tuple[Route, ...]] = {}
    for route in plan.routes:
        if route.exit_kind == "signal":
            port = plan.signals[route.exit].enters
            arriving[port] = (*arriving.get(port, ()), route)
    return _Ground(plan, governing, arriving)


def stopping_distance(plan: Plan) -> Iterator[Obligation]:
    """A train has room to stop at the next signal, and two trains that run toward each other can
    both stop.

    First, a signal that says "prepared to stop" is at least the stopping distance from the next
    signal, or from the bumper where the track ends. If it is nearer, an earlier signal must have
    warned the train: the signal before it says "prepared to stop" at the next or the second
    signal, and is far enough away.

    Second, where opposing signals at stop are nearer to each other than twice the stopping
    distance, the signals before them never both let a train approach with an aspect better than
    "prepared to stop". Where they are nearer than one stopping distance, neither signal does so
    while the other lets a train approach at all.

    Checked where the stopping distance and the lengths of the blocks are given. Distances run from
    signal to signal: all blocks between their gaps, and how far each signal stands before its
    gap. One stopping distance applies to all trains and speeds, so give that of the train that
    needs the most.
    """
    least = plan.wiring.stopping
    if least is None:
        return
    ground = _ground(plan)
    yield from _to_the_next(least, ground)
    for one, two, distance in _facing_pairs(2 * least, ground):
        found = _between(one, two, distance, least, ground)
        if found is not None:
            yield found


# ------------------------------------------------------------------ to the next signal (.24)


def _to_the_next(least: Number, ground: _Ground) -> Iterator[Obligation]:
    plan, unit = ground.plan, ground.plan.wiring.units.track
    needed = length(least, unit, "more")
    for signal, routes in signals_with_routes(plan):
        ready = [a for a in plan.chart.aspects if _prepares(a) and a.name in signal.aspect.values]
        for name in dict.fromkeys(r.exit for r in routes if r.exit_kind != "edge" and ready):
            ways = [(r, *_to_exit(r, plan)) for r in routes if r.exit == name]
            short = [(r, n) for r, n, _ in ways if n < least]
            # A way with blocks of unknown length may still be long enough by its known ones.
            if any(n < least and not known for _, n, known in ways):
                continue
            nearest, distance, _ = min(ways, key=lambda way: way[1])
            bad = (
                conjunction(takes(r), _comes_unwarned(signal, n, least, ground)) for r, n in short
            )
            yield Obligation(
                "stopping-distance",
                (signal.name, name),
                conjunction(shows_one_of(signal, {a.name for a in ready}), disjunction(*bad)),
                f"{signal.name} says to be prepared to stop at {name}, "
                f"{length(distance, unit, 'less')} ahead, but a train without an earlier warning "
                f"needs {needed}",
                (signal.span, _place(name, plan).span),
                (signal.name,),
                (nearest,),
                nearest.pieces,
                name,
                hint=f"Move {name} at least {length(least - distance, unit, 'more')} "
                f"farther from {signal.name}, or let the signal before {signal.name} say "
                f"`{SECOND}` while {signal.name} says to be prepared to stop.",
            )


def _prepares(aspect: Aspect) -> bool:
    """Whether it says "prepared to stop at the next signal" to a train above restricted speed."""
    return aspect.proceeds and aspect.indication.next_at_least is None


def _to_exit(route: Route, plan: Plan) -> tuple[Number, bool]:
    """The least distance in meters from the signal of a route to the signal or bumper at its end,
    and whether it is exact, the length of every block being given."""
    lengths, back = plan.wiring.lengths, plan.wiring.set_back
    blocks = sum((lengths.get(block, Number(0)) for block in route.blocks), Number(0))
    here = back.get(route.signal, Number(0))
    there = back.get(route.exit, Number(0)) if route.exit_kind == "signal" else Number(0)
    return blocks + here - there, all(block in lengths for block in route.blocks)


def _comes_unwarned(signal: Signal, ahead: Number, least: Number, ground: _Ground) -> Expr:
    """A train without a timely warning may reach ``signal``, ``ahead`` meters from where it must
    stop."""
    if _way_in_past_no_signal(signal, ground):
        return TRUE
    plan = ground.plan
    comes = []
    for route in ground.routes_to(signal):
        before, _ = _to_exit(route, plan)
        in_time = before + ahead >= least
        late = {a.name for a in plan.chart.aspects if a.proceeds and not (in_time and _warns(a))}
        comes.append(conjunction(shows_one_of(plan.signals[route.signal], late), takes(route)))
    return disjunction(*comes)


def _warns(aspect: Aspect) -> bool:
    return _prepares(aspect) or aspect.indication.text == SECOND


def _way_in_past_no_signal(signal: Signal, ground: _Ground) -> bool:
    """Whether a train from beyond the plan can reach the signal without passing another. (A train
    at a bumper starts from a standstill.)"""
    track = ground.plan.track
    stack = [signal.joint.other(signal.enters)]
    seen: set[Port] = set()
    while stack:
        left_by = stack.pop()
        if left_by in seen:
            continue
        seen.add(left_by)
        piece = track.pieces[left_by.piece]
        if piece.kind == "edge" and piece.direction != "leaving":
            return True
        entered = [Port(m.piece, m.enter) for m in moves_over(piece) if m.leave == left_by.end]
        stack += [track.joint_at[p].other(p) for p in entered if p not in ground.governing]
    return False


def _place(name: str, plan: Plan) -> Signal | Piece:
    return plan.signals.get(name) or plan.track.pieces[name]


# ------------------------------------------------------------------ opposing signals (.204)


def _facing_pairs(enough: Number, ground: _Ground) -> Iterator[tuple[Signal, Signal, Number]]:
    """Signals that face each other, with their distance: from each signal the first ones, and all
    that are nearer than ``enough``."""
    signals = list(ground.plan.signals.values())
    order = {signal.name: i for i, signal in enumerate(signals)}
    found: dict[tuple[int, int], Number] = {}
    unknown: set[tuple[int, int]] = set()
    for signal in signals:
        for other, distance, known in _facing(signal, enough, ground):
            if other.name != signal.name:
                one, two = sorted((order[signal.name], order[other.name]))
                found[one, two] = min(distance, found.get((one, two), distance))
                if distance < enough and not known:
                    unknown.add((one, two))
    for (i, j), distance in sorted(found.items()):
        if (i, j) not in unknown:
            yield signals[i], signals[j], distance


def _facing(
    signal: Signal, enough: Number, ground: _Ground
) -> Iterator[tuple[Signal, Number, bool]]:
    """The signals that face ``signal``, nearest first, with the least distance, and whether it is
    exact, the length of every block between being given."""
    plan, back = ground.plan, ground.plan.wiring.set_back
    start = back.get(signal.name, Number(0))
    turn = count()  # ties are broken by the order of the track
    ways: list[tuple[Number, int, Port, frozenset[str], bool, bool]] = []
    heappush(ways, (start, next(turn), signal.enters, frozenset(), False, True))
    seen: set[Port] = set()
    while ways:
        distance, _, port, counted, met, known = heappop(ways)
        block = plan.track.pieces[port.piece].block
        # Nothing is checked beyond a signal whose distance is unknown.
        if port in seen or block is None or (met and (distance >= enough or not known)):
            continue
        seen.add(port)
        if block not in counted:
            across = plan.wiring.lengths.get(block)
            known = known and across is not None
            distance, counted = distance + (across or 0), counted | {block}
        for move, _, leads_to in plan.track.onward[port]:
            other = ground.governing.get(Port(move.piece, move.leave))
            if other is not None:
                yield other, distance + back.get(other.name, Number(0)), known
            met_now = met or other is not None
            heappush(ways, (distance, next(turn), leads_to, counted, met_now, known))


def _between(
    one: Signal, two: Signal, distance: Number, least: Number, ground: _Ground
) -> Obligation | None:
    """Two trains can both stop at two signals that face each other; None where no two signals let
    trains approach both."""
    plan, unit = ground.plan, ground.plan.wiring.units.track
    pairs = [
        (a, b)
        for a in ground.routes_to(one)
        for b in ground.routes_to(two)
        if len({a.signal, b.signal, one.name, two.name}) == 4
    ]
    if not pairs:
        return None
    bad = (_both_come(a, b, distance, least, plan) for a, b in pairs)
    before = [plan.signals[route.signal] for route in pairs[0]]
    return Obligation(
        "stopping-distance",
        tuple(dict.fromkeys((one.name, two.name, *(s.name for s in before)))),
        constant(False) if distance >= 2 * least else disjunction(*bad),
        f"{before[0].name} and {before[1].name} both let trains approach; with {one.name} and "
        f"{two.name} at stop, the trains have {length(distance, unit, 'less')} between these two "
        f"signals and need {length(2 * least, unit, 'more')} together",
        (one.span, two.span, *(s.span for s in before)),
        tuple(s.name for s in before),
        pairs[0],
        tuple(dict.fromkeys((one.enters.piece, two.enters.piece))),
        f"{one.name} and {two.name}",
        hint=f"Move {one.name} and {two.name} at least "
        f"{length(2 * least - distance, unit, 'more')} farther apart, or let the signals "
        "before them show nothing better than Approach while both let trains approach.",
    )


def _both_come(a: Route, b: Route, distance: Number, least: Number, plan: Plan) -> Expr:
    one, two = plan.signals[a.signal], plan.signals[b.signal]
    fast = {aspect.name for aspect in plan.chart.aspects
            if aspect.proceeds and not _prepares(aspect)}  # fmt: skip
    at_speed, other_at_speed = shows_one_of(one, fast), shows_one_of(two, fast)
    ways = conjunction(takes(a), takes(b))
    if distance >= least:
        return conjunction(ways, at_speed, other_at_speed)
    return conjunction(
        ways,
        disjunction(
            conjunction(at_speed, proceeds(two, plan)),
            conjunction(proceeds(one, plan), other_at_speed),
        ),
    )
