"""The lettering of SVG drawings: sizes of type, and how wide a text may come out.

Input: a text and a size. Output: a width in CSS pixels that common system fonts do not
exceed. Places are worked out with these widths, so that labels which do not overlap here do
not overlap on any screen or sheet of paper either.
"""

# Plain type that any system has; nothing is loaded.
FONT = "'Gill Sans','Gill Sans MT','Trebuchet MS','Segoe UI','Helvetica Neue',Arial,sans-serif"

NAME, SMALL, LENS = 12.0, 10.0, 8.5

# Advance widths in thousandths of the size, of DejaVu Sans: the widest of the faces that a
# browser or a converter may fall back on.
_WIDTHS = {
    295: "'ijlIJ", 318: " ,.", 337: "/\\:;|", 352: "f", 361: "-", 390: "()[]", 392: "t", 401: "!",
    411: "r", 460: '"', 500: "*_`", 521: "s", 525: "z", 531: "?", 550: "c", 557: "L", 575: "F",
    579: "k", 592: "vxy", 611: "T", 615: "aoeY", 636: "bdghnpqu0123456789E{}$S", 656: "K",
    686: "ABXVPZ", 698: "CR", 732: "U", 752: "HN", 775: "DG", 787: "OQ", 818: "w",
    838: "#+<=>~^&", 863: "M", 950: "%", 974: "m", 989: "W", 1000: "@",
}  # fmt: skip
_WIDTH_OF = {c: width for width, characters in _WIDTHS.items() for c in characters}
_UNKNOWN = 1000


def text_width(text: str, size: float) -> float:
    """A width that ``text`` at this size does not exceed."""
    return sum(_WIDTH_OF.get(c, _UNKNOWN) for c in text) * size / 1000
