"""How points, derails and gates may lie when a history starts.

In: the statements, and how each turnout is thrown. Out: the positions that each may have at the
start, where these are not both, and which start alike. Machines are at rest then: nothing lies open
on its way, and what a rule throws lies as the rule says. Without a word of the file, and without a
rule, either position is possible: safe, since more histories start.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

from verifier.language.source import Span
from verifier.language.syntax import tree
from verifier.plan.locking.locking_model import Locking, Starts, Throw
from verifier.plan.locking.points_control import Moving
from verifier.plan.model import Crossover, NamedCondition
from verifier.plan.names import Names
from verifier.plan.observables import All, AnyOne, Condition, Fact, Not

# At rest, the usual position first.
POSITIONS: Mapping[str, tuple[str, str]] = {
    "turnout": ("normal", "reverse"),
    "slip": ("normal", "reverse"),
    "derail": ("derailing", "non-derailing"),
    "gate": ("seated", "open"),
}
# What memory is at the start.
_MEMORY: Mapping[str, str] = {"relay": "down", "timer": "idle", "traffic": "rightward"}


class _Said(NamedTuple):
    """What a clause says, and where."""

    position: str
    span: Span


def read_starts(
    statements: Sequence[tree.Statement],
    crossovers: Iterable[Crossover],
    locking: Locking,
    named: Mapping[str, NamedCondition],
    names: Names,
) -> Starts:
    """The start of everything that moves; errors are noted in ``names``."""
    said = dict(_said(statements, names))
    positions = {name: (given.position,) for name, given in said.items()}
    for name, throw in locking.throws.items():
        away = _by_rule(throw, locking, named)
        ruled = None if away is None else POSITIONS[names.table[name].kind][away]
        given = said.get(name)
        if ruled is not None and given is not None and given.position != ruled:
            rule = throw.away_when.span if throw.away_when else throw.span
            names.error(
                "CP765", given.span, "rule", others=[rule],
                name=name, position=given.position, ruled=ruled,
            )  # fmt: skip
        elif ruled is not None:
            positions.setdefault(name, (ruled,))
    alike = tuple(_together(crossovers, locking.throws, names))
    for group in alike:
        _agree(group, said, names)
        one = next((positions[name] for name in group if name in positions), None)
        positions |= {name: one for name in group if one is not None}
    return Starts(positions, alike)


def _said(statements: Iterable[tree.Statement], names: Names) -> Iterator[tuple[str, _Said]]:
    for s in statements:
        if not isinstance(s, Moving):
            continue
        clauses = {clause.kind: clause for clause in reversed(s.clauses)}
        clause, pipe = clauses.get("starts"), clauses.get("pipe-connected")
        if clause is None:
            continue
        name, said = s.names[0].text, clause.words[0]
        kind = names.table[name].kind
        if pipe is not None:
            of = pipe.names[0].text
            names.error("CP763", clause.span, others=[pipe.span], name=name, of=of)
        elif said.text not in POSITIONS[kind]:
            names.error(
                "CP765", said.span, kind=kind, name=name, position=said.text,
                positions=list(POSITIONS[kind]),
            )  # fmt: skip
        else:
            for each in s.names:
                yield each.text, _Said(said.text, clause.span)


def _together(
    crossovers: Iterable[Crossover], throws: Mapping[str, Throw], names: Names
) -> Iterator[tuple[str, ...]]:
    """The ends of each crossover; what one lever or one pair of buttons throws, and nothing
    locks."""
    groups: dict[object, list[str]] = {}
    for name, throw in throws.items():
        if throw.by in ("lever", "buttons") and throw.locked is None:
            positions = POSITIONS[names.table[name].kind]
            groups.setdefault((throw.lever, throw.buttons, positions), []).append(name)
    found = [list(crossover.ends) for crossover in crossovers]
    found += [group for group in groups.values() if len(group) > 1]
    while found:
        group = found.pop(0)
        for other in [other for other in found if not set(group).isdisjoint(other)]:
            group += [name for name in other if name not in group]
            found.remove(other)
        yield tuple(group)


def _agree(group: Sequence[str], said: Mapping[str, _Said], names: Names) -> None:
    given = [(name, said[name]) for name in group if name in said]
    for name, other in given[1:]:
        first, one = given[0]
        if one.position != other.position:
            names.error(
                "CP766", other.span, others=[one.span],
                name=name, position=other.position, first=first, against=one.position,
            )  # fmt: skip


# ------------------------------------------------------------------ rules at the start


def _by_rule(throw: Throw, locking: Locking, named: Mapping[str, NamedCondition]) -> bool | None:
    """Whether a rule holds it out of its normal position at the start; None where that depends on
    what people do, or a lock may hold it."""
    if throw.by != "rule" or throw.away_when is None:
        return None
    if throw.locked is not None and _at_start(throw.locked, locking, named) is not False:
        return None
    return _at_start(throw.away_when, locking, named)


def _at_start(
    condition: Condition, locking: Locking, named: Mapping[str, NamedCondition]
) -> bool | None:
    """Whether a condition holds at the start; None where that is not known from memory and vacant
    track alone."""
    match condition:
        case Fact(what=what, values=values) if what.kind in _MEMORY:
            return _MEMORY[what.kind] in values
        case Fact(what=what, values=values) if what.kind == "block report":
            return None if what.name in locking.running.start_on else "clear" in values
        case Fact(what=what, values=values) if what.kind == "condition":
            if what.name not in named:
                return None
            holds = _at_start(named[what.name].condition, locking, named)
            return holds if holds is None or "true" in values else not holds
        case Fact():
            return None
        case Not(part=part):
            holds = _at_start(part, locking, named)
            return None if holds is None else not holds
        case All(parts=parts):
            return _joined([_at_start(part, locking, named) for part in parts], ends=False)
        case AnyOne(parts=parts):
            return _joined([_at_start(part, locking, named) for part in parts], ends=True)


def _joined(parts: Sequence[bool | None], *, ends: bool) -> bool | None:
    """``ends`` as soon as one part is it; the opposite once all are; else not known."""
    if ends in parts:
        return ends
    return None if None in parts else not ends
