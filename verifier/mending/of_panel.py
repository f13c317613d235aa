"""What keeps conflicting signals apart: a lever, a lock between levers, a traffic lever that other
lines ask already.

In: conflicting signals that clear together. Out: proposals, the usual ones first. A cross-check of
one signal by the other is proposed with the rules (:mod:`verifier.mending.of_rules`).
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from verifier.language.syntax import tree
from verifier.mending.changes import Proposal, after, before
from verifier.mending.given import Given, conjoined
from verifier.plan.model import Plan, Signal
from verifier.properties.obligation import Obligation

CONFLICTING = frozenset(("opposing-proceeds", "converging-proceeds", "crossing-proceeds"))
# What the positions of a lever are called on its two sides.
_SIDES = {"rightward": "right", "leftward": "left"}


@dataclass(frozen=True, slots=True)
class _Lines:
    """A signal and those of its lines that let trains pass."""

    signal: tree.Signal
    rules: tuple[tree.Rule, ...]


def levers(given: Given, obligation: Obligation) -> Iterator[Proposal]:
    """Levers in place of signals that watch each other."""
    if obligation.property not in CONFLICTING:
        return
    sides = _two_sides(given, obligation)
    if sides is None:
        return
    lines = [[_passing(given, name) for name in side] for side in sides]
    if not all(one is not None and one.rules for side in lines for one in side):
        return
    known = [[one for one in side if one is not None] for side in lines]
    yield from _frame(given, known, obligation)
    yield from _same_lever(given, known)
    if not any(_lever_asked(rule, given) for side in known for one in side for rule in one.rules):
        yield from _new_lever(given, sides, known)


def _two_sides(given: Given, obligation: Obligation) -> tuple[list[str], list[str]] | None:
    """All signals that such conflicts tie to those of an obligation, each on one of two sides; None
    where two sides are not enough."""
    ties: dict[str, set[str]] = {}
    for verdict in given.broken.values():
        pair = verdict.obligation.signals
        if verdict.obligation.property in CONFLICTING and len(pair) == 2:
            ties.setdefault(pair[0], set()).add(pair[1])
            ties.setdefault(pair[1], set()).add(pair[0])
    first = obligation.signals[0] if obligation.signals else ""
    if first not in ties:
        return None
    side, waiting = {first: 0}, [first]
    while waiting:
        name = waiting.pop()
        for other in sorted(ties[name]):
            if other not in side:
                side[other] = 1 - side[name]
                waiting.append(other)
            elif side[other] == side[name]:
                return None
    order = [name for name in given.plan.signals if name in side]
    return [n for n in order if side[n] == 0], [n for n in order if side[n] == 1]


def _passing(given: Given, name: str) -> _Lines | None:
    statement = given.declaring(name)
    if not isinstance(statement, tree.Signal) or not statement.rules:
        return None
    passing = {a.name for a in given.plan.chart.aspects if a.permits}
    rules = [r for r in statement.rules if r.shows.text in passing]
    if any(rule.when is None for rule in rules):
        return None
    return _Lines(statement, tuple(rules))


def _lever_asked(rule: tree.Rule, given: Given) -> dict[str, str]:
    """The levers that a line asks for in any case, and the positions."""
    names = {what.name for what in given.plan.inputs if what.kind == "lever"}
    parts = rule.when.parts if isinstance(rule.when, tree.AllOf) else (rule.when,)
    return {
        part.names[0].text: given.text[part.state.span.start : part.state.span.end]
        for part in parts
        if isinstance(part, tree.Fact) and part.state is not None and part.names[0].text in names
    }


def _frame(
    given: Given, sides: Sequence[Sequence[_Lines]], obligation: Obligation
) -> Iterator[Proposal]:
    """A lock of the frame between the levers of the two signals; then between those of all pairs
    that are cleared together."""
    asked = {one.signal.name.text: _always_asked(one, given) for side in sides for one in side}
    own = list(_pair_locked(given, asked, obligation))
    yield from own
    every = own[0] if own else None
    for verdict in given.broken.values():
        other = verdict.obligation
        if other.property in CONFLICTING and other.key != obligation.key:
            more = next(_pair_locked(given, asked, other), None)
            every = every.also(more) if every and more else None
    if every is not None and every not in own:
        yield replace(every, cost=1)


def _always_asked(one: _Lines, given: Given) -> dict[str, str]:
    """The levers that all lines of a signal ask for in one position."""
    first, *rest = (_lever_asked(rule, given) for rule in one.rules)
    return {
        lever: position for lever, position in first.items()
        if all(other.get(lever) == position for other in rest)
    }  # fmt: skip


def _pair_locked(
    given: Given, asked: Mapping[str, Mapping[str, str]], obligation: Obligation
) -> Iterator[Proposal]:
    known = list(given.of_kind(tree.LeverLock))
    locks: list[tree.Statement] = [*known] or [*given.of_kind(tree.Lever)]
    first, second = (asked.get(name, {}) for name in obligation.signals[:2])
    for lever, position in first.items():
        for other, pulled in second.items():
            rest = _other_position(given.plan, other, pulled)
            if lever != other and locks and rest:
                text = f"lever {lever} {position} locks {other} {rest}"
                why = f"let the frame lock lever {other} while lever {lever} is {position}"
                yield Proposal(why, 1, (after(given.text, locks[-1].span, text),))


def _other_position(plan: Plan, lever: str, pulled: str) -> str:
    found = next((w for w in plan.inputs if w.kind == "lever" and w.name == lever), None)
    others = [v for v in found.values if v != pulled] if found else []
    return "normal" if "normal" in others else others[0] if len(others) == 1 else ""


def _same_lever(given: Given, sides: Sequence[Sequence[_Lines]]) -> Iterator[Proposal]:
    """A lever that some of these lines ask in a position for their side, asked by all the rest."""
    positions: dict[str, list[set[str]]] = {}
    for number, side in enumerate(sides):
        for one in side:
            for rule in one.rules:
                for lever, position in _lever_asked(rule, given).items():
                    positions.setdefault(lever, [set(), set()])[number].add(position)
    for lever, (here, there) in positions.items():
        if len(here) > 1 or len(there) > 1 or here & there:
            continue
        unasked = [side for side, known in zip(sides, (here, there), strict=True) if not known]
        if any(_lever_asked(rule, given) for side in unasked for one in side for rule in one.rules):
            continue  # these have levers of their own
        found = next(w for w in given.plan.inputs if w.kind == "lever" and w.name == lever)
        free = [v for v in found.values if v not in here | there and v != "normal"]
        free += [v for v in found.values if v not in here | there and v not in free]
        each = [next(iter(here), ""), next(iter(there), "")]
        each = [p or (free.pop(0) if free else "") for p in each]
        if not all(each):
            continue
        changes = [
            change
            for side, position in zip(sides, each, strict=True)
            for one in side
            for rule in one.rules
            if lever not in _lever_asked(rule, given) and rule.when is not None
            for change in conjoined(rule.when, f"{lever} {position}")
        ]
        if changes:
            yield Proposal(f"let every line ask lever {lever} too", 1, tuple(changes))


def _new_lever(
    given: Given, sides: tuple[list[str], list[str]], lines: Sequence[Sequence[_Lines]]
) -> Iterator[Proposal]:
    """A new lever, for one side at a time."""
    ways = [_way([given.plan.signals[name] for name in side], given.plan) for side in sides]
    if None not in ways and ways[0] != ways[1]:
        positions = [_SIDES[way] for way in ways if way]
        said = "left, normal, right"
    else:
        positions, said = ["normal", "reverse"], "normal, reverse"
    first = lines[0][0].signal
    number = first.name.text.rstrip("LRAB")
    name = given.free_name(*([number] if number.isdigit() else []), f"{first.name.text}-lever")
    changes = [
        change
        for side, position in zip(lines, positions, strict=True)
        for one in side
        for rule in one.rules
        if rule.when is not None
        for change in conjoined(rule.when, f"{name} {position}")
    ]
    earliest = min((one.signal for side in lines for one in side), key=lambda s: s.span.start)
    statement = f"lever {name} positions {said}\n"
    why = f"give the dispatcher a lever {name}: only one side is cleared at a time"
    placed = before(given.text, earliest.span, statement)
    yield Proposal(why, 2, (placed, *changes))


def _way(signals: Iterable[Signal], plan: Plan) -> str | None:
    """The way that trains run past signals, as the track is drawn; None where it differs."""
    drawn: Mapping[str, tuple[str, str]] = {
        placed.piece: (placed.left, placed.right) for row in plan.track.rows for placed in row
    }
    found = set()
    for signal in signals:
        left, right = drawn.get(signal.enters.piece, ("", ""))
        end = signal.enters.end
        if end == left:
            found.add("rightward")
        elif end == right:
            found.add("leftward")
        else:
            # A leg that this row does not draw lies on the side of the other leg.
            found.add("leftward" if left == "points" else "rightward")
    return found.pop() if len(found) == 1 else None
