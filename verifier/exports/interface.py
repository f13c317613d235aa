"""What goes in and out of the exported function: its fields, and the numbers for their states.

In: a plan. Out: an :class:`Interface`. The C text is written from it and, after it has been read
back, held against the rules by it.

A state that goes in, or is remembered, is told by one of fourteen numbers any two of which differ
in at least four bits (the words of weight four of the extended Hamming code of length eight):
none is 0 or 255, so that memory which was never written, or has flipped, is found out.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor

from verifier.exports.asked_for import (
    noticed_missing,
    observables_read,
    part_of,
    watched_heads,
)
from verifier.exports.names import CNames, plain
from verifier.exports.told_signals import told_signals
from verifier.plan import observables
from verifier.plan.devices import Device, devices
from verifier.plan.model import Plan, Signal
from verifier.plan.observables import UNLISTED, Observable
from verifier.plan.panel import Indicator
from verifier.plan.signals.colors import COLORS, flashes, flashing, steady
from verifier.plan.wiring.wiring_model import Driver
from verifier.world.report_abstraction import lamp_out, reports_of

# The first two are each other's opposite in every bit.
_CODES = (0x5A, 0xA5, 0x3C, 0xC3, 0x66, 0x99, 0x69, 0x96, 0x55, 0xAA, 0x33, 0xCC, 0x0F)
_MISSING = 0xF0
# Where there are more states, bytes of even weight: any two differ in two bits.
_MORE_CODES = tuple(n for n in range(1, 255) if n.bit_count() % 2 == 0)
MOST_POSITIONS = len(_MORE_CODES)

# Red is 0, so that outputs which nobody has written yet are at red.
_STEADY = ("red", "dark", *(c for c in COLORS if c not in ("red", "dark")))
FLASHING = 16
# A call counts no more time than this, in milliseconds: nobody looked in between.
LONGEST_CALL = 1000
# A clock begins at 1; one more, since a difference of two readings in whole milliseconds may be
# more than has passed, by less than one.
_BEGINS = 2
# The most milliseconds between two calls that time coils.
_COIL_CALL = 5
_REMEMBERED = ("relay", "timer", "traffic")
_WORDS = {
    "block report": "block", "points report": "points", "derail report": "derail",
    "gate report": "gate", "lever": "lever", "button": "button", "relay": "relay",
    "timer": "timer", "traffic": "traffic",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class EncodedState:
    """One state as the C text has it."""

    value: str
    enumerator: str
    number: int


@dataclass(frozen=True, slots=True)
class Field:
    """One field. ``states`` in the order of the observable; ``missing`` is how a dead input is
    told, where that is noticed."""

    name: str
    what: Observable
    states: tuple[EncodedState, ...]
    missing: EncodedState | None = None

    @property
    def all_states(self) -> tuple[EncodedState, ...]:
        return (*self.states, self.missing) if self.missing else self.states

    def state(self, value: str) -> EncodedState:
        return next(state for state in self.states if state.value == value)


@dataclass(frozen=True, slots=True)
class Clock:
    """How long what moves a slow relay or lets a timer run out has lasted: 0 while nothing
    counts, 1 when it begins, then more by each millisecond. ``limits``: the number at which it
    has lasted long enough, by the state that is gone to."""

    name: str
    of: Field
    limits: Mapping[str, int]

    def lasts(self, to: str) -> int:
        """The milliseconds after which it goes there."""
        return self.limits[to] - _BEGINS

    @property
    def most(self) -> int:
        return max(self.limits.values())

    @property
    def bits(self) -> int:
        # A clock that one more call cannot carry past 16 bits.
        return 16 if self.most <= 64_000 else 32


@dataclass(frozen=True, slots=True)
class Pulse:
    """How the coils of a machine are timed: the fields that hold which coil has current (``coil``),
    the throw of the last pulse (``told``) and what is counted of a pulse (``clock``). ``longest``:
    the most milliseconds that a coil may have current; ``full``: what the clock comes to when a
    pulse is over."""

    coil: str
    told: str
    clock: str
    longest: int
    full: int


@dataclass(frozen=True, slots=True)
class PointsOutputs:
    """The outputs of one turnout, slip, derail or gate: whether it may be moved (``unlocked``,
    where something locks it), and how it is to be thrown (``throw``, where lever, buttons or a rule
    do so). ``pulse``: the longest that the coils of a twin-coil machine may have current, in
    milliseconds; None where the file gives no pulse. ``timed``: how the program times it."""

    device: Device
    unlocked: str | None
    throw: str | None
    twin_coil: bool
    pulse: int | None
    timed: Pulse | None = None

    @property
    def pulse_name(self) -> str:
        """The constant of the program that holds the pulse."""
        return f"{self.throw}_PULSE_MS"


@dataclass(frozen=True, slots=True)
class SignalOutputs:
    """The outputs of one signal: its aspect, and the colors of its heads from the top down."""

    signal: Signal
    aspect: str
    heads: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PanelOutput:
    """The output of an indicator or a bell of the panel: whether it is on."""

    indicator: Indicator
    name: str

    @property
    def restrictive(self) -> bool:
        """Whether it is on where nothing is known: where that makes people careful."""
        return self.indicator.warns


@dataclass(frozen=True, slots=True)
class Interface:
    """Everything the exported function is given, remembers, and tells."""

    plan: Plan
    inputs: tuple[Field, ...]
    memory: tuple[Field, ...]
    clocks: tuple[Clock, ...]
    lit: tuple[SignalOutputs, ...]
    points: tuple[PointsOutputs, ...]
    panel: tuple[PanelOutput, ...]
    colors: Mapping[str, EncodedState]
    aspects: Mapping[str, EncodedState]
    # For every field that goes in or is remembered.
    by_what: Mapping[Observable, Field]
    # The driver that it is for, and the plan that this is a part of; None for the whole layout.
    board: Driver | None = None
    of: Plan | None = None
    # The aspects of signals of other boards that go in, as wires tell them.
    told: tuple[Observable, ...] = ()

    @property
    def whole(self) -> Plan:
        """The plan that the outputs are held against."""
        return self.of or self.plan

    def place(self, field: Field) -> str:
        """Where a field stands, as the C text has it."""
        kept = field.what.kind in _REMEMBERED and field in self.memory
        return f"{'memory' if kept else 'in'}->{field.name}"

    def clock_of(self, name: str) -> Clock | None:
        """The clock of a relay or timer."""
        return next((clock for clock in self.clocks if clock.of.what.name == name), None)

    @property
    def pulses(self) -> tuple[tuple[PointsOutputs, Pulse], ...]:
        """The machines whose coils the program times."""
        return tuple((out, out.timed) for out in self.points if out.timed is not None)

    @property
    def coil_call(self) -> int:
        """How many milliseconds may pass between two calls that time coils."""
        return min((_between_calls(pulse.longest) for _, pulse in self.pulses), default=0)

    def restrictive(self, signal: Signal) -> tuple[str, tuple[str, ...]]:
        """The most restrictive that the rules of a signal show: the aspect, and the colors."""
        chart = self.plan.chart_of(signal)
        if signal.by_head:
            colors = tuple(head.lines[-1].shows for head in signal.heads)
        else:
            colors = signal.colors(signal.lines[-1].shows, chart)
        return chart.reading(colors), colors


class TooManyPositions(Exception):
    """A lever with more positions than there are numbers for."""

    def __init__(self, lever: str):
        self.lever = lever
        super().__init__(lever)


def interface_of(plan: Plan, board: str | None = None) -> Interface:
    """The fields of a plan, or of the program of one ``board`` of it: that reads what its own
    signals, memory and points ask for, and works out nothing else; what is remembered elsewhere
    goes in. Raises :class:`TooManyPositions`."""
    names, words = CNames(), CNames()
    part = part_of(plan, board)
    asked = set(observables_read(part))
    noticed = set(noticed_missing(part))
    kept = set(_memory(part))
    inputs = [
        _field(what, names, words, can_be_missing=what in noticed)
        for what in (*reports_of(plan), *plan.inputs)
        if what in asked and what.kind in _WORDS and what not in kept
    ]
    for head in watched_heads(part):
        what = lamp_out(head)
        states = _states(what, ("LAMP_LIT", "LAMP_OUT"))
        inputs.append(Field(names.give("lamp", head), what, states))
    told = _told(plan, board, asked)
    inputs += _told_fields(told, names, words)
    # In the order of the file, in which they act.
    memory = [_field(what, names, words) for what in _memory(part)]
    return Interface(
        part,
        tuple(inputs),
        tuple(memory),
        tuple(_clocks(part, memory, names)),
        tuple(
            SignalOutputs(
                signal,
                names.give("aspect", signal.name),
                tuple(names.give("head", head.name) for head in signal.heads),
            )
            for signal in part.signals.values()
        ),
        tuple(_points(part, names)),
        tuple(PanelOutput(o, names.give(o.kind, o.name)) for o in part.indicators.values()),
        {c: EncodedState(c, *_color(c)) for c in _colors(part)},
        _aspects(part, words),
        {field.what: field for field in (*inputs, *memory)},
        plan.wiring.drivers[board] if board is not None else None,
        plan,
        told,
    )


def _told(plan: Plan, board: str | None, asked: set[Observable]) -> tuple[Observable, ...]:
    """Of the signals that a board is told of, what its rules ask for."""
    names = told_signals(plan.wiring.drivers[board], plan) if board is not None else ()
    return tuple(plan.signals[name].aspect for name in names if plan.signals[name].aspect in asked)


def _told_fields(told: Iterable[Observable], names: CNames, words: CNames) -> Iterator[Field]:
    """One word for an aspect, whichever signal shows it."""
    known: dict[str, str] = {}
    for what in told:
        for value in what.values:
            if value not in known:
                said = "UNLISTED" if value == UNLISTED else value
                known[value] = words.give_capital("TOLD", said)
        states = _states(what, [known[value] for value in what.values])
        yield Field(names.give("signal", what.name), what, states)


def _field(
    what: Observable, names: CNames, words: CNames, *, can_be_missing: bool = False
) -> Field:
    kind = _WORDS[what.kind]
    if what.kind == "lever":
        enumerators = [words.give_capital(f"LEVER_{_cap(what.name)}", v) for v in what.values]
    else:
        enumerators = [f"{kind.upper()}_{_cap(value)}" for value in what.values]
    lost = EncodedState("missing", "INPUT_MISSING", _MISSING) if can_be_missing else None
    return Field(names.give(kind, what.name), what, _states(what, enumerators), lost)


def _cap(text: str) -> str:
    return plain(text).upper()


def _states(what: Observable, enumerators: Sequence[str]) -> tuple[EncodedState, ...]:
    codes = _CODES if len(what.values) <= len(_CODES) else _MORE_CODES
    if len(what.values) > len(codes):
        raise TooManyPositions(what.name)
    return tuple(
        EncodedState(value, enumerator, code)
        for value, enumerator, code in zip(what.values, enumerators, codes, strict=False)
    )


def _colors(plan: Plan) -> Iterator[str]:
    shown = {c for s in plan.signals.values() for head in s.heads for c in head.color.values}
    yield from _STEADY
    yield from (flashing(c) for c in _STEADY if flashing(c) in shown)


def _color(color: str) -> tuple[str, int]:
    number = _STEADY.index(steady(color))
    return f"COLOR_{_cap(color)}", number + FLASHING * flashes(color)


def _aspects(plan: Plan, words: CNames) -> dict[str, EncodedState]:
    """The most restrictive first; 0 is for colors that the chart does not list."""
    found = {UNLISTED: EncodedState(UNLISTED, "ASPECT_UNLISTED", 0)}
    words.give_capital("ASPECT", "UNLISTED")
    for number, aspect in enumerate(reversed(plan.chart.aspects), start=1):
        enumerator = words.give_capital("ASPECT", aspect.name)
        found[aspect.name] = EncodedState(aspect.name, enumerator, number)
    return found


# ------------------------------------------------------------------ memory and points


def _memory(plan: Plan) -> Iterator[Observable]:
    """Relays, the steps of sequences among them, timers and directions of traffic."""
    locking = plan.locking
    kinds = (
        (locking.relays, observables.relay),
        (locking.timers, observables.timer),
        (locking.traffic, observables.traffic),
    )
    for name in locking.memory:
        yield from (make(name) for known, make in kinds if name in known)


def _clocks(plan: Plan, memory: Iterable[Field], names: CNames) -> Iterator[Clock]:
    for field in memory:
        name = field.what.name
        relay, timer = plan.locking.relays.get(name), plan.locking.timers.get(name)
        limits: dict[str, int] = {}
        if timer is not None and timer.seconds:
            limits = {"done": _limit(timer.seconds)}
        elif relay is not None:
            slow = {"up": relay.slow_pick, "down": relay.slow_release}
            limits = {to: _limit(s) for to, s in slow.items() if s}
        if limits:
            yield Clock(names.give("clock", name), field, limits)


def _limit(seconds: Fraction) -> int:
    """What a clock comes to: never shorter than the file says."""
    return ceil(seconds * 1000) + _BEGINS


def _between_calls(pulse: int) -> int:
    """How many milliseconds may pass between calls that time a pulse."""
    return max(1, min(_COIL_CALL, pulse // 4))


def _timed(name: str, pulse: int, names: CNames) -> Pulse:
    """A coil gets its current at one call, and it is taken off at the first call at which the clock
    is full: one call, and a millisecond by which two readings differ too little, later than that.
    The clock begins at 1."""
    full = max(1, pulse - _between_calls(pulse))
    coil, told, clock = (names.give(word, name) for word in ("coil", "told", "pulse"))
    return Pulse(coil, told, clock, pulse, full)


def _points(plan: Plan, names: CNames) -> Iterator[PointsOutputs]:
    known = devices(plan)
    for name, throw in plan.locking.throws.items():
        locked = names.give("unlocked", name) if throw.locked is not None else None
        thrown = names.give("throw", name) if throw.by in ("lever", "buttons", "rule") else None
        if locked or thrown:
            pulse = floor(throw.pulse * 1000) if throw.pulse is not None else None
            timed = _timed(name, pulse, names) if thrown and pulse is not None else None
            yield PointsOutputs(known[name], locked, thrown, throw.snap, pulse, timed)
