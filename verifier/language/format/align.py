"""Columns under columns: the texts of lines that stand below one another.

`track` lines are drawings, so a piece that several of them name stands in one column:

    track West-Main   = Main   | normal  T1 | Single = Quarry
    track West-Siding = Siding | reverse T1
"""

from collections.abc import Sequence
from itertools import zip_longest

from verifier.language.format.segments import Drawn, TextLine

WIDTH = 100
# No column is padded further than this.
MAX_PAD = 40


def aligned(lines: Sequence[TextLine]) -> list[str]:
    """The text of each line; all are of one table, or there is only one."""
    if lines[0].table != "track":
        return _columns([line.columns for line in lines])
    texts: list[str] = []
    group: list[Sequence[Drawn]] = []
    shifts: list[int] = []
    for line in lines:
        shift = _shift(line.drawn, group, shifts) if group else 0
        if shift is None:
            texts += _drawing(group, shifts)
            group, shifts, shift = [], [], 0
        group.append(line.drawn)
        shifts.append(shift)
    return texts + _drawing(group, shifts)


def _columns(rows: Sequence[Sequence[str]]) -> list[str]:
    """Cells padded to the widest of their column that has something to its right."""
    widths = [0] * max(map(len, rows))
    for row in rows:
        for i, cell in enumerate(row):
            if any(row[i + 1 :]) and len(cell) <= MAX_PAD:
                widths[i] = max(widths[i], len(cell))
    return [
        "  ".join(
            cell.ljust(width) for cell, width in zip(row, widths, strict=False) if cell or width
        ).rstrip()
        for row in rows
    ]


# ------------------------------------------------------------------ track lines


def _shift(
    line: Sequence[Drawn], group: Sequence[Sequence[Drawn]], shifts: Sequence[int]
) -> int | None:
    """How many steps further right than the first line of the group this one begins, so that
    the pieces they share stand below one another; None where that cannot be done."""
    found = {
        j + shift - i
        for other, shift in zip(group, shifts, strict=True)
        for j, theirs in enumerate(other)
        for i, ours in enumerate(line)
        if ours.name == theirs.name
    }
    if len(found) == 1:
        return found.pop()
    alike = all(
        ours is None or theirs is None or ours.join == theirs.join
        for ours, theirs in zip_longest(line, group[0])
    )
    return 0 if alike and not found else None


def _drawing(group: Sequence[Sequence[Drawn]], shifts: Sequence[int]) -> list[str]:
    plain = [_text([_cell(step) for step in line]) for line in group]
    if len(group) == 1:
        return plain
    left = min(shifts)
    rows = [[None] * (shift - left) + list(line) for line, shift in zip(group, shifts, strict=True)]
    cells: list[list[str]] = [[] for _ in rows]
    for column in zip_longest(*rows):
        for texts, cell in zip(cells, _column(column), strict=True):
            texts.append(cell)
    drawn = [_text(texts) for texts in cells]
    return plain if any(len(text) > WIDTH for text in drawn) else drawn


def _text(cells: Sequence[str]) -> str:
    return f"track {' '.join(cells)}".rstrip()


def _cell(step: Drawn) -> str:
    return " ".join(word for word in step if word)


def _column(steps: Sequence[Drawn | None]) -> list[str]:
    """One step of every line, all of one width. Legs stand below legs where every step of
    the column has one."""
    there = [step for step in steps if step]
    legs = all(step.left or step.right for step in there)
    parts = [
        (
            (step.join, step.left, step.name, step.right)
            if legs
            else (step.join, _cell(step._replace(join="")))
        )
        if step
        else ()
        for step in steps
    ]
    count = 4 if legs else 2
    widths = [max((len(part[i]) for part in parts if part), default=0) for i in range(count)]
    return [
        " ".join((part[i] if part else "").ljust(width) for i, width in enumerate(widths) if width)
        for part in parts
    ]
