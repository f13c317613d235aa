"""Places as editors count them: lines from 0, and characters of UTF-16 in a line."""

from verifier.language.source import Source


def to_editor(source: Source, offset: int) -> tuple[int, int]:
    """Line and character of an offset, both from 0."""
    line, column = source.position(offset)
    before = source.text[offset - column + 1 : offset]
    return line - 1, _units(before)


def from_editor(source: Source, line: int, character: int) -> int:
    """The offset of a line and a character. A place behind the end of a line is its end; one behind
    the last line the end of the text; one inside a character its beginning."""
    if line >= source.lines:
        return len(source.text)
    start, end = source.line_bounds(line + 1)
    text = source.text[start:end]
    if text.isascii():
        return start + min(character, len(text))
    for at, sign in enumerate(text):
        character -= _units(sign)
        if character < 0:
            return start + at
    return end


def length(text: str) -> int:
    """The length of a text as editors count it."""
    return _units(text)


def _units(text: str) -> int:
    return len(text) if text.isascii() else len(text.encode("utf-16-le", "surrogatepass")) // 2
