"""From the text of exported C to its syntax tree: a minimal preprocessor, then pycparser.

In: the text of a C file. Out: the pycparser tree. Anything that compilers might read differently
is rejected.
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
_FIRST = re.compile(r"#ifndef (\w+)_INCLUDED")


class NotReadable(Exception):
    """The text is outside the subset of C that is exported; the message says where."""


def parse_tree(text: str) -> Any:
    """The syntax tree. Raises :class:`NotReadable`."""
    from pycparser.c_parser import CParser, ParseError

    try:
        return CParser().parse(_TYPES + _preprocessed(text), "")
    except ParseError as error:
        raise NotReadable(f"no C that can be read{error}") from None


def _preprocessed(text: str) -> str:
    """The text without comments and directives. Rejects whatever a compiler might read otherwise:
    trigraphs, joined lines, characters beyond ASCII, string literals."""
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
    """The code, where the directives are those of an export and no others, in their order: then
    whoever includes the file whole compiles every line of it."""
    kept: list[str] = []
    directives: list[str] = []
    for line in map(str.strip, lines):
        if line.startswith("#"):
            directives.append(line)
        elif "#" in line or "%:" in line:
            raise NotReadable("a directive in the middle of a line")
        else:
            kept.append(line)
    found = _FIRST.fullmatch(directives[0]) if directives else None
    name = found[1] if found else ""
    whole, said = guard_macros(name)
    wanted = [f"#ifndef {whole}", f"#define {whole}", *_INCLUDED, f"#ifndef {said}"]
    if directives != [*wanted, "#endif", "#endif"]:
        raise NotReadable("other directives than there should be")
    code = "\n".join(kept)
    if {whole, said}.intersection(re.findall(r"\w+", code)):
        raise NotReadable("a name that is a macro")
    return code


def guard_macros(name: str) -> tuple[str, str]:
    """The macros of a file: that it was included already, and that declarations are enough.
    (C99, 7.26.8 keeps names such as INT8_C to itself.)"""
    return f"{name}_INCLUDED", f"{name}_DECLARATIONS"
