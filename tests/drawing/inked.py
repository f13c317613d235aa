"""An SVG drawing read back, by nothing but its own text: elements, rails, lettering."""

import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from verifier.drawing.svg.typeface import LENS, NAME, SMALL, text_width

SVG = "{http://www.w3.org/2000/svg}"
Point = tuple[float, float]
Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Group:
    kind: str
    name: str
    id: str
    node: ET.Element


class Inked:
    def __init__(self, svg: str):
        self.root = ET.fromstring(svg)
        x, y, wide, high = map(float, self.root.attrib["viewBox"].split())
        self.frame: Box = (x, y, x + wide, y + high)
        self.groups = [
            Group(g.attrib["data-kind"], g.attrib["data-name"], g.attrib["id"], g)
            for g in self.root.iter(f"{SVG}g")
            if "data-kind" in g.attrib
        ]

    def named(self, kind: str) -> list[str]:
        return [g.name for g in self.groups if g.kind == kind]

    def rails(self) -> list[list[Point]]:
        """Every rail as a line through points, curves taken in short steps."""
        gates = {p for g in self.groups if g.kind == "gate" for p in g.node.iter()}
        paths = [
            p
            for p in self.root.iter(f"{SVG}path")
            if "r" in p.get("class", "").split() and p not in gates
        ]
        return [line for p in paths for line in lines_of(p.attrib["d"])]

    def texts(self) -> Iterator[tuple[str, Box]]:
        """Every text but the letters on lenses and in numbered circles, with its box."""
        for text in self.root.iter(f"{SVG}text"):
            kinds = text.get("class", "").split()
            if "l" not in kinds and text.text:
                yield text.text, _box(text, kinds)


def lines_of(d: str) -> list[list[Point]]:
    lines: list[list[Point]] = []
    for command, numbers in re.findall(r"([MLQC])([^MLQC]*)", d):
        values = [float(n) for n in re.findall(r"-?[\d.]+", numbers)]
        points = list(zip(values[::2], values[1::2], strict=True))
        if command == "M":
            lines.append(points)
        elif command == "L":
            lines[-1] += points
        else:
            lines[-1] += _curve([lines[-1][-1], *points])
    return lines


def _curve(points: list[Point]) -> list[Point]:
    def at(t: float) -> Point:
        left = points
        while len(left) > 1:
            left = [
                ((1 - t) * a[0] + t * b[0], (1 - t) * a[1] + t * b[1]) for a, b in pairwise(left)
            ]
        return left[0]

    return [at(n / 8) for n in range(1, 9)]


def _box(text: ET.Element, kinds: list[str]) -> Box:
    size = SMALL if "m" in kinds else LENS if "l" in kinds else NAME
    x, y = float(text.attrib["x"]), float(text.attrib["y"])
    width = text_width(text.text or "", size)
    left = x - width if "e" in kinds else x - width / 2 if "c" in kinds else x
    # From the top of a capital to the foot of a line without what hangs below it.
    return left, y - 0.73 * size, left + width, y


def overlap(a: Box, b: Box) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def crossed(box: Box, a: Point, b: Point) -> bool:
    """Whether the line from ``a`` to ``b`` comes into a box, tried at points along it."""
    steps = max(int(max(abs(a[0] - b[0]), abs(a[1] - b[1]))), 1)
    return any(
        box[0] < a[0] + (b[0] - a[0]) * n / steps < box[2]
        and box[1] < a[1] + (b[1] - a[1]) * n / steps < box[3]
        for n in range(steps + 1)
    )


def crossings(lines: list[list[Point]]) -> list[Point]:
    """Where lines cross at a place that is an end of neither."""
    segments = [(a, b) for line in lines for a, b in pairwise(line) if a != b]
    found = []
    for i, (a, b) in enumerate(segments):
        for c, d in segments[i + 1 :]:
            if not (min(a[0], b[0]) <= max(c[0], d[0]) and min(c[0], d[0]) <= max(a[0], b[0])):
                continue
            one, other = _side(c, d, a) * _side(c, d, b), _side(a, b, c) * _side(a, b, d)
            if one < -1e-6 and other < -1e-6:
                t = _side(c, d, a) / (_side(c, d, a) - _side(c, d, b))
                found.append((a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t))
    return found


def _side(a: Point, b: Point, p: Point) -> float:
    return (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])
