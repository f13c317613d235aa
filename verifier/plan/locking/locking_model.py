"""Memory, timing and locking of a file, resolved: relays, timers, how points are
thrown and locked, direction of traffic, and how trains run. Times are exact, in seconds."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from verifier.language.source import Span
from verifier.language.statements.locking import CrewRule
from verifier.plan import observables
from verifier.plan.observables import Condition, Observable
from verifier.plan.wiring.faults import RELAYS


@dataclass(frozen=True, slots=True)
class Relay:
    """Picks when one condition holds, then sticks while the other does (never, when None).
    ``slow_pick`` and ``slow_release``: how long what makes it move must last. ``after``: what it
    was said to release after, one after the other; ``step_of``: the relay whose release it is a
    step of (:mod:`verifier.plan.locking.sequences`). ``supply``: its own, as of timers and
    directions of traffic; without it they do not act, and a relay drops."""

    name: str
    picks: Condition
    sticks: Condition | None
    slow_pick: Fraction | None
    slow_release: Fraction | None
    span: Span
    after: tuple[Condition, ...] = ()
    step_of: str = ""
    supply: str | None = None


@dataclass(frozen=True, slots=True)
class Timer:
    """Idle, then running while ``runs`` holds, then done until it no longer holds."""

    name: str
    seconds: Fraction
    runs: Condition
    span: Span
    supply: str | None = None


# Who moves points, derails and gates: anyone at any time; a lever; two buttons (normal, reverse);
# people at the layout; or a rule. The normal position of a derail is derailing, of a gate seated.
Mover = Literal["anyone", "lever", "buttons", "hand", "rule"]


@dataclass(frozen=True, slots=True)
class Throw:
    """How one turnout, slip, derail or gate is thrown. ``away_when`` is the rule by which it is
    reverse, non-derailing or open; ``locked``: while it holds it is not moved; of an electric
    lock, that it is not released. ``snap``: it moves in no time; ``pulse``: its coils
    get current for so many seconds only, None where the file does not say."""

    device: str
    by: Mover
    lever: str | None
    buttons: tuple[str, ...]
    away_when: Condition | None
    locked: Condition | None
    electric: bool
    snap: bool
    pulse: Fraction | None
    span: Span


@dataclass(frozen=True, slots=True)
class Traffic:
    """The direction of traffic on some blocks, a memory: set by ``rightward`` or
    ``leftward`` (as drawn; neither or both leave it), not while ``locked`` holds."""

    name: str
    blocks: tuple[str, ...]
    rightward: Condition
    leftward: Condition
    locked: Condition | None
    span: Span
    supply: str | None = None


@dataclass(frozen=True, slots=True)
class NamedRoute:
    """``route`` is the name that the route found from the track goes by."""

    name: str
    route: str
    span: Span


@dataclass(frozen=True, slots=True)
class Running:
    """How trains run. ``reverse_on``: blocks where they may stop and go back; None for the
    usual places. ``to_stop``: how long after a signal is put back a train that saw it clear
    may still pass it. ``start_on``: blocks where stock may stand at the start.
    ``entering``: by edge, while what trains come in there."""

    reverse_on: tuple[str, ...] | None = None
    to_stop: Fraction | None = None
    start_on: tuple[str, ...] = ()
    entering: Mapping[str, Condition] = field(default_factory=dict)


# Of relays, whichever act first; or as one program, which goes through its lines in order.
BuildingKind = Literal["of relays", "as one program"]


@dataclass(frozen=True, slots=True)
class Building:
    """How the memory of a file is built, and whether it ``said`` so; the version of the language
    that it is written for, empty where it says nothing. ``supply``: of all that has none of its
    own. ``orders``: the first of each pair acts before the second, where both act in one step; none
    of a file, but of one that is tried. ``board``: the driver that the one program runs on."""

    kind: BuildingKind = "of relays"
    said: bool = False
    version: str = ""
    span: Span | None = None
    supply: str | None = None
    orders: tuple[tuple[str, str], ...] = ()
    board: str | None = None

    @property
    def of_relays(self) -> bool:
        return self.kind == "of relays"

    def fixed(self, reader: str, read: str) -> bool | None:
        """Whether one sees the other after it has acted, where an order says that."""
        if (read, reader) in self.orders:
            return True
        return False if (reader, read) in self.orders else None


# The promises about throwing points; the others are about blocks.
THROWING: tuple[CrewRule, ...] = (
    "under a train",
    "under clear signals",
    "ahead of a train",
    "before a train can stop",
)


@dataclass(frozen=True, slots=True)
class Promise:
    """A rule that people keep, an assumption over histories. ``about``: the turnouts and slips, or
    the blocks, that it is about; ``text``: as a file writes it after `crew promises`."""

    rule: CrewRule
    about: tuple[str, ...]
    text: str
    span: Span

    @property
    def title(self) -> str:
        """What reports call it."""
        return f"your crew promises {self.text}"


def promise_text(rule: CrewRule, about: tuple[str, ...]) -> str:
    """A promise as a file writes it; ``about`` is empty where it is about all there are."""
    named = ", ".join(about)
    if rule in THROWING:
        return f"not to throw {named or 'points'} {rule}"
    if rule == "to reverse":
        return f"not to reverse on {named}" if named else "not to reverse"
    return f"{rule} on {named}"


@dataclass(frozen=True, slots=True)
class Starts:
    """How points, derails and gates may lie at the start of a history, at rest. ``positions``: by
    device; one that is not in it may lie either way. ``alike``: groups of devices that start in
    one position."""

    positions: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    alike: tuple[tuple[str, ...], ...] = ()

    def of(self, device: str, values: tuple[str, ...]) -> tuple[str, ...]:
        """The positions of a device, given those it can have, the way between them last."""
        return self.positions.get(device, values[:2])

    def together(self, devices: Iterable[str]) -> tuple[tuple[str, ...], ...]:
        """The devices in groups that start alike, most of them of one device."""
        grouped = {name: group for group in self.alike for name in group}
        return tuple(dict.fromkeys(grouped.get(name, (name,)) for name in devices))


@dataclass(frozen=True, slots=True)
class Locking:
    """``over_time``: the file gives memory, timing or how trains run, so that histories are
    proved too. ``memory``: names of relays, timers and traffic in the order of
    the file, in which one program goes through them."""

    over_time: bool = False
    relays: Mapping[str, Relay] = field(default_factory=dict)
    timers: Mapping[str, Timer] = field(default_factory=dict)
    traffic: Mapping[str, Traffic] = field(default_factory=dict)
    throws: Mapping[str, Throw] = field(default_factory=dict)  # by device; those not in it: anyone
    routes: Mapping[str, NamedRoute] = field(default_factory=dict)
    running: Running = Running()
    memory: tuple[str, ...] = ()
    building: Building = Building()
    promises: tuple[Promise, ...] = ()
    starts: Starts = Starts()


NO_LOCKING = Locking()


def races(name: str, locking: Locking) -> bool:
    """Whether one that acts does so as fast as a relay: a relay, timer or direction of traffic, and
    points that move at once. All other points leave their position only after all relays whose
    cause came with theirs have moved."""
    return name in locking.memory or (name in locking.throws and locking.throws[name].snap)


def conditions_of(name: str, locking: Locking) -> tuple[Condition, ...]:
    """The conditions that a relay, a timer, a direction of traffic or a turnout acts by."""
    if name in locking.relays:
        relay = locking.relays[name]
        return tuple(filter(None, (relay.picks, relay.sticks)))
    if name in locking.timers:
        return (locking.timers[name].runs,)
    if name in locking.traffic:
        traffic = locking.traffic[name]
        return tuple(filter(None, (traffic.rightward, traffic.leftward, traffic.locked)))
    if name in locking.throws:
        throw = locking.throws[name]
        return tuple(filter(None, (throw.locked, throw.away_when)))
    return ()


@dataclass(frozen=True, slots=True)
class Power:
    """What powers a relay, a timer or a direction of traffic: a supply, and a power wire, which
    is its own or that of all relays without one."""

    supply: str
    wire: str
    span: Span


def never_broken(locking: Locking) -> tuple[str, ...]:
    """What a layout over time has that is never taken to fail: nothing asks what a relay does that
    sticks, or a lock that does not hold."""
    throws, traffic = locking.throws.values(), locking.traffic.values()
    locks = any(t.locked for t in throws) or any(t.locked for t in traffic)
    found = {"relays": bool(locking.relays), "timers": bool(locking.timers), "locks": locks}
    return tuple(name for name, has in found.items() if has)


def power_of(name: str, locking: Locking) -> Power | None:
    """What powers one of the ``memory``; None where the file does not say."""
    one = locking.relays.get(name) or locking.timers.get(name) or locking.traffic.get(name)
    if one is None:
        return None
    if one.supply is not None:
        step_of = one.step_of if isinstance(one, Relay) else ""
        return Power(one.supply, step_of or name, one.span)
    building = locking.building
    if building.supply is None or building.span is None:
        return None
    return Power(building.supply, building.board or RELAYS, building.span)


@dataclass(frozen=True, slots=True)
class Sight:
    """That ``reader``, which acts, asks for ``read``, which acts in the same step: by its own
    contacts, or by those of the signals that the reader asks about. Where it is chosen, the reader
    sees what the other one comes to."""

    reader: str
    read: str
    by_signals: bool

    @property
    def choice(self) -> Observable:
        return observables.sight(self.reader, self.read, by_signals=self.by_signals)
