"""Changes of equipment: fuses, machines, frogs, detectors, wheelsets, the aspect chart.

In: something broken. Out: proposals, each of one kind of part.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction

from verifier.language.source import Span
from verifier.language.syntax import tree
from verifier.mending.changes import Change, Proposal, further_clause, instead
from verifier.mending.given import Given, clauses_of
from verifier.mending.written import wiring_changes
from verifier.properties.amounts import decimal
from verifier.properties.catalog import BY_NAME
from verifier.properties.obligation import Obligation
from verifier.repair.new_equipment import spots
from verifier.repair.wiring_edits import edits, scope_of

# Ratings in which fuses are sold, in A, the largest first (common practice, no source).
_RATINGS = tuple(map(Fraction, ("10", "7.5", "5", "4", "3", "2.5", "2", "1.5", "1", "0.75", "0.5",
                                "0.25")))  # fmt: skip
# Colors with which a light may replace another.
_LIGHTS = ("flashing yellow", "flashing red", "yellow", "lunar", "flashing lunar")


def wiring(given: Given, obligation: Obligation) -> Iterator[Proposal]:
    """All single changes of the wiring that may help, and spots set closer."""
    plan = given.plan
    verdict = given.broken.get(obligation.key)
    finding = verdict.finding if verdict else None
    scope = scope_of(plan, obligation, [what for what, _ in finding.situation] if finding else [])
    made = edits(plan, scope) if plan.wiring.given else []
    if obligation.property == "train-hidden":
        made += list(spots(plan, scope))
    for edit in made:
        changes = wiring_changes(plan, edit.steps, in_modules=True)
        if changes:
            why = "; ".join(step.text for step in edit.steps)
            yield Proposal(why, wiring_cost(edit.cost, obligation), changes)


def wiring_cost(cost: int, obligation: Obligation) -> float:
    """What a change of the wiring costs among others: little where the trouble is in the wiring,
    more than a change of the rules where it may be in these."""
    entry = BY_NAME.get(obligation.property)
    in_wiring = entry is not None and entry.group in ("wiring", "distances", "failures")
    return cost / 8 if in_wiring else 2 + cost / 8


def fuses(given: Given, obligation: Obligation) -> Iterator[Proposal]:
    """A smaller fuse at the supply, as large as will do."""
    if obligation.property not in ("fuse-too-large", "wire-ampacity", "wire-overloaded"):
        return
    statement = given.declaring(obligation.subjects[0])
    if statement is None:
        return
    fuse = next(iter(clauses_of(statement, "fuse")), None) or getattr(statement, "fuse", None)
    if fuse is None or not fuse.lengths:
        return
    rated, *trips = (length[0] for length in fuse.lengths)
    for k, smaller in enumerate(r for r in _RATINGS if r < Fraction(rated.number)):
        changes = [instead(rated.span, f"{decimal(smaller)} A")]
        changes += [instead(one.span, f"{decimal(smaller * 2)} A") for one in trips]
        why = f"use a fuse of {decimal(smaller)} A at {obligation.subjects[0]}"
        yield Proposal(why, 3 + k / 100, tuple(changes))


def clauses(given: Given, obligation: Obligation) -> Iterator[Proposal]:
    """A clause that the part lacks, or another in its place; then the same for all such parts."""
    made = list(_of_one(given, obligation))
    yield from made
    alike = [
        v.obligation for v in given.broken.values() if v.obligation.property == obligation.property
    ]
    for k, one in enumerate(made):
        for other in alike:
            several = list(_of_one(given, other)) if other.key != obligation.key else []
            one = one.also(several[k]) if k < len(several) else one
        yield replace(one, cost=made[k].cost + 0.5)


def _of_one(given: Given, obligation: Obligation) -> Iterator[Proposal]:
    name = obligation.subjects[0] if obligation.subjects else ""
    statement = given.declaring(name)
    if statement is None:
        return
    match obligation.property:
        case "coil-burns":
            change = further_clause(given.text, statement.span, "pulse 50 ms")
            yield Proposal(f"throw {name} by pulses of 50 ms, from a capacitor discharge unit", 3,
                           (change,))  # fmt: skip
        case "frog-shorts":
            for how in ("contacts", "points"):
                change = _clause(given, statement, "frog", f"frog live by {how}")
                yield Proposal(f"let the {how} of {name} set its frog", 3, (change,))
        case "detector-cannot-sense":
            if by := clauses_of(statement, "by"):
                change = instead(by[0].span, "by biased diodes")
                yield Proposal(f"use a detector for DC as {name}, with biased diodes", 8, (change,))


def _clause(given: Given, statement: tree.Statement, kind: tree.ClauseKind, text: str) -> Change:
    """A clause in place of that of its kind, or one more."""
    there = clauses_of(statement, kind)
    if there:
        return instead(there[0].span, text)
    return further_clause(given.text, statement.span, text)


def wheelsets(given: Given, obligation: Obligation) -> Iterator[Proposal]:
    """Cars that draw current, where detectors see engines only."""
    if obligation.property not in ("proceed-into-occupied", "points-move-under-train", "collision"):
        return
    for statement in given.of_kind(tree.Trains):
        seen = clauses_of(statement, "detectable")
        text = given.text[seen[0].span.start : seen[0].span.end] if seen else ""
        if not seen or text.split() == ["detectable", "throughout"]:
            continue
        ohms = "" if clauses_of(statement, "wheelsets") else ", wheelsets 10 kohm"
        change = instead(seen[0].span, f"detectable throughout{ohms}")
        yield Proposal("give every car wheelsets that draw current", 8, (change,))


def finer_detectors(given: Given, obligation: Obligation) -> Iterator[Proposal]:
    """All detectors of the blocks concerned more sensitive, with more turns."""
    plan = given.plan
    verdict = given.broken.get(obligation.key)
    finding = verdict.finding if verdict else None
    if not plan.wiring.given or finding is None:
        return
    scope = scope_of(plan, obligation, [what for what, _ in finding.situation])
    detectors = [
        d for block in scope.blocks for d in plan.wiring.detectors_of(block)
        if d.kind == "current-sensing" and d.sensitivity is not None
    ]  # fmt: skip
    if len(detectors) < 2:
        return
    for k, (turns, least) in enumerate(((2, ""), (4, ""), (2, "1 mA"), (4, "1 mA"))):
        changes: list[Change] = []
        for d in detectors:
            statement = given.declaring(d.name)
            if statement is None:
                return
            if d.turns < turns:
                changes += [_clause(given, statement, "turns", f"turns {turns}")]
            if least and d.sensitivity is not None and d.sensitivity * 1000 > 1:
                changes += [_clause(given, statement, "sensitivity", f"sensitivity {least}")]
        if changes:
            finer = f", each sensitive to {least}" if least else ""
            names = ", ".join(d.name for d in detectors)
            why = f"wind the feeders {turns} times through {names}{finer}"
            yield Proposal(why, 9 + k / 10, tuple(changes))


# ------------------------------------------------------------------ the aspect chart


def lights(given: Given, obligation: Obligation) -> Iterator[Proposal]:
    """Another light for an aspect that fails to a better one."""
    if obligation.property != "flasher-stopped":
        return
    for statement in given.of_kind(tree.Aspect):
        for combination in statement.combinations:
            for color in combination.colors:
                if not color.text.startswith("flashing"):
                    continue
                for other in _LIGHTS:
                    if other != color.text:
                        why = f"show {statement.name.text} by {other} instead of {color.text}"
                        yield Proposal(why, 9, (instead(color.span, other),))


def plates(given: Given, obligation: Obligation) -> Iterator[Proposal]:
    """Plates turned round: one marks the less restrictive aspect, not the stricter one."""
    if obligation.property != "plate-missing":
        return
    aspects = list(given.of_kind(tree.Aspect))
    marked = [a for a in aspects if any(c.plate for c in a.combinations)]
    bare = [a for a in aspects if a not in marked]
    if not marked or not bare:
        return
    shown = {a.name.text for a in bare}
    changes = [
        Change(c.colors[-1].span.end, c.plate.span.end, 0, "")
        for a in marked for c in a.combinations if c.plate
    ]  # fmt: skip
    changes += [
        Change(c.span.end, c.span.end, 0, " with number plate")
        for a in bare for c in a.combinations
    ]  # fmt: skip
    for signal in given.of_kind(tree.Signal):
        shows = any(rule.shows.text in shown for rule in signal.rules)
        end = _post_end(signal)
        if signal.plate is not None and not shows:
            changes.append(Change(end.end, signal.plate.span.end, 0, ""))
        elif signal.plate is None and shows:
            changes.append(Change(end.end, end.end, 0, " with number plate"))
    said = " and ".join(a.name.text for a in bare)
    yield Proposal(f"let a number plate mark {said}, and nothing the stricter", 9, tuple(changes))


def _post_end(signal: tree.Signal) -> Span:
    """The last word before the plate of a signal."""
    stands: Sequence[tree.Amount] = signal.stands
    return stands[-1].span if stands else signal.far.span
