"""C as text: comments that cannot run away, and conditions laid out on lines.

In: words of the file's own, and tests put together. Out: lines of C.
"""

import textwrap
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

WIDTH = 96
_STEP = "    "


def comment_safe(text: str) -> str:
    """Text of the user's as it may stand in a comment: in ASCII, on one line, and with nothing
    that ends a comment, begins one, joins lines or is a trigraph."""
    apart = unicodedata.normalize("NFKD", text)
    letters = "".join(c for c in apart if not unicodedata.combining(c))
    ascii_ = "".join(c if " " <= c <= "~" else "." for c in " ".join(letters.split()))
    ascii_ = ascii_.replace("\\", "/")
    for bad in ("*/", "/*", "??"):
        while bad in ascii_:
            ascii_ = ascii_.replace(bad, f"{bad[0]} {bad[1]}")
    return ascii_


def comment(text: str, indent: int = 0) -> list[str]:
    """A comment of one line or several."""
    before = _STEP * indent
    whole = comment_safe(text)
    if len(before) + len(whole) + 6 <= WIDTH:
        return [f"{before}/* {whole} */"]
    first, *middle, last = textwrap.wrap(whole, WIDTH - len(before) - 6, break_on_hyphens=False)
    return [
        f"{before}/* {first}",
        *(f"{before}   {part}" for part in middle),
        f"{before}   {last} */",
    ]


# ------------------------------------------------------------------ tests


@dataclass(frozen=True, slots=True)
class SimpleTest:
    """A test that needs no parentheses."""

    text: str


@dataclass(frozen=True, slots=True)
class JoinedTest:
    """Tests joined by ``&&`` or ``||``."""

    word: str
    parts: tuple["Test", ...]


@dataclass(frozen=True, slots=True)
class NegatedTest:
    part: "Test"


Test = SimpleTest | JoinedTest | NegatedTest
NEVER, ALWAYS = SimpleTest("false"), SimpleTest("true")


def all_tests(*parts: Test) -> Test:
    """All of them hold."""
    return _joined("&&", [part for part in parts if part != ALWAYS], ALWAYS)


def any_test(*parts: Test) -> Test:
    """At least one of them holds."""
    return _joined("||", [part for part in parts if part != NEVER], NEVER)


def _joined(word: str, parts: Iterable[Test], nothing: Test) -> Test:
    flat: list[Test] = []
    for part in parts:
        flat += part.parts if isinstance(part, JoinedTest) and part.word == word else (part,)
    if len(flat) == 1:
        return flat[0]
    return JoinedTest(word, tuple(flat)) if flat else nothing


def is_one_of(left: str, chosen: Sequence[str], others: Sequence[str]) -> Test:
    """That ``left`` is one of some enumerators, given that it is one of them or the others."""
    if not chosen:
        return NEVER
    if not others:
        return ALWAYS
    if len(others) < len(chosen):
        return all_tests(*(SimpleTest(f"{left} != {word}") for word in others))
    return any_test(*(SimpleTest(f"{left} == {word}") for word in chosen))


def test_text(test: Test, *, inside: bool = False) -> str:
    """On one line; ``inside`` others it stands in parentheses where it must."""
    match test:
        case SimpleTest(text=text):
            return f"({text})" if inside and " " in text else text
        case NegatedTest(part=part):
            text = test_text(part)
            return f"!({text})" if " " in text else f"!{text}"
        case JoinedTest(word=word, parts=parts):
            whole = f" {word} ".join(test_text(part, inside=True) for part in parts)
            return f"({whole})" if inside else whole


def test_lines(before: str, test: Test, after: str, indent: int) -> list[str]:
    """``before`` the test ``after``, on as many lines as it takes."""
    lead = _STEP * indent
    whole = f"{lead}{before}{test_text(test)}{after}"
    if len(whole) <= WIDTH:
        return [whole]
    lines = list(_broken(test, indent + 2))
    return [f"{lead}{before}".rstrip(), *lines[:-1], f"{lines[-1]}{after}"]


def _broken(test: Test, indent: int) -> Iterator[str]:
    lead = _STEP * indent
    text = test_text(test)
    # Beyond this depth lines would have no room left.
    if len(lead) + len(text) + 6 <= WIDTH or indent > 14 or isinstance(test, SimpleTest):
        yield f"{lead}{text}"
        return
    if isinstance(test, NegatedTest):
        yield f"{lead}!("
        yield from _broken(test.part, indent + 1)
        yield f"{lead})"
        return
    for i, part in enumerate(test.parts):
        word = "" if i == 0 else f"{test.word} "
        short = f"{lead}{word}{test_text(part, inside=True)}"
        if len(short) + 6 <= WIDTH or indent > 14 or isinstance(part, SimpleTest):
            yield short
            continue
        yield f"{lead}{word}("
        yield from _broken(part, indent + 1)
        yield f"{lead})"


@dataclass(slots=True)
class CWriter:
    """Lines of C being written."""

    lines: list[str] = field(default_factory=list)
    indent: int = 0

    def put(self, *lines: str) -> None:
        self.lines += (f"{_STEP * self.indent}{line}" if line else "" for line in lines)

    def say(self, text: str) -> None:
        self.lines += comment(text, self.indent)

    def test(self, before: str, test: Test, after: str) -> None:
        self.lines += test_lines(before, test, after, self.indent)

    def open(self) -> None:
        self.put("{")
        self.indent += 1

    def close(self, after: str = "") -> None:
        self.indent -= 1
        self.put(f"}}{after}")

    def take(self, other: Iterable[str]) -> None:
        self.lines += other
