"""Checks of modules and their uses, before the uses are expanded.

In: the modules of a layout and the statements outside them. Out: the errors.
"""

import re
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from graphlib import CycleError, TopologicalSorter
from typing import Any

from verifier.language.diagnostics.diagnostic import Diagnostic, nearest
from verifier.language.diagnostics.registry import diagnostic
from verifier.language.modules.rename import declared_names, names_in
from verifier.language.source import Span
from verifier.language.syntax import tree as s

NAME = re.compile(r"[^\W_][\w-]*(?:\.[^\W_][\w-]*)*")


@dataclass(slots=True)
class ModuleBody:
    """A module as written. ``own`` is what it declares, each with its place."""

    node: s.Module
    statements: list[s.Statement] = field(default_factory=list)
    own: dict[str, Span] = field(default_factory=dict)

    @property
    def name(self) -> str:
        return self.node.name.text

    @property
    def uses(self) -> Iterator[s.Use]:
        return s.of_kind(self.statements, s.Use)

    @property
    def parameters(self) -> dict[str, s.Word]:
        return {name.text: name for name in self.node.parameters}


@dataclass(slots=True)
class ModuleChecks:
    """The modules of one layout, and the errors met."""

    modules: dict[str, ModuleBody] = field(default_factory=dict)
    errors: list[Diagnostic] = field(default_factory=list)

    def error(self, code: str, span: Span, variant: str = "", /, **words: Any) -> None:
        """Note an error; the arguments are those of :func:`diagnostic`."""
        self.errors.append(diagnostic(code, span, variant, **words))

    def check(self, outside: Sequence[s.Statement]) -> None:
        """Check the modules, used or not, and their uses. Errors in where modules begin and end,
        or in their first lines, hide all others."""
        for module in self.modules.values():
            self._check_first_line(module)
        hidden = bool(self.errors)
        for module in self.modules.values():
            self._check_statements(module)
        if hidden:
            return
        for module in self.modules.values():
            module.own = self._own_names(module.statements)
        for module in self.modules.values():
            self._check_names(module)
            self._check_uses_named(module.statements)
            for use in module.uses:
                self._check_use(use)
        self._own_names(outside)
        self._check_uses_named(outside)
        for use in s.of_kind(outside, s.Use):
            self._check_use(use)
        self._check_rings()

    def _check_first_line(self, module: ModuleBody) -> None:
        self._no_dot(module.node.name, "the name of a module")
        for name in module.node.parameters:
            self._no_dot(name, "a parameter")
        for _, again in s.repeated(module.node.parameters):
            self.error("CP202", again.span, "parameters", name=again.text)

    def _no_dot(self, name: s.Word, what: str) -> None:
        if "." in name.text:
            self.error("CP208", name.span, "module", name=name.text, what=what)

    def _check_statements(self, module: ModuleBody) -> None:
        for statement in module.statements:
            word = s.KIND_OF[type(statement)].once
            if isinstance(statement, s.Running) and not statement.blocks:
                word = "trains"
            if isinstance(statement, s.Crew) and not statement.about:
                word = "crew promises"
            if word:
                self.error("CP735", statement.span, word=word, name=module.name)

    def _own_names(self, statements: Iterable[s.Statement]) -> dict[str, Span]:
        """What statements declare. A name declared twice, once by a `use`, is noted here; other
        repeated names are found when the plan is built."""
        own: dict[str, tuple[Span, bool]] = {}
        for statement in statements:
            is_use = isinstance(statement, s.Use)
            for name in declared_names(statement):
                if is_use:
                    self._no_dot(name, "the name of a use")
                earlier = own.get(name.text)
                if earlier and (is_use or earlier[1]):
                    self.error("CP202", name.span, "use", others=[earlier[0]], name=name.text)
                own.setdefault(name.text, (name.span, is_use))
        return {name: span for name, (span, _) in own.items()}

    def _check_names(self, module: ModuleBody) -> None:
        """Names inside are declared inside or are parameters; each parameter is of use."""
        parameters, own = module.parameters, module.own
        for both in parameters.keys() & own.keys():
            self.error("CP202", own[both], "parameter", others=[parameters[both].span], both=both)
        used: set[str] = set()
        unknown: dict[str, s.Name] = {}
        for statement in module.statements:
            for name in names_in(statement):
                first = name.text.partition(".")[0]
                used.add(first)
                if not (first in own or first in parameters or _is_hand(name, statement)):
                    unknown.setdefault(first, name)
            if isinstance(statement, s.Waive | s.Expect):
                for subject in statement.subjects:
                    used.update(found.partition(".")[0] for found in NAME.findall(subject.text))
        for first, name in unknown.items():
            listed = ", ".join([*parameters, first])
            self.error(
                "CP740",
                name.span,
                near=nearest(first, [*own, *parameters]),
                name=module.name,
                first=first,
                listed=listed,
            )
        for parameter in [] if unknown else parameters.values():
            if parameter.text not in used:
                self.error("CP739", parameter.span, module=module.name, name=parameter.text)

    def _check_uses_named(self, statements: Sequence[s.Statement]) -> None:
        """A use is no thing itself: only what is inside it can be named."""
        uses = {x.name.text: x for x in s.of_kind(statements, s.Use)}
        for statement in statements if uses else ():
            for twice in () if isinstance(statement, s.Use) else declared_names(statement):
                uses.pop(twice.text, None)  # noted elsewhere
        for statement in statements if uses else ():
            for name in names_in(statement):
                use = uses.get(name.text)
                if use is None or isinstance(name, s.DeclaredName):
                    continue
                module = self.modules.get(use.module.text)
                inside = next(iter(module.own), "") if module else ""
                self.error(
                    "CP201",
                    name.span,
                    "use" if inside else "empty_use",
                    others=[use.name.span],
                    name=name.text,
                    module=use.module.text,
                    inside=inside,
                )

    # ---------------------------------------------------------- uses as written

    def _check_use(self, use: s.Use) -> None:
        module = self.modules.get(use.module.text)
        if module is None:
            self.error(
                "CP736",
                use.module.span,
                near=nearest(use.module.text, self.modules),
                module=use.module.text,
            )
            return
        given: dict[str, s.Word] = {}
        for binding in use.bindings:
            name = binding.parameter
            if name.text not in module.parameters:
                self.error(
                    "CP737",
                    name.span,
                    "" if module.parameters else "none",
                    near=nearest(name.text, module.parameters.keys() - given.keys()),
                    others=[module.node.span],
                    module=module.name,
                    name=name.text,
                    parameters=module.parameters,
                )
            elif name.text in given:
                self.error(
                    "CP737", name.span, "twice", others=[given[name.text].span], name=name.text
                )
            given.setdefault(name.text, name)
        missing = [name for name in module.parameters if name not in given]
        if missing and given.keys() <= module.parameters.keys():
            self.error(
                "CP737",
                use.span,
                "missing",
                others=[module.node.span],
                use=use.name.text,
                missing=missing,
                given=[f"{name} = …" for name in missing],
            )

    def _check_rings(self) -> None:
        """No module has itself inside, directly or through others."""
        inner = {
            name: [use.module.text for use in module.uses if use.module.text in self.modules]
            for name, module in self.modules.items()
        }
        sorter = TopologicalSorter(inner)
        with suppress(CycleError):
            sorter.prepare()
        left = dict(self.modules)
        while ready := sorter.get_ready():
            for name in ready:
                del left[name]
            sorter.done(*ready)
        if not left:
            return
        way: dict[str, s.Use] = {}
        name = next(iter(left))
        while name not in way:
            way[name] = next(use for use in left[name].uses if use.module.text in left)
            name = way[name].module.text
        ring = list(way)[list(way).index(name) :]
        first, *others = (way[module] for module in ring)
        self.error(
            "CP738", first.span, others=[(use.span, use.module.text) for use in others], name=name
        )


def _is_hand(name: s.Name, statement: s.Statement) -> bool:
    """`thrown by hand`."""
    return name.text == "hand" and isinstance(statement, s.Turnout | s.Slip | s.Derail | s.Gate)
