"""Grades in words: the headline of every report, and the line that asks for the next grade.

In: a report. Out: words, shared by the terminal, JSON, the HTML report, the page, sheets, exports
and certificates.
"""

from collections import Counter
from collections.abc import Iterable, Iterator
from itertools import chain
from pathlib import PurePath

from verifier.language.listing import listing
from verifier.plan.claims import limits_on_trains
from verifier.plan.locking.locking_model import never_broken
from verifier.plan.model import Plan
from verifier.plan.wiring.hearing import watched_arms
from verifier.verdicts.exit_codes import ExitCode
from verifier.verdicts.grade import Grade, KeptOut, Shortfall, ShortfallKind, lacks
from verifier.verdicts.report import Report

# The line that has histories considered.
TO_ADD = "trains obey signals"
NO_SIGNAL_CLEARS = (
    "No signal can ever clear. Whatever is proved below is proved of a layout on which no train "
    "may run: it says nothing of the rules."
)
NO_TRAINS = "no train is ever there: give the plan an edge, or say where `trains start on`"
# Where there is a mishap that the file does not claim, of what can always be done again.
AS_LONG_AS = "as long as nothing has collided or derailed"
# Things named in one line before the rest is counted.
_NAMED = 4

_COUNTED = {
    ShortfallKind.BROKEN: "broken",
    ShortfallKind.UNMET: "not as expected",
    ShortfallKind.UNDECIDED: "undecided",
    ShortfallKind.KNOWN: "broken as the baseline says",
    ShortfallKind.EXPECTED: "broken as the file expects",
    ShortfallKind.WAIVED: "waived",
}

# On a stamp, in a few words.
_STAMPED = {
    ShortfallKind.BROKEN: "{} BROKEN",
    ShortfallKind.UNMET: "{} NOT AS EXPECTED",
    ShortfallKind.UNDECIDED: "{} undecided",
    ShortfallKind.STOPPED: "stopped",
    ShortfallKind.KEPT_OUT: "trains kept out",
    ShortfallKind.KNOWN: "{} broken, known",
    ShortfallKind.EXPECTED: "{} broken as expected",
    ShortfallKind.WAIVED: "{} waived",
    ShortfallKind.SELECTED: "a part only",
}


def stamp(report: Report) -> str:
    """The grade as a mark, and the gravest reason why there is none: ``not proved: 2 BROKEN``."""
    grade = report.grade
    if grade is not Grade.NONE:
        return f"{grade.value}"
    gravest = next(s for s in report.shortfalls if s.kind.at_best is grade)
    why: str = _STAMPED[gravest.kind]
    return f"{grade.value}: {why.format(gravest.number)}"


def headline(report: Report, required: Grade | None = None) -> str:
    """The grade, with what it is short of, in one sentence: ``not proved: 2 broken``. That the
    file reaches less than the grade ``required`` is said too."""
    said = [shortfall_words(s, report) for s in report.shortfalls if not _is_no_histories(s)]
    text = report.grade.value + (f": {', '.join(said)}" if said else "")
    return text + failures_words(report) + _next(report, required)


def quiet_words(report: Report, required: Grade | None = None) -> str:
    """What follows the counts in a report of one line: what they do not tell."""
    told = [s for s in report.shortfalls if s.kind not in _COUNTED and not _is_no_histories(s)]
    said = "".join(f"; {shortfall_words(s, report)}" for s in told)
    return said + failures_words(report) + _next(report, required)


def beside_counts(report: Report) -> str:
    """The headline where the counts of verdicts stand beside it: they are not said again."""
    return report.grade.value + quiet_words(report)


def failures_words(report: Report) -> str:
    """Which failures were looked at, of a file with things that can break; empty where every two
    were, and nothing else can."""
    if not report.failures:
        return ""
    arms = ("contacts at arms",) * bool(watched_arms(report.plan))
    untried = listing((*never_broken(report.plan.locking), *arms))
    if report.all_pairs:
        return f"; failures of {untried} were not tried" if untried else ""
    but = f", but none of {untried}" if untried else ""
    return f"; failures were tried alone, and in pairs with a silent one{but}"


def _next(report: Report, required: Grade | None) -> str:
    """What is taken for what can always be done again, the line to add for the next grade, and that
    the one required is not reached."""
    add = line_to_add(report.plan)
    only = "" if report.grade is Grade.MOMENT else "single moments only, "
    text = f"; {only}for histories add `{add}`" if add else ""
    if any(verdict.before_mishaps for verdict in report.verdicts):
        text += f"; what can always be done again is judged {AS_LONG_AS}"
    if required is not None and lacks(report.grade, required):
        text += f"; less than {required.value}, which is required"
    return text


def line_to_add(plan: Plan) -> str:
    """The line of the language that asks for the next grade; empty where histories are considered
    already."""
    return "" if plan.locking.over_time else TO_ADD


def grade_asked(plan: Plan) -> str:
    """What to say of a plan where nothing is proved: which grade to ask for, and how; and what the
    file itself takes for granted."""
    file = PurePath(plan.source.name).name
    begin = f"Not proved here: `clearproof prove {file}` gives the grade of these rules"
    if add := line_to_add(plan):
        return (
            f"{begin}, at best {Grade.MOMENT.value}; for {Grade.OPERATION.value} add the line "
            f"`{add}`.{_taken(plan)}"
        )
    return f"{begin}, at best {Grade.OPERATION.value}.{_taken(plan)}"


def _taken(plan: Plan) -> str:
    """What a file assumes, and what its crew promises."""
    taken = [f'"{a.title}"' for a in plan.assumptions]
    taken += [promise.title for promise in plan.locking.promises]
    if len(taken) > _NAMED + 1:
        taken[_NAMED:] = [f"{len(taken) - _NAMED} more"]
    return f" The file takes for granted: {'; '.join(taken)}." if taken else ""


def _is_no_histories(shortfall: Shortfall) -> bool:
    return shortfall.kind is ShortfallKind.NO_HISTORIES


def shortfall_words(shortfall: Shortfall, report: Report) -> str:
    """What a proof falls short by, in a few words."""
    match shortfall.kind:
        case ShortfallKind.STOPPED:
            return report.stopped.brief if report.stopped else ""
        case ShortfallKind.KEPT_OUT:
            return "; ".join(kept_out_words(report))
        case ShortfallKind.NOTHING_CLEARS:
            return "no signal can ever clear"
        case ShortfallKind.NO_TRAINS:
            return NO_TRAINS
        case ShortfallKind.NOTHING_ASKED:
            return f"no check of {listing(report.only)}" if report.only else "no check is left"
        case ShortfallKind.SELECTED:
            return f"only {listing(shortfall.names)} was checked"
        case ShortfallKind.NO_HISTORIES:
            return "histories were not considered"
        case counted:
            return f"{shortfall.number} {_COUNTED[counted]}"


def kept_out_words(report: Report) -> Iterator[str]:
    """For each assumption, promise or line about trains, what it keeps them from: ``the assumption
    "x" keeps trains from block Siding and route 4L to Quarry``; and where no train ever comes."""
    promises = {p.title: f"`{p.text}`" for p in report.plan.locking.promises}
    lines = {title: f"`{title}`" for title, _ in limits_on_trains(report.plan)}
    by_titles: dict[tuple[tuple[str, ...], bool], list[KeptOut]] = {}
    for kept in report.kept_out:
        by_titles.setdefault((kept.titles, kept.sure), []).append(kept)
    for (titles, sure), things in by_titles.items():
        if not titles and not sure:
            yield f"it was not decided whether a train ever comes to {_things(things)}"
            continue
        if not titles:
            blocks = ", ".join(kept.name for kept in things)
            yield f"no train ever comes to {_things(things)}: say `trains start on {blocks}`"
            continue
        known = promises | lines
        assumed = [f'"{title}"' for title in titles if title not in known]
        promised = [promises[title] for title in titles if title in promises]
        said = [lines[title] for title in titles if title in lines]
        whos = _who("assumption", assumed), _who("promise", promised), _who("line", said)
        who = listing(chain.from_iterable(whos))
        verb = f"keep{'s' if len(titles) == 1 else ''}" if sure else "may keep"
        yield f"{who} {verb} trains from {_things(things)}"


def _who(kind: str, quoted: list[str]) -> Iterator[str]:
    """``the assumption "x"``, ``the promises `a` and `b```; nothing where there are none."""
    if quoted:
        yield f"the {kind}{'' if len(quoted) == 1 else 's'} {listing(quoted)}"


def _things(things: list[KeptOut]) -> str:
    named = [f"{kept.kind} {kept.name}" for kept in things]
    if len(named) > _NAMED + 1:
        named = [*named[:_NAMED], f"{len(named) - _NAMED} more"]
    return listing(named)


def grade_counts(files: Iterable[tuple[Grade, ExitCode]]) -> Iterator[str]:
    """How many files have each grade, a line each; those that are not proved just as they say they
    are not by themselves."""
    counted = Counter((grade, code == ExitCode.AS_EXPECTED) for grade, code in files)
    for grade in Grade:
        for as_expected in (True, False):
            if number := counted[grade, as_expected]:
                aside = ", just as the file says" * (grade is Grade.NONE and as_expected)
                yield f"  {number:>5}  {grade.value}{aside}"
