"""The report on a plan that says the same as an earlier one, from elsewhere in the text: after a
remark, an empty line, an undone edit.

In: the report on the earlier plan, and the plan at hand. Out: the report on that one, or None where
anything at all is new. A report is a function of the plan, and speaks of the text by spans alone,
but for histories, whose sentences name lines: a report that tells one is not taken over.
"""

from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass, replace
from enum import Enum
from fractions import Fraction
from itertools import pairwise
from typing import Any

from verifier.engines.proof_store import ProofStore
from verifier.explain.roots import roots
from verifier.language.source import Source, Span
from verifier.logic.expr import Expr
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.properties.obligation import Obligation
from verifier.verdicts.report import InductiveProof, Report, Verdict

# As many reports are kept: that of the text before an edit, and of those before it; those
# not asked for longest go first.
KEPT = 8
_REPORTS = "reports of what must never be"
_PLAIN = (str, int, float, Fraction, Enum, type(None))
# What has no places in it.
_PLACELESS = (*_PLAIN, Observable, Expr, InductiveProof)


def keep_report(store: ProofStore, report: Report) -> None:
    """Keep a report of what must never be, if all of that was decided."""
    open_ = (v.status == "undecided" for v in report.verdicts if v.obligation.mode == "never")
    told = (v.finding is not None and v.finding.story is not None for v in report.verdicts)
    if not (any(open_) or any(told)):
        store.keep(_REPORTS, (report, *(store.known(_REPORTS) or ())[: KEPT - 1]))


def taken_over(store: ProofStore, plan: Plan, asked: Sequence[Obligation]) -> Report | None:
    """The report on a plan, where one is kept of a plan that says the same; ``asked``: what is
    asked of this one."""
    earlier: Sequence[Report] = store.known(_REPORTS) or ()
    for report in earlier:
        places = _Places(report.plan, plan)
        if places.are_all_that_differs and (found := _moved(report, places, plan, asked)):
            store.keep(_REPORTS, (found, *(other for other in earlier if other is not report)))
            return found
    return None


def _moved(
    report: Report, places: "_Places", plan: Plan, asked: Sequence[Obligation]
) -> Report | None:
    if [v.obligation.subjects for v in report.verdicts] != [o.subjects for o in asked]:
        return None
    try:
        verdicts = tuple(
            Verdict(_asked_now(verdict.obligation, o, places), **places.of(verdict, "obligation"))
            for verdict, o in zip(report.verdicts, asked, strict=True)
        )
        rest = places.of(report, "plan", "verdicts", "follows")
    except _New:
        return None
    return Report(plan=plan, verdicts=verdicts, follows=roots(plan, verdicts), **rest)


def _asked_now(told: Obligation, asked: Obligation, places: "_Places") -> Obligation:
    """What a verdict is about; what a fault was found to do is part of that."""
    same = told.formula is asked.formula and told.property == asked.property
    return asked if same else replace(told, **places.of(told))


class _New(Exception):
    """Something of which it is not known where it is now."""


class _Places:
    """Where all that one plan says stands in another that says the same."""

    def __init__(self, before: Plan, now: Plan):
        self._now = now
        # By the source before: that now; by the source and an offset in it: that now.
        self._sources: dict[Source, Source] = {}
        self._starts: dict[tuple[Source, int], int] = {}
        self._ends: dict[tuple[Source, int], int] = {}
        self._compared: dict[tuple[int, int], tuple[object, object]] = {}
        self.are_all_that_differs = self._alike(before, now) and self._in_order()

    def _in_order(self) -> bool:
        """Whether what stood before something else still does."""
        for offsets in (self._starts, self._ends):
            by_source: dict[Source, list[tuple[int, int]]] = {}
            for (source, old), new in offsets.items():
                by_source.setdefault(source, []).append((old, new))
            for pairs in by_source.values():
                if any(one[1] >= other[1] for one, other in pairwise(sorted(pairs))):
                    return False
        return True

    # -------------------------------------------------------------- comparing

    def _alike(self, one: Any, other: Any) -> bool:
        """Whether two are the same but for places."""
        if type(one) is not type(other):
            return False
        if isinstance(one, (*_PLAIN, Observable, Expr)):
            return bool(one == other)
        if isinstance(one, Span):
            return self._span_alike(one, other)
        if isinstance(one, Source):
            return self._source_alike(one, other)
        key = id(one), id(other)
        if key in self._compared:
            return True
        # Kept, so that no other object gets the same number.
        self._compared[key] = one, other
        if isinstance(one, Mapping):
            return self._alike(tuple(one.items()), tuple(other.items()))
        if isinstance(one, (tuple, list)):
            return len(one) == len(other) and all(map(self._alike, one, other))
        if isinstance(one, (set, frozenset)):
            return bool(one == other)
        return is_dataclass(one) and all(
            self._alike(getattr(one, field.name), getattr(other, field.name))
            for field in fields(one)
        )

    def _span_alike(self, one: Span, other: Span) -> bool:
        if not self._source_alike(one.source, other.source):
            return False
        start = self._starts.setdefault((one.source, one.start), other.start)
        end = self._ends.setdefault((one.source, one.end), other.end)
        return start == other.start and end == other.end

    def _source_alike(self, one: Source, other: Source) -> bool:
        if one in self._sources:
            return self._sources[one] is other
        self._sources[one] = other
        return one.name == other.name and self._alike(one.used, other.used)

    # -------------------------------------------------------------- moving

    def of(self, whole: Any, *without: str) -> dict[str, Any]:
        """The fields of something, but for some, as they are now; raises :class:`_New`."""
        names = (field.name for field in fields(whole) if field.name not in without)
        return {name: self.moved(getattr(whole, name)) for name in names}

    def moved(self, value: Any) -> Any:
        """The same with its places where they are now; raises :class:`_New`."""
        if isinstance(value, _PLACELESS):
            return value
        if isinstance(value, Span):
            return self._span(value)
        if isinstance(value, Plan):
            return self._now
        if isinstance(value, Mapping):
            pairs = tuple(value.items())
            moved = self.moved(pairs)
            return value if moved is pairs else dict(moved)
        if isinstance(value, tuple):
            parts = tuple(map(self.moved, value))
            if all(map(_is, parts, value)):
                return value
            return type(value)._make(parts) if hasattr(value, "_make") else parts
        if not is_dataclass(value) or isinstance(value, type):
            raise _New
        new = self.of(value)
        changed = {name: part for name, part in new.items() if part is not getattr(value, name)}
        return replace(value, **changed) if changed else value

    def _span(self, span: Span) -> Span:
        try:
            source = self._sources[span.source]
            start = self._starts[span.source, span.start]
            return Span(source, start, self._ends[span.source, span.end])
        except KeyError:
            raise _New from None


def _is(one: object, other: object) -> bool:
    return one is other
