"""Fixed-width unsigned arithmetic behind one interface: concrete or symbolic.

The semantics of exported C is written once against :class:`Words`. With :class:`Numbers` it runs a
program on plain integers; with the bit-vector terms of :mod:`verifier.engines.smt.equivalence` it
covers all runs at once.
"""

from typing import Protocol, TypeVar

W = TypeVar("W")
B = TypeVar("B")


class Words(Protocol[W, B]):
    """``W`` is an unsigned word of ``bits`` bits, ``B`` a Boolean."""

    def number(self, value: int, bits: int) -> W: ...
    def resize(self, word: W, bits: int, to: int) -> W:
        """Zero-extended, or truncated to the lowest bits."""
        ...

    def add(self, one: W, other: W, bits: int) -> W: ...
    def subtract(self, one: W, other: W, bits: int) -> W: ...
    def multiply(self, one: W, other: W, bits: int) -> W: ...
    def bits_and(self, one: W, other: W, bits: int) -> W: ...
    def bits_or(self, one: W, other: W, bits: int) -> W: ...
    def bits_xor(self, one: W, other: W, bits: int) -> W: ...
    def right(self, word: W, by: int, bits: int) -> W: ...
    def equal(self, one: W, other: W) -> B: ...
    def less(self, one: W, other: W) -> B: ...
    def truth(self, value: bool) -> B: ...
    def opposite(self, one: B) -> B: ...
    def both(self, one: B, other: B) -> B: ...
    def either(self, one: B, other: B) -> B: ...
    def choose(self, when: B, one: W, other: W) -> W: ...
    def choose_truth(self, when: B, one: B, other: B) -> B: ...


class Numbers:
    """Plain integers, for concrete runs."""

    def number(self, value: int, bits: int) -> int:
        return value % (1 << bits)

    def resize(self, word: int, bits: int, to: int) -> int:
        return word % (1 << to)

    def add(self, one: int, other: int, bits: int) -> int:
        return (one + other) % (1 << bits)

    def subtract(self, one: int, other: int, bits: int) -> int:
        return (one - other) % (1 << bits)

    def multiply(self, one: int, other: int, bits: int) -> int:
        return (one * other) % (1 << bits)

    def bits_and(self, one: int, other: int, bits: int) -> int:
        return one & other

    def bits_or(self, one: int, other: int, bits: int) -> int:
        return one | other

    def bits_xor(self, one: int, other: int, bits: int) -> int:
        return one ^ other

    def right(self, word: int, by: int, bits: int) -> int:
        return word >> by

    def equal(self, one: int, other: int) -> bool:
        return one == other

    def less(self, one: int, other: int) -> bool:
        return one < other

    def truth(self, value: bool) -> bool:
        return value

    def opposite(self, one: bool) -> bool:
        return not one

    def both(self, one: bool, other: bool) -> bool:
        return one and other

    def either(self, one: bool, other: bool) -> bool:
        return one or other

    def choose(self, when: bool, one: int, other: int) -> int:
        return one if when else other

    def choose_truth(self, when: bool, one: bool, other: bool) -> bool:
        return one if when else other
