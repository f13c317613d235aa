"""Changes of a text that mend it: what an error says was probably meant, and repairs that were
proved."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from verifier.language.diagnostics.diagnostic import Diagnostic
from verifier.language.source import Source


@dataclass(frozen=True, slots=True)
class Fix:
    """``text`` in place of what stands from ``start`` to ``end``. ``mends``: the code of the error
    or the key of the finding; ``proved``: whether the result was proved."""

    title: str
    start: int
    end: int
    text: str
    mends: str
    proved: bool = False


def error_fixes(source: Source, errors: Iterable[Diagnostic]) -> Iterator[Fix]:
    """What each error in this text says was meant."""
    for error in errors:
        if error.fix is None:
            continue
        span, text = error.fix.span, error.fix.text
        if span.source.name == source.name and span.source.used is None:
            title = f"Write `{text}` in place of `{span.text}`" if text else f"Remove `{span.text}`"
            yield Fix(title, span.start, span.end, text, error.code)
