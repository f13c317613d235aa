"""How many trains there are at once: what `at most 2 trains` means.

In: the statement and the track. Out: an assumption over the blocks that stock stands on.

At a single moment trains are counted by what can be seen of them: one train may lie over any
number of blocks that adjoin, however points lie (they may have been thrown beneath it), so stock
on blocks that hang together is one train. The count is never more than there must be:

    blocks occupied - pairs of them that adjoin + rings of them that are wholly occupied

is at most the number of groups, since the rings are independent (Euler: a graph has as many
components as vertices less edges plus independent rings). It is less only where stock goes around
a ring in more ways than one. So no situation is left out that so many trains can bring about.

Over time each train is known, and the number binds those that come in
(``verifier/world/train_number.py``).
"""

from collections import deque
from collections.abc import Iterator, Mapping, Sequence

from verifier.language.syntax import tree
from verifier.plan import observables
from verifier.plan.model import Assumption, Port, Track
from verifier.plan.names import Names
from verifier.plan.observables import All, AtMost, Counted, Fact

Pair = tuple[str, str]


def train_counts(
    statements: Sequence[tree.Statement], track: Track, names: Names
) -> Iterator[Assumption]:
    """The assumption of `at most`; errors are noted in ``names``."""
    first: tree.AtMost | None = None
    for s in tree.of_kind(statements, tree.AtMost):
        number = s.trains.number
        if first is not None:
            names.error("CP218", s.span, "again", others=[first.span])
            continue
        first = s
        if not number.isdecimal():
            names.error("CP218", s.trains.span, "part", number=number)
        elif int(number) == 0:
            names.error("CP218", s.trains.span)
        else:
            yield _assumption(int(number), s, track)


def _assumption(most: int, s: tree.AtMost, track: Track) -> Assumption:
    adjoining = adjoining_blocks(track)
    blocks = list(dict.fromkeys(p.block for p in track.pieces.values() if p.block is not None))
    at = {block: n for n, block in enumerate(blocks)}
    occupied = {
        block: Fact(observables.stock(block), ("occupied",), s.span, f"{block} occupied")
        for block in blocks
    }
    less: dict[str, list[Fact]] = {block: [] for block in blocks}
    for one, other in adjoining:
        earlier, later = sorted((one, other), key=at.__getitem__)
        less[later].append(occupied[earlier])
    more: dict[str, list[All]] = {block: [] for block in blocks}
    for ring in rings(blocks, adjoining):
        last = max(ring, key=at.__getitem__)
        more[last].append(All(tuple(occupied[b] for b in ring if b != last), s.span))
    counted = (Counted(occupied[b], tuple(less[b]), tuple(more[b])) for b in blocks)
    words = "1 train" if most == 1 else f"{most} trains"
    return Assumption(
        f"at most {words}",
        AtMost(most, tuple(counted), s.span),
        f"never more than {words} on the plan at once (cars left standing count as a train)",
        s.span,
        trains=most,
    )


def adjoining_blocks(track: Track) -> tuple[Pair, ...]:
    """Each pair of blocks that one train can lie on with nothing but track of no block between
    them, however points lie."""
    found: dict[Pair, None] = {}
    for joint in track.joints:
        here, beyond = (sorted(_blocks_at(port.piece, track)) for port in (joint.a, joint.b))
        for one in here:
            for other in beyond:
                if one != other:
                    found[min(one, other), max(one, other)] = None
    return tuple(found)


def _blocks_at(piece: str, track: Track) -> set[str]:
    """The block of a piece; of one that has none, the blocks around it."""
    waiting, seen, found = [piece], {piece}, set[str]()
    while waiting:
        here = track.pieces[waiting.pop()]
        if here.block is not None:
            found.add(here.block)
            continue
        for end in here.ends:
            joint = track.joint_at.get(Port(here.name, end))
            for port in (joint.a, joint.b) if joint is not None else ():
                if port.piece not in seen:
                    seen.add(port.piece)
                    waiting.append(port.piece)
    return found


def rings(blocks: Sequence[str], adjoining: Sequence[Pair]) -> Iterator[tuple[str, ...]]:
    """Rings of adjoining blocks, independent of each other: one for each pair that closes one, as
    short as it is among the pairs before it."""
    beside: dict[str, list[str]] = {block: [] for block in blocks}
    for one, other in adjoining:
        way = _way(one, other, beside)
        if way:
            yield way
        beside[one].append(other)
        beside[other].append(one)


def _way(start: str, goal: str, beside: Mapping[str, Sequence[str]]) -> tuple[str, ...]:
    """The blocks of a shortest way from one to another; none if there is no way."""
    came_from = {start: start}
    waiting = deque([start])
    while waiting and goal not in came_from:
        here = waiting.popleft()
        for block in beside[here]:
            if block not in came_from:
                came_from[block] = here
                waiting.append(block)
    if goal not in came_from:
        return ()
    way = [goal]
    while way[-1] != start:
        way.append(came_from[way[-1]])
    return tuple(way)
