"""``prove`` over many files: a line each, in full what is not as its file says, and the same
report on however many processors; a process that dies, or Ctrl-C, proves nothing."""

import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import pytest

from tests.decide.layouts import BROKEN, SAFE
from tests.junction_files import spec
from verifier.cli import main
from verifier.commands.processes import Lost, in_processes
from verifier.engines import stopping
from verifier.verdicts.exit_codes import ExitCode

WRONG = "signal\n"


@pytest.fixture
def files(tmp_path: Path) -> list[str]:
    """Safe, broken, expected to be broken, wrong, missing, and safe again."""
    kept = spec("end-of-siding-broken").read_text("utf-8")
    texts = {"a": SAFE, "b": BROKEN, "c": kept, "d": WRONG, "f": SAFE}
    for name, text in texts.items():
        (tmp_path / f"{name}.ixl").write_text(text, "utf-8")
    return [str(tmp_path / f"{name}.ixl") for name in "abcdef"]


def said(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    """Exit code, output, and error output without the lines that tell how far the work is."""
    code = main(["prove", *arguments])
    out, err = capsys.readouterr()
    return code, out, re.sub(r"^.*: .*\d s\n", "", err, flags=re.MULTILINE)


@pytest.mark.parametrize("how", [(), ("--quiet",), ("--json",), ("--all",)])
def test_the_report_does_not_depend_on_the_number_of_processors(
    files: list[str], how: Sequence[str], capsys: pytest.CaptureFixture[str]
) -> None:
    one = said(capsys, "--jobs", "1", *how, *files)
    assert one[0] == ExitCode.BAD_INPUT and one[1]
    for jobs in ("2", "4", "99"):
        assert said(capsys, "--jobs", jobs, *how, *files) == one


def test_only_what_is_not_as_its_file_says_is_told_in_full(
    files: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    _, out, err = said(capsys, *files)
    lines = out.splitlines()
    safe, broken, expected, wrong, missing, last = files
    assert lines[0] == f"proved at every single moment      {safe}"
    assert f"not proved: 2 broken as expected   {expected}" in lines
    assert f"proved at every single moment      {last}" in lines
    [full] = [k for k, line in enumerate(lines) if line.startswith("  property ")]
    assert any(line.endswith(broken) for line in lines[:full])
    assert f"{wrong}:1:1: CP105" in err and f"{missing}: CP100" in err
    end = lines.index("6 of 6 files checked, exit code 2: the input is wrong.")
    assert lines[end + 1 : -1] == [
        "      2  proved at every single moment",
        "      1  not proved, just as the file says",
        "      3  not proved",
        *(f"  see   {path}" for path in (broken, wrong, missing)),
    ]
    assert lines[-1] == f"One file in full: `clearproof prove {safe}`. All in full: `--all`."


def test_all_in_full(files: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = said(capsys, "--all", *files)
    assert sum(line.startswith("  property ") for line in out.splitlines()) == 4


def test_one_file_is_told_in_full(files: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = said(capsys, files[0])
    assert "  property " in out and "files checked" not in out


def test_less_than_what_is_required_is_told_in_full(
    files: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = said(capsys, "--require", "operation", files[0], files[-1])
    assert code == ExitCode.UNDECIDED
    assert out.count("  property ") == 2 and out.count("which is required") == 2


@pytest.mark.parametrize("jobs", ["0", "-1", "two", "1000", "1.5", "²"])
def test_a_number_of_processors_that_cannot_be(
    jobs: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["prove", "--jobs", jobs, "x.ixl"])
    assert ended.value.code == ExitCode.BAD_INPUT
    assert "is not a number of processors, from 1" in capsys.readouterr().err


# ------------------------------------------------------------------ processes that end


def doubled(number: int) -> int:
    """In a process: fails for a number below 0, dies for 13."""
    if number == 13:
        os.kill(os.getpid(), signal.SIGKILL)
    if number < 0:
        raise ValueError(number)
    return 2 * number


def unheard(done: int, of: int) -> None:
    assert 0 <= done <= of


def test_answers_come_in_the_order_of_the_tasks() -> None:
    assert list(in_processes(doubled, range(14, 50), 3, unheard)) == [*range(28, 100, 2)]


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL")
def test_a_process_that_dies_answers_nothing() -> None:
    tasks = [*range(10), 13, *range(20, 30)]
    answers = list(in_processes(doubled, tasks, 2, unheard))
    assert len(answers) == len(tasks)
    assert isinstance(answers[10], Lost)
    for task, answer in zip(tasks, answers, strict=True):
        assert isinstance(answer, Lost) or answer == 2 * task


def test_what_is_raised_in_a_process_is_raised_here() -> None:
    with pytest.raises(ValueError, match="-1"):
        list(in_processes(doubled, [1, -1], 2, unheard))


def limit_seen(_task: int) -> stopping.TimeLimit | None:
    return stopping.limit_now()


def test_the_time_limit_holds_in_every_process() -> None:
    with stopping.time_limit(77.0):
        ours = stopping.limit_now()
        assert list(in_processes(limit_seen, [1, 2], 2, unheard)) == [ours, ours]


def test_no_time_no_verdict(files: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = said(capsys, "--within", "0.000001", "--jobs", "2", files[0], files[5])
    assert code == ExitCode.UNDECIDED
    assert out.count("not proved: undecided") == 2 and "  proved" not in out


@pytest.mark.skipif(sys.platform != "linux", reason="sends Ctrl-C to one process")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_ctrl_c_ends_all_with_what_is_known(number: signal.Signals, tmp_path: Path) -> None:
    """Also when the signal reaches the first process only."""
    names = ["locked-end-of-siding", "locked-and-wired-end-of-siding", "locked-end-of-siding"]
    files = [str(spec("end-of-siding-mended")), *(str(spec(name)) for name in names)]
    out = tmp_path / "out"
    env = {k: v for k, v in os.environ.items() if k != "CLEARPROOF_NO_CACHE"}
    env |= {"HOME": str(tmp_path), "XDG_CACHE_HOME": str(tmp_path / "cache")}
    with out.open("wb") as stream:
        process = subprocess.Popen(
            [sys.executable, "-m", "verifier.cli", "prove", "--json", "--jobs", "2", *files],
            stdout=stream, stderr=subprocess.PIPE, preexec_fn=hears_ctrl_c,
            env=env,
        )  # fmt: skip
        children: list[int] = []
        # The first file is proved when its proof is kept; the others have begun then.
        while not (tmp_path / "cache" / "clearproof" / "proofs").exists():
            assert process.poll() is None, "it ended before it was interrupted"
            children = _children(process.pid)
            time.sleep(0.05)
        assert len(children) == 2
        process.send_signal(number)
        _, err = process.communicate(timeout=60)
    assert process.returncode == ExitCode.UNDECIDED, err
    assert b"Traceback" not in err
    document = json.loads(out.read_text("utf-8"))
    assert document["exit_code"] == ExitCode.UNDECIDED
    assert [file["file"] for file in document["files"]] == files
    assert document["files"][0]["grade"] == "proved at every single moment"
    assert document["files"][-1]["stopped"] == "interrupted before it was begun"
    assert not any(Path(f"/proc/{child}").exists() for child in children)


def hears_ctrl_c() -> None:
    """What runs in the background of a shell may be deaf to it."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})


def _children(pid: int) -> list[int]:
    try:
        return [int(n) for n in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
    except OSError:
        return []
