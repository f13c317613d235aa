"""Repairs of the wiring are judged over time: what is shown keeps what was proved in operation."""

import verifier
from tests.published.test_cfr_236_locks_and_wires import junction
from verifier.verdicts.report import Report, Verdict


def of(report: Report, fault: str) -> Verdict:
    (found,) = (v for v in report.verdicts if v.obligation.subjects == (fault,))
    return found


def test_a_repair_is_shown_that_keeps_locks_over_time() -> None:
    report = verifier.prove(verifier.load_text(junction()))
    finding = of(report, "supply Rail").finding
    assert finding is not None
    (step,) = finding.rewiring
    assert step.write == "without track power reads occupied"


def test_a_repair_that_unlocks_over_time_is_not_shown() -> None:
    """With it, no signal proceeds while the power is off. But the track reads occupied then, and
    clear when the power is back: that releases a route in front of a train that cannot stop."""
    report = verifier.prove(verifier.load_text(junction(more="trains need 20 s to stop")))
    finding = of(report, "supply Rail").finding
    assert finding is not None and finding.rewiring == ()
    also = of(report, "bus of North").finding  # a broken wire may make contact again
    assert also is not None and also.rewiring == ()
