"""Every word of the grammar has a name that users understand, and no parser's own."""

import logging
import re

import pytest
from lark import Lark, logger

from tests.messages.expecting import STATION
from verifier.language.source import Source
from verifier.language.syntax.parse import grammar_text, lex, parse
from verifier.language.syntax.token_names import (
    GROUPS,
    SPECIAL,
    expectation,
    one_of,
    word,
)
from verifier.language.syntax.tree import KIND_BY_TERMINAL, STATEMENT_WORDS

STARTS = ["start", "statement", "situation", "unreadable"]


@pytest.fixture(scope="module")
def grammar() -> Lark:
    return Lark(grammar_text(), parser="lalr", lexer="basic", start=STARTS, keep_all_tokens=True)


def test_wording_covers_exactly_the_terminals_of_the_grammar(grammar: Lark) -> None:
    terminals = {terminal.name for terminal in grammar.terminals}
    named = set(SPECIAL) | {t for group, _ in GROUPS for t in group} | STATEMENT_WORDS
    assert named <= terminals
    # What has no name of its own goes by its own spelling, in small letters.
    spelt = {t.name: t.pattern.value for t in grammar.terminals if t.name not in SPECIAL}
    for name, spelling in spelt.items():
        assert word(name) in (f"`{spelling}`", f"`{name.lower()}`"), name
        assert re.fullmatch(r"[a-z-]+", spelling) or name == "COLOR", name
    assert set(SPECIAL) <= terminals


def test_statement_words_are_those_the_grammar_begins_statements_with() -> None:
    block = re.search(r"\?statement:(.*?)\n\n", grammar_text(), re.DOTALL)
    assert block
    rules = re.findall(r"[a-z_]+", block[1])
    begins = {re.search(rf"^{rule}: ([A-Z_]+)", grammar_text(), re.MULTILINE)[1] for rule in rules}  # type: ignore[index]
    assert begins == STATEMENT_WORDS


def test_the_grammar_has_no_place_where_it_must_guess(caplog: pytest.LogCaptureFixture) -> None:
    before = logger.level
    logger.setLevel(logging.DEBUG)
    logger.addHandler(caplog.handler)
    try:
        Lark(grammar_text(), parser="lalr", lexer="basic", start=STARTS, debug=True)
    finally:
        logger.setLevel(before)
        logger.removeHandler(caplog.handler)
    assert "onflict" not in caplog.text


@pytest.mark.parametrize("name", sorted(STATEMENT_WORDS))
def test_the_shape_shown_for_a_statement_is_one(name: str) -> None:
    for example in KIND_BY_TERMINAL[name].example.split("` or `"):
        if name == "HEAD":
            example += "\n  red otherwise"
        (statement,) = parse(Source("shape", example))
        assert next(lex(Source("shape", example))).type == name
        assert statement.span.text == example


def test_expectations_read_as_english() -> None:
    assert expectation({"NAME"}) == "a name"
    assert expectation({"IN", "COMMA"}) == "a comma or `in`"
    assert expectation({"NEVER", "ALWAYS", "POSSIBLE"}) == "`never`, `always` or `possible`"
    assert expectation({"NON_DERAILING"}) == "`non-derailing`"
    assert expectation({"AND", "OR", "$END"}) == "`and`, `or`, or the next statement"
    assert expectation(set()) == "the next statement"


def test_lists_of_words() -> None:
    assert one_of(["a"]) == "a"
    assert one_of(["a", "b"]) == "a or b"
    assert one_of(["a", "b", "c"]) == "a, b, or c"


def test_no_terminal_reaches_the_user_by_the_grammars_name(grammar: Lark) -> None:
    for terminal in grammar.terminals:
        if terminal.name not in ("DCC", "IEC"):  # the trade's words, and so written in files
            assert not re.search(r"[A-Z]{3}", word(terminal.name)), terminal.name


def test_the_station_of_the_message_tests_has_nothing_wrong() -> None:
    assert parse(Source("station", STATION))
