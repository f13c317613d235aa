"""What is taken of the current of stock where it divides between feeders, in words.

In: a plan. Out: sentences: what keeps shares from being known, and what to write to narrow them.
"""

from collections.abc import Iterator

from verifier.plan.model import Plan
from verifier.plan.wiring.rail_network import Lacking, Unknown


def unknown_divisions(plan: Plan) -> Iterator[tuple[str, str]]:
    """Each block in which current may divide in any way, and what to write to narrow that."""
    seen: set[str] = set()
    for division in plan.equipment.divisions.values():
        if isinstance(division.circuit, Unknown) and division.block not in seen:
            seen.add(division.block)
            yield division.block, _to_narrow(division.circuit, division.block, plan)


def _to_narrow(unknown: Unknown, block: str, plan: Plan) -> str:
    name = unknown.subject
    match unknown.lacking:
        case Lacking.DIODES:
            return f"{name} senses by diodes, which hold back some of the voltage"
        case Lacking.BUS:
            return "some of them come from a sub-bus and others do not: bring all to one"
        case Lacking.FUSE:
            return (
                f"the fuse of {name} has a resistance that is not known here: put one fuse before "
                "all of them, as in `sub-bus SB feeds m1, m2 fuse 1 A`"
            )
        case Lacking.RAIL:
            return "write what rail it has, as in `rail code 83 soldered`"
        case Lacking.LENGTH:
            return f"write its length, as in `block {block} 2400 mm`"
        case Lacking.PLACE:
            turnouts = (p.name for p in plan.track.pieces.values()
                        if p.block == block and p.kind == "turnout")  # fmt: skip
            beyond = next((f" beyond normal {turnout}" for turnout in turnouts), "")
            return f"write where each is joined to the rail, as in `{name} at 400 mm{beyond}`"
        case Lacking.WIRE:
            return f"write the wire of {name}, as in `over 1 ft of 22 AWG`"
        case Lacking.POINTS:
            turnout, end = unknown.beyond
            side = f"before {turnout}" if end == "points" else f"beyond {end} {turnout}"
            return f"write how far {name} is from {turnout}, as in `points at 700 mm {side}`"
        case Lacking.INSIDE:
            return f"a feeder, or the next turnout, lies within {name}, before its fouling point"
        case Lacking.TRACKWORK:
            return "its track is more than plain track and turnouts, or comes back turned around"


def of_known_rails(plan: Plan) -> Iterator[tuple[str, str]]:
    """What is taken of the rails of turnouts between feeders: each turnout, and the sentence."""
    known = [d.block for d in plan.equipment.divisions.values() if d.known]
    for piece in plan.track.pieces.values():
        if piece.kind != "turnout" or piece.block not in known:
            continue
        machine = plan.wiring.machines.get(piece.name)
        if machine is None or machine.bond is None:
            yield (
                piece.name,
                (
                    "Nothing is said of the jumpers of {}: they may conduct well, or not at all "
                    "(`bonded over 4 in of 22 AWG`)."
                ),
            )
        else:
            yield piece.name, "The jumpers that bond {} are taken to hold."
        if machine is None or machine.fouling is None:
            yield (
                piece.name,
                (
                    "The fouling point of {} is not given: its jumpers are taken to lie before the "
                    "next feeder."
                ),
            )
