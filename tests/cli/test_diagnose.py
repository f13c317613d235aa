"""`clearproof diagnose` as a user meets it."""

import json
from pathlib import Path

import pytest

import verifier
from tests.junction_files import spec
from tests.reports.schemas import validator
from verifier.cli import main
from verifier.verdicts.exit_codes import ExitCode

SIDING = Path(__file__).resolve().parents[1] / "diagnosis" / "wired-siding.ixl"
BARE = """\
edge West, East
block Main, Single
track West = Main | Single = East
signal 2 at Main | Single
  Clear when Single clear
  Stop  otherwise
"""


def shown(capsys: pytest.CaptureFixture[str]) -> str:
    return " ".join(capsys.readouterr().out.split())


def test_explanations_with_their_places_and_the_next_test(
    capsys: pytest.CaptureFixture[str],
) -> None:
    code = main(["diagnose", str(SIDING), "locomotive at m2, lever 4 left: 4L Clear"])
    assert code == ExitCode.BROKEN
    out = shown(capsys)
    assert "with nothing wrong: 4L red over red (Stop)" in out
    line = SIDING.read_text("utf-8").splitlines().index("detector D-Main current-sensing through "
                                                        "m1, m2, m3") + 1  # fmt: skip
    # Current divides: whichever of the feeders runs past the ring, a locomotive may go unseen.
    assert f"A. feeder m1 does not pass through D-Main {SIDING}:{line}" in out
    assert f"or: feeder m2 does not pass through D-Main {SIDING}:{line}" in out
    assert "The sure test: track power off" in out
    assert "or: detector D-Main is stuck at clear" in out
    assert "These cannot be told apart by looking at signals (proved)." in out
    assert "or 3 others" in out
    assert "The next test: locomotive at" in out and "then look at 4" in out
    assert "points not mentioned as normal" in out


def test_nothing_wrong(capsys: pytest.CaptureFixture[str]) -> None:
    code = main(["diagnose", "--ascii", str(SIDING), "lever 4 left: 4L Clear"])
    assert code == ExitCode.AS_EXPECTED
    out = capsys.readouterr().out
    assert out.isascii()
    assert "Nothing is wrong as far as seen" in out
    assert "would not" in out and "The test that catches most of them" in out
    assert "as it should be" in out


def test_what_relays_are_taken_for_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    path = spec("locked-and-wired-end-of-siding")
    assert main(["diagnose", str(path), "relay 4R-route up: 4RA Clear"]) == ExitCode.AS_EXPECTED
    out = shown(capsys)
    assert "relays as down, timers as idle" in out and "sheet" in out and "test-card" in out


def test_no_explanation(capsys: pytest.CaptureFixture[str]) -> None:
    code = main(["diagnose", str(SIDING), "4 left: 4L Clear", "4 left: 4L Stop"])
    assert code == ExitCode.BROKEN
    assert "Nothing of up to three things wrong together explains this" in shown(capsys)


def test_a_file_without_wiring_is_told_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "bare.ixl"
    path.write_text(BARE)
    assert main(["diagnose", str(path), "2 red"]) == ExitCode.BROKEN
    assert "The file says nothing of its wiring" in shown(capsys)
    assert main(["diagnose", str(path), "2 green"]) == ExitCode.AS_EXPECTED
    assert "The file says nothing of its wiring" in shown(capsys)


def test_words_that_are_not_understood(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["diagnose", str(SIDING), "4L Stop", "T1 revers: 4L Stop"]) == 2
    err = capsys.readouterr().err
    assert "observation 2:1:4: CP621: turnout `T1` is never `revers`" in err
    assert "Did you mean `reverse`?" in err


@pytest.mark.parametrize(
    "seen",
    [
        ["locomotive at m2, lever 4 left: 4L Clear"],
        ["4 left: 4L Clear"],
        ["4 left: 4L Clear", "4 left: 4L Stop"],
        ["T1 thrown reverse, T1 normal"],
    ],
)
def test_json_keeps_to_its_schema(seen: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    code = main(["diagnose", "--json", str(SIDING), *seen])
    document = json.loads(capsys.readouterr().out)
    validator("diagnosis").validate(document)
    assert document["exit_code"] == code
    assert [o["text"] for o in document["observations"]] == seen
    found = verifier.diagnose(verifier.load(SIDING), seen)
    assert document["verdict"] == found.verdict
    assert document["count"] == found.explanations
