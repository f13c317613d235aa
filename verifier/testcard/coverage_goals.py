"""The coverage goals of a test card: every line, every fact in it, every route, every pair of
conflicting routes.

In: a plan. Out: goals, each an expression over observables that holds in some step of the card. The
solver can find such a step, and the evaluator can recognize one.

Two steps cover a fact of a line. In one the line acts, and would not if this fact alone were
different. In the other the line fails because of this fact alone, no line above it holds, and the
signal shows something else. (This is masking MC/DC: other facts may differ between the two steps if
they make no difference. Unique-cause MC/DC, in which nothing else may differ, is impossible where
several facts read the same points or lever.)
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Literal

from verifier.logic.expr import FALSE, TRUE, Expr, atom, conjunction, disjunction, negation
from verifier.plan import observables
from verifier.plan.model import Line, NamedCondition, Plan, Route, Signal
from verifier.plan.observables import All, AnyOne, Condition, Fact, Not, at_reader, facts_in
from verifier.plan.signals.aspects import Chart
from verifier.properties.phrases import clears, lined, way_clear
from verifier.properties.usefulness import is_meant_to_clear

# If a condition has more facts than this with its named conditions expanded, each named condition
# counts as one fact.
MOST_FACTS = 120
# Two conflicting routes are tested with the fewest facts missing, up to this many.
MOST_MISSING = 3
# In conditions with more facts than this, at most one fact is missing.
MANY_FACTS = 16

GoalKind = Literal["line", "with", "without", "color", "route", "conflict"]


@dataclass(frozen=True, slots=True, eq=False)
class Goal:
    """What one step of the card must show. ``text`` says it in words."""

    kind: GoalKind
    text: str
    when: Expr


@dataclass(frozen=True, slots=True, eq=False)
class FactGoals:
    """One fact of one line, and the goals of the two steps that cover it."""

    owner: str
    shows: str
    fact: str
    acts: Goal
    fails: Goal


@dataclass(frozen=True, slots=True, eq=False)
class ConflictGoals:
    """Two conflicting routes. ``levels``: one is clear, and no fact, or one, or two keep the other
    from being set too. The first level that is possible becomes a goal."""

    one: str
    other: str
    how: str
    place: str
    levels: tuple[Expr, ...]


# ------------------------------------------------------------------ lines and their facts


def lines_of(plan: Plan) -> Iterator[tuple[str, Signal, tuple[Line, ...]]]:
    """The lines of each signal, or of each head if heads have their own."""
    for signal in plan.signals.values():
        yield from ((owner, signal, lines) for owner, lines in signal.rules)


def line_goals(plan: Plan) -> Iterator[Goal]:
    """Every line acts in some step."""
    for owner, signal, lines in lines_of(plan):
        for line in lines:
            acts = atom(observables.line(owner, line.index), "acts")
            text = f"{owner} {line.shows}"
            yield Goal("line", text, conjunction(acts, _shown(owner, signal, line, plan.chart)))


def fact_goals(plan: Plan) -> Iterator[FactGoals]:
    """Every fact of every line."""
    for owner, signal, lines in lines_of(plan):
        driver = plan.wiring.driver_of(owner if signal.by_head else signal.heads[0].name)
        reader = driver.name if driver else ""
        for line in lines:
            if line.when is None:
                continue
            shown = _shown(owner, signal, line, plan.chart)
            acts = conjunction(atom(observables.line(owner, line.index), "acts"), shown)
            below = disjunction(*(
                atom(observables.line(owner, other.index), "acts")
                for other in lines if other.index > line.index
            ))  # fmt: skip
            condition = written_out(line.when, plan)
            for says in facts_in(condition):
                decides = _decides(condition, says, reader)
                yield FactGoals(
                    owner, line.shows, says.text,
                    Goal("with", f"{owner} {line.shows}: {says.text}", conjunction(acts, decides)),
                    Goal(
                        "without", f"{owner} no {line.shows} for want of {says.text}",
                        conjunction(below, decides, negation(shown)),
                    ),
                )  # fmt: skip


def written_out(condition: Condition, plan: Plan) -> Condition:
    """A copy of a condition with its named conditions expanded; every fact is a node of its own,
    even if a named condition occurs twice. If it would be too long, they are not expanded."""
    if _facts(condition, plan, {}) > MOST_FACTS:
        return _copied(condition, {})
    return _copied(condition, plan.conditions)


def _facts(condition: Condition, plan: Plan, known: dict[str, int]) -> int:
    """The number of facts of an expanded condition. Counting stops above the limit."""
    number = 0
    for says in facts_in(condition):
        name = says.what.name
        if says.what.kind != "condition":
            number += 1
            continue
        if len(known) > MOST_FACTS:
            return MOST_FACTS + 1
        if name not in known:
            known[name] = 1
            known[name] = _facts(plan.conditions[name].condition, plan, known)
        number += known[name]
    return number


def _copied(condition: Condition, named: Mapping[str, NamedCondition]) -> Condition:
    """A copy in which each fact is a node of its own and ``named`` conditions are expanded."""
    match condition:
        case Fact(what=what, values=values) if what.kind == "condition" and what.name in named:
            inner = _copied(named[what.name].condition, named)
            return inner if values == ("true",) else Not(inner, condition.span)
        case Fact():
            return replace(condition)
        case Not(part=part):
            return Not(_copied(part, named), condition.span)
        case All(parts=parts) | AnyOne(parts=parts):
            return replace(condition, parts=tuple(_copied(part, named) for part in parts))


def _decides(condition: Condition, says: Fact, reader: str) -> Expr:
    """This fact alone decides whether the condition holds."""
    wth = _with(condition, {id(says): TRUE}, reader)
    without = _with(condition, {id(says): FALSE}, reader)
    return disjunction(conjunction(wth, negation(without)), conjunction(negation(wth), without))


def _with(condition: Condition, given: dict[int, Expr], reader: str) -> Expr:
    """A condition in which some facts, by identity, have given values."""
    match condition:
        case Fact(what=what, values=values):
            known = given.get(id(condition))
            return atom(at_reader(what, reader), *values) if known is None else known
        case Not(part=part):
            return negation(_with(part, given, reader))
        case All(parts=parts):
            return conjunction(*(_with(part, given, reader) for part in parts))
        case AnyOne(parts=parts):
            return disjunction(*(_with(part, given, reader) for part in parts))


def _shown(owner: str, signal: Signal, line: Line, chart: Chart) -> Expr:
    """The lenses show what a line shows."""
    if signal.by_head:
        head = next(head for head in signal.heads if head.name == owner)
        return atom(head.lens, line.shows)
    colors = signal.colors(line.shows, chart)
    return conjunction(*(atom(h.lens, c) for h, c in zip(signal.heads, colors, strict=True)))


def color_goals(plan: Plan) -> Iterator[Goal]:
    """Every lamp is lit in some step."""
    for signal in plan.signals.values():
        for head in signal.heads:
            for color in head.color.values:
                if color != "dark":
                    yield Goal("color", f"{head.name} {color}", atom(head.lens, color))


# ------------------------------------------------------------------ routes


def route_goals(plan: Plan) -> Iterator[Goal]:
    """Every route that is meant to clear is cleared in some step."""
    for route in plan.routes:
        if is_meant_to_clear(route, plan):
            yield Goal("route", route.name, _cleared(route, plan))


def _cleared(route: Route, plan: Plan) -> Expr:
    return conjunction(
        clears(plan.signals[route.signal], plan), lined(route), way_clear(route, plan)
    )


def serves(line: Line, route: Route, plan: Plan) -> Expr:
    """A line by which a signal lets trains take a route acts, and the route is lined."""
    acts = atom(observables.line(route.signal, line.index), "acts")
    return conjunction(acts, _cleared(route, plan))


def conflict_goals(plan: Plan, lines_for: Mapping[str, Sequence[Line]]) -> Iterator[ConflictGoals]:
    """Every pair of conflicting routes of two signals. ``lines_for``: for each route, the lines
    with which its signal clears it."""
    seen: set[tuple[str, str]] = set()
    for conflict in plan.conflicts:
        one, other = conflict.first, conflict.second
        if one.signal == other.signal or (one.name, other.name) in seen:
            continue
        if not (is_meant_to_clear(one, plan) and is_meant_to_clear(other, plan)):
            continue
        seen.add((one.name, other.name))
        levels = tuple(
            disjunction(
                _beside(one, other, lines_for.get(other.name, ()), missing, plan),
                _beside(other, one, lines_for.get(one.name, ()), missing, plan),
            )
            for missing in range(MOST_MISSING + 1)
        )
        yield ConflictGoals(one.name, other.name, conflict.kind, conflict.place, levels)


def _beside(clear: Route, set_too: Route, lines: Iterable[Line], missing: int, plan: Plan) -> Expr:
    """One route is clear, and ``missing`` facts keep a line from clearing another. If heads have
    rules of their own, the other route is unconstrained."""
    signal = plan.signals[set_too.signal]
    driver = plan.wiring.driver_of(signal.heads[0].name)
    reader = driver.name if driver else ""
    almost = []
    for line in lines:
        condition = written_out(line.when, plan) if line.when is not None else None
        if condition is None:
            continue
        all_facts = list(_helpful(condition))
        most = missing if len(all_facts) <= MANY_FACTS else min(missing, 1)
        for left_out in combinations(all_facts, most):
            granted = {id(fact): value for fact, value in left_out}
            almost.append(_with(condition, granted, reader))
    return conjunction(_cleared(clear, plan), disjunction(*almost) if almost else TRUE)


def _helpful(condition: Condition, positive: bool = True) -> Iterator[tuple[Fact, Expr]]:
    """Each fact with the value that helps the condition to hold: false below an odd number of
    negations."""
    match condition:
        case Fact():
            yield condition, TRUE if positive else FALSE
        case Not(part=part):
            yield from _helpful(part, not positive)
        case All(parts=parts) | AnyOne(parts=parts):
            for part in parts:
                yield from _helpful(part, positive)
