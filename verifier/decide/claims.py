"""Waivers and expectations: what a file claims about its own verdicts.

In: the claims of a plan and the obligations or verdicts they are about. Out: input errors for
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
    waiver = next((w for w in plan.waivers if matches(w, obligation)), None)
    if waiver is None:
        expected = any(matches(e, obligation) for e in plan.expectations)
        return replace(verdict, expected=expected)
    return Verdict(obligation, "waived", waiver.reason, needless=verdict.status == "proved")


def matches(claim: Waiver | Expectation, obligation: Obligation) -> bool:
    """Whether a claim is about an obligation of its property. A waiver is about all obligations
    that have the subjects it names, or their signals; an expectation only about the one with
    exactly its subjects, so that it hides no other, or without subjects about all."""
    if claim.claim != obligation.property:
        return False
    if isinstance(claim, Waiver):
        return {*obligation.subjects, *obligation.signals}.issuperset(claim.subjects)
    return not claim.subjects or set(claim.subjects) == set(obligation.subjects)


def check_claims(plan: Plan, todo: Sequence[Obligation]) -> None:
    """Raises :class:`InputError` for waivers and expectations that name no property or match no
    obligation."""
    errors = []
    known = [*BY_NAME, *{proof.title for proof in plan.proofs}]
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
    """The expectations that no broken verdict meets."""
    for expectation in plan.expectations:
        if not any(matches(expectation, v.obligation) and v.status == "broken" for v in verdicts):
            subjects = f" for {', '.join(expectation.subjects)}" if expectation.subjects else ""
            yield Unmet(
                f"the file expects {expectation.claim}{subjects} to be broken, and it is not",
                expectation.span,
            )
