"""Files are written whole or not at all, never over an input, never to a device."""

import errno
import os
import resource
import signal
import stat
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from verifier.language.files import as_on_disk, text_of
from verifier.language.writing import (
    UnwritableError,
    check_target,
    made_folder,
    write_file,
    write_files,
)


@pytest.fixture
def old(tmp_path: Path) -> Path:
    path = tmp_path / "out.txt"
    path.write_text("old", encoding="utf-8")
    return path


def refused(path: Path, *, over_input: bool = False) -> str:
    with pytest.raises(UnwritableError) as raised:
        write_file(path, "new", over_input=over_input)
    said = str(raised.value)
    assert str(path) in said and said.endswith(".") and "\n" not in said
    return said


def leftovers(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir() if path.name.startswith("."))


def test_a_new_file_and_an_old_one(old: Path) -> None:
    write_file(old, "näher")
    assert old.read_bytes() == "näher".encode()
    fresh = old.with_name("fresh")
    write_file(fresh, b"\x00\xff")
    assert fresh.read_bytes() == b"\x00\xff" and not leftovers(old.parent)


def test_a_new_file_gets_the_usual_permissions_and_an_old_one_keeps_its_own(old: Path) -> None:
    mask = os.umask(0o027)
    try:
        write_file(old.with_name("fresh"), "x")
    finally:
        os.umask(mask)
    assert stat.S_IMODE(old.with_name("fresh").stat().st_mode) == 0o640
    old.chmod(0o604)
    write_file(old, "new")
    assert stat.S_IMODE(old.stat().st_mode) == 0o604


def test_a_link_stays_a_link_and_its_target_is_written(old: Path, tmp_path: Path) -> None:
    far = tmp_path / "far"
    far.mkdir()
    link = far / "link"
    link.symlink_to(old)
    write_file(link, "new")
    assert link.is_symlink() and old.read_text() == "new" and not leftovers(far)
    dangling = far / "dangling"
    dangling.symlink_to(tmp_path / "not-yet")
    write_file(dangling, "new")
    assert dangling.is_symlink() and (tmp_path / "not-yet").read_text() == "new"


def test_an_input_is_not_overwritten_by_any_of_its_names(
    old: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(old.parent)
    text_of(Path(old.name))
    link, hard = old.with_name("link"), old.with_name("hard")
    link.symlink_to(old)
    hard.hardlink_to(old)
    for name in (old, link, hard, Path(old.name), old.parent / "." / old.name):
        assert "was read in this run" in refused(name)
    assert old.read_text() == "old"
    write_file(old, "meant", over_input=True)
    assert old.read_text() == "meant"


def test_only_ordinary_files_are_written(tmp_path: Path) -> None:
    before = os.stat(os.devnull)
    assert "a device or a pipe" in refused(Path(os.devnull))
    assert os.path.samestat(before, os.stat(os.devnull))
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    assert "a device or a pipe" in refused(pipe)
    to_device = tmp_path / "device"
    to_device.symlink_to(os.devnull)
    assert "a device or a pipe" in refused(to_device)
    assert "it is a folder" in refused(tmp_path)
    assert stat.S_ISFIFO(pipe.stat().st_mode) and not leftovers(tmp_path)


def test_paths_that_lead_nowhere(old: Path) -> None:
    folder = old.parent
    assert "the folder does not exist" in refused(folder / "no" / "x")
    assert "part of its path is not a folder" in refused(old / "x")
    assert "the name is too long" in refused(folder / ("x" * 300))
    circle = folder / "circle"
    circle.symlink_to(folder / "circle")
    assert "a circle of links" in refused(circle)
    assert sorted(os.listdir(folder)) == ["circle", "out.txt"]


def test_a_read_only_file_is_left_alone(old: Path) -> None:
    old.chmod(0o444)
    assert "the file is read-only" in refused(old, over_input=True)
    assert old.read_text() == "old"


def as_nobody(work: Callable[[], None]) -> str:
    """What ``work`` raises when it is done without the rights of root."""
    out, into = os.pipe()
    child = os.fork()
    if child == 0:
        said = "nothing"
        try:
            if os.geteuid() == 0:
                os.setgroups([])
                os.setgid(65534)
                os.setuid(65534)
            work()
        except BaseException as error:
            said = str(error)
        os.write(into, said.encode())
        os._exit(0)
    os.close(into)
    os.waitpid(child, 0)
    with os.fdopen(out, encoding="utf-8") as answer:
        return answer.read()


@pytest.fixture
def shared() -> Iterator[Path]:
    """A folder that another user can reach, which pytest's own is not."""
    with tempfile.TemporaryDirectory() as name:
        os.chmod(name, 0o755)
        yield Path(name)


def test_a_read_only_folder(shared: Path) -> None:
    path = shared / "out.txt"
    path.write_text("old")
    path.chmod(0o666)
    shared.chmod(0o555)
    said = as_nobody(lambda: write_file(path, "new"))
    assert said == f"{path} cannot be written: you have no permission to write there."
    said = as_nobody(lambda: write_file(shared / "fresh", "new"))
    assert said == f"{shared / 'fresh'} cannot be written: you have no permission to write there."
    assert path.read_text() == "old" and os.listdir(shared) == ["out.txt"]


@pytest.fixture
def no_room() -> Iterator[None]:
    """No file can grow beyond 1,000 bytes: what a full disk does, half-way through."""
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1000, limits[1]))
    yield
    resource.setrlimit(resource.RLIMIT_FSIZE, limits)


@pytest.mark.usefixtures("no_room")
def test_no_room_half_way(old: Path) -> None:
    with pytest.raises(UnwritableError) as raised:
        write_file(old, "x" * 100_000)
    assert "larger than this system allows" in str(raised.value)
    assert old.read_text() == "old" and not leftovers(old.parent)


def test_a_full_disk_and_an_interruption(old: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    def interrupted(_: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", full)
    assert "the disk is full" in refused(old)
    monkeypatch.setattr(os, "fsync", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_file(old, "new")
    assert old.read_text() == "old" and os.listdir(old.parent) == ["out.txt"]


def test_a_new_file_never_takes_the_place_of_anything(old: Path) -> None:
    dangling = old.with_name("dangling")
    dangling.symlink_to("nowhere")
    for path in (old, dangling, old.parent):
        with pytest.raises(UnwritableError, match="exists already"):
            write_file(path, "new", new=True)
    write_file(old.with_name("fresh"), "new", new=True)
    assert old.read_text() == "old" and old.with_name("fresh").read_text() == "new"


def test_a_target_can_be_checked_before_long_work(old: Path) -> None:
    link = old.with_name("link")
    link.symlink_to(old)
    assert check_target(link) == old.resolve()
    with pytest.raises(UnwritableError, match="the folder does not exist"):
        check_target(old.parent / "no" / "x")


def test_folders_for_output(old: Path) -> None:
    for _ in "12":
        with made_folder(old.parent / "a" / "b"):
            pass
    assert (old.parent / "a" / "b").is_dir()
    for path in (old, old / "x"):
        with pytest.raises(UnwritableError, match="folder"), made_folder(path):
            pass


def test_a_folder_goes_again_where_nothing_could_be_put(old: Path) -> None:
    with pytest.raises(KeyboardInterrupt), made_folder(old.parent / "a" / "b"):
        raise KeyboardInterrupt
    assert os.listdir(old.parent) == ["out.txt"]
    (old.parent / "mine").mkdir()
    with pytest.raises(KeyboardInterrupt), made_folder(old.parent / "mine"):
        raise KeyboardInterrupt
    assert (old.parent / "mine").is_dir()


@pytest.mark.usefixtures("no_room")
def test_several_files_or_none(old: Path) -> None:
    other = old.with_name("other")
    with pytest.raises(UnwritableError, match="larger than"):
        write_files([(other, "small"), (old, "x" * 100_000)])
    assert old.read_text() == "old" and os.listdir(old.parent) == ["out.txt"]
    assert write_files([(other, "small"), (old, "new")]) == [other, old]
    assert old.read_text() == "new" and other.read_text() == "small"
    assert sorted(os.listdir(old.parent)) == ["other", "out.txt"]


@pytest.mark.parametrize("ending", [signal.SIGINT, signal.SIGTERM])
def test_what_ends_the_program_waits_for_the_last_file(old: Path, ending: signal.Signals) -> None:
    """It comes when the first has its name, and counts when all have theirs."""
    other = old.with_name("other")
    before = signal.signal(ending, signal.default_int_handler)
    try:
        with pytest.raises(KeyboardInterrupt):
            write_files([(old, "new"), (other, "new")], lambda: os.kill(os.getpid(), ending))
    finally:
        signal.signal(ending, before)
    assert old.read_text() == other.read_text() == "new" and not leftovers(old.parent)


def test_of_two_that_make_a_new_file_one_does(old: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The other comes when this one has looked whether there is any."""
    fresh, flush = old.with_name("fresh"), os.fsync

    def other_run(number: int) -> None:
        fresh.write_text("of the other")
        flush(number)

    monkeypatch.setattr(os, "fsync", other_run)
    with pytest.raises(UnwritableError, match="exists already"):
        write_file(fresh, "x", new=True)
    assert fresh.read_text() == "of the other" and not leftovers(old.parent)


def test_what_is_private(old: Path) -> None:
    write_file(old.with_name("key"), b"x", private=True)
    assert stat.S_IMODE(old.with_name("key").stat().st_mode) == 0o600


@pytest.mark.parametrize(
    ("before", "after"),
    [(b"", b"x\ny\n"), (b"a\nb\n", b"x\ny\n"), (b"a\r\nb\r\n", b"x\r\ny\r\n"),
     (b"\xef\xbb\xbfa\r\n", b"\xef\xbb\xbfx\r\ny\r\n"), (b"a\rb\r", b"x\ry\r"),
     (b"a\r\nb\r\nc\n", b"x\r\ny\r\n"), (b"\xef\xbb\xbf", b"\xef\xbb\xbfx\ny\n")],
)  # fmt: skip
def test_line_ends_and_the_mark_are_kept(before: bytes, after: bytes) -> None:
    assert as_on_disk("x\ny\n", before) == as_on_disk("x\r\ny\n", before) == after


def test_the_parser_tables_are_checked_before_they_are_used(tmp_path: Path) -> None:
    """A damaged file, one of another program and one that cannot be replaced: all still parse."""
    program = (
        "from verifier.language.syntax.parse import parse\n"
        "from verifier.language.source import Source\n"
        "print(parse(Source('x', 'block A, B')))"
    )

    def parsed() -> str:
        done = subprocess.run(
            [sys.executable, "-c", program], check=True, capture_output=True, text=True, timeout=60,
            env={**os.environ, "XDG_CACHE_HOME": str(tmp_path)},
        )  # fmt: skip
        return done.stdout

    first = parsed()
    [kept] = tmp_path.glob("clearproof/*")
    sound = kept.read_bytes()
    assert parsed() == first and kept.read_bytes() == sound
    for wrong in (sound[:-1], sound.replace(b"states", b"stated", 1), b"", b"\x80\x04N."):
        kept.write_bytes(wrong)
        assert parsed() == first and kept.read_bytes() != wrong
    kept.unlink()
    kept.mkdir()
    assert parsed() == first
