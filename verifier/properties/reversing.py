"""Reversing sections: no rail runs into the other rail, however points lie.

``clearproof explain NAME`` prints the docstring of each property.
"""

from collections.abc import Iterator

from verifier.language.listing import listing
from verifier.logic.expr import constant
from verifier.plan.model import Joint, Plan
from verifier.plan.track.turning import comes_back_turned, turning_ways
from verifier.plan.wiring.wiring_model import Supply
from verifier.properties.obligation import Obligation


def rail_meets_rail(plan: Plan) -> Iterator[Obligation]:
    """Where track comes back turned around (a balloon loop, a wye, a reversing track), a section
    fed through a reverser takes it up.

    The left rail then comes back as the right one. Without gaps the two meet, however the points
    lie: a short. With gaps and without a reverser they meet through the wheels of a train that
    crosses the gap. So on every way round that comes back turned there are gaps in both rails
    (`||`) at the ends of a section that a `reverser` feeds. (Frogs that carry current need gaps of
    their own: `frog-shorts`.) Checked in files with wiring beyond
    that of switch machines, for each place where track comes back
    turned.
    """
    ways: dict[tuple[str, ...], tuple[Joint, ...]] = {}
    for way in turning_ways(plan.track) if plan.wiring.reports_may_differ else ():
        of = _blocks(way, plan)
        ways[of] = (*ways.get(of, ()), *way)
    for blocks, joints in ways.items():
        left = [j for j in joints if not (j.kind == "||" and any(_reversers(j, plan)))]
        cut = not comes_back_turned([j for j in joints if j.kind != "||"], plan.track)
        meets = "only the wheels of a train are needed to join" if cut else "nothing keeps apart"
        pieces = dict.fromkeys(p.piece for j in joints for p in (j.a, j.b))
        yield Obligation(
            "rail-meets-rail",
            blocks,
            constant(comes_back_turned(left, plan.track)),
            f"by way of {listing(list(blocks))} track comes back turned around, and {meets} one "
            "rail and the other",
            tuple(dict.fromkeys(joint.span for joint in joints)),
            pieces=tuple(p for p in pieces if plan.track.pieces[p].block in blocks),
            place=blocks[0] if blocks else "",
            hint="Cut both rails (`||`) at two places of this way, farther apart than the longest "
            "train, and feed the section between them through a reverser: `reverser Rev-1 fed by "
            "…`, `district Turn fed by Rev-1`.",
        )


def reverser_not_isolated(plan: Plan) -> Iterator[Obligation]:
    """What a reverser feeds is cut off in both rails from all that it does not feed.

    A reverser exchanges the two rails of its section. Where only one rail is cut, or none, it
    shorts them against the track beyond; and where the section of another reverser is beyond,
    neither knows which of the two has to turn. Checked for every reverser.
    """
    for name, supply in plan.wiring.supplies.items():
        if not supply.reverses:
            continue
        edges = [joint for joint in plan.track.joints if _leaves(joint, name, plan)]
        wrong = [joint for joint in edges if joint.kind != "||"]
        others = [joint for joint in edges if len(list(_reversers(joint, plan))) > 1]
        where = listing(list(_blocks([*wrong, *others], plan)))
        why = "both rails are not cut" if wrong else "another reverser feeds the track beyond"
        yield Obligation(
            "reverser-not-isolated",
            (name,),
            constant(bool(wrong or others)),
            f"reverser {name} exchanges the two rails of its section, and at {where} {why}",
            (supply.span, *(joint.span for joint in wrong or others)),
            place=name,
            hint="Cut both rails (`||`) at every end of its section, and let track that the same "
            "supply always feeds lie beyond.",
        )


def _blocks(joints: list[Joint] | tuple[Joint, ...], plan: Plan) -> tuple[str, ...]:
    """The blocks on both sides of some joints, in the order of the file."""
    pieces = plan.track.pieces
    met = {pieces[port.piece].block for joint in joints for port in (joint.a, joint.b)}
    return tuple(block for block in plan.blocks if block in met)


def _fed_by(joint: Joint, plan: Plan) -> list[Supply | None]:
    """What feeds the track on both sides of a joint; None at an end of the plan, or where the file
    does not say."""
    blocks = (plan.track.pieces[port.piece].block for port in (joint.a, joint.b))
    return [plan.wiring.power_of(block) if block else None for block in blocks]


def _reversers(joint: Joint, plan: Plan) -> Iterator[str]:
    """The reversers beside a joint that feed one side of it and not the other."""
    one, other = (power and power.name for power in _fed_by(joint, plan))
    if one != other:
        yield from (p.name for p in _fed_by(joint, plan) if p is not None and p.reverses)


def _leaves(joint: Joint, reverser: str, plan: Plan) -> bool:
    """Whether the section of a reverser ends at a joint and track goes on beyond it."""
    plain = all(plan.track.pieces[port.piece].block for port in (joint.a, joint.b))
    return plain and reverser in _reversers(joint, plan)
