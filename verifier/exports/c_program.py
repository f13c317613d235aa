"""A C file as its parts: enumerators, structures, functions.

In: its text. Out: a :class:`CProgram`. Whatever is not of the kind that is exported is refused
(:class:`~verifier.exports.c_lexer.NotReadable`), so that nothing a compiler acts on is overlooked.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from verifier.exports.c_lexer import NotReadable, parse_tree

_FIXED = {"uint8_t": 8, "uint16_t": 16, "uint32_t": 32}


class CType(NamedTuple):
    """An integer type; ``bool`` has one bit."""

    bits: int
    signed: bool = False


BOOL = CType(1)
# Of what a function is given, by place: numbers, and structures by their names.
ParameterTypes = tuple[CType | str, ...]


@dataclass(frozen=True, slots=True)
class CFunction:
    """``returns`` is None for nothing."""

    returns: CType | None
    given: ParameterTypes
    parameters: tuple[str, ...]
    body: Sequence[Any]


@dataclass(frozen=True, slots=True)
class CProgram:
    """A C file that was read: its enumerators, the fields of its structures in their order, its
    functions."""

    enumerators: dict[str, int] = field(default_factory=dict)
    structs: dict[str, dict[str, CType]] = field(default_factory=dict)
    functions: dict[str, CFunction] = field(default_factory=dict)


def parse_program(text: str) -> CProgram:
    """Raises :class:`~verifier.exports.c_lexer.NotReadable`."""
    from pycparser import c_ast

    found = CProgram()
    typedefs = [*_FIXED, "bool"]
    # Functions that others may call, as they are announced.
    announced: dict[str, tuple[CType | None, ParameterTypes]] = {}
    others: set[str] = set()
    for node in parse_tree(text).ext:
        match node:
            case c_ast.FuncDef(decl=decl, param_decls=None, body=body):
                if decl.name in found.functions:
                    raise NotReadable(f"{decl.name} is there twice")
                function = _function(decl, body.block_items or ())
                found.functions[decl.name] = function
                if decl.storage:
                    others.add(decl.name)
                elif announced.get(decl.name) != (function.returns, function.given):
                    raise NotReadable(f"{decl.name} is announced otherwise")
            case c_ast.Decl(type=c_ast.Enum(values=c_ast.EnumeratorList(enumerators=words))):
                for word in words:
                    known = word.name in found.enumerators
                    if known or not isinstance(word.value, c_ast.Constant):
                        raise NotReadable(f"the enumerator {word.name}")
                    found.enumerators[word.name] = constant(word.value.value)
            case c_ast.Decl(type=c_ast.Struct(name=str(name), decls=list(fields))):
                more = any(f.bitsize is not None or f.quals or f.align for f in fields)
                if more or name in found.structs:
                    raise NotReadable(f"the structure {name}")
                found.structs[name] = {f.name: type_of(f.type) for f in fields}
            case c_ast.Decl(type=c_ast.FuncDecl(), name=name, storage=[]) if name not in announced:
                function = _function(node, ())
                announced[name] = function.returns, function.given
            case c_ast.Typedef(name=name) if name in typedefs:
                typedefs.remove(name)
            case _:
                raise NotReadable(f"something at the top: {type(node).__name__}")
    if announced.keys() != found.functions.keys() - others:
        raise NotReadable("functions that are announced and not there")
    _check(found)
    return found


def _check(found: CProgram) -> None:
    """Reject parameters that shadow other names, and unknown structures."""
    for name, function in found.functions.items():
        for parameter, given in zip(function.parameters, function.given, strict=True):
            if parameter in found.enumerators or function.parameters.count(parameter) > 1:
                raise NotReadable(f"{parameter} stands for two things")
            if isinstance(given, str) and given not in found.structs:
                raise NotReadable(f"what {name} is given")


def _function(decl: Any, body: Sequence[Any]) -> CFunction:
    """A function by its declaration: a type and a name, and nothing that says more of it."""
    from pycparser import c_ast

    if decl.funcspec or decl.align or decl.storage not in ([], ["static"]):
        raise NotReadable(f"what is said of {decl.name}")
    match decl.type.type:
        case c_ast.TypeDecl(type=c_ast.IdentifierType(names=["void"])):
            returns = None
        case other:
            returns = type_of(other)
    parameters = decl.type.args.params if decl.type.args else []
    given: list[CType | str] = []
    for parameter in parameters:
        match parameter:
            case c_ast.Decl(
                type=c_ast.PtrDecl(quals=[], type=c_ast.TypeDecl(type=c_ast.Struct() as struct))
            ) if struct.decls is None:
                given.append(str(struct.name))
            case c_ast.Decl():
                given.append(type_of(parameter.type))
            case _:
                raise NotReadable(f"what {decl.name} is given")
    return CFunction(returns, tuple(given), tuple(p.name for p in parameters), body)


def constant(text: str) -> int:
    """The value of an integer literal, decimal or hexadecimal, with or without ``u``."""
    try:
        number = int(text.rstrip("uU"), 0)
    except ValueError:
        raise NotReadable(f"the number {text}") from None
    if number >= 1 << 32:
        raise NotReadable(f"the number {text}")
    return number


def type_of(node: Any) -> CType:
    """The type of a field, a variable or what a cast makes."""
    from pycparser import c_ast

    match node:
        case c_ast.TypeDecl(type=c_ast.IdentifierType(names=[str(name)])) if name in _FIXED:
            return CType(_FIXED[name])
        case c_ast.TypeDecl(type=c_ast.IdentifierType(names=["bool"])):
            return BOOL
        case _:
            raise NotReadable("a type that is not exported")
