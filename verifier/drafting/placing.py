"""Where home signals stand: one at each way into the track around points and crossings.

The limits of a control point reach from its points and crossings outward to the nearest gap with
plain track behind it, where a train can wait. There a home signal governs trains that come in
(49 CFR 236.753). Points and crossings with no such gap between them are one control point. A line
of blocks that ends at the end of the plan has a signal at each of its gaps.
"""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace

from verifier.language.diagnostics.diagnostic import Diagnostic, InputError
from verifier.language.diagnostics.registry import diagnostic
from verifier.plan.model import Joint, Plan, Port, Track
from verifier.plan.track.limits import SPECIAL


@dataclass(frozen=True, slots=True)
class Post:
    """A signal's place: trains pass it from the end ``near`` of one piece into the end ``enters``
    of the next, at ``joint``; they then run ``rightward`` as the track is drawn, or leftward.

    ``center`` is the first piece of its control point; ``written`` the name of the signal that the
    file has there already, else empty."""

    near: Port
    enters: Port
    joint: Joint
    center: str
    rightward: bool
    written: str


def place_signals(plan: Plan, single: Collection[str] = ()) -> tuple[Post, ...]:
    """Home signals for every control point, those that the file has included: one control point
    after the other, as the track is drawn from left to right. On ``single`` track between control
    points, so many pieces of it, there are signals at the gaps on the way, too.

    Raises :class:`InputError` with each place where a signal is needed and none fits."""
    ground = _Ground(plan, {signal.enters: name for name, signal in plan.signals.items()})
    errors: list[Diagnostic] = []
    centers = {name: name for name in _special(plan.track)}
    posts: dict[Port, Post] = {}
    for name in centers:
        for end in plan.track.pieces[name].ends:
            match _outward(Port(name, end), ground):
                case Post() as post:
                    posts.setdefault(post.enters, post)
                case str() as other:
                    _unite(centers, name, other)
                case Diagnostic() as error:
                    errors.append(error)
                case None:
                    pass
    for post in _along_plain_lines(ground, single):
        posts.setdefault(post.enters, post)
    errors += _head_on(plan.track)
    for signal in plan.signals.values():
        if signal.enters not in posts:
            posts[signal.enters] = ground.post(signal.enters, signal.enters.piece)
    if errors:
        raise InputError(errors)
    joined = {name: _root(centers, name) for name in centers}
    return _in_order(
        [replace(p, center=joined.get(p.center, p.center)) for p in posts.values()], plan.track
    )


@dataclass(frozen=True, slots=True)
class _Ground:
    """The plan that signals are placed on, and the signals that it has: by the end into which
    they govern."""

    plan: Plan
    written: Mapping[Port, str]

    def post(self, enters: Port, center: str) -> Post:
        joint = self.plan.track.joint_at[enters]
        near, name = joint.other(enters), self.written.get(enters, "")
        return Post(near, enters, joint, center, enters == joint.b, name)


def _special(track: Track) -> Iterator[str]:
    return (name for name, piece in track.pieces.items() if piece.kind in SPECIAL)


def _root(centers: Mapping[str, str], name: str) -> str:
    while centers[name] != name:
        name = centers[name]
    return name


def _unite(centers: dict[str, str], one: str, two: str) -> None:
    one, two = _root(centers, one), _root(centers, two)
    order = list(centers)
    first, second = sorted((one, two), key=order.index)
    centers[second] = first


def _outward(start: Port, ground: _Ground) -> Post | str | Diagnostic | None:
    """What bounds a control point on the way out from one end of its trackwork: a home signal,
    more trackwork (its name), or nothing, where no train comes in. Else why no signal fits."""
    track, here = ground.plan.track, start
    derailed = {derail.port for derail in ground.plan.derails.values()}
    for _ in track.pieces:
        joint = track.joint_at[here]
        beyond = joint.other(here)
        piece = track.pieces[beyond.piece]
        if here in ground.written:
            return ground.post(here, start.piece)
        if piece.kind in SPECIAL:
            return piece.name
        if joint.kind != "=" and piece.kind != "bumper":
            return None if only_leaves(beyond, track) else ground.post(here, start.piece)
        if beyond in derailed:
            return None
        if piece.kind in ("edge", "bumper"):
            inner = track.pieces[start.piece]
            return (
                None
                if piece.direction == "leaving"
                else diagnostic(
                    "CP901",
                    piece.span,
                    others=[inner.span],
                    end=piece.name,
                    points=inner.name,
                )
            )
        here = _far_end(beyond)
    return None


def _far_end(port: Port) -> Port:
    """The other end of a piece of plain track."""
    return Port(port.piece, "right" if port.end == "left" else "left")


def only_leaves(port: Port, track: Track) -> bool:
    """Whether plain track entered at ``port`` leads to an edge where trains only leave: then
    none comes back."""
    return _leads_to_edge(port, track, "leaving")


def _leads_to_edge(port: Port, track: Track, direction: str) -> bool:
    for _ in track.pieces:
        piece = track.pieces[port.piece]
        if piece.kind != "plain":
            return piece.kind == "edge" and piece.direction == direction
        out = _far_end(port)
        port = track.joint_at[out].other(out)
    return False


def _along_plain_lines(ground: _Ground, single: Collection[str]) -> Iterator[Post]:
    """A signal each way at every gap between plain blocks where no control point is at both ends
    of the line, or it is such ``single`` track."""
    track = ground.plan.track
    between = _between_control_points(track).difference(single)
    for joint in track.joints:
        plain = all(track.pieces[port.piece].kind == "plain" for port in (joint.a, joint.b))
        if joint.kind == "=" or not plain or joint.a.piece in between:
            continue
        if not (only_leaves(joint.a, track) or _leads_to_edge(joint.b, track, "entering")):
            yield ground.post(joint.b, joint.a.piece)
        back = not (only_leaves(joint.b, track) or _leads_to_edge(joint.a, track, "entering"))
        if back:
            yield ground.post(joint.a, joint.a.piece)


def _head_on(track: Track) -> Iterator[Diagnostic]:
    """Lines from edge to edge without a gap, where trains come in at both ends: no signal can keep
    them apart."""
    told: set[str] = set()
    for piece in track.pieces.values():
        if piece.kind != "edge" or piece.direction == "leaving":
            continue
        port = track.joint_at[Port(piece.name, "end")].other(Port(piece.name, "end"))
        gaps = 0
        while track.pieces[port.piece].kind == "plain":
            joint = track.joint_at[_far_end(port)]
            port = joint.other(_far_end(port))
            gaps += joint.kind != "=" and track.pieces[port.piece].kind == "plain"
        end = track.pieces[port.piece]
        if end.kind == "edge" and end.direction != "leaving" and not gaps | (end.name in told):
            told.add(piece.name)
            yield diagnostic(
                "CP901", piece.span, "head_on", others=[end.span], end=piece.name, points=end.name
            )


def _between_control_points(track: Track) -> set[str]:
    """The plain track from one control point to another, or to a bumper: one train at a time. Not
    where it leads round to the points that it came from, as a circle with a spur does: with no
    signal on the way, one would be its own next one."""
    found: set[str] = set()
    for name in _special(track):
        for end in track.pieces[name].ends:
            port = track.joint_at[Port(name, end)].other(Port(name, end))
            line: list[str] = []
            while track.pieces[port.piece].kind == "plain":
                line.append(port.piece)
                out = _far_end(port)
                port = track.joint_at[out].other(out)
            if track.pieces[port.piece].kind != "edge" and not _leads_round(name, end, port, track):
                found.update(line)
    return found


def _leads_round(name: str, end: str, port: Port, track: Track) -> bool:
    """Whether a train that comes round from one end of points to another of their ends runs over
    them the way it went before."""
    piece = track.pieces[name]
    return port.piece == name and piece.kind == "turnout" and "points" in (end, port.end)


def _in_order(posts: list[Post], track: Track) -> tuple[Post, ...]:
    """By control point as drawn, from left to right; there, rightward signals first."""
    at: dict[str, tuple[int, int]] = {}
    for row, line in enumerate(track.rows):
        for column, placed in enumerate(line):
            at.setdefault(placed.piece, (row, column))
    return tuple(
        sorted(
            posts,
            key=lambda p: (at[p.center][::-1], p.center, not p.rightward, at[p.near.piece]),
        )
    )
