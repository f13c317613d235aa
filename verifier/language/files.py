"""Files from the disk as text, and why one cannot be read."""

from pathlib import Path

from verifier.language.source import LINE_END
from verifier.language.syntax.parse import MAX_CHARACTERS
from verifier.language.writing import note_input

_MARK = "\ufeff".encode()


class UnreadableError(Exception):
    """A file cannot be read; ``what`` goes on after "this file"."""

    def __init__(self, what: str):
        self.what = what
        super().__init__(what)


def text_of(path: Path) -> str:
    """The text of a file, its lines ending with LF. Raises :class:`UnreadableError`."""
    return text_and_bytes(path)[0]


def text_and_bytes(path: Path) -> tuple[str, bytes]:
    """The text of a file, its lines ending with LF, and its bytes as they are on disk.

    Raises :class:`UnreadableError`."""
    raw = bytes_of(path)
    return text_in(raw).replace("\r\n", "\n"), raw


def bytes_of(path: Path) -> bytes:
    """What a file holds. Raises :class:`UnreadableError`."""
    note_input(path)
    try:
        if path.stat().st_size > MAX_CHARACTERS:
            raise UnreadableError(f"is larger than {MAX_CHARACTERS:,} characters")
        return path.read_bytes()
    except FileNotFoundError:
        raise UnreadableError("does not exist") from None
    except IsADirectoryError:
        raise UnreadableError("is a folder") from None
    except OSError as error:
        raise UnreadableError(f"cannot be read: {error.strerror}") from None


def text_in(raw: bytes) -> str:
    """UTF-8 as text, without a byte order mark. Raises :class:`UnreadableError`."""
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise UnreadableError(f"is not UTF-8 text (byte {error.start + 1})") from None


def as_on_disk(text: str, before: bytes) -> bytes:
    """The bytes of a changed text, with the line ends and the byte order mark that its file had
    ``before``. Of mixed line ends, the most frequent."""
    text = LINE_END.sub("\n", text)
    ends = LINE_END.findall(before.decode("utf-8", "replace"))
    if ends:
        text = text.replace("\n", max(dict.fromkeys(ends), key=ends.count))
    return (_MARK if before.startswith(_MARK) else b"") + text.encode("utf-8")
