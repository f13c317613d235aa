"""Tear track apart where it cannot be drawn without crossing other track.

Input: pieces, and an attempt to draw a sketch of them. Output: the first drawing that succeeds.
A torn joint is drawn as two loose ends that name each other.
"""

from collections.abc import Callable, Collection, Sequence
from typing import TypeVar

from verifier.drawing.sketch import Sketch, sketch
from verifier.plan.model import Port, Track

T = TypeVar("T")
# The links of a sketch that cannot be drawn, by number.
Links = tuple[int, ...]


def draw_torn(
    track: Track,
    pieces: Sequence[str],
    attempt: Callable[[Sketch], T | Links],
    slanted: Collection[Port] = (),
) -> T:
    """What ``attempt`` makes of the pieces. While it answers with links that cannot be drawn,
    they are torn apart and it is called again. ``slanted``: as for :func:`sketch`."""
    torn: set[Port] = set()
    undrawn: set[Port] = set()
    while True:
        outline = sketch(track, pieces, torn, undrawn, slanted)
        result = attempt(outline)
        if not isinstance(result, tuple):
            return result
        _tear(outline, result, torn, undrawn)


def _tear(outline: Sketch, numbers: Sequence[int], torn: set[Port], undrawn: set[Port]) -> None:
    """Take links that cannot be drawn out of the next sketch: their joints become two loose
    ends, and a leg without room even for a loose end is left to its label."""
    links, loose = outline.links, ("cut", "torn")
    before = len(torn) + len(undrawn)
    if not numbers and links:
        # Lengths that cannot be made to fit: most rigid is where legs meet legs, then
        # where track turns back.
        whole = [n for n, link in enumerate(links) if outline.nodes[link.b].kind not in loose]
        rigid = [n for n in whole if links[n].b_leg] or [n for n in whole if links[n].turns]
        numbers = (rigid or whole or range(len(links)))[-1:]
    ends = {n for n in numbers if links[n].leg and outline.nodes[links[n].b].kind in loose}
    torn |= {links[n].joint.a for n in numbers if n not in ends}
    if ends.issuperset(numbers):  # only loose ends are left in the way of one another
        undrawn |= {leg.port for n in ends if (leg := links[n].leg)}
    if len(torn) + len(undrawn) == before:
        # Nothing is left to tear that is known to help: draw no leg at all.
        undrawn |= {leg.port for node in outline.nodes for leg in node.legs}
        torn |= {link.joint.a for link in links}
