"""Joints in the text: `track` lines made longer, put together, and taken apart.

In: a drawing and two ends. Out: candidate edits, the best to read first. Which stretch of plain
track a line means follows from its neighbors, so a candidate may say something else than was
meant; :mod:`verifier.sketching.strokes` reads each back and takes the first that says it.
"""

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from verifier.language.syntax import tree
from verifier.plan.model import Joint, Piece, Placed, Port
from verifier.sketching.edits import Edit, insert, newline_of, without
from verifier.sketching.reading import Drawing

LEFT, RIGHT = "left", "right"
_WIDTH = 98


@dataclass(frozen=True, slots=True)
class _Tail:
    """An open end that a `track` line ends with, on its left or its right side."""

    line: tree.Track
    row: tuple[Placed, ...]
    side: str


def join_edits(drawing: Drawing, a: Port, b: Port, how: str) -> Iterator[list[Edit]]:
    """Ways to write that two open ends are joined. ``how``: the sign, `|(g1)` with its gap."""
    tail_a, tail_b = _tail(drawing, a), _tail(drawing, b)
    if tail_a and tail_b and tail_a.line is not tail_b.line:
        yield from _merged(drawing, tail_a, tail_b, how)
    for tail, port in ((tail_a, b), (tail_b, a)):
        if tail:
            yield from _longer(drawing, tail, port, how)
    for first, second in ((a, b), (b, a)):
        if line := _two(drawing, first, second, how):
            yield [insert(drawing, tree.Track, line)]
    for first, second in ((a, b), (b, a)):
        if line := _in_context(drawing, first, second, how):
            yield [insert(drawing, tree.Track, line)]


def _tail(drawing: Drawing, port: Port) -> _Tail | None:
    for line, row in drawing.lines:
        if (row[-1].piece, row[-1].right) == port:
            return _Tail(line, row, RIGHT)
        if (row[0].piece, row[0].left) == port:
            return _Tail(line, row, LEFT)
    return None


def _merged(drawing: Drawing, one: _Tail, two: _Tail, how: str) -> Iterator[list[Edit]]:
    """Two lines become one, where the upper one stood."""
    if two.line.span.start < one.line.span.start:
        one, two = two, one
    text = two.line.span.text
    if "\n" in text or "\r" in text or "#" in text:
        return
    turned = one.side == two.side
    if turned and any(drawing.pieces[p.piece].kind in ("crossing", "slip") for p in two.row):
        return
    steps = _written(two.line, turned)
    if len(drawing.source.line(one.line.span.line)) + len(steps) > _WIDTH:
        return
    yield [_beside(one, steps, how), without(drawing.source, two.line.span)]


def _longer(drawing: Drawing, tail: _Tail, port: Port, how: str) -> Iterator[list[Edit]]:
    words = _step(drawing, port, LEFT if tail.side == RIGHT else RIGHT)
    if words is None or len(drawing.source.line(tail.line.span.line)) + len(words) > _WIDTH:
        return
    yield [_beside(tail, words, how)]


def _beside(tail: _Tail, words: str, how: str) -> Edit:
    if tail.side == RIGHT:
        at = tail.line.steps[-1].span.end
        return Edit(at, at, f" {how} {words}")
    at = tail.line.steps[0].span.start
    return Edit(at, at, f"{words} {how} ")


def _written(line: tree.Track, turned: bool) -> str:
    """The steps of a line, read from right to left where it is turned."""
    steps = [_step_words(s.name.text, s.left, s.right, turned) for s in line.steps]
    joins = [f"{j.kind}({j.gap.text})" if j.gap else j.kind for j in line.joins]
    if turned:
        steps, joins = steps[::-1], joins[::-1]
    words = [steps[0]]
    for join, step in zip(joins, steps[1:], strict=True):
        words += [join, step]
    return " ".join(words)


def _step_words(name: str, left: str | None, right: str | None, turned: bool) -> str:
    if turned:
        left, right = right, left
    return " ".join(filter(None, (left, name, right)))


def _step(drawing: Drawing, port: Port, side: str) -> str | None:
    """A step of a line whose end on that side is ``port``; None where no step has it there."""
    piece = drawing.pieces[port.piece]
    match piece.kind:
        case "turnout":
            if port.end == "points":
                leg = _open_leg(drawing, piece)
                return f"{piece.name} {leg}" if side == LEFT else f"{leg} {piece.name}"
            return f"{port.end} {piece.name}" if side == LEFT else f"{piece.name} {port.end}"
        case "crossing" | "slip":
            way, at = port.end.split("-")
            return f"{way} {piece.name}" if at == side else None
        case _:
            return piece.title


def _open_leg(drawing: Drawing, piece: Piece) -> str:
    legs = ("normal", "reverse")
    return next((leg for leg in legs if Port(piece.name, leg) not in drawing.joint_at), "normal")


def _two(drawing: Drawing, a: Port, b: Port, how: str) -> str | None:
    one, two = _step(drawing, a, RIGHT), _step(drawing, b, LEFT)
    return f"track {one} {how} {two}" if one and two else None


def _in_context(drawing: Drawing, a: Port, b: Port, how: str) -> str | None:
    """The same with what is beyond the two pieces where these are plain track, so that it is clear
    which stretches are meant."""
    words = _two(drawing, a, b, how)
    if words is None:
        return None
    before, after = _beyond(drawing, a), _beyond(drawing, b)
    left = right = ""
    if before:
        step = _step(drawing, before[0], RIGHT)
        left = f"{step} {before[1]} " if step else ""
    if after:
        step = _step(drawing, after[0], LEFT)
        right = f" {after[1]} {step}" if step else ""
    return f"track {left}{words.removeprefix('track ')}{right}" if left or right else None


def _beyond(drawing: Drawing, port: Port) -> tuple[Port, str] | None:
    """The end that plain track is joined to on its other side, and how."""
    if drawing.pieces[port.piece].kind != "plain":
        return None
    other = Port(port.piece, RIGHT if port.end == LEFT else LEFT)
    joint = drawing.joint_at.get(other)
    return (joint.other(other), sign_of(joint)) if joint else None


def sign_of(joint: Joint) -> str:
    return f"{joint.kind}({joint.gap})" if joint.gap else joint.kind


# ------------------------------------------------------------------ taking apart


def part_edits(drawing: Drawing, joint: Joint) -> list[Edit] | None:
    """Take a joint out of each line that has it; None where another file has it."""
    edits: list[Edit] = []
    for line, row in drawing.lines:
        edits += _parted(drawing, line, [i for i in _joints_in(row) if _is(row, i, joint)])
    return edits or None


def _joints_in(row: Sequence[Placed]) -> range:
    return range(len(row) - 1)


def _is(row: Sequence[Placed], i: int, joint: Joint) -> bool:
    ports = {Port(row[i].piece, row[i].right), Port(row[i + 1].piece, row[i + 1].left)}
    return ports == {joint.a, joint.b}


def _parted(drawing: Drawing, line: tree.Track, at: Sequence[int]) -> Iterator[Edit]:
    """A line without some of its joints; what then stands alone goes."""
    if not at:
        return
    cuts = [-1, *at, len(line.steps) - 1]
    parts = [(a + 1, b) for a, b in itertools.pairwise(cuts)]
    kept = [(a, b) for a, b in parts if b > a]
    if not kept:
        yield without(drawing.source, line.span)
        return
    text = drawing.source.text
    whole = [text[line.steps[a].span.start : line.steps[b].span.end] for a, b in kept]
    start, end = line.steps[0].span.start, line.steps[-1].span.end
    yield Edit(start, end, f"{newline_of(drawing.source)}track ".join(whole))


def sign_edits(drawing: Drawing, joint: Joint, how: str) -> Iterator[Edit]:
    """Write another sign between two steps, in each line that has the joint."""
    for line, row in drawing.lines:
        for i in _joints_in(row):
            if _is(row, i, joint):
                yield Edit(line.joins[i].span.start, line.joins[i].span.end, how)
