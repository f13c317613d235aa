"""Addresses of signals on a packet bus, and the numbers that packets carry for what is shown.

The packet is the signal (extended accessory) packet of NMRA S-9.2.1: an address of eleven bits and
a number of five (quoted in three public files [V]; that 0 is absolute stop [V]; that five bits hold
0 to 31 [C]; the error byte is the exclusive-or of the others [V] in one file). How the address that
people count from 1 lies in those bits is from memory.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from verifier.language.source import Span

# Addresses as people count them: the first is 1. The last that the bits have room for stands for
# all decoders (broadcast [V]).
FIRST_ADDRESS, LAST_ADDRESS = 1, 2043
LAST_NUMBER = 31
ABSOLUTE_STOP = 0
# The address that people call 1 is 4 in the bits (from memory).
_OFFSET = 3


@dataclass(frozen=True, slots=True)
class Address:
    """``of`` is a signal, whose packets carry the number of its aspect, or one of its heads, whose
    packets carry the number of its color; ``head`` is then its place, the top one 0."""

    number: int
    of: str
    signal: str
    head: int | None
    span: Span


@dataclass(frozen=True, slots=True)
class Packets:
    """``aspects`` and ``colors``: the number of each, and where the file says so."""

    addresses: tuple[Address, ...] = ()
    aspects: Mapping[str, int] = field(default_factory=dict)
    colors: Mapping[str, int] = field(default_factory=dict)
    said: Mapping[str, Span] = field(default_factory=dict)


NO_PACKETS = Packets()


def packet(address: int, number: int) -> tuple[int, int, int, int]:
    """The bytes of the packet, error byte last: ``10AAAAAA 0aaa0AA1 000XXXXX EEEEEEEE``, where
    ``aaa`` are the three highest bits of the address, each turned round."""
    bits = address + _OFFSET
    first = 0b1000_0000 | bits >> 2 & 0b11_1111
    second = (~bits >> 8 & 0b111) << 4 | (bits & 0b11) << 1 | 1
    return first, second, number, first ^ second ^ number
