"""Mendings written into the text: additions to rules, changes of the wiring.

In: a plan and what was proved to mend it. Out: one stretch of the text to replace, or nothing
where it cannot be written by itself: in a module, in another file, or where what comes of it
would not be a junction any more. (Whether it mends is then proved again, as ever.)
"""

import re
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import NamedTuple

from verifier.api import checked
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.source import Source, Span
from verifier.language.syntax.parse import lex, parse
from verifier.plan.model import Plan
from verifier.plan.observables import AnyOne
from verifier.verdicts.report import Addition, Rewiring

Change = tuple[int, int, str]

# Words that begin a clause of a statement about equipment. `when` goes with the two words after.
_CLAUSES = frozenset({
    "feeders", "undetected", "switching", "thrown", "locked", "electric", "motor", "powered",
    "contacts", "contact", "no", "fouling", "gap", "on", "at", "through", "turns", "sensitivity",
    "hold", "output", "isolated", "without", "outputs", "reads", "drives", "when", "lamps",
    "needs", "stands", "heads",
})  # fmt: skip


class Edit(NamedTuple):
    """``text`` in place of the characters from ``start`` to ``end``."""

    label: str
    start: int
    end: int
    text: str


def rule_fix(plan: Plan, additions: Sequence[Addition], path: Path | None) -> Change | None:
    """The change that puts every addition at the end of the condition of its line."""
    if not additions or not _all_here(plan, (a.span for a in additions)):
        return None
    by_line: dict[tuple[int, int], list[str]] = {}
    for addition in additions:
        by_line.setdefault((addition.span.start, addition.span.end), []).append(addition.condition)
    text = plan.source.text
    alternatives = _with_alternatives(plan)
    for (start, end), conditions in sorted(by_line.items(), reverse=True):
        found = re.search(r"(?<![\w-])when\s+", text[start:end])
        if found is None:
            return None
        when = text[start + found.end() : end]
        if (start, end) in alternatives:
            when = f"({when})"
        more = "".join(f" and {condition}" for condition in conditions)
        text = text[: start + found.end()] + when + more + text[end:]
    return _change(plan, text, path)


def _with_alternatives(plan: Plan) -> set[tuple[int, int]]:
    """The lines the condition of which is an `or`: what is added to all of it needs brackets."""
    lines = [ln for s in plan.signals.values() for ln in s.lines]
    lines += [ln for s in plan.signals.values() for head in s.heads for ln in head.lines]
    return {(ln.span.start, ln.span.end) for ln in lines if isinstance(ln.when, AnyOne)}


def wiring_fix(plan: Plan, steps: Sequence[Rewiring], path: Path | None) -> Change | None:
    """The change that does all these steps, in order."""
    if not steps or not _all_here(plan, (step.span for step in steps)):
        return None
    text = plan.source.text
    for step in steps:
        first_words = text_of_first_words(plan.source.text, step.span.start)
        statement = next(
            (s for s in _statements(text) if text_of_first_words(text, s.start) == first_words),
            None,
        )
        if statement is None:
            return None
        text = _stepped(text, statement, step)
    return _change(plan, text, path)


def text_of_first_words(text: str, offset: int) -> list[str]:
    """The statement's word and its first name, which no change of it touches: of a place within
    a statement, those of the line it stands on."""
    start = text.rfind("\n", 0, offset) + 1
    return text[start:].split(maxsplit=2)[:2]


def _statements(text: str) -> list[Span]:
    return [statement.span for statement in parse(Source("(text)", text))]


def _stepped(text: str, statement: Span, step: Rewiring) -> str:
    start, end = statement.start, statement.end
    written = step.write.replace("\n  ", "\n").replace("\n", "\n  ")
    match step.how:
        case "instead":
            return text[:start] + written + text[end:]
        case "after":
            return text[:end] + "\n" + written + text[end:]
        case "further clause":
            return text[:end] + "\n  " + written + text[end:]
        case "clause":
            old = _clause_like(text, statement, written)
            if old is None:
                return text[:end] + "\n  " + written + text[end:]
            return text[: old[0]] + written + text[old[1] :]


def _clause_like(text: str, statement: Span, written: str) -> tuple[int, int] | None:
    """Where the statement has a clause of the same kind as the one written."""
    tokens = list(lex(Source("(text)", text[statement.start : statement.end])))
    begins = [
        i
        for i, token in enumerate(tokens)
        if i > 1 and str(token) in _CLAUSES and str(tokens[i - 1]) not in (",", "no", "closed")
    ]  # fmt: skip
    wanted = _kind(written.split())
    for n, i in enumerate(begins):
        stop = begins[n + 1] if n + 1 < len(begins) else len(tokens)
        if _kind([str(token) for token in tokens[i:stop]]) == wanted:
            first, last = tokens[i], tokens[stop - 1]
            assert first.start_pos is not None and last.end_pos is not None
            return statement.start + first.start_pos, statement.start + last.end_pos
    return None


def _kind(words: Sequence[str]) -> tuple[str, ...]:
    """Two clauses of the same kind cannot stand side by side in one statement."""
    said = ["contacts" if word == "contact" else word for word in words if word != "no"]
    return tuple(said[:2] if said[0] == "when" else said[:1])


def _all_here(plan: Plan, spans: Iterable[Span]) -> bool:
    """Whether places lie in the text itself, not in a module or a file it includes."""
    return all(s.source.name == plan.source.name and s.source.used is None for s in spans)


def _change(plan: Plan, after: str, path: Path | None) -> Change | None:
    """What is otherwise than before, as one stretch; None where it is no junction any more."""
    before = plan.source.text
    try:
        checked(after, plan.source.name, path)
    except InputError:
        return None
    start = 0
    while start < min(len(before), len(after)) and before[start] == after[start]:
        start += 1
    same = 0
    while same < min(len(before), len(after)) - start and before[-1 - same] == after[-1 - same]:
        same += 1
    return start, len(before) - same, after[start : len(after) - same]
