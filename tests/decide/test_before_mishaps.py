"""What can always be done again: before any mishap where the file has one that it does not claim,
and whatever has happened where it expects or waives it."""

import pytest

import verifier
from tests.junction_files import EXAMPLE_FILES, spec
from tests.proofs import without_repairs
from tests.reports.schemas import schema
from verifier.decide.histories import MISHAPS
from verifier.reference.step import Stepper, is_calm, replay
from verifier.reports.ink import Ink
from verifier.reports.machine import file_report
from verifier.reports.terminal import report_lines
from verifier.verdicts.exit_codes import ExitCode
from verifier.verdicts.grade_words import AS_LONG_AS, headline, quiet_words
from verifier.verdicts.report import Report

COLLISION = next(p for p in EXAMPLE_FILES if p.name == "collision.broken.ixl").read_text("utf-8")
# A button that nobody can undo holds 2 at stop for good; and T1 is thrown under trains.
STUCK = """
edge West, Yard, East
block Main, Siding, Switch, Single
button Stop-All
relay Stopped
  picks when Stop-All pressed
  sticks while Stopped up
turnout T1 in Switch
  thrown by hand
track West = Main   | normal  T1 | Single = East
track Yard = Siding | reverse T1
signal 2L at Single | T1
  Clear     when Stopped down and T1 normal and Switch, Main clear and 2RA, 2RB at stop
  Approach  when Stopped down and T1 reverse and Switch, Siding clear and 2RA, 2RB at stop
  Stop      otherwise
signal 2RA at Main | T1
  Clear  when T1 normal and Switch, Single clear
  Stop   otherwise
signal 2RB at Siding | T1
  Clear  when T1 reverse and Switch, Single clear
  Stop   otherwise
"""


pytestmark = pytest.mark.xdist_group("before mishaps")  # the same texts


def before_mishaps(report: Report) -> set[str]:
    return {v.obligation.over for v in report.verdicts if v.before_mishaps}


def test_a_mishap_that_nobody_expects_leaves_nothing_undecided() -> None:
    for text in (COLLISION, STUCK):
        report = without_repairs(text)
        assert before_mishaps(report) == {"for good"}
        asked = [v for v in report.verdicts if v.obligation.over == "for good"]
        assert asked and all(v.before_mishaps and v.status != "undecided" for v in asked)
        assert report.exit_code == ExitCode.BROKEN


def test_every_surface_says_so() -> None:
    report = without_repairs(STUCK)
    assert AS_LONG_AS in headline(report) and AS_LONG_AS in quiet_words(report)
    assert AS_LONG_AS in " ".join(" ".join(report_lines(report, Ink(width=80))).split())
    told = file_report(report)
    assert {v["before_mishaps"] for v in told["verdicts"] if v["property"] in MISHAPS} == {False}
    assert any(v["before_mishaps"] for v in told["verdicts"])
    assert "before_mishaps" in schema()["$defs"]["verdict"]["required"]
    assert AS_LONG_AS not in headline(without_repairs(spec("slow-track-relay").read_text("utf-8")))


def test_what_gets_stuck_before_is_found_and_no_train_collides_on_the_way() -> None:
    report = without_repairs(STUCK)
    plan = report.plan
    status = {v.obligation.key: v.status for v in report.verdicts}
    assert status["locked-for-good: 2L to West"] == "broken"
    assert status["locked-for-good: 2L to Yard"] == "broken"
    assert status["locked-for-good: 2RA to East"] == "proved"
    stuck = next(v for v in report.verdicts if v.obligation.key == "locked-for-good: 2L to West")
    assert stuck.finding and stuck.finding.story
    stepper = Stepper(plan)
    for moment in stuck.finding.story.moments:
        chosen = {what: moment.get(what, what.usual) for what in stepper.choices}
        assert is_calm(stepper.step({**stepper.state_of(moment), **chosen}).observed)


def test_it_is_decided_of_a_locked_control_point() -> None:
    """Of one with relays, timers and a mishap that the file no longer expects."""
    text = spec("locked-end-of-siding-no-route-locking").read_text("utf-8")
    unexpected = "\n".join(ln for ln in text.splitlines() if not ln.startswith("expect"))
    asked = ["derailment", "collision", "train-cannot-leave"]
    report = verifier.prove(verifier.load_text(unexpected), only=asked)
    found = [v for v in report.verdicts if v.obligation.over == "for good"]
    assert found and all(v.before_mishaps and v.status == "proved" for v in found)


def test_the_reference_refuses_a_history_with_a_mishap() -> None:
    plan = without_repairs(STUCK).plan
    hurt = next(
        v for v in without_repairs(STUCK).verdicts
        if v.status == "broken" and v.obligation.property == "derailment"
    )  # fmt: skip
    assert hurt.finding and hurt.finding.story
    story, bad = hurt.finding.story, hurt.obligation.holds_in
    assert replay(plan, story.moments, bad, seconds=story.seconds)
    assert not replay(plan, story.moments, bad, seconds=story.seconds, mishaps=False)


def test_with_a_mishap_expected_or_waived_it_is_decided_of_all_histories() -> None:
    broken = {
        v.obligation.property
        for v in without_repairs(COLLISION).verdicts
        if v.status == "broken" and v.obligation.property in MISHAPS
    }
    assert broken
    for claim in ("expect broken {}", 'waive {} because "a lesson"'):
        claims = "\n".join(claim.format(name) for name in sorted(broken))
        assert not before_mishaps(without_repairs(f"{COLLISION}\n{claims}\n"))


def test_what_a_history_leaves_out_causes_no_mishap() -> None:
    """How points lie does not matter for what can be done after, but a train that trails them
    must not derail on the way there."""
    report = verifier.prove(
        verifier.load_text("""
        edge West entering only
        edge Main-End, Siding-End
        block A, T, M, S
        turnout T1 in T
          thrown by hand
        track West = A | T1 normal  | M = Main-End
        track            T1 reverse | S = Siding-End
        signal In at A | T1
          Clear  when T1 normal and T, M clear
          Stop   otherwise
        trains obey signals
        """),
        only=["collision", "locked-for-good"],
    )
    found = [v for v in report.verdicts if v.before_mishaps]
    assert found and all(v.status != "undecided" for v in found)
