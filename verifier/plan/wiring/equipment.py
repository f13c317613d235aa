"""What follows from the wiring, as plain data that logic and evaluator both read, each with
code of its own: which places of a block it tells apart, what may break."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from verifier.language.source import Span
from verifier.plan.observables import Observable
from verifier.plan.wiring.wiring_model import Number


@dataclass(frozen=True, slots=True)
class Place:
    """One way in which stock can stand on a block, as far as the wiring tells.

    ``feeder`` is the nearest one, through which it draws its current; ``draws`` is False for
    stock that draws none, or too little to be seen. ``covers`` are the spots it covers."""

    name: str
    feeder: str | None
    draws: bool
    covers: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Geometry:
    """Where trains of ``shortest`` to ``longest`` may stand on a block of some ``length``
    with spots at ``spots``, in meters from its left end. ``longest`` None: no limit."""

    length: Number
    spots: tuple[Number, ...]
    shortest: Number
    longest: Number | None


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


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that may break: ``what`` is its observable, ``kind`` the property that asks
    about it. ``moves_points``: with it, points may lie otherwise than without."""

    kind: str
    what: Observable
    span: Span
    moves_points: bool = False

    @property
    def name(self) -> str:
        return self.what.name


@dataclass(frozen=True, slots=True)
class Equipment:
    """``spots_of`` gives, by detector, the positions in its block's list of spots."""

    places: Mapping[str, tuple[Place, ...]] = field(default_factory=dict)
    geometry: Mapping[str, Geometry] = field(default_factory=dict)
    spots_of: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    joined: tuple[Beside, ...] = ()
    gaps: tuple[Beside, ...] = ()
    faults: tuple[Fault, ...] = ()

    def fault(self, name: str) -> Observable | None:
        """The observable of a fault by its name, None where nothing of the kind can break."""
        return self._by_name.get(name)

    def beside(self, block: str) -> tuple[Beside, ...]:
        """Where a block meets others, at a gap or with the rail joined."""
        return self._beside.get(block, ())

    _by_name: Mapping[str, Observable] = field(default_factory=dict, repr=False)
    _beside: Mapping[str, tuple[Beside, ...]] = field(default_factory=dict, repr=False)


NO_EQUIPMENT = Equipment()
