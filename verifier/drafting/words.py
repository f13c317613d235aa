"""Names and lists of names, as a draft writes them."""

from collections.abc import Iterator, Sequence
from textwrap import wrap

# The width of a comment.
WIDTH = 98


def free_name(name: str, taken: set[str]) -> str:
    """The name, or with the first number behind it that makes it a new one. It is added to
    ``taken``."""
    found, n = name, 1
    while found in taken:
        n += 1
        found = f"{name}-{n}"
    taken.add(found)
    return found


def dashed(name: str) -> str:
    """A name of a module's as part of a new one, without its dots."""
    return name.replace(".", "-")


def all_of(names: Sequence[str]) -> str:
    """One name, or `all of` several."""
    return f"all of {', '.join(names)}" if len(names) > 1 else names[0]


def any_of(names: Sequence[str]) -> str:
    """One name, or `any of` several."""
    return f"any of {', '.join(names)}" if len(names) > 1 else names[0]


def comment(text: str) -> Iterator[str]:
    """A text as lines of comment."""
    return (f"# {line}" for line in wrap(text, WIDTH - 2, break_on_hyphens=False))
