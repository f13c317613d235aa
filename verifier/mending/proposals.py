"""All proposals for one broken obligation, the smallest and most usual first.

In: a file and what is broken. Out: proposals, none of them proved: first what the report has proved
already, then what belongs to the property, then every small change of a condition nearby.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace

from verifier.mending.changes import Change, Proposal
from verifier.mending.given import Given
from verifier.mending.of_equipment import (
    clauses,
    finer_detectors,
    fuses,
    lights,
    plates,
    wheelsets,
    wiring,
    wiring_cost,
)
from verifier.mending.of_locks import (
    edges,
    locks,
    locks_without_power,
    promises,
    starts,
    times,
)
from verifier.mending.of_panel import levers
from verifier.mending.of_rules import (
    asked_too_much,
    joined_wrongly,
    left_out,
    less_promised,
    order_of_lines,
    otherwise,
    wrong_words,
)
from verifier.mending.of_track import cut_rails, derails, longer_sections, reversers
from verifier.mending.written import rule_changes, wiring_changes
from verifier.properties.obligation import Obligation
from verifier.verdicts.report import Verdict

_ALL: tuple[Callable[[Given, Obligation], Iterator[Proposal]], ...] = (
    levers, times, locks, locks_without_power, otherwise, order_of_lines, clauses, fuses, cut_rails,
    less_promised, derails, wheelsets, wiring, finer_detectors, lights, plates, starts, edges,
    reversers, longer_sections, promises,
)  # fmt: skip
_CONDITIONS = (asked_too_much, left_out, wrong_words, joined_wrongly)


def proposals(given: Given, verdict: Verdict) -> list[Proposal]:
    """All that may mend one finding, those that the report has proved among them."""
    found = [*proved_already(given, verdict)]
    for make in _ALL:
        found += make(given, verdict.obligation)
    if verdict.obligation.over == "for good":
        for make in _CONDITIONS:
            found += (replace(one, cost=one.cost + 6) for one in make(given, verdict.obligation))
    else:
        for make in _CONDITIONS:
            found += make(given, verdict.obligation)
    unique: dict[frozenset[Change], Proposal] = {}
    for one in found:
        one = replace(one, changes=given.localized(one.changes))
        if one.changes:
            unique.setdefault(frozenset(one.changes), one)
    return sorted(unique.values(), key=lambda one: one.cost)


def proved_already(given: Given, verdict: Verdict) -> Iterator[Proposal]:
    """Repairs that were proved to mend this finding."""
    finding = verdict.finding
    if finding is None:
        return
    if finding.mending and (changes := rule_changes(given.plan, finding.mending, in_modules=True)):
        added = "; ".join(
            f"ask `{a.condition}` too in `{a.shows} when …` of {a.owner}" for a in finding.mending
        )
        races = finding.race is not None or finding.tangle is not None
        yield Proposal(added, (1 if races else 2) + len(finding.mending) / 10, changes)
    if finding.rewiring and (
        changes := wiring_changes(given.plan, finding.rewiring, in_modules=True)
    ):
        steps = "; ".join(step.text for step in finding.rewiring)
        yield Proposal(
            steps,
            wiring_cost(max(step.cost for step in finding.rewiring), verdict.obligation),
            changes,
        )
