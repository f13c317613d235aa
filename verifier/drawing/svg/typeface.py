"""The lettering of SVG drawings: sizes of type, and how wide a text may come out.

Input: a text and a size. Output: a width in CSS pixels that common system fonts do not
exceed. Places are worked out with these widths, so that labels which do not overlap here do
not overlap on any screen or sheet of paper either.
"""

# Whatever face the system has for it; nothing is loaded, and no maker's face is named.
FONT = "sans-serif"

NAME, SMALL, LENS = 12.0, 10.0, 8.5

# Advance widths in thousandths of the size: for each character the widest of the faces that
# systems commonly have for `sans-serif` (DejaVu Sans, Liberation Sans, Noto Sans, FreeSans).
_WIDTHS = {
    295: "ijl'", 318: ",. ", 337: ":;", 339: "I", 352: "f", 361: "-", 372: "/\\", 390: "()[]",
    392: "t", 401: "!", 413: "r", 460: '"', 500: "`", 521: "s", 525: "z", 528: "J", 550: "c",
    551: "*|", 557: "?_", 563: "L", 579: "k", 592: "vxy", 611: "F", 615: "aeo", 632: "T",
    636: "bdghnpqu0123456789${}", 667: "ES", 674: "K", 678: "Y", 686: "ABPVXZ", 723: "CR",
    732: "U", 752: "H", 760: "N", 775: "D", 778: "G", 787: "OQ", 818: "w", 838: "#&+<=>^~",
    907: "M", 950: "%", 974: "m", 989: "W", 1016: "@",
}  # fmt: skip
_WIDTH_OF = {c: width for width, characters in _WIDTHS.items() for c in characters}
_UNKNOWN = 1000


def text_width(text: str, size: float) -> float:
    """A width that ``text`` at this size does not exceed."""
    return sum(_WIDTH_OF.get(c, _UNKNOWN) for c in text) * size / 1000
