"""The texts that an editor has open, and the files that belong together with one of them.

In: what the editor says of its texts, addresses as it writes them. Out: texts and families. What is
open counts before what is on disk.
"""

import os
from collections import OrderedDict
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

from verifier.assist.naming import Names, names_of
from verifier.assist.navigation import Family
from verifier.assist.pieces import Text, text_of
from verifier.language.files import UnreadableError
from verifier.language.files import text_of as text_on_disk
from verifier.language.modules.includes import ENDING, MAX_FILES
from verifier.language.source import Source
from verifier.language.syntax import tree as s

# Files of a folder that are looked at for the names of another one.
MAX_LOOKED_AT, MOST_ABOVE = 500, 4
MAX_KEPT = 200


@dataclass(frozen=True)
class OpenText:
    """A text as the editor has it."""

    uri: str
    version: int
    text: Text

    @cached_property
    def names(self) -> Names:
        return names_of(self.text)

    @property
    def source(self) -> Source:
        return self.text.source


def job_of(opened: OpenText, within: float | None) -> dict[str, Any]:
    """What a worker is given of a text; ``within`` is in seconds, for the whole proof."""
    path = path_of(opened.uri)
    return {
        "text": opened.text.text,
        "name": opened.source.name if path else "",
        "path": str(path) if path else "",
        "within": within,
    }


def path_of(uri: str) -> Path | None:
    """Where a text lies; None for one that was never saved, or is not on this machine."""
    parts = urlsplit(uri)
    if parts.scheme != "file" or parts.netloc not in ("", "localhost"):
        return None
    path = unquote(parts.path)
    if os.name == "nt" and path[:1] == "/":
        path = path[1:]
    return Path(path)


class OpenTexts:
    """All texts that are open, by address."""

    def __init__(self) -> None:
        self._open: dict[str, OpenText] = {}
        self._on_disk: OrderedDict[tuple[str, int, int], Names] = OrderedDict()

    def __iter__(self) -> Iterator[OpenText]:
        return iter(list(self._open.values()))

    def get(self, uri: str) -> OpenText | None:
        return self._open.get(uri)

    def put(self, uri: str, version: int, written: str) -> OpenText:
        """A text that was opened, or has changed."""
        path = path_of(uri)
        text = text_of(Source(str(path) if path else "(not saved yet)", written))
        self._open[uri] = OpenText(uri, version, text)
        return self._open[uri]

    def close(self, uri: str) -> None:
        self._open.pop(uri, None)

    # -------------------------------------------------------------- what belongs together

    def family(self, opened: OpenText) -> tuple[Family, list[str]]:
        """A text and what it includes, and the address of each."""
        path = path_of(opened.uri)
        if path is None:
            return Family((opened.names,)), [opened.uri]
        found = self._with_included(path, opened.uri, opened.names)
        return Family(tuple(found.values())), list(found)

    def families(self, opened: OpenText) -> Iterator[tuple[Family, list[str]]]:
        """Every family that a text is in: its own, and those of files that include it. Such a file
        lies in the same folder or above; ``MOST_ABOVE`` folders are looked into."""
        yield self.family(opened)
        path = path_of(opened.uri)
        if path is None:
            return
        folders = [path.parent, *path.parents[1:MOST_ABOVE]]
        files = (file for folder in folders for file in _junctions(folder))
        for other in files:
            uri = self._uri_of(other)
            names = self._names_at(other, uri) if uri != opened.uri else None
            if names is None or not any(_included_by(names)):
                continue
            found = self._with_included(other, uri, names)
            if opened.uri in found:
                yield Family(tuple(found.values())), list(found)

    def _with_included(self, path: Path, uri: str, names: Names) -> dict[str, Names]:
        found = {uri: names}
        waiting = [(path.parent, names)]
        while waiting and len(found) < MAX_FILES:
            folder, looked = waiting.pop(0)
            for written in _included_by(looked):
                inner = Path(os.path.normpath(folder / written))
                address = self._uri_of(inner)
                known = None if address in found else self._names_at(inner, address)
                if known is not None:
                    found[address] = known
                    waiting.append((inner.parent, known))
        return found

    def _uri_of(self, path: Path) -> str:
        """The address of a file, as the editor writes it if it is open."""
        opened = (uri for uri in self._open if path_of(uri) == path)
        return next(opened, path.as_uri())

    def _names_at(self, path: Path, uri: str) -> Names | None:
        """The names of a file, as it is open or else on disk; None where it cannot be read."""
        if uri in self._open:
            return self._open[uri].names
        try:
            known = path.stat()
            key = str(path), known.st_mtime_ns, known.st_size
            if key not in self._on_disk:
                self._on_disk[key] = names_of(text_of(Source(str(path), text_on_disk(path))))
                while len(self._on_disk) > MAX_KEPT:
                    self._on_disk.popitem(last=False)
            return self._on_disk[key]
        except (OSError, ValueError, UnreadableError):
            return None


def _junctions(folder: Path) -> list[Path]:
    """The junction files that lie in a folder itself."""
    try:
        return sorted(folder.glob(f"*{ENDING}"))[:MAX_LOOKED_AT]
    except OSError:
        return []


def _included_by(names: Names) -> Iterator[str]:
    """What a text includes, as it writes it."""
    for _, statement in names.text.statements():
        if isinstance(statement, s.Include) and statement.path.text.endswith(ENDING):
            yield statement.path.text
