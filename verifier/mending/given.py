"""What proposals are made from: a file as text, as statements and as a plan, and what is proved
of it."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import count
from typing import TypeVar

from verifier.language.source import Span
from verifier.language.syntax import tree
from verifier.language.syntax.parse import parse
from verifier.mending.changes import Change
from verifier.plan.model import Plan
from verifier.verdicts.report import Report, Verdict

S = TypeVar("S", bound=tree.Statement)


@dataclass(frozen=True)
class Given:
    """One file: its plan and the report on it, with repairs."""

    plan: Plan
    report: Report

    @property
    def text(self) -> str:
        return self.plan.source.text

    @cached_property
    def statements(self) -> tuple[tree.Statement, ...]:
        """Those of the file itself, in its modules too; not of files that it includes."""
        return tuple(parse(self.plan.source))

    @cached_property
    def broken(self) -> Mapping[str, Verdict]:
        """By key, what is broken and no note."""
        return {
            v.obligation.key: v for v in self.report.verdicts
            if v.status == "broken" and not v.obligation.advice
        }  # fmt: skip

    def of_kind(self, kind: type[S]) -> Iterator[S]:
        return tree.of_kind(self.statements, kind)

    def declaring(self, name: str) -> tree.Statement | None:
        """The statement that declares something, in this file and outside its modules."""
        for statement in self.statements:
            for part in (getattr(statement, "name", None), *getattr(statement, "names", ())):
                if isinstance(part, tree.DeclaredName) and part.text == name:
                    return statement
        return None

    def alone(self, name: str) -> tree.Statement | None:
        """The same, where it declares nothing else."""
        found = self.declaring(name)
        return found if found is not None and len(getattr(found, "names", (0,))) == 1 else None

    def is_here(self, spans: Iterable[Span]) -> bool:
        """Whether all of these stand in the file itself, outside its modules."""
        return all(s.source.name == self.plan.source.name and s.source.used is None for s in spans)

    @cached_property
    def names(self) -> frozenset[str]:
        """All names that the file uses already."""
        plan, wiring = self.plan, self.plan.wiring
        taken = {what.name for what in plan.inputs}
        return frozenset(
            taken.union(
                plan.conditions, plan.signals, plan.blocks, plan.track.pieces, plan.derails,
                plan.gates, wiring.feeders, wiring.detectors, wiring.drivers, wiring.supplies,
                wiring.districts, wiring.machines,
                (part.text for s in self.statements for part in tree_names(s)),
            )
        )  # fmt: skip

    def free_name(self, *wanted: str) -> str:
        """The first of these names that is free, else the last with a number."""
        for name in wanted:
            if name not in self.names:
                return name
        return next(n for i in count(2) if (n := f"{wanted[-1]}-{i}") not in self.names)


def tree_names(statement: tree.Statement) -> Iterator[tree.DeclaredName]:
    """The names that a statement declares."""
    waiting: list[object] = [statement]
    while waiting:
        node = waiting.pop()
        if isinstance(node, tree.DeclaredName):
            yield node
        else:
            waiting += tree.parts_of(node)


# ------------------------------------------------------------------ conditions


def conjoined(condition: tree.Condition, extra: str) -> tuple[Change, ...]:
    """``and extra`` at the end of a condition."""
    return _joined(condition, f" and {extra}", tree.AnyOf)


def disjoined(condition: tree.Condition, extra: str) -> tuple[Change, ...]:
    """``or extra`` at the end of a condition."""
    return _joined(condition, f" or {extra}", tree.AllOf)


def _joined(condition: tree.Condition, more: str, apart: type[object]) -> tuple[Change, ...]:
    span = condition.span
    if isinstance(condition, apart):
        return (
            Change(span.start, span.start, 0, "("),
            Change(span.end, span.end, 0, f"){more}"),
        )
    return (Change(span.end, span.end, 0, more),)


def clauses_of(statement: tree.Statement, kind: tree.ClauseKind) -> list[tree.Clause]:
    return [clause for clause in getattr(statement, "clauses", ()) if clause.kind == kind]
