"""`clearproof prove --certificate DIR`."""

from hashlib import sha256
from pathlib import Path

import pytest

from tests.junction_files import spec
from verifier.cli import main
from verifier.engines.temporal.certificates import recheck

SPEC = spec("locked-end-of-siding")


def test_every_proof_over_time_is_written_and_stands_up(tmp_path: Path) -> None:
    folder = tmp_path / "proofs"
    code = main(
        ["prove", "--quiet", "--only", "collision", "--certificate", str(folder), str(SPEC)]
    )
    assert code == 0
    files = sorted(folder.glob("*.smt2"))
    told = (folder / "README.txt").read_text("utf-8")
    assert files and f"{sha256(SPEC.read_bytes()).hexdigest()}  {SPEC}" in told
    assert all(recheck(file.read_text(encoding="utf-8"), 60) for file in files)


def test_a_folder_that_cannot_be_written_is_an_error(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    taken = tmp_path / "taken"
    taken.write_text("")
    assert main(
        ["prove", "--quiet", "--only", "fuse-too-large", "--certificate", str(taken), str(SPEC)]
    )
    assert "not a folder" in capsys.readouterr().err
