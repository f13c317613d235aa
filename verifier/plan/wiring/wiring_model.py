"""The equipment a file declares, from the rail to the lens: frozen data, lengths in meters,
electrical quantities in volts, amperes and ohms, all exact.

Everything is optional. Assumptions replace what is left out, and every report lists them.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from types import MappingProxyType
from typing import Literal, TypeVar, get_args

from verifier.language.source import Span
from verifier.plan import observables
from verifier.plan.observables import Lying, Observable
from verifier.plan.units import MILLIMETRES, Units
from verifier.plan.wiring.lamps import SoldHead

# Lengths in meters, volts, amperes, ohms, seconds: exact, so that a train which just fits
# just fits.
Number = Fraction

DetectorKind = Literal["current-sensing", "spot"]
Detectable = Literal["throughout", "locomotive", "ends"]
MotorKind = Literal["slow", "snap"]
Current = Literal["DC", "AC", "DCC"]
Sense = Literal["coil", "diodes", "biased diodes"]
FuseKind = Literal["UL", "IEC", "resettable", "electronic"]


@dataclass(frozen=True, slots=True)
class Run:
    """A run of copper wire: its one-way ``length`` and its size in AWG."""

    length: Number
    gauge: int


@dataclass(frozen=True, slots=True)
class Fuse:
    """A fuse at the beginning of a wire: its ``rating``, its ``kind``, and the current at which it
    opens by its own sheet (``trips``), where the file gives that."""

    rating: Number
    kind: FuseKind | None
    trips: Number | None


@dataclass(frozen=True, slots=True)
class Supply:
    """A power supply; a booster is a track-power supply fed by another. ``current`` is the kind
    of current that it gives; None where the file does not say. ``fuse`` is the rating of its fuse,
    ``trips`` the current at which that opens by its own sheet, where the file gives it; ``draws``
    what a booster draws from the supply that feeds it. One that ``reverses`` exchanges the two
    rails of the track that it feeds."""

    name: str
    track_power: bool
    reverses: bool
    current: Current | None
    volts: Number | None
    amps: Number | None
    fuse: Number | None
    fuse_kind: FuseKind | None
    trips: Number | None
    draws: Number | None
    fed_by: str | None
    span: Span


@dataclass(frozen=True, slots=True)
class District:
    """Blocks that take their track power from one supply."""

    name: str
    supply: str
    run: Run | None
    span: Span
    fuse: Fuse | None = None


@dataclass(frozen=True, slots=True)
class Feeder:
    """A wire that brings track power to one block. Stock draws most of its current through the
    one nearest to it. ``at``: where it is joined to the rail, from the left end of the block, or,
    in a block with points, from the points of a turnout on the side of one of its ends
    (``beyond``: the turnout and that end)."""

    name: str
    block: str
    run: Run | None
    span: Span
    at: Number | None = None
    fuse: Fuse | None = None
    beyond: tuple[str, str] | None = None


@dataclass(frozen=True, slots=True)
class SubBus:
    """A wire from the bus to several feeders."""

    name: str
    feeders: tuple[str, ...]
    span: Span
    run: Run | None = None
    fuse: Fuse | None = None


@dataclass(frozen=True, slots=True)
class Rail:
    """One rail of some track: its ohms per meter, from the ``least`` to the ``most``;
    ``soldered``: all its joints within the block are."""

    code: Number
    least: Number
    most: Number
    soldered: bool


# A spot measured over either leg of a turnout: it lies before the points.
EITHER = ""


@dataclass(frozen=True, slots=True, order=True)
class SpotPlace:
    """A place that a spot detector watches, from the left end of its block. ``over``: of each
    turnout or crossing on the way there, the leg or track over which it is measured."""

    at: Number
    over: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Detector:
    """``through`` are the feeders that pass through a current-sensing detector, ``turns``
    times each, those of a sub-bus that passes through (``sub_buses``) together; ``by`` is what it
    senses current by, None where the file does not say; ``sensitivity`` is the current in one turn
    that it just sees. ``spots`` are where a spot detector looks.

    ``closed_when``: the state in which its output contact is closed; None where the file
    does not say, which is taken as ``clear``. ``without_power``: it reads occupied when its
    block has no track power."""

    name: str
    kind: DetectorKind
    block: str
    by: Sense | None
    through: tuple[str, ...]
    turns: int
    sensitivity: Number | None
    spots: tuple[SpotPlace, ...]
    hold: Number | None
    supply: str | None
    draws: Number | None
    closed_when: Literal["clear", "occupied"] | None
    isolated: bool
    without_power: bool
    span: Span
    sub_buses: tuple[str, ...] = ()


# What a driver may read besides detectors and contacts: the panel, what is remembered, and what
# signals of other drivers show.
Heard = Literal["lever", "button", "relay", "timer", "traffic", "signal"]
HEARD: tuple[Heard, ...] = get_args(Heard)


@dataclass(frozen=True, slots=True)
class DriverInput:
    """One thing wired to a driver's inputs: a detector, (``contacts``) those of a turnout, or what
    ``heard`` says."""

    name: str
    contacts: bool
    span: Span
    heard: Heard | None = None


@dataclass(frozen=True, slots=True)
class Panel:
    """How a lever or a button is wired: the positions that have a contact (pressed or released, of
    a button), and the supply whose return they switch; None where the file does not say: then that
    of whatever reads it."""

    name: str
    kind: Literal["lever", "button"]
    contacts: tuple[str, ...]
    supply: str | None
    span: Span


@dataclass(frozen=True, slots=True)
class Driver:
    """A board that lights heads by the rules, and ``indicators`` (bells among them) of the panel.
    ``reads`` None: it is taken to read all its rules ask for. ``when_missing`` is the color its
    heads show when an input is dead, ``when_out`` what all its heads of a signal are commanded to
    show when one of them does not light. ``sold``: what the lamps of a head are, where the file
    says. It ``throws`` the machines of some points, and ``unlocks`` electric locks; ``inputs`` and
    ``outputs`` are how many it has. ``draws`` is what the board draws itself, ``lamp`` the current
    of one lit lamp, ``needs`` the least voltage it works at, ``each`` what an output may carry."""

    name: str
    heads: tuple[str, ...]
    outputs: int | None
    supply: str | None
    run: Run | None
    reads: tuple[DriverInput, ...] | None
    when_missing: str | None
    when_out: str | None
    draws: Number | None
    lamp: Number | None
    needs: Number | None
    span: Span
    fuse: Fuse | None = None
    inputs: int | None = None
    throws: tuple[str, ...] = ()
    unlocks: tuple[str, ...] = ()
    sold: tuple[tuple[str, SoldHead], ...] = ()
    each: Number | None = None
    indicators: tuple[str, ...] = ()

    def sold_as(self, head: str) -> SoldHead:
        """What the lamps of one of its heads are."""
        return next((sold for name, sold in self.sold if name == head), SoldHead())


@dataclass(frozen=True, slots=True)
class Frog:
    """What sets the polarity of a live frog: the ``points`` themselves, ``contacts`` that the
    points of a turnout move, or a ``lever``; ``of`` is that turnout or lever. A ``dead`` one is
    insulated, with live rails all around."""

    by: Literal["dead", "points", "contacts", "lever"]
    of: str
    span: Span


@dataclass(frozen=True, slots=True)
class Machine:
    """How a turnout, slip, derail or gate is moved and how its position is reported.
    ``contacts`` None: not given, assumed to report the truth; empty: none,
    so that the command is reported. ``lever`` is the one it always obeys; None where the file
    gives none. ``draws`` is the most that its motor draws, stalled or in a pulse.

    ``fouling`` is the distance from the points to the fouling point, ``gaps`` that to the
    gap on each leg. ``frog`` None: not given, assumed to be dead. ``board``: the driver that throws
    it, where the file names one, and ``board_supply`` what powers that. ``points_at``: how far the
    points are from those of other turnouts, each on the side of one of its ends, and where that is
    said. ``bond``: the wire
    of each jumper that bonds its rails; None where the file does not say."""

    turnout: str
    contacts: tuple[str, ...] | None
    lever: str | None
    motor: MotorKind | None
    seconds: Number | None
    supply: str | None
    draws: Number | None
    fouling: Number | None
    gaps: Mapping[str, Number]
    span: Span
    kind: Lying = "points"
    frog: Frog | None = None
    board: str | None = None
    board_supply: str | None = None
    points_at: tuple[tuple[Number, tuple[str, str], Span], ...] = ()
    bond: Run | None = None

    @property
    def powers(self) -> tuple[tuple[str, str], ...]:
        """What it needs to move: by the name of its power wire, the supply. Empty where the file
        gives none."""
        board = ((self.board, self.board_supply),) if self.board else ()
        pairs = ((self.turnout, self.supply), *board)
        return tuple((wire, supply) for wire, supply in pairs if supply is not None)

    @property
    def live_frog(self) -> Frog | None:
        """What sets its frog, where that is live."""
        return self.frog if self.frog is not None and self.frog.by != "dead" else None

    @property
    def lies(self) -> Observable:
        """How what it moves truly lies."""
        made = {"derail": observables.derail, "gate": observables.gate}
        return made.get(self.kind, observables.points)(self.turnout)

    @property
    def positions(self) -> tuple[str, str]:
        """The positions that contacts can report, the normal one first."""
        normal, reverse, *_ = self.lies.values
        return normal, reverse

    def other(self, position: str) -> str:
        """The other position."""
        normal, reverse = self.positions
        return reverse if position == normal else normal

    @property
    def told(self) -> Observable:
        """The position that it was last told to take."""
        return observables.thrown(self.turnout, self.positions)


@dataclass(frozen=True, slots=True)
class TrainLimits:
    """``wheelsets`` is the resistance of the weakest wheelset meant to be detected, ``load`` the
    least current of stock meant to be detected, ``most_load`` the most of any."""

    shortest: Number
    longest: Number
    detectable: Detectable
    wheelsets: Number | None
    span: Span
    load: Number | None = None
    most_load: Number | None = None


def _none() -> Mapping[str, Number]:
    return MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Wiring:
    """All the equipment of a layout. Mappings keep the order of the file.

    ``swapped_contacts`` and ``swapped_heads`` are not written in files: they are mistakes in
    the wiring, for `diagnose`."""

    supplies: Mapping[str, Supply] = field(default_factory=dict)
    districts: Mapping[str, District] = field(default_factory=dict)
    feeders: Mapping[str, Feeder] = field(default_factory=dict)
    detectors: Mapping[str, Detector] = field(default_factory=dict)
    drivers: Mapping[str, Driver] = field(default_factory=dict)
    machines: Mapping[str, Machine] = field(default_factory=dict)
    panel: Mapping[str, Panel] = field(default_factory=dict)  # by lever and button
    trains: TrainLimits | None = None
    common_returns: tuple[tuple[str, ...], ...] = ()
    lengths: Mapping[str, Number] = field(default_factory=_none)  # by block
    rails: Mapping[str, Rail] = field(default_factory=dict)  # by block
    sub_buses: Mapping[str, SubBus] = field(default_factory=dict)
    district_of: Mapping[str, str] = field(default_factory=dict)  # by block
    stopping: Number | None = None
    scale: Number | None = None  # 87.1 for 1:87.1
    set_back: Mapping[str, Number] = field(default_factory=_none)  # by signal: before its gap
    ampacity: Mapping[int, Number] = field(default_factory=dict)  # by gauge: what a wire may carry
    units: Units = MILLIMETRES  # that the file writes its lengths in
    swapped_contacts: frozenset[str] = frozenset()
    swapped_heads: tuple[tuple[str, str], ...] = ()
    # Over time: how points lie is kept from moment to moment, not worked out from their commands.
    points_kept: bool = False
    # By block, by block, by head (or indicator), by feeder: worked out from the above.
    _feeders: Mapping[str, tuple[Feeder, ...]] = field(init=False, repr=False, compare=False)
    _detectors: Mapping[str, tuple[Detector, ...]] = field(init=False, repr=False, compare=False)
    _drivers: Mapping[str, Driver] = field(init=False, repr=False, compare=False)
    _sub_bus: Mapping[str, SubBus] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        by_head = {
            driven: d
            for d in reversed(list(self.drivers.values()))
            for driven in (*d.heads, *d.indicators)
        }
        object.__setattr__(self, "_feeders", _by_block(self.feeders.values()))
        object.__setattr__(self, "_detectors", _by_block(self.detectors.values()))
        object.__setattr__(self, "_drivers", by_head)
        by_feeder = {f: bus for bus in self.sub_buses.values() for f in bus.feeders}
        object.__setattr__(self, "_sub_bus", by_feeder)

    @property
    def given(self) -> bool:
        """Whether the file gives any wiring."""
        return bool(self.supplies or self.feeders or self.detectors or self.drivers
                    or self.machines)  # fmt: skip

    @property
    def reports_may_differ(self) -> bool:
        """Whether reports may differ from the truth: there is wiring beyond the contacts and
        motors of switch machines."""
        return bool(self.supplies or self.feeders or self.detectors or self.drivers)

    def detectors_of(self, block: str) -> tuple[Detector, ...]:
        return self._detectors.get(block, ())

    def feeders_of(self, block: str) -> tuple[Feeder, ...]:
        return self._feeders.get(block, ())

    def sub_bus_of(self, feeder: str) -> SubBus | None:
        """The sub-bus that leads to a feeder; None where it comes from the bus itself."""
        return self._sub_bus.get(feeder)

    def leads_through(self, detector: Detector) -> tuple[str, ...]:
        """The wires that pass through a detector: sub-buses, and feeders that come from none of
        these."""
        on_them = {f for name in detector.sub_buses for f in self.sub_buses[name].feeders}
        return (*detector.sub_buses, *(f for f in detector.through if f not in on_them))

    def driver_of(self, head: str) -> Driver | None:
        """The board that lights a head, or an indicator of the panel."""
        return self._drivers.get(head)

    def share_a_return(self, one: str, other: str, without: Collection[int] = ()) -> bool:
        """Whether two supplies have a common return, directly or by way of others.
        ``without``: the positions of common returns that are not there."""
        returns = [g for i, g in enumerate(self.common_returns) if i not in without]
        reached, grew = {one}, True
        while grew:
            joined = [g for g in returns if reached.intersection(g)]
            grew = not reached.issuperset(name for g in joined for name in g)
            reached.update(name for g in joined for name in g)
        return other in reached

    def sharing_return(self, supply: str | None) -> tuple[str, ...]:
        """A supply and all that share a return with it, in the order of the file."""
        if supply is None:
            return ()
        return tuple(s for s in self.supplies if s == supply or self.share_a_return(supply, s))

    def has_usable_input(
        self, driver: Driver, detector: Detector, without: Collection[int] = ()
    ) -> bool:
        """Whether a detector's output gives this driver a usable input."""
        return self.reaches(driver.supply, detector, without)

    def reaches(self, one: str | None, detector: Detector, without: Collection[int] = ()) -> bool:
        """Whether what is powered by a supply can read a detector's output: the same supply, a
        common return with one of the same kind of current, or an isolated output. A supply that
        is not given is taken to suit."""
        other = detector.supply
        if one is None or other is None or detector.isolated:
            return True
        return self.may_be_alike(one, other) and self.share_a_return(one, other, without)

    def may_be_alike(self, one: str, other: str) -> bool:
        """Whether two supplies may give the same kind of current. One of which the file does not
        give it may give any.

        Where the returns of DC and AC are joined, each load still sees its own supply. An output
        that is switched against the return of DC, though, is no level to an input that is fed by
        AC, which swings to both sides of that return; nor the other way round. (Common practice,
        no source.)"""
        kinds = self.current_of(one), self.current_of(other)
        return None in kinds or kinds[0] == kinds[1]

    def chain_of(self, supply: str | None) -> Iterator[str]:
        """A supply, the one that feeds it, and so on."""
        while supply is not None:
            yield supply
            supply = self.supplies[supply].fed_by

    def power_of(self, block: str) -> Supply | None:
        """The supply of its track power, where the file gives one."""
        district = self.districts.get(self.district_of.get(block, ""))
        return self.supplies.get(district.supply) if district else None

    def volts_of(self, supply: str) -> Number | None:
        """The volts of a supply; of a reverser without volts of its own, those before it."""
        given = self.supplies[supply]
        passes = given.reverses and given.volts is None and given.fed_by is not None
        return self.volts_of(given.fed_by) if passes and given.fed_by else given.volts

    def current_of(self, supply: str) -> Current | None:
        """The kind of current that a supply gives: its own, or that of the supply that feeds it."""
        kinds = (self.supplies[name].current for name in self.chain_of(supply))
        return next((kind for kind in kinds if kind), None)

    def is_blind(self, detector: Detector) -> bool:
        """Whether a current-sensing detector does not see every train on its block, because of the
        kind of its track power.

        A coil is a transformer: it sees changing current only, so none of DC. On DC the throttle
        may be at zero, and a train that stands still then draws nothing: diodes see it only with a
        bias current of their own. What the file does not say is taken to be a coil. AC and DCC are
        there, and change, at any speed. (Common practice, no source.)"""
        supply = self.power_of(detector.block)
        if detector.kind != "current-sensing" or supply is None:
            return False
        return self.current_of(supply.name) == "DC" and detector.by != "biased diodes"


T = TypeVar("T", Feeder, Detector)


def _by_block(things: Iterable[T]) -> dict[str, tuple[T, ...]]:
    found: dict[str, list[T]] = {}
    for thing in things:
        found.setdefault(thing.block, []).append(thing)
    return {block: tuple(those) for block, those in found.items()}


NO_WIRING = Wiring()
