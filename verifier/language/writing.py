"""Write files: whole or not at all, never over an input of the run, never to a device.

Every file that the program writes goes through :func:`write_files`, whatever command asks for it:
all are written beside their places first, and none takes its place before there was room for all.
"""

import errno
import os
import signal
import stat
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from secrets import token_hex

_REASONS = {
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "your share of the disk is used up",
    errno.EFBIG: "the file would be larger than this system allows",
    errno.EROFS: "the disk is read-only",
    errno.EACCES: "you have no permission to write there",
    errno.EPERM: "you have no permission to write there",
    errno.ENOENT: "the folder does not exist",
    errno.ENOTDIR: "part of its path is not a folder",
    errno.ENAMETOOLONG: "the name is too long",
    errno.ELOOP: "the path is a circle of links",
    errno.EBADF: "it is not open for writing",
}
# What standard output answers, on a full disk or where it cannot be written at all; and what a
# system does that has nothing left to give, or that gives nothing.
NO_OUTPUT = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EBADF, errno.EIO})
NOT_GIVEN = NO_OUTPUT | {
    errno.EROFS, errno.EACCES, errno.EPERM, errno.EMFILE, errno.ENFILE, errno.EAGAIN, errno.ENOMEM,
}  # fmt: skip

# Files that this run has read. Long-lived processes read few files, and the same ones.
_inputs: set[Path] = set()


class UnwritableError(Exception):
    """A file cannot be written; the text is one sentence that names it and says why."""


def note_input(path: Path) -> None:
    """Protect a file that this run reads from being overwritten by its output."""
    _inputs.add(path.absolute())


def reason(error: OSError) -> str:
    """Why the system refused to write, in plain words."""
    return _REASONS.get(error.errno or 0) or error.strerror or type(error).__name__


def check_target(path: Path, *, over_input: bool = False) -> Path:
    """Where :func:`write_file` would put ``path``: links are followed.

    Call it by itself before long work whose result is to be written. Raises
    :class:`UnwritableError`."""
    if str(path) == "-":
        raise UnwritableError("`-` names no file here. Give it a name, such as out.txt.")
    target = Path(os.path.realpath(path))
    try:
        if not stat.S_ISDIR(target.parent.stat().st_mode):
            raise OSError(errno.ENOTDIR, "")
        found = path.stat()
    except FileNotFoundError:
        if target.parent.is_dir():
            return target
        raise UnwritableError(f"{path} cannot be written: the folder does not exist.") from None
    except OSError as error:
        raise UnwritableError(f"{path} cannot be written: {reason(error)}.") from None
    if not stat.S_ISREG(found.st_mode):
        what = "a folder" if stat.S_ISDIR(found.st_mode) else "a device or a pipe"
        raise UnwritableError(f"{path} cannot be written: it is {what}, not a file.")
    if not found.st_mode & 0o222 or not os.access(target, os.W_OK):
        raise UnwritableError(f"{path} cannot be written: the file is read-only.")
    if not over_input and any(_is_same(found, one) for one in _inputs):
        raise UnwritableError(f"{path} was read in this run and is not overwritten.")
    return target


def write_file(
    path: Path,
    content: str | bytes,
    *,
    new: bool = False,
    over_input: bool = False,
    private: bool = False,
) -> None:
    """Write a file at once: a reader sees all of the old content or all of the new, after a
    power failure too. An existing file keeps its permissions and owner; a link stays a link.

    ``new``: nothing may exist under that name; ``over_input``: the file may be one that this run
    has read; ``private``: nobody else may read it. Text is written as UTF-8. Raises
    :class:`UnwritableError`, and the old file stays as it was."""
    with _beside(private) as beside:
        if new and os.path.lexists(path):
            raise _there_already(path)
        temporary, target = beside.put(path, content, over_input=over_input)
        with _told(path):
            _into_place(temporary, target, new=new)


def write_files(
    files: Iterable[tuple[Path, str | bytes]], before: Callable[[], None] = lambda: None
) -> list[Path]:
    """Write several files, as :func:`write_file` does: none if there is no room for all of them.
    ``before`` is called when nothing but their names is left to write; from then on, what ends the
    program waits. Returns their paths. Raises :class:`UnwritableError`."""
    with _beside() as beside:
        written = [(path, *beside.put(path, content)) for path, content in files]
        with _undisturbed():
            before()
            for path, temporary, target in written:
                with _told(path):
                    _into_place(temporary, target)
    return [path for path, _, _ in written]


@contextmanager
def made_folder(path: Path) -> Iterator[None]:
    """A folder for output, and those above it. If anything goes wrong in here, what was made
    goes again. Raises :class:`UnwritableError`."""
    made = [one for one in (path, *path.parents) if not os.path.lexists(one)]
    try:
        _make_folder(path)
        yield
    except BaseException:
        for one in made:  # none but an empty one
            with suppress(OSError):
                one.rmdir()
        raise


def _make_folder(path: Path) -> None:
    try:
        path.mkdir(parents=True, exist_ok=True)
    except FileExistsError:
        raise UnwritableError(f"{path} cannot be written to: it is not a folder.") from None
    except OSError as error:
        raise UnwritableError(f"{path} cannot be made: {reason(error)}.") from None


def _there_already(path: Path) -> UnwritableError:
    return UnwritableError(f"{path} exists already; nothing was written. Give another name.")


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """What the system answers, in a sentence. Raises :class:`UnwritableError`."""
    try:
        yield
    except FileExistsError:
        raise _there_already(path) from None
    except OSError as error:
        raise UnwritableError(f"{path} cannot be written: {reason(error)}.") from None


def _is_same(found: os.stat_result, path: Path) -> bool:
    try:
        return os.path.samestat(found, path.stat())
    except OSError:
        return False


class _Beside:
    """New files, each beside the place that it will take."""

    def __init__(self, private: bool) -> None:
        self._private = private
        self.temporary: list[Path] = []

    def put(
        self, path: Path, content: str | bytes, *, over_input: bool = False
    ) -> tuple[Path, Path]:
        """Write a file, and say where it is and where it belongs."""
        target = check_target(path, over_input=over_input)
        temporary = target.parent / f".clearproof-{token_hex(8)}.tmp"
        self.temporary.append(temporary)
        with _told(path):
            old = target.stat() if target.exists() else None
            mode = 0o600 if old or self._private else 0o666
            with open(
                temporary, "xb", opener=lambda name, flags: os.open(name, flags, mode)
            ) as file:
                file.write(content.encode("utf-8") if isinstance(content, str) else content)
                file.flush()
                os.fsync(file.fileno())
            if old is not None:
                if hasattr(os, "chown"):
                    with suppress(OSError):
                        os.chown(temporary, old.st_uid, old.st_gid)
                os.chmod(temporary, stat.S_IMODE(old.st_mode))
        return temporary, target


@contextmanager
def _beside(private: bool = False) -> Iterator[_Beside]:
    """Whatever happens in here, no file stays that has not taken its place."""
    beside = _Beside(private)
    try:
        yield beside
    finally:
        for temporary in beside.temporary:
            with suppress(OSError):
                temporary.unlink()


@contextmanager
def _undisturbed() -> Iterator[None]:
    """Ctrl-C and SIGTERM wait until this is over. Outside the main thread, they come to others."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    waiting: list[int] = []
    before = {
        ending: handler
        for ending in (signal.SIGINT, signal.SIGTERM)
        if (handler := signal.getsignal(ending)) is not None
    }
    for ending in before:
        signal.signal(ending, lambda number, _frame: waiting.append(number))
    try:
        yield
    finally:
        for ending, handler in before.items():
            signal.signal(ending, handler)
        for number in waiting:
            signal.raise_signal(number)


def _into_place(temporary: Path, target: Path, *, new: bool = False) -> None:
    """Put a new file in the place of the old one; where it must be ``new``, of none, even if
    another run makes one right now. Raises :class:`OSError`."""
    try:
        if new:
            os.link(temporary, target)
    except FileExistsError:
        raise
    except OSError:  # not every file system has a second name for a file
        new = False
    if not new:
        os.replace(temporary, target)
    # Not every file system can flush a folder; the file itself is safe by now.
    with suppress(OSError, AttributeError):
        folder = os.open(target.parent, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
