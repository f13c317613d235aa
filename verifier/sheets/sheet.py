"""What every sheet is made of: titles, notes and tables, free of any way of printing.

A maker (:mod:`verifier.sheets.catalog`) turns a plan into a :class:`Sheet`; the terminal,
CSV and the HTML report each print it in their own way (:mod:`verifier.reports.sheets`).
"""

from dataclasses import dataclass
from typing import Literal

from verifier.plan.situation import Situation

# What a drawing of the track shows beside the track itself.
Marked = Literal["gaps", "feeders", "detectors"]

Row = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """Rows below the names of the columns. Every row has as many cells as there are columns.

    ``numeric`` names the columns that hold amounts, which are set to the right; ``lamps`` those
    that hold the colors of heads, `green over red`, which a page draws beside the words."""

    title: str
    columns: Row
    rows: tuple[Row, ...]
    notes: tuple[str, ...] = ()
    numeric: frozenset[str] = frozenset()
    lamps: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class PictureOf:
    """A drawing that belongs to a sheet, named and not drawn: the track around these
    ``pieces`` (all of it, when empty), with what is ``shown`` on it."""

    shown: frozenset[Marked]
    pieces: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class LayoutState:
    """How the layout stands at some point of a sheet, to be drawn with what it then shows."""

    text: str
    situation: Situation


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet of paper or more. ``cautions`` come first and are never left out. ``poses`` are
    drawn one by one, where there is a way to draw. ``grade``: what is proved of the rules that it
    comes from. ``wiring``: the wiring diagram belongs to it."""

    name: str
    title: str
    tables: tuple[Table, ...]
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    picture: PictureOf | None = None
    poses: tuple[LayoutState, ...] = ()
    grade: str = ""
    wiring: bool = False
