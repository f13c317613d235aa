"""Labels laid out to print and cut: an HTML document that fits letter and A4.

In: the harness of a layout. Out: the text of the document; nothing in it is loaded from anywhere.
"""

from collections.abc import Iterator
from html import escape

from verifier.sheets.labels import (
    StripLabel,
    WireLabel,
    cable_label,
    strip_labels,
    wire_labels,
)
from verifier.sheets.terminals import Harness

# A wire label is folded around the wire and glued to itself: both halves say the same.
_STYLE = """
body{font:8.5pt sans-serif;color:#111;background:#fff;margin:8mm}
h1{font-size:13pt}h2{font-size:10.5pt;break-after:avoid}
.wires{display:grid;grid-template-columns:repeat(3,58mm);gap:0}
.wire{display:grid;grid-template-columns:29mm 29mm;min-height:10mm;border:.2mm dashed #555;
 break-inside:avoid;margin:-.1mm}
.half{overflow-wrap:anywhere;padding:.8mm 1.2mm;line-height:1.15}
.half+.half{border-left:.2mm dotted #555}.half b{font-size:11pt}.half span{font-size:7pt}
.strip{display:flex;flex-wrap:wrap;break-inside:avoid;margin-bottom:3mm;width:182mm}
.strip>*{border:.2mm dashed #555;padding:.8mm 1.2mm;margin:-.1mm;min-width:7mm;text-align:center}
.strip b{display:block}.cable{border:.2mm dashed #555;padding:1mm 2mm;margin:-.1mm;width:88mm}
@page{margin:10mm}@media print{body{margin:0}}
"""


def labels_document(wired: Harness, title: str) -> str:
    """The whole file. Wires first, both labels of each side by side."""
    head = f"<title>{escape(title)}: labels</title><style>{_STYLE}</style>"
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8">{head}</head><body>\n'
        f"<h1>{escape(title)}: labels</h1>\n"
        "<p>Cut along the dashes. Fold the label of a wire at the dots, around the wire.</p>\n"
        f"{''.join(_parts(wired))}</body></html>\n"
    )


def _parts(wired: Harness) -> Iterator[str]:
    yield '<h2>Wires</h2>\n<div class="wires">\n'
    for pair in wire_labels(wired):
        yield from (_wire(label) for label in pair)
    yield "</div>\n<h2>Terminal blocks</h2>\n"
    yield from (_strip(strip) for strip in strip_labels(wired))
    if wired.cables:
        yield "<h2>Cables, one label for each end</h2>\n"
    for cable in wired.cables:
        yield 2 * f'<div class="cable">{escape(cable_label(cable))}</div>\n'


def _wire(label: WireLabel) -> str:
    half = (
        f'<div class="half"><b>{label.number}</b> {escape(label.here)}<br>'
        f"<span>{escape(label.there)}</span></div>"
    )
    return f'<div class="wire" data-wire="{label.number}">{half}{half}</div>\n'


def _strip(strip: StripLabel) -> str:
    cells = "".join(
        f"<div><b>{number}</b>{escape(shown)}</div>" for number, shown in strip.terminals
    )
    return f'<div class="strip"><div><b>{escape(strip.title)}</b></div>{cells}</div>\n'
