"""`clearproof pack`: a folder that runs where there is no Python. Making one takes a minute, so the
test of the whole runs where PyInstaller is installed: `pip install -e '.[test,pack]'`."""

import os
import re
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

import pytest

from tests.junction_files import spec
from verifier.cli import main

# Nothing of this environment: no Python, no path.
BARE = {"PATH": os.devnull, "HOME": os.devnull, "CLEARPROOF_NO_CACHE": "1"}


@pytest.mark.skipif(
    find_spec("PyInstaller") is None,
    reason="PyInstaller is not installed: pip install -e '.[test,pack]' to make a folder",
)
def test_the_folder_proves_a_file_and_opens_the_page_without_python(tmp_path: Path) -> None:
    folder, file = tmp_path / "made", tmp_path / "mine.ixl"
    file.write_bytes(spec("end-of-siding-mended").read_bytes())
    made = subprocess.run(
        [sys.executable, "-m", "verifier.cli", "pack", str(folder)],
        capture_output=True, text=True, timeout=900, check=False,
    )  # fmt: skip
    assert made.returncode == 0, made.stderr
    program = folder / "clearproof"
    assert "Start the program" in (folder / "README.txt").read_text("utf-8")

    def run(*arguments: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [program, *arguments],
            cwd=tmp_path, env=BARE, capture_output=True, text=True, timeout=120, check=False,
        )  # fmt: skip

    proved = run("prove", "--json", "mine.ixl")
    assert proved.returncode == 0, proved.stderr
    here = subprocess.run(
        [sys.executable, "-m", "verifier.cli", "prove", "--json", "mine.ixl"],
        cwd=tmp_path, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert proved.stdout == here.stdout
    assert run("explain", "CP204").returncode == 0
    assert run("sheet", "mine.ixl").returncode == 0
    # Two files: in processes of their own. A worker of the page: one more program.
    other = tmp_path / "other.ixl"
    other.write_bytes(file.read_bytes())
    assert run("prove", "--quiet", "--jobs", "2", "mine.ixl", "other.ixl").returncode == 0
    with subprocess.Popen(
        [program, "page", "--no-browser", "mine.ixl"],
        cwd=tmp_path, env=BARE, stdout=subprocess.PIPE, text=True,
    ) as page:  # fmt: skip
        assert page.stdout is not None
        said = page.stdout.readline()
        page.kill()
    assert re.search(r"http://127\.0\.0\.1:\d+/", said)
    worker = subprocess.run(
        [program, "-P", "-m", "verifier.workbench.worker"],
        env=BARE, input="", capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert worker.returncode == 0, worker.stderr


def test_nothing_is_made_over_what_is_there(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "PyInstaller.__main__", type(sys)("PyInstaller.__main__"))
    monkeypatch.setattr(sys.modules["PyInstaller.__main__"], "run", lambda _: None, raising=False)
    assert main(["pack", str(tmp_path)]) == 2
    assert "it is there already" in capsys.readouterr().err
    assert main(["pack", str(tmp_path / "no" / "folder")]) == 2
    assert "the folder around it does not exist" in capsys.readouterr().err
    monkeypatch.setitem(sys.modules, "PyInstaller.__main__", None)
    assert main(["pack", str(tmp_path / "made")]) == 2
    said = capsys.readouterr().err
    assert said.strip() == "`clearproof pack` needs PyInstaller: pip install 'clearproof[pack]'"
