"""The results of a test card, read back from the CSV file that they were written into.

In: the card, and the text of the file with its last column filled in. Out: an observation for each
observed step, for :mod:`verifier.diagnosis`. All errors in the file are reported together, each
with its line and column.

The last column holds `ok`; or what was seen, such as `green`, `4RA green over red` or `T1 open`,
separated by commas; or `no`, which excludes only what the card expects. `rest ok` stands for all
that is not named. The cell is empty if nobody looked.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from itertools import product
from pathlib import Path
from typing import Any

from verifier.diagnosis.bench import Bench, Colors
from verifier.diagnosis.diagnose import Diagnosis, diagnosis
from verifier.diagnosis.observations import Observation, Sight, observations
from verifier.language.csv_reader import CsvCell, csv_table, is_formula
from verifier.language.diagnostics.diagnostic import Diagnostic, InputError, nearest
from verifier.language.diagnostics.registry import diagnostic
from verifier.language.files import UnreadableError, text_of
from verifier.language.source import Source, Span
from verifier.testcard.card import card_on
from verifier.testcard.card_model import Card
from verifier.testcard.observation_points import ObservationPoint, fingerprint, observation_points
from verifier.testcard.sequence_diagnosis import diagnose_sequence
from verifier.verdicts.progress import Progress, silent

# The title of the table, and its columns; those in _NEEDED are read back.
TITLE = "Test card"
COLUMNS = ("step", "do", "look at", "must show", "aspect", "seen")
_NEEDED = ("step", "look at", "seen")
_TITLE = re.compile(rf"'?{TITLE} ([0-9A-F]{{4}}-[0-9A-F]{{4}})")
# By what is thrown: how to say that it never lies so.
_NEVER_SO = {"points": "points", "derail": "derail", "gate": "gate"}
_OK = frozenset(("ok", "o.k.", "okay", "yes", "y", "good", "right", "✓", "✔", "☑"))
_NO = frozenset(("no", "n", "not ok", "wrong", "bad", "fail", "failed", "✗", "✘"))
# At most this many characters of a cell are repeated in a message.
MOST_TOLD = 40


def diagnose_results(
    bench: Bench, path: Path, further: Iterable[str] = (), progress: Progress = silent
) -> Diagnosis:
    """The diagnosis of the results in a file and of ``further`` observations in plain words.

    Raises :class:`InputError` with all errors in the file and the words."""
    source = Source(str(path), _text(path))
    return diagnose_filled(bench, card_on(bench, progress), source, further)


def diagnose_filled(
    bench: Bench, card: Card, source: Source, further: Iterable[str] = ()
) -> Diagnosis:
    """The same of a card that is at hand, and of what was written into it."""
    seen = observed(bench, card, source)
    more = observations(bench, further)
    if card.simulator is not None:
        return diagnose_sequence(bench, card, card.simulator, seen, more)
    return diagnosis(bench, [*seen.values(), *more])


def _text(path: Path) -> str:
    try:
        return text_of(path)
    except UnreadableError as error:
        span = Span(Source(str(path), ""), 0, 0)
        raise _error("CP100", span, error.reason, **error.fields) from None


def observed(bench: Bench, card: Card, source: Source) -> dict[int, Observation]:
    """The observations by the number of the step. Raises :class:`InputError`."""
    return _Reader(bench, card, source).read()


def cells_of(bench: Bench, card: Card, source: Source) -> dict[tuple[str, str], str]:
    """What was written into each row of a card, by its step and where to look, right or wrong.
    Raises :class:`InputError` if it is the file of another card."""
    columns, below = _Reader(bench, card, source).table(csv_table(source).rows)
    last = max(columns.values())
    return {
        (row[columns["step"]].text, row[columns["look at"]].text): row[columns["seen"]].text
        for row in below
        if len(row) > last
    }


@dataclass
class _Seen:
    """What was seen in one step."""

    said: list[str] = field(default_factory=list)
    sights: dict[str, frozenset[Colors]] = field(default_factory=dict)
    lies: dict[str, str] = field(default_factory=dict)


class _Reader:
    def __init__(self, bench: Bench, card: Card, source: Source):
        self.bench, self.card, self.source = bench, card, source
        self.errors: list[Diagnostic] = []
        self.steps = {str(step.number): step for step in card.steps}
        self.seen: dict[int, _Seen] = {}
        self.read_already: set[tuple[str, str]] = set()
        self.width = len(COLUMNS)

    def read(self) -> dict[int, Observation]:
        rows = csv_table(self.source).rows
        columns, below = self.table(rows)
        for row in below:
            if row[0].text and not row[0].text.isdecimal() and not any(c.text for c in row[1:]):
                break  # the title of the next table
            try:
                self._row(row, columns)
            except InputError as error:
                self.errors += error.diagnostics
        if not self.errors and not self.seen:
            raise _error("CP623", rows[0][0].span, "nothing_seen")
        if self.errors:
            raise InputError(self.errors)
        return {
            number: self._observation(number, seen) for number, seen in sorted(self.seen.items())
        }

    # -------------------------------------------------------------- the table

    def table(
        self, rows: tuple[tuple[CsvCell, ...], ...]
    ) -> tuple[Mapping[str, int], tuple[tuple[CsvCell, ...], ...]]:
        """The position of each column, and the rows below the header."""
        at, mark = next(
            ((i, m) for i, row in enumerate(rows) if (m := _TITLE.fullmatch(row[0].text))),
            (0, None),
        )
        whole = rows[0][0].span if rows else Span(self.source, 0, 0)
        if mark is None or at + 1 >= len(rows):
            raise _error("CP625", whole, title=TITLE)
        current = fingerprint(self.card)
        if mark[1] != current:
            raise _error("CP626", rows[at][0].span, printed=mark[1], current=current)
        header = [cell.text.lower() for cell in rows[at + 1]]
        missing = [name for name in _NEEDED if name not in header]
        if missing:
            span = rows[at + 1][0].span.to(rows[at + 1][-1].span)
            raise _error("CP625", span, "column", name=missing[0], columns=COLUMNS)
        self.width = len(header)
        return {name: header.index(name) for name in _NEEDED}, rows[at + 2 :]

    def _row(self, row: tuple[CsvCell, ...], columns: Mapping[str, int]) -> None:
        width = max(columns["step"], columns["look at"]) + 1
        row = (*row, *(CsvCell("", row[-1].span) for _ in range(width - len(row))))
        step, at = row[columns["step"]], row[columns["look at"]]
        found = self.steps.get(step.text)
        if found is None:
            said = _short(step.text)
            raise _error("CP627", step.span, "step", said=said, count=len(self.steps))
        every = {point.at: point for point in observation_points(found)}
        point = every.get(at.text)
        if point is None:
            near, said = nearest(at.text, every), _short(at.text)
            raise _error(
                "CP627", at.span, "look", near=near, step=step.text, said=said, looks=every
            )
        if (step.text, at.text) in self.read_already:
            raise _error("CP627", at.span, "twice", step=step.text, at=at.text)
        self.read_already.add((step.text, at.text))
        for cell in row[self.width :]:
            if cell.text:
                raise _error("CP625", cell.span, "cells")
        if len(row) > columns["seen"] and row[columns["seen"]].text:
            self._cell(found.number, point, row[columns["seen"]])

    # -------------------------------------------------------------- what was seen

    def _cell(self, step: int, point: ObservationPoint, cell: CsvCell) -> None:
        if is_formula(cell.text):
            example = f"{point.names[0]} {_for_example(point)}"
            raise _error("CP807", cell.span, "seen", said=_short(cell.text), example=example)
        seen = self.seen.setdefault(step, _Seen())
        named: set[str] = set()
        for part in filter(None, (p.strip() for p in re.split("[,;]", cell.text))):
            names, said = self._who(point, part, named, cell)
            for name in names:
                named.add(name)
                self._note(seen, point, name, said, cell)

    def _who(
        self, point: ObservationPoint, part: str, named: set[str], cell: CsvCell
    ) -> tuple[tuple[str, ...], str]:
        """The signals, or what is thrown, that a part of a cell is about, and what it says."""
        first, _, rest = part.partition(" ")
        name = next((n for n in point.names if n.lower() == first.lower().rstrip(":")), None)
        if name is not None and rest.strip():
            return (name,), rest.strip()
        if first.lower() in ("rest", "others", "other") and rest.strip().lower() in _OK:
            return tuple(n for n in point.names if n not in named), "ok"
        if part.lower() in _OK:
            return point.names, "ok"
        head = next((n for n in point.names if first.startswith(f"{n}.")), None)
        if head is not None:
            return (head,), part
        if len(point.names) == 1:
            return point.names, part
        example = f"{point.names[0]} {_for_example(point)}, rest ok"
        said = _short(part)
        raise _error("CP623", cell.span, "which", said=said, at=point.at, example=example)

    def _note(
        self, seen: _Seen, point: ObservationPoint, name: str, said: str, cell: CsvCell
    ) -> None:
        """Record what is said of one signal, or of one thing that is thrown."""
        expected, low = dict(point.expected)[name], said.lower()
        if point.turnouts:
            lies = next(iter(expected))[0]
            state = lies if low in _OK else self._position(name, low.removeprefix("lies "))
            if not state:
                kind = self.bench.lies(name).kind
                raise _error("CP621", cell.span, _NEVER_SO[kind], said=_short(said))
            seen.lies[name] = state
        elif low in _OK:
            seen.sights[name] = expected
        elif low in _NO:
            lenses = [head.lens.values for head in self.bench.plan.signals[name].heads]
            seen.sights[name] = frozenset(product(*lenses)) - expected
        else:
            seen.sights[name] = self._colors(name, said, cell)
        if low not in _OK:
            seen.said.append(said if said.startswith(name) else f"{name} {said}")

    def _position(self, name: str, said: str) -> str:
        """How something lies, in a word; empty for a word that does not say it."""
        state = "open" if said == "between" else said
        return state if state in self.bench.lies(name).values else ""

    def _colors(self, name: str, said: str, cell: CsvCell) -> frozenset[Colors]:
        """Colors or an aspect, in the words of any observation."""
        text = said if said.startswith(f"{name}.") else f"{name} {said}"
        try:
            [sight] = observations(self.bench, [text])[0].sights
        except InputError as error:
            raise InputError([replace(d, span=cell.span) for d in error.diagnostics]) from None
        except ValueError:
            raise _error("CP622", cell.span, "several", said=_short(said), name=name) from None
        return sight.colors

    def _observation(self, number: int, seen: _Seen) -> Observation:
        step = self.card.steps[number - 1]
        setup = step.setup
        lies = dict(setup.lies) | seen.lies
        said = "; ".join(seen.said) or "as it must be"
        return Observation(
            f"step {number}: {said}",
            replace(setup, lies=tuple(lies.items())),
            tuple(Sight(signal, colors) for signal, colors in seen.sights.items()),
            frozenset(step.lies).difference(seen.lies),
        )


def _error(code: str, span: Span, variant: str = "", /, **words: Any) -> InputError:
    return InputError([diagnostic(code, span, variant, **words)])


def _for_example(point: ObservationPoint) -> str:
    """What may be seen there: of what is thrown, how it must lie."""
    return next(iter(point.expected[0][1]))[0] if point.turnouts else "red"


def _short(text: str) -> str:
    """A cell's text, cut off if it is long."""
    return text if len(text) <= MOST_TOLD else f"{text[:MOST_TOLD]}…"
