"""Numbers a report gives, counted by hand."""

import verifier
from tests.findings.layouts import BROKEN, SAFE
from verifier.findings.verdicts import Report, Verdict


def verdict(report: Report, key: str) -> Verdict:
    (found,) = (v for v in report.verdicts if v.obligation.key == key)
    return found


def test_covered_by_a_proof() -> None:
    """As many situations as the things concerned can be in.

    4RA into Main's way: Switch and Single, 2 each; T1, 3; the lever, 3. (Main and Siding
    make no difference to it.)"""
    report = verifier.prove(verifier.load_text(SAFE))
    assert verdict(report, "proceed-into-occupied: 4RA, Single").covered == 1
    opposing = verdict(report, "proceed-over-open-points: 4RA, T1")
    assert opposing.covered == 1  # false as it stands: nothing was left to go through


def test_covered_where_the_solver_had_to_work() -> None:
    """The lever is asked in two ways, so that the expression is not false as it stands."""
    text = SAFE + (
        'prove "apart" never 4RA proceeds and (train on Main or 4 left) and '
        "(Main vacant or not 4 right)\n"
    )
    report = verifier.prove(verifier.load_text(text))
    own = verdict(report, "apart: 4RA, Main, 4")
    assert own.status == "proved"
    # Main, Switch and Single; T1; the lever.
    assert own.covered == 2 * 2 * 2 * 3 * 3


def test_covered_by_a_finding() -> None:
    """4L and 4RA: Main, Switch and Single vacant and T1 normal matter, Siding does not."""
    report = verifier.prove(verifier.load_text(BROKEN))
    finding = verdict(report, "opposing-proceeds: 4L, 4RA").finding
    assert finding is not None
    assert [w.name for w in finding.relevant] == ["Main", "Switch", "Single", "T1"]
    assert finding.covered == 2
    assert dict(finding.situation) == {}


def test_covered_by_a_finding_about_trains() -> None:
    """4L forgets Siding: T1 reverse, Switch vacant, Siding occupied; Main and Single free."""
    text = BROKEN.replace("Switch, Siding clear", "Switch clear")
    report = verifier.prove(verifier.load_text(text))
    finding = verdict(report, "proceed-into-occupied: 4L, Siding").finding
    assert finding is not None
    assert {w.name: s for w, s in finding.situation} == {"Siding": "occupied", "T1": "reverse"}
    assert [w.name for w in finding.relevant] == ["Siding", "Switch", "T1"]
    assert finding.covered == 2 * 2


def test_what_cannot_be_says_how_many_it_went_through() -> None:
    text = BROKEN.replace("T1 reverse and Switch, Single clear",
                          "T1 reverse and (Switch clear or Single clear) and "
                          "(Switch occupied or T1 normal) and Single occupied")  # fmt: skip
    report = verifier.prove(verifier.load_text(text))
    stuck = verdict(report, "never-shown: 4RB, Clear")
    assert (stuck.status, stuck.finding) == ("broken", None)
    # Switch, Single and T1.
    assert stuck.covered == 2 * 2 * 3


def test_a_witness_is_the_simplest_situation() -> None:
    report = verifier.prove(verifier.load_text(SAFE))
    witness = verdict(report, "never-shown: 4L, Diverging-Clear").witness
    assert witness is not None
    assert {w.name: s for w, s in witness} == {"T1": "reverse", "4": "left"}
