"""Where a train may stand over two gaps at once: reversing sections, and track between supplies.

In: the track and the wiring. Out: the ways through the section of a reverser, and whether trains
that reach over both ends of some of them join one rail and the other; the blocks with track power
from two supplies that a train can join; how long each of these ways is, from the least to the most.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from verifier.plan.model import Joint, Port, Track
from verifier.plan.track.turning import comes_back_turned
from verifier.plan.wiring.spots import ways_through
from verifier.plan.wiring.wiring_model import Number, Wiring


@dataclass(frozen=True, slots=True)
class Stretch:
    """A way of a train from one joint to another: the ``joints`` that it crosses, both ends among
    them, the ``blocks`` between these ends, and the ``ends`` of the pieces outside."""

    joints: tuple[Joint, ...]
    blocks: tuple[str, ...]
    ends: tuple[Port, Port]


def section_ways(reverser: str, track: Track, wiring: Wiring) -> tuple[Stretch, ...]:
    """The ways of a train through the section of a reverser, from one end to another."""
    inside = {name for name in track.pieces if _feeds(name, track, wiring) == reverser}
    found: dict[frozenset[Joint], Stretch] = {}
    for joint in track.joints:
        for outer, inner in ((joint.a, joint.b), (joint.b, joint.a)):
            if inner.piece in inside and outer.piece not in inside and _goes_on(outer, track):
                for way, last in _within(inner, inside, track, (joint,)):
                    if way[-1] != joint and _goes_on(last, track):
                        ends = (outer, last)
                        found.setdefault(frozenset(way), _stretch(way, inside, ends, track))
    return tuple(found.values())


def join_the_rails(reverser: str, ways: Iterable[Stretch], track: Track, wiring: Wiring) -> bool:
    """Whether one rail meets the other outside the section of a reverser, once trains reach over
    both ends of these ways through it, be it one after the other: the section can then be turned to
    suit no more than some of them."""
    inside = {name for name in track.pieces if _feeds(name, track, wiring) == reverser}
    beyond = [
        joint for joint in track.joints
        if not {joint.a.piece, joint.b.piece} & inside and not _at_a_reverser(joint, track, wiring)
    ]  # fmt: skip
    # Every piece on a way has one end at its front and one at its back: the wheels of a train join
    # the rails at the two ends just as a joint between these would.
    joined = (replace(way.joints[0], a=way.ends[0], b=way.ends[1]) for way in ways)
    return comes_back_turned([*beyond, *joined], track)


def _goes_on(port: Port, track: Track) -> bool:
    return track.pieces[port.piece].block is not None


def _within(
    port: Port, inside: Collection[str], track: Track, crossed: tuple[Joint, ...]
) -> Iterator[tuple[tuple[Joint, ...], Port]]:
    """The ways on from an end inside until they lead out: the joints crossed, and the end beyond
    the last of them."""
    for _, joint, leads_to in track.onward[port]:
        if leads_to.piece not in inside:
            yield (*crossed, joint), leads_to
        elif joint not in crossed:
            yield from _within(leads_to, inside, track, (*crossed, joint))


def _stretch(
    way: Sequence[Joint], inside: Collection[str], ends: tuple[Port, Port], track: Track
) -> Stretch:
    pieces = (port.piece for joint in way for port in (joint.a, joint.b) if port.piece in inside)
    blocks = (track.pieces[name].block for name in pieces)
    return Stretch(tuple(way), tuple(dict.fromkeys(b for b in blocks if b is not None)), ends)


def _feeds(piece: str, track: Track, wiring: Wiring) -> str | None:
    block = track.pieces[piece].block
    supply = wiring.power_of(block) if block else None
    return supply.name if supply else None


def _at_a_reverser(joint: Joint, track: Track, wiring: Wiring) -> bool:
    one, other = (_feeds(port.piece, track, wiring) for port in (joint.a, joint.b))
    names = [name for name in (one, other) if name is not None]
    return one != other and any(wiring.supplies[name].reverses for name in names)


# ------------------------------------------------------------------ two supplies


@dataclass(frozen=True, slots=True)
class TwoFed:
    """Two ``blocks`` with track power from two ``supplies``, and the ways on which a train comes
    from the one to the other over track that nothing feeds: none for two that meet at a gap, or at
    the two ends of a block with feeders of which the file gives no supply. That one keeps nothing
    apart: whatever feeds it goes together with one of the two at most."""

    blocks: tuple[str, str]
    supplies: tuple[str, str]
    between: tuple[Stretch, ...]


def two_fed(blocks: Iterable[str], track: Track, wiring: Wiring) -> tuple[TwoFed, ...]:
    """Every two of these blocks with different supplies of track power that a train can come from
    and to without passing a third block with track power; in the order given."""
    order = {block: n for n, block in enumerate(blocks)}
    found: dict[tuple[str, str], dict[tuple[Joint, ...], Stretch]] = {}
    for joint in track.joints:
        for outer, inner in ((joint.a, joint.b), (joint.b, joint.a)):
            here, fed = track.pieces[outer.piece].block, _feeds(outer.piece, track, wiring)
            if here is None or fed is None:
                continue
            first = track.pieces[inner.piece].block or ""
            fed_somehow = bool(wiring.feeders_of(first))
            over = first.__eq__ if fed_somehow else lambda block: not wiring.feeders_of(block)
            for way, last in _unfed(inner, over, track, wiring, (joint,)):
                there = track.pieces[last.piece].block or ""
                unlike = _feeds(last.piece, track, wiring) not in (None, fed)
                if unlike and order[here] < order[there]:
                    met = {port.piece for j in way for port in (j.a, j.b)}
                    dead = {p for p in met if _is_dead(p, track, wiring)}
                    ways = found.setdefault((here, there), {})
                    ways.setdefault(way, _stretch(way, dead, (outer, last), track))
    pairs = sorted(found, key=lambda pair: (order[pair[0]], order[pair[1]]))
    return tuple(
        TwoFed(pair, _supplies_of(pair, wiring), tuple(found[pair].values())) for pair in pairs
    )  # fmt: skip


def _supplies_of(blocks: tuple[str, str], wiring: Wiring) -> tuple[str, str]:
    one, other = (wiring.power_of(block) for block in blocks)
    return (one.name if one else "", other.name if other else "")


def _is_dead(piece: str, track: Track, wiring: Wiring) -> bool:
    block = track.pieces[piece].block
    return block is not None and wiring.power_of(block) is None and not wiring.feeders_of(block)


def _unfed(
    port: Port,
    over: Callable[[str], bool],
    track: Track,
    wiring: Wiring,
    crossed: tuple[Joint, ...],
) -> Iterator[tuple[tuple[Joint, ...], Port]]:
    """The ways on from an end ``over`` some blocks of which the file gives no supply, to the first
    of which it does."""
    block = track.pieces[port.piece].block
    if block is None:
        return
    if wiring.power_of(block) is not None:
        yield crossed, port
    elif over(block):
        for _, joint, leads_to in track.onward[port]:
            if joint not in crossed:
                yield from _unfed(leads_to, over, track, wiring, (*crossed, joint))


def go_together(one: str, other: str, wiring: Wiring) -> bool | None:
    """Whether a train may join two supplies of track power; None where the file does not give the
    kind of both.

    DC and another kind may not, nor AC and DCC. Two that give DCC must take their signal from one
    source; two that give AC, one source or a common return, or they may be out of phase. Two that
    give DC are throttles, which a person sets alike. (Common practice, no source.)"""
    kinds = wiring.current_of(one), wiring.current_of(other)
    if None in kinds:
        return None
    *_, root = wiring.chain_of(one)
    *_, root_of_other = wiring.chain_of(other)
    if kinds[0] != kinds[1]:
        return False
    if root == root_of_other or kinds[0] == "DC":
        return True
    return kinds[0] == "AC" and wiring.share_a_return(one, other)


# ------------------------------------------------------------------ lengths


def room_on(blocks: Sequence[str], track: Track, wiring: Wiring) -> tuple[Number, Number | None]:
    """How long a way through some blocks is, from the least to the most; None: the file does not
    say. In a block with points only the longest way is as long as the file says."""
    lengths = [wiring.lengths.get(block) for block in blocks]
    known = [n for n in lengths if n is not None]
    sure = (
        n for b, n in zip(blocks, lengths, strict=True)
        if n is not None and len(ways_through(b, track)) == 1
    )  # fmt: skip
    return sum(sure, Number(0)), sum(known, Number(0)) if len(known) == len(blocks) else None


def may_be_too_short(reverser: str, longest: Number | None, track: Track, wiring: Wiring) -> bool:
    """Whether neither that trains join the rails over both ends of the section of a reverser
    follows from the lengths in the file, nor that they do not."""
    surely, perhaps = [], []
    for way in section_ways(reverser, track, wiring):
        least, most = room_on(way.blocks, track, wiring)
        if longest is None or least < longest:
            perhaps.append(way)
            if longest is not None and most is not None and most < longest:
                surely.append(way)
    join = [bool(ways) and join_the_rails(reverser, ways, track, wiring)
            for ways in (perhaps, surely)]  # fmt: skip
    return join == [True, False]
