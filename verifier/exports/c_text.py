"""Exported C as text to its syntax tree: the first phases of a C compiler, and a parser that is
not ours.

In: the text of a C file. Out: pycparser's tree of it. Whatever is not plainly of the kind that is
exported is refused: the file is read as every compiler reads it, or not at all.
"""

import re
from typing import Any

# What the two headers that are included stand for.
_TYPES = (
    "typedef unsigned char uint8_t; typedef unsigned short uint16_t; "
    "typedef unsigned int uint32_t; typedef _Bool bool;\n"
)
_INCLUDED = ("#include <stdbool.h>", "#include <stdint.h>")
_COMMENT = re.compile(r"/\*.*?\*/", re.DOTALL)
_GUARD = re.compile(r"#ifndef (\w+)\Z")


class NotReadable(Exception):
    """The text is not of the kind that is exported: what is wrong with it."""


def tree_of(text: str) -> Any:
    """The syntax tree. Raises :class:`NotReadable`."""
    from pycparser.c_parser import CParser, ParseError

    try:
        return CParser().parse(_TYPES + _preprocessed(text), "")
    except ParseError as error:
        raise NotReadable(f"no C that can be read{error}") from None


def _preprocessed(text: str) -> str:
    """Comments and directives taken out. Where a compiler might see something else (trigraphs,
    joined lines, letters beyond ASCII, texts in quotes), nothing is read."""
    if not text.isascii() or any(ord(c) < 32 and c != "\n" for c in text):
        raise NotReadable("characters that compilers may read differently")
    if "\\" in text or "??" in text:
        raise NotReadable("joined lines or trigraphs")
    # As a compiler does, from the first: a comment ends at the first end there is.
    bare = _COMMENT.sub(" ", text)
    if any(sign in bare for sign in ("/*", "*/", "//", '"', "'")):
        raise NotReadable("a comment or text that does not end")
    return _directed(bare.split("\n"))


def _directed(lines: list[str]) -> str:
    kept: list[str] = []
    guards: list[str] = []
    for line in map(str.strip, lines):
        if not line.startswith("#"):
            if "#" in line or "%:" in line:
                raise NotReadable("a directive in the middle of a line")
            kept.append(line)
        elif found := _GUARD.match(line):
            guards.append(found[1])
        elif line not in (*_INCLUDED, "#endif", *(f"#define {guard}" for guard in guards)):
            raise NotReadable(f"the directive {line}")
    code = "\n".join(kept)
    words = set(re.findall(r"\w+", code))
    if words.intersection(guards):
        raise NotReadable("a name that is a macro")
    opened = sum(1 for line in lines if line.strip().startswith("#ifndef"))
    if opened != sum(1 for line in lines if line.strip() == "#endif"):
        raise NotReadable("a condition of the preprocessor that does not end")
    return code
