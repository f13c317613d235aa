"""The parser's tables, kept in the user's cache folder: building them takes half a second.

The file is JSON behind a digest of its content, of the grammar and of lark's version; it is named
by the latter two, so that versions of the program do not take turns. A damaged file and one that
cannot be read are built anew. The actions of
each state are kept apart from all else, as numbers: lark takes a tenth of a second to read its own
form of them.
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
from lark.lexer import TerminalDef
from lark.parsers.lalr_analysis import Reduce, Shift

from verifier.language.syntax.lexer import WordLexer
from verifier.language.writing import UnwritableError, write_file

_OPTIONS: dict[str, Any] = {
    "parser": "lalr",
    "lexer": "basic",
    "start": ["start", "statement", "situation", "unreadable"],
    "propagate_positions": True,
    "maybe_placeholders": True,
}


# So many files are kept.
MOST_KEPT = 8
# A state and its actions: terminal, action, terminal, action, ...
Row = list[int]


def parser_of(grammar: str) -> Lark:
    """The parser of a grammar: from the cache where it is there and sound, else built."""
    file = _cache_file(grammar)
    parser = _load(file, grammar) if file else None
    if parser is None:
        parser = Lark(grammar, **_OPTIONS)
        if file:
            _save(file, grammar, parser)
    # Else lark makes a lexer for each text.
    parser.lexer = WordLexer(parser.lexer_conf)
    return parser


def _cache_file(grammar: str) -> Path | None:
    """None where the user has no home folder."""
    with suppress(RuntimeError):
        base = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
        name = f"grammar-{sha256(_head(grammar)).hexdigest()[:16]}.json"
        return Path(base) / "clearproof" / name
    return None


def _head(grammar: str) -> bytes:
    """All that the tables depend on."""
    return repr(("actions apart", lark.__version__, _OPTIONS, grammar)).encode()


def _digest(grammar: str, tables: bytes) -> bytes:
    return sha256(_head(grammar) + tables).hexdigest().encode()


def _load(file: Path, grammar: str) -> Lark | None:
    try:
        digest, _, tables = file.read_bytes().partition(b"\n")
    except OSError:
        return None
    if digest != _digest(grammar, tables):
        return None
    kept, rows = json.loads(tables)
    known = _with_numbers(kept)
    # The one entry that reads tables which are not a pickle; lark's own generator uses it.
    parser: Lark = Lark._load_from_dict(**known)  # type: ignore[no-untyped-call]
    rules = {rule["@"]: r for rule, r in zip(known["data"]["rules"], parser.rules, strict=True)}
    actions = {
        number: (Reduce, rules[number >> 1]) if number & 1 else (Shift, number >> 1)
        for number in {number for row in rows for number in row[2::2]}
    }
    words = _table(known["data"])["tokens"]
    parser.parser.parser._parse_table.states.update(
        (row[0], dict(zip(map(words.get, row[1::2]), map(actions.get, row[2::2]), strict=True)))
        for row in rows
    )
    return parser


def _table(data: dict[str, Any]) -> dict[str, Any]:
    """The parser's table in what lark writes of itself."""
    table: dict[str, Any] = data["parser"]["parser"]
    return table


def _actions_taken(data: dict[str, Any]) -> list[Row]:
    """The actions, taken out of what lark writes of itself. An action's number is odd where a rule
    is reduced."""
    table = _table(data)
    rows: list[Row] = []
    for state, actions in table["states"].items():
        rows.append([state])
        for terminal, (reduces, to) in actions.items():
            rows[-1] += (terminal, (to["@"] if reduces else to) << 1 | reduces)
    table["states"] = {}
    return rows


def _with_numbers(value: Any) -> Any:
    """A table of states or rules has its numbers as keys, which JSON writes as text."""
    if isinstance(value, dict):
        return {int(k) if k.isdecimal() else k: _with_numbers(v) for k, v in value.items()}
    return [_with_numbers(v) for v in value] if isinstance(value, list) else value


def _save(file: Path, grammar: str, parser: Lark) -> None:
    data, memo = parser.memo_serialize([TerminalDef, Rule])
    rows = _actions_taken(data)
    tables = json.dumps(({"data": data, "memo": memo}, rows)).encode()
    with suppress(OSError, UnwritableError):
        file.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        write_file(file, _digest(grammar, tables) + b"\n" + tables)
        known = sorted(file.parent.glob("grammar*.json"), key=lambda path: path.stat().st_mtime)
        for old in known[:-MOST_KEPT]:
            old.unlink()
