"""What can be observed on a layout, and conditions about it.

An :class:`Observable` is one thing that has a state: a block of track, a turnout's
points, a lever, what a detector reports, the aspect a signal shows. Rules, properties,
assumptions and situations all speak of observables and of nothing else.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal, get_args
from weakref import WeakValueDictionary

from verifier.language.source import Span
from verifier.plan.signals.colors import steady

# Truth: where stock and points really are.
Truth = Literal["stock", "standing", "points", "motion", "current", "share", "derail", "gate"]
# Commands: what people do.
Command = Literal["lever", "button", "thrown"]
# What is broken.
Broken = Literal["fault"]
# Memory: what earlier time steps left behind.
Memory = Literal["relay", "timer", "traffic"]
# In a history: what lasts less than so many seconds.
Window = Literal["late", "put back", "lost", "held"]
# In a history: what orders delays and windows in time, where durations matter.
Timing = Literal["clock", "ripe", "credit", "since"]
# In a history: where trains are, piece by piece, and what else is kept from step to step.
Train = Literal["train", "heading", "across", "pace", "wreck", "broken", "blipped", "again",
                "before", Window, Timing]  # fmt: skip
# In a history: what trains, people and time choose to do at one step.
Choice = Literal["advance", "reversal", "entry", "arrival", "throw", "expiry", "ripens", "loss",
                 "breaks",
                 "blip", "blip lasts", "works", "stays late", "stays put back", "stays lost",
                 "stays held",
                 "sees", "sees by signals"]  # fmt: skip
# In a history: what happens at one step.
Event = Literal["points move", "trains meet", "train derails", "lock released", "traffic turns",
                "clears again"]  # fmt: skip
# Reports: what the equipment says.
Reported = Literal["block report", "points report", "derail report", "gate report"]
# Logic: what the rules make of it, up to the colors shown and the aspect read.
Shown = Literal["condition", "line", "color", "aspect"]
# What an engineer sees: the color of a lens, and the aspect read at best, at worst, and with no
# fault present. What an operator sees or hears: an indicator or a bell of the panel.
Seen = Literal["lens", "reading", "worst reading", "sound reading", "indicator"]

# In a history: what people command at the moment after a step.
Then = Literal["then"]

Kind = Truth | Command | Broken | Memory | Train | Choice | Event | Then | Reported | Shown | Seen

UNLISTED = "an unlisted combination"


@dataclass(frozen=True, slots=True, eq=False, init=False, weakref_slot=True)
class Observable:
    """One thing with a state. ``usual`` is the state nobody needs to mention. ``reader`` is
    the driver at whose inputs a report is read; empty for the report as such.

    Equal ones are one object, for they are looked up very often."""

    kind: Kind
    name: str
    values: tuple[str, ...]
    usual: str
    reader: str

    def __new__(
        cls, kind: Kind, name: str, values: tuple[str, ...], usual: str, reader: str = ""
    ) -> "Observable":
        key = kind, name, values, usual, reader
        known = _known.get(key)
        if known is None:
            known = object.__new__(cls)
            for field, value in zip(cls.__match_args__, key, strict=True):
                object.__setattr__(known, field, value)
            known = _known.setdefault(key, known)
        return known

    def __getnewargs__(self) -> tuple[object, ...]:
        return self.kind, self.name, self.values, self.usual, self.reader

    @property
    def is_worked_out(self) -> bool:
        """Whether it follows from truth, commands and faults by reports, rules and lenses."""
        return self.kind in _WORKED_OUT

    def __repr__(self) -> str:
        return f"<{self.kind} {self.name}>"


# How many of each kind are kept at hand, in use or not.
RECENT = 1 << 12
_known: WeakValueDictionary[tuple[object, ...], Observable] = WeakValueDictionary()
_WORKED_OUT = frozenset((*get_args(Reported), *get_args(Shown), *get_args(Seen), *get_args(Event)))
REPORTED = frozenset(get_args(Reported))
# Truth about what moves, and its reports.
Lying = Literal["points", "derail", "gate"]
LYING = frozenset(get_args(Lying))
OF_CONTACTS = frozenset(("points report", "derail report", "gate report"))


def _of_kind(kind: Kind, *values: str) -> Callable[[str], Observable]:
    """What makes the observables of a kind, by name; the first of its states is the usual one."""
    return lru_cache(maxsize=RECENT)(lambda name: Observable(kind, name, values, values[0]))


stock = _of_kind("stock", "vacant", "occupied")
points = _of_kind("points", "normal", "reverse", "open")
derail = _of_kind("derail", "derailing", "non-derailing", "open")
gate = _of_kind("gate", "seated", "open")
button = _of_kind("button", "released", "pressed")
block_report = _of_kind("block report", "clear", "occupied")
points_report = _of_kind("points report", "normal", "reverse", "moving")
derail_report = _of_kind("derail report", "derailing", "non-derailing", "moving")
gate_report = _of_kind("gate report", "seated", "open")
relay = _of_kind("relay", "down", "up")
timer = _of_kind("timer", "idle", "running", "done")
# The direction of traffic, as the track is drawn.
traffic = _of_kind("traffic", "rightward", "leftward")
condition = _of_kind("condition", "false", "true")
indicator = _of_kind("indicator", "off", "on")
# In a history: whether a train stands on a piece of track, or across the joint of two pieces.
train = _of_kind("train", "vacant", "occupied")
across = _of_kind("across", "free", "spanned")
# Whether the train on a piece runs at restricted speed, ready to stop short.
pace = _of_kind("pace", "full", "restricted")
# Whether the train on a piece met another or derailed, and stays there.
wreck = _of_kind("wreck", "no", "yes")


def standing(block: str, places: tuple[str, ...]) -> Observable:
    """Where and how stock stands on a block, as far as the wiring distinguishes places."""
    return Observable("standing", block, ("vacant", *places), "vacant")


def lever(name: str, positions: tuple[str, ...]) -> Observable:
    usual = "normal" if "normal" in positions else positions[0]
    return Observable("lever", name, positions, usual)


def thrown(name: str, positions: tuple[str, str] = ("normal", "reverse")) -> Observable:
    """The commanded position of what no lever of the file commands; over time, of all that
    moves."""
    return Observable("thrown", name, positions, positions[0])


# A machine that lost its power before the last command: the points lie as they did before it.
AS_BEFORE = "as before"


def motion(name: str, *, slow: bool, may_lose_power: bool) -> Observable:
    """Whether a machine has come to the end of its travel. A slow one may be moving; one that
    may lose its power may have lost it before the last command. (While it has power,
    ``as before`` is no different from ``settled``.)"""
    return _of_kind("motion", "settled", *["moving"] * slow, *[AS_BEFORE] * may_lose_power)(name)


def current(name: str, states: tuple[str, ...]) -> Observable:
    """How current flows where two blocks have no gap between them."""
    return Observable("current", name, states, states[0])


DIVIDED = "divided"


def share(detector: str, block: str) -> Observable:
    """Whether a detector with some of the feeders of a block reports what it would if all current
    took the nearest feeder (``whole``), or, as current divides, the contrary."""
    return Observable("share", f"{block} at {detector}", ("whole", DIVIDED), "whole")


def lens(head: str, colors: tuple[str, ...]) -> Observable:
    """The color that a head really shows: of a flashing one also the steady one, since a flasher
    may stop."""
    stopped = map(steady, colors)
    return Observable("lens", head, tuple(dict.fromkeys((*colors, *stopped, "dark"))), "dark")


def reading(signal: str, aspects: tuple[str, ...], kind: Seen = "reading") -> Observable:
    """The aspect that an engineer reads at a signal. Where a dark head leaves colors that look
    like another aspect, it is the less restrictive of the two; as a ``worst reading`` the most
    restrictive aspect, as a ``sound reading`` what the signal would show with no fault."""
    return Observable(kind, signal, aspects, aspects[-1])


def heading(piece: str, ends: tuple[str, ...]) -> Observable:
    """The end by which the train on a piece came in: it leaves by another."""
    return Observable("heading", piece, ends, ends[0])


NOTHING = "nothing"


def broken(ways: tuple[str, ...]) -> Observable:
    """In a history: which thing is broken, and how. It stays so, and may work now and then."""
    return Observable("broken", "", (NOTHING, *ways), NOTHING)


# Whether what is broken works at a moment all the same, as a loose wire makes contact.
works = Observable("works", "", ("no", "yes"), "no")


def breaks(ways: tuple[str, ...]) -> Observable:
    """What breaks at one step."""
    return Observable("breaks", "", (NOTHING, *ways), NOTHING)


# The one false report of a history, once it has begun and until it is over.
OVER = "over"


def blipped(places: tuple[str, ...]) -> Observable:
    """Where detection still falsely reports occupied, from the moment after that did begin; or
    that the one false report of a history is over."""
    return Observable("blipped", "", (NOTHING, *places, OVER), NOTHING)


def blip(places: tuple[str, ...]) -> Observable:
    """Where detection begins to report occupied falsely, as long as it has not done so yet."""
    return Observable("blip", "", (NOTHING, *places), NOTHING)


# Whether a false report lasts on at the next moment.
blip_lasts = Observable("blip lasts", "", ("no", "yes"), "no")


def again(signal: str, button: str) -> Observable:
    """What became of a signal while a button stays pressed: it ``cleared``, a train ``passed``, and
    then something came about because of the button, which may clear it again (``due``)."""
    values = ("no", "cleared", "passed", "due")
    return Observable("again", f"{signal} / {button}", values, "no")


def before(command: Observable) -> Observable:
    """How a lever or button was at the moment before."""
    return Observable("before", f"{command.kind} {command.name}", command.values, command.usual)


def clock(name: str) -> Observable:
    """Whether a timer, or a slow relay, has been waiting since an earlier step."""
    return Observable("clock", name, ("at rest", "running"), "at rest")


# Whether a delay could have been over when all that acts at once last was at rest.
ripe = _of_kind("ripe", "no", "yes")


def window(kind: Window, name: str) -> Observable:
    """Something that lasts less than so many seconds after it began.

    ``late``: a train on the approach to a signal last saw it clear, and may still pass it;
    ``put back``: a signal last showed clear, and no train has passed it since; ``lost``: the
    stock on a block was last detected; ``held``: stock was last detected on a block whose detector
    holds its report."""
    return Observable(kind, name, ("no", "yes"), "no")


_STAYS: Mapping[Kind, Choice] = {
    "late": "stays late", "put back": "stays put back", "lost": "stays lost",
    "held": "stays held",
}  # fmt: skip


def stays(of: Observable) -> Observable:
    """The choice that a window is not over yet."""
    return choice(_STAYS[of.kind], of.name)


def credit(of: Observable, levels: int) -> Observable:
    """How many of some amounts of time have surely passed since a window began."""
    return Observable("credit", f"{of.kind} {of.name}", tuple(map(str, range(levels + 1))), "0")


def since(name: str, of: Observable, levels: int, later: int = 0) -> Observable:
    """When a timer or slow relay began to wait: which credit a window had then that began before;
    by which of some amounts at most the window began ``later``; or neither (``any``)."""
    values = ("any", *(f"later {i}" for i in range(later, 0, -1)), *map(str, range(levels + 1)))
    return Observable("since", f"{name} / {of.kind} {of.name}", values, "0")


def then(command: Observable) -> Observable:
    """What people command at the moment after the last step."""
    return Observable("then", f"{command.kind} {command.name}", command.values, command.usual)


def choice(kind: Choice, name: str) -> Observable:
    return Observable(kind, name, ("no", "yes"), "no")


def sight(reader: str, read: str, *, by_signals: bool = False) -> Observable:
    """The choice that, of two that act at one step, one sees the other after it has acted: by its
    own contacts, or by the signals that it reads."""
    return choice("sees by signals" if by_signals else "sees", f"{reader} / {read}")


def event(kind: Event, name: str) -> Observable:
    return Observable(kind, name, ("no", "yes"), "no")


def at_reader(what: Observable, reader: str) -> Observable:
    """A report as a driver's inputs give it; anything else unchanged."""
    return replace(what, reader=reader) if reader and what.kind in REPORTED else what


def line(owner: str, index: int) -> Observable:
    """Whether the ``index``-th line (from 0) of a signal or head is the one that acts."""
    return Observable("line", f"{owner}/{index}", ("idle", "acts"), "idle")


# ------------------------------------------------------------------ resolved conditions


@dataclass(frozen=True, slots=True)
class Fact:
    """``what`` is in one of the states ``values``; ``text`` is how the file puts it."""

    what: Observable
    values: tuple[str, ...]
    span: Span
    text: str


@dataclass(frozen=True, slots=True)
class All:
    parts: tuple["Condition", ...]
    span: Span


@dataclass(frozen=True, slots=True)
class AnyOne:
    parts: tuple["Condition", ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Not:
    part: "Condition"
    span: Span


Condition = Fact | All | AnyOne | Not


@dataclass(frozen=True, slots=True)
class Counted:
    """What counts as one more if ``what`` holds; then as one less for each of ``less`` that holds,
    and as one more for each of ``more``."""

    what: Fact
    less: tuple[Fact, ...]
    more: tuple[All, ...]


@dataclass(frozen=True, slots=True)
class AtMost:
    """The count of all ``counted`` is at most ``most``."""

    most: int
    counted: tuple[Counted, ...]
    span: Span


# What an assumption may be.
Assumed = Condition | AtMost


def facts_in(condition: Assumed) -> Iterator[Fact]:
    """Every fact of a condition, left to right."""
    match condition:
        case AtMost(counted=counted):
            for each in counted:
                yield each.what
                yield from each.less
                for ring in each.more:
                    yield from facts_in(ring)
        case Fact():
            yield condition
        case Not(part=part):
            yield from facts_in(part)
        case All(parts=parts) | AnyOne(parts=parts):
            for part in parts:
                yield from facts_in(part)


def facts_unfolded(
    conditions: Iterable[Condition], named: Callable[[str], Condition]
) -> Iterator[Fact]:
    """Every fact of some conditions, named conditions expanded (each once)."""
    waiting, opened = list(conditions), set()
    while waiting:
        for says in facts_in(waiting.pop()):
            name = says.what.name
            if says.what.kind != "condition":
                yield says
            elif name not in opened:
                opened.add(name)
                waiting.append(named(name))


def conditions_in(condition: Condition) -> Iterator[str]:
    """The named conditions it uses."""
    return (says.what.name for says in facts_in(condition) if says.what.kind == "condition")
