"""The marks a drawing is made of, in fine characters and in plain ASCII.

A pencil sketch: thin rail, a heavier line where stock stands on the block, slanted legs,
short bars for gaps, words beside things. No mark means anything by its color.
"""

from collections.abc import Collection
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Charset:
    rail: str
    heavy: str  # rail of a block with stock on it
    dark: str  # rail of a block with no detector
    dark_heavy: str
    gap: str
    double_gap: str
    falling: str  # a leg running down to the right
    rising: str
    cross: str
    frogs: tuple[str, str]  # points lined straight, the leg below, above
    open_points: str
    stock: str
    west: str  # a signal governing moves to the left, to the right
    east: str
    out_west: str  # the plan stops here
    out_east: str
    bumper_west: str
    bumper_east: str
    goes_on: str
    round: str  # the track comes round to another place in the drawing
    leader: str
    upright: str
    curves: tuple[str, str, str, str]  # opening to right+down, left+down, right+up, left+up
    derailing: str
    not_derailing: str
    derail_open: str
    derail: str  # a derail of which nothing is said
    gate: str  # likewise a gate
    seated: str
    unseated: str
    short: str  # stands for letters left out of a long name


FINE = Charset(
    rail="─", heavy="━", dark="┄", dark_heavy="┅", gap="|", double_gap="‖",
    falling="╲", rising="╱", cross="╳", frogs=("┬", "┴"), open_points="◦", stock="▐██▌",
    west="◂", east="▸", out_west="◄", out_east="►", bumper_west="╟", bumper_east="╢",
    goes_on="…", round="↻", leader="┊", upright="│", curves=("╭", "╮", "╰", "╯"),
    derailing="▼", not_derailing="▽", derail_open="◊", derail="D",
    gate="┤──├", seated="┤══├", unseated="┤  ├", short="…",
)  # fmt: skip

PLAIN = Charset(
    rail="-", heavy="=", dark="~", dark_heavy="%", gap="|", double_gap="||",
    falling="\\", rising="/", cross="X", frogs=("+", "+"), open_points="o", stock="[##]",
    west="<", east=">", out_west="<", out_east=">", bumper_west="[", bumper_east="]",
    goes_on="...", round="@", leader=":", upright="|", curves=("(", ")", "(", ")"),
    derailing="V", not_derailing="v", derail_open="?", derail="D",
    gate="{--}", seated="{==}", unseated="{  }", short="*",
)  # fmt: skip


def ink(ascii_only: bool) -> Charset:
    return PLAIN if ascii_only else FINE


def _meanings(i: Charset) -> dict[str, str]:
    """What each kind of mark means, in the order of a legend."""
    return {
        "stock": f"{i.stock} stock",
        "signal": f"{i.west} {i.east} signal",
        "plate": "[N] [L] [M] number, letter, marker plate",
        "flashing": "*Y flashing yellow",
        "gap": f"{i.gap} gap",
        "double gap": f"{i.double_gap} gap in both rails",
        "broken": "broken rail: not lined",
        "open": f"{i.open_points} points open",
        "crossing": f"{i.cross} crossing",
        "dark": f"{i.dark * 3} no detector",
        "derailing": f"{i.derailing} derailing",
        "non-derailing": f"{i.not_derailing} not derailing",
        "open derail": f"{i.derail_open} derail between",
        "derail": f"{i.derail} derail",
        "gate": f"{i.gate} gate",
        "seated": f"{i.seated} gate seated",
        "unseated": f"{i.unseated} gate open",
        "edge": f"{i.out_west} {i.out_east} plan stops",
        "bumper": f"{i.bumper_west} {i.bumper_east} bumper",
        "cut": f"{i.goes_on} track goes on",
        "torn": f"{i.round} joined to",
    }


KINDS = tuple(_meanings(FINE))


def legend(ascii_only: bool = False, used: Collection[str] | None = None) -> str:
    """One line that explains the marks: the kinds ``used``, or all of :data:`KINDS`."""
    meanings = _meanings(ink(ascii_only))
    return "  ".join(text for kind, text in meanings.items() if used is None or kind in used)
