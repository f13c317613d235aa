"""The checked layout: frozen data, every element with the span it was written at."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, NamedTuple

from verifier.language.source import Source, Span
from verifier.plan import observables
from verifier.plan.locking.locking_model import NO_LOCKING, Locking
from verifier.plan.observables import Assumed, Condition, Fact, Observable
from verifier.plan.panel import Indicator
from verifier.plan.signals.aspects import Chart, Combination
from verifier.plan.signals.colors import steady
from verifier.plan.signals.packet_model import NO_PACKETS, Packets
from verifier.plan.wiring.equipment import NO_EQUIPMENT, Equipment
from verifier.plan.wiring.lamps import HeadMake, lamps_of
from verifier.plan.wiring.wiring_model import NO_WIRING, Wiring

if TYPE_CHECKING:
    import networkx as nx

PieceKind = Literal["plain", "turnout", "crossing", "slip", "edge", "bumper"]
Direction = Literal["both", "entering", "leaving"]


class Port(NamedTuple):
    """One end of one piece of track: ``("T1", "normal")``."""

    piece: str
    end: str


@dataclass(frozen=True, slots=True)
class Block:
    """A detection block. ``detected`` is False for dark track no detector sees;
    ``own_statement``: no other block shares its statement."""

    name: str
    detected: bool
    switching: bool
    note: str
    span: Span
    own_statement: bool = True


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of track: plain track of one block between two other pieces, a turnout, a
    crossing, a slip, or an end of the plan.

    ``ends``: plain ``left right``; turnout ``points normal reverse``; crossing and slip
    ``along-left along-right across-left across-right``; edge and bumper ``end``.
    """

    name: str
    kind: PieceKind
    block: str | None
    ends: tuple[str, ...]
    span: Span
    # For a slip: the pairs of ends its reverse position joins. For an edge: which way
    # trains may pass it.
    slips: tuple[tuple[str, str], ...] = ()
    direction: Direction = "both"

    @property
    def title(self) -> str:
        """Its name for people: a plain piece goes by its block."""
        return self.block if self.kind == "plain" and self.block else self.name


@dataclass(frozen=True, slots=True)
class Joint:
    """Where two pieces meet: ``=`` rail joined through, ``|`` or ``||`` a gap."""

    a: Port
    b: Port
    kind: Literal["=", "|", "||"]
    gap: str | None
    span: Span

    @property
    def name(self) -> str:
        """A name for it, of the two ends that meet there."""
        return " to ".join(f"{port.piece} {port.end}" for port in (self.a, self.b))

    def other(self, port: Port) -> Port:
        return self.b if port == self.a else self.a


@dataclass(frozen=True, slots=True)
class Move:
    """One way over one piece. ``position`` is how its points must lie, None where it has
    none; ``facing`` tells whether points choose among several ways from ``enter``."""

    piece: str
    enter: str
    leave: str
    position: str | None
    facing: bool


class Onward(NamedTuple):
    """A way onward from an end by which a piece is entered: over one move and one joint to
    the end by which the next piece is entered."""

    move: Move
    joint: Joint
    leads_to: Port


class Placed(NamedTuple):
    """A piece as one ``track`` line draws it: which end is on the left, which right."""

    piece: str
    left: str
    right: str


@dataclass(frozen=True, slots=True)
class Track:
    """Pieces, joints, the ways onward from every end by which a piece can be entered, and
    the rows they were written in."""

    pieces: Mapping[str, Piece]
    joints: tuple[Joint, ...]
    joint_at: Mapping[Port, Joint] = field(repr=False)
    onward: Mapping[Port, tuple[Onward, ...]] = field(repr=False)
    rows: tuple[tuple[Placed, ...], ...]

    @property
    def graph(self) -> "nx.DiGraph[Port]":
        """The track as a directed graph: an edge leads from the end by which a piece is
        entered, over one move (edge attribute ``move``) and one joint (``joint``), to the
        end by which the next piece is entered.

        Built on demand: loading networkx takes as long as proving a small junction."""
        import networkx

        graph: nx.DiGraph[Port] = networkx.DiGraph()
        graph.add_nodes_from(Port(p.name, end) for p in self.pieces.values() for end in p.ends)
        for entered, ways in self.onward.items():
            for way in ways:
                graph.add_edge(entered, way.leads_to, move=way.move, joint=way.joint)
        return graph


@dataclass(frozen=True, slots=True)
class Pipe:
    """A derail's connection to a turnout or slip: it is derailing while the points lie
    ``derailing_when``, non-derailing while they lie the other way, and open while they do."""

    points: str
    derailing_when: Literal["normal", "reverse"]
    span: Span

    def points_for(self, state: str) -> str:
        """How the points lie while the derail lies so; what is `moving` or `open` is so of
        both."""
        if state not in ("derailing", "non-derailing"):
            return state
        return _other_leg(self.derailing_when, same=state == "derailing")

    def derail_for(self, leg: str) -> str:
        """How the derail lies while the points lie so."""
        if leg not in ("normal", "reverse"):
            return leg
        return "derailing" if leg == self.derailing_when else "non-derailing"


def _other_leg(leg: str, *, same: bool) -> str:
    return leg if same else "reverse" if leg == "normal" else "normal"


@dataclass(frozen=True, slots=True)
class Derail:
    """``port`` is the end of its track piece where it stands; ``guards`` the special
    trackwork next reached from there, None where there is none; ``pipe`` what moves it, where
    that is a turnout."""

    name: str
    block: str
    port: Port
    guards: str | None
    span: Span
    pipe: Pipe | None = None


@dataclass(frozen=True, slots=True)
class Gate:
    name: str
    block: str
    span: Span


@dataclass(frozen=True, slots=True)
class Crossover:
    """Two turnouts thrown together. ``between`` are the blocks of the track that joins
    their reverse legs, where stock fouls both tracks."""

    name: str
    ends: tuple[str, str]
    between: tuple[str, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a signal (``shows`` an aspect) or of a head (a color); ``when`` is
    None for ``otherwise``."""

    index: int
    shows: str
    when: Condition | None
    span: Span


@dataclass(frozen=True, slots=True)
class Head:
    name: str
    lines: tuple[Line, ...]
    color: Observable
    span: Span
    # How it is sold, and the heads of its signal that have a wire to their lamps in common with it.
    make: HeadMake = "lamps"
    in_common: tuple[str, ...] = ()
    # Dark while no train is on the block before its signal; its lamps are tested all the same.
    approach: bool = False
    tested: bool = False

    @property
    def lamps(self) -> tuple[str, ...]:
        """What its lamps are called, by their colors: flashing and steady are one lamp, dark is
        none."""
        shown = (color for color in map(steady, self.color.values) if color != "dark")
        lamps = (lamp for color in shown for lamp in self.lamps_of(color))
        return tuple(dict.fromkeys(lamps))

    def lamps_of(self, color: str) -> tuple[str, ...]:
        """The lamps that are lit for a color."""
        return lamps_of(self.make, color)

    @property
    def lens(self) -> Observable:
        return observables.lens(self.name, self.color.values)


@dataclass(frozen=True, slots=True)
class Signal:
    """A signal stands at ``joint`` and governs moves that enter the port ``enters``.

    Either ``lines`` is not empty (aspect rules) or every head has lines of its own. ``plate`` is
    the kind of plate on its mast, empty for none. ``lit``: when heads that are lit for a train that
    approaches are lit."""

    name: str
    joint: Joint
    enters: Port
    heads: tuple[Head, ...]
    lines: tuple[Line, ...]
    aspect: Observable
    span: Span
    plate: str = ""
    lit: Fact | None = None

    @property
    def by_head(self) -> bool:
        return not self.lines

    @property
    def rules(self) -> tuple[tuple[str, tuple[Line, ...]], ...]:
        """All its lines, by the name of what has them: the signal, or each of its heads."""
        if self.by_head:
            return tuple((head.name, head.lines) for head in self.heads)
        return ((self.name, self.lines),)

    def colors(self, aspect: str, chart: Chart) -> Combination:
        """The colors in which it shows an aspect of its rules, the top head first."""
        colors = chart.beside(self.plate).colors(aspect, len(self.heads))
        assert colors is not None, "checked when the plan was built"
        return colors

    @property
    def conditions(self) -> Iterator[Condition]:
        """The conditions of its lines and of the lines of its heads."""
        lines = (*self.lines, *(line for head in self.heads for line in head.lines))
        whens = (line.when for line in lines)
        return (when for when in (*whens, self.lit) if when is not None)

    def conditions_of(self, head: Head) -> Iterator[Condition]:
        """What a head goes by: the conditions of its lines, and the train that it is lit for."""
        whens = (line.when for line in self.lines or head.lines)
        lit = self.lit if head.approach else None
        return (when for when in (*whens, lit) if when is not None)

    @property
    def reading(self) -> Observable:
        return observables.reading(self.name, self.aspect.values)

    @property
    def worst_reading(self) -> Observable:
        return observables.reading(self.name, self.aspect.values, "worst reading")

    @property
    def sound_reading(self) -> Observable:
        return observables.reading(self.name, self.aspect.values, "sound reading")


@dataclass(frozen=True, slots=True)
class NamedCondition:
    name: str
    condition: Condition
    what: Observable
    span: Span


def facts_read(signal: Signal, named: Mapping[str, NamedCondition]) -> Iterator[Fact]:
    """Every fact that the rules of a signal test, named conditions expanded."""
    return observables.facts_unfolded(signal.conditions, lambda name: named[name].condition)


class Need(NamedTuple):
    """Points a route runs over, how they must lie, and whether it meets them facing."""

    points: str
    position: str
    facing: bool


@dataclass(frozen=True, slots=True)
class Route:
    """The way from a signal to the next one the same way, or to an end of the plan.

    ``needs`` in the order met; ``blocks`` likewise, each once; ``exit`` is the name of
    the signal, edge or bumper it ends at."""

    name: str
    signal: str
    moves: tuple[Move, ...]
    joints: tuple[Joint, ...]
    needs: tuple[Need, ...]
    blocks: tuple[str, ...]
    exit_kind: Literal["signal", "edge", "bumper"]
    exit: str

    @property
    def diverging(self) -> bool:
        """True when it takes the reverse way at any facing points."""
        return any(need.facing and need.position == "reverse" for need in self.needs)

    @property
    def pieces(self) -> tuple[str, ...]:
        return tuple(move.piece for move in self.moves)


ConflictKind = Literal["opposing", "converging", "crossing", "diverging"]


@dataclass(frozen=True, slots=True)
class Conflict:
    """Two routes that cannot both be used, how, and where they first meet.

    ``diverging``: they start from the same place and part, so they can never both be
    lined. ``pieces`` are all the pieces they share in this way."""

    first: Route
    second: Route
    kind: ConflictKind
    place: str
    pieces: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Entrance:
    """A way into interlocking limits: by a signal, or past none from an end of the plan."""

    end: str
    kind: Literal["signal", "edge", "bumper"]
    derail: str | None


@dataclass(frozen=True, slots=True)
class Limits:
    """The track between opposing home signals (49 CFR 236.753)."""

    name: str
    pieces: tuple[str, ...]
    entrances: tuple[Entrance, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Proof:
    """A property of the file's own."""

    title: str
    mode: Literal["never", "always", "possible"]
    condition: Condition
    span: Span


@dataclass(frozen=True, slots=True)
class Assumption:
    """Holds in every allowed situation (``never`` conditions are stored negated). ``lock``: it is
    a lock between levers, built into the frame. ``trains``: it says that there are at most so many
    trains."""

    title: str
    condition: Assumed
    text: str
    span: Span
    lock: "LeverLock | None" = None
    trains: int | None = None


@dataclass(frozen=True, slots=True)
class LeverLock:
    """A lock of a mechanical frame: a lever in a position holds others in theirs; under a
    condition, in words, where that is not empty."""

    lever: str
    position: str
    holds: tuple[tuple[str, str], ...]
    when: str


@dataclass(frozen=True, slots=True)
class Waiver:
    claim: str
    subjects: tuple[str, ...]
    reason: str
    span: Span


@dataclass(frozen=True, slots=True)
class Expectation:
    claim: str
    subjects: tuple[str, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Plan:
    """Everything a file says, checked. Mappings keep the order of the file."""

    source: Source
    title: str
    blocks: Mapping[str, Block]
    derails: Mapping[str, Derail]
    gates: Mapping[str, Gate]
    crossovers: Mapping[str, Crossover]
    track: Track
    chart: Chart
    signals: Mapping[str, Signal]
    conditions: Mapping[str, NamedCondition]
    inputs: tuple[Observable, ...]
    routes: tuple[Route, ...]
    conflicts: tuple[Conflict, ...]
    limits: tuple[Limits, ...]
    proofs: tuple[Proof, ...]
    assumptions: tuple[Assumption, ...]
    waivers: tuple[Waiver, ...]
    expectations: tuple[Expectation, ...]
    wiring: Wiring = NO_WIRING
    equipment: Equipment = NO_EQUIPMENT
    locking: Locking = NO_LOCKING
    packets: Packets = NO_PACKETS
    indicators: Mapping[str, Indicator] = field(default_factory=dict)
    # By the name of declared limits: the home signals that bound them.
    declared_limits: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    # The inputs it would have without wiring.
    unwired_inputs: tuple[Observable, ...] = ()

    def chart_of(self, signal: Signal) -> Chart:
        """What colors mean at this signal, with its plate if it has one."""
        return self.chart.beside(signal.plate)

    def facts_read(self, signal: Signal) -> Iterator[Fact]:
        """Every fact that the rules of a signal test, named conditions expanded."""
        return facts_read(signal, self.conditions)

    def facts_repeated(self, indicator: str) -> Iterator[Fact]:
        """Every fact that an indicator or bell repeats, named conditions expanded."""
        asked = [self.indicators[indicator].when]
        return observables.facts_unfolded(asked, lambda name: self.conditions[name].condition)

    def routes_of(self, signal: str) -> tuple[Route, ...]:
        return self._routes_by_signal.get(signal, ())

    _routes_by_signal: Mapping[str, tuple[Route, ...]] = field(default_factory=dict, repr=False)
