"""Observations on the bench, read from plain words.

In: a bench and words such as `locomotive at m2, T1 reverse, lever 4 left: 4L Stop`. Out: an
:class:`Observation`. First, in any order, where stock stands and the positions of points and
levers; then what signals or heads showed. Commas, `and`, `;`, `:`, `then` and `shows` only divide.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import product
from math import prod
from typing import Any, NoReturn

from verifier.diagnosis.bench import Bench, Colors, Setup
from verifier.language.diagnostics.diagnostic import Diagnostic, InputError, nearest
from verifier.language.diagnostics.registry import diagnostic
from verifier.language.source import Source, Span
from verifier.plan import observables
from verifier.plan.model import Signal
from verifier.plan.observables import Observable
from verifier.plan.signals.aspects import RESTRICTED_RANK, STOP_RANK
from verifier.plan.signals.colors import ALL_COLORS
from verifier.plan.signals.heads import signal_of

# An observation with more ways in which stock may stand than these tells next to nothing.
MAX_WAYS = 400

_STOCK = frozenset((
    "locomotive", "locomotives", "loco", "engine", "train", "trains", "car", "cars", "stock",
))  # fmt: skip
_DRAWING = frozenset(("locomotive", "locomotives", "loco", "engine"))
# At most so many spots are looked for where `over spots 1 and 2 and 5` is said.
_MOST_SPOTS_SAID = 40
_SPOTS = re.compile(r"(?P<first>\d{1,3})(?: to (?P<last>\d{1,3}))?")
_SPOTS_SAID = re.compile(
    r"over (?:no spots?|spots? (?P<spots>\d{1,3}(?: to \d{1,3})?"
    r"(?: and \d{1,3}(?: to \d{1,3})?)*))(?!\S)"
)
_FILLERS = frozenset((
    "a", "an", "the", "and", "then", "is", "are", "was", "were", "stands", "stand", "standing",
    "lies", "lie", "shows", "showed", "show", "showing", "at", "on", "in", "near", "by", "with",
    "lever", "signal", "signals", "turnout", "switch", "block", "button", "derail", "gate", "head",
    "points", "crossover", "aspect", "still", "nearest", "feeder", "set", "relay", "timer",
    "traffic",
))  # fmt: skip
# Kinds of inputs that are set directly, whatever the wiring.
_SET = ("lever", "button", "derail", "gate", "relay", "timer", "traffic")
_THROWN = frozenset(("thrown", "told", "throw", "commanded"))
_WORD = re.compile(r"[,;:]|[^\s,;:]+")


@dataclass(frozen=True, slots=True)
class Sight:
    """What a signal was seen to show: one of ``colors``, top to bottom."""

    signal: str
    colors: frozenset[Colors]


@dataclass(frozen=True, slots=True)
class Observation:
    """One look at the layout: how it was set up, and what was seen of its signals.
    ``not_looked_at``: what is thrown, and of which nobody has seen how it lies."""

    text: str
    setup: Setup
    sights: tuple[Sight, ...]
    not_looked_at: frozenset[str] = frozenset()


def observations(bench: Bench, texts: Iterable[str]) -> tuple[Observation, ...]:
    """Raises :class:`InputError` for what cannot be understood, of all of them at once."""
    read: list[Observation] = []
    errors: list[Diagnostic] = []
    for number, text in enumerate(texts, start=1):
        try:
            read.append(_Reader(bench, Source(f"observation {number}", text)).read())
        except InputError as error:
            errors += error.diagnostics
    if errors:
        raise InputError(errors)
    return tuple(read)


@dataclass(frozen=True, slots=True)
class _Word:
    text: str
    span: Span

    @property
    def low(self) -> str:
        return self.text.lower()


@dataclass(frozen=True, slots=True)
class _Thing:
    """Something that can be named, and where it was."""

    kind: str
    name: str
    span: Span
    what: Observable | None = None

    @property
    def is_seen(self) -> bool:
        return self.kind in ("signal", "head")

    @property
    def states(self) -> tuple[str, ...]:
        match self.kind:
            case "block":
                return ("vacant", "occupied")
            case "turnout" | "crossover":
                return ("normal", "reverse", "open")
            case _:
                return self.what.values if self.what else ()

    def state(self, word: _Word) -> str | None:
        """The state of this thing that a word stands for."""
        same = _SAME.get(word.low)
        return _in_any_case(word.text, self.states) or (same if same in self.states else None)


class _Reader:
    """Reads one observation, word by word."""

    def __init__(self, bench: Bench, source: Source):
        self.bench, self.plan, self.source = bench, bench.given, source
        self.words = [
            _Word(found.group().rstrip(".?!") or found.group(), Span(source, *found.span()))
            for found in _WORD.finditer(source.text)
        ]
        self.at = 0
        self.things = _things(bench)
        # Names in any case, except words with another meaning here.
        self.lower = {
            low: thing for name, thing in self.things.items()
            if (low := name.lower()) not in _FILLERS | _STOCK | _THROWN
        }  # fmt: skip
        self.subjects: list[_Thing] = []
        self.told_next = False
        self.stands: dict[str, tuple[str, ...]] = {}
        self.said: dict[tuple[str, str], str] = {}  # by kind and name
        self.facts: dict[Observable, str] = {}
        self.told: dict[str, str] = {}
        self.lies: dict[str, str] = {}
        self.sights: dict[str, frozenset[Colors]] = {}

    # -------------------------------------------------------------- the words

    def read(self) -> Observation:
        while self.at < len(self.words):
            word = self.words[self.at]
            if word.text in (",", ";", ":"):
                if word.text != ",":
                    self._finish()
                self.at += 1
            elif self._state(word):
                pass  # it has moved on by itself
            elif word.low in _STOCK and word.text not in self.things:
                self.at += 1
                self._stock(word)
            elif word.low in _THROWN:
                self.at += 1
                self.told_next = True
            elif (thing := self._named(word)) is not None:
                if self.subjects and thing.is_seen != self.subjects[0].is_seen:
                    self._finish()
                self.at += 1
                self.subjects.append(thing)
            elif word.low in _FILLERS:
                self.at += 1
            else:
                self._not_understood(word)
        self._finish()
        whole = Span(self.source, 0, len(self.source.text))
        if not self.sights and not self.told.keys() & self.lies.keys():
            self._error("CP623", whole, "no_signal", signal=next(iter(self.plan.signals), "4L"))
        ways = prod(max(1, len(places)) for places in self.stands.values())
        if ways > MAX_WAYS:
            self._error("CP623", whole, "ways", ways=ways)
        setup = Setup(
            tuple((block, places) for block, places in self.stands.items() if places),
            tuple(self.told.items()),
            tuple(self.lies.items()),
            tuple(self.facts.items()),
        )
        sights = tuple(Sight(signal, colors) for signal, colors in self.sights.items())
        return Observation(" ".join(self.source.text.split()), setup, sights)

    def _finish(self) -> None:
        """Nothing may be left of which only the name was said."""
        for thing in self.subjects:
            self._error("CP623", thing.span, "shown" if thing.is_seen else "state", name=thing.name)

    def _named(self, word: _Word) -> _Thing | None:
        found = self.things.get(word.text) or self.lower.get(word.low)
        last = self.subjects[-1] if self.subjects else None
        if found is None and last is not None and last.kind == "signal":
            # `4L upper green`
            found = self.things.get(f"{last.name}.{word.low}")
            if found is not None:
                self.subjects.pop()
        return replace(found, span=word.span) if found and found.kind != "feeder" else None

    # -------------------------------------------------------------- stock

    def _stock(self, said: _Word) -> None:
        """Where stock stands: at a feeder, on a block, over spots of a block."""
        while self.at < len(self.words) and self.words[self.at].low in _FILLERS | {"over", ","}:
            if self.words[self.at].text in self.things:
                break
            self.at += 1
        if self.at == len(self.words):
            self._error("CP623", said.span, "where")
        word = self.words[self.at]
        self.at += 1
        wiring = self.plan.wiring
        places = {*self.plan.blocks, *wiring.feeders}
        name = word.text if word.text in places else _in_any_case(word.text, places)
        if name is None:
            self._error(
                "CP620", word.span, "place", near=nearest(word.text, places), word=word.text
            )
        feeder = name if name in wiring.feeders else None
        block = wiring.feeders[name].block if feeder else name
        beyond = self._beyond(block)
        feeder = feeder or self._feeder_of(block)
        covers = self._covers(block)
        found = beyond or self.bench.places(block, feeder, covers, draws=said.low in _DRAWING)
        if not found:
            listed = self.bench.places(block) or ["anywhere on it"]
            self._error("CP621", word.span, "place", block=block, places=listed)
        self._note("stock", block, "; ".join(found), word.span)
        self.stands[block] = found

    def _beyond(self, block: str) -> tuple[str, ...]:
        """Rails beyond a live frog said after their block, as places are named: `on Main beyond the
        frog of T1 on its normal leg`."""
        for place in self.plan.equipment.places.get(block, ()):
            said = place.dead.name.lower().split() if place.dead else ()
            there = self.words[self.at : self.at + len(said)]
            if said and [word.low for word in there] == said:
                self.at += len(said)
                return (place.name,)
        return ()

    def _feeder_of(self, block: str) -> str | None:
        """A feeder said after its block: `on Main at m2`."""
        for ahead in range(self.at, min(self.at + 3, len(self.words))):
            word = self.words[ahead]
            feeder = self.plan.wiring.feeders.get(word.text)
            if feeder is not None and feeder.block == block:
                self.at = ahead + 1
                return feeder.name
            if word.low not in _FILLERS or word.text in self.things:
                break
        return None

    def _covers(self, block: str) -> tuple[int, ...] | None:
        """Spots said after a block: `over spot 2`, `over spots 1 to 3`, `over no spot`."""
        comma = [w.low for w in self.words[self.at : self.at + 2]] == [",", "over"]
        start = self.at + comma
        rest = " ".join(w.low for w in self.words[start : start + 2 * _MOST_SPOTS_SAID])
        found = _SPOTS_SAID.match(rest)
        if found is None or block not in self.plan.equipment.geometry:
            return None
        self.at = start + len(found.group().split())
        covers: list[int] = []
        for said in _SPOTS.finditer(found["spots"] or ""):
            ends = sorted((int(said["first"]), int(said["last"] or said["first"])))
            covers += range(ends[0] - 1, ends[1])
        return tuple(covers)

    # -------------------------------------------------------------- states

    def _state(self, word: _Word) -> bool:
        """Take the word (and more of them) as the state of the things just named."""
        if not self.subjects:
            return False
        if self.subjects[0].is_seen:
            return self._seen()
        if self.subjects[0].state(word) is None:
            return False
        for thing in self.subjects:
            state = thing.state(word)
            if state is None:
                self._no_state(thing, word)
            self._is(thing, state)
        self._next(1)
        return True

    def _next(self, words: int) -> None:
        """Go on after the words that said the states of the things named."""
        self.subjects, self.told_next = [], False
        self.at += words

    def _is(self, thing: _Thing, state: str) -> None:
        name = thing.name
        match thing.kind:
            case "block":
                found = self.bench.places(name) if state == "occupied" else ()
                self._note("stock", name, "; ".join(found) or "vacant", thing.span)
                self.stands[name] = found
            case "turnout":
                self._turnout(name, state, thing.span)
            case "derail" | "gate" if self.bench.throws(name):
                self._turnout(name, state, thing.span)
            case "crossover":
                for end in self.plan.crossovers[name].ends:
                    self._turnout(end, state, thing.span)
            case "lever" if self.bench.thrown_by(name):
                for thrown, position in self.bench.told_by(name, state).items():
                    self._note("told", thrown, position, thing.span)
                    self.told[thrown] = position
            case _:
                assert thing.what is not None
                self._note(thing.kind, name, state, thing.span)
                self.facts[thing.what] = state

    def _turnout(self, name: str, state: str, span: Span) -> None:
        told = self.told_next and self.bench.throws(name)
        if told and state not in self.bench.positions(name):
            self._error("CP621", span, "told_open", name=name, positions=self.bench.positions(name))
        self._note("told" if told else "points", name, state, span)
        (self.told if told else self.lies)[name] = state

    def _note(self, kind: str, name: str, state: str, span: Span) -> None:
        if self.said.setdefault((kind, name), state) != state:
            self._error("CP622", span, name=name)

    # -------------------------------------------------------------- what was seen

    def _seen(self) -> bool:
        """What the signals and heads just named showed."""
        for length in (5, 4, 3, 2, 1):
            words = [w for w in self.words[self.at : self.at + length] if w.text not in ",;:"]
            if len(words) < length:
                continue
            said = [w.low for w in words]
            found = [(thing, self._shown(thing, said)) for thing in self.subjects]
            shown = [(thing, colors) for thing, colors in found if colors is not None]
            if len(shown) == len(found):
                for thing, colors in shown:
                    self._see(thing, colors, words)
                self._next(length)
                return True
        return False

    def _see(self, thing: _Thing, colors: frozenset[Colors], words: Sequence[_Word]) -> None:
        name = self._signal(thing).name
        if not colors:
            self._never_seen(thing, words)
        self._note(thing.kind, thing.name, " ".join(word.low for word in words), thing.span)
        known = self.sights.get(name, colors)
        if not known & colors:
            self._error("CP622", thing.span, name=name)
        self.sights[name] = known & colors

    def _signal(self, thing: _Thing) -> Signal:
        return self.plan.signals[signal_of(thing.name, self.plan.signals)]

    def _shown(self, thing: _Thing, said: list[str]) -> frozenset[Colors] | None:
        """The colors that words stand for: none where the signal cannot show them, None
        where they stand for no colors at all."""
        signal, colors = self._signal(thing), _colors(said)
        chart = self.plan.chart_of(signal)
        every = [head.lens.values for head in signal.heads]
        if thing.kind == "head":
            if colors is None or len(colors) > 1:
                return None
            index = [head.name for head in signal.heads].index(thing.name)
            return frozenset(c for c in product(*every) if c[index] == colors[0])
        if said == ["dark"]:
            return frozenset([("dark",) * len(every)])
        aspect = next((a for a in chart.aspects if a.name.lower() == "-".join(said)), None)
        meant: Iterable[Colors]
        if aspect is not None:
            meant = aspect.combinations
        elif said in (["stop"], ["proceeds"], ["proceed"]):
            stop = said == ["stop"]
            ranks = {c: a.indication.rank for a in reversed(chart.aspects) for c in a.combinations}
            meant = [
                c for c, rank in ranks.items()
                if (rank <= STOP_RANK if stop else rank > RESTRICTED_RANK)
            ]  # fmt: skip
        elif colors is not None:
            meant = [colors]
        else:
            return None
        return frozenset({*meant}.intersection(product(*every)))

    # -------------------------------------------------------------- errors

    def _never_seen(self, thing: _Thing, words: Sequence[_Word]) -> NoReturn:
        signal = self._signal(thing)
        span = words[0].span.to(words[-1].span)
        colors, heads = _colors([word.low for word in words]), len(signal.heads)
        if colors is not None and thing.kind == "signal" and len(colors) != heads:
            self._error(
                "CP624",
                span,
                "" if heads > 1 else "one_head",
                signal=signal.name,
                heads=heads,
                count=len(colors),
                head=signal.heads[0].name,
            )
        said = " ".join(word.text for word in words)
        lenses = self._lenses(thing)
        self._error("CP621", span, "shown", name=thing.name, said=said, lenses=lenses)

    def _lenses(self, thing: _Thing) -> list[str]:
        heads = self._signal(thing).heads
        return [f"{head.name} {', '.join(head.lens.values)}" for head in heads
                if thing.kind == "signal" or head.name == thing.name]  # fmt: skip

    def _no_state(self, thing: _Thing, word: _Word) -> NoReturn:
        if thing.is_seen:
            near = nearest(word.text, (a.name for a in self.plan.chart.aspects))
            words = {"name": thing.name, "said": word.text, "lenses": self._lenses(thing)}
            self._error("CP621", word.span, "shown", near=near, **words)
        self._error(
            "CP621",
            word.span,
            near=nearest(word.text, thing.states),
            kind=thing.kind,
            name=thing.name,
            state=word.text,
            states=thing.states,
        )

    def _not_understood(self, word: _Word) -> NoReturn:
        near = nearest(word.text, (n for n, t in self.things.items() if t.kind != "feeder"))
        if word.text in self.plan.wiring.feeders:
            self._error("CP623", word.span, "feeder", word=word.text)
        # A word nearer to a state than to any name is taken for a state.
        if self.subjects and (not near or nearest(word.text, self.subjects[0].states)):
            self._no_state(self.subjects[0], word)
        self._error("CP620", word.span, near=near, word=word.text)

    def _error(self, code: str, span: Span, variant: str = "", /, **words: Any) -> NoReturn:
        raise InputError([diagnostic(code, span, variant, **words)])


# ------------------------------------------------------------------ what can be named


def _things(bench: Bench) -> dict[str, _Thing]:
    """Everything that can be named; of two with one name the later kind counts."""
    plan = bench.given
    whole = Span(plan.source, 0, 0)
    turnouts = [p.name for p in plan.track.pieces.values() if p.kind in ("turnout", "slip")]
    named: list[tuple[str, str, Observable | None]] = [
        *(("feeder", name, None) for name in plan.wiring.feeders),
        *(("block", name, None) for name in plan.blocks),
        *(("turnout", name, observables.points(name)) for name in turnouts),
        *(("crossover", name, None) for name in plan.crossovers),
        *((what.kind, what.name, what) for what in plan.inputs if what.kind in _SET),
        *(("head", head.name, None) for s in plan.signals.values() for head in s.heads),
        *(("signal", name, None) for name in plan.signals),
    ]
    return {name: _Thing(kind, name, whole, what) for kind, name, what in named}


_SAME = {"clear": "vacant", "empty": "vacant", "moving": "open", "reversed": "reverse"}


def _in_any_case(word: str, known: Iterable[str]) -> str | None:
    return next((name for name in known if name.lower() == word.lower()), None)


def _colors(said: Sequence[str]) -> Colors | None:
    """``flashing yellow over red`` as colors."""
    parts = " ".join(said).split(" over ")
    return tuple(parts) if all(part in ALL_COLORS for part in parts) else None
