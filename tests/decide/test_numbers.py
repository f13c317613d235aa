"""Numbers a report gives, counted by hand."""

import verifier
from tests.decide.layouts import BROKEN, SAFE
from verifier.verdicts.report import Report, Verdict


def verdict(report: Report, key: str) -> Verdict:
    (found,) = (v for v in report.verdicts if v.obligation.key == key)
    return found


# Main, Siding, Switch and Single; T1; the lever.
ALL_OF_SAFE = 2**4 * 3 * 3


def test_a_proof_covers_every_situation_of_the_plan() -> None:
    text = SAFE + (
        'prove "apart" never 4RA proceeds and (train on Main or 4 left) and '
        "(Main vacant or not 4 right)\n"
    )
    report = verifier.prove(verifier.load_text(text))
    # One that is false as it stands, and one for which the solver had to work.
    assert verdict(report, "proceed-into-occupied: 4RA, Single").covered == ALL_OF_SAFE
    own = verdict(report, "apart: 4RA, Main, 4")
    assert (own.status, own.covered) == ("proved", ALL_OF_SAFE)


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
    # Main, Siding, Switch and Single; T1. (This layout has no lever.)
    assert stuck.covered == 2**4 * 3


def test_a_witness_is_the_simplest_situation() -> None:
    report = verifier.prove(verifier.load_text(SAFE))
    witness = verdict(report, "never-shown: 4L, Diverging-Clear").witness
    assert witness is not None
    assert {w.name: s for w, s in witness} == {"T1": "reverse", "4": "left"}
