"""What a hand may do on the graph paper, one stroke at a time, as data."""

from dataclasses import dataclass
from typing import Literal

from verifier.plan.model import Port
from verifier.sketching.geometry import ORIGIN, Spot

AddedKind = Literal["block", "turnout", "crossing", "slip", "edge", "bumper"]


@dataclass(frozen=True, slots=True)
class Add:
    """Place a piece at a spot, or join it to the open end ``onto``; plain track reaches ``to`` a
    second spot. A piece placed on an open end is joined to it, one placed on plain track or a gap
    parts it. ``by``: the end by which points are joined."""

    kind: AddedKind
    at: Spot = ORIGIN
    to: Spot | None = None
    onto: Port | None = None
    by: Literal["points", "normal", "reverse"] = "points"


@dataclass(frozen=True, slots=True)
class Join:
    """Join two open ends, with a gap unless the plan ends there."""

    a: Port
    b: Port


@dataclass(frozen=True, slots=True)
class Part:
    """Take apart what is joined at an end."""

    end: Port


@dataclass(frozen=True, slots=True)
class SetGap:
    """Cut the rail where an end is joined, in one rail or both, or join it through."""

    end: Port
    kind: Literal["=", "|", "||"]


@dataclass(frozen=True, slots=True)
class Cut:
    """Divide plain track in two blocks, by a gap at a spot."""

    piece: str
    at: Spot


@dataclass(frozen=True, slots=True)
class Move:
    """Move pieces; what touches them comes along. Open ends that then meet are joined."""

    pieces: tuple[str, ...]
    by: Spot


@dataclass(frozen=True, slots=True)
class Stretch:
    """Draw one end of plain track to another spot; on an open end the two are joined."""

    end: Port
    to: Spot


@dataclass(frozen=True, slots=True)
class Turn:
    """Turn pieces round, left for right. One turnout alone then has its points where its normal
    leg was, joined to what was there."""

    pieces: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Flip:
    """Let the other track of points and crossings leave on the other side."""

    pieces: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Copy:
    """The same pieces, joined in the same way, once more elsewhere: track alone."""

    pieces: tuple[str, ...]
    by: Spot


@dataclass(frozen=True, slots=True)
class Rename:
    old: str
    new: str


@dataclass(frozen=True, slots=True)
class Remove:
    pieces: tuple[str, ...] = ()
    signals: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SetSignal:
    """Set a signal at the gap before the end that trains enter past it."""

    enters: Port


Stroke = (
    Add | Join | Part | SetGap | Cut | Move | Stretch | Turn | Flip | Copy | Rename | Remove
    | SetSignal
)  # fmt: skip
