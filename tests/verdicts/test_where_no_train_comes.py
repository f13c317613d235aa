"""A block that no train ever comes to is named, and never exits 0: what would come out of it was
not looked at."""

import json

import verifier
from tests.reports.schemas import validator
from verifier.reports.machine import document, file_report
from verifier.verdicts.exit_codes import ExitCode
from verifier.verdicts.grade import Grade, KeptOut, ShortfallKind
from verifier.verdicts.grade_words import headline, kept_out_words

# The operator's key releases the switch to a spur; the signals and the lock see to each other.
SPUR = """
edge West, East
bumper End
block A, B, C
block S undetected
lever Key positions normal, reverse
lever Way positions west, east
turnout T1 in B
  thrown by hand
  electric lock released when A, B, C clear and 2, 4 at stop and Key reverse
derail D1 on S toward T1
  pipe-connected to T1
track West = A | T1 normal | C = East
track T1 reverse | S = End
signal 2 at A | T1
  Clear  when Way east and T1 normal and B, C clear and Key normal
  Stop   otherwise
signal 4 at C | T1
  Clear  when Way west and T1 normal and B, A clear and Key normal
  Stop   otherwise
"""
NAMED = (KeptOut((), "block", "S"),)


def test_a_spur_that_no_signal_leads_to_is_named() -> None:
    report = verifier.prove(verifier.load_text(SPUR))
    assert report.kept_out == NAMED
    assert report.exit_code == ExitCode.UNDECIDED and report.grade is Grade.NONE
    said = "not proved: no train ever comes to block S: say `trains start on S`"
    assert headline(report) == said
    told = json.loads(json.dumps(document([file_report(report)], report.exit_code)))
    validator().validate(told)
    assert told["files"][0]["kept_out"][0]["assumptions"] == []


def test_what_was_not_decided_in_time_is_not_said_to_be_so() -> None:
    report = verifier.prove(verifier.load_text(SPUR), timeout=0.0)
    assert report.exit_code == ExitCode.UNDECIDED and not any(k.sure for k in report.kept_out)
    (said,) = kept_out_words(report)
    assert said.startswith("it was not decided whether a train ever comes to block A, ")


def test_cars_on_it_come_out_against_a_train() -> None:
    report = verifier.prove(verifier.load_text(SPUR + "trains start on S\n"))
    assert report.kept_out == ()
    broken = {v.obligation.property for v in report.verdicts if v.status == "broken"}
    assert {"collision", "points-move-under-train"} <= broken


def test_to_assume_it_empty_does_not_hide_it() -> None:
    report = verifier.prove(verifier.load_text(f'{SPUR}assume "empty" always S vacant\n'))
    assert report.kept_out == NAMED and report.exit_code == ExitCode.UNDECIDED


def test_that_nothing_clears_is_said_first() -> None:
    never = SPUR.replace("Key normal\n", "Key normal and Key reverse\n")
    report = verifier.prove(verifier.load_text(never))
    kinds = [s.kind for s in report.shortfalls]
    assert kinds.index(ShortfallKind.NOTHING_CLEARS) < kinds.index(ShortfallKind.KEPT_OUT)
