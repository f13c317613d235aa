"""Predicates that properties over time are built from: where trains are and which way they run,
what moves, what a route runs over. Also the hints for a missing lock."""

from collections.abc import Iterable, Iterator

from verifier.language.source import Span
from verifier.logic.expr import FALSE, TRUE, Expr, atom, conjunction, disjunction
from verifier.plan import observables
from verifier.plan.locking.temporal_plan import approach, comes_in_at, joint_name
from verifier.plan.model import Move, Plan, Port, Route, Signal
from verifier.plan.observables import AnyOne, Condition, Fact
from verifier.properties.obligation import Lock
from verifier.properties.phrases import takes_up_to

POWERED = ("lever", "buttons", "rule")


def switches(plan: Plan) -> Iterator[str]:
    """The names of all turnouts and slips."""
    return (n for n, p in plan.track.pieces.items() if p.kind in ("turnout", "slip"))


def points_move(name: str) -> Expr:
    """The points move in this step."""
    return atom(observables.event("points move", name), "yes")


def train_on(piece: str) -> Expr:
    """A train is on the piece of track."""
    return atom(observables.train(piece), "occupied")


def came_in_by(port: Port, plan: Plan) -> Expr:
    """A train is on the piece of the port and entered it by that port."""
    ends = plan.track.pieces[port.piece].ends
    return conjunction(train_on(port.piece), atom(observables.heading(port.piece, ends), port.end))


def runs_along(move: Move, plan: Plan) -> Expr:
    """A train on the piece runs in the direction of the move."""
    return came_in_by(Port(move.piece, move.enter), plan)


def comes_against(move: Move, plan: Plan) -> Expr:
    """A train on the piece runs against the direction of the move."""
    return came_in_by(Port(move.piece, move.leave), plan)


def may_still_pass(signal: Signal, plan: Plan) -> Expr:
    """A train on the approach, or one that enters at the edge where the signal stands, saw the
    signal clear too recently to be sure to stop, and has not begun to pass it. FALSE where the
    plan does not say how long trains need to stop."""
    if plan.locking.running.to_stop is None:
        return FALSE
    late = atom(observables.window("late", signal.name), "yes")
    comes = TRUE if comes_in_at(plan, signal.name) else disjunction(*_on_approach(signal, plan))
    return conjunction(late, comes, atom(observables.across(joint_name(signal.joint)), "free"))


def _on_approach(signal: Signal, plan: Plan) -> Iterator[Expr]:
    for move in approach(plan, signal.name):
        lies = (
            TRUE if move.position is None else atom(observables.points(move.piece), move.position)
        )
        yield conjunction(runs_along(move, plan), lies)


def was_put_back(signal: Signal, plan: Plan) -> Expr:
    """The signal was clear more recently than trains need to stop, and no train has passed it
    since. FALSE where the plan does not say how long trains need."""
    if plan.locking.running.to_stop is None:
        return FALSE
    return atom(observables.window("put back", signal.name), "yes")


def lies_over(points: str, routes: Iterable[Route]) -> list[tuple[Route, Expr]]:
    """The routes over some points, each with the condition under which it leads a train there."""
    return [
        (route, takes_up_to(route, i))
        for route in routes
        for i, need in enumerate(route.needs)
        if need.points == points
    ]


def heads_for(points: str, route: Route, plan: Plan) -> Expr:
    """A train inside the route has not yet reached some points of it. The facing points between
    lie for the route; the position of the points themselves does not matter."""
    at = next((k for k, move in enumerate(route.moves) if move.piece == points), 0)
    between: Expr = conjunction()
    ways = []
    for move in reversed(route.moves[:at]):
        if move.position is not None and move.facing:
            between = conjunction(between, atom(observables.points(move.piece), move.position))
        ways.append(conjunction(runs_along(move, plan), between))
    return disjunction(*ways)


# ------------------------------------------------------------------ what to write


def places_of(name: str, plan: Plan) -> tuple[Span, ...]:
    """Where the file declares a turnout or slip, and where it says how it is thrown."""
    throw = plan.locking.throws.get(name)
    spans = (plan.track.pieces[name].span, *([throw.span] if throw else ()))
    return tuple(dict.fromkeys(spans))


def lock_while(name: str, held: str, free: str, plan: Plan) -> str:
    """The hint that keeps points from moving while ``held`` holds; ``free`` is its negation."""
    throw = plan.locking.throws.get(name)
    kind = plan.track.pieces[name].kind
    if throw is None or (throw.by == "anyone" and throw.locked is None):
        return (
            f"The file does not say how {name} is thrown, so anyone may throw it at any time: "
            f"write `thrown by …` and `locked while {held}` under `{kind} {name}`."
        )
    if throw.electric:
        return f"Release the electric lock of {name} only when also {free}: add `and {free}`."
    if throw.by == "hand" and throw.locked is None:
        return (
            f"Give {name} an electric lock: write `electric lock released when {free}` under "
            f"`{kind} {name}`."
        )
    if throw.locked is None:
        return f"Write `locked while {held}` under `{kind} {name}`."
    if _is_asked(held, throw.locked):
        return (
            f"`locked while …` of {name} has this already, but the points were free until then, or "
            "already moving. Lock them sooner: as soon as a signal lets a train over them (`or not "
            "SIGNAL at stop`), or while the relay of a route over them is up."
        )
    return f"Add `or {held}` to the line `locked while …` of {name}."


def lock_of(name: str, held: Condition, text: str, plan: Plan) -> Lock | None:
    """The lock that :func:`lock_while` proposes; None where it proposes something else."""
    throw = plan.locking.throws.get(name)
    if throw is None or (throw.by == "anyone" and throw.locked is None):
        return None
    if throw.locked is not None and _is_asked(text, throw.locked):
        return None
    return Lock(name, held)


def is_occupied(block: str, plan: Plan) -> Fact | None:
    """The block is reported occupied; None where no detector watches it."""
    if block not in plan.blocks or not plan.blocks[block].detected:
        return None
    span = plan.blocks[block].span
    return Fact(observables.block_report(block), ("occupied",), span, f"{block} occupied")


def not_at_stop(signal: Signal, plan: Plan) -> Fact:
    """The signal is set to an aspect that lets trains pass."""
    permits = {a.name for a in plan.chart.aspects if a.permits}
    values = tuple(v for v in signal.aspect.values if v in permits)
    return Fact(signal.aspect, values, signal.span, f"not {stops_all(signal, plan)}")


def stops_all(signal: Signal, plan: Plan) -> str:
    """How a rule says that no train may pass the signal, not even after a stop."""
    shown = [a for a in plan.chart.aspects if a.name in signal.aspect.values]
    if not any(a.permits and not a.clears for a in shown):
        return f"{signal.name} at stop"
    stop = next((a.name for a in plan.chart.aspects if not a.permits), "Stop")
    return f"{signal.name} shows {stop}"


def _is_asked(held: str, locked: Condition) -> bool:
    """Whether ``held`` alone makes the lock hold."""
    match locked:
        case AnyOne(parts=parts):
            return any(_is_asked(held, part) for part in parts)
        case Fact(text=text):
            return text == held
        case _:
            return False


def remember_route(signal: str, blocks: tuple[str, ...]) -> str:
    """A relay that is up from when the signal clears until the blocks of its route are clear."""
    held = f"{blocks[0]} occupied" if len(blocks) == 1 else f"any of {', '.join(blocks)} occupied"
    return f"`relay {signal}-route picks when not {signal} at stop sticks while {held}`"
