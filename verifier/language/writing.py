"""Write files: whole or not at all, never over an input of the run, never to a device.

Every file that the program writes goes through :func:`write_file`, whatever command asks for it.
"""

import errno
import os
import stat
from contextlib import suppress
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
}
# What a full disk answers, to standard output as well.
NO_ROOM = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})

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
    path: Path, content: str | bytes, *, new: bool = False, over_input: bool = False
) -> None:
    """Write a file at once: a reader sees all of the old content or all of the new, after a
    power failure too. An existing file keeps its permissions and owner; a link stays a link.

    ``new``: nothing may exist under that name; ``over_input``: the file may be one that this run
    has read. Text is written as UTF-8. Raises :class:`UnwritableError`, and the old file stays
    as it was."""
    raw = content.encode("utf-8") if isinstance(content, str) else content
    if new and os.path.lexists(path):
        raise UnwritableError(f"{path} exists already; nothing was written. Give another name.")
    target = check_target(path, over_input=over_input)
    try:
        _replace(target, raw)
    except OSError as error:
        raise UnwritableError(f"{path} cannot be written: {reason(error)}.") from None


def make_folder(path: Path) -> None:
    """Make a folder for output, and those above it. Raises :class:`UnwritableError`."""
    try:
        path.mkdir(parents=True, exist_ok=True)
    except FileExistsError:
        raise UnwritableError(f"{path} cannot be written to: it is not a folder.") from None
    except OSError as error:
        raise UnwritableError(f"{path} cannot be made: {reason(error)}.") from None


def _is_same(found: os.stat_result, path: Path) -> bool:
    try:
        return os.path.samestat(found, path.stat())
    except OSError:
        return False


def _replace(target: Path, raw: bytes) -> None:
    """Put a new file in the place of the old one. Raises :class:`OSError`."""
    old = target.stat() if target.exists() else None
    temporary = target.parent / f".clearproof-{token_hex(8)}.tmp"
    try:
        with open(
            temporary, "xb",
            opener=lambda name, flags: os.open(name, flags, 0o600 if old else 0o666),
        ) as file:  # fmt: skip
            file.write(raw)
            file.flush()
            os.fsync(file.fileno())
        if old is not None:
            if hasattr(os, "chown"):
                with suppress(OSError):
                    os.chown(temporary, old.st_uid, old.st_gid)
            os.chmod(temporary, stat.S_IMODE(old.st_mode))
        os.replace(temporary, target)
    except BaseException:
        with suppress(OSError):
            temporary.unlink()
        raise
    # Not every file system can flush a folder; the file itself is safe by now.
    with suppress(OSError, AttributeError):
        folder = os.open(target.parent, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
