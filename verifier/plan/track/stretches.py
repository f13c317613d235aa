"""Which stretch of plain track each step of a `track` line means: its neighbors decide."""

from dataclasses import dataclass
from typing import NamedTuple

from verifier.language.source import Span
from verifier.language.syntax import tree
from verifier.plan.names import Names

# Kind of the element, the name of its end on the left, and on the right.
StepEnds = tuple[str, str, str]


class _Side(NamedTuple):
    """What a stretch of plain track is joined to on one side, as written."""

    name: str
    end: str
    kind: str
    gap: str


@dataclass(slots=True)
class Stretch:
    """One stretch of plain track: what is known of its two sides, and its uses."""

    block: str
    row: int
    left: _Side | None
    right: _Side | None
    span: Span
    # (row, step, read the other way round)
    uses: list[tuple[int, int, bool]]


def place_plain(lines: list[tree.Track], rows: list[list[StepEnds]], names: Names) -> list[Stretch]:
    """Which stretch of plain track each step means.

    Within one line, two steps with the same block are two stretches, except that a line
    which ends with the name it began with closes a circle. In another line a step means
    the stretch that fits: every side that both know is the same. Failing that it may be
    the same stretch read from right to left.
    """
    stretches: list[Stretch] = []
    by_block: dict[str, list[Stretch]] = {}
    for row, line in enumerate(lines):
        here: list[Stretch] = []
        for i, step in enumerate(line.steps):
            if rows[row][i][0] != "plain":
                continue
            if i and line.steps[i - 1].name.text == step.name.text:
                names.error(
                    "CP303", line.steps[i - 1].span.to(step.span), "itself", name=step.name.text
                )
                continue
            left = _side(line, rows[row], i - 1, i - 1, of_left=True)
            right = _side(line, rows[row], i + 1, i, of_left=False)
            here.append(Stretch(step.name.text, row, left, right, step.span, [(row, i, False)]))
        first, last = (here[0], here[-1]) if len(here) > 1 else (None, None)
        if (
            first and last and first.block == last.block
            and first.left is None and last.right is None
        ):  # fmt: skip
            first.left = last.left
            first.uses += last.uses
            here.pop()
        for stretch in here:
            _merge(stretch, stretches, by_block, names)
    return stretches


def _side(
    line: tree.Track, row: list[StepEnds], step: int, join: int, *, of_left: bool
) -> _Side | None:
    if not 0 <= step < len(line.steps):
        return None
    kind, left, right = row[step]
    end = "" if kind == "plain" else (right if of_left else left)
    written = line.joins[join]
    gap = written.gap.text if written.gap else ""
    return _Side(line.steps[step].name.text, end, written.kind, gap)


def _merge(
    new: Stretch,
    stretches: list[Stretch],
    by_block: dict[str, list[Stretch]],
    names: Names,
) -> None:
    """Add ``new``, or find that it is a stretch another line wrote already."""
    same_block = by_block.setdefault(new.block, [])
    known = [s for s in same_block if s.row != new.row]
    for mirrored in (False, True):
        left, right = (new.right, new.left) if mirrored else (new.left, new.right)
        fits = []
        for old in known:
            same = [a == b for a, b in ((old.left, left), (old.right, right)) if a and b]
            if all(same) and (same or not mirrored):
                fits.append((-len(same), old))
        if fits:
            old = min(fits, key=lambda fit: fit[0])[1]  # the first of those that fit best
            old.left, old.right = old.left or left, old.right or right
            old.uses += [(row, step, mirrored) for row, step, _ in new.uses]
            return
    if known and (new.left is None or new.right is None):
        side, other = ("right", known[0].right) if new.left is None else ("left", known[0].left)
        names.error(
            "CP301",
            new.span,
            "stretch_to" if other else "stretch",
            others=[known[0].span],
            side=side,
            block=new.block,
            to=other.name if other else "",
        )
        return
    stretches.append(new)
    same_block.append(new)
