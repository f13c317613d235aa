"""Text to syntax tree. The grammar is grammar/clearproof.lark; lark does the parsing.

The file is cut into tokens once, then at every statement word into statements, and each
statement is parsed by itself. Parsing is linear, an error costs one statement, and
the next statement word starts the next one.
"""

import re
from collections.abc import Callable, Hashable, Iterator, Sequence
from functools import cache
from importlib import resources
from typing import Any, TypeVar, cast

from lark import Lark, Token, Tree
from lark.exceptions import LarkError, UnexpectedInput, UnexpectedToken

from verifier.language.diagnostics.diagnostic import Diagnostic, InputError
from verifier.language.diagnostics.registry import diagnostic
from verifier.language.source import Source, Span
from verifier.language.syntax import tree
from verifier.language.syntax.build import Builder
from verifier.language.syntax.contextual_keywords import KeywordResolver
from verifier.language.syntax.parser_cache import parser_of
from verifier.language.syntax.syntax_errors import (
    misspelt_starts,
    no_statement,
    span_of,
    stops_short,
    unexpected,
)
from verifier.language.syntax.tree import STATEMENT_WORDS

T = TypeVar("T")

MAX_CHARACTERS = 5_000_000
# Conditions are walked recursively; this limit stays far below that of Python.
MAX_NESTING = 40
MAX_NAME = 100
MAX_ERRORS = 25

# Characters that texts must not contain: terminal controls, changes of reading direction, and
# those that XML cannot carry.
_FORBIDDEN = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]"
)

_NUMBER = re.compile(r"[0-9]+(\.[0-9]+)?")

# A statement word after one of these on the same line is a name by mistake.
_OPEN_ENDED = STATEMENT_WORDS | {
    "COMMA", "JOINED", "GAP", "DOUBLE_GAP", "OPEN_PAREN", "IN", "ON", "TO", "TOWARD", "IS", "AT",
    "AND", "OR", "NOT", "OF", "OVER", "SHOWS", "WHEN", "FOR", "LIMITS", "HEADS", "POSITIONS",
    "BROKEN", "NEVER", "ALWAYS", "POSSIBLE",
}  # fmt: skip
# So is one after these words of a clause, which the lexer does not know yet.
_NAMES_FOLLOW = {
    "by", "through", "reads", "drives", "feeders", "throws", "unlocks", *tree.LAMP_CLAUSES,
} - {"series"}  # fmt: skip
_WITH_CLAUSES = {"BLOCK", "TURNOUT", "BOOSTER", "REVERSER", "DISTRICT", "DETECTOR", "DRIVER"}


def parse(source: Source) -> tuple[tree.Statement, ...]:
    """The statements of a file, in order.

    Raises :class:`InputError` with the errors found, one a statement, up to MAX_ERRORS.
    """
    statements, errors = parse_on(source)
    if errors:
        raise InputError(errors)
    return statements


def parse_on(source: Source) -> tuple[tuple[tree.Statement, ...], list[Diagnostic]]:
    """The statements of a file that can be read, and the errors in all others."""
    parsed, errors = _parsed(source, _parse_statement)
    return tuple(Builder(source, moved).transform(tree) for moved, tree in parsed), errors


def parse_trees(source: Source) -> tuple[list[Tree[Token]], list[Diagnostic]]:
    """lark's parse tree of each statement that can be read, and the errors in all others."""
    return _parsed(source, lambda source, tokens: _parse_tokens(source, tokens, "statement"))


def _parsed(
    source: Source, parse_one: Callable[[Source, list[Token]], T]
) -> tuple[list[T], list[Diagnostic]]:
    """Each statement that can be read, as parsed by ``parse_one``, and the errors in all others."""
    errors: list[Diagnostic] = []
    parsed: list[T] = []
    for tokens in chunks(source, errors):
        try:
            parsed.append(parse_one(source, tokens))
        except InputError as error:
            # A statement word in the middle of a line that is wrong already starts nothing.
            starts_at = span_of(source, tokens[0])
            if not errors or errors[-1].span.line != starts_at.line:
                errors.extend(error.diagnostics)
            if len(errors) >= MAX_ERRORS:
                break
    return parsed, errors[:MAX_ERRORS]


# The statements read last, by their words: the next version of a file has most of them again.
_recent: dict[Hashable, tuple[int, Tree[Token]]] = {}
MOST_RECENT = 5_000


def _parse_statement(source: Source, tokens: list[Token]) -> tuple[int, Tree[Token]]:
    """The parse tree of a statement, perhaps of an earlier text in which it stood elsewhere; and
    how far behind that place it stands now. Raises :class:`InputError`."""
    start = cast(int, tokens[0].start_pos)
    words = tuple(
        (t.type, t.value, cast(int, t.start_pos) - start, cast(int, t.end_pos) - start)
        for t in tokens
    )
    known = _recent.get(words)
    if known is None:
        if len(_recent) >= MOST_RECENT:
            _recent.clear()
        known = _recent[words] = start, _parse_tokens(source, tokens, "statement")
    stood, tree = known
    return start - stood, tree


def parse_situation(text: str) -> tuple[tree.SituationFact, ...]:
    """The facts of a situation written as ``T1 reverse, train on Main``.

    Raises :class:`InputError`."""
    source = Source("situation", text)
    tokens = list(lex(source))
    if not tokens:
        return ()
    happenings: tuple[tree.SituationFact, ...] = Builder(source).transform(
        _parse_tokens(source, tokens, "situation")
    )
    return happenings


def grammar_text() -> str:
    """The grammar as written in grammar/clearproof.lark."""
    return resources.files("verifier.grammar").joinpath("clearproof.lark").read_text("utf-8")


def keywords() -> frozenset[str]:
    """The words of the language."""
    return frozenset(
        word for word in terminal_words().values() if word[0].isalpha() and " " not in word
    )


@cache
def terminal_words() -> dict[str, str]:
    """The word that each terminal of one word stands for, and the words of a statement that begins
    with two."""
    plain = ((t.name, t.pattern) for t in _lark().terminals)
    found = {name: pattern.value for name, pattern in plain if pattern.type == "str"}
    return found | {"AT_MOST": "at most"}


@cache
def starters() -> dict[str, str]:
    """For each word that starts a statement, a regular expression that it matches."""
    return {t.name: t.pattern.to_regexp() for t in _lark().terminals if t.name in STATEMENT_WORDS}


@cache
def _lark() -> Lark:
    """The parser; its tables are kept in the user's cache folder, where that is possible."""
    return parser_of(grammar_text())


@cache
def _resolver() -> KeywordResolver:
    return KeywordResolver(_lark())


def lex(source: Source) -> Iterator[Token]:
    """The words and signs of a file, in order; comments and spaces are left out."""
    return _lark().lex(source.text)


def is_name(text: str) -> bool:
    """Whether a text can be written as a name, without quotes."""
    return [(t.type, str(t)) for t in lex(Source("name", text))] == [("NAME", text)]


def chunks(source: Source, errors: list[Diagnostic]) -> Iterator[list[Token]]:
    """The tokens of each statement; text before the first statement word is an error."""
    chunk: list[Token] = []
    started = False
    tokens = list(_with_track_power(lex(source)))
    for i, token in enumerate(tokens):
        if (
            token.type in STATEMENT_WORDS
            and not _meant_as_name(source, chunk, token)
            and not _makes_frog_live(chunk, tokens[i : i + 4])
        ):
            if chunk and started:
                yield chunk
            chunk, started = [], True
        elif not started and not chunk:
            errors.append(no_statement(source, token))
        chunk.append(token)
    if chunk and started:
        yield chunk


def _with_track_power(tokens: Iterator[Token]) -> Iterator[Token]:
    """The tokens, `track power` as one where a supply or a detector has it: `track` by
    itself starts a statement, of which `power` may well be the first name."""
    statement = ""
    held: list[Token] = []  # `track`, `power`
    for token in tokens:
        if len(held) == 1 and token == "power":
            held.append(token)
            continue
        if held:
            if len(held) == 2 and token.type not in _DRAWN:
                yield _joined(*held)
            else:
                yield from held
                statement = "TRACK"
            held = []
        if token.type == "TRACK" and statement in ("SUPPLY", "DETECTOR"):
            held = [token]
            continue
        if token.type in STATEMENT_WORDS:
            statement = token.type
        yield token
    if len(held) == 2:
        yield _joined(*held)
    else:
        yield from held


# What follows the first name of a `track` line.
_DRAWN = {"JOINED", "GAP", "DOUBLE_GAP", "NORMAL", "REVERSE", "ALONG", "ACROSS"}


def _joined(track: Token, power: Token) -> Token:
    return Token(
        "TRACK_POWER", "track power", track.start_pos, track.line, track.column,
        power.end_line, power.end_column, power.end_pos,
    )  # fmt: skip


def _meant_as_name(source: Source, chunk: list[Token], token: Token) -> bool:
    if not chunk or _is_inches(chunk):
        return False
    if chunk[0].type == "AT_MOST":
        return len(chunk) == 2 and token.type == "TRAINS"
    clause = len(chunk) > 2 and chunk[-1] in _NAMES_FOLLOW and chunk[0].type in _WITH_CLAUSES
    if chunk[-1].type not in _OPEN_ENDED and not clause:
        return False
    return span_of(source, chunk[-1]).line == span_of(source, token).line


def _makes_frog_live(chunk: list[Token], tokens: list[Token]) -> bool:
    """Whether `lever` goes on with `frog live by`, on whichever line it stands, and no statement
    about a lever follows. ``tokens``: it and those after it."""
    if tokens[0].type != "LEVER" or chunk[-3:] != ["frog", "live", "by"]:
        return False
    return tokens[2:3] not in ([","], ["positions"]) and tokens[3:4] != ["locks"]


def _is_inches(chunk: list[Token]) -> bool:
    """Whether `in` is a unit: a number stands before it that is not the name just declared."""
    if len(chunk) < 4 or chunk[-1].type != "IN" or not _NUMBER.fullmatch(chunk[-2]):
        return False
    return chunk[-3].type != "COMMA"


def _parse_tokens(source: Source, tokens: list[Token], start: str) -> Tree[Token]:
    """Parse one statement. Raises :class:`InputError` with its first error, and one for every
    statement with a misspelt first word that seems to belong to it."""
    _check_words(source, tokens)
    _check_nesting(source, tokens)
    parser = _lark().parse_interactive("", start=start)
    read: list[Token] = []
    at = 0
    try:
        for i in range(len(tokens)):
            read += _resolver().resolve(parser, tokens, i)
            while at < len(read):
                parser.feed_token(read[at])
                at += 1
    except UnexpectedInput:
        accepted = _accepted_after(read[:at], start)
        tokens = [*read, *tokens[i + 1 :]]
        found = unexpected(source, tokens, at, accepted)
        raise InputError([found, *misspelt_starts(source, tokens, at + 1)]) from None
    _check_words(source, read, numbers=True)
    end = Token.new_borrow_pos("$END", "", tokens[-1])
    try:
        parsed = parser.feed_token(end)
    except UnexpectedToken:
        raise InputError([stops_short(source, read, _accepted_after(read, start))]) from None
    except LarkError as error:  # pragma: no cover - a bug of ours, reported as one
        raise AssertionError(f"the parser failed: {error}") from error
    assert isinstance(parsed, Tree)
    return parsed


def parser_at(start: str, tokens: Sequence[Token], read: list[Token] | None = None) -> Any:
    """lark's interactive parser after these words; ``read`` gets them as the parser takes them.

    Raises lark's UnexpectedInput."""
    parser = _lark().parse_interactive("", start=start)
    for i in range(len(tokens)):
        for token in _resolver().resolve(parser, tokens, i):
            parser.feed_token(token)
            if read is not None:
                read.append(token)
    return parser


def _accepted_after(tokens: list[Token], start: str) -> set[str]:
    """The terminals that could come next. (A parser that met an error does not know: it may have
    reduced on the wrong word.)"""
    parser = _lark().parse_interactive("", start=start)
    for token in tokens:
        parser.feed_token(token)
    return set(parser.accepts())  # type: ignore[no-untyped-call]


def _check_words(source: Source, tokens: list[Token], *, numbers: bool = False) -> None:
    """Check that names are short enough and texts contain no forbidden characters. Long
    ``numbers`` are checked last, when it is known which of them are names."""
    for token in tokens:
        number = not numbers and _NUMBER.fullmatch(token)
        if token.type in ("NAME", "RULE_NAME") and len(token) > MAX_NAME and not number:
            raise InputError(
                [diagnostic("CP109", span_of(source, token), count=len(token), most=MAX_NAME)]
            )
        bad = _FORBIDDEN.search(token) if token.type == "STRING" else None
        if bad:
            start = span_of(source, token).start + bad.start()
            raise InputError(
                [
                    diagnostic(
                        "CP101", Span(source, start, start + 1), "in_text", character=ord(bad[0])
                    )
                ]
            )


def _check_nesting(source: Source, tokens: list[Token]) -> None:
    """Check that parentheses and `not` are nested at most MAX_NESTING deep."""
    around: list[int] = []  # for each open parenthesis, itself and the `not`s before it
    depth = run = 0
    for token in tokens:
        if token.type == "NOT":
            run += 1
        elif token.type == "OPEN_PAREN":
            around.append(run + 1)
            depth, run = depth + run + 1, 0
        else:
            if token.type == "CLOSE_PAREN" and around:
                depth -= around.pop()
            run = 0
        if depth + run > MAX_NESTING:
            raise InputError([diagnostic("CP108", span_of(source, token), most=MAX_NESTING)])
