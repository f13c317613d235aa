"""One mistake, one finding: what follows from a finding is told with it, and stays broken."""

import json

import pytest

from tests.junction_files import spec
from tests.proofs import proved
from verifier import load_text, prove
from verifier.cli import main
from verifier.reports.words import told_findings

FOLLOWS = {
    # The same repair mends all.
    "missed-feeder-broken": {
        "proceed-into-occupied: 2R, Station": "feeder-undetected: m3, Station",
        "wire-broken: feeder m1": "feeder-undetected: m3, Station",
        "wire-broken: feeder m2": "feeder-undetected: m3, Station",
    },
    # Its repair is made of those of two others, of which the first is named.
    "both-green-broken": {
        "converging-proceeds: 4RA, 4RB": "proceed-over-open-points: 4RA, T1",
    },
    # The gate moves in their histories, and nothing holds it.
    "drawbridge-broken": {
        "approach-locking: 2R": "points-move-under-train: G1",
        "approach-locking: 2L": "points-move-under-train: G1",
        "derailment: G1": "points-move-under-train: G1",
    },
    # Detectors that see nothing; two of them, so two mistakes.
    "ring-on-dc-broken": {
        "proceed-into-occupied: 2R, Ahead": "detector-cannot-sense: D-Ahead",
        "proceed-into-occupied: 2R, Beyond": "detector-cannot-sense: D-Beyond",
    },
    # Two lines, two mistakes.
    "spur-broken": {},
}


@pytest.mark.parametrize("name", FOLLOWS)
def test_what_follows_from_what(name: str) -> None:
    report = proved(spec(name))
    assert dict(report.follows) == FOLLOWS[name]
    told = {v.obligation.key for v in told_findings(report, lessons=True, everything=False)}
    broken = {v.obligation.key for v in report.verdicts if v.status == "broken"}
    every = {v.obligation.key for v in told_findings(report, lessons=True, everything=True)}
    assert told.isdisjoint(report.follows) and set(report.follows.values()) <= told
    assert set(report.follows) <= broken <= every


def test_it_is_told_with_its_root(capsys: pytest.CaptureFixture[str]) -> None:
    path = str(spec("missed-feeder-broken"))
    assert main(["prove", path]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert said.count("The same mistake also breaks") == 1
    assert "also breaks proceed-into-occupied: 2R, Station; wire-broken: feeder m1;" in said
    assert main(["prove", path, "--json"]) == 0
    verdicts = json.loads(capsys.readouterr().out)["files"][0]["verdicts"]
    follows = [v["follows_from"] for v in verdicts if v["follows_from"]]
    assert follows == ["feeder-undetected: m3, Station"] * 3


def test_what_is_expected_hides_nothing() -> None:
    """What follows from something that the file expects is told by itself, where it does not."""
    text = spec("missed-feeder-broken").read_text("utf-8")
    kept = "expect broken feeder-undetected for m3, Station"
    rest = text[text.index("expect broken") :]
    report = prove(load_text(text.replace(rest, kept)))
    told = {v.obligation.key for v in told_findings(report, lessons=False, everything=False)}
    assert "proceed-into-occupied: 2R, Station" in told
    assert "feeder-undetected: m3, Station" not in report.follows.values()
