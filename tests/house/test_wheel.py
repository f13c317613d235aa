"""The wheel works by itself: installed in a fresh environment, away from the source tree."""

import subprocess
import sys
import venv
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


def test_a_fresh_environment_proves_a_junction_from_the_wheel(tmp_path: Path) -> None:
    built = subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", str(tmp_path), str(ROOT)],
        capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    if built.returncode and "Could not find a version" in built.stderr:
        pytest.skip("no package registry can be reached, so no wheel can be built here")
    assert built.returncode == 0, built.stderr
    [wheel] = tmp_path.glob("clearproof-*.whl")
    fresh = tmp_path / "fresh"
    venv.create(fresh, with_pip=True)
    python = fresh / "bin" / "python"
    installed = subprocess.run(
        [python, "-m", "pip", "install", "-q", str(wheel)],
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
