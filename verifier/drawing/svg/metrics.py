"""How much room each node of a sketch needs on paper: the sizes that an SVG drawing gives to
the layout.

Input: a sketch and what is to be shown. Output: sizes in units of the layout, :data:`ACROSS`
by :data:`DOWN` pixels. They do not depend on the situation: drawings of one plan in all its
situations lie over each other.
"""

from dataclasses import dataclass
from math import ceil

from verifier.drawing.sketch import Node, Sketch
from verifier.drawing.spacing import Size, Sizes
from verifier.drawing.svg.typeface import NAME, SMALL, text_width
from verifier.drawing.trackside import DIRECTIONS, Trackside, far_end_words, stem_at_left
from verifier.drawing.view import shown_words
from verifier.plan.model import Piece, Plan, Port, Signal
from verifier.plan.wiring.wiring_model import Feeder

# A unit of the layout in pixels. Their ratio is the angle of every turnout: about 1 in 1.7.
ACROSS, DOWN = 10.0, 6.0

# Rail on each side of a frog that tells how points lie, and rail before the frog.
BLADE, STEM, LEG = 17.0, 3, 4
HEAD, HEAD_APART, MAST = 6.0, 15.0, 11.0
PLATE = 13.0  # more mast for a plate below the heads
STOCK, STOCK_HIGH = 46.0, 24.0
NAME_HIGH, SMALL_HIGH = 14.0, 12.0
SIGNAL_HIGH = 18.0
GATE, DERAIL, FEEDER = 30.0, 18.0, 12.0
APART = 12.0
END = 26.0  # the arrow, bumper or break at an end, with the rail before it
JOINT = 1
LONGEST = 30  # letters of a name that are written out


@dataclass(frozen=True, slots=True)
class Reserved:
    """What the drawing must leave room for."""

    told: bool  # a situation: stock, aspects, how points lie
    gaps: bool
    feeders: bool
    detectors: bool


def short(name: str) -> str:
    """A name as it is written; the whole of it is in the title."""
    if len(name) <= LONGEST:
        return name
    return f"{name[: LONGEST - LONGEST // 2 - 1]}…{name[len(name) - LONGEST // 2 :]}"


def name_width(name: str) -> float:
    return text_width(short(name), NAME)


# ------------------------------------------------------------------ signals


def signal_size(signal: Signal, wanted: Reserved) -> tuple[float, float]:
    """Width and height of a signal with its name and, where told, its aspect."""
    width = name_width(signal.name) + 4 + mast_width(signal)
    if not wanted.told:
        return width, mast_height(signal)
    words = (text_width(word, SMALL) for word in shown_words(signal))
    return max(width, *words), mast_height(signal) + SMALL_HIGH


def mast_width(signal: Signal) -> float:
    return MAST + PLATE * bool(signal.plate) + HEAD_APART


def mast_height(signal: Signal) -> float:
    """Its heads stand upright, one over the other."""
    return SIGNAL_HIGH + HEAD_APART * (len(signal.heads) - 1)


# ------------------------------------------------------------------ wiring


@dataclass(frozen=True, slots=True)
class LoomWire:
    """One thing in the loom of wire under a block: a feeder, or a detector with the feeders
    that pass through it to its left."""

    kind: str
    name: str
    x: float  # its middle, from the left end of the loom
    width: float
    through: tuple[str, ...] = ()


def loom(plan: Plan, block: str, wanted: Reserved) -> tuple[LoomWire, ...]:
    """The feeders and detectors of a block, side by side; those feeders elsewhere that are beyond
    points."""
    detectors = plan.wiring.detectors_of(block) if wanted.detectors else ()
    feeders = plan.wiring.feeders_of(block) if wanted.feeders else ()
    order: list[tuple[str, str, tuple[str, ...]]] = []
    left = [feeder.name for feeder in feeders if leg_of(feeder, plan) is None]
    for detector in detectors:
        own = [name for name in left if name in detector.through]
        left = [name for name in left if name not in own]
        order += [("feeder", name, ()) for name in own]
        order.append(("detector", detector.name, detector.through))
    order += [("feeder", name, ()) for name in left]
    found, x = [], 0.0
    for kind, name, through in order:
        width = text_width(short(name), SMALL) + (12 if kind == "detector" else 4)
        width = max(width, FEEDER)
        found.append(LoomWire(kind, name, x + width / 2, width, through))
        x += width + 8
    return tuple(found)


def leg_of(feeder: Feeder, plan: Plan) -> Port | None:
    """The leg of a turnout that a feeder is on."""
    if feeder.beyond is None:
        return None
    port = Port(*feeder.beyond)
    on_leg = plan.track.pieces[port.piece].kind == "turnout" and port.end != "points"
    return port if on_leg else None


def on_leg(plan: Plan, leg: Port, wanted: Reserved) -> tuple[LoomWire, ...]:
    """The feeders on a leg, the nearest to the points first. Where detectors are drawn, each names
    those that it passes through."""
    feeders = plan.wiring.feeders.values() if wanted.feeders else ()
    its = sorted((f for f in feeders if leg_of(f, plan) == leg), key=lambda f: f.at or 0)
    found = []
    for feeder in its:
        through = tuple(
            d.name for d in plan.wiring.detectors.values()
            if wanted.detectors and feeder.name in d.through
        )  # fmt: skip
        width = max(text_width(leg_feeder_words(feeder.name, through), SMALL) + 4, FEEDER)
        found.append(LoomWire("feeder", feeder.name, width / 2, width, through))
    return tuple(found)


def leg_feeder_words(name: str, through: tuple[str, ...]) -> str:
    """`t2`, or where it passes through a detector that is drawn elsewhere `t2 (D-Throat)`."""
    return f"{short(name)} ({', '.join(map(short, through))})" if through else short(name)


def _leg_room(plan: Plan, piece: Piece, wanted: Reserved) -> float:
    legs = (on_leg(plan, Port(piece.name, end), wanted) for end in piece.ends)
    widths = [sum(strand.width + APART for strand in its) for its in legs if its]
    return max(widths) + SLANT if widths else 0


def loom_width(strands: tuple[LoomWire, ...]) -> float:
    return max((s.x + s.width / 2 for s in strands), default=0)


LOOM_HIGH = 32.0
# Room for the slanting part of a leg, on which no feeder is drawn.
SLANT = 90.0

# ------------------------------------------------------------------ nodes


def end_words(plan: Plan, node: Node, there: Trackside) -> str:
    """What is written at an edge, a bumper or a loose end."""
    match node.kind:
        case "edge":
            return short(node.name) + DIRECTIONS[plan.track.pieces[node.name].direction]
        case "bumper":
            return short(node.name)
    port = node.right or node.left
    assert port is not None
    named = node.kind == "torn" or port.piece in there.elsewhere
    return f"to {far_end_words(plan, port, short)}" if named else ""


def paper_sizes(plan: Plan, sketch: Sketch, there: Trackside, wanted: Reserved) -> Sizes:
    return Sizes(tuple(_size(plan, node, there, wanted) for node in sketch.nodes), JOINT)


def _size(plan: Plan, node: Node, there: Trackside, wanted: Reserved) -> Size:
    if node.kind == "wire":
        return Size(4, 2)
    if node.kind != "piece":
        words = text_width(end_words(plan, node, there), NAME)
        beside = max(_signal_widths(node, node.left or node.right, there, wanted), default=0.0)
        return Size(_units(max(END + words, beside)), 0)
    piece = plan.track.pieces[node.name]
    zone = standing_width(piece, there, wanted)
    if piece.kind == "plain":
        above = _signal_widths(node, node.left, there, wanted)
        below = _signal_widths(node, node.right, there, wanted)
        zone += sum(DERAIL for port in (node.left, node.right) if port for _ in
                    there.derails.get(port, ()))  # fmt: skip
        name = name_width(piece.title)
        wires = loom_width(loom_at(plan, piece, there, wanted))
        width = max(
            zone + sum(above) + APART * len(above),
            name + wires + sum(below) + APART * (len(below) + bool(wires)),
        )
        return Size(max(_units(width + 2 * APART), 6), _units(width) // 2)
    words = text_width(special_words(piece, wanted), NAME)
    if there.block_at(piece):
        # What stands on the stem keeps the label to the other side of the frog.
        block = name_width(f"({piece.block})")
        wires = loom_width(loom_at(plan, piece, there, wanted))
        stem = max(STEM, _units(max(zone, block + wires + APART * bool(wires)) + APART))
        leg = max(LEG, _units(words + (0 if piece.kind == "turnout" else block) + APART))
    else:
        stem, leg = max(STEM, _units(words / 2)), max(LEG, _units(words / 2))
    leg = max(leg, _units(_leg_room(plan, piece, wanted)))
    if piece.kind != "turnout":
        return Size(stem + 1 + leg, stem)
    return Size(stem + 1 + leg, stem if stem_at_left(node) else leg)


def special_words(piece: Piece, wanted: Reserved) -> str:
    """The longest label that points, a slip or a crossing may get."""
    moves = wanted.told and piece.kind in ("turnout", "slip")
    return f"{short(piece.name)} reverse" if moves else short(piece.name)


def _units(pixels: float) -> int:
    return ceil(pixels / ACROSS)


def standing_width(piece: Piece, there: Trackside, wanted: Reserved) -> float:
    """Room for what stands on the rail of a piece: gates, and stock."""
    stock = STOCK if wanted.told and there.block_at(piece) else 0
    return len(there.gates_at(piece)) * GATE + stock


def loom_at(plan: Plan, piece: Piece, there: Trackside, wanted: Reserved) -> tuple[LoomWire, ...]:
    block = there.block_at(piece)
    return loom(plan, block, wanted) if block else ()


def _signal_widths(
    node: Node, port: Port | None, there: Trackside, wanted: Reserved
) -> list[float]:
    """Widths of the signals that stand at one end of a node, approached over it."""
    return [signal_size(signal, wanted)[0] for signal in there.signals_at(node, port)]
