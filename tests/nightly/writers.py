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
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from random import Random
from types import MappingProxyType

from tests.junction_files import ROOT
from tests.nightly.commands_that_write import (
    FILES,
    IN_PLACE,
    JUNCTION,
    TO_STANDARD_OUTPUT,
    TRACK,
    UNTIDY,
    WRITERS,
    Writer,
)
from verifier.verdicts.exit_codes import ExitCode
from verifier.workbench.folder import Folder, FolderError

PATIENCE = 600


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
    """An empty folder with junctions in it."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    for name, text in {**FILES, "untidy.ixl": UNTIDY}.items():
        (folder / name).write_text(text, "utf-8")
    return folder


# A try by its name. Done, it says what went wrong; nothing where all is well.
Try = tuple[str, Callable[[], str]]


def attacks(folder: Path, r: Random) -> Iterator[Try]:
    """Every try there is."""
    for some in (written, targets, odd_dates, outputs, inputs, small_disks, twice):
        yield from some(folder)
    yield from killed(folder, r)


# ------------------------------------------------------------------ targets


def written(folder: Path) -> Iterator[Try]:
    """All is well: else what follows would be refused for another reason."""
    for name, writer in WRITERS.items():
        yield f"{name}, where nothing is in the way", partial(_writes, folder, writer)


def _writes(folder: Path, writer: Writer) -> str:
    done = clearproof(writer.words(f"out{writer.ends}"), fresh(folder))
    made = folder / (writer.made or f"out{writer.ends}")
    return _wrong(
        (done.code in (0, 1, 3), f"exit code {done.code}: {done.errors[-300:]}"),
        (any(made.iterdir()) if writer.folder and made.is_dir() else made.is_file(), "no file"),
        (not _strays(folder), "a stray file"),
    )


def targets(folder: Path) -> Iterator[Try]:
    """What is no file, or may not be written."""
    for name, writer in WRITERS.items():
        for target in ("/dev/full", "pipe", "locked", "no/where", "circle", "\udcff\x1b[2J/x"):
            if target == "/dev/full" and writer.ends:
                continue
            if writer.folder and target == "no/where":
                continue  # folders are made
            yield f"{name} to {target!r}", partial(_refused, folder, writer, target)


def _refused(folder: Path, writer: Writer, target: str) -> str:
    fresh(folder)
    os.mkfifo(folder / f"pipe{writer.ends}")
    locked = folder / f"locked{writer.ends}"
    locked.write_text("old")
    locked.chmod(0o444)
    (folder / f"circle{writer.ends}").symlink_to(f"circle{writer.ends}")
    before = {path.name for path in folder.iterdir()}
    done = clearproof(writer.words(f"{target}{writer.ends}"), folder)
    after = {path.name for path in folder.iterdir()}
    return _wrong(
        (done.code == ExitCode.BAD_INPUT, f"exit code {done.code}"),
        (_lines(done) == 1, f"lines: {done.errors[:300]}"),
        ("\x1b" not in done.errors, "a raw control character"),
        (before == after, f"files: {after ^ before}"),
        (locked.read_text() == "old", "the locked file"),
    )


def inputs(folder: Path) -> Iterator[Try]:
    """The file that is read, by its name and by links to it."""
    for name, writer in WRITERS.items():
        if not writer.ends:  # what has an ending of its own is no junction
            for target in (writer.reads, "link", "hard"):
                yield f"{name} over its input {target}", partial(_kept, folder, writer, target)


def _kept(folder: Path, writer: Writer, target: str) -> str:
    fresh(folder)
    (folder / "link").symlink_to(writer.reads)
    (folder / "hard").hardlink_to(folder / writer.reads)
    done = clearproof(writer.words(target), folder)
    return _wrong(
        (done.code == ExitCode.BAD_INPUT, f"exit code {done.code}"),
        (_lines(done) == 1, f"lines: {done.errors[:300]}"),
        ((folder / writer.reads).read_text("utf-8") == FILES[writer.reads], "the input"),
        ((folder / "link").is_symlink(), "the link"),
    )


# ------------------------------------------------------------------ dates and outputs


def odd_dates(folder: Path) -> Iterator[Try]:
    for name, writer in WRITERS.items():
        for date in ("9" * 20, "-99999999999999", "-1", "soon", "", "1e9", "253402300800"):
            yield f"{name} at SOURCE_DATE_EPOCH={date}", partial(_dated, folder, name, writer, date)


def _dated(folder: Path, name: str, writer: Writer, date: str) -> str:
    fresh(folder)
    done = clearproof(
        writer.words(f"out{writer.ends}"), folder, environment={"SOURCE_DATE_EPOCH": date}
    )
    lines = _lines(done)
    return _wrong(
        (done.code == 2 or name != "report" or not date, f"exit code {done.code}"),
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
    """Disks of their own, where this user may make some."""
    for name, writer in WRITERS.items():
        for how in ("size=4k,nr_inodes=4", "size=8k", "ro"):
            yield f"{name} on a disk with {how}", partial(_on_disk, folder, writer, how)
    for how in ("size=8k", "ro"):
        for name, (words, text) in IN_PLACE.items():
            yield f"{name} on a disk with {how}", partial(_in_place, folder, words, text, how)
        yield f"kept proofs on a disk with {how}", partial(_cache, folder, how)
        yield f"saves of the page on a disk with {how}", partial(_saved, folder, how)


@contextmanager
def _disk(folder: Path, how: str, files: Mapping[str, str]) -> Iterator[Path | None]:
    """A disk without room for more, or to read from alone, with some files on it."""
    disk = fresh(folder) / "disk"
    disk.mkdir()
    if not _mounted(disk, "size=1m" if how == "ro" else how):
        yield None
        return
    try:
        for name, text in files.items():
            (disk / name).write_text(text)
        if how != "ro":
            _fill(disk)
        elif not _mounted(disk, "remount,ro"):
            yield None
            return
        yield disk
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=False)


def _on_disk(folder: Path, writer: Writer, how: str) -> str:
    with _disk(folder, how, {f"out{writer.ends}": "old"}) as disk:
        if disk is None:
            return ""
        old = disk / f"out{writer.ends}"
        name = "folder" if writer.folder else f"fresh{writer.ends}" if writer.new else old.name
        before = _seen(disk), _seen(folder)
        done = clearproof(writer.words(f"disk/{name}"), folder)
        after = _seen(disk), _seen(folder)
        return _wrong(
            (done.code == ExitCode.BAD_INPUT, f"exit code {done.code}: {done.errors[-300:]}"),
            (_lines(done) == 1, f"lines: {done.errors[:300]}"),
            (old.read_text() == "old", "what was there"),
            (before == after, f"stray: {before} {after}"),
        )


def _seen(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def _in_place(folder: Path, words: Callable[[str], list[str]], text: str, how: str) -> str:
    with _disk(folder, how, {"x.ixl": text}) as disk:
        if disk is None:
            return ""
        done = clearproof(words("disk/x.ixl"), folder)
        return _wrong(
            (done.code == ExitCode.BAD_INPUT, f"exit code {done.code}: {done.errors[-300:]}"),
            (_lines(done) == 1, f"lines: {done.errors[:300]}"),
            ((disk / "x.ixl").read_text() == text, "what was there"),
            (not _strays(disk), "a stray file"),
        )


def _cache(folder: Path, how: str) -> str:
    """Where no proof can be kept, all is as if none were."""
    with _disk(folder, how, {}) as disk:
        if disk is None:
            return ""
        asked = ["prove", JUNCTION, "--only", "derailment"]
        places = {"XDG_CACHE_HOME": str(disk), "XDG_DATA_HOME": str(disk)}
        done = clearproof(asked, folder, environment={**places, "CLEARPROOF_NO_CACHE": ""})
        usual = clearproof(asked, folder)
        return _wrong(
            ((done.code, done.errors) == (usual.code, usual.errors), f"{done} is not {usual}"),
            (not _strays(disk) and not any(disk.rglob("*.key")), "a stray file"),
        )


def _saved(folder: Path, how: str) -> str:
    with _disk(folder, how, {"x.ixl": TRACK}) as disk:
        if disk is None:
            return ""
        of_page, told = Folder(disk), []
        for save, stamp in (
            (of_page.write, of_page.read("x.ixl").stamp), (of_page.write_card, ""),
        ):  # fmt: skip
            try:
                save("x.ixl", TRACK * 1000, stamp)
            except FolderError as error:
                told.append(str(error))
        return _wrong(
            (len(told) == 2, f"told: {told}"),
            ((disk / "x.ixl").read_text() == TRACK, "what was there"),
            (_seen(disk) <= {"x.ixl", "filler"}, f"stray: {_seen(disk)}"),
        )


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
    for name, writer in WRITERS.items():
        for number in (signal.SIGTERM, signal.SIGINT):
            seconds = r.uniform(0.2, 4)
            label = f"{name}, {number.name} after {seconds:.1f} s"
            yield label, partial(_killed, folder, writer, number, seconds)
            label = f"{name}, {number.name} while it writes"
            yield label, partial(_killed_writing, folder, writer, number)


# Told to end when a file is written and has no name yet.
WHILE_WRITING = """
import os, signal, sys
from pathlib import Path
signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell may ignore it for `&`
flush = os.fsync
def ended(number):
    if Path(f"/proc/self/fd/{number}").resolve().is_relative_to(Path.cwd()):
        os.kill(os.getpid(), int(sys.argv[1]))
    flush(number)
os.fsync = ended
from verifier.cli import main
sys.exit(main(sys.argv[2:]))
"""


def _killed_writing(folder: Path, writer: Writer, number: signal.Signals) -> str:
    before = _seen(fresh(folder))
    done = subprocess.run(
        [sys.executable, "-c", WHILE_WRITING, str(int(number)), *writer.words(f"out{writer.ends}")],
        cwd=folder, capture_output=True, text=True, timeout=PATIENCE, check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT), "CLEARPROOF_NO_CACHE": "1"},
    )  # fmt: skip
    left = {name for name in _seen(folder) - before if not name.endswith(".journal")}
    return _wrong(
        (done.returncode == ExitCode.UNDECIDED, f"exit code {done.returncode}: {done.stderr}"),
        (not left, f"left: {left}"),
        ("Traceback" not in done.stderr, done.stderr[-300:]),
    )


def _killed(folder: Path, writer: Writer, number: signal.Signals, seconds: float) -> str:
    fresh(folder)
    process = _started(folder, writer)
    time.sleep(seconds)
    process.send_signal(number)
    _, errors = process.communicate(timeout=PATIENCE)
    return _wrong(
        (not _strays(folder), f"stray: {[p.name for p in folder.iterdir()]}"),
        ("Traceback" not in errors or "verifier" not in errors, errors[-300:]),
        (process.returncode != ExitCode.OUR_BUG, f"exit code {process.returncode}"),
    )


def twice(folder: Path) -> Iterator[Try]:
    for name, writer in WRITERS.items():
        yield f"{name}, two at once", partial(_twice, folder, writer)


def _twice(folder: Path, writer: Writer) -> str:
    fresh(folder)
    both = [_started(folder, writer) for _ in "12"]
    ended = [(p.communicate(timeout=PATIENCE)[1], p.returncode) for p in both]
    written = [code for _, code in ended if code != ExitCode.BAD_INPUT]
    return _wrong(
        (all(code in (0, 1, 2, 3) for _, code in ended), str(ended)[:600]),
        (len(written) == 1 if writer.new else writer.folder or len(written) == 2, str(ended)[:600]),
        (not any("Traceback" in errors for errors, _ in ended), str(ended)[:600]),
        (not _strays(folder), f"stray: {[p.name for p in folder.iterdir()]}"),
    )


def _started(folder: Path, writer: Writer) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        [sys.executable, "-m", "verifier.cli", *writer.words(f"out{writer.ends}")], cwd=folder,
        stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT), "CLEARPROOF_NO_CACHE": "1"},
    )  # fmt: skip


def _lines(done: Ended) -> int:
    """Lines on standard error, those apart that say how long a file takes already."""
    return sum(
        not re.fullmatch(r"\S+( junctions)?: .*\d+ s", line)
        for line in done.errors.splitlines()
        if line
    )


def _strays(folder: Path) -> list[Path]:
    return [p for p in folder.rglob("*") if p.name.endswith((".tmp", ".new"))]


def _wrong(*checks: tuple[bool, str]) -> str:
    return "; ".join(said for holds, said in checks if not holds)
