"""`module`, `use`: from the statements of a file to those of the layout, every use of a module
replaced by the statements of its inside.

What a module declares goes by the name of the use, a dot, and its own: ``East.4L``. What it
has from outside it has by its parameters. Places stay those of the module's text, each use
with a source of its own that says which use it is.
"""

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from verifier.language import syntax as s
from verifier.language.diagnostics import Diagnostic, InputError, did_you_mean
from verifier.language.includes import included
from verifier.language.parse import MAX_NAME
from verifier.language.renaming import declared, names_in, renamed
from verifier.language.source import Source, Span, Used

# A layout of more statements than this is somebody's joke.
MAX_STATEMENTS = 100_000

# What is said once for the whole layout, and how it begins.
_ONCE: dict[type, str] = {
    s.Layout: "layout",
    s.Aspect: "aspect",
    s.Trains: "trains",
    s.Scale: "scale",
    s.StoppingDistance: "stopping distance",
}
_NAME = re.compile(r"[^\W_][\w-]*(?:\.[^\W_][\w-]*)*")


def read(source: Source, path: Path | None = None) -> tuple[s.Statement, ...]:
    """The statements of a layout: those of a file and of what it includes, modules where they
    are used. ``path`` is where the text of ``source`` came from, if it came from a file.

    Raises :class:`InputError`."""
    return expanded(included(source, path))


def expanded(statements: Sequence[s.Statement]) -> tuple[s.Statement, ...]:
    """The statements with every use of a module replaced by its inside.

    Raises :class:`InputError`."""
    if not any(isinstance(statement, s.Module | s.End | s.Use) for statement in statements):
        return tuple(statements)
    reading = _Reading()
    outside = reading.modules_of(statements)
    reading.check(outside)
    reading.stop_if_wrong()
    found = list(reading.opened(outside))
    _check_bindings(outside, found, reading)
    reading.stop_if_wrong()
    return tuple(found)


@dataclass(slots=True)
class _Module:
    """A module as written. ``own`` is what it declares, each with its place."""

    node: s.Module
    statements: list[s.Statement] = field(default_factory=list)
    own: dict[str, Span] = field(default_factory=dict)

    @property
    def name(self) -> str:
        return self.node.name.text

    @property
    def uses(self) -> Iterator[s.Use]:
        return (x for x in self.statements if isinstance(x, s.Use))

    @property
    def parameters(self) -> dict[str, s.Name]:
        return {name.text: name for name in self.node.parameters}


@dataclass(slots=True)
class _Reading:
    """The modules of one layout, and the errors met."""

    modules: dict[str, _Module] = field(default_factory=dict)
    errors: list[Diagnostic] = field(default_factory=list)
    count: int = 0

    def error(
        self, code: str, message: str, span: Span, hint: str, *others: tuple[Span, str]
    ) -> None:
        self.errors.append(Diagnostic(code, message, span, hint, others))

    def stop_if_wrong(self) -> None:
        if self.errors:
            raise InputError(self.errors)

    # ---------------------------------------------------------- modules as written

    def modules_of(self, statements: Iterable[s.Statement]) -> list[s.Statement]:
        """Sort the statements into those of modules and those outside, which are returned."""
        outside: list[s.Statement] = []
        open_: list[_Module] = []
        nested = False
        for statement in statements:
            if open_ and statement.span.source is not open_[-1].node.span.source:
                self._unended(open_, nested)
            match statement:
                case s.Module():
                    if open_:
                        nested = True
                        self.error(
                            "CP735",
                            f"a module cannot stand in another (`{open_[-1].name}`)",
                            statement.span,
                            f"If `{open_[-1].name}` is complete, write `end` before this line.",
                            (open_[-1].node.span, "that one starts here"),
                        )
                    open_.append(_Module(statement))
                case s.End() if open_:
                    self._add(open_.pop())
                case s.End():
                    self.error(
                        "CP734",
                        "no module is to be ended here",
                        statement.span,
                        "Take this `end` out, or begin the module: `module End-Of-Siding (main)`.",
                    )
                case _ if open_:
                    open_[-1].statements.append(statement)
                case _:
                    outside.append(statement)
        self._unended(open_, nested)
        return outside

    def _unended(self, open_: list[_Module], nested: bool) -> None:
        """The modules that lack their `end`. With one inside another that was said already."""
        for module in open_ if not nested else ():
            self.error(
                "CP734",
                f"module `{module.name}` has no `end`",
                module.node.span,
                "Write `end` on a line of its own where the module is complete.",
            )
        open_.clear()

    def _add(self, module: _Module) -> None:
        earlier = self.modules.get(module.name)
        if earlier:
            self.error(
                "CP202",
                f"two modules are called `{module.name}`",
                module.node.name.span,
                "Give each module a name of its own.",
                (earlier.node.name.span, "the first one is here"),
            )
            return
        self.modules[module.name] = module

    def check(self, outside: Iterable[s.Statement]) -> None:
        """What can be wrong with modules and with uses of them, whoever uses them."""
        for module in self.modules.values():
            self._check_first_line(module)
            self._check_statements(module)
            module.own = self._own_names(module.statements)
            self._check_names(module)
            for use in module.uses:
                self._check_use(use)
        self._own_names(outside)
        for statement in outside:
            if isinstance(statement, s.Use):
                self._check_use(statement)
        self._check_rings()

    def _check_first_line(self, module: _Module) -> None:
        seen: dict[str, s.Name] = {}
        self._no_dot(module.node.name, "the name of a module")
        for name in module.node.parameters:
            self._no_dot(name, "a parameter")
            if name.text in seen:
                self.error(
                    "CP202",
                    f"`{name.text}` is listed twice",
                    name.span,
                    "Give every parameter a name of its own.",
                )
            seen[name.text] = name

    def _no_dot(self, name: s.Name, what: str) -> None:
        if "." in name.text:
            self.error(
                "CP208",
                f"`{name.text}` has a dot in it",
                name.span,
                f"A dot leads to the inside of a module; {what} has none. Write a hyphen.",
            )

    def _check_statements(self, module: _Module) -> None:
        for statement in module.statements:
            word = _ONCE.get(type(statement), "")
            if isinstance(statement, s.Running) and not statement.blocks:
                word = "trains"
            if word:
                self.error(
                    "CP735",
                    f"`{word}` cannot stand in a module (`{module.name}`)",
                    statement.span,
                    "It is said once for the whole layout: put it outside.",
                )

    def _own_names(self, statements: Iterable[s.Statement]) -> dict[str, Span]:
        """What statements declare. That two of them, one a `use`, declare the same is noted;
        of others that is found when they are looked at."""
        own: dict[str, tuple[Span, bool]] = {}
        for statement in statements:
            is_use = isinstance(statement, s.Use)
            for name in declared(statement):
                if is_use:
                    self._no_dot(name, "the name of a use")
                earlier = own.get(name.text)
                if earlier and (is_use or earlier[1]):
                    self.error(
                        "CP202",
                        f"`{name.text}` is declared twice",
                        name.span,
                        "Every thing and every use of a module needs a name of its own.",
                        (earlier[0], "it is declared here"),
                    )
                own.setdefault(name.text, (name.span, is_use))
        return {name: span for name, (span, _) in own.items()}

    def _check_names(self, module: _Module) -> None:
        """Names inside are declared inside or are parameters; each parameter is of use."""
        parameters, own = module.parameters, module.own
        for both in parameters.keys() & own.keys():
            self.error(
                "CP202",
                f"`{both}` is a parameter of the module, and declared in it too",
                own[both],
                "A parameter stands for something outside. Give one of them another name.",
                (parameters[both].span, "the parameter is here"),
            )
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
                    used.update(found.partition(".")[0] for found in _NAME.findall(subject.text))
        for first, name in unknown.items():
            listed = ", ".join([*parameters, first])
            self.error(
                "CP740",
                f"nothing in module `{module.name}` is called `{first}`",
                name.span,
                did_you_mean(first, [*own, *parameters])
                or "What lies outside a module comes in by its parameters: "
                f"`module {module.name} ({listed})`.",
            )
        for name in [] if unknown else parameters.values():
            if name.text not in used:
                self.error(
                    "CP739",
                    f"nothing in module `{module.name}` makes use of `{name.text}`",
                    name.span,
                    "Take it out of the list, and out of every `use`; or use it.",
                )

    # ---------------------------------------------------------- uses as written

    def _check_use(self, use: s.Use) -> None:
        module = self.modules.get(use.module.text)
        if module is None:
            self.error(
                "CP736",
                f"no module is called `{use.module.text}`",
                use.module.span,
                did_you_mean(use.module.text, self.modules)
                or "If the name is right, a `module` statement must begin it, here or in a file "
                "that is included.",
            )
            return
        here = (module.node.span, "the module's parameters are here")
        given: dict[str, s.Name] = {}
        for binding in use.bindings:
            name = binding.parameter
            if name.text not in module.parameters:
                self.error(
                    "CP737",
                    f"module `{module.name}` has no parameter `{name.text}`",
                    name.span,
                    did_you_mean(name.text, module.parameters.keys() - given.keys())
                    or _parameters_hint(module),
                    here,
                )
            elif name.text in given:
                self.error(
                    "CP737",
                    f"`{name.text}` is given twice",
                    name.span,
                    "Leave one of them out.",
                    (given[name.text].span, "it is given here"),
                )
            given.setdefault(name.text, name)
        missing = [name for name in module.parameters if name not in given]
        if missing and given.keys() <= module.parameters.keys():
            listed = ", ".join(f"{name} = …" for name in missing)
            self.error(
                "CP737",
                f"`{use.name.text}` is not told what {_and(missing)} {_is(missing)}",
                use.span,
                f"Add to the list after `with`: `{listed}`.",
                here,
            )

    def _check_rings(self) -> None:
        """No module has itself inside, directly or through others."""
        left = dict(self.modules)
        users: dict[str, set[str]] = {}
        inner = {name: {use.module.text for use in module.uses} for name, module in left.items()}
        for name, used in inner.items():
            used &= left.keys()
            for other in used:
                users.setdefault(other, set()).add(name)
        ready = [name for name, used in inner.items() if not used]
        while ready:
            name = ready.pop()
            del left[name]
            for user in users.get(name, ()):
                inner[user].discard(name)
                if not inner[user]:
                    ready.append(user)
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
            "CP738",
            f"module `{name}` would have itself inside",
            first.span,
            "It would never end. Take one of these uses out.",
            *((use.span, f"module `{use.module.text}` is used here") for use in others),
        )

    # ---------------------------------------------------------- uses replaced

    def opened(self, statements: Iterable[s.Statement]) -> Iterator[s.Statement]:
        """The statements, each `use` replaced by what it stands for."""
        for statement in statements:
            self.count += 1
            if self.count > MAX_STATEMENTS:
                self.error(
                    "CP742",
                    f"this layout has more than {MAX_STATEMENTS:,} statements",
                    statement.span,
                    "Prove parts of it by themselves, each in a file of its own.",
                )
                raise InputError(self.errors)
            if isinstance(statement, s.Use):
                inside = _Inside(statement, self.modules[statement.module.text])
                yield from self.opened(map(inside.statement, inside.module.statements))
            else:
                yield statement


class _Inside:
    """One use of a module: its statements, with their names as the layout has them."""

    def __init__(self, use: s.Use, module: _Module):
        self.module = module
        self._prefix = use.name.text
        used = Used(module.name, use.name.text, use.span)
        self._source = module.node.span.source.as_used(used)
        self._outside = {b.parameter.text: b.outside.text for b in use.bindings}
        self._titles = {
            statement.title for statement in module.statements if isinstance(statement, s.Prove)
        }

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
        """What a property is asked of, `4L to West-Main`, with the names of the layout."""
        return _NAME.sub(lambda found: self._meant(found[0]), text)

    def _name(self, name: s.Name) -> str:
        text = self._meant(name.text)
        if len(text) > MAX_NAME:
            place = Span(self._source, name.span.start, name.span.end)
            long = Diagnostic(
                "CP109",
                f"with the names of its uses before it this name has {len(text):,} letters",
                place,
                f"A name has at most {MAX_NAME} letters: `{text[:MAX_NAME]}…`.",
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
    outside: Iterable[s.Statement], found: Iterable[s.Statement], reading: _Reading
) -> None:
    """What the parameters of a use stand for is there."""
    known = {name.text for statement in found for name in declared(statement)}
    for use in outside:
        for binding in use.bindings if isinstance(use, s.Use) else ():
            text = binding.outside.text
            if text in known or text.rpartition(".")[0] in known:
                continue
            reading.error(
                "CP201",
                f"nothing is called `{text}`",
                binding.outside.span,
                did_you_mean(text, known) or "It must be declared outside the module.",
            )


def _is_hand(name: s.Name, statement: s.Statement) -> bool:
    """`thrown by hand`."""
    return name.text == "hand" and isinstance(statement, s.Turnout | s.Slip)


def _parameters_hint(module: _Module) -> str:
    if not module.parameters:
        return "It has none at all: leave out `with` and what follows."
    return f"Its parameters are {_and(list(module.parameters))}."


def _and(names: Sequence[str]) -> str:
    quoted = [f"`{name}`" for name in names]
    return " and ".join(filter(None, [", ".join(quoted[:-1]), quoted[-1]]))


def _is(names: Sequence[str]) -> str:
    return "are" if len(names) > 1 else "is"
