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
from verifier.mending.changes import Change, changed
from verifier.mending.written import rule_changes, wiring_changes
from verifier.plan.model import Plan
from verifier.verdicts.report import Addition, Rewiring


class Edit(NamedTuple):
    """``text`` in place of the characters from ``start`` to ``end``."""

    label: str
    start: int
    end: int
    text: str


def stretch(before: str, after: str) -> dict[str, int | str]:
    """The one stretch of a text that differs from another text: where it is, and what to put
    there."""
    start = _alike(before, after)
    same = _alike(before[start:][::-1], after[start:][::-1])
    return {"start": start, "end": len(before) - same, "text": after[start : len(after) - same]}


def _alike(one: str, two: str) -> int:
    """How many characters two texts begin with in common."""
    differing = (k for k, (a, b) in enumerate(zip(one, two, strict=False)) if a != b)
    return next(differing, min(len(one), len(two)))


def rule_fix(plan: Plan, additions: Sequence[Addition], path: Path | None) -> Edit | None:
    """The edit that adds each condition to the end of its line."""
    return _edit("Add to the rules", plan, rule_changes(plan, additions), path)


def wiring_fix(plan: Plan, steps: Sequence[Rewiring], path: Path | None) -> Edit | None:
    """The edit that makes all these changes. The last change of a clause counts."""
    return _edit("Change the wiring", plan, wiring_changes(plan, steps), path)


def _edit(
    label: str, plan: Plan, changes: Iterable[Change] | None, path: Path | None
) -> Edit | None:
    """The changes as one edit; None if there are none, if they overlap, or if the result would
    not be a junction."""
    made = sorted(set(changes or ()))
    text = changed(plan.source.text, made) if made else None
    if text is None:
        return None
    try:
        checked(text, plan.source.name, path)
    except InputError:
        return None
    start, end = made[0].start, max(change.end for change in made)
    longer = len(text) - len(plan.source.text)
    return Edit(label, start, end, text[start : end + longer])
