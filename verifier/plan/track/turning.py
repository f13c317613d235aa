"""Where track comes back turned around, so that one rail would run into the other.

In: joints of the track. Out: those that lie on the same ways round, and whether such a way comes
back turned.

Rails carry current whatever way points lie: the stock rails of a turnout lead to both of its legs.
So pieces are the nodes of a graph, joints its edges; a crossing at grade is two nodes, one for each
track. Every end of a piece is at its front or at its back. A joint of two fronts, or of two backs,
turns what runs over it around; a way round is turned if it has an odd number of such joints. (A
graph with signs on its edges; it is balanced if no way round is turned.)
"""

from collections.abc import Iterable
from typing import cast

from verifier.plan.model import Joint, Port, Track

# The ends of pieces at the front; all others are at the back.
_FRONT = frozenset(("left", "points", "along-left", "across-left", "end"))


def _node(port: Port, track: Track) -> tuple[str, str]:
    """The piece of an end, or the one of the two tracks of a crossing."""
    crossing = track.pieces[port.piece].kind == "crossing"
    return port.piece, port.end.partition("-")[0] if crossing else ""


def comes_back_turned(joints: Iterable[Joint], track: Track) -> bool:
    """Whether some way round over these joints comes back turned around."""
    root: dict[tuple[str, str], tuple[tuple[str, str], bool]] = {}

    def find(node: tuple[str, str]) -> tuple[tuple[str, str], bool]:
        """What stands for all that a node is joined to, and whether it is turned to that."""
        turned = False
        while node in root:
            node, more = root[node]
            turned ^= more
        return node, turned

    for joint in joints:
        turns = (joint.a.end in _FRONT) == (joint.b.end in _FRONT)
        (one, here), (other, there) = find(_node(joint.a, track)), find(_node(joint.b, track))
        if one != other:
            root[one] = other, here ^ there ^ turns
        elif here ^ there ^ turns:
            return True
    return False


def turning_ways(track: Track) -> tuple[tuple[Joint, ...], ...]:
    """The joints of all ways round that belong together (that share more than one node), where one
    of them comes back turned around."""
    if not comes_back_turned(track.joints, track):
        return ()
    import networkx as nx

    graph: nx.Graph[int | tuple[str, str]] = nx.Graph()
    alone: list[tuple[Joint, ...]] = []
    for number, joint in enumerate(track.joints):
        one, other = _node(joint.a, track), _node(joint.b, track)
        if one == other:
            alone.append((joint,))
        else:
            graph.add_edges_from(((one, number), (number, other)))
    parts = cast(Iterable[set[int | tuple[str, str]]], nx.biconnected_components(graph))
    ways = [
        tuple(track.joints[n] for n in sorted(n for n in nodes if isinstance(n, int)))
        for nodes in parts
    ]
    order = {joint: n for n, joint in enumerate(track.joints)}
    found = (way for way in (*ways, *alone) if way and comes_back_turned(way, track))
    return tuple(sorted(found, key=lambda way: order[way[0]]))
