"""What proposals are made from: a file as text, as statements and as a plan, and what is proved
of it."""

import re
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


@dataclass(frozen=True, slots=True)
class Module:
    """Where a module stands in the text, and the uses of it."""

    start: int
    end: int
    uses: tuple[tree.Use, ...]

    @property
    def prefixes(self) -> tuple[str, ...]:
        return tuple(f"{use.name.text}." for use in self.uses)


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
        """The statement that declares something, in this file; of `East.T1` that in the module."""
        for statement in self.statements:
            names = {name, *self._inside(name, statement)}
            for part in (getattr(statement, "name", None), *getattr(statement, "names", ())):
                if isinstance(part, tree.DeclaredName) and part.text in names:
                    return statement
        return None

    @cached_property
    def modules(self) -> tuple[Module, ...]:
        """The modules of this file."""
        found: list[Module] = []
        uses = list(self.of_kind(tree.Use))
        first: tree.Module | None = None
        for statement in self.statements:
            if isinstance(statement, tree.Module):
                first = statement
            elif isinstance(statement, tree.End) and first is not None:
                mine = tuple(use for use in uses if use.module.text == first.name.text)
                found.append(Module(first.span.start, statement.span.end, mine))
                first = None
        return tuple(found)

    def _inside(self, name: str, statement: tree.Statement) -> Iterator[str]:
        """What a thing of the layout is called in the module of a statement."""
        for module in self.modules:
            if module.start <= statement.span.start < module.end:
                yield from (
                    name.removeprefix(prefix)
                    for prefix in module.prefixes
                    if name.startswith(prefix)
                )

    def called(self, names: Iterable[str], statement: tree.Statement) -> set[str]:
        """Some things of the layout as they are called where a statement stands."""
        wanted = set(names)
        return wanted.union(*(self._inside(name, statement) for name in wanted))

    def localized(self, changes: Iterable[Change]) -> tuple[Change, ...]:
        """Changes with names as the modules have them in which they are made: `T1` for `East.T1`,
        a parameter for what it stands for."""
        return tuple(self._localized(change) for change in changes)

    def _localized(self, change: Change) -> Change:
        module = next((m for m in self.modules if m.start <= change.start < m.end), None)
        if module is None or not change.text.strip():
            return change
        text = change.text
        for prefix in module.prefixes:
            text = text.replace(prefix, "")
        for use in module.uses:
            for bound in use.bindings:
                word = rf"(?<![\w.-]){re.escape(bound.outside.text)}(?![\w.-])"
                text = re.sub(word, bound.parameter.text, text)
        return change._replace(text=text)

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

    @cached_property
    def unasked(self) -> frozenset[str]:
        """The relays, timers, buttons and named conditions that no condition asks for."""
        kinds = tree.Relay | tree.Timer | tree.Button | tree.NamedCondition
        every = [
            name.text for s in self.statements if isinstance(s, kinds) for name in tree_names(s)
        ]
        moved = {name for throw in self.plan.locking.throws.values() for name in throw.buttons}
        asked = {name.text for s in self.statements for fact in all_facts(s) for name in fact.names}
        return frozenset(every) - asked - moved

    def free_name(self, *wanted: str) -> str:
        """The first of these names that is free, else the last with a number."""
        for name in wanted:
            if name not in self.names:
                return name
        return next(n for i in count(2) if (n := f"{wanted[-1]}-{i}") not in self.names)


def all_facts(node: object) -> Iterator[tree.Fact]:
    """Every fact in a statement or a part of one."""
    if isinstance(node, tree.Fact):
        yield node
    else:
        for part in tree.parts_of(node):
            yield from all_facts(part)


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
