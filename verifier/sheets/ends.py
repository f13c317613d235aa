"""Where a wire ends: at a port of a device, in the words of the wiring list.

In: names of the plan. Out: ends. What is numbered, drawn and printed on labels all comes from
these; nobody reads the words.
"""

from dataclasses import dataclass
from typing import Literal

DeviceKind = Literal[
    "supply", "fuse", "bus", "sub-bus", "block", "detector", "turnout", "lever", "button",
    "throw switch", "lock", "pulse unit", "frog contact", "driver", "head", "indicator", "bell",
    "relay", "not given",
]  # fmt: skip
# What is called by its kind too, so that no two devices of a layout are called alike.
_BY_KIND: frozenset[DeviceKind] = frozenset(
    (
        "fuse",
        "bus",
        "sub-bus",
        "lever",
        "button",
        "indicator",
        "bell",
        "throw switch",
        "lock",
        "pulse unit",
        "frog contact",
    )
)


@dataclass(frozen=True, slots=True)
class Device:
    """Something that wires end at. ``name`` is that of the plan: the supply of a fuse, the
    district of a bus, the turnout of a lock; of rails, the block."""

    kind: DeviceKind
    name: str

    @property
    def title(self) -> str:
        """What it is called on sheets, drawings and labels; no two devices are called alike."""
        return f"{self.kind} {self.name}" if self.kind in _BY_KIND else self.name


@dataclass(frozen=True, slots=True)
class End:
    """One end of a wire. Wires at the same ``port`` of a device are joined there; ``shown`` is
    what stands beside the port. ``text``: the whole of it, as in the wiring list."""

    device: Device
    port: str
    text: str
    shown: str

    def __str__(self) -> str:
        return self.text


def end(
    kind: DeviceKind, name: str, port: str, text: str | None = None, shown: str | None = None
) -> End:
    """An end at a port; without ``text``, device and port in words are the text."""
    device = Device(kind, name)
    return End(device, port, text or f"{device.title} {port}", port if shown is None else shown)


def open_end(text: str) -> End:
    """An end of which the file does not say where it is."""
    return End(Device("not given", text), "", text, text)
