"""TAP, the Test Anything Protocol, version 14: a line for each case.

What is undecided is ``not ok``. Only what the file waives is skipped.
"""

from collections.abc import Iterator, Sequence

from verifier.reports.formats.cases import FAILING, Case, FileResult, cases
from verifier.verdicts.exit_codes import ExitCode

_ASIDE = {
    "known": " (broken; known by the baseline)", "expected": " (broken, as the file expects)",
    "noted": " (noted)",
}  # fmt: skip


def tap(results: Sequence[FileResult], _code: ExitCode) -> str:
    """The test lines of one run."""
    found = [case for result in results for case in cases(result)]
    lines = ["TAP version 14", f"1..{len(found)}"]
    for number, case in enumerate(found, start=1):
        lines += _lines(number, case)
    return "\n".join(lines) + "\n"


def _lines(number: int, case: Case) -> Iterator[str]:
    ok = "not ok" if case.ending in FAILING else "ok"
    named = _escaped(f"{case.file}: {case.name}{_ASIDE.get(case.ending, '')}")
    skipped = f" # SKIP {_escaped(case.text)}" if case.ending == "waived" else ""
    yield f"{ok} {number} - {named}{skipped}"
    if case.ending in FAILING:
        yield "  ---"
        yield f"  severity: {case.ending}"
        yield f"  message: {_quoted(case.text)}"
        yield f"  at: {_quoted(f'{case.file}:{case.line}')}"
        if case.events:
            yield "  history:"
            yield from (f"    - {_quoted(event['text'])}" for event in case.events)
        yield "  ..."


def _escaped(text: str) -> str:
    """A description on one line, in which `#` begins no directive."""
    return " ".join(text.split()).replace("\\", "\\\\").replace("#", "\\#")


def _quoted(text: str) -> str:
    """A YAML string in single quotes, on one line."""
    printable = "".join(c if c.isprintable() else " " for c in text)
    return "'" + " ".join(printable.split()).replace("'", "''") + "'"
