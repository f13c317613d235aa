"""Reversing loops: where track comes back turned around, so that one rail would meet the other.

In: the track. Out: joints at which the two rails would be connected, and the joints that end a
properly cut reversing section. Wiring plays no part; this follows from the track alone.

Each end of a piece gets a side: which of the two rails is on the left for an observer looking out
of it. Across a piece and across a joint the side changes. A cut in both rails leaves the side
free; where two ends that meet are forced to disagree, one rail runs into the other. (Common
practice, no source: a balloon loop or wye needs a section cut in both rails at both ends.)
"""

from collections.abc import Iterator
from copy import deepcopy
from dataclasses import dataclass, field

import networkx as nx
from networkx.utils import UnionFind

from verifier.plan.model import Joint, Port, Track
from verifier.plan.track.build_track import moves_over


@dataclass(frozen=True, slots=True)
class ReversingLoop:
    """Track comes back to ``joint`` turned around. ``cut`` is False where nothing on the way
    round is cut in both rails; True where exactly one place is, so that stock standing across
    it connects the rails."""

    joint: Joint
    cut: bool


@dataclass(frozen=True, slots=True)
class _Sides:
    """Which ends have equal sides: classes over pairs of an end and a side."""

    classes: "UnionFind[tuple[Port, bool]]" = field(default_factory=UnionFind)

    def equal(self, one: Port, other: Port) -> bool:
        """Whether the two ends are known to have the same side."""
        return self.classes[one, False] == self.classes[other, False]

    def component(self, port: Port) -> frozenset[tuple[Port, bool]]:
        """The same value for all ends whose sides depend on that of ``port``."""
        return frozenset((self.classes[port, False], self.classes[port, True]))

    def join(self, one: Port, other: Port) -> bool:
        """Give two ends different sides; False where they are known to be the same."""
        if self.equal(one, other):
            return False
        self.classes.union((one, False), (other, True))
        self.classes.union((one, True), (other, False))
        return True


def uncut_loops(track: Track) -> tuple[ReversingLoop, ...]:
    """Every joint at which track comes back turned around without the cuts it needs."""
    sides, wrong = _uncut_sides(track)
    if wrong:
        return tuple(ReversingLoop(joint, False) for joint in wrong)
    cut = _cut_in_both(track)
    return tuple(ReversingLoop(joint, True) for joint in cut if sides.equal(joint.a, joint.b))


def reversing_section_joints(track: Track) -> tuple[Joint, ...]:
    """The joints, cut in both rails, at the ends of reversing sections."""
    sides, wrong = _uncut_sides(track)
    if wrong:
        return ()
    cut = list(_cut_in_both(track))
    on_loops = [joint for joint in cut if _on_loop(joint, sides, cut)]
    joined = deepcopy(sides)
    turned = [joint for joint in on_loops if not joined.join(joint.a, joint.b)]
    components = {joined.component(joint.a) for joint in turned}
    return tuple(joint for joint in on_loops if joined.component(joint.a) in components)


def _on_loop(joint: Joint, sides: _Sides, cut: list[Joint]) -> bool:
    """Whether the two sides of a joint are connected by another way."""
    others = deepcopy(sides)
    for other in cut:
        if other is not joint:
            others.join(other.a, other.b)
    return others.component(joint.a) == others.component(joint.b)


def _uncut_sides(track: Track) -> tuple[_Sides, list[Joint]]:
    """The sides of all ends joined by an uncut rail, and the joints where they disagree."""
    sides = _Sides()
    for piece in track.pieces.values():
        for move in moves_over(piece):
            sides.join(Port(piece.name, move.enter), Port(piece.name, move.leave))
    joints = (joint for joint in track.joints if joint.kind != "||")
    return sides, [joint for joint in joints if not sides.join(joint.a, joint.b)]


def _cut_in_both(track: Track) -> Iterator[Joint]:
    return (joint for joint in track.joints if joint.kind == "||")


def round_trip(joint: Joint, track: Track) -> tuple[str, ...]:
    """A shortest way along uncut rails from one side of a joint to the other that comes back
    turned around, as the titles of its pieces; empty where there is none."""
    # An even number of steps keeps the side of the start, which is the wrong one here.
    graph: nx.DiGraph[tuple[Port, bool]] = nx.DiGraph()
    for port in track.joint_at:
        for following in _beside(port, joint, track):
            graph.add_edges_from(((port, odd), (following, not odd)) for odd in (False, True))
    start, goal = (joint.b, False), (joint.a, False)
    graph.add_node(start)
    path = nx.single_source_shortest_path(graph, start).get(goal, [])
    return tuple(reversed(dict.fromkeys(track.pieces[p.piece].title for p, _ in reversed(path))))


def _beside(port: Port, without: Joint, track: Track) -> Iterator[Port]:
    """The ends that an uncut rail leads to from an end: across its piece, and across its joint."""
    for move in moves_over(track.pieces[port.piece]):
        if move.enter == port.end:
            yield Port(port.piece, move.leave)
    joint = track.joint_at[port]
    if joint is not without and joint.kind != "||":
        yield joint.other(port)
