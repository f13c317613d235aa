"""The gap list: every gap to cut in the rails, and those that are asked for and not there.

In: a plan. Out: a sheet. Gaps are those of the `track` lines; positions are given where the
file gives the lengths. Cutting is done before wiring, from above, so the order is that of the
file.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from verifier.engines.results import Exists, Impossible
from verifier.engines.smt.situations import SituationCheck
from verifier.language.listing import listing
from verifier.plan.model import Joint, Piece, Plan, Port
from verifier.plan.track.build_track import port_words
from verifier.plan.track.gaps import gaps_of
from verifier.properties.amounts import length
from verifier.properties.distances import fouling_undetected, gap_beyond_signal
from verifier.properties.frogs import frog_shorts
from verifier.properties.obligation import Obligation
from verifier.properties.wiring import blocks_joined, supplies_beside, supplies_joined
from verifier.sheets.options import USUAL_OPTIONS, SheetOptions
from verifier.sheets.reversing_loops import (
    ReversingLoop,
    reversing_section_joints,
    round_trip,
    uncut_loops,
)
from verifier.sheets.sheet import PictureOf, Sheet, Table
from verifier.world.world import World

NOT_GIVEN = "not given"
TICK = "[ ]"
_RAILS = {"|": "one rail", "||": "both rails"}

_CAUTIONS = (
    "Caution: switch off all power and unplug it before you cut. Cutting disks break and throw "
    "splinters: wear eye protection, clamp the track or hold it down on both sides of the cut, and "
    "follow the maker's instructions for the tool.",
)
_NOTES = (
    "One rail: cut the same rail everywhere, the one whose feeders pass through the detectors "
    "(the cut rail of the wiring list). Fill each gap, so that it cannot close when it is warm.",
    "Before you wire on: hold a meter across each gap. Cut in one rail, the two ends of that rail "
    "must not be connected; cut in both, none of the four.",
)


@dataclass(frozen=True, slots=True)
class WantedGap:
    """A gap that is asked for and not in the file, or one that lies elsewhere: where, which
    property or rule asks, and what to do."""

    where: str
    by: str
    text: str


def gap_sheet(plan: Plan, _: SheetOptions = USUAL_OPTIONS) -> Sheet:
    """Every gap to cut, where and why; and the gaps that are asked for and not there."""
    title = f"Gap list: {plan.title}"
    gaps = gaps_of(plan.track)
    turned = frozenset(reversing_section_joints(plan.track))
    rows = tuple(
        (TICK, gap.name, _RAILS[gap.joint.kind], _between(gap.joint, plan), _where(gap.joint, plan),
         _position(gap.joint, plan), "; ".join(_reasons(gap.joint, plan, turned)))
        for gap in gaps
    )  # fmt: skip
    rails = sum(1 if gap.joint.kind == "|" else 2 for gap in gaps)
    columns = ("done", "gap", "cut", "between", "where", "position", "why")
    tables = [Table("Gaps to cut", columns, rows, (f"Cuts in all: {rails}.",))]
    missing = tuple(wanted_gaps(plan))
    if missing:
        tables.append(
            Table(
                "Gaps that are required and missing",
                ("where", "required by", "what to do"),
                tuple((wanted.where, wanted.by, wanted.text) for wanted in missing),
            )
        )
    notes = _NOTES if gaps else ("No gaps are drawn.",)
    return Sheet(
        "gaps", title, tuple(t for t in tables if t.rows), notes, _CAUTIONS,
        PictureOf(frozenset({"gaps"})),
    )  # fmt: skip


# ------------------------------------------------------------------ where


def _sides(joint: Joint, plan: Plan) -> tuple[Piece, Piece]:
    pieces = plan.track.pieces
    return pieces[joint.a.piece], pieces[joint.b.piece]


def _between(joint: Joint, plan: Plan) -> str:
    return " and ".join(piece.block or piece.title for piece in _sides(joint, plan))


def _where(joint: Joint, plan: Plan) -> str:
    """At special trackwork, by that; elsewhere by both ends that meet."""
    pieces = plan.track.pieces
    ends = (joint.a, joint.b)
    special = [p for p in ends if pieces[p.piece].kind in ("turnout", "crossing", "slip")]
    return ", ".join(port_words(port, pieces) for port in special or ends)


def _position(joint: Joint, plan: Plan) -> str:
    # From points, if there are any: they are nearer than the other end of a block.
    ends = sorted((joint.a, joint.b), key=lambda port: port.piece not in plan.wiring.machines)
    return next((said for port in ends if (said := _measured(port, plan))), NOT_GIVEN)


def _measured(port: Port, plan: Plan) -> str:
    """How far a gap at this end is from something that can be found, where the file says so."""
    machine, unit = plan.wiring.machines.get(port.piece), plan.wiring.units.track
    if machine is not None and port.end in machine.gaps:
        return f"{length(machine.gaps[port.end], unit)} from the points of {port.piece}"
    piece = plan.track.pieces[port.piece]
    across = plan.wiring.lengths.get(piece.block or "")
    alone = sum(1 for p in plan.track.pieces.values() if p.block == piece.block) == 1
    if piece.kind == "plain" and alone and across is not None:
        other = "left" if port.end == "right" else "right"
        return f"{length(across, unit)} from the {other} end of {piece.block}"
    return ""


# ------------------------------------------------------------------ why


def _reasons(joint: Joint, plan: Plan, turned: frozenset[Joint]) -> Iterator[str]:
    one, other = (piece.block for piece in _sides(joint, plan))
    if one is None or other is None:
        yield "end of the plan"
    elif one == other:
        yield f"named gap within {one}: what is beyond it needs feeders of its own"
    else:
        dark = [name for name in (one, other) if not plan.blocks[name].detected]
        yield f"end of detection ({listing(dark)} undetected)" if dark else "block boundary"
        supplies = supplies_beside(joint, plan)
        if supplies:
            yield f"supply boundary ({' / '.join(supplies)})"
    if joint in turned:
        yield "end of a section for turning trains"
    unit = plan.wiring.units.track
    for signal in plan.signals.values():
        if signal.joint is joint:
            back = plan.wiring.set_back.get(signal.name)
            at = f"{length(back, unit)} before it" if back else "at it"
            yield f"signal {signal.name} stands {at}"
    for port in (joint.a, joint.b):
        machine = plan.wiring.machines.get(port.piece)
        if machine and machine.live_frog and port.end in ("normal", "reverse"):
            yield f"live frog of {port.piece}"
        if machine and machine.fouling is not None and port.end in ("normal", "reverse"):
            yield f"fouling point of {port.piece} at {length(machine.fouling, unit)}"


# ------------------------------------------------------------------ what is missing


def wanted_gaps(plan: Plan) -> Iterator[WantedGap]:
    """Gaps that are asked for and not in the file, or lie elsewhere in it."""
    yield from _asked_by_properties(plan)
    for turn in uncut_loops(plan.track):
        yield _turned(turn, plan)


def _asked_by_properties(plan: Plan) -> Iterator[WantedGap]:
    asked = [
        *blocks_joined(plan),
        *fouling_undetected(plan),
        *gap_beyond_signal(plan),
        *supplies_joined(plan),
        *frog_shorts(plan),
    ]
    if not asked:
        return
    world = World(plan)
    check = SituationCheck.of(world)
    for obligation in asked:
        match check.find(world.expand(obligation.formula)):
            case Impossible():
                continue
            case Exists():
                yield _wanted(obligation, obligation.property)
            case _:
                yield _wanted(obligation, f"{obligation.property} (undecided)")


def _wanted(obligation: Obligation, by: str) -> WantedGap:
    return WantedGap(obligation.place, by, f"{obligation.trouble}. {obligation.hint}")


def _turned(turn: ReversingLoop, plan: Plan) -> WantedGap:
    where = _between(turn.joint, plan)
    way = listing(round_trip(turn.joint, plan.track))
    what = "a second place on this way" if turn.cut else "two places on this way"
    why = "only this one place is cut in both rails" if turn.cut else "one rail runs into the other"
    unit = plan.wiring.units.track
    longest = plan.wiring.trains.longest if plan.wiring.trains else None
    least = f"the longest train, {length(longest, unit)}" if longest else "the longest train"
    return WantedGap(
        where,
        "rail-meets-rail",
        f"by way of {way} track comes back turned around, and {why}. Cut both rails (`||`) at "
        f"{what}, so that a section longer than {least} is cut off at both ends; feed that "
        "section through a `reverser`, a switch or a board that turns its two wires round.",
    )
