"""Live frogs: their polarity, the gaps that they need, and the rails that are dead beyond them.

``clearproof explain NAME`` prints the docstring of each property. A frog of which the file says
nothing, or that is `dead`, is taken to be insulated, with all rails around it live.
"""

from collections.abc import Iterator

from verifier.language.listing import listing
from verifier.logic.expr import Expr, atom, conjunction, constant, disjunction, negation
from verifier.plan import observables
from verifier.plan.model import Plan, Port
from verifier.plan.observables import Observable
from verifier.plan.wiring.dead_rails import dead_at_most
from verifier.plan.wiring.wiring_model import Frog, Machine, Number
from verifier.properties.amounts import length
from verifier.properties.obligation import Obligation

_LEGS = ("normal", "reverse")


def frog_shorts(plan: Plan) -> Iterator[Obligation]:
    """A live frog shorts nothing, however points lie.

    A live frog takes the polarity of one rail while the points lie normal and of the other while
    they lie reverse. What sets it must follow the points themselves: a contact of another turnout
    or a lever may stand for the other leg while the points do not (they are locked, stalled or
    moved by hand), and the first wheel on the frog is a short. And the rails that lead away from
    the frog change with it: where a feeder reaches them they are shorted when the points are
    thrown. So both rails are cut (`||`) on each leg, before any feeder of another block, any
    other turnout's points, and any feeder of its own block beyond the frog (a single feeder of
    the block is taken to be joined on the side of the points). Checked for turnouts with
    `frog live`: the frog, and each leg.
    """
    for machine in plan.wiring.machines.values():
        frog = machine.live_frog
        if frog is None:
            continue
        yield Obligation(
            "frog-shorts",
            (machine.turnout,),
            disjunction(*(_set_wrong(machine, frog, leg, plan) for leg in _LEGS)),
            f"the frog of {machine.turnout} has the polarity of the other leg, as it is set by "
            f"{_set_by(machine, frog)}: the first wheels on it are a short",
            (frog.span,),
            pieces=(machine.turnout,),
            place=machine.turnout,
            hint=f"Let contacts that the points of {machine.turnout} move set it (`frog live by "
            "contacts`), or the points themselves (`frog live by points`).",
        )
        for leg in _LEGS:
            reached = feeders_reached(machine.turnout, leg, plan)
            yield Obligation(
                "frog-shorts",
                (machine.turnout, f"{leg} leg"),
                constant(bool(reached)),
                f"the rails beyond the live frog of {machine.turnout} are not cut off on its {leg} "
                f"leg, and {listing(reached)} {'feeds' if len(reached) == 1 else 'feed'} them: a "
                "short when the points are thrown",
                (frog.span, plan.track.joint_at[Port(machine.turnout, leg)].span),
                pieces=(machine.turnout,),
                place=machine.turnout,
                hint=f"Cut both rails (`||`) on the {leg} leg of {machine.turnout} near the frog, "
                "and bring feeders of their own to the rails beyond.",
            )


def _set_wrong(machine: Machine, frog: Frog, leg: str, plan: Plan) -> Expr:
    """The points lie for a leg, and what sets the frog does not stand for it."""
    sets = _setting(frog, plan)
    if sets == machine.lies:
        return constant(False)
    return conjunction(atom(machine.lies, leg), negation(atom(sets, leg)))


def _setting(frog: Frog, plan: Plan) -> Observable:
    if frog.by != "lever":
        return observables.points(frog.of)
    return next(w for w in plan.inputs if w.kind == "lever" and w.name == frog.of)


def _set_by(machine: Machine, frog: Frog) -> str:
    if frog.by == "lever":
        return f"lever {frog.of}"
    return "its points" if frog.of == machine.turnout else f"contacts of {frog.of}"


def feeders_reached(turnout: str, leg: str, plan: Plan) -> list[str]:
    """The feeders that the rails beyond a leg of a turnout may lead to, over joints that leave a
    rail whole."""
    track, wiring = plan.track, plan.wiring
    own = track.pieces[turnout].block
    found: dict[str, None] = {}
    waiting, seen = [Port(turnout, leg)], set[str]()
    while waiting:
        port = waiting.pop()
        joint = track.joint_at[port]
        beyond = joint.other(port)
        piece = track.pieces[beyond.piece]
        if joint.kind == "||" or piece.name in seen or piece.name == turnout:
            continue
        seen.add(piece.name)
        feeders = [f.name for f in wiring.feeders_of(piece.block or "")]
        if piece.block != own or len(feeders) > 1:
            found |= dict.fromkeys(feeders)
        waiting += [Port(piece.name, end) for end in piece.ends if piece.block]
    return [name for name in wiring.feeders if name in found]


def rail_dead(plan: Plan) -> Iterator[Obligation]:
    """No train stands unseen on rails that a live frog leaves dead.

    Beyond a live frog both rails of the leg that the points do not lie for have the same polarity:
    stock there draws no current, and no current-sensing detector sees it, though it may foul the
    other leg. So these rails, up to the gap, are shorter than the shortest train, which then
    reaches over the gap or back to the points. (What reaches over the gap is seen beyond it, and
    not on this block: everything else is proved with that.) Checked for each leg of a turnout with
    `frog live` in a block that current-sensing detectors alone watch: `gap normal 200 mm` gives how
    far the gap is from the points; where more track of the block follows beyond the frog, the
    length of the block counts.
    """
    trains, wiring = plan.wiring.trains, plan.wiring
    for machine in wiring.machines.values():
        frog = machine.live_frog
        if frog is None:
            continue
        block = plan.track.pieces[machine.turnout].block or ""
        if {detector.kind for detector in wiring.detectors_of(block)} != {"current-sensing"}:
            continue
        shortest = trains.shortest if trains is not None else Number(0)
        unit = wiring.units.track
        for leg in _LEGS:
            most = dead_at_most(machine, leg, block, plan.track, wiring)
            how = f"up to {length(most, unit, 'more')} of" if most is not None else "the"
            yield Obligation(
                "rail-dead",
                (machine.turnout, f"{leg} leg"),
                constant(most is None or most >= shortest),
                f"while {machine.turnout} does not lie {leg}, {how} rails on its {leg} leg beyond "
                f"the live frog are dead, and a train that stands there is not seen on {block}",
                (frog.span, *(d.span for d in wiring.detectors_of(block))),
                pieces=(machine.turnout,),
                place=machine.turnout,
                hint=f"Cut both rails (`||`) on the {leg} leg nearer to the frog than the shortest "
                f"train is long, say where (`gap {leg} 100 mm`), and feed the rails beyond as a "
                "block of their own. Or write `frog dead` for an insulated frog with live rails "
                "all around.",
            )
