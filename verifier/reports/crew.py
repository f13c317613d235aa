"""`clearproof why FILE`: the fewest promises of the crew that make a file safe in operation.

In: what was found, and the report on the file with these promises. Out: the promises as a file
writes them; for each, the history where it is broken and the equipment in its place; what remains.
"""

from collections.abc import Iterator

from verifier.language.listing import several
from verifier.plan.locking.locking_model import Promise
from verifier.plan.model import Plan
from verifier.repair.crew_candidates import merged
from verifier.repair.fewest_promises import Fewest, Needed
from verifier.reports.histories import event_lines, last_picture
from verifier.reports.ink import Ink
from verifier.reports.lines import indented, paragraph
from verifier.reports.terminal import assumed_lines, finding_lines
from verifier.reports.words import sentence
from verifier.verdicts.exit_codes import ExitCode
from verifier.verdicts.grade_words import headline
from verifier.verdicts.report import Report, Verdict

# What no promise prevents: more of it than this is counted.
SHOWN = 3


def crew_exit_code(found: Fewest, report: Report) -> ExitCode:
    """1 where something stays broken whatever the crew promises, 3 where something is undecided."""
    if any(v.fails for v in report.verdicts):
        return ExitCode.BROKEN
    is_open = any(s.kind.exit_code is ExitCode.UNDECIDED for s in report.shortfalls)
    is_open = is_open or bool(found.stopped) or not found.suffices
    return ExitCode.UNDECIDED if is_open else ExitCode.AS_EXPECTED


def crew_lines(found: Fewest, report: Report, ink: Ink) -> Iterator[str]:
    """What the crew has to promise, and why. What was not reached for lack of time is counted."""
    plan = report.plan
    yield ink.paint(plan.title, "strong") + ink.paint(f"   {plan.source.name}", "quiet")
    yield ""
    yield from _answer(found, report, ink)
    if found.suffices:
        lead = "With these promises" if found.needed else "Without any promise"
        yield from paragraph(f"{lead}: {headline(report)}.", ink)
    for number, needed in enumerate(found.needed, start=1):
        yield ""
        yield from _needed(number, needed, found, ink)
    for name, text in found.together.items():
        yield ""
        yield from paragraph(f"In place of all promises about {name} (proved): {text}.", ink)
    marks: set[str] = set()
    remaining = _broken(report)
    if not report.interrupted:
        remaining += _undecided(found, report)
    for number, verdict in enumerate(remaining[:SHOWN], start=len(found.needed) + 1):
        yield ""
        yield from finding_lines(number, verdict, report, ink, marks)
    if len(remaining) > SHOWN:
        yield ""
        yield f"  … and {len(remaining) - SHOWN} further."
    yield ""
    yield from assumed_lines(report, ink)


def _broken(report: Report) -> list[Verdict]:
    """What the promises leave broken."""
    return [v for v in report.verdicts if v.fails]


def _undecided(found: Fewest, report: Report) -> list[Verdict]:
    """What is undecided with the promises."""
    open_ = {v.obligation.key: v for v in report.verdicts if v.status == "undecided"}
    decided = {v.obligation.key for v in report.verdicts if v.status in ("proved", "broken")}
    late = (v for v in found.remaining if v.status == "undecided")
    open_ |= {v.obligation.key: v for v in late if v.obligation.key not in decided}
    return list(open_.values())


def _answer(found: Fewest, report: Report, ink: Ink) -> Iterator[str]:
    """The answer in a sentence, and the lines to write."""
    if not found.suffices:
        why = found.stopped or "what promises prevent is not decided"
        yield from paragraph(f"Not decided what your crew has to promise: {why}.", ink)
        return
    broken, undecided = _broken(report), _undecided(found, report)
    if broken:
        yield from paragraph(f"No promise of your crew mends {_count(broken)}: see below.", ink)
    if undecided:
        why = report.stopped.why if report.stopped else "see below"
        yield from paragraph(f"Not decided with these promises, {_count(undecided)}: {why}.", ink)
    other = "Everything else is safe" if broken or undecided else "Safe"
    if not found.needed:
        yield from paragraph(f"{other} in operation: your crew has to promise nothing.", ink)
        yield from _needless(found, ink)
        return
    fewest = "none can be left out" if _is_least(found) else "fewer may do"
    yield from paragraph(f"{other} in operation if your crew keeps these promises ({fewest}):", ink)
    if not found.plan.locking.over_time:
        yield "     trains obey signals"
    for promise in merged((needed.promise for needed in found.needed), found.plan):
        yield f"     crew promises {promise.text}"
    yield from _needless(found, ink)
    if found.stopped:
        yield from paragraph(f"What follows is not complete: {found.stopped}.", ink)


def _needless(found: Fewest, ink: Ink) -> Iterator[str]:
    """What the file promises and nothing needs."""
    for promise in found.plan.locking.promises:
        if not _is_needed(promise, found):
            yield from paragraph(f"Nothing needs the file's promise {promise.text}.", ink)


def _count(verdicts: list[Verdict]) -> str:
    return several(len(verdicts), "check")


def _is_least(found: Fewest) -> bool:
    return all(needed.broken is not None for needed in found.needed)


def _is_needed(promise: Promise, found: Fewest) -> bool:
    return any(
        n.promise.rule == promise.rule and set(n.promise.about) <= set(promise.about)
        for n in found.needed
    )


def _needed(number: int, needed: Needed, found: Fewest, ink: Ink) -> Iterator[str]:
    yield f"{number}. {ink.paint(f'crew promises {needed.promise.text}', 'strong')}"
    broken = needed.broken
    if broken is None:
        yield from paragraph("It is not known whether it can be left out.", ink)
    else:
        yield from paragraph(
            f"Where it is broken (replayed): {sentence(broken.obligation.trouble)}", ink
        )
        yield from _history(broken, found.plan, ink)
    if needed.equipment:
        yield from paragraph(
            f"What makes it unnecessary (proved, and every route can be set as before): "
            f"{needed.equipment}.",
            ink,
        )
    elif broken is not None and _is_replaced(needed, found):
        yield from paragraph("One lock replaces it together with other promises: see below.", ink)
    elif broken is not None and not found.stopped:
        yield from paragraph("No equipment that was tried makes it unnecessary.", ink)


def _is_replaced(needed: Needed, found: Fewest) -> bool:
    """Whether one lock replaces it together with other promises."""
    return any(about in found.together for about in needed.promise.about)


def _history(broken: Verdict, plan: Plan, ink: Ink) -> Iterator[str]:
    story = broken.finding.story if broken.finding else None
    if story is not None:
        yield from event_lines(story, plan, ink)
        yield ""
        yield from indented(last_picture(story, broken.obligation, plan, ink))
