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
    for node in statements:
        if not isinstance(node, tree.Signal):
            continue
        heads = _head_names(node, names)
        place = _find_place(node, track, beside, names)
        if place:
            posts.setdefault(node.name.text, Post(node, *place, heads))
    return posts


def _head_names(node: tree.Signal, names: Names) -> tuple[str, ...]:
    if not node.heads:
        return (node.name.text,)
    if len(node.heads) > MAX_HEADS:
        names.error(
            "CP408",
            f"a signal has at most {MAX_HEADS} heads",
            node.heads[MAX_HEADS].span,
            "Put the further heads on a signal of their own.",
        )
    seen: set[str] = set()
    for head in node.heads:
        if head.text in seen:
            names.error(
                "CP202",
                f"two heads of signal `{node.name.text}` are called `{head.text}`",
                head.span,
                "Give each a name of its own, such as `upper` and `lower`.",
            )
        seen.add(head.text)
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
    between = f"{node.near.name.text} and {node.far.name.text}"
    where = node.near.span.to(node.far.span)
    if not found:
        gap = f" called `{node.join.gap.text}`" if node.join.gap else ""
        names.error(
            "CP307",
            f"{between} do not meet at a gap{gap}",
            where,
            _neighbors_hint(node, track),
        )
        return None
    if len(found) > 1:
        names.error(
            "CP308",
            f"{between} meet at {len(found)} gaps: at which one does `{node.name.text}` stand?",
            where,
            "Name the gap on the `track` line, `|(g1)`, and here; or give the leg, as in "
            "`Main | normal T1`.",
            tuple((joint.span, "one is here") for joint, _ in found[:4]),
        )
        return None
    joint, far = found[0]
    if joint.kind != "=" and node.join.kind == "=":
        names.error(
            "CP307",
            f"signal `{node.name.text}` is written at a joined rail",
            where,
            f"A signal stands at a gap: write `{node.near.name.text} | {node.far.name.text}`.",
        )
        return None
    if joint.kind == "=":
        names.error(
            "CP307",
            f"no gap lies between {between}, so signal `{node.name.text}` cannot stand there",
            where,
            "A signal stands at a gap: its block begins there. Write `|` on the `track` line "
            "where the gap is cut.",
            ((joint.span, "the joint is here"),),
        )
        return None
    if track.pieces[far.piece].kind in ("edge", "bumper"):
        names.error(
            "CP307",
            f"signal `{node.name.text}` would govern no track of this plan",
            where,
            "A signal is read in the direction of the train: `at Main | T1` governs moves from "
            "Main into T1.",
        )
        return None
    return joint, far


def _is_step(port: Port, step: tree.Step, track: Track, *, left: bool) -> bool:
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


def _neighbors_hint(node: tree.Signal, track: Track) -> str:
    near = node.near.name.text
    beside = [
        _met(j.other(port), track)
        for j in track.joints
        for port in (j.a, j.b)
        if track.pieces[port.piece].title == near
    ]
    if not beside:
        return ""
    return f"What {near} meets: " + ", ".join(dict.fromkeys(beside)) + "."


def _met(port: Port, track: Track) -> str:
    piece = track.pieces[port.piece]
    return port_words(port, track.pieces) if len(piece.ends) > 2 else piece.title
