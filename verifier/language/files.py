"""Files from the disk as text, and why one cannot be read."""

import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path
from typing import Any

from verifier.language.diagnostics.registry import kinds
from verifier.language.source import LINE_END
from verifier.language.syntax.parse import MAX_CHARACTERS
from verifier.language.writing import note_input

_MARK = "\ufeff".encode()

# Where the files that are read are noted, while somebody asks.
_reads: dict[str, str] | None = None


class UnreadableError(Exception):
    """A file cannot be read. ``reason`` and ``fields`` are a variant of CP100 (and CP730) and
    what its message is filled in with."""

    def __init__(self, reason: str, **fields: Any):
        self.reason, self.fields = reason, fields
        super().__init__(reason)

    def about(self, name: str) -> str:
        """What is wrong, of a file of this name."""
        return kinds()["CP730"].wordings[self.reason].message.format(path=name, **self.fields)


def text_of(path: Path, most: int = MAX_CHARACTERS) -> str:
    """The text of a file of at most so many bytes, its lines ending with LF. Raises
    :class:`UnreadableError`."""
    return text_in(bytes_of(path, most)).replace("\r\n", "\n")


def text_and_bytes(path: Path) -> tuple[str, bytes]:
    """The text of a file, its lines ending with LF, and its bytes as they are on disk.

    Raises :class:`UnreadableError`."""
    raw = bytes_of(path)
    return text_in(raw).replace("\r\n", "\n"), raw


def bytes_of(path: Path, most: int = MAX_CHARACTERS) -> bytes:
    """What a file of at most so many bytes holds. Raises :class:`UnreadableError`."""
    note_input(path)
    try:
        # A pipe or a device may never end; what is a file may grow while it is read.
        mode = path.stat().st_mode
        if not (stat.S_ISREG(mode) or stat.S_ISDIR(mode)):
            raise UnreadableError("not_plain")
        with path.open("rb") as file:
            raw = file.read(most + 1)
        if len(raw) > most:
            raise UnreadableError("too_large", most=most)
        if _reads is not None:
            _reads[str(path)] = sha256(raw).hexdigest()
        return raw
    except FileNotFoundError:
        raise UnreadableError("missing") from None
    except IsADirectoryError:
        raise _of_folder(path) from None
    except OSError as error:
        raise UnreadableError("system", why=error.strerror or "") from None


@contextmanager
def noting_reads() -> Iterator[dict[str, str]]:
    """Gathers the files read in this block: path, and SHA-256 of what they held."""
    global _reads
    before, _reads = _reads, {}
    try:
        yield _reads
    finally:
        _reads = before


def _of_folder(path: Path) -> UnreadableError:
    """Why a folder is no file: that it is one, or that not even that can be looked into."""
    try:
        os.scandir(path).close()
    except OSError as error:
        return UnreadableError("system", why=error.strerror or "")
    return UnreadableError("folder")


def files_below(folder: Path, suffix: str) -> list[Path]:
    """The files in a folder and its subfolders whose names end so, in order; and each subfolder
    that cannot be looked into, so that reading it says why."""
    unread: list[Path] = []
    found: list[Path] = []
    for where, _, names in os.walk(folder, onerror=lambda e: unread.append(Path(e.filename))):
        found += (Path(where, name) for name in names if name.endswith(suffix))
    return sorted([*found, *unread])


def text_in(raw: bytes) -> str:
    """UTF-8 as text, without a byte order mark. Raises :class:`UnreadableError`."""
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise UnreadableError("not_text", byte=error.start + 1) from None


def as_on_disk(text: str, before: bytes) -> bytes:
    """The bytes of a changed text, with the line ends and the byte order mark that its file had
    ``before``. Of mixed line ends, the most frequent."""
    text = LINE_END.sub("\n", text)
    ends = LINE_END.findall(before.decode("utf-8", "replace"))
    if ends:
        text = text.replace("\n", max(dict.fromkeys(ends), key=ends.count))
    return (_MARK if before.startswith(_MARK) else b"") + text.encode("utf-8")
