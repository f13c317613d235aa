"""A draft for the page: signals, rules, panel and locks written into a text, and proved.

In: a text and what is asked of the draft. Out: JSON: the text once it is proved in operation, or
what stands in the way. Called in a worker.
"""

from pathlib import Path
from typing import cast

from verifier.api import checked
from verifier.drafting.aspects import NeverShown
from verifier.drafting.draft import drafted, drafted_and_proved
from verifier.drafting.wanted import (
    ASPECTS,
    PANELS,
    RELEASES,
    SINGLE_TRACKS,
    Panel,
    Release,
    SingleTrack,
    Wanted,
)  # fmt: skip
from verifier.engines.proof_store import ProofStore
from verifier.engines.stopping import time_limit
from verifier.language.listing import several
from verifier.language.modules.expand import read
from verifier.pipeline import prove
from verifier.reports.json_parts import Json
from verifier.reports.words import sentence
from verifier.sketching.bare_signals import with_bare_signals
from verifier.verdicts.grade import Grade
from verifier.verdicts.progress import Progress
from verifier.verdicts.report import Report

# So much of what stands in the way of a draft is told.
_SHOWN = 6
# What the page may ask of a draft.
ASKED = ("aspects", "panel", "by_hand", "single_track", "release", "wiring")


def wanted_of(asked: Json) -> Wanted:
    """What the page asks of a draft. Raises :class:`ValueError`."""
    aspects, panel = asked.get("aspects"), asked.get("panel")
    single, release = asked.get("single_track", "signals"), asked.get("release", "sectional")
    known = aspects in ASPECTS and panel in PANELS
    if not (known and single in SINGLE_TRACKS and release in RELEASES):
        raise ValueError("there is no such draft")
    by_hand = asked.get("by_hand") is True
    wanted = Wanted(
        ASPECTS[str(aspects)], by_hand, cast(Panel, panel), cast(SingleTrack, single),
        cast(Release, release), asked.get("wiring") is True,
    )  # fmt: skip
    if any(wanted.contradictions):
        raise ValueError("there is no such draft")
    return wanted


def draft_json(
    text: str,
    name: str,
    path: Path | None,
    asked: Json,
    *,
    within: float | None,
    progress: Progress,
    store: ProofStore,
) -> Json:
    """``draft``: the whole text, and ``words`` about it; or why there is none, ``undrafted``.

    Raises :class:`InputError` with each place that cannot be signaled."""
    with time_limit(within):
        wanted = wanted_of(asked)

        def draft(never: frozenset[NeverShown]) -> str:
            return with_bare_signals(
                text, name, path, lambda source: drafted(source, read(source, path), wanted, never)
            )

        def proof(made: str) -> Report:
            plan, world = checked(made, name, path)
            return prove(plan, repairs=False, progress=progress, world=world, store=store)

        made, report = drafted_and_proved(draft, proof)
    if report.grade is Grade.OPERATION:
        return {"draft": made, "words": _summary(report)}
    return {"undrafted": _in_the_way(report)}


def _summary(report: Report) -> str:
    return (
        f"Drafted and proved in operation: {several(len(report.plan.signals), 'signal')}, "
        f"{several(len(report.plan.routes), 'route')}."
    )


def _in_the_way(report: Report) -> list[str]:
    bad = [v for v in report.verdicts if v.status != "proved" and not v.obligation.advice]
    told = [
        sentence(v.obligation.trouble) if v.status == "broken" else f"Undecided: {v.why}."
        for v in bad[:_SHOWN]
    ]
    more = [f"And {len(bad) - _SHOWN} more."] if len(bad) > _SHOWN else []
    return [
        *told,
        *more,
        "Look at the track there; or write that part yourself, and draft the rest.",
    ]
