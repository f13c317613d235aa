"""What the failure table says of locks: what stays locked, and of pairs over time."""

import verifier
from tests.published.test_cfr_236_locks_and_wires import POWER, junction
from verifier.reports.failures import failure_lines, failure_rows, pairs_words
from verifier.reports.ink import Ink


def test_what_stays_locked_is_told() -> None:
    """Usefulness: the detector reads occupied for as long as its wire is broken."""
    report = verifier.prove(verifier.load_text(junction(track=POWER)))
    rows = {row.faults[0]: row for row in report.failures}
    held = rows["wire from D-T to the relays"]
    assert held.consequence == "more restrictive"
    assert held.why == "T1 stays locked; relay Route never picks"
    assert rows["wire from T1 normal to B1"].why == ""
    told = " ".join(" ".join(failure_lines(report, Ink(width=100))).split())
    assert "wire from D-T to the relays" in told and "T1 stays locked" in told


def test_a_lock_that_never_opens_anyway_is_blamed_on_no_fault() -> None:
    text = junction(track=POWER, lock="T occupied or T clear")
    report = verifier.prove(verifier.load_text(text))
    assert all("T1 stays locked" not in row.why for row in report.failures)


def test_pairs_are_looked_at_in_single_moments_only() -> None:
    report = verifier.prove(verifier.load_text(junction(track=POWER)), pairs=True)
    words = pairs_words(report, failure_rows(report), pairs=True)
    assert words.endswith("What two of them do over time was not looked at.")
    assert pairs_words(report, failure_rows(report), pairs=False) == ""
