"""Pieces that are there: gaps cut, moved, drawn longer, turned round."""

from verifier.plan.model import Port
from verifier.sketching.adding import divide
from verifier.sketching.geometry import Place, Spot, mirrored, place_from
from verifier.sketching.hand import FAR, NEAR, TOUCHES, Drawn, Hand, Refused
from verifier.sketching.joining import sign_of


def set_gap(hand: Hand, end: Port, kind: str) -> Drawn:
    """Write how two pieces meet. Raises :class:`Refused`."""
    joint = hand.joined_at(end)
    if joint.kind == kind:
        return hand.done("It is so already.")
    how = f"{kind}({joint.gap})" if joint.gap else kind
    hand.sign(joint, how)
    return hand.done({"=": "Joined the rails.", "|": "Cut one rail."}.get(
        kind, "Cut both rails."), chosen=[end.piece])  # fmt: skip


def cut(hand: Hand, name: str, at: Spot) -> Drawn:
    """Divide plain track in two blocks. Raises :class:`Refused`."""
    if hand.drawing.pieces[name].kind != "plain":
        raise Refused("Only plain track is divided.")
    ends = hand.drawing.ends[name]
    low, high = sorted((ends["left"].x, ends["right"].x))
    x = min(max(at.x, low), high)
    spot = Spot(x, ends["left"].y if ends["left"].y == ends["right"].y else round(at.y))
    rest = divide(hand, name, spot, spot)
    hand.join(Port(name, "right"), Port(rest, "left"))
    return hand.done(f"Divided {name}: {rest} goes on.", chosen=[rest])


def move(hand: Hand, names: tuple[str, ...], by: Spot) -> Drawn:
    """Move pieces, with what touches them. Raises :class:`Refused`."""
    moved = dict.fromkeys(names)
    places: dict[str, dict[str, Spot]] = {}
    before = hand.drawing
    for name in moved:
        places[name] = {e: s.moved(by) for e, s in before.ends[name].items()}
    for name in names:
        for end in before.pieces[name].ends:
            port = Port(name, end)
            joint = before.joint_at.get(port)
            other = joint.other(port) if joint else None
            if other is None or other.piece in moved or not before.is_own(other.piece):
                continue
            if before.spot(port).apart(before.spot(other)) > TOUCHES:
                continue
            if before.pieces[other.piece].kind in ("plain", "edge", "bumper"):
                ends = places.setdefault(other.piece, dict(before.ends[other.piece]))
                ends[other.end] = before.spot(other).moved(by)
    hand.put({n: place_from(before.pieces[n], ends) for n, ends in places.items()})
    hand.join_what_touches(names)
    return hand.done(f"Moved {', '.join(names)}.", chosen=names)


def stretch(hand: Hand, end: Port, to: Spot) -> Drawn:
    """Draw an end of plain track elsewhere. Raises :class:`Refused`."""
    if hand.drawing.pieces[end.piece].kind != "plain":
        raise Refused("Only plain track can be drawn longer.")
    is_open = end not in hand.drawing.joint_at
    onto = hand.open_end_at(to, NEAR, {end.piece}) if is_open else None
    target = hand.drawing.spot(onto) if onto else to
    ends = {**hand.drawing.ends[end.piece], end.end: target}
    hand.put({end.piece: place_from(hand.drawing.pieces[end.piece], ends)})
    if onto:
        hand.join(end, onto)
    return hand.done(f"Drew {end.piece} to there.", end, [end.piece])


def turn(hand: Hand, names: tuple[str, ...]) -> Drawn:
    """Turn pieces round. Raises :class:`Refused`."""
    if len(names) == 1 and hand.drawing.pieces[names[0]].kind == "turnout":
        _turn_points(hand, names[0])
    else:
        hubs = [s.x for n in names for s in hand.drawing.ends[n].values()]
        middle = (min(hubs) + max(hubs)) / 2
        hand.put({n: mirrored(hand.drawing.place(n), middle) for n in names})
    return hand.done(f"Turned {', '.join(names)} round.", chosen=names)


def _turn_points(hand: Hand, name: str) -> None:
    """Points and normal leg change places, and what they are joined to."""
    was: dict[str, tuple[Port, str]] = {}
    for end in ("points", "normal"):
        port = Port(name, end)
        if joint := hand.drawing.joint_at.get(port):
            was[FAR[end]] = (joint.other(port), sign_of(joint))
            hand.part(joint)
    place = hand.drawing.place(name)
    hand.put({name: mirrored(place, (place[0].x + place[1].x) / 2)})
    for end, (other, how) in was.items():
        hand.join(Port(name, end), other, how)


def flip(hand: Hand, names: tuple[str, ...]) -> Drawn:
    """Let the other track leave on the other side. Raises :class:`Refused`."""
    places: dict[str, Place] = {}
    for name in names:
        first, last = (*hand.drawing.place(name), Spot(0, 0))[:2]
        if hand.drawing.pieces[name].kind == "turnout":
            places[name] = (first, Spot(last.x, 2 * first.y - last.y))
        elif hand.drawing.pieces[name].kind in ("crossing", "slip"):
            places[name] = (Spot(first.x, last.y), Spot(last.x, first.y))
    if not places:
        raise Refused("Only switches and crossings have another side.")
    hand.put(places)
    return hand.done(f"{', '.join(places)}: the other side.", chosen=names)
