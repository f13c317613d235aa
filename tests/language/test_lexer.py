"""The words of a text are those that lark's own lexer finds, at the same places."""

from collections.abc import Iterator
from random import Random

from lark.lexer import BasicLexer, Lexer, LexerThread

from tests.junction_files import SPECS
from verifier.language.syntax.lexer import WordLexer
from verifier.language.syntax.parse import grammar_text
from verifier.language.syntax.parser_cache import parser_of

ODD = 'ab T1 \n\r\t"|()=,.;#/-1234.5mm clear when Main: % \x00 é \u202e track power at most'


def texts() -> Iterator[str]:
    r = Random(20)
    for path in sorted(SPECS.rglob("*.ixl"))[::9]:
        text = path.read_text("utf-8")
        yield text
        yield text.replace("\n", "\r\n")
        yield "".join(r.sample(text, min(len(text), 500)))
    for size in range(0, 200, 5):
        yield "".join(r.choice(ODD) for _ in range(size))


def test_words_are_those_of_lark() -> None:
    lark = parser_of(grammar_text())
    ours, theirs = lark.lexer, BasicLexer(lark.lexer_conf)
    assert isinstance(ours, WordLexer)
    for text in texts():
        assert words(ours, text) == words(theirs, text)


def words(lexer: Lexer, text: str) -> list[tuple[object, ...]]:
    found = LexerThread.from_text(lexer, text).lex(None)  # type: ignore[no-untyped-call]
    return [
        (t.type, str(t), t.start_pos, t.line, t.column, t.end_line, t.end_column, t.end_pos)
        for t in found
    ]
