"""A condition in disjunctive normal form: rows of facts, ready for the columns of a sheet.

In: a condition of the plan, and the named conditions. Out: cases that together say exactly what
the condition says: it holds where all the facts of one of them hold, with what each leaves in
words. Named conditions are opened up; two facts about one thing become one.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import product

from verifier.plan.model import NamedCondition
from verifier.plan.observables import All, AnyOne, Condition, Fact, Not, Observable

# More cases than this are harder to read than the words.
MOST_CASES = 6

Named = Mapping[str, NamedCondition]


@dataclass(frozen=True, slots=True)
class Requirement:
    """``what`` must be in one of ``values``, listed in its own order."""

    what: Observable
    values: tuple[str, ...]


# Facts that all hold, each thing named once.
Facts = tuple[Requirement, ...]


@dataclass(frozen=True, slots=True)
class Case:
    """All of ``facts`` hold, and all of ``further``: conditions with more cases than can be
    listed, each as wanted (True) or ruled out (False)."""

    facts: Facts
    further: tuple[tuple[Condition, bool], ...] = ()


def cases(condition: Condition, named: Named, most: int = MOST_CASES) -> tuple[Case, ...]:
    """The cases of a condition, at most ``most``; none where it contradicts itself."""
    found: tuple[Facts, ...] = ((),)
    further: list[tuple[Condition, bool]] = []
    for part, wanted in _parts(condition, True, named):
        ways = _ways(part, wanted, named, most)
        if ways is None or len(found) * len(ways) > most:
            further.append((part, wanted))
        else:
            found = tuple(_both(found, ways))
    return tuple(Case(facts, tuple(further)) for facts in found)


def _parts(condition: Condition, wanted: bool, named: Named) -> Iterator[tuple[Condition, bool]]:
    """What has to hold, all of it: alternatives are left whole."""
    match condition:
        case Not(part=part):
            yield from _parts(part, not wanted, named)
        case All(parts=parts) if wanted:
            for part in parts:
                yield from _parts(part, True, named)
        case AnyOne(parts=parts) if not wanted:
            for part in parts:
                yield from _parts(part, False, named)
        case Fact() if condition.what.kind == "condition":
            yield from _parts(named[condition.what.name].condition, wanted, named)
        case _:
            yield condition, wanted


def _ways(condition: Condition, wanted: bool, named: Named, most: int) -> tuple[Facts, ...] | None:
    """Every way in which a condition holds, None where they are too many."""
    match condition:
        case Fact() if condition.what.kind == "condition":
            return _ways(named[condition.what.name].condition, wanted, named, most)
        case Fact():
            asked = requirement_of(condition, wanted)
            return ((asked,),) if asked.values else ()
        case Not(part=part):
            return _ways(part, not wanted, named, most)
        case All(parts=parts) | AnyOne(parts=parts):
            each = [_ways(part, wanted, named, most) for part in parts]
            if any(ways is None for ways in each):
                return None
            known = [ways for ways in each if ways is not None]
            if isinstance(condition, AnyOne) == wanted:
                together = tuple(dict.fromkeys(facts for ways in known for facts in ways))
                return together if len(together) <= most else None
            found: tuple[Facts, ...] = ((),)
            for ways in known:
                if len(found) * len(ways) > most:
                    return None
                found = tuple(_both(found, ways))
            return found


def requirement_of(says: Fact, wanted: bool) -> Requirement:
    """What a fact requires, or what remains when it is ruled out."""
    values = tuple(v for v in says.what.values if (v in says.values) == wanted)
    return Requirement(says.what, values)


def _both(one: Iterable[Facts], other: Iterable[Facts]) -> Iterator[Facts]:
    """Every case of one with every case of the other, without those that cannot be."""
    for first, second in product(one, other):
        together = _together((*first, *second))
        if together is not None:
            yield together


def _together(facts: Facts) -> Facts | None:
    """Facts about one thing as one fact; None where they contradict each other."""
    found: dict[Observable, Requirement] = {}
    for asked in facts:
        before = found.get(asked.what)
        if before is not None:
            asked = Requirement(asked.what, tuple(v for v in before.values if v in asked.values))
        if not asked.values:
            return None
        found[asked.what] = asked
    return tuple(found.values())
