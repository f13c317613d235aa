"""What moves: turnouts, slips, derails and gates, each with two positions in which it rests.

In: a plan. Out: a :class:`Device` for each, and where signals lead trains over a derail.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from verifier.language.source import Span
from verifier.plan import observables
from verifier.plan.model import Joint, Pipe, Plan, Port
from verifier.plan.observables import Observable

DeviceKind = Literal["turnout", "slip", "derail", "gate"]

_LIES = {"derail": observables.derail, "gate": observables.gate}
_REPORTS = {"derail": observables.derail_report, "gate": observables.gate_report}


@dataclass(frozen=True, slots=True)
class Device:
    """One thing that moves. A train is on it that stands on one of ``pieces`` or across one of
    ``joints``. ``pipe``: it has no state of its own, but moves with a turnout or slip."""

    name: str
    kind: DeviceKind
    block: str
    pieces: tuple[str, ...]
    joints: tuple[Joint, ...]
    span: Span
    pipe: Pipe | None = None
    # Of a derail: the trackwork that it protects.
    guards: str | None = None

    @property
    def lies(self) -> Observable:
        """How it truly lies."""
        return _LIES.get(self.kind, observables.points)(self.name)

    @property
    def told(self) -> Observable:
        """The position it was last thrown to."""
        return observables.thrown(self.name, self.positions)

    @property
    def report(self) -> Observable:
        """How it is reported to lie."""
        return _REPORTS.get(self.kind, observables.points_report)(self.name)

    @property
    def positions(self) -> tuple[str, str]:
        """The positions in which it rests, the normal one first."""
        normal, reverse, *_ = self.lies.values
        return normal, reverse

    @property
    def closed(self) -> tuple[str, ...]:
        """The positions in which it does not lie open. (A gate that is thrown open lies open.)"""
        return tuple(p for p in self.positions if p != "open")

    def other(self, position: str) -> str:
        """The other position."""
        normal, reverse = self.positions
        return reverse if position == normal else normal

    @property
    def title(self) -> str:
        """``turnout T1``."""
        return f"{self.kind} {self.name}"

    @property
    def has_points(self) -> bool:
        """Whether it is a turnout or a slip."""
        return self.kind in ("turnout", "slip")

    @property
    def control(self) -> str:
        """What it is called where what throws it is listed: ``points T1``, ``gate G1``."""
        return f"points {self.name}" if self.has_points else self.title

    @property
    def moves(self) -> str:
        """That it moves: ``the points of T1 move``, ``gate G1 moves``."""
        return f"the points of {self.name} move" if self.has_points else f"{self.title} moves"

    @property
    def it(self) -> str:
        """What stands for it in a sentence: ``it``, and of points ``them``."""
        return "them" if self.has_points else "it"


def devices(plan: Plan) -> dict[str, Device]:
    """Everything that moves on a plan, by name."""
    return {device.name: device for device in _all(plan)}


def _all(plan: Plan) -> Iterator[Device]:
    pieces = plan.track.pieces
    for p in pieces.values():
        if p.kind == "turnout" or p.kind == "slip":
            yield Device(p.name, p.kind, p.block or p.name, (p.name,), (), p.span)
    for d in plan.derails.values():
        joint = plan.track.joint_at[d.port]
        yield Device(d.name, "derail", d.block, (), (joint,), d.span, d.pipe, d.guards)
    for g in plan.gates.values():
        spans = tuple(p.name for p in pieces.values() if p.block == g.block)
        yield Device(g.name, "gate", g.block, spans, (), g.span)


def signaled_entries(plan: Plan) -> frozenset[Port]:
    """The ends by which trains enter pieces, and ends of the plan, on routes of signals. A train
    that runs over a derail on its way to any other end has no signal to go by: it stops short of
    a derail that is set against it."""
    found = set()
    for route in plan.routes:
        found |= {Port(move.piece, move.enter) for move in route.moves}
        last = Port(route.moves[-1].piece, route.moves[-1].leave)
        found.add(plan.track.joint_at[last].other(last))
    return frozenset(found)


def derails_at(plan: Plan) -> Mapping[Joint, tuple[str, ...]]:
    """The derails that stand at each joint."""
    found: dict[Joint, tuple[str, ...]] = {}
    for d in plan.derails.values():
        joint = plan.track.joint_at[d.port]
        found[joint] = (*found.get(joint, ()), d.name)
    return found
