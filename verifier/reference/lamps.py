"""Lamps of a head as they light: which a color takes, and what it is taken for when some fail."""

from collections.abc import Collection

from verifier.plan.model import Head

_LEDS = {"red", "green", "blue"}


def lamps_taken(head: Head, color: str) -> set[str]:
    """The lamps that a steady color takes."""
    match head.make, color:
        case (("two-color" | "three-color"), "yellow"):
            return {"red", "green"}
        case "three-color", ("lunar" | "white"):
            return set(_LEDS)
        case "position-light", _:
            return {color, "center"}
        case _:
            return {color}


def taken_for(head: Head, color: str, burning: Collection[str]) -> str:
    """What a head that is told to show a steady color is taken for, by its lamps that light."""
    if color in ("dark", *burning) or head.make in ("lamps", "target"):
        return color
    if head.make == "position-light":
        return "dark"  # one lamp alone is no row
    mixed = {
        "red": "red", "green": "green", "blue": color, "green red": "yellow",
        "blue green": "green", "blue red": "red", "blue green red": color,
    }  # fmt: skip
    return mixed.get(" ".join(sorted(burning)), color)
