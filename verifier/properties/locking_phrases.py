"""Predicates that properties over time are built from: where trains are and which way they run,
what moves, what a route runs over. Also the hints for a missing lock."""

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from verifier.language.source import Span
from verifier.logic.expr import FALSE, TRUE, Expr, atom, conjunction, disjunction
from verifier.plan import observables
from verifier.plan.devices import Device, devices
from verifier.plan.locking.temporal_plan import approach, comes_in_at
from verifier.plan.model import Move, Plan, Port, Route, Signal
from verifier.plan.observables import AnyOne, Condition, Fact
from verifier.properties.obligation import Lock
from verifier.properties.phrases import derails_run_over, takes_up_to

POWERED = ("lever", "buttons", "rule")


def moving(plan: Plan) -> Iterator[Device]:
    """Everything that moves; nothing where the file is not proved over time."""
    return iter(devices(plan).values() if plan.locking.over_time else ())


def moves(device: Device) -> Expr:
    """It moves in this step."""
    return atom(observables.event("points move", device.name), "yes")


def train_at(device: Device) -> Expr:
    """A train is on it."""
    across = (atom(observables.across(j.name), "spanned") for j in device.joints)
    return disjunction(*map(train_on, device.pieces), *across)


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
    return conjunction(late, comes, atom(observables.across(signal.joint.name), "free"))


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


class Place(NamedTuple):
    """Where a route meets something that moves: after how many moves at most, and how it must lie
    there."""

    moves: int
    position: str


def places_in(device: Device, route: Route, plan: Plan) -> list[Place]:
    """Where a route runs over a device, in the order met; of a derail, also where it runs over the
    trackwork that the derail protects."""
    match device.kind:
        case "turnout" | "slip":
            over = [(k, m) for k, m in enumerate(route.moves) if m.piece == device.name]
            return [Place(k, m.position) for k, m in over if m.position is not None]
        case "gate":
            on = [k for k, piece in enumerate(route.pieces) if piece in device.pieces]
            return [Place(on[-1], "seated")] if on else []
        case "derail":
            if device.name in derails_run_over(route, plan):
                joints = (plan.signals[route.signal].joint, *route.joints)
                at = next(k for k, joint in enumerate(joints) if joint in device.joints)
                return [Place(at, "non-derailing")]
            guards = plan.derails[device.name].guards
            if guards in route.pieces:
                return [Place(route.pieces.index(guards), "derailing")]
            return []


def met(routes: Iterable[Route], plan: Plan) -> list[Device]:
    """What routes run over that moves, in the order met, then what protects them."""
    known = devices(plan)
    points = dict.fromkeys(need.points for route in routes for need in route.needs)
    others = (d for d in known.values() if d.kind in ("derail", "gate"))
    over = (d for d in others if any(places_in(d, route, plan) for route in routes))
    return [*(known[name] for name in points), *over]


def lies_over(
    device: Device, routes: Iterable[Route], plan: Plan
) -> list[tuple[Route, Place, Expr]]:
    """The routes over a device, each with where it is and the condition under which the route
    leads a train there."""
    found = []
    for route in routes:
        for place in places_in(device, route, plan):
            met = sum(move.position is not None for move in route.moves[: place.moves])
            found.append((route, place, takes_up_to(route, met)))
    return found


def heads_for(place: Place, route: Route, plan: Plan) -> Expr:
    """A train inside the route has not yet reached a place on it. The facing points between lie for
    the route; how what is there lies itself does not matter."""
    between: Expr = conjunction()
    ways = []
    for move in reversed(route.moves[: place.moves]):
        if move.position is not None and move.facing:
            between = conjunction(between, atom(observables.points(move.piece), move.position))
        ways.append(conjunction(runs_along(move, plan), between))
    return disjunction(*ways)


# ------------------------------------------------------------------ what to write


def places_of(device: Device, plan: Plan) -> tuple[Span, ...]:
    """Where the file declares what moves, and where it says how it is thrown."""
    throw = plan.locking.throws.get(device.name)
    spans = (device.span, *([throw.span] if throw else ()))
    return tuple(dict.fromkeys(spans))


def drawn_at(device: Device) -> tuple[str, ...]:
    """The pieces of track where a device is drawn."""
    return device.pieces or tuple(joint.a.piece for joint in device.joints)


def thrown_with(device: Device, plan: Plan) -> Device:
    """What its clauses are written under: of a derail that is pipe-connected, its points."""
    return device if device.pipe is None else devices(plan)[device.pipe.points]


def lock_while(device: Device, held: str, free: str, plan: Plan) -> str:
    """The hint that keeps a device from moving while ``held`` holds; ``free`` is its negation."""
    device = thrown_with(device, plan)
    name, title = device.name, device.title
    throw = plan.locking.throws.get(name)
    if throw is None or (throw.by == "anyone" and throw.locked is None):
        return (
            f"The file does not say how {name} is thrown, so anyone may throw it at any time: "
            f"write `thrown by …` and `locked while {held}` under `{title}`."
        )
    if throw.electric:
        return f"Release the electric lock of {name} only when also {free}: add `and {free}`."
    if throw.by == "hand" and throw.locked is None:
        return (
            f"Give {name} an electric lock: write `electric lock released when {free}` under "
            f"`{title}`."
        )
    if throw.locked is None:
        return f"Write `locked while {held}` under `{title}`."
    if _is_asked(held, throw.locked):
        return (
            f"`locked while …` of {name} has this already, but it was free until then, or already "
            "moving. Lock it sooner: as soon as a signal lets a train over it (`or not SIGNAL at "
            "stop`), or while the relay of a route over it is up."
        )
    return f"Add `or {held}` to the line `locked while …` of {name}."


def lock_of(device: Device, held: Condition, text: str, plan: Plan) -> Lock | None:
    """The lock that :func:`lock_while` proposes; None where it proposes something else."""
    name = thrown_with(device, plan).name
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
