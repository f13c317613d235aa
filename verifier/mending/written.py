"""Repairs that were proved with a report, as changes of the text: conditions added to rules, and
changes to the wiring.

In: a plan and a repair. Out: what to replace; None where it cannot be written into this text: it
belongs in a module or an included file.
"""

from collections.abc import Iterable, Sequence

from verifier.language.source import Source, Span
from verifier.language.syntax import tree
from verifier.language.syntax.parse import parse
from verifier.mending.changes import Change
from verifier.plan.model import Plan
from verifier.plan.observables import AnyOne
from verifier.verdicts.report import Addition, Rewiring


def rule_changes(
    plan: Plan, additions: Sequence[Addition], *, in_modules: bool = False
) -> tuple[Change, ...] | None:
    """Each condition added to the end of its line; ``in_modules`` of the text too, where the names
    are those of the layout."""
    if not _is_here(plan, (addition.span for addition in additions), in_modules):
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
    changes: list[Change] = []
    for span, added in by_line.items():
        when = conditions.get(span)
        if when is None:
            return None
        more = "".join(f" and {condition}" for condition in added)
        if isinstance(when, AnyOne):
            changes.append(Change(when.span.start, when.span.start, 0, "("))
            more = f"){more}"
        changes.append(Change(span.end, span.end, 0, more))
    return tuple(changes)


def wiring_changes(
    plan: Plan, steps: Sequence[Rewiring], *, in_modules: bool = False
) -> tuple[Change, ...] | None:
    """All these changes made; ``in_modules`` likewise. The last change of a clause counts."""
    if not _is_here(plan, (step.span for step in steps), in_modules):
        return None
    statements = parse(plan.source)
    changes: dict[tuple[Span, str], Change] = {}
    for step in steps:
        place = step.span.start
        holder = next((s for s in statements if s.span.start <= place < s.span.end), None)
        if holder is None:
            return None
        kind = _clause_kind(plan.source, holder, step) if step.how == "clause" else step.write
        changes[holder.span, kind] = _change(holder, step, kind)
    return tuple(changes.values())


def _is_here(plan: Plan, spans: Iterable[Span], in_modules: bool) -> bool:
    """Whether all spans lie in the text itself, not in a module or an included file."""
    own = plan.source.name
    return all(s.source.name == own and (in_modules or s.source.used is None) for s in spans)


def _clause_kind(source: Source, holder: tree.Statement, step: Rewiring) -> str:
    """The kind of clause that a step writes."""
    start, end = holder.span.start, holder.span.end
    [extended] = parse(Source(source.name, f"{source.text[start:end]}\n  {step.write}"))
    return _clauses(extended)[-1].kind


def _clauses(statement: tree.Statement) -> Sequence[tree.Clause]:
    return getattr(statement, "clauses", ())


def _change(holder: tree.Statement, step: Rewiring, kind: str) -> Change:
    written = step.write.replace("\n  ", "\n").replace("\n", "\n  ")
    end = holder.span.end
    match step.how:
        case "instead":
            return Change(holder.span.start, end, 0, written)
        case "after":
            return Change(end, end, 1, f"\n{written}")
        case "clause":
            for clause in _clauses(holder):
                if clause.kind == kind:
                    return Change(clause.span.start, clause.span.end, 0, written)
    return Change(end, end, 0, f"\n  {written}")
