"""Where track comes back turned around, so that one rail meets the other.

In: the track. Out: the joints at which the two rails would be joined to each other, and the
sections that are cut off in both rails at both ends, as they must be. Nothing of the file's
wiring is looked at: it is a matter of the track alone.

Each end of a piece gets a side: which of the two rails is on the left for somebody who looks
out of it. Over a piece, and over a joint, the sides change places. Where both rails are cut, an
end may have either side; where no choice is left and two ends that meet do not agree, a rail
runs into the other one. (Common practice, no source: a balloon loop or wye needs a section cut
in both rails at both ends.)
"""

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field

from verifier.plan.model import Joint, Port, Track
from verifier.plan.track.build_track import moves_over


@dataclass(frozen=True, slots=True)
class ReversingLoop:
    """Track comes back to ``joint`` turned around. ``cut`` is False where nothing on the way
    round is cut in both rails; True where just one place is, so that whatever stands across
    that joins the rails."""

    joint: Joint
    cut: bool


@dataclass(slots=True)
class _Sides:
    """Ends whose sides hang on each other: by end, another one and whether theirs differ."""

    above: dict[Port, tuple[Port, bool]] = field(default_factory=dict)

    def copy(self) -> "_Sides":
        return _Sides(dict(self.above))

    def find(self, port: Port) -> tuple[Port, bool]:
        """The end that stands for all that hang together, and whether this one's side is the
        other of its."""
        differs = False
        while port in self.above:
            port, turned = self.above[port]
            differs ^= turned
        return port, differs

    def join(self, one: Port, other: Port) -> bool:
        """The sides of two ends differ: False where they already hang together otherwise."""
        (a, turned), (b, too) = self.find(one), self.find(other)
        if a == b:
            return turned != too
        self.above[a] = (b, not (turned ^ too))
        return True


def uncut_loops(track: Track) -> tuple[ReversingLoop, ...]:
    """Every joint at which track comes back turned around and that is not cut as it must be."""
    sides, wrong = _where_a_rail_runs_through(track)
    if wrong:
        return tuple(ReversingLoop(joint, False) for joint in wrong)
    found = []
    for joint in _cut_in_both(track):
        (a, turned), (b, too) = sides.find(joint.a), sides.find(joint.b)
        if a == b and turned == too:
            found.append(ReversingLoop(joint, True))
    return tuple(found)


def reversing_section_joints(track: Track) -> tuple[Joint, ...]:
    """The joints, cut in both rails, that lie on a way on which track comes back turned around:
    the ends of sections for turning trains."""
    sides, wrong = _where_a_rail_runs_through(track)
    if wrong:
        return ()
    cut = list(_cut_in_both(track))
    ways_round = [joint for joint in cut if _hang_together(joint, sides, cut)]
    together = sides.copy()
    turned = [joint for joint in ways_round if not together.join(joint.a, joint.b)]
    about = {together.find(joint.a)[0] for joint in turned}
    return tuple(joint for joint in ways_round if together.find(joint.a)[0] in about)


def _hang_together(joint: Joint, sides: _Sides, cut: list[Joint]) -> bool:
    """Whether a way leads round from one side of a joint to the other."""
    others = sides.copy()
    for other in cut:
        if other is not joint:
            others.join(other.a, other.b)
    return others.find(joint.a)[0] == others.find(joint.b)[0]


def _where_a_rail_runs_through(track: Track) -> tuple[_Sides, list[Joint]]:
    """The sides of all ends between which a rail runs through, and where they do not agree."""
    sides = _Sides()
    for piece in track.pieces.values():
        for move in moves_over(piece):
            sides.join(Port(piece.name, move.enter), Port(piece.name, move.leave))
    joints = (joint for joint in track.joints if joint.kind != "||")
    return sides, [joint for joint in joints if not sides.join(joint.a, joint.b)]


def _cut_in_both(track: Track) -> Iterator[Joint]:
    return (joint for joint in track.joints if joint.kind == "||")


def round_trip(joint: Joint, track: Track) -> tuple[str, ...]:
    """What lies on a shortest way over rails that run through, from one side of a joint to the
    other, that comes back turned around; by what people call it."""
    # An even number of steps leaves an end with the side it had: the wrong one, here.
    start, goal = (joint.b, False), (joint.a, False)
    before: dict[tuple[Port, bool], tuple[Port, bool] | None] = {start: None}
    waiting = deque([start])
    while waiting and goal not in before:
        port, odd = waiting.popleft()
        for following in _beside(port, joint, track):
            at = (following, not odd)
            if at not in before:
                before[at] = (port, odd)
                waiting.append(at)
    names: dict[str, None] = {}
    at_end: tuple[Port, bool] | None = goal if goal in before else None
    while at_end is not None:
        names[track.pieces[at_end[0].piece].title] = None
        at_end = before[at_end]
    return tuple(reversed(names))


def _beside(port: Port, without: Joint, track: Track) -> Iterator[Port]:
    """The ends that a rail leads to from an end: over its piece, and over its joint."""
    for move in moves_over(track.pieces[port.piece]):
        if move.enter == port.end:
            yield Port(port.piece, move.leave)
    joint = track.joint_at[port]
    if joint is not without and joint.kind != "||":
        yield joint.other(port)
