"""Repairs as edits of the text: conditions added to rules, and changes to the wiring.

In: a plan and a proved repair. Out: one range of the text to replace, or nothing if the repair
cannot be written into this text: it belongs in a module or an included file, or the edited text
would not be a junction. The page proves the edited text again.
"""

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import NamedTuple

from verifier.api import checked
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.source import Source, Span
from verifier.language.syntax import tree
from verifier.language.syntax.parse import parse
from verifier.plan.model import Plan
from verifier.plan.observables import AnyOne
from verifier.verdicts.report import Addition, Rewiring


class Edit(NamedTuple):
    """``text`` in place of the characters from ``start`` to ``end``."""

    label: str
    start: int
    end: int
    text: str


class _Replacement(NamedTuple):
    """Of replacements at one place, those with a lower ``rank`` come first."""

    start: int
    end: int
    rank: int
    text: str


def rule_fix(plan: Plan, additions: Sequence[Addition], path: Path | None) -> Edit | None:
    """The edit that adds each condition to the end of its line."""
    if not _is_here(plan, (addition.span for addition in additions)):
        return None
    by_line: dict[Span, list[str]] = {}
    for addition in additions:
        by_line.setdefault(addition.span, []).append(addition.condition)
    conditions = {
        line.span: line.when
        for signal in plan.signals.values()
        for lines in (signal.lines, *(head.lines for head in signal.heads))
        for line in lines
    }
    conditions |= {relay.picks.span: relay.picks for relay in plan.locking.relays.values()}
    replacements: list[_Replacement] = []
    for span, added in by_line.items():
        when = conditions.get(span)
        if when is None:
            return None
        more = "".join(f" and {condition}" for condition in added)
        if isinstance(when, AnyOne):
            replacements.append(_Replacement(when.span.start, when.span.start, 0, "("))
            more = f"){more}"
        replacements.append(_Replacement(span.end, span.end, 0, more))
    return _edit("Add to the rules", plan, replacements, path)


def wiring_fix(plan: Plan, steps: Sequence[Rewiring], path: Path | None) -> Edit | None:
    """The edit that makes all these changes. The last change of a clause counts."""
    if not _is_here(plan, (step.span for step in steps)):
        return None
    statements = parse(plan.source)
    replacements: dict[tuple[Span, str], _Replacement] = {}
    for step in steps:
        place = step.span.start
        holder = next((s for s in statements if s.span.start <= place < s.span.end), None)
        if holder is None:
            return None
        kind = _clause_kind(plan.source, holder, step) if step.how == "clause" else step.write
        replacements[holder.span, kind] = _replacement(holder, step, kind)
    return _edit("Change the wiring", plan, list(replacements.values()), path)


def _is_here(plan: Plan, spans: Iterable[Span]) -> bool:
    """Whether all spans lie in the text itself, not in a module or an included file."""
    return all(s.source.name == plan.source.name and s.source.used is None for s in spans)


def _clause_kind(source: Source, holder: tree.Statement, step: Rewiring) -> str:
    """The kind of clause that a step writes."""
    start, end = holder.span.start, holder.span.end
    [extended] = parse(Source(source.name, f"{source.text[start:end]}\n  {step.write}"))
    return _clauses(extended)[-1].kind


def _clauses(statement: tree.Statement) -> Sequence[tree.Clause]:
    return getattr(statement, "clauses", ())


def _replacement(holder: tree.Statement, step: Rewiring, kind: str) -> _Replacement:
    written = step.write.replace("\n  ", "\n").replace("\n", "\n  ")
    end = holder.span.end
    match step.how:
        case "instead":
            return _Replacement(holder.span.start, end, 0, written)
        case "after":
            return _Replacement(end, end, 1, f"\n{written}")
        case "clause":
            for clause in _clauses(holder):
                if clause.kind == kind:
                    return _Replacement(clause.span.start, clause.span.end, 0, written)
    return _Replacement(end, end, 0, f"\n  {written}")


def _edit(
    label: str, plan: Plan, replacements: Sequence[_Replacement], path: Path | None
) -> Edit | None:
    """The replacements as one edit; None if there are none, if they overlap, or if the result
    would not be a junction."""
    if not replacements:
        return None
    before, ordered = plan.source.text, sorted(replacements)
    start = at = ordered[0].start
    text = ""
    for one in ordered:
        if one.start < at:
            return None
        text += before[at : one.start] + one.text
        at = one.end
    try:
        checked(before[:start] + text + before[at:], plan.source.name, path)
    except InputError:
        return None
    return Edit(label, start, at, text)
