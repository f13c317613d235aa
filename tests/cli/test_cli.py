"""The commands as a user meets them: what they print, what they return, how they end."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.junction_files import spec
from verifier.cli import main
from verifier.verdicts.exit_codes import ExitCode, worst

ROOT = Path(__file__).resolve().parents[2]
BROKEN = """
layout "Fernhook, west switch"
edge West, Team, Main-East
block W, OS, M, S
turnout T1 in OS
track West = W | T1 normal | M = Main-East
track T1 reverse | S = Team
signal 2R at W | T1
  heads upper, lower
  Clear           when T1 normal and OS, M clear
  Diverging-Clear when T1 reverse and OS, S clear
  Stop            otherwise
signal 2LA at M | T1
  Clear when T1 normal and OS, W clear
  Stop  otherwise
signal 2LB at S | T1
  Clear when OS, W clear
  Stop  otherwise
"""


@pytest.fixture
def broken(tmp_path: Path) -> Path:
    path = tmp_path / "fernhook.ixl"
    path.write_text(BROKEN)
    return path


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "verifier.cli", *arguments],
        capture_output=True, text=True, timeout=120, check=False, encoding="utf-8",
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
    )  # fmt: skip


def test_a_broken_junction_is_drawn_explained_and_mended(
    broken: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["prove", "--all", str(broken)]) == ExitCode.BROKEN
    out = capsys.readouterr().out
    # One line a property ...
    assert "converging-proceeds" in out and "BROKEN" in out and "proved" in out
    # ... then the finding: sentence, cause with file and line, mending.
    assert "2LA and 2LB both let trains onto tracks that converge at T1." in out
    lines = BROKEN.splitlines()
    assert f"{broken}:{lines.index('  Clear when OS, W clear') + 1}: `Clear when OS, W" in out
    assert "add `and T1 reverse` to `Clear when …` of 2LB" in out
    assert "Assumptions:" in out
    assert out.endswith(f"\n`clearproof mend {broken}` looks for repairs.\n")


def test_nothing_to_mend_is_said_where_nothing_is_broken_but_what_the_file_expects(
    capsys: pytest.CaptureFixture[str],
) -> None:
    for name in ("end-of-siding-broken", "end-of-siding-mended"):
        assert main(["prove", "--all", str(spec(name))]) == ExitCode.AS_EXPECTED
    assert "clearproof mend" not in capsys.readouterr().out


def test_the_mending_offered_really_mends(broken: Path, capsys: pytest.CaptureFixture[str]) -> None:
    broken.write_text(BROKEN.replace("Clear when OS, W", "Clear when T1 reverse and OS, W"))
    main(["prove", "--only", "converging-proceeds", str(broken)])
    assert "BROKEN" not in capsys.readouterr().out


def test_ascii_output_is_plain_ascii(broken: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["prove", "--all", "--ascii", str(broken)])
    assert capsys.readouterr().out.isascii()


def test_a_console_without_line_characters_gets_ascii(broken: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "verifier.cli", "prove", str(broken)],
        capture_output=True, timeout=120, check=False,
        env={**os.environ, "PYTHONIOENCODING": "latin-1"},
    )  # fmt: skip
    assert done.returncode == ExitCode.BROKEN
    assert done.stdout.isascii()


def test_colour_says_nothing_that_words_do_not(
    broken: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    import re

    main(["prove", "--colour", "always", str(broken)])
    painted = capsys.readouterr().out
    main(["prove", "--colour", "never", str(broken)])
    assert re.sub(r"\x1b\[[0-9;]*m", "", painted) == capsys.readouterr().out


def test_wrong_input_exits_2_with_place_and_hint(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "x.ixl"
    path.write_text(BROKEN.replace("turnout T1 in OS", "turnout T1 in OSS"))
    assert main(["prove", str(path)]) == ExitCode.BAD_INPUT
    err = capsys.readouterr().err
    assert f"{path}:5:15: CP201" in err and "Did you mean `OS`?" in err
    assert "Traceback" not in err


@pytest.mark.parametrize(
    "arguments",
    [["prove", "nowhere.ixl"], ["ask", "nowhere.ixl"], ["sheet", "nowhere.ixl"],
     ["explain", "convergin-proceeds"], ["new", "end-of-sidin"]],
)  # fmt: skip
def test_what_does_not_exist_is_an_input_error(
    arguments: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(arguments) == ExitCode.BAD_INPUT
    assert "CP" in capsys.readouterr().err


def test_ask_tells_what_signals_show(broken: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["ask", str(broken), "T1 reverse, train on M"]) == 0
    out = capsys.readouterr().out
    shown = {line.split()[0]: line.split()[1] for line in out.splitlines() if "(" in line
             and line.strip().split()[0] in ("2R", "2LA", "2LB")}  # fmt: skip
    assert shown == {"2R": "Diverging-Clear", "2LA": "Stop", "2LB": "Clear"}


@pytest.mark.parametrize(
    ("situation", "assumed"),
    [
        ("train on Single", ["quiet nights"]),
        ("train on A, train on B", ["at most 1 train"]),
        ("train on A, train on Single, train on B", ["quiet nights"]),
        ("train on A", []),
    ],
)
def test_ask_names_the_assumption_that_excludes_a_situation(
    situation: str, assumed: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "x.ixl"
    path.write_text(
        "edge West, East\nblock A, Single, B\ntrack West = A | Single | B = East\n"
        'assume "quiet nights" never train on Single\nat most 1 train\n',
        "utf-8",
    )
    assert main(["ask", str(path), situation]) == 0
    said = [line.strip() for line in capsys.readouterr().out.splitlines() if "assumes" in line]
    assert said == [f'Your file assumes that this never happens: "{title}".' for title in assumed]


def test_ask_refuses_what_cannot_be(broken: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["ask", str(broken), "T1 clear, train on Mian, 2R normal"]) == ExitCode.BAD_INPUT
    err = capsys.readouterr().err
    assert err.count("CP204:") == 1 and err.count("CP201:") == 2


def test_new_writes_a_pattern_that_proves_and_overwrites_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "mine.ixl"
    assert main(["new", "end-of-siding", str(path)]) == 0
    assert main(["prove", str(path)]) == 0
    path.write_text("block A")
    assert main(["new", "end-of-siding", str(path)]) == ExitCode.BAD_INPUT
    assert path.read_text() == "block A"
    assert "nothing was written" in capsys.readouterr().err


def test_sheet_lists_every_route(broken: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sheet", str(broken)]) == 0
    out = capsys.readouterr().out
    for route in ("2R to Main-East", "2R to Team", "2LA to West", "2LB to West"):
        assert route in out


def test_a_bug_of_ours_is_called_that(
    broken: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    import verifier.api

    def fail(*_: object, **__: object) -> None:
        raise RuntimeError("the sky fell")

    monkeypatch.delenv("CLEARPROOF_TRACEBACK", raising=False)
    monkeypatch.setattr(verifier.api, "prove_file", fail)
    assert main(["prove", str(broken)]) == ExitCode.OUR_BUG
    err = capsys.readouterr().err
    assert "bug in clearproof, not in your file" in err and "the sky fell" in err


def test_the_worst_exit_code_counts() -> None:
    assert worst([]) == 0
    assert worst([ExitCode.UNDECIDED, ExitCode.AS_EXPECTED]) == 3
    assert worst([ExitCode.UNDECIDED, ExitCode.BROKEN]) == 1
    assert worst([ExitCode.BAD_INPUT, ExitCode.BROKEN]) == 2
    assert worst(ExitCode) == 4


def test_a_reader_that_goes_away_is_no_error(broken: Path) -> None:
    for arguments, first in ((f'prove --all "{broken}"', "Fernhook"), ("completion zsh", "#")):
        command = f'"{sys.executable}" -m verifier.cli {arguments} | head -n 1'
        done = subprocess.run(
            ["bash", "-c", command], capture_output=True, text=True, timeout=60, check=False
        )
        assert done.stdout.startswith(first) and done.stderr == ""


def test_ctrl_c_keeps_the_verdicts_it_has(tmp_path: Path) -> None:
    from verifier.farm.lines import line

    path = tmp_path / "line.ixl"
    path.write_text(line(80))
    # Progress is said to a terminal alone: here it is, for the moment to press Ctrl-C at.
    saying_progress = """if True:
        import sys
        from verifier import cli
        from verifier.reports.progress import ProgressLine

        ProgressLine.__call__ = lambda *_: print("at work", file=sys.stderr, flush=True)
        raise SystemExit(cli.main(["prove", sys.argv[1]]))
    """
    process = subprocess.Popen(
        [sys.executable, "-c", saying_progress, str(path)], cwd=ROOT,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
        # A test run in the background of a shell ignores Ctrl-C, and so would the program.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )  # fmt: skip
    assert process.stderr is not None
    assert any(line == "at work\n" for line in process.stderr)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=60)
    assert "Traceback" not in err
    assert process.returncode == ExitCode.UNDECIDED
    # Early or late: either nothing was decided yet, or the table says what was.
    assert "nothing decided" in err or "(interrupted)" in out


@pytest.mark.parametrize("number", ["SIGINT", "SIGTERM"])
def test_ctrl_c_during_a_long_check_ends_with_what_is_known(number: str) -> None:
    """So does what ends a program by default; in the background, too, where Ctrl-C is not heard."""
    long = """if True:
        import os, signal, threading
        from tests.engines.ctrl_c import add_pigeons
        from verifier import cli
        from verifier.engines.session import Session

        real, asked = Session._ask, 0

        def ask(session, assumed):
            global asked
            asked += 1
            if asked == 20:
                add_pigeons(session, 12)
                threading.Timer(1, os.kill, (os.getpid(), signal.NUMBER)).start()
            return real(session, assumed)

        Session._ask = ask
        raise SystemExit(cli.main(["prove", "verifier/patterns/crossover.ixl"]))
    """
    done = subprocess.run(
        [sys.executable, "-c", long.replace("NUMBER", number)],
        capture_output=True, text=True, timeout=50, check=False,
        cwd=ROOT, env={**os.environ, "PYTHONIOENCODING": "utf-8"},
        preexec_fn=lambda: signal.signal(
            signal.SIGINT, signal.SIG_DFL if number == "SIGINT" else signal.SIG_IGN
        ),
    )  # fmt: skip
    assert done.returncode == ExitCode.UNDECIDED and "Traceback" not in done.stderr
    assert "(interrupted)" in done.stdout and "proved" in done.stdout


def test_ctrl_c_that_python_loses_is_pressed_again() -> None:
    lost = """if True:
        import time
        from verifier import cli
        from verifier.commands import looking

        class Cleared:
            def __del__(self):
                raise KeyboardInterrupt

        def run(_):
            Cleared()
            time.sleep(30)
            print("never")

        looking.add = lambda command: command("lose", run, "x")
        raise SystemExit(cli.main(["lose"]))
    """
    done = subprocess.run(
        [sys.executable, "-c", lost], capture_output=True, text=True, timeout=25, check=False,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )  # fmt: skip
    assert done.returncode == ExitCode.UNDECIDED and done.stdout == ""
    assert "nothing further was decided" in done.stderr and "Traceback" not in done.stderr
