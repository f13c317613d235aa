"""Text to syntax tree. The grammar is grammar/clearproof.lark; lark does the parsing.

The file is cut into tokens once, then at every statement word into statements, and each
statement is parsed by itself. Parsing is linear, an error costs one statement, and
the next statement word starts afresh.
"""

import os
from collections.abc import Iterator
from contextlib import suppress
from functools import cache
from importlib import resources
from pathlib import Path

from lark import Lark, Token, Tree
from lark.exceptions import LarkError, UnexpectedInput, UnexpectedToken

from verifier.language import syntax
from verifier.language.builder import Builder
from verifier.language.diagnostics import Diagnostic, InputError, did_you_mean, nearest
from verifier.language.source import Source, Span
from verifier.language.wording import STATEMENT_WORDS, expectation

MAX_CHARACTERS = 5_000_000
MAX_NESTING = 100
MAX_ERRORS = 25


def parse(source: Source) -> tuple[syntax.Statement, ...]:
    """The statements of a file, in order.

    Raises :class:`InputError` with every syntax error found, at most one a statement.
    """
    errors: list[Diagnostic] = []
    statements: list[syntax.Statement] = []
    builder = Builder(source)
    for tokens in _chunks(source, errors):
        try:
            tree = _parse_tokens(source, tokens, "statement")
        except InputError as error:
            errors.extend(error.diagnostics)
            if len(errors) >= MAX_ERRORS:
                break
        else:
            statements.append(builder.statement(tree))
    if errors:
        raise InputError(errors)
    return tuple(statements)


def parse_situation(text: str) -> tuple[syntax.Happening, ...]:
    """The facts of a situation written as ``T1 reverse, train on Main``.

    Raises :class:`InputError`."""
    source = Source("situation", text)
    tokens = list(_lex(source))
    if not tokens:
        return ()
    return Builder(source).situation(_parse_tokens(source, tokens, "situation"))


def grammar_text() -> str:
    """The grammar as written in grammar/clearproof.lark."""
    return resources.files("verifier.grammar").joinpath("clearproof.lark").read_text("utf-8")


@cache
def _lark() -> Lark:
    """The parser; its tables are kept in the user's cache folder, where that can be had."""

    def build(cache_file: str | bool) -> Lark:
        return Lark(
            grammar_text(),
            parser="lalr",
            lexer="basic",
            start=["start", "statement", "situation", "unreadable"],
            propagate_positions=True,
            maybe_placeholders=True,
            cache=cache_file,
        )

    with suppress(OSError, RuntimeError):
        base = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
        folder = Path(base) / "clearproof"
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        return build(str(folder / "grammar.tables"))
    return build(False)


def _lex(source: Source) -> Iterator[Token]:
    return _lark().lex(source.text)


def _span(source: Source, token: Token) -> Span:
    assert token.start_pos is not None and token.end_pos is not None
    return Span(source, token.start_pos, token.end_pos)


def _chunks(source: Source, errors: list[Diagnostic]) -> Iterator[list[Token]]:
    """The tokens of each statement; text before the first statement word is an error."""
    chunk: list[Token] = []
    started = False
    for token in _lex(source):
        taken_as_name = len(chunk) == 1 and chunk[0].line == token.line
        if token.type in STATEMENT_WORDS and not taken_as_name:
            if chunk and started:
                yield chunk
            chunk, started = [], True
        elif not started and not chunk:
            errors.append(_no_statement(source, token))
        chunk.append(token)
    if chunk and started:
        yield chunk


def _parse_tokens(source: Source, tokens: list[Token], start: str) -> Tree[Token]:
    """Parse one statement. Raises :class:`InputError` with exactly one diagnostic."""
    _check_nesting(source, tokens)
    parser = _lark().parse_interactive("", start=start)
    try:
        for token in tokens:
            parser.feed_token(token)
    except UnexpectedInput:
        raise InputError([_unexpected(source, tokens, token, parser.accepts())]) from None
    end = Token.new_borrow_pos("$END", "", tokens[-1])
    try:
        tree = parser.feed_token(end)
    except UnexpectedToken:
        raise InputError([_stops_short(source, tokens, parser.accepts())]) from None
    except LarkError as error:  # pragma: no cover - a bug of ours, reported as one
        raise AssertionError(f"the parser failed: {error}") from error
    assert isinstance(tree, Tree)
    return tree


def _check_nesting(source: Source, tokens: list[Token]) -> None:
    depth = 0
    for token in tokens:
        if token.type in ("OPEN_PAREN", "NOT"):
            depth += 1
            if depth > MAX_NESTING:
                raise InputError(
                    [
                        Diagnostic(
                            "CP108",
                            f"more than {MAX_NESTING} `(` and `not` in one statement",
                            _span(source, token),
                            "Give parts of it names of their own: `condition Ready is …`.",
                        )
                    ]
                )


def _no_statement(source: Source, token: Token) -> Diagnostic:
    hint = did_you_mean(str(token), (w.lower() for w in STATEMENT_WORDS))
    return Diagnostic(
        "CP103",
        f"`{token}` does not start a statement",
        _span(source, token),
        hint or "A file begins with a word such as `layout`, `block`, `track` or `signal`.",
    )


def _unexpected(
    source: Source, tokens: list[Token], token: Token, accepted: set[str]
) -> Diagnostic:
    span = _span(source, token)
    if token.type == "UNCLOSED_STRING":
        return Diagnostic(
            "CP102", "this text has no closing quote", span, 'Close it with `"` on the same line.'
        )
    if token.type == "STRAY":
        return Diagnostic(
            "CP101",
            f"the character {_visible(str(token))} has no meaning here",
            span,
            f"Expected {expectation(accepted)}.",
        )
    keyword = tokens[0].type
    if keyword == "ASPECT" and accepted & {"INDICATION"} or _cut_indication(tokens, token):
        return Diagnostic(
            "CP107",
            f"`{token}` is not part of an indication",
            span,
            "`clearproof explain indications` lists them; `proceed`, "
            "`proceed prepared to stop at next signal` and `stop` are the common ones.",
        )
    hint = f"Expected {expectation(accepted)}."
    first_on_line = not source.line(span.line)[: span.column - 1].strip()
    near = nearest(str(token), (w.lower() for w in STATEMENT_WORDS))
    if first_on_line and near and (token.type in ("NAME", "RULE_NAME")):
        return Diagnostic(
            "CP103",
            f"`{token}` does not start a statement",
            span,
            f"Did you mean `{near}`?",
        )
    if "NAME" in accepted and token.type not in _NOT_WORDS:
        return Diagnostic(
            "CP106",
            f"`{token}` is a word of the language, so it cannot be a name",
            span,
            f"Another spelling will do, such as `{str(token).capitalize()}`. " + hint,
        )
    near = nearest(str(token), (w.lower().replace("_", "-") for w in accepted))
    if near and near != str(token):
        hint = f"Did you mean `{near}`? " + hint
    return Diagnostic("CP104", f"`{token}` was not expected here", span, hint)


_NOT_WORDS = {
    "NAME", "RULE_NAME", "STRING", "JOINED", "GAP", "DOUBLE_GAP", "OPEN_PAREN", "CLOSE_PAREN",
    "COMMA", "INDICATION",
}  # fmt: skip


def _cut_indication(tokens: list[Token], token: Token) -> bool:
    """True when a word follows a complete `proceed` or `stop` of an aspect statement."""
    before = tokens[tokens.index(token) - 1]
    return tokens[0].type == "ASPECT" and before.type in ("PROCEED", "STOP", "INDICATION")


def _stops_short(source: Source, tokens: list[Token], accepted: set[str]) -> Diagnostic:
    last = _span(source, tokens[-1])
    return Diagnostic(
        "CP105",
        f"this `{tokens[0]}` statement stops short after `{tokens[-1]}`",
        last,
        f"Expected {expectation(accepted)}.",
    )


def _visible(character: str) -> str:
    return f"`{character}`" if character.isprintable() else f"U+{ord(character):04X}"
