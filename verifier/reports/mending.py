"""Repairs on the terminal and as JSON: each mistake with what else it breaks, each repair as the
lines that change."""

from collections.abc import Iterator, Sequence
from difflib import unified_diff

from verifier import __version__
from verifier.language.listing import several
from verifier.mending.mend import Mended, Mistake, Repair
from verifier.reports.ink import Ink
from verifier.reports.json_parts import Json, place_with_end
from verifier.reports.lines import paragraph
from verifier.reports.words import sentence
from verifier.verdicts.exit_codes import ExitCode
from verifier.verdicts.report import Verdict

SCHEMA_VERSION = 1
# So many of the findings that follow from one are named.
_NAMED = 8


def exit_code(found: Mended) -> ExitCode:
    """Of a file as it stands: 0 where nothing is broken."""
    if found.before.broken:
        return ExitCode.BROKEN
    open_ = found.before.report.stopped or any(
        v.status == "undecided" for v in found.before.report.verdicts
    )
    return ExitCode.UNDECIDED if open_ or found.stopped else ExitCode.AS_EXPECTED


def exit_code_after(found: Mended, repair: Repair) -> ExitCode:
    """Of a file as a repair leaves it."""
    return ExitCode.AS_EXPECTED if repair.whole else ExitCode.BROKEN


def mended_lines(found: Mended, ink: Ink) -> Iterator[str]:
    """Everything that was found."""
    report = found.before.report
    broken = len(found.before.broken)
    yield ink.paint(report.plan.title, "strong") + ink.paint(
        f"   {report.plan.source.name}", "quiet"
    )
    if not broken:
        why = " as far as it was decided" if exit_code(found) else ""
        yield f"Nothing to mend: nothing is broken{why}."
        return
    checks, mistakes = several(broken, "check"), several(len(found.mistakes), "mistake")
    yield f"{checks} broken; {mistakes} found that can be mended."
    numbers = {id(repair): k for k, repair in enumerate(found.repairs, start=1)}
    together = found.together
    single = [repair for mistake in found.mistakes for repair in mistake.repairs]
    if together is not None and together not in single:
        yield ""
        yield ink.paint("All together", "strong")
        yield from _repair(1, together, found, ink)
    for mistake in found.mistakes:
        yield ""
        yield from _mistake(mistake, ink)
        for repair in mistake.repairs:
            yield from _repair(numbers[id(repair)], repair, found, ink)
    yield from _left(found, ink)
    if found.repairs:
        yield ""
        name = report.plan.source.name
        one, proved = (
            ("it", "It is") if len(found.repairs) == 1 else ("one of them", "All of them are")
        )
        yield f"Make {one}: `clearproof mend {name} --apply 1`. {proved} proved."


def _mistake(mistake: Mistake, ink: Ink) -> Iterator[str]:
    asked = mistake.root.obligation
    yield f"{ink.paint('Mistake', 'bad')} {ink.paint(asked.property, 'strong')}: " + ", ".join(
        asked.subjects
    )
    yield from paragraph(sentence(asked.trouble), ink)
    if mistake.also:
        yield from paragraph(f"It also breaks {_keys(mistake.also)}.", ink)


def _keys(verdicts: Sequence[Verdict]) -> str:
    named = "; ".join(v.obligation.key for v in verdicts[:_NAMED])
    more = len(verdicts) - _NAMED
    return f"{named}; and {more} more" if more > 0 else named


def _repair(number: int, repair: Repair, found: Mended, ink: Ink) -> Iterator[str]:
    left = len(found.before.broken) - len(repair.mends)
    rest = "nothing stays broken" if repair.whole else f"{several(left, 'check')} still broken"
    yield ""
    yield f"{ink.paint(f'Repair {number}', 'good')} ({rest})"
    yield from paragraph(repair.sentence, ink)
    for line in difference(found, repair):
        kind = {"+": "good", "-": "bad"}.get(line[:1])
        yield f"   {ink.paint(line, kind)}" if kind else f"   {line}"


def difference(found: Mended, repair: Repair) -> list[str]:
    """The lines that a repair changes, as a unified diff."""
    name = found.before.report.plan.source.name
    before, after = found.before.text.splitlines(), repair.text.splitlines()
    made = unified_diff(before, after, name, f"{name} (mended)", n=1, lineterm="")
    return list(made)


def _left(found: Mended, ink: Ink) -> Iterator[str]:
    if found.left:
        yield ""
        told = f"No repair was found that leaves all else as it is for {_keys(found.left)}."
        yield from paragraph(told, ink)
        hints = dict.fromkeys(v.obligation.hint for v in found.left if v.obligation.hint)
        for hint in list(hints)[:3]:
            yield from paragraph(f"By hand: {hint}", ink)
    if found.stopped:
        yield f"The search ended early: {found.stopped}."


def mended_json(found: Mended, code: ExitCode) -> Json:
    """The same as data."""
    numbers = {id(repair): k for k, repair in enumerate(found.repairs, start=1)}
    return {
        "schema_version": SCHEMA_VERSION,
        "tool": {"name": "clearproof", "version": __version__},
        "file": found.before.report.plan.source.name,
        "exit_code": int(code),
        "broken": list(found.before.broken),
        "mistakes": [
            {
                "root": mistake.root.obligation.key,
                "trouble": mistake.root.obligation.trouble,
                "places": [place_with_end(span) for span in mistake.root.obligation.spans],
                "also_breaks": [v.obligation.key for v in mistake.also],
                "repairs": [numbers[id(repair)] for repair in mistake.repairs],
            }
            for mistake in found.mistakes
        ],
        "repairs": [
            {
                "number": numbers[id(repair)],
                "sentence": repair.sentence,
                "steps": list(repair.steps),
                "mends": list(repair.mends),
                "mends_all": repair.whole,
                "diff": "\n".join(difference(found, repair)),
            }
            for repair in found.repairs
        ],
        "left": [v.obligation.key for v in found.left],
        "stopped": found.stopped,
    }
