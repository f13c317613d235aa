"""What stands at the track, and where the layout puts it: shared by both drawings.

Input: a plan, the pieces to draw, and their layout. Output: the signals, gates and derails at
each piece, where signals are drawn, on which side labels go, and the words for undrawn track.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from verifier.drawing.label_placer import ABOVE, BELOW
from verifier.drawing.layout import GridCell, GridLayout, JointMark
from verifier.drawing.sketch import LEFT, RIGHT, Node
from verifier.plan.model import Joint, Piece, Plan, Port, Signal

# What is written behind the name of an edge, by the direction of its traffic.
DIRECTIONS = {"both": "", "entering": " (in only)", "leaving": " (out only)"}


@dataclass(frozen=True, slots=True)
class Trackside:
    """What stands where, for one set of pieces.

    ``home``: the piece of each block on which its stock, gates and, where it has no plain
    track, its name are drawn. ``signals`` by the port they are approached from.
    ``elsewhere``: pieces in other parts of the same picture."""

    home: Mapping[str, str]
    signals: Mapping[Port, Sequence[Signal]]
    gates: Mapping[str, Sequence[str]]
    derails: Mapping[Port, Sequence[str]]
    elsewhere: frozenset[str]

    def block_at(self, piece: Piece) -> str | None:
        """The block whose stock and gates are drawn on this piece."""
        return piece.block if piece.block and self.home.get(piece.block) == piece.name else None

    def gates_at(self, piece: Piece) -> Sequence[str]:
        """The gates drawn on this piece."""
        block = self.block_at(piece)
        return self.gates.get(block, ()) if block else ()

    def signals_at(self, node: Node, *ports: Port | None) -> list[Signal]:
        """The signals approached over these ends of a node."""
        own = [port for port in ports if port and port.piece == node.name]
        return [signal for port in own for signal in self.signals.get(port, ())]


def trackside(plan: Plan, shown: Sequence[str], drawn: Sequence[str] = ()) -> Trackside:
    """What stands at the pieces ``shown``. ``drawn``: all pieces of the picture that they are
    a part of."""
    home: dict[str, str] = {}
    for plain in (True, False):
        for name in drawn or shown:
            piece = plan.track.pieces[name]
            if piece.block and (piece.kind == "plain") == plain:
                home.setdefault(piece.block, name)
    signals: dict[Port, list[Signal]] = defaultdict(list)
    for signal in plan.signals.values():
        signals[signal.joint.other(signal.enters)].append(signal)
    gates: dict[str, list[str]] = defaultdict(list)
    for gate in plan.gates.values():
        gates[gate.block].append(gate.name)
    derails: dict[Port, list[str]] = defaultdict(list)
    for derail in plan.derails.values():
        derails[derail.port].append(derail.name)
    return Trackside(home, signals, gates, derails, frozenset(drawn) - set(shown))


def signal_places(
    plan: Plan, layout: GridLayout, there: Trackside
) -> Iterator[tuple[Signal, JointMark | GridCell, int]]:
    """Each drawn signal, where it is drawn, and to which side its trains run: at the mark of its
    joint, or where the leg it is approached over is not drawn, at the frog of that leg."""
    marks_of = Counter(mark.joint.a for mark in layout.marks)
    for mark in layout.marks:
        for approach, side in ((mark.left, RIGHT), (mark.right, LEFT)):
            # A torn joint is drawn twice; its signals stand where they are approached.
            only_here = marks_of[mark.joint.a] == 1 and approach.piece not in there.elsewhere
            if approach in mark.near or only_here:
                for signal in there.signals.get(approach, ()):
                    yield signal, mark, side
    for port in layout.undrawn:
        if not marks_of[plan.track.joint_at[port].a]:
            cell = layout.cells[port.piece]
            side = next(leg.side for leg in cell.node.legs if leg.port == port)
            for signal in there.signals.get(port, ()):
                yield signal, cell, side


def label_sides(layout: GridLayout, cell: GridCell) -> tuple[int, int]:
    """The sides for the label of a turnout, slip or crossing, away from its legs first."""
    slants = [layout.slants[leg.port] for leg in cell.node.legs if leg.port in layout.slants]
    return (ABOVE, BELOW) if all(slant.down == BELOW for slant in slants) else (BELOW, ABOVE)


def stem_at_left(node: Node) -> bool:
    """Whether the rail before the frog or diamond, with room to stand on, is to its left."""
    return node.legs[0].side == RIGHT or len(node.legs) == 2


def far_end_words(plan: Plan, port: Port, short: Callable[[str], str]) -> str:
    """The far end of a torn track: ``T5 reverse leg``, or a block; ``short`` abbreviates names."""
    piece = plan.track.pieces[port.piece]
    name = short(piece.title)
    if piece.kind != "turnout":
        return name
    return f"{name} {port.end}" + ("" if port.end == "points" else " leg")


def undrawn_words(
    plan: Plan, layout: GridLayout, cell: GridCell, short: Callable[[str], str]
) -> str:
    """Where the undrawn legs of a piece lead: ``, reverse to T5 reverse leg``."""
    words = ""
    for leg in cell.node.legs:
        if leg.port in layout.undrawn:
            way = "reverse" if leg.port.end == "reverse" else "across"
            words += f", {way} to {far_end_words(plan, layout.undrawn[leg.port], short)}"
    return words


def gap_name(joint: Joint) -> str:
    """What a gap is called: its own name, or the two ends of track that meet there."""
    if joint.gap:
        return joint.gap
    return " | ".join(f"{port.piece} {port.end}" for port in (joint.a, joint.b))
