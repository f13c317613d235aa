"""Exported C with one thing wrong in it: every way of a list, at every place of the functions.

In: the text. Out: texts that a compiler takes, each with what was done to it.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass

_COMMENT = re.compile(r"/\*.*?\*/", re.DOTALL)
_ENUM = re.compile(r"enum \{(.*?)\}", re.DOTALL)
# What stands there, and what is put in its place.
_INSTEAD = (
    (r"==", "!="), (r"!=", "=="), (r"&&", "||"), (r"\|\|", "&&"), (r">=", ">"),
    (r"(?<=\w) > ", " < "), (r"<=", "<"), (r"!(?=[\w(])", ""),
    (r"\btrue\b", "false"), (r"\bfalse\b", "true"),
    (r"\(uint16_t\)(?=\(memory)", "(uint8_t)"), (r" \+ elapsed", ""),
)  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    done: str
    text: str


def mutants(text: str) -> Iterator[Mutant]:
    """All of them, in the order of the text; what adds up the check of the memory is left as it
    is, since any sum that every bit changes will do."""
    bare = _COMMENT.sub(lambda found: re.sub(r"[^\n]", " ", found[0]), text)
    start = bare.index("_DECLARATIONS\n")
    end = bare.index("\n#endif", start)
    spared = re.search(r"_check\(const .*?\n\}", bare, re.DOTALL)
    alike = _alike(bare)
    for place, length, new in _places(bare, alike):
        inside = start < place < end
        if inside and not (spared and spared.start() < place < spared.end()):
            line = text.count("\n", 0, place) + 1
            old = text[place : place + length]
            yield Mutant(
                f"line {line}: `{old}` made `{new}`", text[:place] + new + text[place + length :]
            )


def _alike(bare: str) -> dict[str, list[str]]:
    """For each word of an enumeration, the others of it."""
    found: dict[str, list[str]] = {}
    for enum in _ENUM.finditer(bare):
        words = re.findall(r"\b[A-Z]\w+(?= =)", enum[1])
        found |= {word: [other for other in words if other != word] for word in words}
    return found


def _places(bare: str, alike: dict[str, list[str]]) -> Iterator[tuple[int, int, str]]:
    for pattern, new in _INSTEAD:
        yield from ((f.start(), len(f[0]), new) for f in re.finditer(pattern, bare))
    for found in re.finditer(r"\b[A-Z][A-Z0-9_]+\b", bare):
        for other in alike.get(found[0], [])[:1]:
            yield found.start(), len(found[0]), other
    for found in re.finditer(r"(?<= )(\d+)u\b", bare):
        yield found.start(), len(found[0]), f"{int(found[1]) + 1}u"
    # A statement left out.
    for found in re.finditer(r"(?<=\n)( *)((?:out|memory)->\w+ = [^;]*;)", bare):
        yield found.start(2), len(found[2]), ""
    # The other branch's words: `else if` that no longer waits for the first.
    for found in re.finditer(r"\belse (?=if\b)", bare):
        yield found.start(), len(found[0]), ""
