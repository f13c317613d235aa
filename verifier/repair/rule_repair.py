"""How to mend it: conditions to add to rules, each proved before it is offered.

Guided by situations: of the situation at hand, find a condition that the equipment can
report, that is false there, and that is missing from the line which lets the train go;
add it; ask the solver again; go on until nothing is left. An addition that would make a
circle, or would keep the line from ever acting, is not taken.
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace

from verifier.decide.memory_invariants import is_ruled_out
from verifier.engines.results import Exists, Impossible
from verifier.engines.smt.situations import SituationCheck
from verifier.language.diagnostics.diagnostic import InputError
from verifier.logic.expr import atom
from verifier.plan import observables
from verifier.plan.model import Line, Plan, Route, Signal
from verifier.plan.observables import All, Condition, Fact, Observable
from verifier.plan.signals.heads import signal_of
from verifier.plan.situation import Situation
from verifier.properties.obligation import Obligation
from verifier.properties.phrases import derails_run_over, diverges_at_all
from verifier.properties.usefulness import never_shown, route_never_clears
from verifier.reference.condition_eval import all_says
from verifier.reference.evaluator import Evaluator, TooManyWays
from verifier.verdicts.report import Addition
from verifier.world.world import World, check_circles

MAX_ADDITIONS = 6


def mend(
    world: World, obligation: Obligation, situation: Situation, timeout: float | None
) -> tuple[Addition, ...]:
    """Additions that together mend a broken obligation; empty when none are found.

    ``world`` is that of the plan as it stands."""
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
            # Memory goes by signals too: what was known of it was known of the rules before.
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
    routes = _routes_to_look_at(plan, obligation, situation, evaluator)
    for name, says in _candidates(plan, obligation, routes):
        signal = plan.signals[name]
        driver = plan.wiring.driver_of(signal.heads[0].name)
        read = observables.heard(says.what, driver.name if driver else "")
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
    """Conditions to try, most telling first: for each route its points, track and devices;
    then other signals."""
    span = obligation.spans[0]
    ends = {end: c for c in plan.crossovers.values() for end in c.ends}
    for route in routes:
        for need in route.needs:
            for points in ends[need.points].ends if need.points in ends else (need.points,):
                report = observables.points_report(points)
                text = f"{points} {need.position}"
                yield route.signal, Fact(report, (need.position,), span, text)
        for block in route.blocks:
            if plan.blocks[block].detected:
                text = f"{block} clear"
                yield route.signal, Fact(observables.block_report(block), ("clear",), span, text)
        for derail in plan.derails.values():
            over = derail.name in derails_run_over(route, plan)
            if over or derail.guards in route.pieces:
                state = "non-derailing" if over else "derailing"
                text = f"{derail.name} {state}"
                yield (
                    route.signal,
                    Fact(observables.derail_report(derail.name), (state,), span, text),
                )
        for gate in plan.gates.values():
            if gate.block in route.blocks:
                text = f"{gate.name} seated"
                yield (
                    route.signal,
                    Fact(observables.gate_report(gate.name), ("seated",), span, text),
                )
    for name in obligation.signals:
        for other in obligation.signals:
            if other != name:
                signal = plan.signals[other]
                good = [a.name for a in plan.chart.aspects if a.proceeds]
                stops = [a.name for a in plan.chart.aspects if not a.permits] + [
                    observables.UNLISTED
                ]
                wanted, text = (stops, f"{other} at stop")
                if obligation.property == "approach-untruthful":
                    wanted, text = (good, f"{other} proceeds")
                values = tuple(v for v in signal.aspect.values if v in wanted)
                yield name, Fact(signal.aspect, values, span, text)


def _routes_to_look_at(
    plan: Plan, obligation: Obligation, situation: Situation, evaluator: Evaluator
) -> list[Route]:
    """The routes of the signals concerned: first those that the aspect shown speaks of,
    and among them those the points lie for."""
    routes = dict.fromkeys(obligation.routes)
    routes |= dict.fromkeys(r for name in obligation.signals for r in plan.routes_of(name))
    signals = dict.fromkeys(plan.signals[route.signal] for route in routes)
    read = evaluator.states(situation, [signal.aspect for signal in signals])
    ways = {signal.name: _way(read[signal.aspect], plan) for signal in signals}

    def is_meant(route: Route) -> bool:
        match ways[route.signal]:
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


def _way(aspect: str, plan: Plan) -> str:
    known = plan.chart.get(aspect)
    return known.indication.way if known else "any"


def _acting_line(
    signal: Signal, evaluator: Evaluator, situation: Situation, plan: Plan
) -> tuple[str, Line] | None:
    """The line that lets a train go: of the signal, or of the head that shows best."""
    owners: Sequence[tuple[str, tuple[Line, ...]]] = (
        [(head.name, head.lines) for head in signal.heads]
        if signal.by_head
        else [(signal.name, signal.lines)]
    )
    for owner, lines in owners:
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
    mending may take any of it away."""
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
    """What is left of the trouble after an addition to a line; None when it may not be made."""
    plan = world.plan
    try:
        # An addition may close a circle, or let one come up that was settled until now:
        # either way only among the signals that depend on the one changed.
        check_circles(world, [plan.signals[name] for name in plan.signals if name in depending])
        goal = world.expand(obligation.formula)
    except InputError:
        return None
    sound = world.sound or world
    kept = (sound.expand(atom(line, "acts")), *(sound.expand(o.formula) for o in useful))
    of_use = SituationCheck.of(sound, timeout)
    if not all(isinstance(of_use.find(needed), Exists) for needed in kept):
        return None
    check = SituationCheck.of(world, timeout)
    answer = check.find(goal, smallest=True)
    return answer if isinstance(answer, Exists | Impossible) else None


def _depending_on(plan: Plan, changed: str) -> set[str]:
    """The signal changed, and all that read it, directly or through others."""
    read_by: dict[str, set[str]] = {}
    for signal in plan.signals.values():
        for line in (*signal.lines, *(ln for head in signal.heads for ln in head.lines)):
            for says in all_says(line.when, plan) if line.when else ():
                if says.what.kind in ("aspect", "color"):
                    read = signal_of(says.what.name, plan.signals)
                    read_by.setdefault(read, set()).add(signal.name)
    found, waiting = {changed}, [changed]
    while waiting:
        new = read_by.get(waiting.pop(), set()) - found
        found |= new
        waiting += new
    return found
