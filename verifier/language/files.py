"""Files from the disk as text: what can be read, and in which words it cannot."""

from pathlib import Path

from verifier.language.parse import MAX_CHARACTERS


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
