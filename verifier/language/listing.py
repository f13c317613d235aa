"""Names and numbers in phrases: the only place that puts ``and`` or ``or`` between names, and an
``s`` behind what is counted."""

from collections.abc import Iterable


def listing(names: Iterable[str], word: str = "and") -> str:
    """``A``, ``A and B``, ``A, B and C``; with another ``word``, ``A, B or C``."""
    *first, last = [*names] or [""]
    return f"{', '.join(first)} {word} {last}" if first else last


def several(number: int, what: str) -> str:
    """``1 check``, ``2 checks``, ``1,000 checks``. ``what``: words whose plural has an ``s`` at
    the end."""
    return f"{number:,} {what}{'' if number == 1 else 's'}"
