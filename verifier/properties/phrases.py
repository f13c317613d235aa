"""Predicates that properties are built from, as expressions over observables."""

from collections.abc import Iterable, Iterator

from verifier.logic.expr import Expr, atom, conjunction, disjunction
from verifier.plan import observables
from verifier.plan.model import Plan, Route, Signal
from verifier.plan.signals.aspects import SPEEDS, Aspect


def shows_one_of(signal: Signal, names: set[str]) -> Expr:
    """The signal is read as one of these aspects."""
    return atom(signal.reading, *names)


def proceeds(signal: Signal, plan: Plan) -> Expr:
    """The signal is read as something better than Restricting."""
    return shows_one_of(signal, {a.name for a in plan.chart.aspects if a.proceeds})


def clears(signal: Signal, plan: Plan) -> Expr:
    """The signal lets a train pass without stopping, Restricting included."""
    return shows_one_of(signal, {a.name for a in plan.chart.aspects if a.clears})


def permits(signal: Signal, plan: Plan) -> Expr:
    """The signal lets a train pass, be it at restricted speed, or after a stop."""
    return shows_one_of(signal, {a.name for a in plan.chart.aspects if a.permits})


def takes(route: Route) -> Expr:
    """A train that passes the signal takes the route: all its facing points lie for it."""
    return takes_up_to(route, len(route.needs))


def takes_up_to(route: Route, count: int) -> Expr:
    """The facing points among the first ``count`` points of the route lie for it."""
    return conjunction(
        *(atom(observables.points(n.points), n.position) for n in route.needs[:count] if n.facing)
    )


def lined(route: Route) -> Expr:
    """All points of the route lie for it, trailing points included."""
    return conjunction(*(atom(observables.points(n.points), n.position) for n in route.needs))


def way_clear(route: Route, plan: Plan) -> Expr:
    """The route is free: blocks vacant, derails non-derailing, gates seated."""
    return conjunction(
        *(atom(observables.stock(block), "vacant") for block in route.blocks),
        *(
            atom(observables.derail(d), "non-derailing")
            for d in derails_run_over(route, plan)
        ),
        *(atom(observables.gate(g.name), "seated") for g in plan.gates.values()
          if g.block in route.blocks),
    )  # fmt: skip


def derails_run_over(route: Route, plan: Plan) -> tuple[str, ...]:
    """The derails that a train on the route runs over. A route that ends at a signal beside a
    derail does not reach the derail; one that starts there runs over it."""
    passed = list(route.joints[:-1] if route.exit_kind == "signal" else route.joints)
    passed.append(plan.signals[route.signal].joint)
    ports = {port for joint in passed for port in (joint.a, joint.b)}
    return tuple(d.name for d in plan.derails.values() if d.port in ports)


def occupied(block: str) -> Expr:
    """Stock stands in the block, whatever its detector reports."""
    return atom(observables.stock(block), "occupied")


def at_least(aspect: Aspect, speed: str) -> bool:
    """Whether an aspect lets a train keep at least this speed."""
    return SPEEDS.index(aspect.indication.speed) >= SPEEDS.index(speed)


def diverges_at_all(route: Route) -> bool:
    """Whether the route runs over the reverse leg of any points, facing or trailing."""
    return any(need.position == "reverse" for need in route.needs)


def any_taken(routes: Iterable[Route]) -> Expr:
    """A train that passes the signal takes one of these routes."""
    return disjunction(*(takes(route) for route in routes))


def signals_with_routes(plan: Plan) -> Iterator[tuple[Signal, tuple[Route, ...]]]:
    """Every signal with its routes, in the order of the file."""
    return ((signal, plan.routes_of(name)) for name, signal in plan.signals.items())


def pieces_in(block: str, plan: Plan) -> tuple[str, ...]:
    """The pieces of track in a block."""
    return tuple(piece.name for piece in plan.track.pieces.values() if piece.block == block)


def pieces_on(route: Route, block: str, plan: Plan) -> tuple[str, ...]:
    """The pieces of a block that a route runs over."""
    return tuple(n for n in route.pieces if plan.track.pieces[n].block == block)


def leaves_where_trains_enter(route: Route, plan: Plan) -> bool:
    """Whether the route leads out over an edge where trains only enter."""
    return route.exit_kind == "edge" and plan.track.pieces[route.exit].direction == "entering"
