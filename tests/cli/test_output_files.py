"""Every command that writes a file: one line and exit code 2 where it cannot, nothing destroyed."""

import ast
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.drawing.samples import END_OF_SIDING
from tests.junction_files import ROOT
from verifier.cli import main
from verifier.verdicts.exit_codes import ExitCode

# How each command is told to write to a path; it reads the junction.
WRITERS: dict[str, Callable[[str, str], list[str]]] = {
    "draw": lambda junction, path: ["draw", junction, "-o", path],
    "export": lambda junction, path: ["export", junction, "-o", path],
    "report": lambda junction, path: ["prove", junction, "--only", "derailment", "--report", path],
    "new": lambda junction, path: ["new", "end-of-siding", path],
}
COMMANDS = pytest.mark.parametrize("command", list(WRITERS))


@pytest.fixture
def junction(tmp_path: Path) -> Path:
    path = tmp_path / "alder-creek.ixl"
    path.write_text(END_OF_SIDING, encoding="utf-8")
    return path


def one_line(capsys: pytest.CaptureFixture[str]) -> str:
    [line] = capsys.readouterr().err.splitlines()
    return line


READERS = ("prove", "mend", "draft", "format", "sheet", "draw", "why", "export")


@pytest.mark.parametrize("command", READERS)
@pytest.mark.parametrize("what", ["pipe", "device", "endless"])
def test_what_never_ends_is_not_read(
    command: str, what: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = {"device": "/dev/null", "endless": "/dev/zero"}.get(what, str(tmp_path / "pipe.ixl"))
    if what == "pipe":
        os.mkfifo(path)
    assert main([command, path]) == ExitCode.BAD_INPUT
    assert "a device or a pipe, not a file" in capsys.readouterr().err


def test_a_pipe_in_a_folder_is_told_and_the_rest_is_proved(
    junction: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    os.mkfifo(junction.parent / "pipe.ixl")
    code = main(["prove", "--jobs", "1", "--only", "derailment", str(junction.parent)])
    told = capsys.readouterr()
    assert code == ExitCode.UNDECIDED and "a device or a pipe" in told.err
    assert junction.name in told.out


def test_no_name_does_nothing_to_a_terminal(
    junction: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    name = "bell\a and \x1b]0;title\x07 \x1b[2J.ixl"
    path = junction.with_name(name)
    path.write_bytes(junction.read_bytes())
    main(["prove", "--quiet", "--only", "derailment", str(path)])
    main(["prove", str(path) + "?"])
    told = capsys.readouterr()
    assert "bell? and ?]0;title? ?[2J.ixl" in told.out + told.err
    assert not set("\a\x1b") & set(told.out + told.err)


def test_an_empty_name_is_no_folder(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["prove", ""]) == ExitCode.BAD_INPUT
    assert "the name of a file is empty" in capsys.readouterr().err


@pytest.mark.parametrize("closed", ["stdout", "stderr"])
def test_a_closed_output_is_no_bug(closed: str, junction: Path) -> None:
    number = 1 if closed == "stdout" else 2
    command = f'"{sys.executable}" -m verifier.cli prove --only derailment "{junction}" {number}>&-'
    done = subprocess.run(
        ["sh", "-c", command], capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode in (ExitCode.BAD_INPUT, 0, 1, 3)
    if closed == "stdout":
        assert done.stderr == "The output cannot be written: standard output is closed.\n"


@COMMANDS
def test_a_dash_is_no_file(
    command: str, junction: Path, tmp_path: Path,
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    assert main(WRITERS[command](str(junction), "-")) == ExitCode.BAD_INPUT
    assert one_line(capsys).startswith("`-` names no file here.")
    assert not (tmp_path / "-").exists()


@COMMANDS
def test_it_is_written(command: str, junction: Path, tmp_path: Path) -> None:
    path = tmp_path / "out"
    assert main(WRITERS[command](str(junction), str(path))) in (0, 1, ExitCode.UNDECIDED)
    assert path.stat().st_size > 100


@COMMANDS
def test_an_input_is_kept(command: str, junction: Path, capsys: pytest.CaptureFixture[str]) -> None:
    link = junction.with_name("link")
    link.symlink_to(junction)
    for name in (junction, link):
        assert main(WRITERS[command](str(junction), str(name))) == ExitCode.BAD_INPUT
        assert str(name) in one_line(capsys)
    assert junction.read_text("utf-8") == END_OF_SIDING and link.is_symlink()


def test_an_included_file_is_kept(
    junction: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main_file = tmp_path / "main.ixl"
    main_file.write_text('include "alder-creek.ixl"\n', encoding="utf-8")
    assert main(["draw", str(main_file), "-o", str(junction)]) == ExitCode.BAD_INPUT
    assert "was read in this run" in one_line(capsys)
    main_file.write_text('include "alder-creek.ixl"\nblock\n', encoding="utf-8")
    assert main(["prove", str(main_file), "--report", str(junction)]) == ExitCode.BAD_INPUT
    assert junction.read_text("utf-8") == END_OF_SIDING


@COMMANDS
@pytest.mark.parametrize(
    "name",
    [os.devnull, "/dev/stdout", "pipe", "folder", "no/where", "x" * 300, "locked", "circle"],
)
def test_what_cannot_be_written(
    command: str, name: str, junction: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = junction.parent
    os.mkfifo(folder / "pipe")
    (folder / "circle").symlink_to("circle")
    (folder / "folder").mkdir()
    (folder / "locked").write_text("old")
    (folder / "locked").chmod(0o444)
    before = os.lstat(folder / name) if os.path.lexists(folder / name) else None
    if name == "/dev/stdout":
        # A pipe here, whatever pytest has for it.
        done = subprocess.run(
            [sys.executable, "-m", "verifier.cli", *WRITERS[command](str(junction), name)],
            capture_output=True, text=True, timeout=60, check=False,
        )  # fmt: skip
        assert done.returncode == ExitCode.BAD_INPUT
        assert len(done.stderr.splitlines()) == 1 and name in done.stderr
    else:
        assert main(WRITERS[command](str(junction), str(folder / name))) == ExitCode.BAD_INPUT
        assert str(folder / name) in one_line(capsys)
    if before is not None:
        assert os.path.samestat(before, os.lstat(folder / name))
    names = {"alder-creek.ixl", "pipe", "folder", "locked", "circle"}
    assert {path.name for path in folder.iterdir()} == names


@pytest.mark.parametrize("date", ["9" * 20, "-1e9", "-1", "1_000", "soon", "253402300800"])
def test_a_date_that_is_none_is_told(
    date: str, junction: Path,
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.setenv("SOURCE_DATE_EPOCH", date)
    target = junction.with_name("report.html")
    assert main(WRITERS["report"](str(junction), str(target))) == ExitCode.BAD_INPUT
    told = capsys.readouterr()
    assert f"SOURCE_DATE_EPOCH is `{date}`" in told.err and not told.out  # before any proof
    assert not target.exists()


def test_names_of_output_do_nothing_to_a_terminal(
    junction: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target = str(junction.with_name("\x1b[2Jout"))
    for asked in WRITERS.values():
        main(asked(str(junction), target))
    main(["prove", str(junction), "--only", "derailment", "--certificate", target + "s"])
    told = capsys.readouterr()
    assert "?[2Jout" in told.out + told.err and "\x1b" not in told.out + told.err


def test_standard_error_has_one_way_in() -> None:
    """What commands say there goes through one function, which shows control characters as `?`."""
    for path in (ROOT / "verifier" / "commands").glob("*.py"):
        said = [
            ast.unparse(node)
            for node in ast.walk(ast.parse(path.read_text("utf-8")))
            if isinstance(node, ast.Call) and ast.unparse(node.func) == "print"
            and any(ast.unparse(k.value) == "sys.stderr" for k in node.keywords)
        ]  # fmt: skip
        assert len(said) == (path.name == "console.py"), said


def test_certificates_need_a_folder(junction: Path, capsys: pytest.CaptureFixture[str]) -> None:
    asked = ["prove", "--quiet", "--only", "derailment", str(junction), "--certificate"]
    assert main([*asked, str(junction)]) == ExitCode.BAD_INPUT
    assert "not a folder" in one_line(capsys)
    assert main([*asked, str(junction.parent / "certificates")]) == ExitCode.UNDECIDED
    assert (junction.parent / "certificates" / "README.txt").is_file()


@pytest.mark.parametrize("name", ["README.txt", "check.py"])
def test_certificates_leave_files_that_are_not_theirs(
    name: str, junction: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mine = junction.with_name(name)
    mine.write_text("mine")
    asked = ["prove", "--quiet", "--only", "derailment", str(junction), "--certificate"]
    assert main([*asked, str(junction.parent)]) == ExitCode.BAD_INPUT
    assert f"its {name} would be overwritten" in one_line(capsys) and mine.read_text() == "mine"


def test_a_report_and_another_into_one_file(
    junction: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, link = junction.with_name("out"), junction.with_name("link")
    link.symlink_to(out)
    asked = [*WRITERS["report"](str(junction), str(out)), "--output-format", "json", "-o"]
    for other in (out, link):
        assert main([*asked, str(other)]) == ExitCode.BAD_INPUT
        assert one_line(capsys) == "two reports into one file" and not out.exists()


UNTIDY = "block   A ,B\nedge W,E\ntrack W=A|B=E\n"
TIDY = "block A, B\nedge W, E\ntrack W = A | B = E\n"


def formatted(text: str) -> str:
    from verifier.language.format.formatter import format_text

    return format_text(text, "x")


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_format_keeps_line_ends_and_mark(end: str, mark: bytes, tmp_path: Path) -> None:
    path = tmp_path / "x.ixl"
    path.write_bytes(mark + UNTIDY.replace("\n", end).encode())
    path.chmod(0o640)
    assert main(["format", "--check", str(path)]) == 1
    assert main(["format", str(path)]) == 0
    assert path.read_bytes() == mark + formatted(UNTIDY).replace("\n", end).encode()
    assert path.stat().st_mode & 0o777 == 0o640
    assert main(["format", "--check", str(path)]) == 0


def test_format_writes_through_a_link_and_leaves_a_locked_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, link = tmp_path / "x.ixl", tmp_path / "link.ixl"
    path.write_text(UNTIDY)
    link.symlink_to(path)
    path.chmod(0o444)
    assert main(["format", str(link)]) == ExitCode.BAD_INPUT
    assert "read-only" in one_line(capsys) and path.read_text() == UNTIDY
    path.chmod(0o644)
    assert main(["format", str(link)]) == 0
    assert link.is_symlink() and path.read_text() == formatted(UNTIDY)


def test_a_disk_that_fills_up_keeps_what_was_there(junction: Path) -> None:
    """The real thing: no file of this process may grow beyond 60 bytes."""
    untidy = junction.with_name("x.ixl")
    untidy.write_text(UNTIDY * 1 + "# a comment that makes the file larger than the limit\n" * 3)
    before = untidy.read_bytes()
    program = (
        "import resource, sys; from verifier.cli import main; import verifier.language.syntax.parse"
        "; resource.setrlimit(resource.RLIMIT_FSIZE, (60, 60)); sys.exit(main(sys.argv[1:]))"
    )
    for arguments in (
        ["format", str(untidy)],
        *(asked(str(junction), str(junction.with_name("out"))) for asked in WRITERS.values()),
    ):
        done = subprocess.run(
            [sys.executable, "-c", program, *arguments],
            capture_output=True, text=True, timeout=120, check=False,
        )  # fmt: skip
        assert done.returncode == ExitCode.BAD_INPUT, done.stderr
        assert len(done.stderr.splitlines()) == 1 and "larger than" in done.stderr
    assert untidy.read_bytes() == before
    assert {path.name for path in junction.parent.iterdir()} == {"alder-creek.ixl", "x.ixl"}


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device of Linux")
def test_standard_output_on_a_full_disk(junction: Path) -> None:
    for arguments in (
        ["draw", str(junction)], ["sheet", str(junction)], ["explain", "codes"], ["--help"],
        ["prove", "--help"], ["help", "prove"], ["--version"],
    ):  # fmt: skip
        with open("/dev/full", "w") as full:
            done = subprocess.run(
                [sys.executable, "-m", "verifier.cli", *arguments],
                stdout=full, stderr=subprocess.PIPE, text=True, timeout=60, check=False,
            )  # fmt: skip
        assert done.returncode == ExitCode.BAD_INPUT
        assert done.stderr == "The output cannot be written: the disk is full.\n"
