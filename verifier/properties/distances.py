"""Distances on the ground: spot detectors and trains, gaps and fouling points, gaps and signals.

``clearproof explain NAME`` prints the docstring of each property. A property is checked only where
the file gives the numbers it needs.
"""

from collections.abc import Iterator
from typing import NamedTuple

from verifier.logic.expr import atom, conjunction, constant, disjunction
from verifier.plan import observables
from verifier.plan.model import Piece, Plan, Port, Route, Signal
from verifier.plan.wiring.electrical_constants import scaled_feet
from verifier.plan.wiring.wiring_model import Machine, Number
from verifier.properties.amounts import length
from verifier.properties.obligation import Obligation
from verifier.properties.phrases import (
    any_taken,
    occupied,
    pieces_in,
    proceeds,
)

OTHER_LEG = {"normal": "reverse", "reverse": "normal"}
# The farthest beyond its signal that a train may go undetected (236.302), in prototype feet.
FEET_BEYOND = 13


def train_hidden(plan: Plan) -> Iterator[Obligation]:
    """No train of a declared length can hide between spot detectors while its block reports
    clear.

    A spot detector sees only what covers its spot. A train shorter than the distance between two
    spots can stand between them, or beyond the last spot at the end of a block. Checked for
    blocks with spot detectors where the lengths of the block and of the trains are given.
    """
    trains = plan.wiring.trains
    for block, across in plan.wiring.lengths.items():
        if trains is None or not any(d.kind == "spot" for d in plan.wiring.detectors_of(block)):
            continue
        detectors, unit = plan.wiring.detectors_of(block), plan.wiring.units.track
        yield Obligation(
            "train-hidden",
            (block,),
            conjunction(occupied(block), atom(observables.block_report(block), "clear")),
            f"{block} reports clear while a train stands where no detector sees it",
            (*(d.span for d in detectors), plan.blocks[block].span, trains.span),
            pieces=pieces_in(block, plan),
            place=block,
            hint=f"Put spots on {block} no farther apart than the shortest train, "
            f"{length(trains.shortest, unit, 'less')}, one of them at each end "
            f"({length(Number(0), unit)} and {length(across, unit)}); or use a current-sensing "
            "detector.",
        )


# ------------------------------------------------------------------ fouling points


def fouling_undetected(plan: Plan) -> Iterator[Obligation]:
    """No signal proceeds over a turnout while undetected stock may foul it.

    If the gap on a leg is nearer to the points than the fouling point, stock beyond the gap can
    foul the other leg although the turnout's own block is clear. A signal over the other leg must
    then not proceed while anything stands on the block beyond the gap. Checked where the fouling
    point and the gap are given.
    """
    over = _routes_over(plan) if plan.wiring.machines else {}
    for machine in plan.wiring.machines.values():
        if machine.fouling is None:
            continue
        # Both legs may lead to one block, as in a balloon loop: one obligation for both.
        found: dict[tuple[str, str], list[_Leg]] = {}
        for leg, gap in machine.gaps.items():
            block = _beyond_gap(Port(machine.turnout, leg), plan)
            others = over.get(Port(machine.turnout, OTHER_LEG[leg]), {}) if block else {}
            for signal, routes in others.items():
                found.setdefault((signal, block or ""), []).append(_Leg(leg, gap, routes))
        for (signal, block), legs in found.items():
            yield _past_the_gap(machine, machine.fouling, plan.signals[signal], block, legs, plan)


class _Leg(NamedTuple):
    """A leg of a turnout, how far its gap is from the points, and the routes of one signal
    over the other leg."""

    name: str
    gap: Number
    routes: list[Route]


def _routes_over(plan: Plan) -> dict[Port, dict[str, list[Route]]]:
    """The routes of each signal, by the leg they run over."""
    found: dict[Port, dict[str, list[Route]]] = {}
    for route in plan.routes:
        for need in route.needs:
            signals = found.setdefault(Port(need.points, need.position), {})
            signals.setdefault(route.signal, []).append(route)
    return found


def _past_the_gap(
    machine: Machine, fouling: Number, signal: Signal, block: str, legs: list[_Leg], plan: Plan
) -> Obligation:
    turnout = machine.turnout
    worst = min(legs, key=lambda leg: leg.gap)
    unit = plan.wiring.units.track
    enough = length(fouling, unit, "more")
    return Obligation(
        "fouling-undetected",
        (signal.name, turnout, block),
        conjunction(
            disjunction(*(any_taken(leg.routes) for leg in legs if leg.gap < fouling)),
            proceeds(signal, plan),
            occupied(block),
        ),
        f"{signal.name} proceeds over the {OTHER_LEG[worst.name]} leg of {turnout} while stock on "
        f"{block} may foul it: the gap on the {worst.name} leg is "
        f"{length(worst.gap, unit, 'less')} from the points, the fouling point {enough}",
        (signal.span, machine.span, plan.blocks[block].span),
        (signal.name,),
        tuple(worst.routes[:1]),
        (turnout,),
        turnout,
        hint=f"Move the gap on the {worst.name} leg of {turnout} to {enough} from the "
        f"points or farther; or check in {signal.name} that {block} is clear.",
    )


def _beyond_gap(leg: Port, plan: Plan) -> str | None:
    """The block that begins at the gap on a leg of a turnout; None where there is no gap
    before other special trackwork or the end of the track."""
    own = plan.track.pieces[leg.piece].block
    port, passed = leg, set[str]()
    while port.piece not in passed:
        passed.add(port.piece)
        entered = plan.track.joint_at[port].other(port)
        piece = plan.track.pieces[entered.piece]
        if piece.block != own or piece.kind != "plain":
            return piece.block if piece.block != own else None
        port = _far_end(piece, entered)
    return None


def _far_end(piece: Piece, entered: Port) -> Port:
    """The other end of a piece of plain track."""
    return Port(piece.name, "left" if entered.end == "right" else "right")


# ------------------------------------------------------------------ gaps at signals


def gap_beyond_signal(plan: Plan) -> Iterator[Obligation]:
    """A train that passes a signal is detected, and locks its route, within 13 scale feet.

    The gap may be no farther beyond the signal. Checked where the scale is given and how far the
    signal stands before its gap.
    """
    if plan.wiring.scale is None:
        return
    most, unit = scaled_feet(FEET_BEYOND, plan.wiring.scale), plan.wiring.units.track
    allowed = length(most, unit, "less")
    for name, distance in plan.wiring.set_back.items():
        signal = plan.signals[name]
        yield Obligation(
            "gap-beyond-signal",
            (name,),
            constant(distance > most),
            f"a train that passes {name} is detected only {length(distance, unit, 'more')} beyond "
            f"it; {FEET_BEYOND} scale feet are {allowed}",
            (signal.span,),
            pieces=(signal.enters.piece,),
            place=name,
            hint=f"Move {name}, or its gap, so that it stands no more than {allowed} before "
            "the gap.",
        )


# ------------------------------------------------------------------ sidings


def train_does_not_fit(plan: Plan) -> Iterator[Obligation]:
    """The longest train fits on every siding, clear of both fouling points.

    A siding is plain track between legs of two turnouts whose other legs are joined too, so the
    main track beside it counts as well. Its clear length is the length of its blocks, less the
    parts short of a fouling point. Checked where the lengths of the trains and of these blocks
    are given. This is a note only: a train may wait elsewhere.
    """
    trains = plan.wiring.trains
    for one, two, blocks in _sidings(plan) if trains else ():
        lengths = [plan.wiring.lengths.get(block) for block in blocks]
        known = [n for n in lengths if n is not None]
        if trains is None or not blocks or len(known) < len(lengths):
            continue
        clear = sum(known, Number(0)) - _fouled(one, plan) - _fouled(two, plan)
        name, unit = " and ".join(blocks), plan.wiring.units.track
        room = length(max(clear, Number(0)), unit, "less")
        yield Obligation(
            "train-does-not-fit",
            blocks,
            constant(trains.longest > clear),
            f"the longest train, {length(trains.longest, unit, 'more')}, does not fit on {name}: "
            f"{room} are clear of the fouling points",
            (*(plan.blocks[block].span for block in blocks), trains.span),
            pieces=tuple(piece for block in blocks for piece in pieces_in(block, plan)),
            place=name,
            advice=True,
            hint=f"Only let trains of up to {room} meet others here, or move the gaps and fouling "
            "points outward.",
        )


def _fouled(leg: Port, plan: Plan) -> Number:
    """The length of track between the gap on a leg and the fouling point, in meters."""
    machine = plan.wiring.machines.get(leg.piece)
    gap = machine.gaps.get(leg.end) if machine else None
    if machine is None or machine.fouling is None or gap is None:
        return Number(0)
    return max(Number(0), machine.fouling - gap)


def _sidings(plan: Plan) -> Iterator[tuple[Port, Port, tuple[str, ...]]]:
    """The two legs and the blocks of each siding."""
    found: set[frozenset[Port]] = set()
    for piece in plan.track.pieces.values():
        for end in OTHER_LEG if piece.kind == "turnout" else ():
            leg = Port(piece.name, end)
            far, blocks = _plain_way(leg, plan)
            if far is None or far.piece == leg.piece or frozenset((leg, far)) in found:
                continue
            found.add(frozenset((leg, far)))
            if _joined(_opposite_leg(leg), _opposite_leg(far), plan):
                yield leg, far, blocks


def _opposite_leg(leg: Port) -> Port:
    return Port(leg.piece, OTHER_LEG[leg.end])


def _plain_way(leg: Port, plan: Plan) -> tuple[Port | None, tuple[str, ...]]:
    """The leg of another turnout to which plain track leads from ``leg``, and the blocks between
    the two turnouts."""
    blocks: dict[str, None] = {}
    port, passed = leg, set[str]()
    while port.piece not in passed:
        passed.add(port.piece)
        entered = plan.track.joint_at[port].other(port)
        piece = plan.track.pieces[entered.piece]
        if piece.kind == "turnout" and entered.end in OTHER_LEG:
            ends = {plan.track.pieces[t].block for t in (leg.piece, entered.piece)}
            return entered, tuple(block for block in blocks if block not in ends)
        if piece.kind != "plain" or piece.block is None:
            break
        blocks[piece.block] = None
        port = _far_end(piece, entered)
    return None, ()


def _joined(one: Port, two: Port, plan: Plan) -> bool:
    """Whether a train that leaves a turnout by leg ``one`` can reach leg ``two`` of another
    without running over either turnout."""
    stack, seen = [plan.track.joint_at[one].other(one)], set[Port]()
    while stack:
        port = stack.pop()
        if port == two:
            return True
        if port in seen or port.piece in (one.piece, two.piece):
            continue
        seen.add(port)
        stack += [way.leads_to for way in plan.track.onward[port]]
    return False
