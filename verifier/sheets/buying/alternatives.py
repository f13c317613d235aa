"""Alternatives side by side: what each takes, what it costs, and what is proved of it.

In: plans, and of each how many of each kind of part are bought and what that costs. Out: tables.
Every plan is proved here and now; a cheaper one is worth something only if it keeps what the
first one was proved to keep, and if its signals still show all that they show there.
"""

from collections.abc import Iterator, Mapping, Sequence
from pathlib import PurePath
from typing import Literal

from verifier.language.listing import listing
from verifier.pipeline import prove
from verifier.plan.model import Plan
from verifier.sheets.buying.part_kinds import FAMILIES, PartKind
from verifier.sheets.sheet import Table
from verifier.verdicts.exit_codes import ExitCode
from verifier.verdicts.progress import Progress
from verifier.verdicts.report import Report, Verdict

Standing = Literal["proved", "BROKEN", "undecided", "waived", "expected broken", "not checked"]
_WORST_FIRST: tuple[Standing, ...] = (
    "BROKEN", "undecided", "expected broken", "waived", "proved", "not checked",
)  # fmt: skip


def comparison(
    plans: Sequence[Plan],
    counts: Sequence[Mapping[PartKind, str]],
    costs: Sequence[str] | None,
    progress: Progress,
) -> list[Table]:
    """``costs`` None where there are no prices; ``progress`` is told of every question, file
    by file.

    Raises :class:`InputError` where a plan cannot be proved at all."""
    names = _names(plans)
    reports = [prove(plan, repairs=False, progress=progress) for plan in plans]
    return [_parts(names, counts, costs), _proved(names, reports)]


def _names(plans: Sequence[Plan]) -> list[str]:
    """Their files' names alone, where these tell them apart."""
    paths = [plan.source.name for plan in plans]
    short = [PurePath(path).name for path in paths]
    return short if len(set(short)) == len(short) else paths


def _parts(
    names: Sequence[str], counts: Sequence[Mapping[PartKind, str]], costs: Sequence[str] | None
) -> Table:
    order = list(FAMILIES)
    kinds = sorted(
        {kind for bought in counts for kind in bought},
        key=lambda kind: (order.index(kind.family), kind.size or 0),
    )
    rows = [(str(kind), *(bought.get(kind, "0") for bought in counts)) for kind in kinds]
    if costs is not None:
        rows.append(("cost", *costs))
    return Table("Alternatives: parts to buy", ("kind", *names), tuple(rows),
                 numeric=frozenset(names) if costs is None else frozenset())  # fmt: skip


def _proved(names: Sequence[str], reports: Sequence[Report]) -> Table:
    standings = [_standings(report) for report in reports]
    asked = list(dict.fromkeys(name for standing in standings for name in standing))
    rows = [("grade", *(report.grade.value for report in reports))]
    for name in asked:
        row = [standing.get(name, "not checked") for standing in standings]
        if any(state not in ("proved", "not checked") for state in row) or len(set(row)) > 1:
            rows.append((name, *row))
    alike = len(asked) - len(rows) + 1  # one row is the grade
    rows.append(("all others" if len(rows) > 1 else "all", *(f"proved ({alike})" for _ in names)))
    notes = []
    for number, name in enumerate(names[1:], start=1):
        notes.append(_verdict(names[0], name, standings[0], standings[number]))
        gone = list(_gone(reports[0], reports[number]))
        if gone:
            notes.append(f"{name} does NOT do all that {names[0]} does: without {listing(gone)}.")
    failed = [
        name
        for name, report in zip(names, reports, strict=True)
        if report.exit_code != ExitCode.AS_EXPECTED
    ]
    notes += [f"`clearproof prove {name}` tells what it does not keep, and why." for name in failed]
    return Table("Alternatives: what is proved", ("property", *names), tuple(rows), tuple(notes))


def _gone(first: Report, other: Report) -> Iterator[str]:
    """What the signals of the first are of use for and those of the other are not: routes that
    can be cleared, and aspects that can be shown. What is without them has less to keep safe.
    Of signals that show colors head by head there, only the routes are looked at."""
    there = set(_of_use(other))
    for name, subjects in _of_use(first):
        signal = other.plan.signals.get(subjects[0])
        if (name, subjects) in there or (name == "never-shown" and (not signal or signal.by_head)):
            continue
        yield f"route {subjects[0]}" if name == "route-never-clears" else " ".join(subjects)


def _of_use(report: Report) -> Iterator[tuple[str, tuple[str, ...]]]:
    for verdict in report.verdicts:
        name, subjects = verdict.obligation.property, verdict.obligation.subjects
        if name in ("never-shown", "route-never-clears") and verdict.status == "proved":
            yield name, subjects


def _standings(report: Report) -> dict[str, Standing]:
    """By property, the worst of its verdicts. Advice fails no file and is left out."""
    found: dict[str, Standing] = {}
    for verdict in report.verdicts:
        if verdict.obligation.advice:
            continue
        name, state = verdict.obligation.property, _standing(verdict)
        worst = min(state, found.get(name, state), key=_WORST_FIRST.index)
        found[name] = worst
    return found


def _standing(verdict: Verdict) -> Standing:
    match verdict.status:
        case "broken":
            return "expected broken" if verdict.expected else "BROKEN"
        case "proved":
            return "proved"
        case "waived":
            return "waived"
        case "undecided":
            return "undecided"


def _verdict(
    first: str, other: str, before: Mapping[str, Standing], after: Mapping[str, Standing]
) -> str:
    """Whether the other plan keeps all that is proved of the first, in a sentence."""
    lost = [
        name
        for name, state in before.items()
        if state == "proved" and after.get(name, "not checked") not in ("proved", "not checked")
    ]
    unasked = [n for n, state in before.items() if state == "proved" and n not in after]
    also = f" Not checked there, so not compared: {', '.join(unasked)}." if unasked else ""
    if not lost:
        return f"{other} keeps everything that is proved of {first}.{also}"
    return f"{other} does NOT keep what is proved of {first}: {', '.join(lost)}.{also}"
