"""Where signals stand: from `signal … at` to a joint of the track and the end entered past it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from verifier.language.syntax import tree
from verifier.plan.model import Joint, Port, Track
from verifier.plan.names import Names
from verifier.plan.track.build_track import port_words

MAX_HEADS = 3


@dataclass(frozen=True, slots=True)
class Post:
    """A signal before its rules are read: where it stands and what its heads are called."""

    node: tree.Signal
    joint: Joint
    enters: Port
    heads: tuple[str, ...]


def find_posts(statements: Iterable[tree.Statement], track: Track, names: Names) -> dict[str, Post]:
    """Every signal whose place is found; errors are noted."""
    posts: dict[str, Post] = {}
    beside: dict[str, list[Joint]] = {}
    for joint in track.joints:
        for title in dict.fromkeys(track.pieces[port.piece].title for port in (joint.a, joint.b)):
            beside.setdefault(title, []).append(joint)
    for node in tree.of_kind(statements, tree.Signal):
        heads = _head_names(node, names)
        place = _find_place(node, track, beside, names)
        if place:
            posts.setdefault(node.name.text, Post(node, *place, heads))
    return posts


def _head_names(node: tree.Signal, names: Names) -> tuple[str, ...]:
    if not node.heads:
        return (node.name.text,)
    if len(node.heads) > MAX_HEADS:
        names.error("CP408", node.heads[MAX_HEADS].span, most=MAX_HEADS)
    for _, again in tree.repeated(node.heads):
        names.error("CP202", again.span, "heads", name=node.name.text, head=again.text)
    return tuple(f"{node.name.text}.{head.text}" for head in node.heads)


def _find_place(
    node: tree.Signal, track: Track, beside: Mapping[str, list[Joint]], names: Names
) -> tuple[Joint, Port] | None:
    """The joint a signal stands at and the end it governs moves into."""
    for step in (node.near, node.far):
        if not names.find(step.name, "block", "turnout", "crossing", "slip", "edge", "bumper"):
            return None
    found: list[tuple[Joint, Port]] = []
    for joint in beside.get(node.near.name.text, ()):
        for near, far in ((joint.a, joint.b), (joint.b, joint.a)):
            if _is_step(near, node.near, track, left=True) and _is_step(
                far, node.far, track, left=False
            ):
                found.append((joint, far))
    if node.join.gap:
        found = [(joint, far) for joint, far in found if joint.gap == node.join.gap.text]
    # A joined rail is no place for a signal, so it leaves no doubt where there is a gap too.
    found = [(joint, far) for joint, far in found if joint.kind != "="] or found[:1]
    where = node.near.span.to(node.far.span)
    if not found:
        gap = node.join.gap.text if node.join.gap else ""
        meets = _neighbors(node, track)
        names.error(
            "CP307",
            where,
            "gap" if gap else "",
            hints=("beside",) if meets else (),
            here=node.near.name.text,
            beyond=node.far.name.text,
            gap=gap,
            beside=meets,
        )
        return None
    if len(found) > 1:
        names.error(
            "CP308",
            where,
            others=[joint.span for joint, _ in found[:4]],
            here=node.near.name.text,
            beyond=node.far.name.text,
            count=len(found),
            name=node.name.text,
        )
        return None
    joint, far = found[0]
    if joint.kind != "=" and node.join.kind == "=":
        names.error(
            "CP307",
            where,
            "joined_here",
            name=node.name.text,
            here=node.near.name.text,
            beyond=node.far.name.text,
        )
        return None
    if joint.kind == "=":
        names.error(
            "CP307",
            where,
            "joined",
            others=[joint.span],
            here=node.near.name.text,
            beyond=node.far.name.text,
            name=node.name.text,
        )
        return None
    if track.pieces[far.piece].kind in ("edge", "bumper"):
        names.error("CP307", where, "no_track", name=node.name.text)
        return None
    return joint, far


def _is_step(port: Port, step: tree.PathStep, track: Track, *, left: bool) -> bool:
    """Whether an end belongs to the element a `signal … at` names. A leg's word, where one
    is given, stands on the side of that leg, as on a `track` line."""
    if track.pieces[port.piece].title != step.name.text:
        return False
    leg = step.left or step.right
    if leg is None:
        return True
    if leg in ("along", "across"):
        return port.end.startswith(leg)
    leg_here = (step.right if left else step.left) is not None
    return port.end == (leg if leg_here else "points")


def _neighbors(node: tree.Signal, track: Track) -> Iterable[str]:
    """What the track that a signal stands beside meets."""
    return dict.fromkeys(
        _met(j.other(port), track)
        for j in track.joints
        for port in (j.a, j.b)
        if track.pieces[port.piece].title == node.near.name.text
    )


def _met(port: Port, track: Track) -> str:
    piece = track.pieces[port.piece]
    return port_words(port, track.pieces) if len(piece.ends) > 2 else piece.title
