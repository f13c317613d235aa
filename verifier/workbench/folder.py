"""The junction files of one folder: listed, read, and written atomically.

In: the folder for which the page was started, and names such as ``east/heron-falls.ixl``. Out:
texts, each with a stamp that changes with the file. No name leads out of the folder, by ``..`` or
by links, or to anything but a junction file.
"""

import os
import stat
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path, PurePosixPath
from threading import Lock

from verifier.language.files import UnreadableError, as_on_disk, bytes_of, text_in
from verifier.language.modules.includes import ENDING
from verifier.language.source import LINE_END
from verifier.language.writing import UnwritableError, write_file

# What is filled in on a test card lies beside the junction file, named after it.
CARD = ".card.csv"
# At most this many files are listed; the others can still be opened by name.
MAX_LISTED = 500


class FolderError(Exception):
    """A file cannot be read or written; the text is for the user."""


class Outside(FolderError):
    """The name does not lead to a junction file of the folder."""


@dataclass(frozen=True, slots=True)
class Opened:
    """A file as it was read. Lines of ``text`` end with LF, whatever their ends on disk."""

    name: str
    text: str
    stamp: str


class ChangedOnDisk(FolderError):
    """The file has changed since it was read. ``now``: its content; None if it was removed."""

    def __init__(self, name: str, now: Opened | None):
        self.now = now
        super().__init__(f"{name} was {'changed' if now else 'removed'} since it was read")


class Folder:
    """The junction files in ``root`` and below."""

    def __init__(self, root: Path):
        self.root = root.resolve()
        # Two tabs that save at once must see each other's writes.
        self._writing = Lock()

    def names(self) -> list[str]:
        """The names of the junction files, without hidden folders."""
        found = []
        for folder, inner, files in os.walk(self.root):
            inner[:] = sorted(name for name in inner if not name.startswith("."))
            for name in sorted(files):
                if name.endswith(ENDING) and not name.startswith("."):
                    found.append((Path(folder) / name).relative_to(self.root).as_posix())
            if len(found) >= MAX_LISTED:
                break
        return sorted(found[:MAX_LISTED], key=lambda name: (name.count("/"), name))

    def path(self, name: str) -> Path:
        """The path of a file of the folder, with links resolved. Raises :class:`Outside`."""
        parts = PurePosixPath(name).parts
        wrong = (
            not name.endswith(ENDING)
            or len(name) > 300
            or any(c in name for c in "\\:\0\r\n")
            or "/".join(parts) != name
            or any(part in (".", "..") or part.startswith(".") for part in parts)
        )
        if wrong or name.startswith("/"):
            raise Outside(
                f"`{name[:80]}` is not a junction file of this folder: give a name ending in "
                f"{ENDING}, such as `heron-falls{ENDING}`"
            )
        try:
            path = self.root.joinpath(*parts).resolve()
        except (OSError, RuntimeError, ValueError):
            raise Outside(f"`{name[:80]}` cannot be reached") from None
        if not path.is_relative_to(self.root) or path.suffix != ENDING:
            raise Outside(f"`{name[:80]}` leads out of the folder {self.root}")
        return path

    def card_path(self, name: str) -> Path:
        """The path of the filled test card of a junction file. Raises :class:`Outside`."""
        path = self.path(name)
        card = path.with_name(f"{path.stem}{CARD}").resolve()
        if card.parent != path.parent or not card.name.endswith(CARD):
            raise Outside(f"`{path.stem}{CARD}` leads out of the folder {path.parent}")
        return card

    def read(self, name: str) -> Opened:
        """The file of a name. Raises :class:`FolderError` if it cannot be read."""
        raw = _bytes_of(name, self.path(name))
        if raw is None:
            raise FolderError(f"{name} does not exist")
        return _opened(name, raw)

    def read_card(self, name: str) -> Opened:
        """The filled test card of a junction file; empty, with no stamp, if there is none."""
        path = self.card_path(name)
        raw = _bytes_of(path.name, path)
        return Opened(path.name, "", "") if raw is None else _opened(path.name, raw)

    def write(self, name: str, text: str, stamp: str) -> Opened:
        """Write a file atomically, with the line ends that it has on disk. ``stamp`` is that of the
        file as it was last read; empty for a new file.

        Raises :class:`ChangedOnDisk` if it has changed since, :class:`FolderError` if it cannot be
        written."""
        return self._write(name, self.path(name), text, stamp)

    def write_card(self, name: str, text: str, stamp: str) -> Opened:
        """Write the filled test card of a junction file, likewise; never the junction itself."""
        path = self.card_path(name)
        return self._write(path.name, path, text, stamp)

    def _write(self, name: str, path: Path, text: str, stamp: str) -> Opened:
        with self._writing:
            before = _bytes_of(name, path)
            known = "" if before is None else _stamp(before)
            if known != stamp:
                raise ChangedOnDisk(name, None if before is None else _opened(name, before))
            try:
                write_file(path, as_on_disk(text, before or b""), over_input=True)
            except UnwritableError as error:
                raise FolderError(str(error)) from None
            now = _bytes_of(name, path)
            if now is None:
                raise FolderError(f"{name} was removed as soon as it was written")
            return _opened(name, now)


def _bytes_of(name: str, path: Path) -> bytes | None:
    """The content of a file; None if there is none. Pipes and devices are refused."""
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise FolderError(f"{name} is not a regular file")
        return bytes_of(path)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise FolderError(f"{name} cannot be read: {error.strerror}") from None
    except UnreadableError as error:
        raise FolderError(error.about(name)) from None


def _opened(name: str, raw: bytes) -> Opened:
    try:
        return Opened(name, LINE_END.sub("\n", text_in(raw)), _stamp(raw))
    except UnreadableError as error:
        raise FolderError(error.about(name)) from None


def _stamp(raw: bytes) -> str:
    return sha256(raw).hexdigest()
