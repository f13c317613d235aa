"""The fault model: everything that may break on a layout, each fault once, typed.

A fault is a :class:`FaultKind` and its subjects. Its observable, and with it its name, is made
here and nowhere else. Everyone else asks the equipment of a plan, by kind and subjects
(:meth:`~verifier.plan.wiring.equipment.Equipment.fault`) or by observable
(:meth:`~verifier.plan.wiring.equipment.Equipment.fault_of`).
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import Enum

from verifier.language.source import Span
from verifier.plan.observables import Observable

# The states of faults that can be broken in two ways.
STOPPED, DISOBEYED = "stopped between its ends", "did not obey"
FLASHER_LIT, FLASHER_DARK = "stopped with lamps lit", "stopped with lamps dark"
STUCK_CLEAR, STUCK_OCCUPIED = "stuck at clear", "stuck at occupied"
STUCK_CLOSED, STUCK_OPEN = "stuck closed", "stuck open"


# Where wires end that locks hear by, in a layout with drivers.
RELAYS = "the relays"


class FaultKind(Enum):
    """A kind of fault: how its name begins, the property that covers it, the ways in which
    equipment can be broken, and what the subjects are.

    Without drivers the driver that a wire leads to is empty. The ways of a gap depend on the
    blocks beside it (:class:`~verifier.plan.wiring.equipment.Beside`). The last two are faults
    as exported rules meet them at their inputs."""

    BUS = "bus of", "wire-broken", ("broken",), ("district",)
    SUB_BUS = "sub-bus", "wire-broken", ("broken",), ("sub-bus",)
    FEEDER = "feeder", "wire-broken", ("broken",), ("feeder",)
    FROG = "frog of", "supply-lost", ("without power",), ("turnout",)
    COMMON_RETURN = "common return of", "wire-broken", ("broken",), ("supply", "...")
    POWER_WIRE = (
        "power wire of",
        "wire-broken",
        ("broken",),
        ("detector, driver, relay …",),
    )
    DETECTOR_WIRE = "wire from", "wire-broken", ("broken",), ("detector", "driver")
    CONTACT_WIRE = "wire from", "wire-broken", ("broken",), ("turnout", "leg", "driver")
    CONTACT_RETURN = "return of", "wire-broken", ("broken",), ("turnout", "supply")
    SUPPLY = "supply", "supply-lost", ("off",), ("supply",)
    GAP = "gap", "gap-bridged", (), ("gap",)
    LAMP = "lamp", "lamp-out", ("out",), ("head", "color")
    HEAD = "head", "lamp-out", ("dark",), ("head",)
    ARM = "arm wire", "lamp-out", ("broken",), ("head", "color")
    LAMP_COMMON = "lamp common of", "lamp-out", ("broken",), ("head", "...")
    INDICATOR = "wire to", "lamp-out", ("broken",), ("indicator or bell",)
    FLASHER = "flasher of", "flasher-stopped", (FLASHER_LIT, FLASHER_DARK), ("driver",)
    PLATE = "plate of", "plate-missing", ("missing",), ("signal",)
    MACHINE = "machine of", "points-stalled", (STOPPED, DISOBEYED), ("turnout",)
    DETECTOR = "detector", "report-stuck", (STUCK_CLEAR, STUCK_OCCUPIED), ("detector",)
    CONTACT = "contact", "report-stuck", (STUCK_CLOSED, STUCK_OPEN), ("turnout", "leg")
    INPUT_MISSING = "", "wire-broken", ("missing",), ("kind of report", "block or turnout")
    HEAD_UNLIT = "lamp", "lamp-out", ("out",), ("head",)

    def __init__(
        self, words: str, property_name: str, ways: tuple[str, ...], subjects: tuple[str, ...]
    ):
        self.words, self.property_name, self.ways = words, property_name, ways
        self.subjects = subjects


class UnknownFault(KeyError):
    """The plan has no such fault. It is never assumed to be absent."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that may break. ``what`` is its observable: ``sound``, or broken in one of its
    ways. ``moves_points``: with it, points may lie otherwise than without; ``only_points``: it does
    nothing else. ``ways`` is given where they do not follow from the kind."""

    kind: FaultKind
    subjects: tuple[str, ...]
    span: Span
    moves_points: bool = False
    ways: tuple[str, ...] = ()
    only_points: bool = False
    what: Observable = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        what = observable(self.kind, *self.subjects, ways=self.ways)
        object.__setattr__(self, "what", what)
        object.__setattr__(self, "ways", what.values[1:])

    def __hash__(self) -> int:
        return hash(self.what)

    @property
    def name(self) -> str:
        """What reports, and situations in words, call it."""
        return self.what.name


def all_ways(faults: Iterable[Fault]) -> dict[str, tuple[Observable, str]]:
    """The ways in which things may be broken, by what each is called in a history: the fault's
    observable and its state."""
    return {f"{f.name}: {way}": (f.what, way) for f in faults for way in f.ways}


def observable(kind: FaultKind, *subjects: str, ways: tuple[str, ...] = ()) -> Observable:
    """Whether, and in which way, something is broken."""
    states = ("sound", *(ways or kind.ways))
    return Observable("fault", fault_name(kind, *subjects), states, "sound")


def fault_name(kind: FaultKind, *subjects: str) -> str:
    """What a fault is called: for a wire, also the name of the wire itself."""
    match kind:
        case FaultKind.COMMON_RETURN | FaultKind.LAMP_COMMON:
            named = " and ".join(subjects)
        case FaultKind.CONTACT_RETURN:
            turnout, supply = subjects
            named = f"{turnout} contacts" + (f" on {supply}" if supply else "")
        case FaultKind.DETECTOR_WIRE | FaultKind.CONTACT_WIRE:
            *source, driver = subjects
            named = " ".join(source) + (f" to {driver}" if driver else "")
        case _:
            named = " ".join(subjects)
    return f"{kind.words} {named}".strip()
