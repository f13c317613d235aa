"""Small changes of our own source, such as slips of a programmer: what each does is told in words.

In: the text of a module. Out: the same with one change, for each place where one can be made.
"""

import ast
from collections.abc import Iterator
from copy import deepcopy
from dataclasses import dataclass

# What a comparison turns into.
_TURNED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Eq: ast.NotEq, ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
    ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Lt: ast.LtE, ast.LtE: ast.Lt,
    ast.Gt: ast.GtE, ast.GtE: ast.Gt,
}  # fmt: skip
_OTHER_OPERATOR: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
    ast.Mult: ast.FloorDiv, ast.FloorDiv: ast.Mult,
}  # fmt: skip
_OTHER_WORD = {
    "normal": "reverse", "reverse": "normal", "occupied": "vacant", "derailing": "non-derailing",
    "non-derailing": "derailing", "seated": "open", "yes": "no", "never": "possible",
    "histories": "situations", "for good": "histories", "lossy": "histories",
    "edge": "bumper", "bumper": "edge", "turnout": "slip", "slip": "turnout",
    "entering": "leaving", "leaving": "entering", "clear": "occupied",
    "straight": "diverging", "diverging": "straight",
}  # fmt: skip
_OTHER_CALL = {
    "any": "all", "all": "any", "min": "max", "max": "min",
    "conjunction": "disjunction", "disjunction": "conjunction", "permits": "proceeds",
    "proceeds": "permits", "takes": "lined", "lined": "takes", "clears": "permits",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class SourceMutant:
    """``text``: the whole module with one change; ``line`` and ``said``: where, and which."""

    line: int
    said: str
    text: str


@dataclass(frozen=True, slots=True)
class Change:
    """A change that can be made: the ``number`` of its node, and which ``kind``. ``inside`` says in
    which function or class, so that it is found again when lines have moved."""

    number: int
    kind: str
    line: int
    inside: str
    said: str


def changes(text: str) -> Iterator[Change]:
    """Every change that can be made in one place."""
    tree = ast.parse(text)
    words = set(_for_people(tree))
    inside = dict(_enclosing(tree, ""))
    for number, node in enumerate(ast.walk(tree)):
        for kind, said in _changes(node) if node not in words else ():
            place = node.target if isinstance(node, ast.comprehension) else node
            yield Change(number, kind, getattr(place, "lineno", 0), inside.get(node, ""), said)


def changed(text: str, change: Change) -> SourceMutant | None:
    """The module with a change made; None where that makes no difference to the tree."""
    tree = ast.parse(text)
    other = deepcopy(tree)
    here = next(n for i, n in enumerate(ast.walk(other)) if i == change.number)
    _apply(here, change.kind)
    if ast.dump(other) == ast.dump(tree):
        return None
    return SourceMutant(change.line, change.said, _source(other))


def source_mutants(text: str) -> Iterator[SourceMutant]:
    """Every mutant of a module."""
    return (made for change in changes(text) if (made := changed(text, change)))


def as_printed(text: str) -> str:
    """A module as its mutants are written, to compare them with."""
    return _source(ast.parse(text))


def _enclosing(node: ast.AST, name: str) -> Iterator[tuple[ast.AST, str]]:
    """Every node inside, with the dotted name of the function or class it is in."""
    for child in ast.iter_child_nodes(node):
        yield child, name
        match child:
            case ast.FunctionDef(name=own) | ast.ClassDef(name=own):
                yield from _enclosing(child, f"{name}.{own}".lstrip("."))
            case _:
                yield from _enclosing(child, name)


# What is only printed, drawn or proposed.
_PRINTED = ("hint", "pieces", "place", "lock", "source")


def _for_people(tree: ast.Module) -> Iterator[ast.AST]:
    """All that is inside a text made for people, or says a type."""
    for node in ast.walk(tree):
        match node:
            case ast.AnnAssign(annotation=said) | ast.arg(annotation=ast.expr() as said):
                yield from ast.walk(said)
            case ast.FunctionDef(returns=ast.expr() as said):
                yield from ast.walk(said)
            case ast.JoinedStr():
                yield from ast.walk(node)
            case ast.keyword(arg=name, value=value) if name in _PRINTED:
                yield from ast.walk(value)
            case _:
                pass


def _source(tree: ast.Module) -> str:
    return ast.unparse(ast.fix_missing_locations(tree)) + "\n"


def _changes(node: ast.AST) -> Iterator[tuple[str, str]]:
    match node:
        case ast.If() | ast.For() | ast.comprehension() | ast.Continue() | ast.Break() | ast.Expr():
            yield from _of_statements(node)
        case ast.Constant(value=value):
            yield from _of_constants(value)
        case ast.Compare(ops=[op]) if type(op) in _TURNED:
            yield "turn", f"`{ast.unparse(node)}` turned round"
        case ast.BoolOp():
            yield "connect", f"`{ast.unparse(node)}` with the other of and, or"
            for i, part in enumerate(node.values):
                yield f"part {i}", f"`{ast.unparse(node)}` without `{ast.unparse(part)}`"
        case ast.BinOp(op=op) if type(op) in _OTHER_OPERATOR:
            yield "operator", f"`{ast.unparse(node)[:60]}` with another operator"
        case ast.IfExp(test=test):
            yield "always", f"`… if {ast.unparse(test)}` always"
            yield "never", f"`… if {ast.unparse(test)}` never"
        case ast.Return(value=ast.Call() | ast.BoolOp() as value):
            yield "opposite", f"not what `return {ast.unparse(value)[:60]}` returns"
        case ast.UnaryOp(op=ast.Not()):
            yield "not", f"`{ast.unparse(node)}` without its not"
        case ast.Call(func=ast.Name(id=name)) if name in _OTHER_CALL:
            yield "call", f"{_OTHER_CALL[name]} for `{ast.unparse(node)[:60]}`"
        case ast.Call(args=args) if any(isinstance(a, ast.Starred) for a in args):
            yield "star", f"one fewer in `{ast.unparse(node)[:60]}`"
        case _:
            pass


def _of_statements(node: ast.AST) -> Iterator[tuple[str, str]]:
    match node:
        case ast.Continue():
            yield "break", "break for continue"
        case ast.Break():
            yield "continue", "continue for break"
        case ast.For():
            yield "first", f"only the first of `{ast.unparse(node.iter)}`"
        case ast.comprehension():
            yield "first", f"only the first of `{ast.unparse(node.iter)}`"
            for i, test in enumerate(node.ifs):
                yield f"if {i}", f"without the filter `{ast.unparse(test)}`"
        case ast.If():
            yield "always", f"`if {ast.unparse(node.test)}` always"
            yield "never", f"`if {ast.unparse(node.test)}` never"
        case ast.Expr(value=ast.Yield() | ast.YieldFrom()):
            yield "drop", f"without `{ast.unparse(node)[:60]}`"
        case _:
            pass


def _of_constants(value: object) -> Iterator[tuple[str, str]]:
    if isinstance(value, str) and value in _OTHER_WORD:
        yield "word", f"{_OTHER_WORD[value]!r} for {value!r}"
    elif isinstance(value, bool):
        yield "bool", f"{not value} for {value}"
    elif isinstance(value, int):
        yield "number", f"{value + 1} for {value}"


def _apply(node: ast.AST, kind: str) -> None:
    match node:
        case ast.Constant():
            _apply_to_constant(node, kind)
        case ast.For() | ast.comprehension() | ast.Continue() | ast.Break() | ast.Expr():
            _apply_to_loop(node, kind)
        case _:
            _apply_to_expression(node, kind)


def _apply_to_constant(node: ast.Constant, kind: str) -> None:
    match kind:
        case "word":
            node.value = _OTHER_WORD[str(node.value)]
        case "bool":
            node.value = not node.value
        case _:
            node.value = int(str(node.value)) + 1


def _apply_to_loop(node: ast.AST, kind: str) -> None:
    match node, kind.partition(" ")[::2]:
        case ast.Continue(), _:
            _become(node, ast.Break())
        case ast.Break(), _:
            _become(node, ast.Continue())
        case ((ast.For() | ast.comprehension()), ("first", _)):
            everything = ast.List([ast.Starred(node.iter, ast.Load())], ast.Load())
            node.iter = ast.Subscript(everything, ast.Slice(upper=ast.Constant(1)), ast.Load())
        case ast.comprehension(), ("if", number):
            del node.ifs[int(number)]
        case ast.Expr(), _:
            # Still a generator.
            node.value = ast.YieldFrom(ast.Tuple([], ast.Load()))
        case _:
            raise AssertionError(kind)


def _apply_to_expression(node: ast.AST, kind: str) -> None:
    word, _, number = kind.partition(" ")
    match node, word:
        case ast.Compare(ops=[op]), "turn":
            node.ops = [_TURNED[type(op)]()]
        case ast.BoolOp(), "connect":
            node.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        case ast.BoolOp(), "part":
            del node.values[int(number)]
        case ast.UnaryOp(), "not":
            _become(node, ast.Call(ast.Name("bool", ast.Load()), [node.operand], []))
        case ((ast.If() | ast.IfExp()), "always" | "never"):
            node.test = ast.Constant(word == "always")
        case ast.BinOp(op=op), "operator":
            node.op = _OTHER_OPERATOR[type(op)]()
        case ast.Return(value=ast.expr() as value), "opposite":
            node.value = ast.UnaryOp(ast.Not(), value)
        case ast.Call(func=ast.Name() as called), "call":
            called.id = _OTHER_CALL[called.id]
        case ast.Call(), "star":
            star = next(a for a in node.args if isinstance(a, ast.Starred))
            those = ast.List([ast.Starred(star.value, ast.Load())], ast.Load())
            star.value = ast.Subscript(those, ast.Slice(upper=ast.Constant(-1)), ast.Load())
        case _:
            raise AssertionError(kind)


def _become(node: ast.AST, other: ast.AST) -> None:
    """Let a node be another one, in place."""
    node.__class__ = other.__class__
    for name in other._fields:
        setattr(node, name, getattr(other, name))
