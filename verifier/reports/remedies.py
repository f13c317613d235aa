"""What to do about a finding: changes of the rules and of the wiring, or advice in words.

In: a verdict. Out: remedies, each a sentence that leads to steps, every step with its place in
the file.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from verifier.language.source import Span
from verifier.properties.obligation import Lock
from verifier.reports.words import in_a_row
from verifier.verdicts.report import Finding, Race, Tangle, Verdict


@dataclass(frozen=True, slots=True)
class RemedyStep:
    text: str
    span: Span


@dataclass(frozen=True, slots=True)
class Remedy:
    """``lead`` stands alone where there are no steps."""

    lead: str
    steps: tuple[RemedyStep, ...] = ()


def remedies(verdict: Verdict) -> Iterator[Remedy]:
    """Ways to repair it, the proved ones first."""
    finding, hint = verdict.finding, verdict.obligation.hint
    if finding is not None and finding.race is not None:
        yield _order(finding.race, cured=bool(finding.mending or finding.rewiring))
    if finding is not None and finding.tangle is not None:
        yield _orders(finding.tangle, cured=bool(finding.mending or finding.rewiring))
    if finding is not None and finding.mending:
        yield _rules(finding)
    elif hint and not (finding and finding.rewiring):
        sure = " (proved: it can no longer happen, and routes can be set as before)"
        proved = sure if finding is not None and finding.hint_proved else ""
        yield Remedy(f"To mend it{proved}: {in_a_row(hint)}")
    if finding is None:
        return
    if finding.rewiring:
        yield _wiring(finding)
    yield from _in_modules(finding, verdict.obligation.lock)
    if verdict.obligation.property == "opposing-proceeds" and len(finding.causes) == 2:
        both = ", ".join(verdict.obligation.subjects)
        yield Remedy(
            "Or, where a dispatcher gives trains their authority before they move, waive it: "
            f'`waive opposing-proceeds for {both} because "…"`.'
        )


NO_CURE = " No contact and no slow relay that was tried mends it."


def _order(race: Race, *, cured: bool) -> Remedy:
    """That two race, and which order saves it: no repair, but what to look for."""
    safe = " or where ".join(f"{first} acts before {then}" for first, then in race.orders)
    return Remedy(
        f"This is a race: {race.waits} and {race.other} act in the same instant, and {race.waits} "
        f"still sees {race.other} as it was. It cannot happen where {safe} (proved), but relays "
        "keep no such order by themselves." + ("" if cured else NO_CURE)
    )


def _orders(tangle: Tangle, *, cured: bool) -> Remedy:
    """The same of several, where no order of two saves it."""
    no_cure = "" if cured else NO_CURE
    if tangle.circle:
        around = pairwise((*tangle.circle, tangle.circle[0]))
        waits = ", ".join(f"{one} still sees {two} as it was" for one, two in around)
        return Remedy(
            f"This is a race in a circle: {', '.join(tangle.circle)} act in the same instant; "
            f"{waits}. No order in which they act saves it (each was tried).{no_cure} Let the "
            "circuit of each ask for all of the others, not for the next one only, and see to it "
            "that no two have cause to act at once: by a button or lever for each, with back "
            "contacts of the others."
        )
    safe = " and ".join(f"{first} acts before {then}" for first, then in tangle.orders)
    return Remedy(
        f"Several race here, and no order of two of them saves it. It cannot happen where {safe} "
        f"(proved), but relays keep no such order by themselves.{no_cure}"
    )


def _rules(finding: Finding) -> Remedy:
    together = ", all of these together" if len(finding.mending) > 1 else ""
    return Remedy(
        f"To mend it{together} (proved: it can no longer happen, and the signals keep all aspects "
        "and routes):",
        tuple(
            RemedyStep(f"add `and {a.condition}` to `{a.shows} when …` of {a.owner}", a.span)
            for a in finding.mending
        ),
    )


def _wiring(finding: Finding) -> Remedy:
    """Changes of the wiring, beside those of the rules where there are such."""
    begin = "Or change" if finding.mending else "To mend it, change"
    together = ", all of these together" if len(finding.rewiring) > 1 else ""
    return Remedy(
        f"{begin} the wiring{together} (proved):",
        tuple(RemedyStep(step.text, step.span) for step in finding.rewiring),
    )


def _in_modules(finding: Finding, lock: Lock | None) -> Iterator[Remedy]:
    """What a change inside a module affects."""
    places = [*(a.span for a in finding.mending), *(step.span for step in finding.rewiring)]
    if lock and finding.hint_proved:
        places.append(lock.held.span)
    used = list(dict.fromkeys((u.module, u.name) for span in places for u in span.uses))
    if used:
        said = " and ".join(f"{name} of module {module}" for module, name in used)
        yield Remedy(
            f"This was proved for the use {said} only. A change in a module affects all its uses, "
            "so prove the file again. Inside the module, leave out the name of the use; what lies "
            "outside the module has to be a parameter."
        )
