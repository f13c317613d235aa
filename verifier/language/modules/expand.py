"""`module`, `use`: from the statements of a file to those of the layout, every use of a module
replaced by the statements of its inside.

What a module declares goes by the name of the use, a dot, and its own: ``East.4L``. What it
has from outside it has by its parameters. Places stay those of the module's text, each use
with a source of its own that says which use it is.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from verifier.language.diagnostics.diagnostic import Diagnostic, InputError, nearest
from verifier.language.diagnostics.registry import diagnostic
from verifier.language.modules.includes import included
from verifier.language.modules.mirror import turned_round
from verifier.language.modules.module_checks import NAME, ModuleBody, ModuleChecks
from verifier.language.modules.rename import declared_names, renamed
from verifier.language.source import Source, Span, Used
from verifier.language.syntax import tree as s
from verifier.language.syntax.parse import MAX_NAME

# Far more than any layout has; a few modules that use each other get there all the same.
MAX_STATEMENTS = 100_000


def read(
    source: Source, path: Path | None = None, shown: Path | None = None
) -> tuple[s.Statement, ...]:
    """The statements of a layout: those of a file and of what it includes, modules where they
    are used. ``path`` is where the text of ``source`` came from, if it came from a file;
    ``shown``: see :func:`~verifier.language.modules.includes.included`.

    Raises :class:`InputError`."""
    try:
        statements = included(source, path, shown)
    except InputError as missing:
        further, left = _without(missing.left)
        raise InputError([*missing.diagnostics, *further], left) from None
    return expanded(statements)


def _without(
    left: tuple[s.Statement, ...],
) -> tuple[list[Diagnostic], tuple[s.Statement, ...]]:
    """The errors in the modules of a layout that its missing files cannot cure; and the
    statements that can be read all the same."""
    try:
        return [], expanded(left)
    except InputError as error:
        return [d for d in error.diagnostics if d.code not in ("CP201", "CP736")], error.left


def expanded(statements: Sequence[s.Statement]) -> tuple[s.Statement, ...]:
    """The statements with every use of a module replaced by its inside.

    Raises :class:`InputError`."""
    if not any(isinstance(statement, s.Module | s.End | s.Use) for statement in statements):
        return tuple(statements)
    expansion = _Expansion()
    outside = expansion.modules_of(statements)
    expansion.check(outside)
    if expansion.errors:
        apart = (x for x in outside if not isinstance(x, s.Use))
        raise InputError(expansion.errors, apart)
    opened = list(expansion.opened(outside))
    traffic = {statement.name.text for statement in s.of_kind(opened, s.Traffic)}
    found = [turned_round(x, traffic) if x.span.turned else x for x in opened]
    _check_bindings(outside, found, expansion)
    if expansion.errors:
        raise InputError(expansion.errors, found)
    return tuple(found)


@dataclass(slots=True)
class _Expansion(ModuleChecks):
    """The modules of one layout; ``count`` is how many statements it has so far."""

    count: int = 0

    # ---------------------------------------------------------- modules as written

    def modules_of(self, statements: Iterable[s.Statement]) -> list[s.Statement]:
        """Sort the statements into those of modules and those outside, which are returned."""
        outside: list[s.Statement] = []
        open_: list[ModuleBody] = []
        nested = False
        for statement in statements:
            if open_ and statement.span.source is not open_[-1].node.span.source:
                self._unended(open_, nested)
            match statement:
                case s.Module():
                    if open_:
                        nested = True
                        outer = open_[-1]
                        others = [outer.node.span]
                        self.error(
                            "CP735", statement.span, "nested", others=others, name=outer.name
                        )
                    open_.append(ModuleBody(statement))
                case s.End() if open_:
                    self._add(open_.pop())
                case s.End():
                    self.error("CP734", statement.span)
                case _ if open_:
                    open_[-1].statements.append(statement)
                case _:
                    outside.append(statement)
        self._unended(open_, nested)
        return outside

    def _unended(self, open_: list[ModuleBody], nested: bool) -> None:
        """The modules that lack their `end`. With one inside another that was said already."""
        for module in open_ if not nested else ():
            self.error("CP734", module.node.span, "unended", name=module.name)
        open_.clear()

    def _add(self, module: ModuleBody) -> None:
        earlier = self.modules.get(module.name)
        if earlier:
            first, span = earlier.node.name.span, module.node.name.span
            self.error("CP202", span, "module", others=[first], name=module.name)
            return
        self.modules[module.name] = module

    # ---------------------------------------------------------- uses replaced

    def opened(self, statements: Iterable[s.Statement]) -> Iterator[s.Statement]:
        """The statements, each `use` replaced by what it stands for."""
        for statement in statements:
            self.count += 1
            if self.count > MAX_STATEMENTS:
                self.error("CP742", statement.span, most=MAX_STATEMENTS)
                raise InputError(self.errors)
            if isinstance(statement, s.Use):
                inside = _ModuleUse(statement, self.modules[statement.module.text])
                yield from self.opened(map(inside.statement, inside.module.statements))
            else:
                yield statement


class _ModuleUse:
    """One use of a module: its statements, with their names as the layout has them."""

    def __init__(self, use: s.Use, module: ModuleBody):
        self.module = module
        self._prefix = use.name.text
        used = Used(module.name, use.name.text, use.span, use.turned)
        self._source = module.node.span.source.as_used(used)
        self._outside = {b.parameter.text: b.outside.text for b in use.bindings}
        self._titles = {statement.title for statement in s.of_kind(module.statements, s.Prove)}

    def statement(self, statement: s.Statement) -> s.Statement:
        found: s.Statement = renamed(statement, self._name, self._source)
        match found:
            case s.Prove(title=title) | s.Assume(title=title) if title:
                return replace(found, title=self._titled(title))
            case s.Waive(claim=claim, subjects=subjects) | s.Expect(claim=claim, subjects=subjects):
                if claim.text in self._titles:
                    claim = replace(claim, text=self._titled(claim.text))
                about = tuple(replace(x, text=self._phrase(x.text)) for x in subjects)
                return replace(found, claim=claim, subjects=about)
            case _:
                return found

    def _titled(self, title: str) -> str:
        return f"{self._prefix}: {title}"

    def _phrase(self, text: str) -> str:
        """A subject of a property, `4L to West-Main`, with the names of the layout."""
        return NAME.sub(lambda found: self._meant(found[0]), text)

    def _name(self, name: s.Name) -> str:
        text = self._meant(name.text)
        if len(text) > MAX_NAME:
            place = Span(self._source, name.span.start, name.span.end)
            long = diagnostic(
                "CP109", place, "in_module", count=len(text), most=MAX_NAME, start=text[:MAX_NAME]
            )
            raise InputError([long])
        return text

    def _meant(self, text: str) -> str:
        """A name of the inside as the layout has it."""
        first, dot, rest = text.partition(".")
        if first in self._outside:
            return f"{self._outside[first]}{dot}{rest}"
        return f"{self._prefix}.{text}" if first in self.module.own else text


def _check_bindings(
    outside: Iterable[s.Statement], found: Iterable[s.Statement], expansion: _Expansion
) -> None:
    """What the parameters of a use stand for is there."""
    known = {name.text for statement in found for name in declared_names(statement)}
    for use in s.of_kind(outside, s.Use):
        for binding in use.bindings:
            text = binding.outside.text
            if text in known or text.rpartition(".")[0] in known:
                continue
            expansion.error(
                "CP201", binding.outside.span, "binding", near=nearest(text, known), text=text
            )
