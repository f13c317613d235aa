"""`include`: the statements of a file together with those of the files it includes.

In: the text of the file being proved, and where it lies. Out: one list of statements, each
with its place in the file it was read from.

A file may include files in its own folder and below, so that a stranger's file cannot read
the user's other files. Each file is read once, however often it is included.
"""

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any

from verifier.language.diagnostics.diagnostic import Diagnostic, InputError, nearest
from verifier.language.diagnostics.registry import diagnostic
from verifier.language.files import UnreadableError, text_of
from verifier.language.source import Source, Span
from verifier.language.syntax import tree
from verifier.language.syntax.parse import MAX_CHARACTERS, lex, parse_on

ENDING = ".ixl"
MAX_FILES = 100

# The identity of a file, whatever its path: device and inode.
_Key = tuple[int, int]


def included(
    source: Source, path: Path | None, shown: Path | None = None
) -> tuple[tree.Statement, ...]:
    """The statements of ``source``, those of included files where they are included.
    ``path`` is where its text came from; None for a text that came from no file. ``shown``: the
    folder that messages name instead of that one.

    Raises :class:`InputError`; where the only errors are missing files, with the statements that
    were read."""
    statements, errors = parse_on(source)
    includes = list(tree.of_kind(statements, tree.Include))
    if path is None:
        others = tuple(s for s in statements if not isinstance(s, tree.Include))
        missing = [diagnostic("CP731", s.span, "no_file") for s in includes]
        return _read_well(others, errors, missing)
    if not includes:
        return _read_well(statements, errors, [])
    reader = _IncludeReader(shown or path.parent, path.parent.resolve(), len(source.text), errors)
    found = reader.file(statements, path.parent.resolve(), ((_key(path), None),))
    return _read_well(tuple(found), reader.unreadable, reader.errors)


def _read_well(
    statements: tuple[tree.Statement, ...],
    unreadable: list[Diagnostic],
    missing: list[Diagnostic],
) -> tuple[tree.Statement, ...]:
    """The statements. Raises :class:`InputError`."""
    if unreadable or missing:
        raise InputError([*unreadable, *missing], () if unreadable else statements)
    return statements


def not_included(paths: Sequence[Path]) -> list[Path]:
    """Those of a folder's files that no other one includes. (Files that include each other in
    a ring are all in the list: each reports the ring.)"""
    keys = {path: _key(path) for path in paths}
    includes = {keys[path]: set(_includes(path)) & set(keys.values()) for path in paths}
    inside = {key for path in paths for key in includes[keys[path]]}
    waiting = [key for key in keys.values() if key not in inside]
    parts: set[_Key | None] = set()
    while waiting:
        new = includes[waiting.pop()] - parts
        parts |= new
        waiting += new
    return [path for path in paths if keys[path] is None or keys[path] not in parts]


def _includes(path: Path) -> Iterator[_Key]:
    """The files that a file includes, wrong statements passed over."""
    try:
        text = text_of(path)
    except UnreadableError:
        return
    if "include" not in text:
        return
    words = [token for token in lex(Source(str(path), text)) if token.type in ("INCLUDE", "STRING")]
    for word, path_ in pairwise(words):
        if word.type == "INCLUDE" and path_.type == "STRING":
            key = _key(path.parent / path_.strip('"'))
            if key:
                yield key


def _key(path: Path) -> _Key | None:
    try:
        known = path.stat()
    except (OSError, ValueError):
        return None
    return known.st_dev, known.st_ino


# The files that are open, the one being proved first, each with the statement that includes it.
_Chain = tuple[tuple[_Key | None, Span | None], ...]


@dataclass(slots=True)
class _IncludeReader:
    """``shown`` is the folder of the file being proved as messages have it, ``root`` the same
    without links and without `..`. ``unreadable``: errors in the text of files."""

    shown: Path
    root: Path
    characters: int
    unreadable: list[Diagnostic]
    errors: list[Diagnostic] = field(default_factory=list)
    read: set[_Key] = field(default_factory=set)

    def file(
        self, statements: tuple[tree.Statement, ...], folder: Path, chain: _Chain
    ) -> list[tree.Statement]:
        """The statements of one file that lies in ``folder``, its includes read."""
        found: list[tree.Statement] = []
        module: tree.Module | None = None
        for statement in statements:
            match statement:
                case tree.Include() if module:
                    self._error("CP735", statement.span, "include", name=module.name.text)
                case tree.Include():
                    found += self._include(statement, folder, chain)
                case _:
                    if isinstance(statement, tree.Module):
                        module = statement
                    elif isinstance(statement, tree.End):
                        module = None
                    found.append(statement)
        return found

    def _include(self, node: tree.Include, folder: Path, chain: _Chain) -> list[tree.Statement]:
        path = self._path(node, folder)
        key = _key(path) if path else None
        if path is None or self._goes_round(node, key, chain):
            return []
        if key is not None:
            if key in self.read:
                return []
            self.read.add(key)
        try:
            text = text_of(path)
        except UnreadableError as error:
            self._error(
                "CP730",
                node.path.span,
                error.reason,
                near=self._near(path),
                path=node.path.text,
                place=str(self.shown / path.relative_to(self.root)),
                **error.fields,
            )
            return []
        self.characters += len(text)
        if self.characters > MAX_CHARACTERS or len(self.read) > MAX_FILES:
            self._error(
                "CP742",
                node.span,
                "files" if len(self.read) > MAX_FILES else "characters",
                files=MAX_FILES,
                characters=MAX_CHARACTERS,
            )
            return []
        shown = Source(str(self.shown / path.relative_to(self.root)), text)
        statements, errors = parse_on(shown)
        self.unreadable += errors
        return self.file(statements, path.parent, (*chain, (key, node.span)))

    def _path(self, node: tree.Include, folder: Path) -> Path | None:
        """Where the file lies, links followed; None where it may not be read."""
        text, where = node.path.text, node.path.span
        if PurePosixPath(text).is_absolute() or PureWindowsPath(text).drive or text[:1] == "\\":
            self._error("CP731", where, "absolute", path=text)
            return None
        if "\\" in text:
            self._error("CP731", where, "backslash", path=text, right=text.replace("\\", "/"))
            return None
        if not text.endswith(ENDING):
            self._error("CP731", where, "ending", path=text)
            return None
        try:
            path = Path(os.path.normpath(folder / text)).resolve()
        except (OSError, RuntimeError, ValueError):
            self._error("CP730", where, "loop", path=text)
            return None
        if not path.is_relative_to(self.root):
            inside = Path(os.path.normpath(folder / text)).is_relative_to(self.root)
            self._error("CP731", where, "link" if inside else "outside", path=text)
            return None
        return path

    def _goes_round(self, node: tree.Include, key: _Key | None, chain: _Chain) -> bool:
        """Whether a file is included that is being read; an error says by what way."""
        start = next((i for i, (open_, _) in enumerate(chain) if key and open_ == key), None)
        if start is None:
            return False
        self._error(
            "CP732",
            node.span,
            "round" if chain[start + 1 :] else "",
            others=[span for _, span in chain[start + 1 :] if span],
            path=node.path.text,
        )
        return True

    def _near(self, path: Path) -> str | None:
        """A file in the same folder whose name is like the one given."""
        try:
            names = [name for name in os.listdir(path.parent) if name.endswith(ENDING)]
        except OSError:
            return None
        return nearest(path.name, names) if path.name not in names else None

    def _error(self, code: str, span: Span, variant: str = "", /, **words: Any) -> None:
        self.errors.append(diagnostic(code, span, variant, **words))
