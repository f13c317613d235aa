"""A text read after an earlier version of it: the same statements, at the same places."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.junction_files import SPEC_FILES
from verifier.language.source import Source, Span
from verifier.language.statements.nodes import parts_of
from verifier.language.syntax import parse as module
from verifier.language.syntax.parse import parse_on


def told(text: str) -> Any:
    """The statements of a text and its errors, without the source, which is another object."""
    statements, errors = parse_on(Source("", text))

    def plain(part: Any) -> Any:
        if isinstance(part, Span):
            return part.start, part.end
        parts = parts_of(part)
        return (type(part).__name__, *map(plain, parts)) if parts else part

    return [*map(plain, statements)], [(d.code, d.message, plain(d.span)) for d in errors]


def places(text: str) -> Iterator[int]:
    """Where a line begins."""
    at = 0
    for line in text.splitlines(keepends=True):
        yield at
        at += len(line)


@pytest.fixture(autouse=True)
def _nothing_read_before(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "_recent", {})


@settings(deadline=None)
@given(path=st.sampled_from(SPEC_FILES), data=st.data())
def test_what_is_read_again_is_as_if_read_first(path: Path, data: st.DataObject) -> None:
    module._recent.clear()
    text = path.read_text("utf-8")
    at = data.draw(st.sampled_from([*places(text)]))
    end = text.find("\n", at) + 1
    again = data.draw(
        st.sampled_from(
            [
                text[:at] + text[end:],
                text[:at] + "# a remark\n" + text[at:],
                text[:at] + text[at:end] * 2 + text[end:],
                text[:at] + text[at : end - 1] + " when\n" + text[end:],
                text[end:] + text[at:end],
            ]
        )
    )
    told(text)
    after = told(again)
    module._recent.clear()
    assert after == told(again)


def test_statements_that_moved_are_not_parsed_again(monkeypatch: pytest.MonkeyPatch) -> None:
    text = 'edge West\nblock Main 8 ft "the main track"\n'
    before = told(text)
    monkeypatch.setattr(module, "_parse_tokens", None)
    ((_, west, *_), (_, main, *_)), none = told(f"# moved\n\n{text}")
    assert before[1] == none == []
    assert west and main
