"""What follows from the wiring, as data for the encoding and the reference: the places of a block
that it distinguishes, the faults."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from verifier.language.source import Span
from verifier.plan import observables
from verifier.plan.observables import Observable
from verifier.plan.wiring.faults import RELAYS, Fault, FaultKind, UnknownFault
from verifier.plan.wiring.rail_network import RailCircuit, Unknown
from verifier.plan.wiring.wiring_model import Frog, Number


@dataclass(frozen=True, slots=True)
class DeadRails:
    """The rails of a block beyond the live frog of a turnout, on one of its legs, which ends at
    ``joint``. ``frog``: what sets the polarity of the frog. ``reaches``: they are shorter than any
    train, so that what stands on them, and on no other rails of the block, reaches over that joint
    onto the piece ``beyond``."""

    turnout: str
    leg: str
    frog: Frog
    joint: str
    beyond: str
    reaches: bool

    @property
    def name(self) -> str:
        """The place, as situations name it."""
        return f"beyond the frog of {self.turnout} on its {self.leg} leg"


@dataclass(frozen=True, slots=True)
class StockPlace:
    """One way in which stock can stand on a block, as far as the wiring distinguishes them.

    ``feeder`` is the nearest one, through which it draws its current; ``draws`` is False for
    stock that draws none, or too little to be seen. ``covers`` are the spots it covers, ``over``
    the same in words where the block has spots. Stock on rails beyond a live frog (``dead``) draws
    current only while these are live, through any of the feeders."""

    name: str
    feeder: str | None
    draws: bool
    covers: tuple[int, ...]
    over: str = ""
    dead: DeadRails | None = None


@dataclass(frozen=True, slots=True)
class Geometry:
    """Where trains of ``shortest`` to ``longest`` may stand on a block of some ``length``
    with spots at ``spots``, in meters from its left end. ``longest`` None: no limit. ``ways``: for
    each way through a block with points, the positions of the spots that it passes, from the left;
    empty where there is one way, which passes all."""

    length: Number
    spots: tuple[Number, ...]
    shortest: Number
    longest: Number | None
    ways: tuple[tuple[int, ...], ...] = ()

    @property
    def each_way(self) -> tuple[tuple[int, ...], ...]:
        """For each way through the block, the positions of the spots that it passes."""
        return self.ways or (tuple(range(len(self.spots))),)


@dataclass(frozen=True, slots=True)
class Beside:
    """Two blocks that meet: at a gap, which may be bridged, or with the rail ``joined``.

    ``states`` says how current may flow while it is: by way of either block's feeders
    alone, or, where both detectors then see enough of it, just ``bridged``."""

    name: str
    blocks: tuple[str, str]
    joined: bool
    states: tuple[str, ...]
    span: Span


# A feeder that stock stands nearest to, and those that are broken.
Spot = tuple[str, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Division:
    """How current divides between the feeders of a block that pass ``through`` a detector and those
    that run ``past`` it.

    ``circuit``: the rails between them, or why they are not known; ``weakest`` and ``strongest``:
    what the weakest detectable stock draws, and the strongest of all, as a multiple of what the
    detector needs, where the file says so.

    ``known``: where bounds of the share were found. ``surely``: stock nearest to a feeder is surely
    detected with just these feeders broken; ``never``: surely not. With more than one broken
    nothing is claimed. ``what``: elsewhere, which of the two it is."""

    detector: str
    block: str
    through: tuple[str, ...]
    past: tuple[str, ...]
    circuit: RailCircuit | Unknown
    weakest: Number | None
    strongest: Number | None
    known: frozenset[Spot] = frozenset()
    surely: frozenset[Spot] = frozenset()
    never: frozenset[Spot] = frozenset()
    what: Observable = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "what", observables.share(self.detector, self.block))


@dataclass(frozen=True, slots=True)
class Equipment:
    """What follows from the wiring of a layout.

    ``places`` and ``geometry`` are by block; ``spots_of`` gives, by detector, the positions in
    its block's list of spots. ``detector_readers`` and ``contact_readers`` give, by detector
    and by turnout, the drivers that read it, and the relays where locks do; one without a name
    where there are no drivers. ``contact_returns``: by turnout, the returns of its contacts, one
    for each group of supplies that have one, each by its supply (empty where there is but one) and
    the readers that it serves. ``divisions``: by detector and block, how current divides where not
    all feeders pass through the detector; ``together``: by block, the detectors of which one
    surely detects what the feeders through all of them carry. ``relays_supply``: what powers
    all relays, timers and directions of traffic; ``memory_at``: where wires end that these hear by,
    a board or the relays."""

    places: Mapping[str, tuple[StockPlace, ...]] = field(default_factory=dict)
    geometry: Mapping[str, Geometry] = field(default_factory=dict)
    spots_of: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    joined: tuple[Beside, ...] = ()
    gaps: tuple[Beside, ...] = ()
    faults: tuple[Fault, ...] = ()
    detector_readers: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    contact_readers: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    contact_returns: Mapping[str, tuple[tuple[str, tuple[str, ...]], ...]] = field(
        default_factory=dict
    )
    divisions: Mapping[tuple[str, str], Division] = field(default_factory=dict)
    together: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    relays_supply: str | None = None
    memory_at: str = RELAYS
    _faults: Mapping[tuple[FaultKind, tuple[str, ...]], Fault] = field(init=False, repr=False)
    _fault_of: Mapping[Observable, Fault] = field(init=False, repr=False)
    _beside: Mapping[str, tuple[Beside, ...]] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        beside: dict[str, tuple[Beside, ...]] = {}
        for neighbors in (*self.gaps, *self.joined):
            for block in neighbors.blocks:
                beside[block] = (*beside.get(block, ()), neighbors)
        faults = {(fault.kind, fault.subjects): fault for fault in self.faults}
        object.__setattr__(self, "_faults", faults)
        object.__setattr__(self, "_fault_of", {fault.what: fault for fault in self.faults})
        object.__setattr__(self, "_beside", beside)

    def fault(self, kind: FaultKind, *subjects: str) -> Fault:
        """The fault of a kind and of these subjects. Raises :class:`UnknownFault`."""
        found = self._faults.get((kind, subjects))
        if found is None:
            raise UnknownFault(f"the plan has no fault {kind.name} of {', '.join(subjects)}")
        return found

    def fault_of(self, what: Observable) -> Fault:
        """The fault behind an observable. Raises :class:`UnknownFault`."""
        found = self._fault_of.get(what)
        if found is None:
            raise UnknownFault(f"the plan has no fault {what.name}")
        return found

    def wire_ends(self, source: str, reader: str, *, contacts: bool) -> tuple[str, ...]:
        """Where the wire ends by which a reader reads a detector or the contacts of a turnout;
        empty where there is no such wire. Locks read as the reader without a
        name."""
        readers = (self.contact_readers if contacts else self.detector_readers)[source]
        ends = (reader,) if reader else (reader, self.memory_at)
        return tuple(end for end in ends if end in readers)

    def returns(self, turnout: str, reader: str) -> tuple[str, ...]:
        """The returns by which a reader reads the contacts of a turnout, each by its supply."""
        ends = {*self.wire_ends(turnout, reader, contacts=True)}
        found = self.contact_returns[turnout]
        return tuple(supply for supply, serves in found if not ends.isdisjoint(serves))

    def same(self, fault: Fault) -> Fault | None:
        """The fault of another plan as it is here; None where there is no such equipment."""
        return self._faults.get((fault.kind, fault.subjects))

    def beside(self, block: str) -> tuple[Beside, ...]:
        """Where a block meets others, at a gap or with the rail joined."""
        return self._beside.get(block, ())


NO_EQUIPMENT = Equipment()
