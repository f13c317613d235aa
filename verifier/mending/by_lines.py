"""What a lock may be held by: what stands in the lines that it guards, and in the lock itself.

In: something that moves, and the signals over it. Out: conditions under which it may be held, and
how the opposite is written; and the condition of a lock put right, part by part. Nothing here is
proved.
"""

from collections.abc import Iterator, Sequence, Set
from dataclasses import dataclass
from itertools import islice, product

from verifier.language.syntax import tree
from verifier.mending.given import Given
from verifier.plan.devices import Device
from verifier.plan.model import Line, Plan, Signal
from verifier.plan.observables import All, AnyOne, Condition, Fact, Not, Observable, facts_in

# What lines ask for that a lock may be held by.
_KINDS = frozenset(("relay", "timer", "lever"))
_OTHER = {"up": "down", "down": "up"}
_OPPOSITE = {"clear": "occupied", "occupied": "clear", "up": "down", "down": "up",
             "normal": "reverse", "reverse": "normal"}  # fmt: skip
# What holds nothing there: that track is occupied, where a lock is released; that it is clear.
_OF_TRACK = ("occupied", "clear")
# Of the ways to take one fact from the lines of each signal, so many are looked at.
_MOST = 6


# While what something stays where it is, and how the opposite is written.
Held = tuple[str, str]


# ------------------------------------------------------------------ from lines and timers


def held_by_lines(plan: Plan, signals: Sequence[str], there: Set[str]) -> Iterator[Held]:
    """While something is so that no signal over it can clear without: first what all of them ask,
    then a fact for each. ``there``: what holds it already."""
    asked = [_asked_by(plan, plan.signals[name]) for name in signals]
    if not asked:
        return
    common = [one for one in asked[0] if all(one in other for other in asked[1:])]
    # First a relay that holds while it is down, as it is without power.
    for one in sorted(common, key=lambda one: one[1] != "down"):
        if one[0].name not in there:
            yield _said((one,))
    if len(asked) == 1:
        return
    alone = [[one for one in every if one not in common] for every in asked]
    for several in islice(product(*alone), _MOST):
        kinds = {(what.kind, value) for what, value in several}
        lacking = [one for one in dict.fromkeys(several) if one[0].name not in there]
        if lacking and (len(kinds) == 1 or all(kind == "lever" for kind, _ in kinds)):
            yield _said(tuple(lacking))


def held_by_timers(
    plan: Plan, device: Device, signals: Sequence[str], there: Set[str]
) -> Iterator[tuple[str, Held]]:
    """Timers by name, and until each is done: those that run by the same track, signals or what
    these ask for."""
    near = {device.block, *signals}
    for signal in signals:
        near |= {what.name for what, _ in _asked_by(plan, plan.signals[signal])}
    for name, timer in plan.locking.timers.items():
        if name not in there and any(fact.what.name in near for fact in facts_in(timer.runs)):
            yield name, (f"not {name} done", f"{name} done")


def held_already(locked: Condition) -> frozenset[str]:
    """What a lock is held by, each by itself enough."""
    match locked:
        case Fact(what=what):
            return frozenset((what.name,))
        case AnyOne(parts=parts):
            return frozenset().union(*map(held_already, parts))
        case Not(part=All(parts=parts)):
            return frozenset().union(*(held_already(Not(p, locked.span)) for p in parts))
        case Not(part=Fact(what=what)):
            return frozenset((what.name,))
        case _:
            return frozenset()


def _asked_by(plan: Plan, signal: Signal) -> list[tuple[Observable, str]]:
    """What every line asks for that lets trains pass a signal."""
    lines = [_facts_of(plan, line.when) for line in _passing(plan, signal)]
    first = lines[0] if lines else []
    return [one for one in first if all(one in other for other in lines[1:])]


def _passing(plan: Plan, signal: Signal) -> list[Line]:
    passing = {a.name for a in plan.chart.aspects if a.permits}
    if signal.lines:
        return [line for line in signal.lines if line.shows in passing]
    lines = (line for head in signal.heads for line in head.lines)
    return [line for line in lines if line.shows not in ("red", "dark")]


def _facts_of(plan: Plan, when: Condition | None) -> list[tuple[Observable, str]]:
    """What a condition cannot hold without."""
    match when:
        case Fact(what=what) if what.kind == "condition":
            return _facts_of(plan, plan.conditions[what.name].condition)
        case Fact(what=what, values=(value,)) if what.kind in _KINDS:
            return [(what, value)]
        case All(parts=parts):
            return list(dict.fromkeys(one for part in parts for one in _facts_of(plan, part)))
        case AnyOne(parts=parts):
            every = [_facts_of(plan, part) for part in parts]
            return [one for one in every[0] if all(one in other for other in every[1:])]
        case Not(part=Fact(what=what, values=(value,))) if what.kind in _KINDS:
            others = [other for other in what.values if other != value]
            return [(what, others[0])] if len(others) == 1 else []
        case _:
            return []


def _said(facts: tuple[tuple[Observable, str], ...]) -> Held:
    names = ", ".join(what.name for what, _ in facts)
    values = {value for _, value in facts}
    other = _OTHER.get(next(iter(values))) if len(values) == 1 else None
    if other is not None:
        quantity = "any of " if len(facts) > 1 else ""
        return f"{quantity}{names} {values.pop()}", f"{names} {other}"
    held = " or ".join(f"{what.name} {value}" for what, value in facts)
    return held, " and ".join(_opposite(what, value) for what, value in facts)


def _opposite(what: Observable, value: str) -> str:
    others = [other for other in what.values if other != value]
    return f"{what.name} {others[0]}" if len(others) == 1 else f"not {what.name} {value}"


# ------------------------------------------------------------------ a lock put right


@dataclass(frozen=True, slots=True)
class Righted:
    """A condition of a lock as it may have been meant: ``why`` after "in the lock of …"."""

    text: str
    why: str
    cost: float


def righted(given: Given, condition: tree.Condition, electric: bool) -> Iterator[Righted]:
    """The condition of a lock with one part put right: what is joined by the word that belongs to
    the other kind of lock; a fact in the state that belongs there; `not` where it lacks."""
    text, start, end = given.text, condition.span.start, condition.span.end
    wrong = tree.AnyOf if electric else tree.AllOf
    word, instead = ("or", "and") if electric else ("and", "or")
    for group in _groups(condition):
        if isinstance(group, wrong):
            said = _written(text, condition, group, electric)
            yield Righted(said, f"join with `{instead}` instead of `{word}`", 1.3)
    for fact, negated in _facts(condition, False):
        if fact.state is None:
            continue
        state = fact.state.span
        said = text[state.start : state.end]
        here = text[fact.span.start : fact.span.end]
        if other := _OPPOSITE.get(said):
            new = text[start : state.start] + other + text[state.end : end]
            if said not in _OF_TRACK or said == _OF_TRACK[electric == negated]:
                cost = 1.4 if said in _OF_TRACK else 2.3
                yield Righted(new, f"ask `{other}` instead of `{here}`", cost)
        elif said in ("at stop", "done") and not negated and not electric:
            several = "all of " if len(fact.names) > 1 and not fact.quantity else ""
            new = f"{text[start : fact.span.start]}not {several}{text[fact.span.start : end]}"
            yield Righted(new, f"ask `not {several}{here}` instead of `{here}`", 1.5)


def _facts(condition: tree.Condition, negated: bool) -> Iterator[tuple[tree.Fact, bool]]:
    match condition:
        case tree.Fact():
            yield condition, negated
        case tree.Negation(part=part):
            yield from _facts(part, not negated)
        case tree.AllOf(parts=parts) | tree.AnyOf(parts=parts):
            for part in parts:
                yield from _facts(part, negated)


def _groups(condition: tree.Condition) -> Iterator[tree.Condition]:
    match condition:
        case tree.AllOf(parts=parts) | tree.AnyOf(parts=parts):
            yield condition
            for part in parts:
                yield from _groups(part)


def _written(text: str, at: tree.Condition, turned: tree.Condition, electric: bool) -> str:
    """A condition with one of its groups joined by the other word, and no more parentheses than
    that asks for."""
    match at:
        case tree.AllOf(parts=parts) | tree.AnyOf(parts=parts):
            is_and = isinstance(at, tree.AllOf) != (at is turned)
            joined = (_part(text, part, turned, electric, is_and) for part in parts)
            return (" and " if is_and else " or ").join(joined)
        case _:
            return " ".join(text[at.span.start : at.span.end].split())


def _part(
    text: str, part: tree.Condition, turned: tree.Condition, electric: bool, is_and: bool
) -> str:
    said = _written(text, part, turned, electric)
    if not isinstance(part, tree.AllOf | tree.AnyOf):
        return said
    alike = (isinstance(part, tree.AllOf) != (part is turned)) == is_and
    return said if alike else f"({said})"
