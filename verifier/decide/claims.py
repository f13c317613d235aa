"""Waivers and expectations: what a file says of its own verdicts.

In: the claims of a plan and the obligations or verdicts they speak of. Out: input errors for
claims that match nothing, and verdicts marked as waived or expected.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from verifier.language.diagnostics.diagnostic import InputError, nearest
from verifier.language.diagnostics.registry import diagnostic
from verifier.plan.model import Expectation, Plan, Waiver
from verifier.properties.catalog import BY_NAME
from verifier.properties.obligation import Obligation
from verifier.verdicts.report import Unmet, Verdict


def claimed(plan: Plan, verdict: Verdict) -> Verdict:
    """The verdict as the file claims it: marked as expected, or waived with the file's reason
    (``needless`` where the obligation holds anyway)."""
    obligation = verdict.obligation
    expected = any(speaks_of(e, obligation) for e in plan.expectations)
    waiver = next((w for w in plan.waivers if covers(w, obligation)), None)
    if waiver is None:
        return replace(verdict, expected=expected)
    return Verdict(obligation, "waived", waiver.reason, needless=verdict.status == "proved")


def covers(waiver: Waiver, obligation: Obligation) -> bool:
    """Same property, and every subject the waiver names is one of the obligation's: `for 4L`
    sets aside all that the property asks of 4L."""
    about = {*obligation.subjects, *obligation.signals}
    return waiver.claim == obligation.property and about.issuperset(waiver.subjects)


def speaks_of(expectation: Expectation, obligation: Obligation) -> bool:
    """Same property and just these subjects, so that nothing else of its kind hides behind
    what is expected; without subjects, all of the property."""
    if expectation.claim != obligation.property:
        return False
    return not expectation.subjects or set(expectation.subjects) == set(obligation.subjects)


def matches(claim: Waiver | Expectation, obligation: Obligation) -> bool:
    if isinstance(claim, Waiver):
        return covers(claim, obligation)
    return speaks_of(claim, obligation)


def check_claims(plan: Plan, todo: Sequence[Obligation]) -> None:
    """Every waiver and expectation names a property and matches an obligation."""
    errors = []
    titles = {proof.title for proof in plan.proofs}
    known = [*BY_NAME, *titles]
    claims: tuple[Waiver | Expectation, ...] = (*plan.waivers, *plan.expectations)
    for claim in claims:
        if claim.claim not in known:
            near = nearest(claim.claim, known)
            errors.append(diagnostic("CP209", claim.span, near=near, claim=claim.claim))
        elif not any(matches(claim, o) for o in todo):
            about = dict.fromkeys(", ".join(o.subjects) for o in todo if o.property == claim.claim)
            errors.append(
                diagnostic(
                    "CP210",
                    claim.span,
                    "" if about else "nothing",
                    claim=claim.claim,
                    subjects=claim.subjects,
                    about=list(about)[:6],
                )
            )
    if errors:
        raise InputError(errors)


def unmet(plan: Plan, verdicts: Sequence[Verdict]) -> Iterable[Unmet]:
    """Expectations of which nothing came true."""
    for expectation in plan.expectations:
        if not any(matches(expectation, v.obligation) and v.status == "broken" for v in verdicts):
            subjects = f" for {', '.join(expectation.subjects)}" if expectation.subjects else ""
            yield Unmet(
                f"the file expects {expectation.claim}{subjects} to be broken, and it is not",
                expectation.span,
            )
