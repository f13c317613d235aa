"""The parser's tables, kept in the user's cache folder: building them takes half a second.

The file is JSON behind a digest of its content, of the grammar and of lark's version. A file of
another grammar, a damaged one and one that cannot be read are built anew.
"""

import json
import os
from contextlib import suppress
from hashlib import sha256
from pathlib import Path
from typing import Any

import lark
from lark import Lark
from lark.grammar import Rule
from lark.lexer import BasicLexer, TerminalDef

from verifier.language.writing import UnwritableError, write_file

_OPTIONS: dict[str, Any] = {
    "parser": "lalr",
    "lexer": "basic",
    "start": ["start", "statement", "situation", "unreadable"],
    "propagate_positions": True,
    "maybe_placeholders": True,
}


def parser_of(grammar: str) -> Lark:
    """The parser of a grammar: from the cache where it is there and sound, else built."""
    file = _cache_file()
    parser = _load(file, grammar) if file else None
    if parser is None:
        parser = Lark(grammar, **_OPTIONS)
        if file:
            _save(file, grammar, parser)
    # Else lark makes a lexer for each text.
    parser.lexer = BasicLexer(parser.lexer_conf)
    return parser


def _cache_file() -> Path | None:
    """None where the user has no home folder."""
    with suppress(RuntimeError):
        base = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
        return Path(base) / "clearproof" / "grammar.json"
    return None


def _digest(grammar: str, tables: bytes) -> bytes:
    head = repr((lark.__version__, _OPTIONS, grammar)).encode()
    return sha256(head + tables).hexdigest().encode()


def _load(file: Path, grammar: str) -> Lark | None:
    try:
        digest, _, tables = file.read_bytes().partition(b"\n")
    except OSError:
        return None
    if digest != _digest(grammar, tables):
        return None
    known = json.loads(tables, object_hook=_with_numbers)
    # The one entry that reads tables which are not a pickle; lark's own generator uses it.
    parser: Lark = Lark._load_from_dict(**known)  # type: ignore[no-untyped-call]
    return parser


def _with_numbers(table: dict[str, Any]) -> dict[Any, Any]:
    """A table of states or rules has its numbers as keys, which JSON writes as text."""
    return {int(key) if key.isdecimal() else key: value for key, value in table.items()}


def _save(file: Path, grammar: str, parser: Lark) -> None:
    data, memo = parser.memo_serialize([TerminalDef, Rule])
    tables = json.dumps({"data": data, "memo": memo}).encode()
    with suppress(OSError, UnwritableError):
        file.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        write_file(file, _digest(grammar, tables) + b"\n" + tables)
