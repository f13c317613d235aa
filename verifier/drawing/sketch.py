"""From track to strips: what lies on one straight line, and what leads from line to line.

Input: the track, the pieces to draw, and the joints that are to be drawn as torn apart.
Output: a :class:`Sketch`. A *strip* is a straight run of pieces, left to right: plain
track, turnouts over their normal leg, crossings along. What leaves a strip, the reverse
leg of a turnout or the track across a crossing, is a *leg*, and a *link* leads from a leg
to the end of another strip or to another leg. There is no geometry here yet, and no text.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from verifier.plan.model import Joint, Piece, Port, Track

LEFT, RIGHT = -1, 1
NodeKind = Literal["piece", "edge", "bumper", "cut", "torn", "wire"]

# Ranks: a row of the file, then a place in it, then what is drawn there beside its pieces.
MOST, AFTER = 1e6, 1e-7

# The end of a piece that lies straight across from another one.
_THROUGH = {
    "left": "right",
    "right": "left",
    "points": "normal",
    "normal": "points",
    "along-left": "along-right",
    "along-right": "along-left",
}


@dataclass(frozen=True, slots=True)
class SketchLeg:
    """An end that leaves its strip slantwise, to the left or to the right."""

    port: Port
    side: int


@dataclass(frozen=True, slots=True)
class Node:
    """One thing that takes room on a strip.

    ``piece``, ``edge``, ``bumper``: a piece of track, and an end of the plan. ``cut``:
    the track goes on, but is not drawn. ``torn``: it goes on elsewhere in the drawing.
    ``wire``: bare track between two legs, with a gap in it.

    ``left`` and ``right`` are the ports at its two sides; a ``cut`` or ``torn`` end has
    one, the port beyond its joint, and a ``wire`` those of the two legs it joins.
    """

    kind: NodeKind
    name: str
    left: Port | None
    right: Port | None
    legs: tuple[SketchLeg, ...] = ()

    def port(self, side: int) -> Port | None:
        return self.left if side == LEFT else self.right

    @property
    def ends_at_right(self) -> bool:
        """Whether the plan or the drawing ends to the right of it."""
        return self.kind in ("edge", "cut") and self.right is None and self.left is not None


@dataclass(frozen=True, slots=True)
class Strip:
    """Nodes from left to right, by number, and the joints between them. ``rank`` is where
    the file first mentions it; ``ends`` are the joints to links beyond its two ends."""

    nodes: tuple[int, ...]
    joints: tuple[Joint, ...]
    rank: float
    ends: tuple[Joint | None, Joint | None] = (None, None)


@dataclass(frozen=True, slots=True)
class Link:
    """From ``leg`` of node ``a`` to node ``b``: to its ``b_leg``, or else to the end of
    its strip on side ``b_side``. ``leg`` None: from the end of a strip to the end of
    another on the same side, the track turning back."""

    a: int
    leg: SketchLeg | None
    b: int
    b_leg: SketchLeg | None
    b_side: int
    joint: Joint

    @property
    def turns(self) -> bool:
        """True where a track read left to right comes back right to left."""
        return self.leg is None or self.leg.side == self.b_side


@dataclass(frozen=True, slots=True)
class Sketch:
    """``wired`` are joints drawn as a piece of wire; ``undrawn`` are legs that are
    not drawn, each with the port it leads to."""

    nodes: tuple[Node, ...]
    strips: tuple[Strip, ...]
    links: tuple[Link, ...]
    wired: Mapping[int, Joint]
    undrawn: Mapping[Port, Port]

    @property
    def strip_of(self) -> dict[int, int]:
        """The strip of each node."""
        return {node: n for n, strip in enumerate(self.strips) for node in strip.nodes}


def is_leg(piece: Piece, end: str) -> bool:
    return piece.kind not in ("edge", "bumper") and end not in _THROUGH


class _Sketcher:
    def __init__(
        self,
        track: Track,
        shown: Collection[str],
        torn: Collection[Port],
        undrawn: Collection[Port],
        slanted: Collection[Port],
    ):
        self.track, self.shown = track, frozenset(shown)
        self.torn, self.leave_out = frozenset(torn), frozenset(undrawn)
        self.slanted = frozenset(slanted)
        self.nodes: list[Node] = []
        self.strip_of: dict[str, int] = {}
        self.node_of: dict[str, int] = {}
        self.strips: list[list[int]] = []
        self.joints: list[list[Joint]] = []
        self.ranks: list[float] = []
        self.end_joints: dict[tuple[int, int], Joint] = {}
        self.links: list[Link] = []
        self.wired: dict[int, Joint] = {}
        # Joints inside a strip, and those round which a ring is folded, by their first port.
        self.inner: set[Port] = set()
        self.undrawn: dict[Port, Port] = {}
        self.after: dict[int, set[int]] = {}
        self.mentions: dict[str, list[tuple[int, int, str]]] = {}
        for r, row in enumerate(track.rows):
            for i, placed in enumerate(row):
                self.mentions.setdefault(placed.piece, []).append((r, i, placed.left))

    def run(self) -> Sketch:
        for piece in self._in_file_order():
            if piece not in self.node_of:
                run, joints = self._walk(piece)
                if len(joints) == len(run) > 1:
                    self._ring(run, joints)
                else:
                    self._strip(run, joints[: len(run) - 1])
        for joint in self.track.joints:
            if {joint.a.piece, joint.b.piece} & self.shown:
                self._join(joint)
        strips = tuple(
            Strip(
                tuple(nodes),
                tuple(joints),
                rank,
                (self.end_joints.get((n, LEFT)), self.end_joints.get((n, RIGHT))),
            )
            for n, (nodes, joints, rank) in enumerate(
                zip(self.strips, self.joints, self.ranks, strict=True)
            )
        )
        return Sketch(tuple(self.nodes), strips, tuple(self.links), self.wired, self.undrawn)

    def _in_file_order(self) -> list[str]:
        return [name for name in self.mentions if name in self.shown]

    # ------------------------------------------------------------------ strips

    def _onward(self, piece: str, end: str) -> tuple[Joint, Port] | None:
        """What follows on the same strip beyond one end of a piece."""
        joint = self.track.joint_at[Port(piece, end)]
        beyond = joint.other(Port(piece, end))
        if joint.a in self.torn or beyond.piece not in self.shown:
            return None
        if is_leg(self.track.pieces[beyond.piece], beyond.end):
            return None
        return joint, beyond

    def _walk(self, start: str) -> tuple[list[tuple[str, str, str]], list[Joint]]:
        """The strip that ``start`` lies on: (piece, left end, right end), and its joints: as
        many joints as pieces where it comes round to its own beginning."""
        left = self.mentions[start][0][2]
        kind = self.track.pieces[start].kind
        if is_leg(self.track.pieces[start], left):
            # First written over a leg: the file then reads from here to the side the
            # straight legs lie on, or from there.
            left = {"reverse": "normal"}.get(left) or left.replace("across", "along")
        single = kind in ("edge", "bumper")
        right = "" if single else _THROUGH[left]
        if single:
            first = self.mentions[start][0][1] == 0
            left, right = ("", "end") if first else ("end", "")
        run, joints = [(start, left, right)], []
        ring = False
        while run[-1][2] and (onward := self._onward(run[-1][0], run[-1][2])):
            joint, port = onward
            joints.append(joint)
            if port.piece == start:
                ring = True
                break
            run.append((port.piece, port.end, _THROUGH.get(port.end, "")))
        while not ring and run[0][1] and (onward := self._onward(run[0][0], run[0][1])):
            joint, port = onward
            run.insert(0, (port.piece, _THROUGH.get(port.end, ""), port.end))
            joints.insert(0, joint)
        if self._against(run):
            run = [(piece, right, left) for piece, left, right in reversed(run)]
            joints[: len(run) - 1] = reversed(joints[: len(run) - 1])
        return run, joints

    def _against(self, run: list[tuple[str, str, str]]) -> bool:
        """Whether the file mostly reads this run the other way."""
        score = 0
        for piece, left, _right in run:
            for _, i, written in self.mentions[piece]:
                if self.track.pieces[piece].kind in ("edge", "bumper"):
                    score += 1 if (i == 0) == (left == "") else -1
                elif written.replace("across", "along") == left:
                    score += 1
                elif left not in (written, "normal" if written == "reverse" else ""):
                    score -= 1
        return score < 0

    def _ring(self, run: list[tuple[str, str, str]], joints: list[Joint]) -> None:
        """A track that comes round to its beginning: out on one strip, back on another."""
        half = (len(run) + 1) // 2
        out, back = (
            run[:half],
            [(piece, right, left) for piece, left, right in reversed(run[half:])],
        )
        self._strip(out, joints[: half - 1])
        self._strip(back, list(reversed(joints[half : len(run) - 1])))
        for side, joint, piece, other in (
            (RIGHT, joints[half - 1], out[-1][0], back[-1][0]),
            (LEFT, joints[-1], out[0][0], back[0][0]),
        ):
            a, b = self.node_of[piece], self.node_of[other]
            self.links.append(Link(a, None, b, None, side, joint))
            self.end_joints[self.strip_of[other], side] = joint
            self.inner.add(joint.a)

    def _strip(self, run: list[tuple[str, str, str]], joints: list[Joint]) -> None:
        nodes = []
        for piece, left, right in run:
            what = self.track.pieces[piece]
            legs: tuple[SketchLeg, ...] = ()
            if what.kind == "turnout":
                legs = (SketchLeg(Port(piece, "reverse"), RIGHT if right == "normal" else LEFT),)
            elif what.kind in ("crossing", "slip"):
                other = {"along-left": "across-left", "along-right": "across-right"}
                legs = (
                    SketchLeg(Port(piece, other[left]), LEFT),
                    SketchLeg(Port(piece, other[right]), RIGHT),
                )
            ports = [Port(piece, end) if end else None for end in (left, right)]
            kind: NodeKind = "piece"
            if what.kind == "edge" or what.kind == "bumper":
                kind = what.kind
            nodes.append(self._node(Node(kind, piece, ports[0], ports[1], legs)))
            self.node_of[piece] = nodes[-1]
            self.strip_of[piece] = len(self.strips)
        plain = [p for p, _, _ in run if self.track.pieces[p].kind == "plain"]
        firsts = (self.mentions[p][0] for p in plain or (p for p, _, _ in run))
        self._new_strip(nodes, joints, min(r + i / MOST for r, i, _ in firsts))

    def _new_strip(self, nodes: list[int], joints: list[Joint], rank: float) -> int:
        self.strips.append(nodes)
        self.joints.append(joints)
        self.inner |= {joint.a for joint in joints}
        self.ranks.append(rank)
        for a, b in pairwise(nodes):
            self.after.setdefault(a, set()).add(b)
        return len(self.strips) - 1

    def _node(self, node: Node) -> int:
        self.nodes.append(node)
        return len(self.nodes) - 1

    # ------------------------------------------------------------------ joints

    def _join(self, joint: Joint) -> None:
        """What a joint that is not inside a strip becomes: a link, or two loose ends."""
        a, b = joint.a, joint.b
        if a.piece not in self.shown or b.piece not in self.shown:
            self._loose_end(joint, *((a, b) if a.piece in self.shown else (b, a)), "cut")
            return
        a_leg, b_leg = self._leg(a), self._leg(b)
        if joint.a in self.inner:
            return
        if not a_leg and b_leg:
            a, b, a_leg, b_leg = b, a, b_leg, a_leg
        if joint.a in self.torn or a_leg is None or not self._link(joint, a, a_leg, b, b_leg):
            self._loose_end(joint, a, b, "torn")
            self._loose_end(joint, b, a, "torn")

    def _leg(self, port: Port) -> SketchLeg | None:
        node = self.nodes[self.node_of[port.piece]]
        return next((leg for leg in node.legs if leg.port == port), None)

    def _side(self, port: Port) -> int:
        return LEFT if self.nodes[self.node_of[port.piece]].left == port else RIGHT

    def _link(
        self, joint: Joint, a: Port, a_leg: SketchLeg, b: Port, b_leg: SketchLeg | None
    ) -> bool:
        """Add the link from leg ``a`` to ``b``; False when it would have to run backwards."""
        na, nb = self.node_of[a.piece], self.node_of[b.piece]
        b_side = b_leg.side if b_leg else self._side(b)
        same_strip = self.strip_of[a.piece] == self.strip_of[b.piece]
        if a_leg.side != b_side:
            first, then = (na, nb) if a_leg.side == RIGHT else (nb, na)
            if self._reaches(then, first):
                return False
            self.after.setdefault(first, set()).add(then)
        if b_leg is None and not same_strip:
            self.links.append(Link(na, a_leg, nb, None, b_side, joint))
            self.end_joints[self.strip_of[b.piece], b_side] = joint
        elif b_leg and not same_strip and a_leg.side != b_side and self._plain(joint):
            self.links.append(Link(na, a_leg, nb, b_leg, b_side, joint))
        else:
            self._wire(joint, (na, a, a_leg), (nb, b, b_leg, b_side))
        return True

    def _plain(self, joint: Joint) -> bool:
        """Whether a joint may lie on a slant: one with a gap only where the pen can draw it."""
        return joint.kind == "=" or joint.a in self.slanted

    def _wire(
        self,
        joint: Joint,
        a: tuple[int, Port, SketchLeg],
        b: tuple[int, Port, SketchLeg | None, int],
    ) -> None:
        """A bare track of its own between a leg and a leg, or back to the same strip."""
        (na, port_a, a_leg), (nb, port_b, b_leg, _) = a, b
        turned = a_leg.side == LEFT  # then the wire lies to the left of leg a
        left, right = (port_b, port_a) if turned else (port_a, port_b)
        node = self._node(Node("wire", f"wire {port_a}", left, right))
        self._new_strip([node], [], self.ranks[self.strip_of[port_a.piece]] + AFTER)
        self.wired[node] = joint
        near, far = (RIGHT, LEFT) if turned else (LEFT, RIGHT)
        self.links.append(Link(na, a_leg, node, None, near, joint))
        if b_leg:
            self.links.append(Link(nb, b_leg, node, None, far, joint))
        else:
            self.links.append(Link(node, None, nb, None, far, joint))

    def _loose_end(
        self, joint: Joint, port: Port, beyond: Port, kind: Literal["cut", "torn"]
    ) -> None:
        """Where the track at ``port`` stops in this drawing."""
        leg = self._leg(port)
        strip = self.strip_of[port.piece]
        if leg and port in self.leave_out:
            self.undrawn[port] = beyond
            return
        side = leg.side if leg else self._side(port)
        ports = (beyond, None) if side == RIGHT else (None, beyond)
        node = self._node(Node(kind, f"{kind} {port}", *ports))
        if leg:
            own = self._new_strip([node], [], self.ranks[strip] + AFTER)
            self.links.append(Link(self.node_of[port.piece], leg, node, None, -side, joint))
            self.end_joints[own, -side] = joint
        else:
            at = 0 if side == LEFT else len(self.strips[strip])
            self.strips[strip].insert(at, node)
            self.joints[strip].insert(at, joint)

    def _reaches(self, start: int, goal: int) -> bool:
        stack, seen = [start], {start}
        while stack:
            node = stack.pop()
            if node == goal:
                return True
            stack += (fresh := self.after.get(node, set()) - seen)
            seen |= fresh
        return False


def sketch(
    track: Track,
    shown: Collection[str],
    torn: Collection[Port] = (),
    undrawn: Collection[Port] = (),
    slanted: Collection[Port] = (),
) -> Sketch:
    """The sketch of ``shown`` pieces. ``torn``: joints (by their first port) to be drawn
    as two loose ends that name each other; ``undrawn``: legs not to be drawn at all;
    ``slanted``: joints that may lie between two legs though they have a gap."""
    return _Sketcher(track, shown, torn, undrawn, slanted).run()
