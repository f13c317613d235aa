"""Statements of reuse. They stand for others: a whole layout has none of them left."""

from dataclasses import dataclass

from verifier.language.source import Span
from verifier.language.statements.kind import statement
from verifier.language.statements.nodes import DeclaredName, Name, Statement, SyntaxNode, Word


@statement("INCLUDE", "An included file", 'include "common/aspects.ixl"')
class Include(Statement):
    path: Word


@statement("MODULE", "The first line of a module", "module End-Of-Siding (main, siding, single)")
class Module(Statement):
    """The first line of a module; its statements follow, up to :class:`End`."""

    name: Word
    parameters: tuple[Word, ...]


@statement("END", "The last line of a module", "end")
class End(Statement):
    """The last line of a module."""


@dataclass(frozen=True, slots=True)
class Binding(SyntaxNode):
    """``main = Main``: what a parameter stands for."""

    parameter: Word
    outside: Name
    span: Span


@statement(
    "USE",
    "A use of a module",
    "use End-Of-Siding as East with main = Main, single = Single` or `use End-Of-Siding as West "
    "turned round with main = Main, single = Other",
)
class Use(Statement):
    module: Word
    name: DeclaredName
    turned: bool
    bindings: tuple[Binding, ...]


Reuse = Include | Module | End | Use
