"""The failure table: what each broken thing does, the worst first.

In: a report. Out: its rows with the words for them, shared by all reports, and the lines of the
terminal. There, what does nothing is summed up; what only makes signals more restrictive is
named shortly, unless everything is asked for.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from textwrap import wrap

from verifier.language.listing import listing, several
from verifier.reports.ink import Ink
from verifier.reports.words import Style
from verifier.verdicts.report import Failure, Report, Verdict

SHOWN_ROWS = 12
_NAMED = 6
_WIDEST_FAULT = 40
_NARROWEST_WORDS = 20


def failure_lines(
    report: Report, ink: Ink, *, everything: bool = False, pairs: bool = False
) -> Iterator[str]:
    """The failure table; nothing where the file declares nothing that can break. ``pairs``:
    every two faults were considered too."""
    told = failure_rows(report)
    if not told:
        return
    rows = [entry.row for entry in told]
    labeled = [e for e in told if e.row.consequence in (*_HARMFUL, "undecided")]
    yield ""
    heading = f"Failures ({broken_words(told, pairs=pairs)}, the worst first):"
    yield from wrap(heading, ink.width, break_on_hyphens=False)
    if labeled:
        yield from _table(labeled if everything else labeled[:SHOWN_ROWS], ink)
        if len(labeled) > SHOWN_ROWS and not everything:
            yield f"  … and {len(labeled) - SHOWN_ROWS} further; `--all` shows them all."
    yield from _summed_up(rows, ink, everything)
    if harmless := pairs_words(report, told, pairs=pairs):
        yield f"  {harmless}"
    yield ""


def is_advice(row: Failure) -> bool:
    """Whether a row never fails a file."""
    return row.kind == "report-stuck"


@dataclass(frozen=True, slots=True)
class FailureRow:
    """A row in words: what is broken, and the consequence."""

    row: Failure
    broken: str
    consequence: str
    style: Style


def failure_rows(report: Report) -> list[FailureRow]:
    """The rows of the properties that were checked, and of pairs, the worst first; of equal
    rows, those that fail the file before those that are expected, waived or notes."""
    kinds = {v.obligation.property for v in report.verdicts} | {"pair"}
    verdicts = {(v.obligation.property, v.obligation.subjects): v for v in report.verdicts}
    told = [
        FailureRow(row, _broken(row), *_label(row, verdicts))
        for row in report.failures
        if row.kind in kinds
    ]
    return sorted(told, key=lambda entry: (_GRAVITY[entry.row.consequence], entry.style == "quiet"))


# Both need telling before what does no harm.
_GRAVITY = {
    "false proceed": 0, "unlocked": 0, "false indication": 0, "undecided": 0,
    "more restrictive": 1, "none": 2,
}  # fmt: skip
_HARMFUL = ("false proceed", "unlocked", "false indication")


def _broken(row: Failure) -> str:
    """``feeder m1 (silent) and feeder m2``."""
    pair = len(row.faults) > 1
    return " and ".join(f"{name} (silent)" if pair and name in row.silent else name
                        for name in row.faults)  # fmt: skip


def broken_words(told: Sequence[FailureRow], *, pairs: bool) -> str:
    """``12 things that can break, and those two at a time of which one is silent``."""
    single = sum(1 for entry in told if len(entry.row.faults) == 1)
    silent = any(entry.row.silent for entry in told)
    two = ", and every two of them" if pairs else ", and pairs with a silent one" if silent else ""
    return f"{several(single, 'thing')} that can break{two}"


def pairs_words(report: Report, told: Sequence[FailureRow], *, pairs: bool) -> str:
    """What was looked at of pairs, if they were; that none does harm, if none does."""
    if not pairs or report.interrupted:
        return ""
    over_time, found = report.plan.locking.over_time, [e for e in told if e.row.kind == "pair"]
    at = " at any single moment" if over_time else ""
    none = f"No two of them together cause harm{at} that neither causes alone."
    later = "What two of them do over time was not looked at."
    return " ".join([*([] if found else [none]), *([later] if over_time else [])])


def _label(
    row: Failure, verdicts: Mapping[tuple[str, tuple[str, ...]], Verdict]
) -> tuple[str, Style]:
    """The consequence in words, and how to paint it."""
    verdict = verdicts.get((row.kind, row.faults))
    if verdict is not None and verdict.status == "waived":
        return f"{row.consequence} (waived)", "quiet"
    if verdict is not None and verdict.expected:
        return f"{row.consequence} (expected)", "quiet"
    if is_advice(row):
        return f"{row.consequence} (note)", "quiet"
    if row.consequence in _HARMFUL:
        return row.consequence.upper(), "bad"
    return row.consequence, "unsure"


def _table(entries: Sequence[FailureRow], ink: Ink) -> Iterator[str]:
    second = max(len(label) for label in (*(entry.consequence for entry in entries), "consequence"))
    room = max(12, ink.width - second - 6 - _NARROWEST_WORDS)
    first = min(_WIDEST_FAULT, room, max(map(len, (*(e.broken for e in entries), "broken"))))
    yield ink.paint(f"  {'broken':<{first}}  {'consequence':<{second}}  what then happens", "quiet")
    room = ink.width - first - second - 6
    for entry in entries:
        names = _wrapped(entry.broken, first)
        words = _wrapped(entry.row.why, room)
        for i in range(max(len(names), len(words))):
            name = names[i] if i < len(names) else ""
            why = words[i] if i < len(words) else ""
            shown = ink.paint(f"{entry.consequence if i == 0 else '':<{second}}", entry.style)
            yield f"  {name:<{first}}  {shown}  {why}".rstrip()


def _wrapped(text: str, width: int) -> list[str]:
    return wrap(text, width, break_on_hyphens=False) or [""]


def _summed_up(rows: Sequence[Failure], ink: Ink, everything: bool) -> Iterator[str]:
    """What makes signals more restrictive, by name, and how many do nothing."""
    restrictive = [" and ".join(r.faults) for r in rows if r.consequence == "more restrictive"]
    if restrictive:
        heading = f"Only more restrictive ({len(restrictive)})"
        text = f"{heading}: {_shortened(restrictive, everything)}."
        yield from wrap(
            text, ink.width, initial_indent="  ", subsequent_indent="    ", break_on_hyphens=False
        )
    held: dict[str, list[str]] = {}
    for row in rows:
        if row.consequence == "more restrictive" and row.why:
            held.setdefault(row.why, []).append(" and ".join(row.faults))
    for words, by in held.items():
        names = listing(by, "or")
        if len(by) > _NAMED and not everything:
            names = f"{', '.join(by[:_NAMED])} or {len(by) - _NAMED} more"
        yield from wrap(
            f"With {names}: {words}.",
            ink.width, initial_indent="    ", subsequent_indent="      ", break_on_hyphens=False,
        )  # fmt: skip
    harmless = sum(1 for row in rows if row.consequence == "none")
    if harmless:
        yield f"  Without consequence: {harmless}."
    silent = [name for row in rows if len(row.faults) == 1 for name in row.silent]
    if silent:
        text = (
            f"Silent ({len(silent)}), no signal ever shows them: {_shortened(silent, everything)}."
        )
        yield from wrap(
            text, ink.width, initial_indent="  ", subsequent_indent="    ", break_on_hyphens=False
        )


def _shortened(names: Sequence[str], everything: bool) -> str:
    shown = names if everything else names[:_NAMED]
    more = len(names) - len(shown)
    return ", ".join(shown) + (f" and {more} more" if more else "")
