"""Indicators and bells, from their statements.

In: their statements. Out: each by its name; errors are noted.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import assert_never

from verifier.language.syntax import tree
from verifier.plan.conditions import resolve
from verifier.plan.model import NamedCondition
from verifier.plan.observables import UNLISTED, All, AnyOne, Condition, Fact, Not
from verifier.plan.panel import Indicator, Side
from verifier.plan.signals.aspects import Chart
from verifier.plan.vocabulary import Vocabulary

_OTHER: dict[Side, Side] = {"on": "off", "off": "on"}


def read_indicators(
    statements: Iterable[tree.Statement], words: Vocabulary, named: Mapping[str, NamedCondition]
) -> dict[str, Indicator]:
    """Every indicator and bell of a file; errors are noted."""
    found = {}
    for node in tree.of_kind(statements, tree.Indicator):
        when = resolve(node.when, words, in_rule=True)
        if when is None:
            continue
        sides = dict.fromkeys(_sides(when, named, words.chart))
        if len(sides) > 1:
            words.names.error("CP678", node.when.span, name=node.name.text)
            continue
        name, relied = node.name.text, next(iter(sides), None)
        found[name] = Indicator(name, node.bell, when, relied == "off", relied, node.span)
    return {
        name: replace(each, relied=None) if any(_says(other, each) for other in found.values())
        else each
        for name, each in found.items()
    }  # fmt: skip


def _says(one: Indicator, other: Indicator) -> bool:
    """Whether one says while it is on what another says by being off: people go by the former. It
    says so of all that the other is about."""
    if (one.relied, other.relied) != ("on", "off"):
        return False
    said, asked = _facts(one.when), _facts(other.when)
    if isinstance(one.when, AnyOne) or said is None or asked is None:
        return False
    return all(
        any(fact.what == about.what and not set(fact.values) & set(about.values) for fact in said)
        for about in asked
    )


def _facts(condition: Condition) -> tuple[Fact, ...] | None:
    """The facts of a condition that is nothing but one, or all or any of several."""
    match condition:
        case Fact():
            return (condition,)
        case All(parts=parts) | AnyOne(parts=parts):
            facts = tuple(part for part in parts if isinstance(part, Fact))
            return facts if len(facts) == len(parts) else None
    return None


# What people rely on of what is reported.
_RELIED = {
    "block report": ("clear",), "points report": ("normal", "reverse"),
    "derail report": ("derailing", "non-derailing"), "gate report": ("seated",),
}  # fmt: skip


def _sides(
    condition: Condition, named: Mapping[str, NamedCondition], chart: Chart
) -> Iterator[Side]:
    """For each fact about the track, whether people rely on it where the condition holds."""
    match condition:
        case Fact(what=what) if what.kind == "condition":
            if what.name in named:  # else it has an error of its own
                yield from _sides(named[what.name].condition, named, chart)
        case Fact():
            side = _side(condition, chart)
            if side is not None:
                yield side
        case Not(part=part):
            yield from (_OTHER[side] for side in _sides(part, named, chart))
        case All(parts=parts) | AnyOne(parts=parts):
            for part in parts:
                yield from _sides(part, named, chart)
        case _:
            assert_never(condition)


def _side(fact: Fact, chart: Chart) -> Side | None:
    """Whether it is relied on that a fact holds, or that it does not; None where neither can be
    other than it is said to be. Of a signal it is relied on that it does not let trains pass."""
    relied = _RELIED.get(fact.what.kind)
    if relied is not None:
        return "on" if set(fact.values) <= set(relied) else "off"
    if fact.what.kind == "color":
        return "on" if set(fact.values) <= {"red", "dark"} else "off"
    if fact.what.kind == "aspect":
        stops = {aspect.name for aspect in chart.aspects if not aspect.clears} | {UNLISTED}
        return "on" if set(fact.values) <= stops else "off"
    return None
