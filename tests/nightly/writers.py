"""Every command that writes, against targets and moments at which nothing can be written.

In: a folder to work in, a random source. Out: how many tries, and each that went wrong: another
exit code than the ways of the program allow, more than one line, a stray file, half a file.
"""

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from random import Random
from types import MappingProxyType

from tests.drawing.samples import END_OF_SIDING
from tests.junction_files import ROOT, spec
from verifier.verdicts.exit_codes import ExitCode

PATIENCE = 600
JUNCTION = "alder-creek.ixl"
WIRED = str(spec("panel-and-boards"))
ONLY = ("--only", "derailment", "--no-cache")
FORMATS = ("json", "sarif", "junit", "tap", "github", "gitlab", "markdown", "text")
# How each command is told to write to a path; it reads the junction.
TO_A_FILE: Mapping[str, Callable[[str, str], list[str]]] = {
    "draw": lambda j, out: ["draw", j, "-o", out],
    "draw wiring": lambda j, out: ["draw", j, "--wiring", "-o", out + ".svg"],
    "sheet": lambda j, out: ["sheet", WIRED, "labels", "-o", out],
    "export": lambda j, out: ["export", j, "-o", out],
    "export aiger": lambda j, out: ["export", j, "--format", "aiger", "-o", out],
    "report": lambda j, out: ["prove", j, *ONLY, "--report", out],
    "new": lambda j, out: ["new", "end-of-siding", out],
    "draft": lambda j, out: ["draft", j, "--within", "1", "-o", out],
    **{
        f"prove {form}": lambda j, out, form=form: [  # type: ignore[misc]
            "prove", j, *ONLY, "--output-format", form, "-o", out]
        for form in FORMATS
    },
}  # fmt: skip
TO_A_FOLDER: Mapping[str, Callable[[str, str], list[str]]] = {
    "certificates": lambda j, out: ["prove", j, *ONLY, "--certificate", out],
    "pack": lambda j, out: ["pack", out],
}
IN_PLACE: Mapping[str, Callable[[str, str], list[str]]] = {
    "format": lambda j, out: ["format", out],
    "mend": lambda j, out: ["mend", out, "--apply", "1", "--within", "5"],
}
TO_STANDARD_OUTPUT: Mapping[str, list[str]] = {
    "draw": ["draw", JUNCTION], "sheet": ["sheet", JUNCTION, "locking"],
    "export": ["export", JUNCTION], "explain": ["explain", "codes"],
    "ask": ["ask", JUNCTION, "train on Main"], "prove": ["prove", JUNCTION, *ONLY],
    "json": ["prove", JUNCTION, *ONLY, "--json"], "help": ["--help"],
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Ended:
    """How a process ended."""

    code: int
    out: str
    errors: str


def clearproof(
    arguments: Sequence[str],
    folder: Path,
    *,
    redirect: str = "",
    environment: Mapping[str, str] = MappingProxyType({}),
) -> Ended:
    """One run in a folder; ``redirect`` as a shell writes it."""
    words = [sys.executable, "-m", "verifier.cli", *arguments]
    done = subprocess.run(
        ["sh", "-c", f'"$@" {redirect}', "sh", *words], cwd=folder, capture_output=True, text=True,
        timeout=PATIENCE, check=False, errors="replace",
        env={**os.environ, "PYTHONPATH": str(ROOT), "CLEARPROOF_NO_CACHE": "1", **environment},
    )  # fmt: skip
    return Ended(done.returncode, done.stdout, done.stderr)


def fresh(folder: Path) -> Path:
    """An empty folder with a junction in it."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    (folder / JUNCTION).write_text(END_OF_SIDING, "utf-8")
    return folder


# A try by its name. Done, it says what went wrong; nothing where all is well.
Try = tuple[str, Callable[[], str]]


def attacks(folder: Path, r: Random) -> Iterator[Try]:
    """Every try there is."""
    for some in (targets, odd_dates, outputs, inputs, small_disks, twice):
        yield from some(folder)
    yield from killed(folder, r)


# ------------------------------------------------------------------ targets


def targets(folder: Path) -> Iterator[Try]:
    """What is no file, or may not be written."""
    for name, asked in {**TO_A_FILE, **TO_A_FOLDER}.items():
        for target in ("/dev/full", "pipe", "locked", "no/where", "circle", "\udcff\x1b[2J/x"):
            if name == "draw wiring" and target in ("/dev/full", "pipe", "locked", "circle"):
                continue
            if name in TO_A_FOLDER and target == "no/where":
                continue  # folders are made
            yield f"{name} to {target!r}", partial(_refused, folder, asked, target)


def _refused(folder: Path, asked: Callable[[str, str], list[str]], target: str) -> str:
    fresh(folder)
    os.mkfifo(folder / "pipe")
    (folder / "locked").write_text("old")
    (folder / "locked").chmod(0o444)
    (folder / "circle").symlink_to("circle")
    before = {path.name for path in folder.iterdir()}
    done = clearproof(asked(JUNCTION, target), folder)
    after = {path.name for path in folder.iterdir()}
    return _wrong(
        (done.code == ExitCode.BAD_INPUT, f"exit code {done.code}"),
        (_lines(done) == 1, f"lines: {done.errors[:300]}"),
        ("\x1b" not in done.errors, "a raw control character"),
        (before == after, f"files: {after ^ before}"),
        ((folder / "locked").read_text() == "old", "the locked file"),
    )


def inputs(folder: Path) -> Iterator[Try]:
    """The file that is read, by its name and by links to it."""
    for name, asked in TO_A_FILE.items():
        if name not in ("draw wiring", "sheet"):  # these read, or write, another file
            for target in (JUNCTION, "link", "hard"):
                yield f"{name} over its input {target}", partial(_kept, folder, asked, target)


def _kept(folder: Path, asked: Callable[[str, str], list[str]], target: str) -> str:
    fresh(folder)
    (folder / "link").symlink_to(JUNCTION)
    (folder / "hard").hardlink_to(folder / JUNCTION)
    done = clearproof(asked(JUNCTION, target), folder)
    return _wrong(
        (done.code == ExitCode.BAD_INPUT, f"exit code {done.code}"),
        (_lines(done) == 1, f"lines: {done.errors[:300]}"),
        ((folder / JUNCTION).read_text("utf-8") == END_OF_SIDING, "the input"),
        ((folder / "link").is_symlink(), "the link"),
    )


# ------------------------------------------------------------------ dates and outputs


def odd_dates(folder: Path) -> Iterator[Try]:
    for name, asked in {**TO_A_FILE, **TO_A_FOLDER}.items():
        for date in ("99999999999999999999", "-99999999999999", "soon", "", "1e9", "253402300800"):
            yield f"{name} at SOURCE_DATE_EPOCH={date}", partial(_dated, folder, asked, date)


def _dated(folder: Path, asked: Callable[[str, str], list[str]], date: str) -> str:
    fresh(folder)
    done = clearproof(asked(JUNCTION, "out"), folder, environment={"SOURCE_DATE_EPOCH": date})
    lines = _lines(done)
    return _wrong(
        (done.code in (0, 1, 2, 3), f"exit code {done.code}: {done.errors[-300:]}"),
        (done.code != 2 or lines == 1, f"lines: {done.errors[:300]}"),
        ("Traceback" not in done.errors, done.errors[-300:]),
        (not _strays(folder), "a stray file"),
    )


def outputs(folder: Path) -> Iterator[Try]:
    for name, asked in TO_STANDARD_OUTPUT.items():
        for redirect in (">&-", ">/dev/full", "2>&-", "2>/dev/full", "| head -c 1", "<&-"):
            yield f"{name} {redirect}", partial(_put_out, folder, asked, redirect)


def _put_out(folder: Path, asked: list[str], redirect: str) -> str:
    done = clearproof(asked, fresh(folder), redirect=redirect)
    unwritten = redirect in (">&-", ">/dev/full")
    return _wrong(
        (done.code in (0, 1, 2, 3), f"exit code {done.code}: {done.errors[-300:]}"),
        (not unwritten or done.code == ExitCode.BAD_INPUT, f"exit code {done.code}"),
        (not unwritten or _lines(done) == 1, f"lines: {done.errors[:300]}"),
        ("Traceback" not in done.errors, done.errors[-300:]),
    )


# ------------------------------------------------------------------ full and read-only disks


def small_disks(folder: Path) -> Iterator[Try]:
    """Disks of their own, where this user may make some; else files that may not grow."""
    for name, asked in {**TO_A_FILE, **TO_A_FOLDER}.items():
        for how in ("size=4k,nr_inodes=4", "size=8k", "ro"):
            yield f"{name} on a disk with {how}", partial(_on_disk, folder, asked, how)
    for name, asked in IN_PLACE.items():
        for how in ("size=8k", "ro"):
            yield f"{name} on a disk with {how}", partial(_in_place, folder, asked, how)


def _on_disk(folder: Path, asked: Callable[[str, str], list[str]], how: str) -> str:
    disk = fresh(folder) / "disk"
    disk.mkdir()
    if not _mounted(disk, "size=1m" if how == "ro" else how):
        return ""
    try:
        (disk / "out").write_text("old")
        if "size" in how:
            _fill(disk)
        elif not _mounted(disk, "remount,ro"):
            return ""
        target = "disk/out" if asked("", "x")[0] != "pack" else "disk/folder"
        if "--certificate" in asked("", "x"):
            target = "disk/folder"
        before = {path.name for path in disk.iterdir()}
        done = clearproof(asked(JUNCTION, target), folder)
        left = {path.name for path in disk.iterdir()} - before - {"folder"}
        return _wrong(
            (done.code == ExitCode.BAD_INPUT, f"exit code {done.code}: {done.errors[-300:]}"),
            (_lines(done) == 1, f"lines: {done.errors[:300]}"),
            ((disk / "out").read_text() == "old", "what was there"),
            (not left and not _strays(disk), f"stray: {left}"),
        )
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=False)


def _in_place(folder: Path, asked: Callable[[str, str], list[str]], how: str) -> str:
    disk = fresh(folder) / "disk"
    disk.mkdir()
    if not _mounted(disk, "size=1m" if how == "ro" else how):
        return ""
    try:
        untidy = "block   A ,B\nedge W,E\ntrack W=A|B=E\n# a remark\n" * 1
        (disk / "x.ixl").write_text(untidy)
        if how == "ro" and not _mounted(disk, "remount,ro"):
            return ""
        _fill(disk)
        done = clearproof(asked(JUNCTION, "disk/x.ixl"), folder)
        return _wrong(
            (done.code in (1, 2), f"exit code {done.code}: {done.errors[-300:]}"),
            ((disk / "x.ixl").read_text() == untidy, "what was there"),
            (not _strays(disk), "a stray file"),
        )
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=False)


def _mounted(disk: Path, options: str) -> bool:
    asked = ["mount", "-t", "tmpfs", "-o", options, "none", str(disk)]
    return subprocess.run(asked, capture_output=True, check=False).returncode == 0


def _fill(disk: Path) -> None:
    try:
        with (disk / "filler").open("wb") as filler:
            for _ in range(1000):
                filler.write(b"x" * 512)
                filler.flush()
    except OSError:
        pass


# ------------------------------------------------------------------ killed, and two at once


def killed(folder: Path, r: Random) -> Iterator[Try]:
    for name, asked in {**TO_A_FILE, **TO_A_FOLDER}.items():
        for number in (signal.SIGTERM, signal.SIGINT):
            seconds = r.uniform(0.2, 4)
            label = f"{name}, {number.name} after {seconds:.1f} s"
            yield label, partial(_killed, folder, asked, number, seconds)


def _killed(
    folder: Path, asked: Callable[[str, str], list[str]], number: signal.Signals, seconds: float
) -> str:
    fresh(folder)
    process = subprocess.Popen(
        [sys.executable, "-m", "verifier.cli", *asked(JUNCTION, "out")], cwd=folder,
        stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT), "CLEARPROOF_NO_CACHE": "1"},
    )  # fmt: skip
    time.sleep(seconds)
    process.send_signal(number)
    _, errors = process.communicate(timeout=PATIENCE)
    return _wrong(
        (not _strays(folder), f"stray: {[p.name for p in folder.iterdir()]}"),
        ("Traceback" not in errors or "verifier" not in errors, errors[-300:]),
        (process.returncode != ExitCode.OUR_BUG, f"exit code {process.returncode}"),
    )


def twice(folder: Path) -> Iterator[Try]:
    for name, asked in {**TO_A_FILE, **TO_A_FOLDER}.items():
        if name not in ("new", "draft"):
            yield f"{name}, two at once", partial(_twice, folder, asked)


def _twice(folder: Path, asked: Callable[[str, str], list[str]]) -> str:
    fresh(folder)
    both = [
        subprocess.Popen(
            [sys.executable, "-m", "verifier.cli", *asked(JUNCTION, "out")], cwd=folder,
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
            env={**os.environ, "PYTHONPATH": str(ROOT), "CLEARPROOF_NO_CACHE": "1"},
        )
        for _ in "12"
    ]  # fmt: skip
    ended = [(p.communicate(timeout=PATIENCE)[1], p.returncode) for p in both]
    return _wrong(
        (all(code in (0, 1, 2, 3) for _, code in ended), str(ended)[:600]),
        (not any("Traceback" in errors for errors, _ in ended), str(ended)[:600]),
        (not _strays(folder), f"stray: {[p.name for p in folder.iterdir()]}"),
    )


def _lines(done: Ended) -> int:
    """Lines on standard error, those apart that say how long a file takes already."""
    return sum(not re.fullmatch(r"\S+: \d+ s", line) for line in done.errors.splitlines() if line)


def _strays(folder: Path) -> list[Path]:
    return [p for p in folder.rglob("*") if p.name.endswith((".tmp", ".new"))]


def _wrong(*checks: tuple[bool, str]) -> str:
    return "; ".join(said for holds, said in checks if not holds)
