"""Why a verdict that is not a finding is what it is: what a proof rests on, in sentences.

In: a verdict. Out: sentences.
"""

from collections.abc import Iterator

from verifier.plan.model import Plan
from verifier.reports.words import situation_words
from verifier.verdicts.grade_words import AS_LONG_AS
from verifier.verdicts.report import Verdict


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


def uses_sentences(verdict: Verdict, plan: Plan) -> Iterator[str]:
    """The assumptions of the file, and the promises of its crew, that a verdict uses."""
    if verdict.before_mishaps:
        yield f"It is decided {AS_LONG_AS}."
    promised = {promise.title for promise in plan.locking.promises}
    for title in verdict.rests_on:
        used = f"that {title}" if title in promised else f'the assumption "{title}"'
        yield f"It uses {used}."
