"""The words of a text. The grammar says what they are; lark has the regular expression of them all.

lark's own lexer asks, for each name, a second regular expression which keyword it is, and keeps
count of lines one word at a time: it takes longer than the parser. What a name is depends on its
text alone, so here that is asked once for each name.
"""

from collections.abc import Iterator
from functools import lru_cache
from typing import Any

from lark import Token
from lark.lexer import BasicLexer, LexerState

# So many names are known at once.
MOST_NAMES = 20_000


class WordLexer(BasicLexer):
    """The same words as lark's lexer, sooner."""

    def __init__(self, conf: Any):
        super().__init__(conf)
        self._known = lru_cache(MOST_NAMES)(self._kind)

    def lex(self, state: LexerState, parser_state: Any) -> Iterator[Token]:
        words = self.scanner  # this makes self.callback, too
        (pattern,) = words._mres
        text, end, count = state.text.text, state.text.end, state.line_ctr
        at, line, line_start = count.char_pos, count.line, count.line_start_pos
        while at < end:
            found = pattern.match(text, at, end)
            if found is None:
                break
            kind, value = found.lastgroup or "", found.group()
            after, column = found.end(), at - line_start + 1
            begun = line
            if kind in self.newline_types and (lines := value.count("\n")):
                line, line_start = line + lines, at + value.rindex("\n") + 1
            if kind not in self.ignore_types:
                if kind in self.callback:
                    kind = self._known(kind, value)
                yield Token(kind, value, at, begun, column, line, after - line_start + 1, after)
            at = after
        count.char_pos, count.line, count.line_start_pos = at, line, line_start
        count.column = at - line_start + 1
        yield from super().lex(state, parser_state)  # at the end, or what cannot be read

    def _kind(self, kind: str, value: str) -> str:
        """What a word is that looks like one of a ``kind``: a name may be a keyword."""
        return str(self.callback[kind](Token(kind, value)).type)
