"""Why something is so: links of a chain as data, and the one place that puts them into words.

A :class:`Cause` says what kind of link it is, what it is about, in which state that is and where
the file says so. Reports decide by these; its sentence is made by :attr:`Cause.text` alone.
"""

from dataclasses import dataclass
from enum import Enum

from verifier.language.source import Span
from verifier.plan.state_words import state_clause


class CauseKind(Enum):
    """Every kind of link, with its sentence: ``{subject}`` and ``{state}`` are the cause's own,
    ``{clause}`` says that the one is in the other, all else is one of its details."""

    # Signals and what their drivers do.
    SHOWS = "{subject} shows {state} ({colors})"
    SHOULD_SHOW = "{subject} should show {state} ({colors})"
    WOULD_SHOW = "{subject} would show {state} ({colors}) to a train"
    LOOKS_LIKE = "{subject} looks like {state} ({colors})"
    LIT_LOOKS_LIKE = "what is lit looks like {state} ({colors})"
    LET_COME = "{subject} let {train} come{event}: it showed {state}"
    HEAD_SHOWS = "{subject} is {state}"
    HEADS_SWAPPED = "the wires of {subject} and {other} are swapped"
    HEAD_UNDRIVEN = "{subject} is dark: no driver lights it"
    FLASHER_STOPPED = "{subject} does not flash: the flasher of its driver {state}"
    PLATE_MISSING = "the {state} of {subject} is missing, so its colors are read by themselves"
    HEAD_BROKEN = "{subject} is dark: nothing of it lights"
    NO_TRAIN_BEFORE = "{subject} is dark: no train is reported on the block before it"
    JUDGED_UNLIT = "{subject} is judged by what it would show to a train: none is before it now"
    ARM_FELL = "the arm of {subject} is at stop: nothing holds it up"
    COMMON_BROKEN = "{subject} is dark: the wire to its lamps that others share is broken"
    LAMP_OUT = "{subject} is dark: its {state} lamp is out"
    LED_OUT = "{subject} is {state}, not {other}: an LED of it is out"
    DRIVER_UNPOWERED = "{subject} has no power, so that its heads are dark"
    SHOWN_WHEN_OUT = "{subject} shows {state} when a lamp is out"
    SHOWN_WHEN_MISSING = "{subject} shows {state} while an input is missing"
    LINE_NOT_SHOWN = "{state} is not shown"
    INDICATES = "{subject} {state}"
    INDICATOR_WIRE_BROKEN = "the wire to {subject} is broken, or its lamp burned out"
    BELL_WIRE_BROKEN = "the wire to {subject} is broken"
    # What rules read.
    HOLDS = "{subject} holds"
    DOES_NOT_HOLD = "{subject} does not hold"
    STATE = "{clause}"
    REMEMBERED_FROM_START = "{clause}, as at the start"
    REMEMBERED_SINCE = "{clause} since event {event}"
    REPORTS = "{subject} reports {state} ({truth})"
    REPORTS_FALSELY = "{subject} reports {state}, though {truth}"
    TRAIN_NOT_DETECTED = "{subject} reports {state} (the train there is not detected)"
    # Detectors and the inputs of drivers.
    STUCK = "{subject} is stuck at {state}"
    OPEN_READS = "the output of {subject} is closed when {closed}: open, it reads {state}"
    READS_WITHOUT_POWER = "{subject} reads {state} without track power"
    NOT_READ = "{subject} does not read {other}"
    CONTACTS_NOT_READ = "{subject} does not read the contacts of {other}"
    RETURN_BROKEN = "the {subject} is broken: {driver} gets nothing from {detector}"
    NO_COMMON_RETURN = (
        "{subject} is powered by {supply}, {driver} by {other}, and they have no common return: "
        "there is no usable input"
    )
    OTHER_KIND_OF_SUPPLY = (
        "{subject} is powered by {supply}, which is {current}, {driver} by {other}, which is "
        "{wanted}: there is no usable input, common return or not"
    )
    NO_POWER = "{subject} has no power"
    WIRE_BROKEN = "the wire from {subject} is broken"
    POWER_WIRE_BROKEN = "the {subject} is broken"
    SUPPLY_OFF = "supply {subject} is off"
    BUS_BROKEN = "the bus of {subject} is broken"
    SPOTS_ELSEWHERE = "{subject} looks only at {spots}"
    SPOTS_BESIDE_TRAIN = (
        "{subject} looks only at {spots}, and the train reaches from {start} to {end}"
    )
    # Where current flows.
    STRAY_CURRENT = "{stock}, and its current flows through {other}"
    FEEDER_ASTRAY = "feeder {subject} of {block} passes through {other}"
    NO_TRACK_POWER = "{subject} has no track power, so that stock draws no current"
    RAILS_DEAD = (
        "the rails there are dead: they are beyond the live frog of {turnout} on its {leg} leg, "
        "and the frog does not stand for that leg"
    )
    FROG_DEAD = (
        "the frog of {turnout} has no power, and the rails there, beyond it on its {leg} leg, are "
        "dead"
    )
    CURRENT_BYPASSES = "its current flows by way of {other}, past {subject}"
    CURRENT_DIVIDES = (
        "its current divides: too little of it may flow by {through} through {subject}, the "
        "rest by {past}"
    )
    ONLY_FEEDER_BROKEN = (
        "feeder {subject} is broken, and {block} has no other: stock draws no current"
    )
    SUB_BUS_BROKEN = "sub-bus {subject} is broken: no current flows by feeders {feeders}"
    FEEDER_BROKEN = "feeder {subject} is broken, so that stock draws through {others}"
    FEEDER_MISSES = "feeder {subject} does not pass through {missed}"
    FEEDER_PASSES_OTHER = "feeder {subject} does not pass through {missed}, but through {other}"
    COIL_ON_DC = "{subject} senses by a coil, and a coil sees nothing of the DC of {supply}"
    SENSE_UNKNOWN = (
        "the file does not say what {subject} senses by: a coil sees nothing of the DC of {supply}"
    )
    THROTTLE_AT_ZERO = (
        "with the throttle of {supply} at zero a standing train draws nothing, and the diodes of "
        "{subject} have no bias"
    )
    NO_FEEDER_PASSES = "no feeder of {subject} passes through {other}"
    NO_CURRENT_DRAWN = "the stock there draws no current"
    LITTLE_CURRENT_DRAWN = "the stock there draws too little current"
    ONLY_ENDS_DRAW = (
        "only the ends of a train draw current, and both are beyond this block: trains are up to "
        "{longest} long"
    )
    ONLY_LOCOMOTIVES_DRAW = "only locomotives draw current: cars left standing draw none"
    LOAD_TOO_SMALL = (
        "stock may draw no more than {current}, and {subject} with {turns} turns needs {needed}"
    )
    CURRENT_TOO_SMALL = "{volts} over {ohms} is {current}, and {subject} needs {needed}"
    CURRENT_TOO_SMALL_IN_TURNS = (
        "{volts} over {ohms} is {current}, {turns} turns make {multiplied} of it, and {subject} "
        "needs {needed}"
    )
    NO_GAP = "there is no gap at {subject}"
    GAP_BRIDGED = "gap {subject} is bridged"
    # Points and their locks.
    NO_CONTACTS = "{subject} has no contacts: what is reported is what it was told"
    ONE_CONTACT = "{subject} has no contact but {contact}: whenever that is open, it reads {state}"
    CONTACT_RETURN_BROKEN = "the return of the contacts of {subject} is broken"
    CONTACT_WIRES_SWAPPED = "the contact wires of {subject} are swapped"
    CONTACT_STUCK = "the contact {subject} is {state}"
    THROWN_UNPOWERED = "it was told{by} to lie {state}, and its motor has no power"
    THROWN_FAULTY = "it was told{by} to lie {state}, and its motor {fault}"
    THROWN_MOVING = "it was told{by} to lie {state}, and is still moving"
    NO_LOCK = "nothing locks {subject}"
    LOCK_RELEASED = "the electric lock of {subject} is released"
    NOT_LOCKED = "{subject} is not locked: `locked while …` does not hold"
    NO_TRAFFIC_LOCK = "nothing locks the direction of traffic {subject}"
    TRAFFIC_NOT_LOCKED = (
        "the direction of traffic {subject} is not locked: `locked while …` does not hold"
    )
    # Trains under no signal.
    CAME_IN = "{train} came in at {subject} and has passed no signal"
    STOOD = "{train} stood on {subject} at the start and has passed no signal"


@dataclass(frozen=True, slots=True)
class Subject:
    """What a cause is about: a kind of thing (that of its statement, or of an observable) and its
    name."""

    kind: str
    name: str


@dataclass(frozen=True, slots=True)
class Cause:
    """One link of a chain: what is so, the place in the file that has to do with it, and the
    causes behind it. Make one with :func:`cause`."""

    kind: CauseKind
    subject: Subject
    state: str
    details: tuple[tuple[str, str], ...]
    span: Span | None
    because: tuple["Cause", ...] = ()

    @property
    def text(self) -> str:
        """The sentence, without its place and what is behind it."""
        return self.kind.value.format(
            subject=self.subject.name,
            state=self.state,
            clause=state_clause(self.subject.kind, self.subject.name, self.state),
            **dict(self.details),
        )


def cause(
    kind: CauseKind,
    subject: Subject,
    span: Span | None,
    because: tuple[Cause, ...] = (),
    *,
    state: str = "",
    **details: str,
) -> Cause:
    """A cause; ``details`` are what its sentence names beside subject and state."""
    return Cause(kind, subject, state, tuple(sorted(details.items())), span, because)
