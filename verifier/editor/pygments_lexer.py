"""Junction files in color, for whatever highlights with Pygments: found by its entry point."""

from collections.abc import Iterator

from pygments.lexer import Lexer
from pygments.token import Comment, Keyword, Name, Number, Operator, String, Text, _TokenType

from verifier.assist.naming import names_of
from verifier.assist.outline import Tint, tints
from verifier.assist.pieces import text_of
from verifier.language.source import Source

_COLORS: dict[Tint, _TokenType] = {
    "comment": Comment.Single, "string": String, "statement": Keyword.Declaration,
    "keyword": Keyword, "number": Number, "name": Name, "aspect": Name.Constant,
    "operator": Operator,
}  # fmt: skip


class JunctionLexer(Lexer):  # type: ignore[misc]
    """Pygments' view of a junction file."""

    name = "clearproof junction"
    aliases = ("ixl", "clearproof")
    filenames = ("*.ixl",)

    def get_tokens_unprocessed(self, text: str) -> Iterator[tuple[int, _TokenType, str]]:
        """Every stretch of a text, and what it is."""
        at = 0
        for one in tints(names_of(text_of(Source("", text)))):
            if one.start > at:
                yield at, Text, text[at : one.start]
            yield one.start, _COLORS[one.tint], text[one.start : one.end]
            at = one.end
        if at < len(text):
            yield at, Text, text[at:]
