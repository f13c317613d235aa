"""Equipment in place of a promise not to turn back: a fixed signal at stop.

In: a plan and a promise about blocks, such as not to reverse there. Out: the same plan with a
signal that always shows stop wherever a train that turned back there would leave the block with no
signal to go by, and how a file says it. Nothing here is proved: whoever offers one has it proved.
"""

from collections.abc import Iterator
from dataclasses import replace
from itertools import count, groupby

from verifier.plan import observables
from verifier.plan.locking.locking_model import Promise
from verifier.plan.model import Head, Line, Plan, Port, Signal
from verifier.plan.names import Names
from verifier.plan.observables import Observable
from verifier.plan.track.conflicts import find_conflicts
from verifier.plan.track.limits import find_limits
from verifier.plan.track.routes import find_routes
from verifier.reference.positions import Positions
from verifier.repair.equipment_edit import Equipment


def boards(plan: Plan, promise: Promise) -> Iterator[Equipment]:
    """Signals at stop for trains that turned back on the blocks of a promise; nothing where each
    has a signal to go by, or where none can stand."""
    aspect = _stop(plan)
    exits = list(_exits(plan, promise.about))
    placed = [_place(leaving, plan) for leaving in exits]
    if aspect is None or not exits or not all(placed):
        return
    taken = {what.name for what in plan.inputs} | set(plan.signals)
    free = (name for n in count(1) if (name := f"Board-{n}") not in taken)
    signals, said = dict(plan.signals), []
    for leaving, place, name in zip(exits, placed, free, strict=False):
        signals[name] = _board(name, leaving, aspect, plan)
        said.append(f"`signal {name} at {place} {aspect} otherwise`")
    changed = _with_signals(plan, signals)
    if changed is not None:
        one = "a board that always shows stop"
        what = one if len(said) == 1 else "boards that always show stop"
        yield Equipment(f"{what}: {'; '.join(said)}", changed)


def _stop(plan: Plan) -> str | None:
    """The aspect that one head shows at stop; None where the chart has none."""
    for aspect in plan.chart.aspects:
        if not aspect.permits and plan.chart.colors(aspect.name, 1) is not None:
            return aspect.name
    return None


def _exits(plan: Plan, blocks: tuple[str, ...]) -> Iterator[Port]:
    """The ends by which trains that turned back leave plain track of some blocks, where no signal
    faces them, and the plan goes on."""
    positions = Positions(plan)
    guarded = {signal.enters for signal in plan.signals.values()}
    for name, piece in plan.track.pieces.items():
        if piece.kind != "plain" or piece.block not in blocks:
            continue
        for end in piece.ends:
            leaving = Port(name, next(other for other in piece.ends if other != end))
            into = plan.track.joint_at[leaving].other(leaving)
            if (
                positions.turning[Port(name, end)]
                and into not in guarded
                and plan.track.pieces[into.piece].kind not in ("edge", "bumper")
            ):
                yield leaving


def _place(leaving: Port, plan: Plan) -> str | None:
    """Where a signal stands, as a file writes it; None where it would have to say more."""
    joint = plan.track.joint_at[leaving]
    into = joint.other(leaving)
    onto = plan.track.pieces[into.piece]
    if joint.kind == "=" or onto.kind in ("crossing", "slip"):
        return None
    leg = f"{into.end} " if into.end in ("normal", "reverse") else ""
    gap = f"{joint.kind}({joint.gap})" if joint.gap else joint.kind
    return f"{plan.track.pieces[leaving.piece].title} {gap} {leg}{onto.title}"


def _board(name: str, leaving: Port, aspect: str, plan: Plan) -> Signal:
    joint = plan.track.joint_at[leaving]
    colors = plan.chart.colors(aspect, 1)
    assert colors is not None, "chosen so"
    color = Observable("color", name, colors, colors[0])
    head = Head(name, (), color, joint.span)
    values: tuple[str, ...] = (aspect,)
    if plan.wiring.drivers:
        values = (*(a.name for a in plan.chart.aspects), observables.UNLISTED)
    shown = Observable("aspect", name, values, values[-1])
    line = Line(0, aspect, None, joint.span)
    return Signal(name, joint, joint.other(leaving), (head,), (line,), shown, joint.span)


def _with_signals(plan: Plan, signals: dict[str, Signal]) -> Plan | None:
    """The plan with other signals, and the routes that they make; None where these are wrong."""
    names = Names()
    posts = {name: (signal.enters, signal.span) for name, signal in signals.items()}
    routes = find_routes(posts, plan.track, names)
    if names.errors:
        return None
    given = {limits.name: limits.span for limits in plan.limits}
    declared = [(n, bounds, given[n]) for n, bounds in plan.declared_limits.items() if n in given]
    return replace(
        plan,
        signals=signals,
        routes=routes,
        conflicts=find_conflicts(routes, plan.track.pieces),
        limits=find_limits(declared, posts, plan.track, plan.derails.values()),
        _routes_by_signal={s: tuple(those) for s, those in groupby(routes, lambda r: r.signal)},
    )
