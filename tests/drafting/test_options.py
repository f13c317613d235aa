"""Every option on every kind of plan: proved in operation, or refused with place and reason.

A run takes a few of all; a night takes each. Plans of a kind are in :mod:`tests.drafting.kinds`.
"""

from itertools import product

import pytest

from tests.drafting.kinds import KINDS
from tests.drafting.trying import draft_of, proof_of
from tests.proofs import decided
from verifier.api import load_text
from verifier.drafting.wanted import ASPECTS, PANELS, RELEASES, SINGLE_TRACKS, Wanted
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.format.formatter import format_text
from verifier.verdicts.grade import Grade

# Proofs of more take minutes each: `python -m tests.drafting.trying` has them.
_LONG = {"passing siding", "oval", "yard ladder", "double track"}
MATRIX = [
    (kind, Wanted(aspects, False, panel, single_track, release))
    for kind, aspects, panel, single_track, release in product(
        KINDS, ASPECTS.values(), PANELS, SINGLE_TRACKS, RELEASES
    )
]
# What a plan of these kinds can be refused for: no single track in it; a gap without a name.
REFUSED = {"CP903", "CP907"}


@pytest.mark.parametrize("number", range(len(MATRIX)))
def test_every_option_on_every_kind_of_plan_is_drafted_or_refused(number: int) -> None:
    kind, wanted = MATRIX[number]
    if any(wanted.contradictions):
        return
    plan = format_text(KINDS[kind])
    try:
        text = draft_of(
            plan, wanted.aspects, panel=wanted.panel, single_track=wanted.single_track,
            release=wanted.release,
        )  # fmt: skip
    except InputError as error:
        assert {d.code for d in error.diagnostics} <= REFUSED
        assert all(d.span.text for d in error.diagnostics), "its place"
        return
    assert format_text(text) == text
    if kind not in _LONG and wanted.release != "time":
        report = proof_of(text)
        bad = [v.obligation.key for v in report.verdicts if v.status != "proved"]
        assert report.grade is Grade.OPERATION, (kind, wanted, bad)


TIMED = ("passing siding", "yard ladder", "wye", "terminal", "oval", "double track")


@pytest.mark.parametrize("number", range(len(TIMED)))
def test_time_locking_is_proved_on_every_kind_of_plan(number: int) -> None:
    """What the option is for; that all can be set again takes minutes to prove of these."""
    plan = load_text(draft_of(format_text(KINDS[TIMED[number]]), release="time"))
    verdicts = decided(plan, ["time-locking"])
    assert len(verdicts) >= 5 and {v.status for v in verdicts} == {"proved"}
