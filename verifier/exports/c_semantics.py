"""An interpreter of exported C by the rules of C99 (6.3 to 6.9), over concrete or symbolic words.

In: a parsed program and a bit-vector implementation (:mod:`verifier.engines.smt.bitvectors`). Out:
what a function leaves in its structures. Independent of the writer: it knows no signals and no
rules. It accepts only the subset of C that is exported and raises
:class:`~verifier.exports.c_lexer.NotReadable` for anything else: no loops, no pointers except to
structures passed in, no arithmetic that could overflow a signed number.

``int_bits``: the width of ``int``; exports are interpreted for 16 and for 32 bits.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Generic, NamedTuple

from verifier.engines.smt.bitvectors import B, W, Words
from verifier.exports.c_lexer import NotReadable
from verifier.exports.c_program import BOOL, CProgram, CType, constant, type_of

_MAX_CALL_DEPTH = 8


class CValue(NamedTuple):
    """A typed value: ``word`` for numbers (never negative), ``truth`` for ``bool``."""

    type: CType
    word: Any = None
    truth: Any = None


# Values of fields and variables, by name: ``in->block_Main``, ``elapsed``.
Store = dict[str, CValue]


@dataclass(frozen=True, slots=True)
class _Scope:
    """``structs``: fields by the caller's names; ``local``: variables; ``pointers``: parameter
    names to structure names."""

    structs: Store
    local: Store
    pointers: dict[str, str]

    def copy(self) -> "_Scope":
        return _Scope(dict(self.structs), dict(self.local), self.pointers)


class CMachine(Generic[W, B]):
    """Interprets the functions of a program."""

    def __init__(self, read: CProgram, words: Words[W, B], int_bits: int):
        self._program = read
        self._words = words
        self._int = CType(int_bits, signed=True)
        self._calls: list[str] = []

    def call(
        self, name: str, given: Sequence[CValue | str], state: Store
    ) -> tuple[Store, CValue | None]:
        """Call a function. Structures are passed by their names in ``state``. Returns the
        structures after the call and the return value.

        Raises :class:`~verifier.exports.c_lexer.NotReadable`."""
        function = self._program.functions.get(name)
        if function is None or name in self._calls or len(self._calls) > _MAX_CALL_DEPTH:
            raise NotReadable(f"a call of {name}")
        if len(function.given) != len(given):
            raise NotReadable(f"what {name} is given")
        local: Store = {}
        pointers: dict[str, str] = {}
        for parameter, kind, value in zip(function.parameters, function.given, given, strict=True):
            match kind, value:
                case str(), str() if self._has_layout(value, kind, state):
                    pointers[parameter] = value
                case CType(), CValue():
                    local[parameter] = self._convert(value, kind)
                case _:
                    raise NotReadable(f"what {name} is given")
        structs = {**state}
        self._calls.append(name)
        try:
            after, result = self._block(function.body, _Scope(structs, local, pointers))
        finally:
            self._calls.pop()
        if (result is None) != (function.returns is None):
            raise NotReadable(f"what {name} returns")
        if result is not None and function.returns is not None:
            result = self._convert(result, function.returns)
        return after.structs, result

    def _has_layout(self, place: str, struct: str, state: Store) -> bool:
        """Whether the fields stored under ``place`` are those of the structure."""
        there = {
            name.removeprefix(f"{place}->"): value.type
            for name, value in state.items()
            if name.startswith(f"{place}->")
        }
        return there == self._program.structs[struct]

    # -------------------------------------------------------------- statements

    def _block(self, items: Sequence[Any], scope: _Scope) -> tuple[_Scope, CValue | None]:
        """Run statements in sequence up to a return."""
        from pycparser import c_ast

        for i, item in enumerate(items):
            match item:
                case c_ast.Return(expr=expr):
                    return scope, self._value(expr, scope) if expr is not None else None
                case c_ast.If() if _returns(item):
                    return self._branching_return(item, items[i + 1 :], scope)
                case c_ast.If(cond=cond, iftrue=yes, iffalse=no):
                    when = self._truth(self._value(cond, scope))
                    then, _ = self._block([yes], scope.copy())
                    other, _ = self._block([no] if no is not None else [], scope.copy())
                    scope = self._merge(when, then, other, scope)
                case c_ast.Compound(block_items=inner):
                    if _returns(item):
                        raise NotReadable("a return inside a block")
                    known = set(scope.local)
                    scope, _ = self._block(inner or [], scope)
                    kept = {name: value for name, value in scope.local.items() if name in known}
                    scope = _Scope(scope.structs, kept, scope.pointers)
                case c_ast.Decl():
                    self._declare(item, scope)
                case c_ast.Assignment(op="=", lvalue=left, rvalue=right):
                    self._assign(left, self._value(right, scope), scope)
                case c_ast.FuncCall():
                    scope, _ = self._call(item, scope)
                case _:
                    raise NotReadable(f"the statement {type(item).__name__}")
        return scope, None

    def _branching_return(
        self, item: Any, rest: Sequence[Any], scope: _Scope
    ) -> tuple[_Scope, CValue | None]:
        """An ``if`` that may return: run the rest of the block on both branches."""
        when = self._truth(self._value(item.cond, scope))
        ways = []
        for branch in (item.iftrue, item.iffalse):
            inner = [] if branch is None else getattr(branch, "block_items", None) or [branch]
            ways.append(self._block([*inner, *rest], scope.copy()))
        (then, one), (other, two) = ways
        result = None
        if one is not None and two is not None:
            result = self._choose(when, one, two)
        elif one is not two:
            raise NotReadable("a function that may return nothing")
        return self._merge(when, then, other, scope), result

    def _merge(self, when: B, one: _Scope, other: _Scope, before: _Scope) -> _Scope:
        """Join two branches. A variable set on only one of them has no value afterwards."""

        def merge(left: Store, right: Store) -> Store:
            return {
                name: left[name]
                if left[name] is right[name]
                else self._choose(when, left[name], right[name])
                for name in left
                if name in right
            }

        return _Scope(
            merge(one.structs, other.structs), merge(one.local, other.local), before.pointers
        )

    def _choose(self, when: B, one: CValue, other: CValue) -> CValue:
        if one.type != other.type:
            raise NotReadable("two types in one place")
        if one.type == BOOL:
            truth = self._words.choose_truth(when, one.truth, other.truth)
            return CValue(BOOL, None, truth)
        return CValue(one.type, self._words.choose(when, one.word, other.word))

    def _declare(self, item: Any, scope: _Scope) -> None:
        from pycparser import c_ast

        taken = item.name in scope.local or item.name in scope.pointers
        if taken or item.name in self._program.enumerators:
            raise NotReadable(f"{item.name} is declared twice")
        match item.type:
            case c_ast.TypeDecl(type=c_ast.IdentifierType(names=["unsigned", "int"])):
                kind = CType(self._int.bits)
            case _:
                kind = type_of(item.type)
        if item.init is None or item.storage or item.align or item.quals not in ([], ["const"]):
            raise NotReadable(f"{item.name} has no value, or keeps one")
        scope.local[item.name] = self._convert(self._value(item.init, scope), kind)

    def _assign(self, left: Any, value: CValue, scope: _Scope) -> None:
        from pycparser import c_ast

        match left:
            case c_ast.ID(name=name) if name in scope.local:
                scope.local[name] = self._convert(value, scope.local[name].type)
            case c_ast.StructRef(type="->"):
                place = self._place(left, scope)
                if place not in scope.structs:
                    raise NotReadable(f"{place} is not there")
                scope.structs[place] = self._convert(value, scope.structs[place].type)
            case _:
                raise NotReadable("an assignment")

    def _place(self, node: Any, scope: _Scope) -> str:
        name = getattr(node.name, "name", None)
        if name not in scope.pointers:
            raise NotReadable("a structure that was not given")
        return f"{scope.pointers[name]}->{node.field.name}"

    def _call(self, node: Any, scope: _Scope) -> tuple[_Scope, CValue | None]:
        from pycparser import c_ast

        if not isinstance(node.name, c_ast.ID):
            raise NotReadable("a call of what has no name")
        given: list[CValue | str] = []
        for argument in node.args.exprs if node.args else []:
            if isinstance(argument, c_ast.ID) and argument.name in scope.pointers:
                given.append(scope.pointers[argument.name])
            else:
                given.append(self._value(argument, scope))
        structs, result = self.call(node.name.name, given, scope.structs)
        return _Scope(structs, scope.local, scope.pointers), result

    # -------------------------------------------------------------- expressions

    def _value(self, node: Any, scope: _Scope) -> CValue:
        from pycparser import c_ast

        words = self._words
        match node:
            case c_ast.Constant(type=kind, value=text) if kind in ("int", "unsigned int"):
                return self._literal(text)
            case c_ast.ID(name="true" | "false" as name):
                return CValue(BOOL, None, words.truth(name == "true"))
            case c_ast.ID(name=name):
                if name in scope.local:
                    return scope.local[name]
                if name in self._program.enumerators:
                    number = self._program.enumerators[name]
                    return CValue(self._int, words.number(number, self._int.bits))
                raise NotReadable(f"{name} is not there, or has no value yet")
            case c_ast.StructRef(type="->"):
                place = self._place(node, scope)
                if place not in scope.structs:
                    raise NotReadable(f"{place} is not there, or has no value yet")
                return scope.structs[place]
            case c_ast.UnaryOp(op="!", expr=expr):
                return CValue(BOOL, None, words.opposite(self._truth(self._value(expr, scope))))
            case c_ast.BinaryOp(op="&&" | "||" as op):
                return self._short_circuit(op, node, scope)
            case c_ast.BinaryOp(op=">>", left=left, right=c_ast.Constant(value=by)):
                return self._shift_right(self._value(left, scope), constant(by))
            case c_ast.BinaryOp(op=op, left=left, right=right):
                return self._operation(op, self._value(left, scope), self._value(right, scope))
            case c_ast.TernaryOp(cond=cond, iftrue=yes, iffalse=no):
                when = self._truth(self._value(cond, scope))
                one, two, kind = self._usual_conversions(
                    self._value(yes, scope), self._value(no, scope)
                )
                return CValue(kind, words.choose(when, one, two))
            case c_ast.Cast(to_type=c_ast.Typename(type=to), expr=expr):
                return self._convert(self._value(expr, scope), type_of(to))
            case c_ast.FuncCall():
                before = dict(scope.structs)
                after, result = self._call(node, scope)
                if result is None or any(after.structs[k] is not v for k, v in before.items()):
                    raise NotReadable("a call that changes something while it is asked")
                return result
            case _:
                raise NotReadable(f"the expression {type(node).__name__}")

    def _short_circuit(self, op: str, node: Any, scope: _Scope) -> CValue:
        """A chain of ``&&`` or ``||``, unrolled from its left-nested tree."""
        from pycparser import c_ast

        join = self._words.both if op == "&&" else self._words.either
        parts = []
        while isinstance(node, c_ast.BinaryOp) and node.op == op:
            parts.append(node.right)
            node = node.left
        found = self._truth(self._value(node, scope))
        for part in reversed(parts):
            found = join(found, self._truth(self._value(part, scope)))
        return CValue(BOOL, None, found)

    def _literal(self, text: str) -> CValue:
        number, unsigned = constant(text), text[-1] in "uU"
        bits = self._int.bits
        if unsigned:
            kind = CType(bits if number < 1 << bits else 32)
        elif number < 1 << (bits - 1):
            kind = self._int
        else:
            raise NotReadable(f"the number {text}")
        return CValue(kind, self._words.number(number, kind.bits))

    def _operation(self, op: str, left: CValue, right: CValue) -> CValue:
        words = self._words
        one, two, kind = self._usual_conversions(left, right)
        match op:
            case "==":
                return CValue(BOOL, None, words.equal(one, two))
            case "!=":
                return CValue(BOOL, None, words.opposite(words.equal(one, two)))
            case "<":
                return CValue(BOOL, None, words.less(one, two))
            case ">":
                return CValue(BOOL, None, words.less(two, one))
            case "<=":
                return CValue(BOOL, None, words.opposite(words.less(two, one)))
            case ">=":
                return CValue(BOOL, None, words.opposite(words.less(one, two)))
            case "&":
                return CValue(kind, words.bits_and(one, two, kind.bits))
            case "|":
                return CValue(kind, words.bits_or(one, two, kind.bits))
            case "^":
                return CValue(kind, words.bits_xor(one, two, kind.bits))
            case "+" | "-" | "*" if not kind.signed:
                work = {"+": words.add, "-": words.subtract, "*": words.multiply}[op]
                return CValue(kind, work(one, two, kind.bits))
            case _:
                raise NotReadable(f"signed arithmetic, or the operator {op}")

    def _shift_right(self, left: CValue, by: int) -> CValue:
        one = self._promoted(left)
        if by >= one.type.bits:
            raise NotReadable("a shift by more bits than there are")
        return CValue(one.type, self._words.right(one.word, by, one.type.bits))

    def _promoted(self, value: CValue) -> CValue:
        """Integer promotion (C99 6.3.1.1)."""
        kind = value.type
        if kind.signed:
            return value
        if kind == BOOL:
            word = self._words.choose(
                value.truth, self._words.number(1, self._int.bits),
                self._words.number(0, self._int.bits),
            )  # fmt: skip
            return CValue(self._int, word)
        if kind.bits < self._int.bits:
            return CValue(self._int, self._words.resize(value.word, kind.bits, self._int.bits))
        return value

    def _usual_conversions(self, left: CValue, right: CValue) -> tuple[Any, Any, CType]:
        """Usual arithmetic conversions (C99 6.3.1.8). No value is negative, so converting signed to
        unsigned changes nothing."""
        one, two = self._promoted(left), self._promoted(right)
        bits = max(one.type.bits, two.type.bits)
        wide = [v.type for v in (one, two) if v.type.bits == bits]
        kind = CType(bits, signed=all(t.signed for t in wide))
        return (
            self._words.resize(one.word, one.type.bits, bits),
            self._words.resize(two.word, two.type.bits, bits),
            kind,
        )

    def _convert(self, value: CValue, to: CType) -> CValue:
        """Convert as an assignment or a cast does."""
        if to == BOOL:
            return CValue(BOOL, None, self._truth(value))
        word = self._promoted(value) if value.type == BOOL else value
        return CValue(to, self._words.resize(word.word, word.type.bits, to.bits))

    def _truth(self, value: CValue) -> Any:
        if value.type == BOOL:
            return value.truth
        zero = self._words.number(0, value.type.bits)
        return self._words.opposite(self._words.equal(value.word, zero))


def _returns(node: Any) -> bool:
    from pycparser import c_ast

    pending = [node]
    while pending:
        node = pending.pop()
        if isinstance(node, c_ast.Return):
            return True
        pending += (child for _, child in node.children())
    return False
