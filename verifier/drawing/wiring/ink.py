"""A placed page of the wiring diagram as SVG.

In: a page with places. Out: the text of an SVG element. Wires are drawn in their color inside a
black outline, and each says its color in words: nothing is meant by color alone, and a copy in
black and white is as good. Every wire and pin has its number in `data-` attributes, too.
"""

from collections.abc import Iterator, Sequence
from html import escape

from verifier.drawing.svg.placer import Box, Point
from verifier.drawing.svg.template import number
from verifier.drawing.svg.typeface import FONT, text_width
from verifier.drawing.wiring.placing import (
    BOLD,
    MARGIN,
    PIN,
    SMALL,
    TITLE,
    Label,
    PlacedBox,
    PlacedPage,
    PlacedWire,
)
from verifier.sheets.ends import DeviceKind

CAUTION = (
    "Caution: low voltage only. The mains side of every supply is work for a qualified person; buy "
    "supplies ready made. Switch off and unplug before you touch a wire. The fuse stands at the "
    "supply. Makers' ratings and the local code come before this page. For model railroads only."
)
LEGEND = (
    "On each wire: number, color, size. B1:3: terminal 3 of B1. Oval: the wire passes through the "
    "detector. A bus is drawn in parts, each beside what it feeds."
)
STYLE = (
    f".cp-wires text{{font-family:{FONT};font-size:{SMALL}px;fill:#111}}"
    f".cp-wires .b{{font-size:{BOLD}px;font-weight:700}}"
    f".cp-wires .t{{font-size:{TITLE}px;font-weight:700}}"
    ".cp-wires .paper{fill:#fff}.cp-wires .box{fill:#fff;stroke:#111;stroke-width:1.2}"
    ".cp-wires .rail{stroke-width:2.4}"
    ".cp-wires .o,.cp-wires .i{fill:none;stroke-linejoin:round}"
    ".cp-wires .o{stroke:#111;stroke-width:2.8}.cp-wires .i{stroke-width:1.3}"
    ".cp-wires .thick .o{stroke-width:4.4}.cp-wires .thick .i{stroke-width:2.6}"
    ".cp-wires .pin{fill:#111}.cp-wires .halo{fill:#fff}"
    ".cp-wires .ring{fill:none;stroke:#111;stroke-width:1.6}"
    ".cp-wires .frame{fill:none;stroke:#111;stroke-width:.8}"
)
# How wire of a color is drawn. What is not in it is drawn gray, and still says its color.
_INK = {
    "red": "#d22", "black": "#111", "white": "#fff", "green": "#2a4", "yellow": "#fd3",
    "blue": "#36d", "orange": "#f80", "brown": "#853", "violet": "#93c", "gray": "#999",
}  # fmt: skip
_THICK = 16  # AWG, and less
_RAIL: frozenset[DeviceKind] = frozenset(("block", "bus", "sub-bus"))


def inked(page: PlacedPage, title: str, count: tuple[int, int]) -> tuple[str, str]:
    """The start tag of the page's SVG element with its title, and the rest of it, which needs
    :data:`STYLE`. ``count``: which page it is, of how many."""
    wide, high = round(page.width), round(page.height)
    foot = [*_lines(LEGEND, wide), *_lines(CAUTION, wide)]
    heading = f"{title}: wiring, {page.content.title}"
    body = [
        f'<rect class="paper" width="{wide}" height="{high}"/>',
        f'<rect class="frame" x="6" y="6" width="{wide - 12}" height="{high - 12}"/>',
        _text((MARGIN, 26), heading, "t"),
        _text((MARGIN, 38), f"Page {count[0]} of {count[1]}"),
        *(_wire(wire) for wire in page.wires if wire.far is None and not _over_a_box(wire)),
        *(_box(box) for box in page.boxes),
        *(_wire(wire) for wire in page.wires if wire.far is None and _over_a_box(wire)),
        *(_wire(wire) for wire in page.wires if wire.far is not None),
        *(_rings(box) for box in page.boxes),
        *(_pins(box) for box in page.boxes),
        *(_text((MARGIN, high - 6 - (len(foot) - n) * 11), line) for n, line in enumerate(foot)),
    ]
    opening = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="cp-wires" viewBox="0 0 {wide} {high}" '
        f'width="{wide}" height="{high}" role="img"><title>{escape(heading)}</title>'
    )
    return opening, f"\n{''.join(body)}</svg>\n"


def _lines(words: str, wide: float) -> list[str]:
    """Words in lines that are no wider than the page."""
    found = [""]
    for word in words.split():
        longer = f"{found[-1]} {word}".strip()
        if text_width(longer, SMALL) > wide - 2 * MARGIN:
            found.append(word)
        else:
            found[-1] = longer
    return found


def _over_a_box(wire: PlacedWire) -> bool:
    """Whether it passes through a detector."""
    return bool(wire.wire.conductor.through)


def _box(box: PlacedBox) -> str:
    device = box.device_box.device
    kind = "box rail" if device.kind in _RAIL else "box"
    body = [_rect(box.frame, kind), _label(box.title, "b")]
    body += [_label(text) for text in box.texts]
    return (
        f'<g data-device="{escape(device.title)}"><title>{escape(box.title.words)}</title>'
        f"{''.join(body)}</g>\n"
    )


def _pins(box: PlacedBox) -> str:
    return "".join(
        f'<circle class="pin" cx="{number(pin.at[0])}" cy="{number(pin.at[1])}" r="{PIN}" '
        f'data-terminal="{escape(str(pin.pin.terminal))}"/>'
        for pin in box.pins
    )


def _rings(box: PlacedBox) -> str:
    return "".join(
        f'<ellipse class="ring" cx="{number(x)}" cy="{number(y)}" rx="4" ry="5.5"/>'
        + _halo(label)
        + _label(label)
        for (x, y), label in box.rings
    )


def _wire(wire: PlacedWire) -> str:
    its = wire.wire
    run = its.conductor.run
    thick = " thick" if run is not None and run.gauge <= _THICK else ""
    data = f' data-wire="{its.number}"' + (f' data-far="{escape(wire.far)}"' if wire.far else "")
    strokes = "".join(_strokes(wire.points, its.color))
    words = "".join(_halo(label) + _label(label) for label in wire.labels)
    name = escape(f"{its.number}: {its.conductor.name}")
    return f'<g class="wire{thick}"{data}><title>{name}</title>{strokes}{words}</g>\n'


def _strokes(points: Sequence[Point], color: str) -> Iterator[str]:
    d = "M" + "L".join(f"{number(x)} {number(y)}" for x, y in points)
    plain, _, stripe = color.partition("/")
    yield f'<path class="o" d="{d}"/>'
    yield f'<path class="i" d="{d}" stroke="{_INK.get(plain, "#bbb")}"/>'
    if stripe:
        dashes = f'stroke="{_INK.get(stripe, "#bbb")}" stroke-dasharray="5 5"'
        yield f'<path class="i" d="{d}" {dashes}/>'


def _halo(label: Label) -> str:
    return _rect(Box(label.box.x - 2, label.box.y, label.box.width + 4, label.box.height), "halo")


def _label(label: Label, kind: str = "") -> str:
    return _text((label.box.x, label.box.bottom - 3), label.words, kind)


def _rect(box: Box, kind: str) -> str:
    x, y, wide, high = (number(v) for v in (box.x, box.y, box.width, box.height))
    return f'<rect class="{kind}" x="{x}" y="{y}" width="{wide}" height="{high}"/>'


def _text(at: Point, words: str, kind: str = "") -> str:
    classes = f' class="{kind}"' if kind else ""
    return f'<text{classes} x="{number(at[0])}" y="{number(at[1])}">{escape(words)}</text>'
