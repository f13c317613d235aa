"""Census of the panel: what indicators and bells must never say.

Of each thing that an indicator repeats there is what makes people careful (a train, points that lie
neither way, an open gate, a signal that lets trains pass) and its contrary, which they rely on. An
indicator may be on without cause only where on makes people careful, and off only where off does.
"""

from verifier.census.says import Must, Musts, all_of, any_of, no
from verifier.census.survey import Survey
from verifier.logic.expr import Expr, atom
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import All, AnyOne, Condition, Fact, Not, Observable


def indicator_misleads(survey: Survey) -> Musts:
    """Every indicator or bell that repeats something of the track or of a signal. Where it is on by
    something that people rely on, it is not on unless that is so; where by something that makes
    them careful, it is not off while that is so; but where others say the contrary while they are
    on, people go by these."""
    plan = survey.plan
    for name, indicator in plan.indicators.items():
        about, careful = _about(indicator.when, plan)
        if not about or (careful and _said_elsewhere(indicator.when, plan)):
            continue
        lamp = Observable("indicator", name, ("off", "on"), "off")
        so = _really(indicator.when, plan)
        wrong = all_of(atom(lamp, "off"), so) if careful else all_of(atom(lamp, "on"), no(so))
        yield Must((name,), wrong, tuple(n for n in _named(indicator.when, plan)
                                         if n in plan.signals))  # fmt: skip


def _about(condition: Condition, plan: Plan) -> tuple[bool, bool]:
    """Whether it is about the track or signals; and whether what it says makes people careful."""
    match condition:
        case Fact(what=what) if what.kind == "condition":
            return _about(plan.conditions[what.name].condition, plan)
        case Fact(what=what, values=values):
            match what.kind:
                case "block report":
                    return True, "occupied" in values
                case "points report" | "derail report":
                    return True, "moving" in values
                case "gate report":
                    return True, "open" in values
                case "aspect":
                    clears = {a.name for a in plan.chart.aspects if a.indication.speed != "stop"}
                    return True, not clears.isdisjoint(values)
                case "color":
                    return True, not {"red", "dark"}.issuperset(values)
            return False, False
        case Not(part=part):
            about, careful = _about(part, plan)
            return about, not careful
        case All(parts=parts) | AnyOne(parts=parts):
            found = [careful for about, careful in (_about(p, plan) for p in parts) if about]
            return bool(found), any(found)


def _said_elsewhere(condition: Condition, plan: Plan) -> bool:
    """Whether an indicator that people rely on while it is on tells of each thing in a condition
    that it is otherwise."""
    asked = _plainly(condition)
    for other in plan.indicators.values():
        about, careful = _about(other.when, plan)
        told = None if isinstance(other.when, AnyOne) else _plainly(other.when)
        if about and not careful and asked is not None and told is not None:
            pairs = {(fact.what, value) for fact in told for value in fact.what.values
                     if value not in fact.values}  # fmt: skip
            known = {fact.what for fact in told}
            if all(fact.what in known and {(fact.what, v) for v in fact.values} <= pairs
                   for fact in asked):  # fmt: skip
                return True
    return False


def _plainly(condition: Condition) -> list[Fact] | None:
    """The facts of a condition without parts of parts and without `not`; None for any other."""
    parts = list(condition.parts) if isinstance(condition, All | AnyOne) else [condition]
    return [p for p in parts if isinstance(p, Fact)] if all(
        isinstance(part, Fact) for part in parts) else None  # fmt: skip


def _really(condition: Condition, plan: Plan) -> Expr:
    """What a condition says, of things as they are and of signals as they are read."""
    match condition:
        case Fact(what=what, values=values):
            match what.kind:
                case "condition":
                    inner = _really(plan.conditions[what.name].condition, plan)
                    return inner if "true" in values else no(inner)
                case "block report":
                    there = atom(observables.stock(what.name), "occupied")
                    return there if "occupied" in values else no(there)
                case "points report":
                    return atom(observables.points(what.name), *map(_lies, values))
                case "derail report":
                    return atom(observables.derail(what.name), *map(_lies, values))
                case "gate report":
                    return atom(observables.gate(what.name), *values)
                case "aspect":
                    return atom(plan.signals[what.name].reading, *values)
                case "color":
                    return atom(observables.lens(what.name, what.values), *values)
            return atom(what, *values)
        case Not(part=part):
            return no(_really(part, plan))
        case All(parts=parts):
            return all_of(*(_really(part, plan) for part in parts))
        case AnyOne(parts=parts):
            return any_of(*(_really(part, plan) for part in parts))


def _lies(reported: str) -> str:
    return "open" if reported == "moving" else reported


def _named(condition: Condition, plan: Plan) -> tuple[str, ...]:
    """All that a condition names, named conditions opened, each once; of heads, their signals."""
    owners = {head.name: s.name for s in plan.signals.values() for head in s.heads}
    match condition:
        case Fact(what=what) if what.kind == "condition":
            return _named(plan.conditions[what.name].condition, plan)
        case Fact(what=what):
            return (owners.get(what.name, what.name),)
        case Not(part=part):
            return _named(part, plan)
        case All(parts=parts) | AnyOne(parts=parts):
            found = (name for part in parts for name in _named(part, plan))
            return tuple(dict.fromkeys(found))
