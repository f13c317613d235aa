"""What somebody saw on the bench, read from plain words.

In: a bench and words such as `locomotive at m2, T1 reverse, lever 4 left: 4L Stop`. Out: an
:class:`Observation`. First, in any order, where stock stands and how points and levers do;
then what signals or heads showed. Commas, `and`, `;`, `:`, `then` and `shows` only divide.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any, NoReturn

from verifier.diagnosis.bench import Bench, Colors, Setup
from verifier.language.diagnostics.diagnostic import Diagnostic, InputError, nearest
from verifier.language.diagnostics.registry import diagnostic
from verifier.language.source import Source, Span
from verifier.plan import observables
from verifier.plan.model import Signal
from verifier.plan.observables import Observable
from verifier.plan.signals.aspects import RESTRICTED_RANK, STOP_RANK
from verifier.plan.signals.heads import signal_of

# Beyond this many ways in which stock may stand, a look tells next to nothing.
MAX_WAYS = 400

_STOCK = frozenset((
    "locomotive", "locomotives", "loco", "engine", "train", "trains", "car", "cars", "stock",
))  # fmt: skip
_DRAWING = frozenset(("locomotive", "locomotives", "loco", "engine"))
_FILLERS = frozenset((
    "a", "an", "the", "and", "then", "is", "are", "was", "were", "stands", "stand", "standing",
    "lies", "lie", "shows", "showed", "show", "showing", "at", "on", "in", "near", "by", "with",
    "lever", "signal", "signals", "turnout", "switch", "block", "button", "derail", "gate", "head",
    "points", "crossover", "aspect", "still", "nearest", "feeder", "set", "relay", "timer",
    "traffic",
))  # fmt: skip
# Inputs that are in a state of their own, whatever the wiring.
_SET = ("lever", "button", "derail", "gate", "relay", "timer", "traffic")
_THROWN = frozenset(("thrown", "told", "throw", "commanded"))
_WORD = re.compile(r"[,;:]|[^\s,;:]+")
_COLORS = ("green", "yellow", "red", "lunar", "white", "dark")


@dataclass(frozen=True, slots=True)
class Sight:
    """What a signal was seen to show: one of ``colors``, top to bottom."""

    signal: str
    colors: frozenset[Colors]


@dataclass(frozen=True, slots=True)
class Observation:
    """One look at the layout: how it was set up, and what was seen of its signals."""

    text: str
    setup: Setup
    sights: tuple[Sight, ...]


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
    kind: str
    name: str
    span: Span
    what: Observable | None = None


class _Reader:
    def __init__(self, bench: Bench, source: Source):
        self.bench, self.plan, self.source = bench, bench.given, source
        self.words = [
            _Word(found.group().rstrip(".?!") or found.group(), Span(source, *found.span()))
            for found in _WORD.finditer(source.text)
        ]
        self.at = 0
        self.things = _things(bench)
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
                if self.subjects and word.text != ",":
                    self._unsaid()
                self.at += 1
            elif self._state(word):
                pass  # it has gone on by itself
            elif word.low in _STOCK and word.text not in self.things:
                self.at += 1
                self._stock(word)
            elif word.low in _THROWN:
                self.at += 1
                self.told_next = True
            elif (thing := self._named(word)) is not None:
                if self.subjects and _is_seen(thing) != _is_seen(self.subjects[0]):
                    self._unsaid()
                self.at += 1
                self.subjects.append(thing)
            elif word.low in _FILLERS:
                self.at += 1
            else:
                self._not_understood(word)
        if self.subjects:
            self._unsaid()
        if not self.sights and not self.told.keys() & self.lies.keys():
            self._error(
                "CP623", self._all(), "no_signal", signal=next(iter(self.plan.signals), "4L")
            )
        return Observation(" ".join(self.source.text.split()), self._setup(), self._sights())

    def _setup(self) -> Setup:
        ways = 1
        for places in self.stands.values():
            ways *= max(1, len(places))
        if ways > MAX_WAYS:
            self._error("CP623", self._all(), "ways", ways=ways)
        return Setup(
            tuple((block, places) for block, places in self.stands.items() if places),
            tuple(self.told.items()),
            tuple(self.lies.items()),
            tuple(self.facts.items()),
        )

    def _sights(self) -> tuple[Sight, ...]:
        return tuple(Sight(signal, colors) for signal, colors in self.sights.items())

    def _named(self, word: _Word) -> _Thing | None:
        found = self.things.get(word.text) or self._lower().get(word.low)
        last = self.subjects[-1] if self.subjects else None
        if found is None and last is not None and last.kind == "signal":
            # `4L upper green`
            found = self.things.get(f"{last.name}.{word.low}")
            if found is not None:
                self.subjects.pop()
        if found is None or found.kind in ("feeder",):
            return None
        return _Thing(found.kind, found.name, word.span, found.what)

    def _lower(self) -> Mapping[str, _Thing]:
        """Names in any case, except words with another meaning here."""
        return {
            name.lower(): thing for name, thing in self.things.items()
            if name.lower() not in _FILLERS | _STOCK | _THROWN
        }  # fmt: skip

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
        feeder = feeder or self._feeder_of(block)
        covers = self._covers(block)
        found = self._places(block, feeder, covers, draws=said.low in _DRAWING)
        if not found:
            self._error("CP621", word.span, "place", block=block, places=self._all_places(block))
        self._note("stock", block, "; ".join(found), word.span)
        self.stands[block] = found

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
        rest = " ".join(w.low for w in self.words[start : start + 5])
        found = re.match(r"over (?:no spots?|spots? (\d{1,3})(?: to (\d{1,3}))?)(?!\S)", rest)
        if found is None or block not in self.plan.equipment.geometry:
            return None
        self.at = start + len(found.group().split())
        if found.group(1) is None:
            return ()
        return tuple(range(int(found.group(1)) - 1, int(found.group(2) or found.group(1))))

    def _places(
        self, block: str, feeder: str | None, covers: tuple[int, ...] | None, *, draws: bool
    ) -> tuple[str, ...]:
        if block not in self.plan.equipment.places:
            return ("occupied",)
        electric = bool(self.plan.wiring.feeders_of(block))
        return tuple(
            place.name
            for place in self.bench.places(block)
            if (feeder is None or place.feeder == feeder)
            and (covers is None or place.covers == covers)
            and not (draws and electric and not place.draws)
        )

    def _all_places(self, block: str) -> Sequence[str]:
        return [place.name for place in self.bench.places(block)] or ["anywhere on it"]

    # -------------------------------------------------------------- states

    def _state(self, word: _Word) -> bool:
        """Take the word (and more of them) as the state of the things just named."""
        if not self.subjects:
            return False
        first = self.subjects[0]
        if _is_seen(first):
            return self._seen()
        state = _state_of(first, word)
        if state is None:
            return False
        for thing in self.subjects:
            state = _state_of(thing, word)
            if state is None:
                self._no_state(thing, word)
            self._is(thing, state)
        self.subjects, self.told_next = [], False
        self.at += 1
        return True

    def _is(self, thing: _Thing, state: str) -> None:
        name = thing.name
        match thing.kind:
            case "block":
                found = self._places(name, None, None, draws=False) if state == "occupied" else ()
                self._note("stock", name, "; ".join(found) or "vacant", thing.span)
                self.stands[name] = found
            case "turnout":
                self._turnout(name, state, thing.span)
            case "crossover":
                for end in self.plan.crossovers[name].ends:
                    self._turnout(end, state, thing.span)
            case "lever" if self.bench.thrown_by(name):
                for turnout in self.bench.thrown_by(name):
                    self._note("told", turnout, state, thing.span)
                    self.told[turnout] = state
            case _:
                assert thing.what is not None
                self._note(thing.kind, name, state, thing.span)
                self.facts[thing.what] = state

    def _turnout(self, name: str, state: str, span: Span) -> None:
        if self.told_next and self.bench.throws(name):
            if state == "open":
                self._error("CP621", span, "told_open", name=name)
            self._note("told", name, state, span)
            self.told[name] = state
        else:
            self._note("points", name, state, span)
            self.lies[name] = state

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
            found = [self._shown(thing, said) for thing in self.subjects]
            if all(colors is not None for colors in found):
                for thing, colors in zip(self.subjects, found, strict=True):
                    assert colors is not None
                    self._see(thing, colors, words)
                self.subjects, self.told_next = [], False
                self.at += length
                return True
        return False

    def _see(self, thing: _Thing, colors: frozenset[Colors], words: Sequence[_Word]) -> None:
        name = signal_of(thing.name, self.plan.signals)
        said = " ".join(word.text for word in words)
        if not colors:
            self._never_seen(thing, words)
        self._note(thing.kind, thing.name, said.lower(), thing.span)
        known = self.sights.get(name)
        if known is not None and not known & colors:
            self._error("CP622", thing.span, name=name)
        self.sights[name] = colors if known is None else known & colors

    def _never_seen(self, thing: _Thing, words: Sequence[_Word]) -> NoReturn:
        signal = self.plan.signals[signal_of(thing.name, self.plan.signals)]
        span = words[0].span.to(words[-1].span)
        asked, heads = _colors([word.low for word in words]), len(signal.heads)
        if asked is not None and thing.kind == "signal" and len(asked) != heads:
            self._error(
                "CP624",
                span,
                "" if heads > 1 else "one_head",
                signal=signal.name,
                heads=heads,
                count=len(asked),
                head=signal.heads[0].name,
            )
        said = " ".join(word.text for word in words)
        self._error(
            "CP621", span, "shown", name=thing.name, said=said, lenses=_lenses(thing, signal)
        )

    def _shown(self, thing: _Thing, said: Sequence[str]) -> frozenset[Colors] | None:
        """The colors that words stand for: none where the signal cannot show them, None
        where they stand for no colors at all."""
        signal = self.plan.signals[signal_of(thing.name, self.plan.signals)]
        every = [head.lens.values for head in signal.heads]
        if thing.kind == "head":
            asked = _colors(said)
            if asked is None or len(asked) > 1:
                return None
            index = [head.name for head in signal.heads].index(thing.name)
            return frozenset(c for c in product(*every) if c[index] == asked[0])
        if said == ["dark"]:
            return frozenset([("dark",) * len(every)])
        chart = self.plan.chart
        aspect = next((a for a in chart.aspects if a.name.lower() == "-".join(said)), None)
        if aspect is not None:
            return frozenset(c for c in aspect.combinations
                             if len(c) == len(every) and _can(c, every))  # fmt: skip
        if list(said) in (["stop"], ["proceeds"], ["proceed"]):
            stop = said[0] == "stop"
            ranks = {c: a.indication.rank for a in reversed(chart.aspects) for c in a.combinations}
            return frozenset(
                c for c, rank in ranks.items() if len(c) == len(every) and _can(c, every)
                and (rank <= STOP_RANK if stop else rank > RESTRICTED_RANK)
            )  # fmt: skip
        asked = _colors(said)
        if asked is None:
            return None
        return frozenset([asked] if len(asked) == len(every) and _can(asked, every) else [])

    # -------------------------------------------------------------- errors

    def _unsaid(self) -> NoReturn:
        thing = self.subjects[0]
        self._error("CP623", thing.span, "shown" if _is_seen(thing) else "state", name=thing.name)

    def _no_state(self, thing: _Thing, word: _Word) -> NoReturn:
        if _is_seen(thing):
            signal = self.plan.signals[signal_of(thing.name, self.plan.signals)]
            self._error(
                "CP621",
                word.span,
                "shown",
                near=nearest(word.text, (a.name for a in self.plan.chart.aspects)),
                name=thing.name,
                said=word.text,
                lenses=_lenses(thing, signal),
            )
        self._error(
            "CP621",
            word.span,
            near=nearest(word.text, _states(thing)),
            kind=thing.kind,
            name=thing.name,
            state=word.text,
            states=_states(thing),
        )

    def _not_understood(self, word: _Word) -> NoReturn:
        near = nearest(word.text, (n for n, t in self.things.items() if t.kind != "feeder"))
        thing = self.things.get(word.text)
        if thing is not None and thing.kind == "feeder":
            self._error("CP623", word.span, "feeder", word=word.text)
        if self.subjects and (not near or _state_like(self.subjects[0], word)):
            self._no_state(self.subjects[0], word)
        self._error("CP620", word.span, near=near, word=word.text)

    def _all(self) -> Span:
        return Span(self.source, 0, len(self.source.text))

    def _error(self, code: str, span: Span, variant: str = "", /, **words: Any) -> NoReturn:
        raise InputError([diagnostic(code, span, variant, **words)])


# ------------------------------------------------------------------ what can be named


def _things(bench: Bench) -> dict[str, _Thing]:
    plan = bench.given
    whole = Span(plan.source, 0, 0)
    things: dict[str, _Thing] = {}
    for feeder in plan.wiring.feeders:
        things[feeder] = _Thing("feeder", feeder, whole)
    for block in plan.blocks:
        things[block] = _Thing("block", block, whole)
    for piece in plan.track.pieces.values():
        if piece.kind in ("turnout", "slip"):
            things[piece.name] = _Thing(
                "turnout", piece.name, whole, observables.points(piece.name)
            )
    for crossover in plan.crossovers:
        things[crossover] = _Thing("crossover", crossover, whole)
    for what in plan.inputs:
        if what.kind in _SET:
            things[what.name] = _Thing(what.kind, what.name, whole, what)
    for signal in plan.signals.values():
        for head in signal.heads:
            things[head.name] = _Thing("head", head.name, whole)
        things[signal.name] = _Thing("signal", signal.name, whole)
    return things


def _is_seen(thing: _Thing) -> bool:
    return thing.kind in ("signal", "head")


def _states(thing: _Thing) -> tuple[str, ...]:
    match thing.kind:
        case "block":
            return ("vacant", "occupied")
        case "turnout" | "crossover":
            return ("normal", "reverse", "open")
        case _:
            return thing.what.values if thing.what else ()


_SAME = {"clear": "vacant", "empty": "vacant", "moving": "open", "reversed": "reverse"}


def _state_of(thing: _Thing, word: _Word) -> str | None:
    states = _states(thing)
    found = _in_any_case(word.text, states)
    return found or (_SAME[word.low] if _SAME.get(word.low) in states else None)


def _state_like(thing: _Thing, word: _Word) -> bool:
    """Whether a word is nearer to a state than to any name."""
    return bool(nearest(word.text, _states(thing)))


def _in_any_case(word: str, known: Iterable[str]) -> str | None:
    return next((name for name in known if name.lower() == word.lower()), None)


def _colors(said: Sequence[str]) -> Colors | None:
    """``flashing yellow over red`` as colors."""
    parts = " ".join(said).split(" over ")
    known = {*_COLORS, *(f"flashing {color}" for color in _COLORS)}
    return tuple(parts) if all(part in known for part in parts) else None


def _can(colors: Colors, every: Sequence[tuple[str, ...]]) -> bool:
    return all(color in can for color, can in zip(colors, every, strict=True))


def _lenses(thing: _Thing, signal: Signal) -> list[str]:
    heads = [head for head in signal.heads if thing.kind == "signal" or head.name == thing.name]
    return [f"{head.name} {', '.join(head.lens.values)}" for head in heads]
