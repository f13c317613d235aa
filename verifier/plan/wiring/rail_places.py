"""Where along the rails of a block its feeders are joined: from its left end, or from its points.

In: the track, and what the file says of feeders and points. Out: the stretches between the points
of a block, how long they are, and the feeders on each; errors are noted in the names.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from verifier.language.source import Span
from verifier.language.syntax import tree
from verifier.plan.model import Port, Track
from verifier.plan.names import Names
from verifier.plan.quantities import read_amount
from verifier.plan.wiring import plausible_ranges
from verifier.plan.wiring.wiring_model import Number, Wiring


@dataclass(frozen=True, slots=True)
class Chain:
    """Rail from one end of a turnout over plain track of its block, to the end ``b`` of a turnout
    or out of the block. ``cut``: there is a gap on the way. ``length`` is that from points to
    points; None where the file does not say."""

    a: Port
    b: Port | None
    cut: bool
    length: Number | None


def is_plain(block: str, track: Track) -> bool:
    """Whether a block is one stretch of plain track, so that a length from its left end means one
    place."""
    pieces = [piece for piece in track.pieces.values() if piece.block == block]
    return (
        len(pieces) == 1
        and pieces[0].kind == "plain"
        and not any(joint.a.piece == joint.b.piece == pieces[0].name for joint in track.joints)
    )


def chains_of(block: str, track: Track, wiring: Wiring) -> tuple[Chain, ...]:
    """Every stretch of rail from an end of a turnout of a block, each once."""
    found: dict[frozenset[Port], Chain] = {}
    for piece in track.pieces.values():
        if piece.block == block and piece.kind == "turnout":
            for end in piece.ends:
                port = Port(piece.name, end)
                far, cut = _follow(port, block, track)
                ends = frozenset((port, far) if far else (port,))
                length = None if far is None else length_between(port, far, wiring)
                found.setdefault(ends, Chain(port, far, cut, length))
    return tuple(found.values())


def _follow(port: Port, block: str, track: Track) -> tuple[Port | None, bool]:
    """The end of a turnout that rail leads to from another end, within their block, and whether
    there is a gap on the way."""
    cut = False
    while True:
        joint = track.joint_at.get(port)
        if joint is None:
            return None, cut
        beyond = joint.other(port)
        piece = track.pieces[beyond.piece]
        if piece.block != block:
            return None, cut
        cut = cut or joint.kind != "="
        if piece.kind != "plain":
            return beyond, cut
        port = next(Port(piece.name, end) for end in piece.ends if end != beyond.end)


def length_between(one: Port, other: Port, wiring: Wiring) -> Number | None:
    """How far it is from points to points, by what either turnout says of the other."""
    for here, there in ((one, other), (other, one)):
        machine = wiring.machines.get(here.piece)
        for far, beyond, _ in machine.points_at if machine is not None else ():
            if beyond == tuple(there):
                return far
    return None


def placed(chain: Chain, wiring: Wiring) -> list[tuple[Number, str]]:
    """The feeders on a stretch, each with its distance from the points at its first end, in
    order."""
    found = []
    for feeder in wiring.feeders.values():
        if feeder.at is None or feeder.beyond is None:
            continue
        if feeder.beyond == tuple(chain.a):
            found.append((feeder.at, feeder.name))
        elif chain.b is not None and feeder.beyond == tuple(chain.b):
            found.append(((chain.length or Number(0)) - feeder.at, feeder.name))
    return sorted(found)


# ------------------------------------------------------------------ as the file says

# From the points of a turnout: it, and the end on whose side that is.
Beyond = tuple[str, str]


def feeder_place(
    node: tree.Feeder, block: tree.Name, whole: Number | None, track: Track, names: Names
) -> tuple[Number | None, Beyond | None]:
    """Where a feeder is joined to the rail: how far from the left end of its block, or from the
    points of a turnout; None where the file does not say, or where it is wrong (noted)."""
    place = read_amount(node.at, plausible_ranges.FEEDER_AT, names)
    if place is None:
        return None, None
    span = node.at[0].span.to(node.at[-1].span)
    said = {"block": block.text, "name": node.name.text}
    others = [block.span]
    beyond = _from_points(node.points, block, names) if node.points else None
    if node.points is not None and beyond is None:
        return None, None
    if beyond is None and not is_plain(block.text, track):
        pieces = [p for p in track.pieces.values() if p.block == block.text]
        turnout = next((p.name for p in pieces if p.kind == "turnout"), "")
        variant = "forked" if turnout else "crossed"
        names.error("CP660", span, variant, others=others, turnout=turnout, **said)
    elif beyond is None and whole is None:
        if not getattr(names.table[block.text].node, "length", ()):
            names.error("CP660", span, "length", others=others, **said)
    elif whole is not None and place > whole:
        variant = "beyond" if beyond else ""
        names.error("CP660", span, variant, others=others, **said)
    elif whole is not None and beyond is None and node.span.turned:
        return whole - place, None
    else:
        return place, beyond
    return None, None


def _from_points(node: tree.OverLeg, block: tree.Name, names: Names) -> Beyond | None:
    """The turnout of a block from whose points is measured, and the end on whose side; None where
    that is wrong (noted)."""
    declared = names.find(node.name, "turnout")
    if declared is None or not isinstance(declared.node, tree.Turnout):
        return None
    turnout, others = declared.node, [declared.span]
    if turnout.block.text != block.text:
        said = {"block": block.text, "name": node.name.text, "inside": turnout.block.text}
        names.error("CP660", node.span, "elsewhere", others=others, **said)
        return None
    if node.leg not in (None, "normal", "reverse"):
        names.error("CP660", node.span, "leg", others=others, name=node.name.text)
        return None
    return node.name.text, node.leg or "points"


def points_places(
    clause: tree.Clause | None, block: tree.Name, names: Names
) -> tuple[tuple[Number, Beyond, Span], ...]:
    """How far the points of a turnout are from those of others, and where that is said."""
    found = []
    for place in clause.places if clause is not None else ():
        at = read_amount(place.at, plausible_ranges.POINTS_AT, names)
        beyond = _from_points(place.over[0], block, names)
        if at is not None and beyond is not None:
            found.append((at, beyond, place.span))
    return tuple(found)


def check_places(
    statements: tuple[tree.Statement, ...], wiring: Wiring, track: Track, names: Names
) -> None:
    """Rail leads from points to points as the file says, and no feeder is beyond them."""
    blocks = dict.fromkeys(p.block for p in track.pieces.values() if p.kind == "turnout")
    chains = [c for block in blocks if block for c in chains_of(block, track, wiring)]
    ends = {frozenset((c.a, c.b)) for c in chains if c.b is not None}
    for node in tree.of_kind(statements, tree.Turnout):
        for place in (p for c in node.clauses if c.kind == "points at" for p in c.places):
            leg = place.over[0]
            far = Port(leg.name.text, leg.leg or "points")
            joined = {port.piece for pair in ends if far in pair for port in pair - {far}}
            for name in node.names:
                said = {"name": name.text, "block": node.block.text}
                if far.piece in track.pieces and name.text not in joined:
                    names.error("CP660", place.span, "apart", others=[name.span], **said)
                elif _is_beyond(place.span, name.text, node.block.text, wiring):
                    names.error("CP660", place.span, "outside", others=[name.span], **said)
    _check_distances(chains, wiring, names)
    for feeder, span in _measured(statements):
        placed_there = wiring.feeders.get(feeder.name.text)
        if placed_there is not None and placed_there.at is not None:
            beyond, at = placed_there.beyond, placed_there.at
            next_ = next((_far(c, beyond) for c in chains if beyond in (c.a, c.b)), None)
            if next_ is not None and at > next_[0]:
                said = {"name": placed_there.name, "turnout": next_[1].piece}
                names.error("CP660", span, "further", others=[feeder.name.span], **said)


def _is_beyond(span: Span, turnout: str, block: str, wiring: Wiring) -> bool:
    """Whether a distance from points to points is longer than their block."""
    machine, whole = wiring.machines.get(turnout), wiring.lengths.get(block)
    given = machine.points_at if machine is not None else ()
    return whole is not None and any(at > whole for at, _, where in given if where == span)


def _check_distances(chains: list[Chain], wiring: Wiring, names: Names) -> None:
    """No two distances from points to the same points differ, whichever turnout they are below."""
    for chain in chains:
        if chain.b is None:
            continue
        said: dict[Span, Number] = {}
        for here, far in ((chain.a, chain.b), (chain.b, chain.a)):
            machine = wiring.machines.get(here.piece)
            given = machine.points_at if machine is not None else ()
            said.update({span: at for at, beyond, span in given if beyond == tuple(far)})
        first = next(iter(said), None)
        for span, at in said.items():
            if first is not None and at != said[first]:
                told = {"name": chain.a.piece, "turnout": chain.b.piece}
                names.error("CP660", span, "differ", others=[first], **told)


def _far(chain: Chain, beyond: Beyond | None) -> tuple[Number, Port] | None:
    """The points at the far end of a stretch, seen from one end, and how far away they are."""
    port = chain.b if beyond == chain.a else chain.a
    return None if chain.length is None or port is None else (chain.length, port)


def _measured(statements: tuple[tree.Statement, ...]) -> Iterator[tuple[tree.Feeder, Span]]:
    for node in tree.of_kind(statements, tree.Block):
        for feeder in (f for group in node.feeders for f in group.feeders if f.points):
            yield feeder, feeder.at[0].span.to(feeder.at[-1].span)
