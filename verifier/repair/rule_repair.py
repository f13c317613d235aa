"""Repairs of rules: conditions to add, each proved before it is offered.

Guided by counterexamples: find a condition that the equipment can report, that is false in the
situation at hand, and that the line which lets the train go does not test; add it; ask the solver
again; go on until no situation is left. An addition that would close a cycle of signals, or would
keep the line from ever acting, is not made.
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from itertools import permutations

from verifier.decide.memory_invariants import is_ruled_out
from verifier.engines.results import Exists, Impossible
from verifier.engines.smt.situations import SituationCheck
from verifier.engines.stopping import checkpoint
from verifier.language.diagnostics.diagnostic import InputError
from verifier.logic.expr import atom
from verifier.plan import observables
from verifier.plan.model import Line, Plan, Route, Signal
from verifier.plan.observables import All, Condition, Fact, Observable
from verifier.plan.situation import Situation
from verifier.properties.obligation import Obligation
from verifier.properties.phrases import derails_run_over, diverges_at_all
from verifier.properties.usefulness import never_shown, route_never_clears
from verifier.reference.evaluator import Evaluator, TooManyWays
from verifier.verdicts.report import Addition
from verifier.world.fault_cone import read_by
from verifier.world.world import World, check_circles

MAX_ADDITIONS = 6


def repair_rules(
    world: World, obligation: Obligation, situation: Situation, timeout: float | None
) -> tuple[Addition, ...]:
    """Additions that together repair a broken obligation; empty when none are found. ``world``
    is that of the plan as it stands."""
    if obligation.mode != "never" or not obligation.signals:
        return ()
    useful = _still_useful(world, obligation.signals, timeout)
    additions: list[Addition] = []
    for _ in range(MAX_ADDITIONS):
        try:
            step = _one_addition(world, obligation, situation, useful, timeout)
        except TooManyWays:
            return ()
        if step is None:
            return ()
        world, addition, answer = step
        additions.append(addition)
        if isinstance(answer, Impossible):
            # Memory depends on signals too: its facts were proved with the rules as they were.
            if world.memory_facts and not is_ruled_out(
                world, world.expand(obligation.formula), timeout
            ):
                return ()
            return tuple(additions)
        situation = answer.situation
    return ()


def _one_addition(
    world: World,
    obligation: Obligation,
    situation: Situation,
    useful: Sequence[Obligation],
    timeout: float | None,
) -> tuple[World, Addition, Exists | Impossible] | None:
    """The first addition that rules out this situation and takes nothing of use away."""
    plan = world.plan
    evaluator = Evaluator(plan)
    routes = _relevant_routes(plan, obligation, situation, evaluator)
    for name, says in _candidates(plan, obligation, routes):
        checkpoint()
        signal = plan.signals[name]
        driver = plan.wiring.driver_of(signal.heads[0].name)
        read = observables.at_reader(says.what, driver.name if driver else "")
        if evaluator.states(situation, [read])[read] in says.values:
            continue
        acting = _acting_line(signal, evaluator, situation, plan)
        if acting is None:
            continue
        owner, line = acting
        assert line.when is not None
        changed = _with_addition(plan, signal, line, says)
        depending = _depending_on(changed, name)
        trial = world.with_other_rules(changed, name, depending)
        answer = _try(
            trial, depending, obligation, observables.line(owner, line.index), useful, timeout
        )
        if answer is not None:
            return trial, Addition(owner, line.shows, says.text, line.span), answer
    return None


def _candidates(
    plan: Plan, obligation: Obligation, routes: Sequence[Route]
) -> Iterator[tuple[str, Fact]]:
    """Signals with conditions to try, the most likely first: for each route its points, track and
    devices; then other signals."""
    span = obligation.spans[0]
    for route in routes:
        for report, state in reports_along(route, plan):
            yield route.signal, Fact(report, (state,), span, f"{report.name} {state}")
    aspects = plan.chart.aspects
    for name, other in permutations(dict.fromkeys(obligation.signals), 2):
        if obligation.property == "approach-untruthful":
            wanted, text = {a.name for a in aspects if a.proceeds}, f"{other} proceeds"
        else:
            wanted = {observables.UNLISTED, *(a.name for a in aspects if not a.permits)}
            text = f"{other} at stop"
        aspect = plan.signals[other].aspect
        yield name, Fact(aspect, tuple(v for v in aspect.values if v in wanted), span, text)


def reports_along(route: Route, plan: Plan) -> Iterator[tuple[Observable, str]]:
    """What is reported while a route is safe to run over."""
    ends = {end: c.ends for c in plan.crossovers.values() for end in c.ends}
    for need in route.needs:
        for points in ends.get(need.points, (need.points,)):
            yield observables.points_report(points), need.position
    for block in route.blocks:
        if plan.blocks[block].detected:
            yield observables.block_report(block), "clear"
    run_over = derails_run_over(route, plan)
    for derail in plan.derails.values():
        if derail.name in run_over:
            yield observables.derail_report(derail.name), "non-derailing"
        elif derail.guards in route.pieces:
            yield observables.derail_report(derail.name), "derailing"
    for gate in plan.gates.values():
        if gate.block in route.blocks:
            yield observables.gate_report(gate.name), "seated"


def _relevant_routes(
    plan: Plan, obligation: Obligation, situation: Situation, evaluator: Evaluator
) -> list[Route]:
    """The routes of the signals concerned: first those to which the aspect shown applies, and
    among them those the points are lined for."""
    routes = dict.fromkeys(obligation.routes)
    routes |= dict.fromkeys(r for name in obligation.signals for r in plan.routes_of(name))
    signals = dict.fromkeys(plan.signals[route.signal] for route in routes)
    read = evaluator.states(situation, [signal.aspect for signal in signals])
    shown = {signal.name: plan.chart.get(read[signal.aspect]) for signal in signals}

    def is_meant(route: Route) -> bool:
        aspect = shown[route.signal]
        match aspect.indication.way if aspect else "any":
            case "straight":
                return not route.diverging
            case "diverging":
                return diverges_at_all(route)
            case _:
                return True

    def is_lined(route: Route) -> bool:
        return all(
            situation.state(observables.points(need.points)) == need.position
            for need in route.needs
            if need.facing
        )

    return sorted(routes, key=lambda route: (not is_meant(route), not is_lined(route)))


def _acting_line(
    signal: Signal, evaluator: Evaluator, situation: Situation, plan: Plan
) -> tuple[str, Line] | None:
    """The line that lets a train go: of the signal, or of the head that shows best."""
    for owner, lines in signal.rules:
        states = evaluator.states(situation, [observables.line(owner, ln.index) for ln in lines])
        acting = next(ln for ln in lines if states[observables.line(owner, ln.index)] == "acts")
        if acting.when is not None and acting.shows not in ("red", "dark"):
            return owner, acting
    return None


def _with_addition(plan: Plan, signal: Signal, line: Line, says: Fact) -> Plan:
    assert line.when is not None
    when: Condition = All((line.when, says), line.when.span)

    def swap(lines: tuple[Line, ...]) -> tuple[Line, ...]:
        return tuple(replace(old, when=when) if old.span == line.span else old for old in lines)

    if signal.by_head:
        # Heads on several drivers share the lines of their signal: swap them in all.
        heads = tuple(replace(head, lines=swap(head.lines)) for head in signal.heads)
        changed = replace(signal, heads=heads)
    else:
        changed = replace(signal, lines=swap(signal.lines))
    return replace(plan, signals={**plan.signals, signal.name: changed})


def _still_useful(
    world: World, signals: Sequence[str], timeout: float | None
) -> tuple[Obligation, ...]:
    """What these signals can show and which of their routes can clear, as the rules stand: no
    repair may take any of it away."""
    plan = world.plan
    world = world.sound or world
    check = SituationCheck.of(world, timeout)
    asked = (*never_shown(plan), *route_never_clears(plan))
    return tuple(
        o
        for o in asked
        if set(o.signals) & set(signals) and isinstance(check.find(world.expand(o.formula)), Exists)
    )


def _try(
    world: World,
    depending: Collection[str],
    obligation: Obligation,
    line: Observable,
    useful: Sequence[Obligation],
    timeout: float | None,
) -> Exists | Impossible | None:
    """The solver's answer after an addition to a line; None when the addition may not be made."""
    plan = world.plan
    try:
        # An addition may close a cycle, or bring out one that was settled until now: either
        # way only among the signals that depend on the one changed.
        check_circles(world, [plan.signals[name] for name in plan.signals if name in depending])
        goal = world.expand(obligation.formula)
    except InputError:
        return None
    sound = world.sound or world
    kept = (sound.expand(atom(line, "acts")), *(sound.expand(o.formula) for o in useful))
    use = SituationCheck.of(sound, timeout)
    if not all(isinstance(use.find(possible), Exists) for possible in kept):
        return None
    answer = SituationCheck.of(world, timeout).find(goal, smallest=True)
    return answer if isinstance(answer, Exists | Impossible) else None


def _depending_on(plan: Plan, changed: str) -> set[str]:
    """The signal changed, and all that read it, directly or through others."""
    readers = read_by(plan)
    found, waiting = {changed}, [changed]
    while waiting:
        new = readers.get(waiting.pop(), {}).keys() - found
        found |= new
        waiting += new
    return found
