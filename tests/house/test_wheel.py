"""The wheel works by itself: installed in a fresh environment, away from the source tree."""

import subprocess
import sys
import venv
from email import message_from_bytes
from pathlib import Path
from zipfile import ZipFile

import pytest

ROOT = Path(__file__).resolve().parents[2]


def assert_complete(wheel: Path) -> None:
    """All files of the program are in it, and its metadata name the license and hold its text."""
    files = {path.relative_to(ROOT).as_posix() for path in (ROOT / "verifier").rglob("*.*")}
    files |= {f"verifier/grammar/{path.name}" for path in (ROOT / "grammar").glob("*.*")}
    with ZipFile(wheel) as archive:
        names = set(archive.namelist())
        assert {name for name in files - names if "__pycache__" not in name} == set()
        [metadata] = (name for name in names if name.endswith(".dist-info/METADATA"))
        [text] = (name for name in names if name.endswith("licenses/verifier/LICENSE.txt"))
        told = message_from_bytes(archive.read(metadata))
        assert archive.read(text) == (ROOT / "verifier" / "LICENSE.txt").read_bytes()
    assert (told["License-Expression"], told["License-File"]) == ("MIT", "verifier/LICENSE.txt")
    assert told["Keywords"] and "Typing :: Typed" in told.get_all("Classifier", [])


def test_a_fresh_environment_proves_a_junction_from_the_wheel(tmp_path: Path) -> None:
    built = subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", str(tmp_path), str(ROOT)],
        capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    if built.returncode and "Could not find a version" in built.stderr:
        pytest.skip("no package registry can be reached, so no wheel can be built here")
    assert built.returncode == 0, built.stderr
    [wheel] = tmp_path.glob("clearproof-*.whl")
    assert_complete(wheel)
    fresh = tmp_path / "fresh"
    venv.create(fresh)
    python = fresh / "bin" / "python"
    pip = [sys.executable, "-m", "pip", "--python", str(python)]
    installed = subprocess.run(
        [*pip, "install", "-q", "--no-compile", str(wheel)],
        capture_output=True, text=True, timeout=600, check=False,
    )  # fmt: skip
    if installed.returncode and "Could not find a version" in installed.stderr:
        pytest.skip("no package registry can be reached, so nothing can be installed here")
    assert installed.returncode == 0, installed.stderr

    def run(*arguments: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [fresh / "bin" / "clearproof", *arguments],
            cwd=tmp_path, capture_output=True, text=True, timeout=120, check=False,
        )  # fmt: skip

    assert run("new", "passing-siding", "mine.ixl").returncode == 0
    proved = run("prove", "--json", "mine.ixl")
    assert proved.returncode == 0, proved.stderr
    assert run("explain", "CP204").returncode == 0
    assert run("explain", "converging-proceeds").returncode == 0
    where = subprocess.run(
        [python, "-c", "import verifier; print(verifier.__file__)"],
        cwd=tmp_path, capture_output=True, text=True, timeout=60, check=True,
    )  # fmt: skip
    assert Path(where.stdout.strip()).is_relative_to(fresh)
