"""The failure table of the terminal report: what each broken thing does, the worst first.

In: a report. Out: lines. What does nothing is summed up; what only makes signals more
restrictive is named shortly, unless everything is asked for.
"""

from collections.abc import Iterator, Mapping, Sequence
from textwrap import wrap

from verifier.findings.verdicts import Failure, Report, Verdict
from verifier.reports.ink import Ink

SHOWN_ROWS = 12
_NAMED = 6
_WIDEST_FAULT = 40
_NARROWEST_WORDS = 20


def failure_lines(
    report: Report, ink: Ink, *, everything: bool = False, pairs: bool = False
) -> Iterator[str]:
    """The table; nothing where no equipment is given that could break. ``pairs``: every two
    things were looked at too."""
    rows = _asked(report)
    if not rows:
        return
    verdicts = {(v.obligation.property, v.obligation.subjects): v for v in report.verdicts}
    telling = [row for row in rows if row.consequence in ("false proceed", "undecided")]
    labelled = [(row, *_label(row, verdicts)) for row in telling]
    # What counts comes before what is expected, waived or advice.
    labelled.sort(key=lambda entry: entry[2] == "quiet")
    single = sum(1 for row in rows if len(row.faults) == 1)
    yield ""
    two = ", and every two of them" if pairs else ""
    yield f"Failures ({single} things that can break{two}, the worst first):"
    if labelled:
        yield from _table(labelled if everything else labelled[:SHOWN_ROWS], ink)
        if len(labelled) > SHOWN_ROWS and not everything:
            yield f"  … and {len(labelled) - SHOWN_ROWS} further; `--all` shows them all."
    yield from _summed_up(rows, ink, everything)
    if pairs and not report.interrupted and not any(row.kind == "pair" for row in rows):
        yield "  No two of them do harm together where neither does alone."
    yield ""


def is_advice(row: Failure) -> bool:
    """Whether a row never fails a file."""
    return row.kind == "report-stuck"


def _asked(report: Report) -> list[Failure]:
    """The rows of the properties that were asked for; pairs go with them."""
    kinds = {v.obligation.property for v in report.verdicts} | {"pair"}
    return [row for row in report.failures if row.kind in kinds]


def _label(
    row: Failure, verdicts: Mapping[tuple[str, tuple[str, ...]], Verdict]
) -> tuple[str, str]:
    """The consequence in words, and how to paint it."""
    verdict = verdicts.get((row.kind, row.faults))
    if verdict is not None and verdict.status == "waived":
        return f"{row.consequence} (waived)", "quiet"
    if verdict is not None and verdict.expected:
        return f"{row.consequence} (expected)", "quiet"
    if is_advice(row):
        return f"{row.consequence} (advice)", "quiet"
    if row.consequence == "false proceed":
        return "FALSE PROCEED", "bad"
    return row.consequence, "unsure"


def _table(entries: Sequence[tuple[Failure, str, str]], ink: Ink) -> Iterator[str]:
    faults = [" and ".join(row.faults) for row, _, _ in entries]
    second = max(len(label) for label in (*(label for _, label, _ in entries), "consequence"))
    room = max(12, ink.width - second - 6 - _NARROWEST_WORDS)
    first = min(_WIDEST_FAULT, room, max(map(len, (*faults, "broken"))))
    yield ink.paint(f"  {'broken':<{first}}  {'consequence':<{second}}  what then happens", "quiet")
    room = ink.width - first - second - 6
    for fault, (row, label, style) in zip(faults, entries, strict=True):
        names = _wrapped(fault, first)
        words = _wrapped(row.why, room)
        for i in range(max(len(names), len(words))):
            name = names[i] if i < len(names) else ""
            why = words[i] if i < len(words) else ""
            shown = ink.paint(f"{label if i == 0 else '':<{second}}", style)
            yield f"  {name:<{first}}  {shown}  {why}".rstrip()


def _wrapped(text: str, width: int) -> list[str]:
    return wrap(text, width, break_on_hyphens=False) or [""]


def _summed_up(rows: Sequence[Failure], ink: Ink, everything: bool) -> Iterator[str]:
    """What makes signals more restrictive, by name, and how many do nothing."""
    restrictive = [" and ".join(r.faults) for r in rows if r.consequence == "more restrictive"]
    if restrictive:
        shown = restrictive if everything else restrictive[:_NAMED]
        more = len(restrictive) - len(shown)
        tail = f" and {more} more" if more else ""
        heading = f"More restrictive, and no more than that ({len(restrictive)})"
        text = f"{heading}: {', '.join(shown)}{tail}."
        yield from wrap(
            text, ink.width, initial_indent="  ", subsequent_indent="    ", break_on_hyphens=False
        )
    harmless = sum(1 for row in rows if row.consequence == "none")
    if harmless:
        yield f"  Without consequence: {harmless}."
