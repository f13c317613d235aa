"""The drafting template: the shapes a drawing is made of, as SVG text.

Input: places in CSS pixels. Output: fragments of SVG. Colors are custom properties with a
plain value before them, so that a page can give them others and a converter that knows no
custom properties draws them all the same. No mark means anything by its color alone.
"""

from collections.abc import Iterator, Sequence
from html import escape
from math import acos, pi, tan

from verifier.drawing.svg.metrics import HEAD
from verifier.drawing.svg.placer import Box, Point
from verifier.drawing.svg.typeface import FONT, LENS, NAME, SMALL
from verifier.drawing.view import letter
from verifier.plan.signals.colors import flashes, steady
from verifier.plan.wiring.lamps import HeadMake

CURVE = 9.0  # rail that a corner in the track takes on each side
BEND = 26.0  # the same in a bend


def _colors(*rules: tuple[str, str, str, str]) -> str:
    return "".join(
        f".cp-plan {where}{{{what}:{plain};{what}:var(--{name},{plain})}}"
        for where, what, name, plain in rules
    )


# The style sheet of a drawing.
STYLE = (
    ".cp-plan .r,.cp-plan .k,.cp-plan .f{fill:none;stroke:currentColor}"
    ".cp-plan .r{stroke-width:2;stroke-linejoin:round;stroke-linecap:round}"
    ".cp-plan .dark{stroke-dasharray:6 3;stroke-linecap:butt}"
    ".cp-plan .k{stroke-width:1.3}.cp-plan .f{stroke-width:.8}"
    ".cp-plan .s{fill:currentColor;stroke:none}"
    ".cp-plan .hit{fill:none;stroke:#000;stroke-opacity:0;stroke-width:18;pointer-events:stroke}"
    f".cp-plan text{{font-size:{NAME}px;font-family:{FONT};fill:currentColor;stroke:none}}"
    f".cp-plan .m{{font-size:{SMALL}px}}.cp-plan .i{{font-style:italic}}"
    f".cp-plan .l{{font-size:{LENS}px;font-weight:600;text-anchor:middle}}"
    ".cp-plan .e{text-anchor:end}.cp-plan .c{text-anchor:middle}"
    ".cp-plan .hatch{fill:none;stroke-width:.9}"
    ".cp-plan .spot{fill:none;stroke-width:2.6}"
    + _colors(
        ("", "color", "ink", "#1b1b1b"),
        (".dim", "color", "quiet", "#9b9b9b"),
        (".paper,.cp-plan .o", "fill", "paper", "#ffffff"),
        (".green", "fill", "lens-green", "#8fd19e"),
        (".yellow", "fill", "lens-yellow", "#f6d55c"),
        (".red", "fill", "lens-red", "#f08a7d"),
        (".lunar", "fill", "lens-lunar", "#dbe6f7"),
        (".white", "fill", "lens-white", "#ffffff"),
        (".lit", "fill", "lens-ink", "#111111"),
        (".call .s", "fill", "call", "#1b1b1b"),
        (".call text", "fill", "call-ink", "#ffffff"),
        (".spot", "stroke", "conflict", "#b3261e"),
        (".rising", "stroke", "rising", "#1f4f8f"),
        (".falling", "stroke", "falling", "#8a4b08"),
    )
    + ".cp-plan .o{stroke:currentColor;stroke-width:1.2}"
    ".cp-plan .dim .lens{fill:none}"
)


def number(value: float) -> str:
    return f"{value:.1f}".rstrip("0").rstrip(".") if value % 1 else f"{value:.0f}"


def _at(point: Point) -> str:
    return f"{number(point[0])} {number(point[1])}"


def line(points: Sequence[Point], kind: str = "r") -> str:
    """A line through points, its corners eased."""
    if len(points) < 2:
        return ""
    return f'<path class="{kind}" d="{way(points)}"/>'


def way(points: Sequence[Point]) -> str:
    """The data of a path through points, its corners eased."""
    d = [f"M{_at(points[0])}"]
    for start, corner, end, turns in _corners(points):
        if turns:
            far = distance(corner, start)
            pull = far - _round(start, corner, end, far)
            onward, back = along(corner, start, pull), along(corner, end, pull)
            d.append(f"L{_at(start)}C{_at(onward)} {_at(back)} {_at(end)}")
        else:
            d.append(f"L{_at(start)}Q{_at(corner)} {_at(end)}")
    d.append(f"L{_at(points[-1])}")
    return "".join(d)


def outline(points: Sequence[Point]) -> list[Point]:
    """Points close about an eased line: what stands clear of the straight lines between them
    stands clear of it."""
    found = [*points[:1]]
    for start, corner, end, _ in _corners(points):
        found += [start, corner, end, start, end]
    return [*found, *points[-1:]]


def _corners(points: Sequence[Point]) -> Iterator[tuple[Point, Point, Point, bool]]:
    """Each corner, between where it begins to be eased and where that ends; and whether the
    track turns back there. What lies straight is none."""
    last = len(points) - 2
    for i, (before, corner, after) in enumerate(zip(points, points[1:], points[2:], strict=False)):
        (ax, ay), (bx, by) = unit(before, corner), unit(corner, after)
        ahead = ax * bx + ay * by
        if ahead > 0.999:
            continue
        # A way between two corners is shared by them.
        rooms = (
            distance(corner, before) * (0.9 if i == 0 else 0.5),
            distance(corner, after) * (0.9 if i + 1 == last else 0.5),
        )
        most = BEND if abs(ahead) < 0.1 else CURVE
        room = min(rooms) if ahead < -0.1 else min(most, *rooms)
        yield along(corner, before, room), corner, along(corner, after, room), ahead < -0.1


def _round(before: Point, corner: Point, after: Point, far: float) -> float:
    """How far towards the corner a curve is pulled to be round, where it leaves both ways at a
    corner as far from it."""
    (ax, ay), (bx, by) = unit(corner, before), unit(corner, after)
    between = acos(max(-1.0, min(1.0, ax * bx + ay * by)))
    return 4 / 3 * tan((pi - between) / 4) * far * tan(between / 2)


def unit(a: Point, b: Point) -> Point:
    """The way from one point to another, one pixel long."""
    long = distance(a, b) or 1
    return (b[0] - a[0]) / long, (b[1] - a[1]) / long


def gap(at: Point, way: Point, kind: str) -> Iterator[str]:
    """Bars across the rail: one for a gap in one rail, two for gaps in both."""
    (x, y), (dx, dy) = at, way
    for off in (-2.2, 2.2) if kind == "||" else (0.0,):
        cx, cy = x + off * dx, y + off * dy
        yield stroke((cx - 5.5 * dy, cy + 5.5 * dx), (cx + 5.5 * dy, cy - 5.5 * dx))


def distance(a: Point, b: Point) -> float:
    return float(((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2) ** 0.5)


def along(start: Point, end: Point, by: float) -> Point:
    """The point so far from ``start`` on the way to ``end``."""
    part = by / (distance(start, end) or 1)
    return start[0] + (end[0] - start[0]) * part, start[1] + (end[1] - start[1]) * part


def curve(a: Point, control: Point, b: Point, kind: str = "r") -> str:
    return f'<path class="{kind}" d="M{_at(a)}Q{_at(control)} {_at(b)}"/>'


def stroke(a: Point, b: Point, kind: str = "k") -> str:
    return f'<path class="{kind}" d="M{_at(a)}L{_at(b)}"/>'


def shape(points: Sequence[Point], kind: str) -> str:
    return f'<path class="{kind}" d="M{"L".join(map(_at, points))}Z"/>'


def circle(at: Point, radius: float, kind: str) -> str:
    return (
        f'<circle class="{kind}" cx="{number(at[0])}" cy="{number(at[1])}" r="{number(radius)}"/>'
    )


def text(at: Point, words: str, kind: str = "") -> str:
    classes = f' class="{kind}"' if kind else ""
    return f'<text{classes} x="{number(at[0])}" y="{number(at[1])}">{escape(words)}</text>'


# ------------------------------------------------------------------ signals


def lens(at: Point, color: str | None, make: HeadMake = "lamps") -> str:
    """One head: a circle with its color and the letter of it; dark is an empty circle with
    a dash, flashing has rays. None: of which nothing is said. A target has a plate around its
    lenses; a position light has its row of lamps in place of the letter."""
    if make == "semaphore":
        return _arm(at, color)
    ring = circle(at, HEAD + 1.6, "o") if make == "target" else ""
    if color is None:
        none = "".join(circle(_off(at, way, 4), 1, "s") for way in _SPOTS.get(make, ()))
        return ring + circle(at, HEAD, "o lens") + none
    plain = steady(color)
    drawn = ring + circle(at, HEAD, f"o lens {plain}")
    x, y = at
    if plain == "dark":
        return drawn + stroke((x - 3, y), (x + 3, y))
    ends = [(_off(at, way, HEAD + 1.4), _off(at, way, HEAD + 4)) for way in _RAYS]
    rays = "".join(f"M{_at(a)}L{_at(b)}" for a, b in ends) if flashes(color) else ""
    shining = f'<path class="k" d="{rays}"/>' if rays else ""
    if make == "position-light":
        way = _ROW_AT.get(plain, (0.0, 0.0))
        row = [circle(_off(at, way, by), 1.3, "s") for by in (-3.8, 0, 3.8)]
        return drawn + shining + "".join(row)
    return drawn + shining + text((x, y + 3), letter(plain), "l lit")


def _arm(at: Point, color: str | None) -> str:
    """An arm, and how it points: level at stop, upright for clear; None: of which nothing is said,
    drawn level and hollow."""
    dx, dy = _ARM_AT.get(color or "red", (1.0, 0.0))
    side = (-1.8 * dy, 1.8 * dx)
    tip, tail = (_off(at, (dx, dy), by) for by in (HEAD - 0.8, -2.5))
    corners = [_off(tip, side, 1), _off(tip, side, -1), _off(tail, side, -1), _off(tail, side, 1)]
    ring = circle(at, HEAD, "o lens" if color is None else f"o lens {color}")
    return ring + shape(corners, "o" if color is None else "s")


_ARM_AT = {"red": (1.0, 0.0), "yellow": (0.7, -0.7), "green": (0.0, -1.0)}
# The rows of a position light, and its lenses, or those of a target, while nothing is said of it.
_ROW_AT = {"red": (1.0, 0.0), "green": (0.0, 1.0), "yellow": (0.7, -0.7), "lunar": (0.7, 0.7)}
_SPOTS: dict[HeadMake, tuple[Point, ...]] = {
    "target": ((-0.8, -0.5), (0.8, -0.5), (0.0, 0.9)),
    "position-light": tuple((side * x, side * y) for x, y in _ROW_AT.values() for side in (1, -1)),
}
# Up, down and aslant: along the mast there are other heads.
_RAYS = ((0.0, -1.0), (0.0, 1.0), (0.7, 0.7), (0.7, -0.7), (-0.7, 0.7), (-0.7, -0.7))


def _off(at: Point, way: Point, by: float) -> Point:
    return at[0] + way[0] * by, at[1] + way[1] * by


def plate(at: Point, kind: str) -> str:
    """A plate on the mast, with the letter of its kind."""
    x, y = at
    corners = [(x - 4.5, y - 5.5), (x + 4.5, y - 5.5), (x + 4.5, y + 5.5), (x - 4.5, y + 5.5)]
    return shape(corners, "o") + text((x, y + 3), kind, "l")


def mast(base: Point, heads: Sequence[Point]) -> str:
    """The foot of a signal, and its mast with the heads, the uppermost first."""
    x, y = base
    post = stroke(heads[0], heads[-1], "k") if len(heads) > 1 else ""
    return stroke((x, y - 6), (x, y + 6), "r") + stroke(base, (heads[0][0], y), "k") + post


# ------------------------------------------------------------------ on the rail


def locomotive(box: Box) -> str:
    """A locomotive standing on the rail, as on a drawing of rolling stock."""
    x, y = box.x + 3, box.bottom - 0.5
    body = [
        (x, y - 5), (x, y - 13), (x + 6, y - 13), (x + 6, y - 18.5), (x + 16, y - 18.5),
        (x + 16, y - 13), (x + 38, y - 13), (x + 40, y - 11), (x + 40, y - 5),
    ]  # fmt: skip
    window = [(x + 9, y - 16.5), (x + 13, y - 16.5), (x + 13, y - 13.5), (x + 9, y - 13.5)]
    return (
        shape(body, "o")
        + shape(window, "f")
        + stroke((x + 20, y - 10), (x + 36, y - 10), "f")
        + _trucks(x, y)
    )


def car(box: Box) -> str:
    """A car that draws no current, likewise."""
    x, y = box.x + 3, box.bottom - 0.5
    body = [(x, y - 5), (x, y - 17), (x + 2, y - 18.5), (x + 38, y - 18.5), (x + 40, y - 17),
            (x + 40, y - 5)]  # fmt: skip
    door = [(x + 15, y - 16), (x + 25, y - 16), (x + 25, y - 5), (x + 15, y - 5)]
    return shape(body, "o") + shape(door, "f") + _trucks(x, y)


def _trucks(x: float, y: float) -> str:
    return "".join(circle((x + dx, y - 2.6), 2.4, "o") for dx in (6, 12, 28, 34))


def gate(box: Box, state: str | None) -> str:
    """A lift-out section: two posts, and the leaf between them, seated or raised."""
    x, y = box.x, box.y + 14
    posts = stroke((x + 3, y - 5), (x + 3, y + 5), "r") + stroke(
        (x + box.width - 3, y - 5), (x + box.width - 3, y + 5), "r"
    )
    if state == "open":
        return posts + stroke((x + 3, y), (x + box.width - 10, y - 12), "r")
    leaf = stroke((x + 3, y), (x + box.width - 3, y), "r")
    if state == "seated":
        leaf += stroke((x + 3, y + 3), (x + box.width - 3, y + 3), "k")
    return posts + leaf


def derail(at: Point, state: str | None) -> str:
    """A block on the rail: solid where it derails, hollow and off the rail where not."""
    x, y = at
    if state == "non-derailing":
        return shape([(x - 5, y - 5), (x + 5, y - 5), (x, y - 12)], "o")
    if state == "open":
        return shape([(x - 5, y - 1), (x + 5, y - 5), (x + 2, y - 11)], "o")
    return shape([(x - 6, y + 4), (x + 6, y + 4), (x, y - 6)], "o" if state is None else "s")


def chevron(at: Point, way: int, kind: str = "k") -> str:
    """An open arrowhead that points to the right (1) or the left (-1)."""
    x, y = at
    tail = x - 6 * way
    return f'<path class="{kind}" d="M{_at((tail, y - 5))}L{_at(at)}L{_at((tail, y + 5))}"/>'


def bumper(at: Point, way: int) -> str:
    x, y = at
    return stroke((x, y - 6), (x, y + 6), "r") + stroke((x + 3 * way, y - 4), (x + 3 * way, y + 4))


def match(at: Point, letter: str) -> str:
    """Where torn track goes on at the same letter."""
    return circle(at, 7, "o") + text((at[0], at[1] + 3), letter, "l")


def broken_off(at: Point) -> str:
    """Where the drawing stops and the track does not."""
    x, y = at
    return (
        f'<path class="k" d="M{_at((x - 3, y - 8))}L{_at((x + 2, y - 2))}'
        f'L{_at((x - 2, y + 2))}L{_at((x + 3, y + 8))}"/>'
    )


def cross_out(at: Point) -> str:
    """The mark of what is broken: a wire, a lamp."""
    x, y = at
    return stroke((x - 5, y - 5), (x + 5, y + 5)) + stroke((x - 5, y + 5), (x + 5, y - 5))
