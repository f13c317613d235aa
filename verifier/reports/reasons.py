"""Why a verdict that is not a finding is what it is: what a proof rests on, in sentences.

In: a verdict. Out: sentences; for a proof over time also the facts that last.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from verifier.explain.invariant_text import sentences
from verifier.plan.model import Plan
from verifier.reports.words import situation_words
from verifier.verdicts.report import InductiveProof, Verdict


@dataclass(frozen=True, slots=True)
class ProofText:
    """The facts a proof over time rests on, between a sentence before and one after (which may
    be empty). Without facts the first sentence says all."""

    lead: str
    facts: tuple[str, ...] = ()
    after: str = ""


def reason_sentences(verdict: Verdict, plan: Plan) -> Iterator[str]:
    """What is said of a verdict before the facts that last, or the history, that show it."""
    if verdict.status == "waived":
        yield f"Waived by the file: {verdict.why}"
        return
    if verdict.obligation.mode == "never":
        yield f"It never happens that {verdict.obligation.trouble}."
    if verdict.lasting is not None:
        return
    if verdict.story is not None:
        yield "It can happen, as this replayed history shows:"
    elif verdict.witness is not None:
        facts = situation_words(plan, verdict.witness, verdict.witness.facts)
        yield f"It happens in this situation (replayed): {facts}."
    elif verdict.covered:
        yield "No situation of this plan breaks it, whatever came before."


def uses_sentences(verdict: Verdict) -> Iterator[str]:
    """The assumptions of the file that a verdict uses."""
    return (f'It uses the assumption "{title}".' for title in verdict.rests_on)


def lasts(lasting: InductiveProof, plan: Plan) -> ProofText:
    said = tuple(sentences(plan, lasting.clauses))
    if not said:
        return ProofText(
            "The proof needs no invariant: no single moment allows it."
            if lasting.steps == 1
            else f"The proof needs no invariant: no {lasting.steps} moments in a row allow it."
        )
    before = lasting.steps - 1
    after = (
        f"Given these facts, {before} moments without it are never followed by one with it, and it "
        f"is not in the first {before} moments of any history."
    )
    return ProofText(
        "The proof rests on these facts. They hold at the start, and together they carry over from "
        "each moment to the next:",
        said,
        after if before else "",
    )
