"""How many trains there are at a step of the transition system.

Each is counted where its rear is. A train comes onto vacant track over one joint, and leaves track
with that joint, so that in histories each has one rear. Where only a part of the track is looked
at, what lies beyond may have none: that errs to the side of more trains.

Twin of ``number`` of :mod:`verifier.reference.train_step`, which counts with no expressions.
"""

from collections.abc import Iterator

from verifier.logic.expr import TRUE, Expr, conjunction, disjunction, negation
from verifier.plan.model import Port
from verifier.world.rules import at_most
from verifier.world.trains import TrainDynamics


def number_at_most(most: int, trains: TrainDynamics) -> Expr:
    """No more than ``most`` trains are on the plan or come in to it at this step. One that leaves
    at this step is still there."""
    every = (*_rears(trains), *_entries(trains))
    return at_most(most, [(each, [(TRUE, 1)]) for each in every])


def entries_at_most(most: int, trains: TrainDynamics) -> Expr:
    """The same, asked only where a train comes in: nothing else makes them more."""
    coming = disjunction(*_entries(trains))
    return disjunction(negation(coming), number_at_most(most, trains))


def _rears(trains: TrainDynamics) -> Iterator[Expr]:
    """For each piece, that a train is on it, and on none behind it."""
    for name, piece in trains.pieces.items():
        behind = []
        for end in piece.ends:
            joint = trains.plan.track.joint_at[Port(name, end)]
            if joint.other(Port(name, end)).piece in trains.pieces:
                spanned = negation(trains.is_free(joint))
                behind.append(conjunction(trains.heading(name, end), spanned))
        yield conjunction(trains.occupied(name), negation(disjunction(*behind)))


def _entries(trains: TrainDynamics) -> Iterator[Expr]:
    """For each edge, that a train comes in over it, be it onto track that is taken."""
    for front in trains.fronts(trains.pieces):
        if trains.plan.track.pieces[front.frm.piece].kind == "edge":
            yield front.when
