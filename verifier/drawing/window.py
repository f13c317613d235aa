"""Which pieces to draw when the whole plan is too much for one picture.

Input: the track, the pieces to draw around, where signals stand. Output: names of pieces,
nearest first.
"""

from collections.abc import Collection, Iterable
from heapq import heappop, heappush

from verifier.plan.model import Port, Track

# How far a drawing reaches: over one signal and one piece more, or over this many pieces.
PAST_A_SIGNAL, REACH = 4, 5


def around(track: Track, focus: Iterable[str], signals: Collection[Port]) -> list[str]:
    """The pieces of ``focus``, then those about them out to about the next signals.
    ``signals``: the joints where signals stand, by their first port."""
    order = {name: i for i, name in enumerate(track.pieces)}
    heap = [(0, i, name) for i, name in enumerate(dict.fromkeys(focus))]
    found: dict[str, None] = {}
    while heap:
        far, _, name = heappop(heap)
        if name in found:
            continue
        found[name] = None
        for end in track.pieces[name].ends:
            port = Port(name, end)
            joint = track.joint_at[port]
            beyond = joint.other(port).piece
            cost = far + (PAST_A_SIGNAL if joint.a in signals else 1)
            if beyond not in found and cost <= REACH:
                heappush(heap, (cost, order[beyond], beyond))
    return list(found)
