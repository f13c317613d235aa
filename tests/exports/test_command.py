"""`clearproof export`: writes what was shown to be the same, and nothing else."""

from pathlib import Path

import pytest

from tests.drawing.samples import END_OF_SIDING
from verifier.cli import main
from verifier.exports import checked_export
from verifier.exports.equivalence import Inconclusive, NotEquivalent


@pytest.fixture
def siding(tmp_path: Path) -> str:
    path = tmp_path / "alder-creek.ixl"
    path.write_text(END_OF_SIDING, encoding="utf-8")
    return str(path)


def test_it_writes_and_says_what_was_proved(
    siding: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "rules.c"
    assert main(["export", siding, "-o", str(path)]) == 0
    assert "Proved" in capsys.readouterr().err
    assert "alder_creek_step" in path.read_text("utf-8")
    assert main(["export", siding]) == 0
    assert capsys.readouterr().out == path.read_text("utf-8")


@pytest.mark.parametrize(
    ("answer", "code", "said"),
    [(NotEquivalent("aspect of 4L", (("in->block_Main", 5),)), 4, "bug in clearproof"),
     (Inconclusive("time ran out"), 3, "nothing was written")],
)  # fmt: skip
def test_nothing_is_written_that_was_not_shown_to_be_the_same(
    siding: str, tmp_path: Path, answer: object, code: int, said: str,
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    monkeypatch.setattr(checked_export, "compare", lambda made, timeout: answer)
    path = tmp_path / "rules.c"
    assert main(["export", siding, "-o", str(path)]) == code
    assert not path.exists() and said in capsys.readouterr().err


def test_what_cannot_be_exported_is_told(
    siding: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bare = tmp_path / "bare.ixl"
    bare.write_text("edge W, E\nblock A, B\ntrack W = A | B = E\n", encoding="utf-8")
    assert main(["export", str(bare)]) == 2
    assert "no signals" in capsys.readouterr().err
    assert main(["export", siding, "-o", str(tmp_path / "no" / "x.c")]) == 2
    assert "cannot be written" in capsys.readouterr().err
