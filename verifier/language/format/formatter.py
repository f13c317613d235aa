"""The formatter: a file's text in its canonical layout, comments kept.

Statements are printed from their parse trees (:mod:`verifier.language.format.print_statements`). A
comment on a line of its own stays before what it precedes, one behind words stays behind them;
blank lines between statements stay, one at most. Each result is parsed again and compared with
the input.
"""

import re
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any

from lark import Token, Tree

from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.format.align import WIDTH, aligned
from verifier.language.format.print_statements import text_lines
from verifier.language.format.segments import Segment, TextLine
from verifier.language.source import LINE_END, Source, Span
from verifier.language.statements.nodes import with_parts
from verifier.language.syntax.build import Builder
from verifier.language.syntax.parse import lex, parse, parse_trees

# A line joins the one before it if both have less than this; comments behind lines stand
# in one column no further right than that.
JOIN = 80
MAX_COMMENT_COLUMN = 72

_COMMENT = re.compile(r"#[^\r\n]*")


@dataclass(frozen=True, slots=True)
class _Comment:
    text: str
    start: int
    own_line: bool
    blank_before: bool
    indented: bool


@dataclass(slots=True)
class _SegmentComments:
    """The comments of one segment: on lines before it, and behind it."""

    before: list[_Comment] = field(default_factory=list)
    inside: list[_Comment] = field(default_factory=list)
    behind: list[_Comment] = field(default_factory=list)


@dataclass(slots=True)
class _Row:
    """A line to be laid out, with the comments of each of its segments."""

    line: TextLine
    starts: bool  # a statement
    blank_before: bool
    beside: list[_SegmentComments]
    inner: str = ""  # the indent of the row before it, which a comment there may keep
    padded: str = ""

    @property
    def parted(self) -> bool:
        """A comment stands in the middle of it."""
        return any(b.before or b.inside for b in self.beside[1:]) or any(
            b.behind for b in self.beside[:-1]
        )


@dataclass(frozen=True, slots=True)
class _OutputLine:
    text: str
    comment: str = ""
    blank_before: bool = False


def format_text(text: str, name: str = "(text)") -> str:
    """The text of a junction file in canonical layout.

    Raises :class:`~verifier.language.diagnostics.diagnostic.InputError` when it cannot be read."""
    source = Source(name, text)
    parsed, errors = parse_trees(source)
    if errors:
        raise InputError(errors)
    builder = Builder(source)
    comments, blanks = _comments(source)
    rows = [
        _Row(replace(line, indent=line.indent + indent), i == 0, i == 0 and blank, [])
        for statement, indent in _indented(parsed)
        for blank in [statement.meta.start_pos in blanks]
        for i, line in enumerate(text_lines(statement, builder))
    ]
    inner = ""
    for row in rows:
        row.beside = [_SegmentComments() for _ in row.line.segments]
        row.inner = inner if row.starts else ""
        inner = " " * row.line.indent
    footer = _place(comments, rows)
    _pad(rows)
    lines = [line for row in _joined(rows) for line in _lines(row)]
    lines += _own_lines(footer, "", inner)
    result = _written(lines)
    before, after = tuple(map(builder.transform, parsed)), parse(Source(name, result))
    if _meaning(after) != _meaning(before):  # pragma: no cover - our bug
        raise AssertionError(f"formatting {name} would change what it says")
    return result


def _indented(statements: Iterable[Tree[Token]]) -> Iterator[tuple[Tree[Token], int]]:
    """Every statement and how far it is indented: a module's inside stands further in."""
    indent = 0
    for statement in statements:
        if statement.data == "end":
            indent = 0
        yield statement, indent
        if statement.data == "module":
            indent = 2


def _meaning(node: Any) -> Any:
    """A syntax node without its spans."""
    return None if isinstance(node, Span) else with_parts(node, _meaning)


# ------------------------------------------------------------------ comments


def _comments(source: Source) -> tuple[list[_Comment], set[int]]:
    """All comments, and where words stand that have a blank line before them."""
    comments: list[_Comment] = []
    blanks: set[int] = set()
    ends = [(0, 0), *((t.start_pos or 0, t.end_pos or 0) for t in lex(source))]
    for (_, end), (start, _) in pairwise([*ends, (len(source.text), len(source.text))]):
        at = end
        for found in _COMMENT.finditer(source.text, end, start):
            line_ends = _line_ends(source.text[at : found.start()])
            line = source.position(found.start())[0]
            own_line = line_ends > 0 or at == 0
            comments.append(
                _Comment(
                    found[0].rstrip(),
                    found.start(),
                    own_line,
                    line_ends > 1,
                    found.start() > source.line_bounds(line)[0],
                )
            )
            at = found.end()
        if _line_ends(source.text[at:start]) > 1:
            blanks.add(start)
    return comments, blanks


def _line_ends(text: str) -> int:
    return sum(1 for _ in LINE_END.finditer(text))


def _place(comments: Sequence[_Comment], rows: Sequence[_Row]) -> list[_Comment]:
    """Give every comment to a segment; those after the last one are returned."""
    places: list[tuple[Segment, _SegmentComments]] = [
        (segment, beside)
        for row in rows
        for segment, beside in zip(row.line.segments, row.beside, strict=True)
    ]
    starts = [segment.start for segment, _ in places]
    footer: list[_Comment] = []
    for comment in comments:
        index = bisect_right(starts, comment.start) - 1
        if index >= 0 and comment.start < places[index][0].end:
            places[index][1].inside.append(comment)
        elif index >= 0 and not comment.own_line:
            places[index][1].behind.append(comment)
        elif index + 1 < len(places):
            places[index + 1][1].before.append(comment)
        else:
            footer.append(comment)
    for _, beside in places:  # one comment fits behind the words, the others go before them
        beside.inside += beside.behind[:-1]
        beside.behind = beside.behind[-1:]
    return footer


# ------------------------------------------------------------------ columns


def _pad(rows: Sequence[_Row]) -> None:
    """Work out the one-line text of every row, columns under columns."""
    for group in _groups(rows):
        for row, text in zip(group, aligned([row.line for row in group]), strict=True):
            row.padded = text


def _groups(rows: Sequence[_Row]) -> Iterator[list[_Row]]:
    """Rows that may line up: the lines of one signal; like statements, one below the other."""
    group: list[_Row] = []
    for row in rows:
        if group and not _together(row, group[-1]):
            yield group
            group = []
        group.append(row)
    if group:
        yield group


def _together(row: _Row, last: _Row) -> bool:
    table = row.line.table
    if not table or table != last.line.table:
        return False
    if table == "rule":
        return True
    quiet = not (row.beside[0].before or row.beside[0].inside or row.parted or last.parted)
    return quiet and not row.blank_before


def _joined(rows: Sequence[_Row]) -> Iterator[_Row]:
    """The rows, those that join the one before them on its line, where there is room."""
    held: _Row | None = None
    for row in rows:
        if held is not None:
            quiet = not (held.parted or held.beside[-1].behind or row.parted)
            quiet = quiet and not (row.beside[0].before or row.beside[0].inside)
            if row.line.joins and quiet and len(held.padded) + len(row.padded) < JOIN:
                held.padded += f" {row.padded}"
                held.beside[-1].behind = row.beside[-1].behind
                continue
            yield held
        held = row
    if held is not None:
        yield held


# ------------------------------------------------------------------ lines


def _lines(row: _Row) -> Iterator[_OutputLine]:
    """A row as lines: one, or several where a comment or its length parts it."""
    line = row.line
    margin = " " * line.indent
    first = row.beside[0]
    yield from _own_lines(first.before, margin, row.inner)
    # A comment that stood among the first words goes before them, and so does the blank line.
    blank = row.blank_before
    for comment in first.inside:
        yield _OutputLine(margin, comment.text, blank)
        blank = False
    too_long = len(margin + row.padded) > WIDTH
    if not (row.parted or too_long):
        yield _OutputLine(margin + row.padded, _behind(row.beside[-1]), blank)
        return
    text, behind = margin + _opening(row), _behind(first)
    hang = _hang(row)
    for i, (segment, beside) in enumerate(zip(line.segments, row.beside, strict=True)):
        if i == 0:
            continue
        splits = i in line.splits if line.splits else len(f"{text} {segment.text}") > WIDTH
        if not (splits or beside.before or beside.inside or row.beside[i - 1].behind):
            text += f" {segment.text}"
        else:
            yield _OutputLine(text, behind, blank)
            blank = False
            text = " " * (hang + _short_by(segment, row)) + segment.text
            yield from _own_lines(beside.before, " " * hang)
            for comment in beside.inside:
                yield _OutputLine(" " * hang, comment.text)
        behind = _behind(beside)
    yield _OutputLine(text, behind, blank)


def _opening(row: _Row) -> str:
    """The first segment; padded in a list of lines, so that `when` stands below `when`."""
    text = row.line.segments[0].text
    if row.line.table != "rule" or row.beside[0].behind:
        return text
    return text.ljust(_when_column(row) - 1)


def _when_column(row: _Row) -> int:
    """Where `when` or `otherwise` begins in the padded text of a signal's or head's line."""
    return len(row.padded) - len(row.line.columns[1])


def _hang(row: _Row) -> int:
    """The indent of continuation lines."""
    if row.line.table == "rule":
        return row.line.indent + _when_column(row) + len("when ") - len("and ")
    return row.line.indent + 4


def _short_by(segment: Segment, row: _Row) -> int:
    """`or` ends where `and` ends, below `when`."""
    return 1 if row.line.table == "rule" and segment.text.startswith("or ") else 0


def _behind(beside: _SegmentComments) -> str:
    return beside.behind[0].text if beside.behind else ""


def _own_lines(comments: Iterable[_Comment], margin: str, inner: str = "") -> Iterator[_OutputLine]:
    """Comments on lines of their own. ``inner``: one that was indented closes the statement
    before it, and keeps that indent."""
    for comment in comments:
        indent = inner if comment.indented and inner else margin
        yield _OutputLine(indent, comment.text, comment.blank_before)


def _written(lines: Sequence[_OutputLine]) -> str:
    """The lines as text; comments behind lines that follow each other stand in one column."""
    result: list[str] = []
    run: list[_OutputLine] = []

    def flush() -> None:
        widths = [len(line.text) for line in run if len(line.text) <= MAX_COMMENT_COLUMN]
        column = max(widths, default=0)
        result.extend(f"{line.text.ljust(column)}  {line.comment}" for line in run)
        run.clear()

    for line in lines:
        behind = bool(line.comment and line.text.strip())
        if not behind or line.blank_before:
            flush()
        if line.blank_before and result:
            result.append("")
        if behind:
            run.append(line)
        else:
            result.append(f"{line.text}{line.comment}".rstrip())
    flush()
    return "\n".join([*result, ""]) if result else ""
