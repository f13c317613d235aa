"""Assumptions, waivers, expectations and advice."""

import pytest

import verifier
from tests.decide.layouts import BROKEN, SAFE
from verifier.language.diagnostics.diagnostic import Diagnostic
from verifier.verdicts.exit_codes import ExitCode
from verifier.verdicts.report import Report


def prove(*extra: str, base: str = BROKEN) -> Report:
    return verifier.prove(verifier.load_text(base + "\n".join(extra) + "\n"))


def refused(*extra: str, base: str = BROKEN) -> list[Diagnostic]:
    with pytest.raises(verifier.InputError) as caught:
        prove(*extra, base=base)
    return list(caught.value.diagnostics)


def statuses(report: Report, name: str) -> dict[tuple[str, ...], str]:
    return {
        v.obligation.subjects: v.status for v in report.verdicts if v.obligation.property == name
    }


# ------------------------------------------------------------------ assumptions


def test_contradicting_assumptions_are_refused_and_the_clash_is_minimal() -> None:
    (diagnostic,) = refused(
        'assume "a" always T1 lies normal',
        'assume "b" never train on Main',
        'assume "c" always Main occupied or Siding occupied',
        'assume "d" never 4RA proceeds and 4L proceeds',
        'assume "e" never Siding occupied',
    )
    assert diagnostic.code == "CP501"
    assert diagnostic.span.text.startswith('assume "b"')
    assert [words for _, words in diagnostic.others] == ['and "c"', 'and "e"']


def test_a_clash_of_what_signals_show_with_where_trains_are() -> None:
    (diagnostic,) = refused(
        'assume "moves" always 4RA proceeds',
        'assume "cars" always train on Switch',
    )
    assert diagnostic.code == "CP501"
    assert [words for _, words in diagnostic.others] == ['and "cars"']


def test_one_assumption_that_rules_out_everything() -> None:
    (diagnostic,) = refused('assume "x" always T1 lies normal and T1 lies reverse')
    assert diagnostic.code == "CP501"
    assert '"x" rules out every situation' in diagnostic.message
    assert not diagnostic.others


def test_assumptions_far_from_a_question_hold_in_its_situation() -> None:
    """Single and T1 have nothing to do with the button, but the situation is one that the
    assumption allows."""
    report = prove("button Panic", 'assume "held down" always Panic pressed')
    (finding,) = {v.finding for v in report.verdicts if v.obligation.subjects == ("4L", "4RA")}
    assert finding is not None
    assert {(what.name, state) for what, state in finding.situation} == {("Panic", "pressed")}
    assert [what.name for what in finding.relevant] == ["Main", "Switch", "Single", "T1"]


def test_what_a_proof_rests_on_is_said() -> None:
    report = prove(
        'assume "nobody throws T1" always T1 lies reverse', 'assume "no cars" never train on Main'
    )
    resting = {
        v.obligation.subjects: v.rests_on
        for v in report.verdicts
        if v.obligation.property == "opposing-proceeds" and v.status == "proved"
    }
    assert resting == {("4L", "4RA"): ("nobody throws T1",)}


OVER_TIME = """
edge West, East
block A, B
button Go, Shut, Bell
relay Way  picks when Go pressed and not Shut pressed
track West = A | B = East
signal 2R at A | B
  Clear when Way up and B clear
  Stop  otherwise
assume "no bell is rung" never Bell pressed
assume "the way stays shut" never Go pressed
prove "the way is never open" never Way up
prove "2R is never cleared" never 2R proceeds
prove "nobody is on B at first" never train on A and train on B and Way up
prove "the way can open" possible Way up
"""


def test_what_a_proof_over_time_rests_on_is_said() -> None:
    """Of memory, of situations that only memory rules out, and of what can never happen."""
    report = verifier.prove(verifier.load_text(OVER_TIME))
    said = {v.obligation.property: (v.status, v.rests_on) for v in report.verdicts}
    shut = ("the way stays shut",)
    assert said["the way is never open"] == ("proved", shut)
    assert said["2R is never cleared"] == ("proved", shut)
    assert said["the way can open"] == ("broken", shut)
    assert not any("no bell is rung" in v.rests_on for v in report.verdicts)


def test_an_assumption_that_names_a_condition() -> None:
    report = prove("condition Lined is T1 reverse", 'assume "lined" always Lined')
    assert statuses(report, "opposing-proceeds") == {
        ("4L", "4RA"): "proved", ("4L", "4RB"): "broken",
    }  # fmt: skip


# ------------------------------------------------------------------ waivers


def test_a_waiver_sets_aside_what_it_names_and_no_more() -> None:
    report = prove('waive opposing-proceeds for 4RA, 4L because "the dispatcher"')
    assert statuses(report, "opposing-proceeds") == {
        ("4L", "4RA"): "waived", ("4L", "4RB"): "broken",
    }  # fmt: skip
    (waived,) = (v for v in report.verdicts if v.status == "waived")
    assert waived.why == "the dispatcher"
    assert report.exit_code == ExitCode.BROKEN


def test_a_waiver_for_a_whole_property() -> None:
    report = prove('waive opposing-proceeds because "yard limits"')
    assert set(statuses(report, "opposing-proceeds").values()) == {"waived"}
    assert report.exit_code == ExitCode.AS_EXPECTED


def test_a_property_of_the_files_own_can_be_waived_by_its_title() -> None:
    report = prove(
        'prove "one at a time" never 4L proceeds and 4RA proceeds',
        'waive "one at a time" because "train orders"',
        'waive opposing-proceeds because "train orders"',
    )
    assert list(statuses(report, "one at a time").values()) == ["waived"]
    assert report.exit_code == ExitCode.AS_EXPECTED


@pytest.mark.parametrize("words", ['waive {} because "x"', "expect broken {}"])
def test_claims_about_nothing_are_refused(words: str) -> None:
    (unknown,) = refused(words.format("oposing-proceeds"))
    assert unknown.code == "CP209"
    assert "opposing-proceeds" in unknown.hint
    (elsewhere,) = refused(words.format("opposing-proceeds for 4RA, 4RB"))
    assert elsewhere.code == "CP210"
    assert "4L, 4RA" in elsewhere.hint
    (none,) = refused(words.format("crossing-proceeds"))
    assert none.code == "CP210"
    assert none.message == "`crossing-proceeds` has no checks in this file"
    assert none.hint == "Remove this line, or correct the name of the property."


def test_every_claim_about_nothing_is_told_at_once() -> None:
    codes = [d.code for d in refused("expect broken nonsense", 'waive gate-open because "x"')]
    assert codes == ["CP209", "CP209"]


# ------------------------------------------------------------------ expectations


def test_expected_and_broken_is_as_expected() -> None:
    report = prove(
        "expect broken opposing-proceeds for 4L, 4RA",
        "expect broken opposing-proceeds for 4L, 4RB",
    )
    assert report.exit_code == ExitCode.AS_EXPECTED
    assert sum(v.expected for v in report.verdicts) == 2
    assert not any(v.fails for v in report.verdicts)


def test_one_broken_more_than_expected_fails() -> None:
    report = prove("expect broken opposing-proceeds for 4L, 4RA")
    assert report.exit_code == ExitCode.BROKEN
    assert [v.obligation.subjects for v in report.verdicts if v.fails] == [("4L", "4RB")]


def test_expected_but_proved_fails() -> None:
    report = prove("expect broken opposing-proceeds for 4L, 4RA", base=SAFE)
    assert [u.span.line for u in report.unmet] == [SAFE.count("\n") + 1]
    assert "opposing-proceeds for 4L, 4RA" in report.unmet[0].text
    assert report.exit_code == ExitCode.BROKEN


def test_expected_but_waived_fails() -> None:
    report = prove(
        "expect broken opposing-proceeds for 4L, 4RA",
        'waive opposing-proceeds because "the dispatcher"',
    )
    assert len(report.unmet) == 1
    assert report.exit_code == ExitCode.BROKEN


def test_an_expectation_of_something_that_must_be_possible() -> None:
    stuck = BROKEN.replace("Clear             when T1 reverse and Switch, Single clear",
                           "Clear             when T1 reverse and T1 normal")  # fmt: skip
    report = prove("expect broken never-shown for 4RB, Clear", base=stuck)
    expected = [v for v in report.verdicts if v.expected and v.status == "broken"]
    assert [v.obligation.subjects for v in expected] == [("4RB", "Clear")]


def test_an_expectation_hides_nothing_else_of_its_kind() -> None:
    """Two things are broken of one property at one signal; naming one expects only that."""
    worse = BROKEN.replace("Switch, Main clear", "T1 normal").replace("Switch, Siding clear",
                                                                      "T1 reverse")  # fmt: skip
    report = prove("expect broken proceed-into-occupied for 4L, Main", base=worse)
    into = [v for v in report.verdicts if v.obligation.property == "proceed-into-occupied"]
    expected = {v.obligation.subjects for v in into if v.expected}
    assert expected == {("4L", "Main")}
    assert {v.obligation.subjects for v in into if v.fails} == {("4L", "Switch"), ("4L", "Siding")}


def test_a_subject_may_stand_in_quotes() -> None:
    stuck = BROKEN.replace("Clear             when T1 reverse and Switch, Single clear",
                           "Clear             when T1 reverse and T1 normal")  # fmt: skip
    report = prove('expect broken route-never-clears for "4RB to Quarry"', base=stuck)
    assert [v.obligation.subjects for v in report.verdicts if v.expected] == [("4RB to Quarry",)]


def test_a_waiver_that_is_no_longer_needed_is_told() -> None:
    report = prove('waive converging-proceeds for 4RA, 4RB because "of old"',
                   'waive opposing-proceeds for 4L, 4RA because "the dispatcher"')  # fmt: skip
    waived = {v.obligation.subjects: v.needless for v in report.verdicts if v.status == "waived"}
    assert waived == {("4RA", "4RB"): True, ("4L", "4RA"): False}


# ------------------------------------------------------------------ advice

TWO_TRACKS = """
edge A1, A2, B1, B2
block A, X, B, C, Y, D
turnout T1 in X
turnout T2 in Y
track A1 = A | T1 normal | B = B1
track A2 = C | normal T2 | D = B2
track T1 reverse | reverse T2
signal 1 at A | T1  Clear when T1 normal and X, B clear and {}  Stop otherwise
signal 2 at C | T2  Clear when T2 normal and Y, D clear and {}  Stop otherwise
signal 3 at B | T1  Clear when T1 normal and X, A clear and 1 at stop  Stop otherwise
signal 4 at D | T2  Clear when T2 normal and Y, C clear and 2 at stop  Stop otherwise
interlocking limits Plant is 1, 2, 3, 4
lever L positions one, two
"""


def test_advice_is_broken_without_failing_the_file() -> None:
    nobody_crosses = 'waive route-never-clears because "the crossover is for the work train"'
    report = prove(nobody_crosses, base=TWO_TRACKS.format("L one", "L two"))
    advice = [v for v in report.verdicts if v.obligation.advice and v.status == "broken"]
    assert ("1 to B1", "2 to B2") in [v.obligation.subjects for v in advice]
    assert not any(v.fails for v in advice)
    assert report.exit_code == ExitCode.AS_EXPECTED


def test_the_same_without_the_lever_is_free() -> None:
    report = prove(base=TWO_TRACKS.format("T1 normal", "T2 normal"))
    advice = {v.obligation.subjects: v.status for v in report.verdicts if v.obligation.advice}
    assert advice["1 to B1", "2 to B2"] == "proved"
