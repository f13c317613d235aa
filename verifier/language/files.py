"""Files from the disk as text: what can be read, and in which words it cannot; and files written
whole or not at all."""

import os
import stat
import tempfile
from contextlib import suppress
from pathlib import Path

from verifier.language.syntax.parse import MAX_CHARACTERS


class UnreadableError(Exception):
    """A file cannot be read; ``what`` goes on after "this file"."""

    def __init__(self, what: str):
        self.what = what
        super().__init__(what)


def text_of(path: Path) -> str:
    """The text of a file, its lines ending with LF. Raises :class:`UnreadableError`."""
    try:
        if path.stat().st_size > MAX_CHARACTERS:
            raise UnreadableError(f"is larger than {MAX_CHARACTERS:,} characters")
        text = path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise UnreadableError("does not exist") from None
    except IsADirectoryError:
        raise UnreadableError("is a folder") from None
    except UnicodeDecodeError as error:
        raise UnreadableError(f"is not UTF-8 text (byte {error.start + 1})") from None
    except OSError as error:
        raise UnreadableError(f"cannot be read: {error.strerror}") from None
    return text.replace("\r\n", "\n")


def replace_file(path: Path, raw: bytes) -> None:
    """Put a new file in the place of the old one, at once: whoever reads it sees all of the
    one or all of the other, after a power failure too. Raises :class:`OSError`."""
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=".clearproof-", suffix=".tmp")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(raw)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(temporary, _mode(path))
        os.replace(temporary, path)
    except BaseException:
        with suppress(OSError):
            os.unlink(temporary)
        raise
    if hasattr(os, "O_DIRECTORY"):
        folder = os.open(path.parent, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def _mode(path: Path) -> int:
    """The permissions of the file there is, or those that a new one gets."""
    try:
        return stat.S_IMODE(path.stat().st_mode)
    except FileNotFoundError:
        mask = os.umask(0)
        os.umask(mask)
        return 0o666 & ~mask
