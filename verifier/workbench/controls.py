"""The things that the user can set, by the element of the drawing that they belong to.

In: a plan and the things that have a state. Out: for each element of the drawing the things that
belong to it (to points: their lever, motor and faults), and the label of each.
"""

from collections.abc import Iterable

from verifier.drawing.trackside import gap_name
from verifier.explain.state_text import fact_words
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.wiring.faults import FaultKind, fault_name
from verifier.workbench.situation_play import controls

_LABELS = {
    "stock": "stock on {}",
    "standing": "stock on {}",
    "points": "{}",
    "thrown": "command of {}",
    "motion": "motor of {}",
    "current": "current at {}",
    "share": "current on {}",
    "heading": "train on {}",
    "fault": "{}",
}
# The direction of a train that entered by an end of plain track.
_BOUND = {"left": "bound right", "right": "bound left"}


def label(what: Observable) -> str:
    return _LABELS.get(what.kind, what.kind + " {}").format(what.name)


def state_words(plan: Plan, what: Observable, state: str) -> str:
    """The state of a thing in words."""
    if what.kind == "heading":
        bound = _BOUND.get(state, f"that came in by its {state} end")
        return f"train {bound} on {plan.track.pieces[what.name].title}"
    return fact_words(plan, what, state)


def group_of(plan: Plan, what: Observable) -> str:
    """The group in which the page lists a thing; for a fault, the property that covers it."""
    if what.kind == "fault":
        return plan.equipment.fault_of(what).kind.property_name
    return what.kind


def drawn_things(plan: Plan, things: Iterable[Observable]) -> dict[str, list[str]]:
    """For each element of the drawing (``points T1``), the keys of the things that belong to it,
    first the one that a click changes."""
    things = list(things)
    keys = {f"{what.kind} {what.name}" for what in things}
    faults = [plan.equipment.fault_of(what) for what in things if what.kind == "fault"]
    found: dict[str, list[str]] = {}

    def add(drawn: str, own: Iterable[str], names: Iterable[str]) -> None:
        about = set(names)
        broken = [f"fault {f.name}" for f in faults if about.intersection(f.subjects)]
        found[drawn] = [*(key for key in dict.fromkeys(own) if key in keys), *broken]

    for block in plan.blocks:
        wiring = plan.wiring
        pieces = [n for n, piece in plan.track.pieces.items() if piece.block == block]
        add(
            f"block {block}",
            [f"stock {block}", f"standing {block}", *(f"heading {piece}" for piece in pieces)],
            [
                *(feeder.name for feeder in wiring.feeders_of(block)),
                *(d.name for d in wiring.detectors_of(block)),
            ],
        )
    for piece in plan.track.pieces.values():
        if piece.kind in ("turnout", "slip"):
            own = [f"{kind} {name}" for kind, name in controls(plan, piece.name)]
            add(f"points {piece.name}", [*own, f"motion {piece.name}"], [piece.name])
    for kind, named in (("derail", plan.derails), ("gate", plan.gates)):
        for name in named:
            add(f"{kind} {name}", [f"{kind} {name}"], [name])
    for signal in plan.signals.values():
        drivers = (plan.wiring.driver_of(head.name) for head in signal.heads)
        names = [head.name for head in signal.heads]
        add(f"signal {signal.name}", [], [*names, *(d.name for d in drivers if d)])
    for name in plan.wiring.feeders:
        add(f"feeder {name}", [], [name])
    for name in plan.wiring.detectors:
        add(f"detector {name}", [], [name])
    for joint in plan.track.joints:
        for beside in (*plan.equipment.gaps, *plan.equipment.joined):
            if beside.span == joint.span:
                name = fault_name(FaultKind.GAP, beside.name)
                ways = (f"fault {name}", f"current {beside.name}")
                found[f"gap {gap_name(joint)}"] = [key for key in ways if key in keys]
    return found
