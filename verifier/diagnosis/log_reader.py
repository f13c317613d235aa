"""What a built layout reported, read line by line from its log.

In: lines of CSV with the columns `time`, `what` and `state`, or of JSON objects with these keys. A
running `number` is checked for gaps. Out: events, one for each line; nothing of the lines before is
kept, so that a log may be of any length, and still growing.
"""

import csv
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from math import isfinite
from typing import Any, Literal

from verifier.language.csv_reader import SEPARATORS, csv_table, shortened
from verifier.language.diagnostics.diagnostic import InputError, nearest
from verifier.language.diagnostics.registry import diagnostic
from verifier.language.source import Source, Span
from verifier.plan import observables
from verifier.plan.devices import devices
from verifier.plan.model import Plan
from verifier.plan.observables import Observable

COLUMNS = ("time", "what", "state")
NUMBER = "number"
# What a logger writes that has lost something: `log, lost`.
LOG, LOST = "log", "lost"
LoggedKind = Literal["detector", "block", "position", "command", "head", "aspect", "memory"]
# The word before a name, for those who write `lever 4`.
_KIND_WORDS = frozenset((
    "lever", "button", "signal", "head", "turnout", "points", "block", "detector", "relay", "timer",
    "traffic", "derail", "gate", "slip",
))  # fmt: skip
_SAME = {
    "vacant": "clear", "free": "clear", "open": "moving", "moving": "open", "off": "released",
    "on": "pressed",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class LoggedThing:
    """Something that a log may speak of. ``what``: the observable; of a detector, that of its
    block."""

    kind: LoggedKind
    name: str
    states: tuple[str, ...]
    what: Observable


@dataclass(frozen=True, slots=True)
class LogEvent:
    """One line: at ``time``, in seconds, a thing came to, or was in, a state. ``written``: that
    time as the log has it."""

    line: int
    time: float
    thing: LoggedThing
    state: str
    written: str

    @property
    def text(self) -> str:
        return f"{self.thing.name} {self.state}"


def logged_things(plan: Plan) -> Mapping[str, tuple[LoggedThing, ...]]:
    """By name, what a log of this layout may speak of; a signal of one head by the aspect or the
    color."""
    found: dict[str, tuple[LoggedThing, ...]] = {}

    def add(kind: LoggedKind, name: str, what: Observable, states: tuple[str, ...] = ()) -> None:
        thing = LoggedThing(kind, name, states or what.values, what)
        found[name] = (*found.get(name, ()), thing)

    for block in plan.blocks.values():
        if block.detected:
            add("block", block.name, observables.block_report(block.name))
    for detector in plan.wiring.detectors.values():
        add("detector", detector.name, observables.block_report(detector.block))
    for device in devices(plan).values():
        add("position", device.name, device.report)
    for what in plan.inputs:
        if what.kind in ("lever", "button"):
            add("command", what.name, what)
    for name in plan.locking.memory:
        locking = plan.locking
        made = (
            observables.relay if name in locking.relays
            else observables.timer if name in locking.timers
            else observables.traffic
        )  # fmt: skip
        add("memory", name, made(name))
    for signal in plan.signals.values():
        add("aspect", signal.name, signal.aspect)
        for head in signal.heads:
            # A lamp may be out where none is ever put out.
            add("head", head.name, head.color, tuple(dict.fromkeys((*head.color.values, "dark"))))
    return found


def read_log(lines: Iterable[str], name: str, plan: Plan) -> Iterator[LogEvent]:
    """The events of a log. ``name``: what it is called in messages.

    Raises :class:`InputError` for the first line that cannot be read, names nothing on this layout,
    runs back in time, or follows a gap."""
    reader = _LogReader(name, plan)
    yield from reader.events(lines)
    if not reader.events_read:
        raise reader.error("CP630", "")


class _LogReader:
    def __init__(self, name: str, plan: Plan):
        self.name = name
        self.things = logged_things(plan)
        self.line = 0
        self.events_read = 0
        self._time = -float("inf")
        self._by_date: bool | None = None
        self._number: int | None = None
        self._columns: dict[str, int] = {}
        self._separator = ","

    def events(self, lines: Iterable[str]) -> Iterator[LogEvent]:
        as_json: bool | None = None
        for self.line, raw in enumerate(lines, start=1):
            text = raw.strip().removeprefix("\ufeff")
            if not text:
                continue
            if as_json is None:
                as_json = text.startswith("{")
                if not as_json:
                    self._head(text)
                    continue
            row = self._object(text) if as_json else self._cells(text)
            event = self._event(row, text)
            self.events_read += 1
            yield event

    # -------------------------------------------------------------- one line

    def _head(self, text: str) -> None:
        self._separator = max(SEPARATORS, key=text.count)
        names = [cell.strip().lower() for cell in text.split(self._separator)]
        self._columns = {name: n for n, name in enumerate(names)}
        missing = next((name for name in COLUMNS if name not in self._columns), None)
        if missing is not None:
            raise self.error("CP630", text, "columns", missing=missing)

    def _cells(self, text: str) -> Mapping[str, str]:
        try:
            cells = next(csv.reader([text], delimiter=self._separator))
        except csv.Error:  # a cell that is longer than any
            raise self.error("CP630", text[:200], "cells", cells=0) from None
        wanted = (*COLUMNS, *((NUMBER,) if NUMBER in self._columns else ()))
        if len(cells) <= max(self._columns[name] for name in wanted):
            raise self.error("CP630", text, "cells", cells=len(cells))
        return {name: cells[self._columns[name]].strip() for name in wanted}

    def _object(self, text: str) -> Mapping[str, str]:
        try:
            found: Any = json.loads(text)
        except (ValueError, RecursionError):
            raise self.error("CP630", text, "json") from None
        if not isinstance(found, dict):
            raise self.error("CP630", text, "json")
        row = {str(key).lower(): str(value) for key, value in found.items()}
        missing = next((name for name in COLUMNS if name not in row), None)
        if missing is not None:
            raise self.error("CP630", text, "key", missing=missing)
        return row

    def _event(self, row: Mapping[str, str], text: str) -> LogEvent:
        self._numbered(row.get(NUMBER), text)
        time = self._time_of(row["time"], text)
        name, said = row["what"], row["state"]
        if name.lower() == LOG and said.lower() == LOST:
            raise self.error("CP634", text, "lost")
        things = self._things(name, text)
        for thing in things:
            for state in (said, said.lower(), _SAME.get(said.lower(), "")):
                if state in thing.states:
                    written = row["time"] if self._by_date else f"{row['time']} s"
                    return LogEvent(self.line, time, thing, state, written)
        states = [state for thing in things for state in thing.states]
        raise self.error(
            "CP632", text, column="state", name=shortened(name), said=shortened(said),
            states=states,
        )  # fmt: skip

    def _things(self, name: str, text: str) -> tuple[LoggedThing, ...]:
        found = self.things.get(name)
        if found is None:
            word, _, rest = name.partition(" ")
            found = self.things.get(rest.strip()) if word.lower() in _KIND_WORDS else None
        if found is None:
            near = nearest(name, list(self.things))
            raise self.error("CP631", text, column="what", near=near, name=shortened(name))
        return found

    def _numbered(self, said: str | None, text: str) -> None:
        if said is None:
            return
        if not said.isascii() or not said.isdigit():
            raise self.error("CP630", text, "number", column=NUMBER, said=shortened(said))
        number, before = int(said[:18]), self._number
        if before is not None and number != before + 1:
            raise self.error("CP634", text, number=number, before=before)
        self._number = number

    def _time_of(self, said: str, text: str) -> float:
        """Seconds, or a date with a time of day: the same all through the log."""
        by_date = not (said[:1].isdigit() and "-" not in said[:5])
        try:
            time = _moment(said) if by_date else float(said)
        except ValueError:
            raise self.error("CP630", text, "time", column="time", said=shortened(said)) from None
        if not isfinite(time):
            raise self.error("CP630", text, "time", column="time", said=shortened(said))
        if self._by_date not in (None, by_date):
            before = "dates" if self._by_date else "seconds"
            raise self.error("CP630", text, "clock", column="time", before=before)
        self._by_date = by_date
        if time < self._time:
            by = f"{self._time - time:.10g}"
            raise self.error("CP633", text, column="time", said=shortened(said), by=by)
        self._time = time
        return time

    def error(
        self, code: str, text: str, variant: str = "", /, *, column: str = "", **words: Any
    ) -> InputError:
        """An error in the current line, of which alone the text is at hand; of CSV in the cell
        of a column."""
        before = "\n" * max(0, self.line - 1)
        source = Source(self.name, f"{before}{text}")
        span = Span(source, len(before), len(source.text))
        if column not in self._columns:
            # Nothing is known of where in the line it stands.
            return InputError([replace(diagnostic(code, span, variant, **words), fix=None)])
        cell = csv_table(Source(self.name, text)).rows[0][self._columns[column]].span
        span = Span(source, span.start + cell.start, span.start + cell.end)
        return InputError([diagnostic(code, span, variant, **words)])


def _moment(said: str) -> float:
    return datetime.fromisoformat(said).timestamp()
