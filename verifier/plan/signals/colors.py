"""The colors a head may show, steady and flashing.

A color is the text that a file writes, `yellow` or `flashing yellow`. What is steady about a
flashing one is looked up here.
"""

COLORS = ("green", "yellow", "lunar", "white", "red", "dark")


def flashing(color: str) -> str:
    """A steady color, flashing."""
    return f"flashing {color}"


_STEADY = {flashing(color): color for color in COLORS}


def steady(color: str) -> str:
    """The color of the lamp that shows a color: that of a flashing one, without the flashing."""
    return _STEADY.get(color, color)


def flashes(color: str) -> bool:
    """Whether a color is a flashing one."""
    return color in _STEADY


ALL_COLORS = (*COLORS, *_STEADY)
