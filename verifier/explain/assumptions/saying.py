"""Sentences about several things at once."""

from collections.abc import Iterable, Iterator
from fractions import Fraction

from verifier.language.listing import listing
from verifier.plan.devices import Device, devices
from verifier.plan.model import Plan

# Names listed in one sentence before the rest is counted.
NAMED = 5


def about(names: Iterable[str], sentence: str, draw: tuple[str, str] = ("", "")) -> Iterator[str]:
    """A sentence about some things; none where there are none. ``draw``: what one does, and what
    several do."""
    listed = list(names)
    if listed:
        yield sentence.format(named(listed), draw=draw[len(listed) > 1])


def in_seconds(time: Fraction) -> str:
    return f"{float(time):g} s"


def named(names: Iterable[str]) -> str:
    """A handful of names; of more, how many there are."""
    listed = list(names)
    if len(listed) > NAMED + 1:
        listed = [*listed[:NAMED], f"{len(listed) - NAMED} more"]
    return listing(listed)


def moving(plan: Plan) -> list[Device]:
    """What moves, apart from derails that are pipe-connected."""
    return [device for device in devices(plan).values() if device.pipe is None]
