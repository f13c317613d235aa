"""States of situations and histories in words, with the track where they are.

In: a plan, an observable and some of its states. Out: the clause that it is in one of them
(*relay 4L-route is up*), or the fact as a person could type it (*lever 4 left*). Different states
have different clauses, so that a sentence made of clauses can be read back.
"""

from collections import Counter
from collections.abc import Mapping

from verifier.explain.stock_text import place_of, stock_words
from verifier.plan.model import Joint, Plan, Port
from verifier.plan.observables import AS_BEFORE, DIVIDED, Observable
from verifier.plan.state_words import one_of, states_clause, typed_fact
from verifier.plan.wiring.derive_equipment import by_way_of

_MOTIONS = {"settled": "at rest", "moving": "still moving", AS_BEFORE: "not moved yet"}


def fact_words(plan: Plan, what: Observable, state: str) -> str:
    """One fact of a situation: ``T1 lies reverse``, ``stock on Main``, ``feeder m1 broken``."""
    match what.kind:
        case "stock":
            return f"stock on {what.name}" if state == "occupied" else f"{what.name} vacant"
        case "standing":
            place = place_of(plan, what, state)
            return stock_words(plan, what.name, place) if place else f"{what.name} vacant"
        case "motion":
            return f"{what.name} {_MOTIONS[state]}"
        case "current":
            return f"no gap at {what.name}: {flow_words(plan, state)}"
        case "share":
            return f"current on {what.name} {'divides' if state == DIVIDED else 'stays whole'}"
        case _:
            return typed_fact(what, state)


def flow_words(plan: Plan, state: str) -> str:
    """How current flows over a joint without a gap, where it matters: by way of which block."""
    by_way = (block for block in plan.blocks if state == by_way_of(block))
    return next((f"all current by way of {block}" for block in by_way), state)


class StateWords:
    """Clauses about the states of a history."""

    def __init__(self, plan: Plan):
        self._plan = plan
        self._joints = {j.name: j for j in plan.track.joints}
        titles = {name: piece.title for name, piece in plan.track.pieces.items()}
        plain = {n: self._between(n) for n, p in plan.track.pieces.items() if p.kind == "plain"}
        self._tracks = _told_apart(
            _told_apart(titles, plain), {n: f"{t} ({n})" for n, t in titles.items()}
        )
        self._began = _windows(plan)
        self._since = {
            f"{name} / {window}": (name, began)
            for name in plan.locking.memory
            for window, began in self._began.items()
        }
        self._joint_words = _told_apart(
            {name: self._joint(joint) for name, joint in self._joints.items()},
            {name: f"the joint of {name}" for name in self._joints},
        )

    def track(self, piece: str) -> str:
        """A piece of track; of several in one block, where it lies."""
        return self._tracks[piece]

    def _between(self, piece: str) -> str:
        found = self._plan.track.pieces[piece]
        beside = [self._beyond(Port(piece, end)) for end in found.ends]
        return f"{found.title} between {beside[0]} and {beside[1]}"

    def _joint(self, joint: Joint) -> str:
        one, other = (self._plan.track.pieces[port.piece] for port in (joint.a, joint.b))
        for edge in (one, other):
            if edge.kind == "edge":
                return f"the edge {edge.name}"
        return f"the joint of {one.title} and {other.title}"

    def _beyond(self, port: Port) -> str:
        return self._plan.track.pieces[self._plan.track.joint_at[port].other(port).piece].title

    def clause(self, what: Observable, values: tuple[str, ...]) -> str:
        """That ``what`` is in one of ``values``: ``T1 lies normal``, ``a train stands on T1``."""
        on = values == ("yes",)
        match what.kind:
            case "train":
                track = self.track(what.name)
                occupied = values == ("occupied",)
                return f"a train stands on {track}" if occupied else f"{track} is vacant"
            case "heading":
                return self.came_in("the", what.name, values)
            case "across":
                train = "a train" if values == ("spanned",) else "no train"
                return f"{train} stands across {self._joint_words[what.name]}"
            case "pace":
                return f"the train on {self.track(what.name)} runs at {values[0]} speed"
            case "late":
                some = f"a train may be too late to stop at {what.name}"
                return some if on else f"no train is too late to stop at {what.name}"
            case "put back":
                some = f"{what.name} was clear less long ago than trains need to stop"
                return some if on else f"{what.name} was not put back a moment ago"
            case "held":
                is_held = "is still" if on else "is not"
                return f"{what.name} {is_held} reported occupied by a train that has left"
            case "lost":
                return f"a train on {what.name} is {'not ' if on else ''}detected"
            case "clock":
                waits = values == ("running",)
                return f"{what.name} {'waits' if waits else 'does not wait'} for its time to pass"
            case "ripe":
                return f"{what.name} {'could' if on else 'could not'} have been over before"
            case "since":
                delay, began = self._since[what.name]
                if values == tuple(v for v in what.values[1:] if v.isdigit()):
                    return f"{delay} began to wait after {began}"
                return f"{delay} began to wait after {began}, compared as {one_of(values)}"
            case "credit":
                return f"the time since {self._began[what.name]} counts as {one_of(values)}"
            case _:
                return states_clause(what, values)

    def came_in(self, article: str, piece: str, ends: tuple[str, ...]) -> str:
        """``the train on T1 came in from Single``; or ``any`` train."""
        return f"{article} train on {self.track(piece)} came in {self._by(piece, ends)}"

    def train_from(self, piece: str, ends: tuple[str, ...]) -> str:
        """``a train stands on T1 that came in from Single``."""
        return f"a train stands on {self.track(piece)} that came in {self._by(piece, ends)}"

    def _by(self, piece: str, ends: tuple[str, ...]) -> str:
        """Where a train came from that came in by one of these ends."""
        found = self._plan.track.pieces[piece]
        beyond = {end: self._beyond(Port(piece, end)) for end in found.ends}
        if len(set(beyond.values())) == len(beyond):
            return f"from {one_of([beyond[end] for end in ends])}"
        if found.kind == "plain":
            return f"from the {one_of(ends)}"
        return "by its points" if ends == ("points",) else f"by its {one_of(ends)} end"


def _told_apart(names: Mapping[str, str], further: Mapping[str, str]) -> dict[str, str]:
    """Each thing by its name; by its further one, where it has one and others have that name."""
    counts = Counter(names.values())
    return {n: further.get(n, name) if counts[name] > 1 else name for n, name in names.items()}


def _windows(plan: Plan) -> dict[str, str]:
    """When each window of a history began, by kind and name."""
    began = {f"late {s}": f"{s} was last clear for a train" for s in plan.signals}
    began |= {f"put back {s}": f"{s} was last clear" for s in plan.signals}
    began |= {f"clock {name}": f"{name} began to wait" for name in plan.locking.memory}
    return began | {f"lost {b}": f"the train on {b} was last detected" for b in plan.blocks}
