"""States of a history in words: *relay 4L-route is up*, *a train stands on T1*.

In: a plan, an observable and some of its states. Out: a clause that says it is in one of them.
"""

from collections import Counter

from verifier.plan.locking.temporal_plan import joint_name
from verifier.plan.model import Plan, Port
from verifier.plan.observables import Observable

_BE = {
    "relay": "relay {} is", "timer": "timer {} is", "traffic": "the direction of traffic {} is",
    "points": "{} lies", "thrown": "{} is told to lie", "lever": "lever {} stands",
    "button": "button {} is", "derail": "derail {} is", "gate": "gate {} is",
}  # fmt: skip
_NOT = {"points": "{} does not lie", "thrown": "{} is not told to lie", "lever": "lever {} is not"}


class Phrases:
    def __init__(self, plan: Plan):
        self._plan = plan
        pieces = plan.track.pieces.values()
        self._titles = Counter(p.title for p in pieces)
        self._joints = {joint_name(j): j for j in plan.track.joints}

    def track(self, piece: str) -> str:
        """A piece of track; of several in one block, where it lies."""
        found = self._plan.track.pieces[piece]
        if self._titles[found.title] == 1 or found.kind != "plain":
            return found.title
        beside = [self._beyond(Port(piece, end)) for end in found.ends]
        return f"{found.title} between {beside[0]} and {beside[1]}"

    def _beyond(self, port: Port) -> str:
        return self._plan.track.pieces[self._plan.track.joint_at[port].other(port).piece].title

    def fact(self, what: Observable, values: tuple[str, ...]) -> str:
        match what.kind:
            case "train":
                track = self.track(what.name)
                occupied = values == ("occupied",)
                return f"a train stands on {track}" if occupied else f"{track} is vacant"
            case "heading":
                return f"the train on {self.track(what.name)} came in {self._by(what.name, values)}"
            case "across":
                return self._across(what.name, spanned=values == ("spanned",))
            case "pace":
                return f"the train on {self.track(what.name)} runs at {values[0]} speed"
            case "late":
                if "no" in values:
                    return f"no train is too late to stop at {what.name}"
                return f"a train may be too late to stop at {what.name}"
            case "put back":
                if "no" in values:
                    return f"{what.name} was not put back a moment ago"
                return f"{what.name} was clear less long ago than trains need to stop"
            case "lost":
                seen = "is seen" if "no" in values else "goes unseen"
                return f"what stands on {what.name} {seen}"
            case "clock":
                return f"the clock of {what.name} stands at {_counts(what, values)}"
            case _:
                return _is(what, values)

    def train_from(self, piece: str, ends: tuple[str, ...]) -> str:
        """``a train stands on T1 that came in from Single``."""
        return f"a train stands on {self.track(piece)} that came in {self._by(piece, ends)}"

    def _by(self, piece: str, ends: tuple[str, ...]) -> str:
        """Where a train came from that came in by one of these ends."""
        beyond = {end: self._beyond(Port(piece, end)) for end in
                  self._plan.track.pieces[piece].ends}  # fmt: skip
        if len(set(beyond.values())) == len(beyond):
            return "from " + " or ".join(beyond[end] for end in ends)
        words = " or ".join(end.replace("-", " ") for end in ends)
        if self._plan.track.pieces[piece].kind == "plain":
            return f"from the {words}"
        return f"by its {words} end" if words != "points" else "by its points"

    def _across(self, name: str, *, spanned: bool) -> str:
        joint = self._joints[name]
        one, other = (self._plan.track.pieces[port.piece] for port in (joint.a, joint.b))
        train = "a train" if spanned else "no train"
        if "edge" in (one.kind, other.kind):
            edge = one if one.kind == "edge" else other
            return f"{train} stands across the edge {edge.name}"
        return f"{train} stands across the joint of {one.title} and {other.title}"


def _is(what: Observable, values: tuple[str, ...]) -> str:
    """``T1 lies normal``; ``T1 does not lie open`` rather than all other states."""
    left_out = [value for value in what.values if value not in values]
    if len(left_out) == 1 and len(what.values) > 2:
        form = _NOT.get(what.kind, _BE.get(what.kind, "{} is") + " not")
        return f"{form.format(what.name)} {left_out[0]}"
    form = _BE.get(what.kind, "{} is")
    return f"{form.format(what.name)} {' or '.join(values)}"


def _counts(what: Observable, values: tuple[str, ...]) -> str:
    if len(values) > 1 and values == what.values[-len(values) :]:
        return f"{values[0]} or more"
    if len(values) > 1 and values == what.values[: len(values)]:
        return f"{values[-1]} or less"
    return " or ".join(values)
