"""Why a verdict that is not a finding is what it is: what a proof rests on, in sentences.

In: a verdict. Out: sentences; for a proof over time also the facts that last.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from verifier.explain.invariant_text import sentences
from verifier.plan.model import Plan
from verifier.reports.words import count, situation_words
from verifier.verdicts.report import Lasting, Verdict


@dataclass(frozen=True, slots=True)
class Lasts:
    """The facts a proof over time rests on, between a sentence before and one after (which may
    be empty). Without facts the first sentence says all."""

    lead: str
    facts: tuple[str, ...] = ()
    after: str = ""


def reason_sentences(verdict: Verdict, plan: Plan) -> Iterator[str]:
    """What is said of a verdict before the facts that last, or the history, that show it."""
    if verdict.status == "waived":
        yield f"The file sets it aside: {verdict.why}"
        return
    if verdict.obligation.mode == "never":
        yield f"It never happens that {verdict.obligation.trouble}."
    if verdict.lasting is not None:
        return
    if verdict.story is not None:
        yield "It can come about, replayed step by step:"
    elif verdict.witness is not None:
        facts = situation_words(plan, verdict.witness, verdict.witness.facts)
        yield f"It is so in this situation, replayed: {facts}."
    elif verdict.covered:
        yield (
            f"No single situation breaks it: all {count(verdict.covered)} of this plan were "
            "covered, whatever came before."
        )


def uses_sentences(verdict: Verdict) -> Iterator[str]:
    """The assumptions of the file that a verdict uses."""
    return (f'It uses the assumption "{title}".' for title in verdict.rests_on)


def lasts(lasting: Lasting, plan: Plan) -> Lasts:
    said = tuple(sentences(plan, lasting.clauses))
    if not said:
        return Lasts(
            "Nothing needs to be remembered for that: no single moment leaves room for it."
            if lasting.steps == 1
            else f"Nothing but {lasting.steps} moments in a row needs to be looked at."
        )
    before = lasting.steps - 1
    after = (
        f"With that, {before} moments free of it are never followed by one that is not, and the "
        f"first {before} moments of every history are free of it."
    )
    return Lasts(
        "It rests on this, which is so at the start and, taken together, from each moment to the "
        "next:",
        said,
        after if before else "",
    )
