"""Census of held buttons: which of them may clear which signal, through what remembers."""

from collections.abc import Iterator

from verifier.census.says import better_than_restricting
from verifier.census.survey import steady
from verifier.plan.locking.locking_model import Locking
from verifier.plan.model import Plan, Signal
from verifier.plan.observables import All, AnyOne, Condition, Fact, Not, facts_in

# A condition, and whether it should hold.
Wish = tuple[Condition, bool]


def presses(plan: Plan) -> Iterator[tuple[str, str]]:
    """Every signal and button such that to press it may help a line that lets a train proceed to
    hold, or another one not to: as a line, a named condition, a relay, a timer or a direction of
    traffic needs the button pressed. A relay that has to be down, and a timer that has to be idle,
    is looked into only where no relay, timer or traffic is named in it but itself."""
    for signal in plan.signals.values():
        wishes, made = list(_wishes(signal, plan)), set[tuple[str, str, str]]()
        while wishes:
            says, good = wishes.pop()
            if isinstance(says, Not):
                wishes.append((says.part, not good))
            elif isinstance(says, All | AnyOne):
                wishes.extend((part, good) for part in says.parts)
            else:
                wanted = [s for s in says.what.values if (s in says.values) is good]
                for state in wanted if _is_looked_into(says, wanted, plan) else ():
                    step = (says.what.kind, says.what.name, state)
                    if step not in made:
                        made.add(step)
                        wishes.extend(_needs(says, state, plan))
        for kind, name, state in made:
            if kind == "button" and state == "pressed":
                yield signal.name, name


def _is_looked_into(fact: Fact, wanted: list[str], plan: Plan) -> bool:
    at_rest = {"relay": "down", "timer": "idle"}.get(fact.what.kind)
    if at_rest not in wanted:
        return True
    waiting, named = [p for p, _ in _of_memory(fact.what.kind, fact.what.name, "", plan.locking)], 0
    while waiting:
        for inner in facts_in(waiting.pop()):
            if inner.what.kind == "condition":
                waiting.append(plan.conditions[inner.what.name].condition)
            elif inner.what.kind in ("relay", "timer", "traffic"):
                named += inner.what != fact.what
    return not named


def _wishes(signal: Signal, plan: Plan) -> Iterator[Wish]:
    best = {a.name for a in plan.chart.aspects if better_than_restricting(a)}
    own = [(line.when, line.shows in best) for line in signal.lines]
    for head in signal.heads:
        own += [(line.when, steady(line.shows) not in ("red", "dark")) for line in head.lines]
    return ((when, good) for when, good in own if when is not None)


def _needs(fact: Fact, state: str, plan: Plan) -> Iterator[Wish]:
    """What helps something to come into a state."""
    name, locking = fact.what.name, plan.locking
    match fact.what.kind:
        case "condition":
            yield plan.conditions[name].condition, state == "true"
        case "relay" | "timer" | "traffic" as kind:
            yield from _of_memory(kind, name, state, locking)
        case _:
            pass


def _of_memory(kind: str, name: str, state: str, locking: Locking) -> Iterator[Wish]:
    if kind == "relay":
        yield locking.relays[name].picks, state == "up"
        sticks = locking.relays[name].sticks
        if sticks is not None:
            yield sticks, state == "up"
    elif kind == "timer":
        yield locking.timers[name].runs, state != "idle"
    else:
        traffic = locking.traffic[name]
        yield (traffic.rightward if state == "rightward" else traffic.leftward), True
