"""Several names as one phrase: the only place that puts ``and`` or ``or`` between them."""

from collections.abc import Iterable


def listing(names: Iterable[str], word: str = "and") -> str:
    """``A``, ``A and B``, ``A, B and C``; with another ``word``, ``A, B or C``."""
    *first, last = [*names] or [""]
    return f"{', '.join(first)} {word} {last}" if first else last
