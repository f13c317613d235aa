"""Drafts of texts, for tests; and how many of many generated plans are drafted and proved:

python -m tests.drafting.trying 100 3 0 automatic   # plans, special trackwork in each, first seed
"""

import sys
import time
from collections import Counter
from collections.abc import Iterable

from tests.drafting.plans import random_plan, shaped_plan
from verifier.api import checked
from verifier.drafting.draft import drafted, drafted_and_proved
from verifier.drafting.wanted import Aspects, Panel, Release, SingleTrack, Wanted
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.format.formatter import format_text
from verifier.language.modules.expand import read
from verifier.language.source import Source
from verifier.pipeline import prove
from verifier.verdicts.grade import Grade
from verifier.verdicts.report import Report


def draft_of(
    text: str,
    aspects: Aspects = 3,
    *,
    by_hand: bool = False,
    panel: Panel = "dispatcher",
    single_track: SingleTrack = "signals",
    release: Release = "sectional",
    wiring: bool = False,
) -> str:
    """The draft of a text, not proved. Raises :class:`InputError`."""
    source = Source("plan", text)
    wanted = Wanted(aspects, by_hand, panel, single_track, release, wiring)
    return drafted(source, read(source), wanted)


def proved_draft_of(
    text: str, *, panel: Panel = "dispatcher", only: Iterable[str] = ()
) -> tuple[str, Report]:
    """The draft of a text as a user gets it, without what is never shown, and the proof of it."""
    source, wanted = Source("plan", text), Wanted(panel=panel)
    return drafted_and_proved(
        lambda never: drafted(source, read(source), wanted, never),
        lambda made: proof_of(made, only),
    )


def proof_of(text: str, only: Iterable[str] = ()) -> Report:
    plan, world = checked(text, "draft", None)
    return prove(plan, world=world, repairs=False, brief=True, only=only)


def is_subsequence(text: str, within: str) -> bool:
    """Whether all lines of a text stand in another one, in order."""
    lines = iter(within.splitlines())
    return all(line in lines for line in text.splitlines())


def _try(seed: int, size: int, panel: Panel) -> str:
    # Every other plan is a shape.
    make = shaped_plan if seed % 2 else random_plan
    plan = format_text(make(seed // 2, size))
    try:
        text = draft_of(plan, panel=panel)
    except InputError as error:
        return f"refused: {error.diagnostics[0].code} {error.diagnostics[0].message}"
    if format_text(text) != text or not is_subsequence(plan, text):
        return "formats otherwise"
    text, report = proved_draft_of(plan, panel=panel)
    if report.grade is Grade.OPERATION:
        return "proved"
    bad = [v for v in report.verdicts if v.status != "proved" and not v.obligation.advice]
    return f"not proved: {', '.join(f'{v.status} {v.obligation.key}' for v in bad[:3])}"


def main(plans: str, size: str, first: str = "0", panel: Panel = "dispatcher") -> None:
    """Print what became of each plan, and the rate."""
    found: Counter[str] = Counter()
    for seed in range(int(first), int(first) + int(plans)):
        began = time.process_time()
        what = _try(seed, int(size), panel)
        found[what.split(":")[0]] += 1
        print(f"{seed}: {what} ({time.process_time() - began:.1f} s)", flush=True)
    tried = int(plans) - found["refused"]
    print(f"{dict(found)}: {found['proved']} of {tried} that can be signaled are proved")


if __name__ == "__main__":
    main(*sys.argv[1:])  # type: ignore[arg-type]
