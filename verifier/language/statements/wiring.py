"""Statements about wiring, and about trains as loads on it."""

from typing import ClassVar, Literal

from verifier.language.statements.kind import statement
from verifier.language.statements.nodes import (
    Clause,
    DeclaredName,
    Length,
    Name,
    Run,
    Statement,
    Word,
)

_SUPPLY = ("track_power", "kind_of_current", "rating", "fuse", "fed_by")


@statement(
    "SUPPLY",
    "A supply",
    "supply Bus-1 12 V 5 A fuse 2 A` or `supply Track-A track power 15 V",
    table="supply",
    inline=_SUPPLY,
)
class Supply(Statement):
    booster: ClassVar[bool] = False
    reverses: ClassVar[bool] = False

    name: DeclaredName
    clauses: tuple[Clause, ...]


@statement(
    "BOOSTER",
    "A booster",
    "booster Boost-1 fed by Track-A 15 V 5 A",
    table="supply",
    inline=_SUPPLY,
)
class Booster(Supply):
    """A track-power supply that is fed by another."""

    booster: ClassVar[bool] = True


@statement(
    "REVERSER",
    "A reverser",
    "reverser Rev-1 fed by Track-A",
    table="supply",
    inline=_SUPPLY,
)
class Reverser(Booster):
    """Feeds a section of track, and exchanges its two rails as trains need it."""

    reverses: ClassVar[bool] = True


@statement(
    "DISTRICT",
    "A district",
    "district North fed by Track-A over 30 ft of 16 AWG",
    inline=["fuse"],
)
class District(Statement):
    """``blocks``: those that say nothing of a district themselves."""

    name: DeclaredName
    blocks: tuple[Name, ...]
    supply: Name
    run: Run | None
    fuse: Clause | None


@statement("SUB_BUS", "A sub-bus", "sub-bus SB-Main feeds m1, m2, m3", inline=["fuse"])
class SubBus(Statement):
    """A wire from the bus of a district to several feeders: it passes through a detector once."""

    name: DeclaredName
    feeders: tuple[Name, ...]
    run: Run | None
    fuse: Clause | None


@statement("COMMON", "A common return", "common return Bus-1, Bus-2")
class CommonReturn(Statement):
    supplies: tuple[Name, ...]


@statement("WIRE", "What a size of wire may carry", "wire 22 AWG carries 3 A")
class Wire(Statement):
    """``carries``: the largest current that a wire of this ``gauge`` may carry all the time."""

    gauge: Length
    carries: Length


@statement(
    "DETECTOR",
    "A detector",
    "detector D-Main current-sensing through m1, m2` or `detector D-Stage spot on Main at 0 mm",
    inline=["on", "at", "by"],
)
class Detector(Statement):
    name: DeclaredName
    kind: Literal["current-sensing", "spot"]
    clauses: tuple[Clause, ...]


@statement("DRIVER", "A driver", "driver B1 drives 4L.upper, 4L.lower reads D-Main, T1 contacts")
class Driver(Statement):
    name: DeclaredName
    heads: tuple[Name, ...]
    clauses: tuple[Clause, ...]


@statement(
    "TRAINS",
    "What runs",
    "trains 600 mm to 2200 mm, detectable throughout` or `trains obey signals",
    once="trains",
    inline=["detectable", "wheelsets", "load"],
)
class Trains(Statement):
    shortest: Length
    longest: Length
    clauses: tuple[Clause, ...]


@statement("SCALE", "The scale", "scale HO` or `scale 1:87.1", once="scale")
class Scale(Statement):
    """By its ``name``, or as a ``ratio`` of two numbers: ``1:87.1``."""

    name: Word | None
    ratio: Length


@statement(
    "STOPPING", "The stopping distance", "stopping distance 3000 mm", once="stopping distance"
)
class StoppingDistance(Statement):
    length: Length


@statement("RAIL", "Rail", "rail code 83 soldered` or `rail code 70 on Spur, Yard")
class Rail(Statement):
    """The rail of some ``blocks``, or of all that no other such statement names. The resistance of
    one rail lies between two amounts for so much of it."""

    code: Length
    least: Length
    most: Length
    per: Literal["m", "ft", "in"] | None
    soldered: bool
    blocks: tuple[Name, ...]
