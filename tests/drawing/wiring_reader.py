"""A reader of wiring diagrams, from the SVG alone: which wire ends at which terminal, through
which detectors, and with what words; all by where things are drawn."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from xml.etree import ElementTree

from verifier.drawing.svg.placer import Box, Point
from verifier.drawing.svg.typeface import text_width

_SVG = "{http://www.w3.org/2000/svg}"
_SIZES = {"t": 15.0 * 1.12, "b": 10.0 * 1.12, None: 9.0}


@dataclass
class DrawnWire:
    """``ends``: the terminals at which its lines end; ``far``: what its pieces say of the other
    end; ``through``: titles of the detectors it passes through."""

    ends: list[str] = field(default_factory=list)
    words: list[str] = field(default_factory=list)
    far: dict[str, str] = field(default_factory=dict)
    through: list[str] = field(default_factory=list)


@dataclass
class Page:
    root: ElementTree.Element

    def all(self, tag: str, kind: str | None = None) -> Iterator[ElementTree.Element]:
        for one in self.root.iter(_SVG + tag):
            if kind is None or kind in (one.get("class") or "").split():
                yield one

    def pins(self) -> dict[Point, str]:
        return {
            (float(c.get("cx", "")), float(c.get("cy", ""))): c.get("data-terminal", "")
            for c in self.all("circle", "pin")
        }

    def boxes(self) -> Iterator[tuple[str, Box]]:
        for group in self.root.iter(_SVG + "g"):
            if group.get("data-device"):
                rect = next(group.iter(_SVG + "rect"))
                title = group.findtext(_SVG + "title") or ""
                yield title, Box(*(float(rect.get(k, "")) for k in ("x", "y", "width", "height")))

    def wires(self) -> Iterator[tuple[int, list[Point], list[str], str | None]]:
        for group in self.all("g", "wire"):
            path = next(one for one in group.iter(_SVG + "path") if one.get("class") == "o")
            words = ["".join(text.itertext()) for text in group.iter(_SVG + "text")]
            number = int(re.match(r"\d+", words[0])[0])  # type: ignore[index]
            yield number, points(path.get("d", "")), words, group.get("data-far")

    def texts(self) -> Iterator[tuple[str, Box]]:
        for text in self.all("text"):
            words, size = "".join(text.itertext()), _SIZES[text.get("class")]
            x, y = float(text.get("x", "")), float(text.get("y", ""))
            yield words, Box(x, y - size * 0.75, text_width(words, size), size * 0.95)


def points(d: str) -> list[Point]:
    pairs = (pair.split() for pair in re.split("[ML]", d) if pair)
    return [(float(x), float(y)) for x, y in pairs]


def read(svgs: list[str]) -> dict[int, DrawnWire]:
    """Every wire of all pages."""
    found: dict[int, DrawnWire] = {}
    for svg in svgs:
        page = Page(ElementTree.fromstring(svg))
        pins, boxes = page.pins(), list(page.boxes())
        rings = [(float(e.get("cx", "")), float(e.get("cy", ""))) for e in page.all("ellipse")]
        for number, line, words, far in page.wires():
            wire = found.setdefault(number, DrawnWire())
            here = [pins[end] for end in (line[0], line[-1]) if end in pins]
            wire.ends += here
            wire.words += words
            if far is not None:
                assert len(here) == 1 and words[0].endswith(f" to {far}")
                wire.far[here[0]] = far
            else:
                assert len(here) == 2, f"wire {number} ends nowhere"
            for (ax, ay), (bx, by) in pairwise(line):
                for x, y in rings:
                    if ay == by == y and min(ax, bx) < x < max(ax, bx):
                        wire.through += [
                            title for title, box in boxes
                            if box.x < x < box.right and box.y < y < box.bottom
                        ]  # fmt: skip
    return found
