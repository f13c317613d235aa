"""`clearproof prove --certificate DIR`."""

import subprocess
import sys
from hashlib import sha256
from pathlib import Path

import pytest

from tests.junction_files import spec
from verifier.cli import main
from verifier.engines.interchange.check_proofs import MAGIC
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


def test_the_folder_is_checked_without_us_and_holds_nothing_stale(tmp_path: Path) -> None:
    folder, other = tmp_path / "proofs", tmp_path / "other.ixl"
    wanted = ["prove", "--quiet", "--only", "points-move-under-train", "--certificate"]
    folder.mkdir()
    stale, theirs = folder / "0999-gone.smt2", folder / "theirs.smt2"
    stale.write_text(f"{MAGIC}\n(check-sat)\n")
    theirs.write_text("(check-sat)\n")
    assert main([*wanted, str(folder), str(SPEC)]) == 0
    assert theirs.exists() and not stale.exists()

    def checked(*arguments: object) -> tuple[int, str]:
        command = [sys.executable, "-I", "check.py", *map(str, arguments)]
        done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=120)
        return done.returncode, done.stdout

    code, said = checked()
    assert code == 1 and "foreign    theirs.smt2" in said
    theirs.unlink()
    code, said = checked(".", SPEC.resolve())
    assert code == 0 and "not that they describe your layout" in said
    assert f"{said.count('stands     ')} of " in said
    other.write_bytes(SPEC.read_bytes() + b"\n")
    assert checked(".", other)[0] == 1
    # A proof of which one fact was taken away is none.
    file = next(path for path in folder.glob("*.smt2") if "The facts hold." in path.read_text())
    before, after = file.read_text().split("; The facts hold.\n", 1)
    file.write_text(f"{before}; The facts hold.\n{after.split(chr(10), 1)[1]}")
    code, said = checked()
    assert code == 1 and f"FAILS      {file.name}" in said
    assert checked(tmp_path / "nowhere")[0] == 2


def test_a_folder_that_cannot_be_written_is_an_error(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    taken = tmp_path / "taken"
    taken.write_text("")
    assert main(
        ["prove", "--quiet", "--only", "fuse-too-large", "--certificate", str(taken), str(SPEC)]
    )
    assert "not a folder" in capsys.readouterr().err
