"""New pieces: placed, joined to open ends, or put into track that is there."""

from collections.abc import Iterable, Iterator

from verifier.language.syntax import tree
from verifier.plan.model import Port
from verifier.sketching.edits import Edit, declare
from verifier.sketching.geometry import HALF, LENGTH, Place, Spot, around, hub
from verifier.sketching.hand import FAR, NEAR, TOUCHES, Drawn, Hand, Refused
from verifier.sketching.joining import sign_of
from verifier.sketching.reading import Drawing
from verifier.sketching.strokes import Add, AddedKind

NODES: dict[str, tuple[type[tree.Statement], str]] = {
    "edge": (tree.Edge, "East"), "bumper": (tree.Bumper, "End"), "block": (tree.Block, "B"),
    "turnout": (tree.Turnout, "T"), "crossing": (tree.Crossing, "X"), "slip": (tree.Slip, "P"),
}  # fmt: skip


def add(hand: Hand, stroke: Add) -> Drawn:
    """Place a piece. Raises :class:`Refused`."""
    if stroke.onto is not None:
        return _add_onto(hand, stroke, stroke.onto)
    if stroke.to is not None and stroke.kind == "block":
        return _draw_track(hand, stroke.at, stroke.to)
    if onto := hand.open_end_at(stroke.at, NEAR):
        return _add_onto(hand, stroke, onto)
    if stroke.kind in ("turnout", "crossing", "slip"):
        under = _plain_at(hand, stroke.at)
        if under is not None:
            name = _put_into(hand, under, stroke.kind, stroke.at)
            return hand.done(f"Set {name} into the track.", _first_open(hand, name), [name])
    name = _new(hand, stroke.kind, None, stroke.at)
    hand.join_what_touches([name])
    return hand.done(f"Placed {name}.", _first_open(hand, name), [name])


def _new(hand: Hand, kind: AddedKind, place: Place | None, at: Spot) -> str:
    """Declare and place one more piece."""
    node, beginning = NODES[kind]
    if kind == "edge":
        middle = [hub(p, hand.drawing.ends[n]).x for n, p in hand.drawing.pieces.items()]
        left = not middle or at.x < sum(middle) / len(middle)
        beginning = "West" if left else "East"
    if kind in ("turnout", "crossing", "slip"):
        name = hand.fresh(beginning)
        block = hand.fresh(f"{name}-track")
        hand.edit([declare(hand.drawing, tree.Block, "block", block, "")])
        hand.edit([declare(hand.drawing, node, kind, name, f"in {block}")])
    else:
        name = hand.fresh(beginning)
        hand.edit([declare(hand.drawing, node, kind, name, "")])
    hand.put({name: place or around(hand.drawing.pieces[name], at)})
    return name


def _first_open(hand: Hand, name: str, entered: str = "") -> Port | None:
    """The open end of a piece to go on from: the one straight ahead, if it is open."""
    far = Port(name, FAR.get(entered, ""))
    every = [Port(name, end) for end in hand.drawing.pieces[name].ends]
    open_ends = [p for p in (far, *every) if p in set(hand.drawing.open_ends)]
    # Points first placed go on over their normal leg.
    if not entered and Port(name, "normal") in open_ends:
        return Port(name, "normal")
    if open_ends:
        return open_ends[0] if far in open_ends else open_ends[-1]
    return next(iter(hand.drawing.open_ends), None)


def _add_onto(hand: Hand, stroke: Add, onto: Port) -> Drawn:
    if onto in hand.drawing.joint_at:
        raise Refused(f"{hand.words(onto)} is joined already.")
    spot, way = hand.drawing.spot(onto), _outward(hand, onto)
    entered, place = _against(stroke, spot, way)
    name = _new(hand, stroke.kind, place, spot)
    hand.join(onto, Port(name, entered))
    hand.join_what_touches([name])
    joined = hand.now(Port(name, entered)).end
    return hand.done(
        f"Joined {name} to {hand.words(onto)}.", _first_open(hand, name, joined), [name]
    )


def _outward(hand: Hand, port: Port) -> int:
    """Which way track goes on from an end: 1 to the right, -1 to the left."""
    piece = hand.drawing.pieces[port.piece]
    ends = hand.drawing.ends[port.piece]
    if piece.kind in ("edge", "bumper"):
        others = [hand.drawing.ends[n] for n in hand.drawing.pieces if n != port.piece]
        xs = [spot.x for those in others for spot in those.values()]
        return -1 if xs and ends["end"].x > max(xs) else 1
    return 1 if ends[port.end].x >= hub(piece, ends).x else -1


def _draw_track(hand: Hand, start: Spot, stop: Spot) -> Drawn:
    """Track from one spot to another; where it begins or ends in the middle of other track,
    points lead there."""
    made: list[str] = []
    way = 1 if stop.x >= start.x else -1
    ends: list[Port | None] = []
    for spot, toward, side in ((start, stop, way), (stop, start, -way)):
        port = hand.open_end_at(spot, NEAR)
        under = None if port else _plain_at(hand, spot)
        if under is not None and abs(toward.y - spot.y) >= 1:
            down = 1 if toward.y > spot.y else -1
            points = _put_into(hand, under, "turnout", spot, side, down)
            made.append(points)
            port = Port(points, "reverse")
        ends.append(port)
    first, last = ends
    begins = hand.drawing.spot(first) if first else start
    stops = hand.drawing.spot(last) if last else stop
    if first and last and begins.apart(stops) < NEAR:
        hand.join(first, last)
        return hand.done(f"Joined {hand.words(first)} and {hand.words(last)}.", chosen=made)
    left, right = (begins, stops) if way > 0 else (stops, begins)
    name = _new(hand, "block", (left, right), left)
    near, far = ("left", "right") if way > 0 else ("right", "left")
    if first:
        hand.join(first, Port(name, near))
    if last:
        hand.join(last, Port(name, far))
    hand.join_what_touches([name])
    return hand.done(
        f"Drew {name}.", _first_open(hand, name, hand.now(Port(name, near)).end), [*made, name]
    )


def _plain_at(hand: Hand, spot: Spot) -> str | None:
    """The plain track of this file that a spot lies on."""
    found = []
    for name, piece in hand.drawing.pieces.items():
        if piece.kind == "plain" and hand.drawing.is_own(name):
            ends = hand.drawing.ends[name]
            found.append((_off(spot, ends["left"], ends["right"]), name))
    best = min(found, default=None)
    return best[1] if best and best[0] <= NEAR else None


def _put_into(
    hand: Hand, name: str, kind: AddedKind, at: Spot, side: int = 1, down: int = 1
) -> str:
    """Part plain track by points or a crossing. ``side``: where the other leg goes, 1 to the
    right; ``down``: 1 below."""
    ends = hand.drawing.ends[name]
    left, right = ends["left"], ends["right"]
    way = 1 if right.x >= left.x else -1
    low, high = sorted((left.x, right.x))
    half = HALF if high - low > 2 * HALF + 2 else 1.0
    x = min(max(at.x, low + half), high - half) if high - low > 2 * half else (low + high) / 2
    y = left.y if abs(left.y - right.y) < TOUCHES else round(at.y)
    if kind == "turnout":
        place: Place = (Spot(x - side * half, y), Spot(x + side * half, y + down * half))
        near, far = ("points", "normal") if side == way else ("normal", "points")
    else:
        place = (Spot(x - half, y + half), Spot(x + half, y - half))
        near, far = ("along-left", "along-right") if way > 0 else ("along-right", "along-left")
    new = _new(hand, kind, place, Spot(x, y))
    rest = divide(hand, name, Spot(x - way * half, y), Spot(x + way * half, y))
    hand.join(Port(name, "right"), Port(new, near))
    hand.join(Port(new, far), Port(rest, "left"))
    return new


def divide(hand: Hand, name: str, left_ends: Spot, right_begins: Spot) -> str:
    """Make two blocks of plain track; their facing ends are open. The right-hand one is new,
    and has what its right end was joined to, signals included."""
    ends = dict(hand.drawing.ends[name])
    old = hand.drawing.joint_at.get(Port(name, "right"))
    standing = hand.standing_at(old) if old else []
    if old:
        hand.part(old)
    rest = _new(hand, "block", (right_begins, ends["right"]), right_begins)
    hand.put({name: (ends["left"], left_ends)})
    if old:
        other = old.other(Port(name, "right"))
        hand.join(Port(rest, "right"), other, sign_of(old))
        title = hand.drawing.pieces[name].title
        hand.edit(_restood(hand.drawing, standing, title, rest))
    return rest


def _off(spot: Spot, a: Spot, b: Spot) -> float:
    """How far a spot lies off the straight line between two others."""
    dx, dy = b.x - a.x, b.y - a.y
    long = dx * dx + dy * dy
    part = ((spot.x - a.x) * dx + (spot.y - a.y) * dy) / long if long else 0.0
    part = min(max(part, 0.0), 1.0)
    return spot.apart(Spot(a.x + part * dx, a.y + part * dy))


def _against(stroke: Add, spot: Spot, way: int) -> tuple[str, Place]:
    """Where a new piece lies that is joined to an end at ``spot``, and by which end of its."""
    x, y = spot
    match stroke.kind:
        case "edge" | "bumper":
            return "end", (spot,)
        case "block":
            far = stroke.to or Spot(x + way * LENGTH, y)
            return ("left", (spot, far)) if way > 0 else ("right", (far, spot))
        case "turnout":
            on = x + 2 * HALF * way
            if stroke.by == "points":
                return "points", (spot, Spot(on, y + HALF))
            if stroke.by == "normal":
                return "normal", (Spot(on, y), Spot(x, y + HALF))
            return "reverse", (Spot(on, y - HALF), spot)
        case _:
            left = x - 2 * HALF if way < 0 else x
            end = "along-right" if way < 0 else "along-left"
            return end, (Spot(left, y + HALF), Spot(left + 2 * HALF, y - HALF))


def _restood(drawing: Drawing, signals: Iterable[str], old: str, new: str) -> Iterator[Edit]:
    """Let signals stand at the track that now is at their gap."""
    for node in tree.of_kind(drawing.own, tree.Signal):
        if node.name.text in set(signals):
            for step in (node.near, node.far):
                if step.name.text == old:
                    yield Edit(step.name.span.start, step.name.span.end, new)
