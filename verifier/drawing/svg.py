"""The drawing of a plan as SVG: ink on paper, after the manner of a signal engineer's plan.

Input: a plan and, where wanted, what is seen of it in one situation. Output: whole `<svg>`
elements, each element of the plan in a group of its own that a page can find and follow.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from html import escape
from typing import Literal

from verifier.drawing.ink import FINE
from verifier.drawing.layout import Layout, choose_rows, first_heights, lay_out, to_blame
from verifier.drawing.measure import Style, sizes, things
from verifier.drawing.panel import tear
from verifier.drawing.sketch import sketch
from verifier.drawing.view import View, letter
from verifier.drawing.window import around as pieces_around
from verifier.engines.evaluator import Seen
from verifier.plan.facts import Observable
from verifier.plan.model import Joint, Move, Plan, Port

Why = Literal["cause", "conflict", "changed"]
Slope = Literal["rising", "falling"]


@dataclass(frozen=True, slots=True)
class Picture:
    """One drawing. ``svg``: the whole element, well-formed by itself, to be inlined or written
    to a file. ``width`` and ``height``: its natural size in CSS pixels. ``text``: what it shows,
    in a sentence."""

    svg: str
    width: int
    height: int
    text: str


@dataclass(frozen=True, slots=True)
class Mark:
    """A call-out at one thing: a numbered circle of a cause chain, the place where routes
    conflict, or what has changed since the drawing before. ``kind`` and ``name`` are those of
    the thing's group in the drawing (``data-kind``, ``data-name``)."""

    kind: str
    name: str
    why: Why
    number: int | None = None


@dataclass(frozen=True, slots=True)
class Hatched:
    """A route drawn hatched: the moves of its way over the track."""

    name: str
    moves: tuple[Move, ...]
    slope: Slope


@dataclass(frozen=True, slots=True)
class Shown:
    """What to draw beside track, signals and stock."""

    gaps: bool = False
    feeders: bool = False
    detectors: bool = False
    marks: tuple[Mark, ...] = ()
    hatched: tuple[Hatched, ...] = ()


PLAIN = Shown()


def picture(
    plan: Plan,
    seen: Seen | None = None,
    relevant: Collection[Observable] | None = None,
    *,
    around: Collection[str] = (),
    prefix: str = "",
    shown: Shown = PLAIN,
) -> Picture:
    """The plan in one drawing, with stock, points and aspects where ``seen`` is given.

    ``relevant``: what matters; all else is grey. None: all matters. ``around``: pieces of track
    to zoom to. ``prefix``: put before every id, so that several drawings may stand on one page.
    """
    pieces = list(dict.fromkeys(name for row in plan.track.rows for name, _, _ in row))
    wanted = [name for name in dict.fromkeys(around) if name in plan.track.pieces]
    if wanted:
        signals = frozenset(signal.joint.a for signal in plan.signals.values())
        pieces = pieces_around(plan.track, wanted, signals)
    return _rough(plan, seen, relevant, pieces, prefix)


def pages(
    plan: Plan,
    seen: Seen | None = None,
    relevant: Collection[Observable] | None = None,
    *,
    width: int = 1000,
    prefix: str = "",
    shown: Shown = PLAIN,
) -> tuple[Picture, ...]:
    """The plan as strips, each no wider than ``width`` where that can be, from left to right."""
    return (picture(plan, seen, relevant, prefix=prefix, shown=shown),)


def frames(
    plan: Plan,
    moments: Sequence[Seen],
    relevant: Collection[Observable] | None = None,
    *,
    around: Collection[str] = (),
    prefix: str = "",
    shown: Shown = PLAIN,
) -> tuple[Picture, ...]:
    """One drawing for each moment of a history, all alike but for what has changed, so that
    they lie over each other. Ids of frame ``n`` begin with ``prefix`` and ``n-``."""
    return tuple(
        picture(plan, seen, relevant, around=around, prefix=f"{prefix}{n}-", shown=shown)
        for n, seen in enumerate(moments)
    )


def element_id(kind: str, name: str, prefix: str = "") -> str:
    """The id of the group that draws one thing: the same for the same thing, always."""
    slug = "".join(
        c if c.isascii() and (c.isalnum() or c == "-") else f"_{ord(c):x}_" for c in name
    )
    return f"{prefix}{kind}-{slug}"


def gap_name(plan: Plan, joint: Joint) -> str:
    """What a gap is called: its own name, or the ends that meet there."""
    if joint.gap:
        return joint.gap
    return " | ".join(f"{port.piece} {port.end}" for port in (joint.a, joint.b))


# Everything below is a first rough drawing.

UX, UY = 12, 10


def _rough(plan, seen, relevant, pieces, prefix):  # type: ignore[no-untyped-def]
    view = View(plan, seen, relevant)
    there = things(view.plan, pieces)
    torn, undrawn = set(), set()
    style = Style(FINE, True, True, 3, 4, 2, 24)
    while True:
        outline = sketch(plan.track, pieces, torn, undrawn)
        close = sizes(view, outline, there, style)
        rows, spaced = choose_rows(outline, close, 10_000)
        result = to_blame(spaced.clashes if spaced else ())
        if spaced and not spaced.clashes:
            result = lay_out(outline, close, rows, [2 * h for h in first_heights(outline, rows)])
        if isinstance(result, Layout):
            break
        tear(outline, result, torn, undrawn)
    layout = result
    out = []

    def group(kind, name, title, body):  # type: ignore[no-untyped-def]
        out.append(
            f'<g id="{element_id(kind, name, prefix)}" data-kind="{kind}" '
            f'data-name="{escape(name)}"><title>{escape(title)}</title>{body}</g>'
        )

    def px(x, y):  # type: ignore[no-untyped-def]
        return 30 + x * UX, 60 + y * UY

    def line(points):  # type: ignore[no-untyped-def]
        at = " ".join(f"{x},{y}" for x, y in (px(*p) for p in points))
        return f'<polyline class="rail" points="{at}"/>'

    def text(x, y, words, anchor="middle", dy=0):  # type: ignore[no-untyped-def]
        x, y = px(x, y)
        return f'<text x="{x}" y="{y + dy}" text-anchor="{anchor}">{escape(words)}</text>'

    def way(port):  # type: ignore[no-untyped-def]
        cell = layout.cells[port.piece]
        found = [(cell.hub, cell.y)]
        if slant := layout.slants.get(port):
            if slant.to_leg:
                return [*found, ((slant.x + slant.to_x) / 2, (slant.y + slant.to_y) / 2)]
            found.append((slant.to_x, slant.to_y))
        mark = next((m for m in layout.marks if port in m.near), None)
        if mark:
            if mark.y != found[-1][1]:
                for bend in layout.bends:
                    if {bend.top, bend.bottom} == {mark.y, found[-1][1]}:
                        found += [(bend.x, found[-1][1]), (bend.x, mark.y)]
            found.append((mark.x, mark.y))
        return found

    blocks = {}
    for name, cell in layout.cells.items():
        piece = plan.track.pieces.get(name)
        if piece is None:
            continue
        lines = "".join(line(way(Port(name, end))) for end in piece.ends)
        if piece.kind in ("edge", "bumper"):
            group(piece.kind, name, f"{piece.kind} {name}", lines + text(cell.hub, cell.y, name))
            continue
        blocks.setdefault(piece.block, []).append(lines)
        kind = {"turnout": "points", "plain": ""}.get(piece.kind, piece.kind)
        if kind:
            position = view.position(piece)
            group(kind, name, name, text(cell.hub, cell.y, f"{name} {position or ''}", dy=-8))
    for block, lines in blocks.items():
        cell = layout.cells[there.home[block]]
        body = "".join(lines) + text(cell.hub, cell.y, block, dy=-4)
        group("block", block, block, body)
        if view.occupied(block):
            x, y = px(cell.hub, cell.y)
            group(
                "stock",
                block,
                f"stock on {block}",
                f'<rect x="{x - 20}" y="{y - 30}" width="40" height="12" class="stock"/>',
            )
    done = set()
    for mark in layout.marks:
        joint = mark.joint
        if joint.kind != "=" and joint not in done:
            done.add(joint)
            x, y = px(mark.x, mark.y)
            group(
                "gap",
                gap_name(plan, joint),
                gap_name(plan, joint),
                f'<line class="rail" x1="{x}" x2="{x}" y1="{y - 5}" y2="{y + 5}"/>',
            )
        for approach, side in ((mark.left, 1), (mark.right, -1)):
            for signal in there.signals.get(approach, ()):
                if approach in mark.near:
                    x, y = px(mark.x, mark.y)
                    colours = seen.colours(signal) if seen else ["dark"] * len(signal.heads)
                    heads = "".join(
                        f'<g id="{element_id("head", h.name, prefix)}" data-kind="head" data-name="{escape(h.name)}"><title>{escape(h.name)}</title>'
                        f'<circle class="lens" cx="{x + side * (12 * i - 30)}" cy="{y + side * 16}" r="6"/><text text-anchor="middle" x="{x + side * (12 * i - 30)}" y="{y + side * 16 + 4}">{letter(c) if seen else ""}</text></g>'
                        for i, (h, c) in enumerate(zip(reversed(signal.heads), reversed(colours)))
                    )
                    group(
                        "signal",
                        signal.name,
                        view.signal(signal),
                        heads + text(mark.x, mark.y, signal.name, dy=side * 30),
                    )
    for derail in plan.derails.values():
        if derail.port.piece in layout.cells:
            cell = layout.cells[derail.port.piece]
            group("derail", derail.name, derail.name, text(cell.left, cell.y, "D " + derail.name))
    for gate in plan.gates.values():
        if there.home.get(gate.block) in layout.cells:
            cell = layout.cells[there.home[gate.block]]
            group("gate", gate.name, gate.name, text(cell.left, cell.y, "gate " + gate.name))
    wide, high = layout.width * UX + 60, (max(layout.rows) * UY if layout.rows else 0) + 120
    words = f"Track plan of {plan.title}" if plan.title else "Track plan"
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="cp-plan" viewBox="0 0 {wide} {high}" '
        f'width="{wide}" height="{high}" role="img"><title>{escape(words)}</title>'
        "<style>.cp-plan .rail{fill:none;stroke:var(--ink,#1b1b1b);stroke-width:1.6}"
        ".cp-plan text{font:11px sans-serif;fill:var(--ink,#1b1b1b)}"
        ".cp-plan .lens,.cp-plan .stock{fill:none;stroke:var(--ink,#1b1b1b)}</style>"
        f"{''.join(out)}</svg>"
    )
    return Picture(svg, wide, high, words)
