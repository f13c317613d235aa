"""What goes wrong with trains in one step, as expressions: they meet, and they derail.

In: how trains move, and what moves beneath them. Out: expressions over states and choices.
"""

from collections.abc import Callable, Iterable
from itertools import combinations

from verifier.logic.expr import Expr, atom, conjunction, disjunction, negation
from verifier.plan.devices import Device
from verifier.plan.model import Joint
from verifier.world.trains import TrainDynamics


class Mishaps:
    """Collisions and derailments of one running plan. ``moves``: when a device moves."""

    def __init__(
        self, trains: TrainDynamics, devices: Iterable[Device], moves: Callable[[str], Expr]
    ):
        self._trains = trains
        self._devices = tuple(devices)
        self._moves = moves

    def meets(self, piece: str) -> Expr:
        """A train would come onto the piece where another stands, or two at once."""
        fronts = list(self._trains.fronts((piece,)))
        stands = self._trains.occupied(piece)
        vacant = negation(stands)
        return disjunction(
            *(conjunction(f.when, stands, negation(f.slow)) for f in fronts),
            *(
                conjunction(f.when, g.when, vacant, negation(conjunction(f.slow, g.slow)))
                for f, g in combinations(fronts, 2)
            ),
        )

    def derails(self, device: Device) -> Expr:
        """A train would come onto points, a derail or a gate that lies against it, or it moves
        beneath one, be it one that comes onto it in the same instant."""
        match device.kind:
            case "gate":
                wrong = [self._runs_onto_open(device, piece) for piece in device.pieces]
            case "derail":
                wrong = [self._runs_over_set(device, joint) for joint in device.joints]
            case _:
                wrong = [self.runs_wrong(device.name)]
        return disjunction(self._moved_beneath(device), *wrong)

    def runs_wrong(self, piece: str) -> Expr:
        """A train would come onto a piece, and no way on over it lies for the train."""
        fronts = self._trains.fronts((piece,))
        return disjunction(
            *(conjunction(f.when, negation(self._trains.has_way_on(f))) for f in fronts)
        )

    def hurt(self, piece: str) -> Expr:
        """The train on a piece meets another or derails, there or as its front comes onto the next.
        (Of a train on several pieces only that one stays where it is: more may happen than can.)"""
        ways = [self.meets(piece), self.runs_wrong(piece)]
        for device in self._devices:
            beside = [j for j in device.joints if piece in (j.a.piece, j.b.piece)]
            if beside or piece in device.pieces:
                ways.append(self._moved_beneath(device))
            if device.kind == "derail":
                ways += [self._runs_over_set(device, joint) for joint in beside]
        ways.append(conjunction(self._comes_onto(piece), self._lies_open(piece)))
        for front in self._trains.fronts(self._trains.pieces):
            if front.frm.piece == piece:
                onto, no_way = front.to.piece, negation(self._trains.has_way_on(front))
                wrong = disjunction(self.meets(onto), no_way, self._lies_open(onto))
                ways.append(conjunction(front.when, wrong))
        return disjunction(*ways)

    def _moved_beneath(self, device: Device) -> Expr:
        on = [self._trains.occupied(piece) for piece in device.pieces]
        on += [negation(self._trains.is_free(joint)) for joint in device.joints]
        on += map(self._comes_onto, device.pieces)
        on += [when for joint in device.joints for when in self._trains.over(joint)]
        return conjunction(disjunction(*on), self._moves(device.name))

    def _comes_onto(self, piece: str) -> Expr:
        return disjunction(*(front.when for front in self._trains.fronts((piece,))))

    def _lies_open(self, piece: str) -> Expr:
        """A gate on the piece lies open."""
        gates = (d for d in self._devices if d.kind == "gate" and piece in d.pieces)
        return disjunction(*(atom(gate.lies, "open") for gate in gates))

    def _runs_onto_open(self, gate: Device, piece: str) -> Expr:
        return conjunction(self._comes_onto(piece), atom(gate.lies, "open"))

    def _runs_over_set(self, derail: Device, joint: Joint) -> Expr:
        set_against = negation(self._trains.lets_over(derail.name))
        return conjunction(disjunction(*self._trains.over(joint)), set_against)
