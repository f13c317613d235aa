"""One obligation as an SMT-LIB 2.6 script, so that another solver can check it again.

In: the goal as an expression over inputs, the inputs, the assumptions. Out: text. The
encoding is the one of :mod:`verifier.engines.smt.situations`, written out: one Boolean for
each state, exactly one of them; things with two states have one Boolean in all. Shared
parts are defined once, so the text grows with the expression and not with its tree.
"""

from collections.abc import Iterable, Iterator, Sequence

from verifier.logic.expr import And, Atom, Const, Expr, Group, fold, nodes, support
from verifier.plan.observables import Observable

# Longer parts get a definition of their own, so that lines stay readable and flat.
MAX_INLINE = 120


def script(
    goal: Expr,
    inputs: Iterable[Observable],
    assumptions: Sequence[tuple[str, Expr]],
    title: str,
) -> str:
    """The query whether ``goal`` holds in some allowed situation.

    ``assumptions`` are titles and expressions, in the order of the file. A solver that
    answers ``unsat`` says that there is none; ``sat`` that there is one."""
    asked = {what for expr in (goal, *(a for _, a in assumptions)) for what in support(expr)}
    concerned = [what for what in inputs if what in asked]
    written = Parts()
    named: list[tuple[str, str]] = []
    for what in concerned:
        rule = one_state(what)
        if rule:
            named.append((f"{what.kind} {what.name} is in one state", rule))
    for number, (name, assumption) in enumerate(assumptions, 1):
        named.append((f"assumption {number}: {name}", written.text(assumption)))
    named.append(("the question", written.text(goal)))
    return "\n".join(
        [
            *_head(title),
            "(set-info :smt-lib-version 2.6)",
            "(set-logic QF_UF)",
            *(f"(declare-const {symbol} Bool)" for what in concerned for symbol in symbols(what)),
            *written.definitions,
            *(f"(assert (! {text} :named {_quoted(name)}))" for name, text in named),
            "(check-sat)",
            "",
        ]
    )


def _head(title: str) -> Iterator[str]:
    yield f"; {one_line(title)}"
    yield ";"
    yield "; The answer `unsat` means: no allowed situation makes the question true."
    yield "; The answer `sat` means: there is one. Inputs that are not declared here do not"
    yield "; matter. A two-state input has one Boolean: it stands for the state in its name."


class Parts:
    """Expressions as text; shared and long parts become definitions."""

    def __init__(self) -> None:
        self.definitions: list[str] = []
        self._texts: dict[Expr, str] = {}

    def text(self, expr: Expr) -> str:
        uses: dict[Expr, int] = {}
        for node in nodes(expr):
            for part in node.parts if isinstance(node, Group) else ():
                uses[part] = uses.get(part, 0) + 1

        def step(node: Expr, parts: tuple[str, ...]) -> str:
            if node not in self._texts:
                self._texts[node] = self._written(node, parts, uses.get(node, 0))
            return self._texts[node]

        return fold(expr, step)

    def _written(self, node: Expr, parts: tuple[str, ...], uses: int) -> str:
        match node:
            case Const(value=value):
                return "true" if value else "false"
            case Atom(what=what, values=values):
                states = [state_text(what, value) for value in values]
                return states[0] if len(states) == 1 else f"(or {' '.join(states)})"
            case _:
                text = f"({'and' if isinstance(node, And) else 'or'} {' '.join(parts)})"
                if uses < 2 and len(text) <= MAX_INLINE:
                    return text
                name = f"|part {len(self.definitions) + 1}|"
                self.definitions.append(f"(define-fun {name} () Bool {text})")
                return name


def one_state(what: Observable) -> str:
    """Exactly one state holds; empty where one Boolean encodes both."""
    states = [state_text(what, value) for value in what.values]
    if len(states) == 2:
        return ""
    clashes = [
        f"(not (and {one} {two}))" for i, one in enumerate(states) for two in states[i + 1 :]
    ]
    return f"(and (or {' '.join(states)}) {' '.join(clashes)})"


def symbols(what: Observable) -> list[str]:
    values = what.values[1:] if len(what.values) == 2 else what.values
    return [_symbol(what, value) for value in values]


def state_text(what: Observable, value: str) -> str:
    if len(what.values) == 2 and value == what.values[0]:
        return f"(not {_symbol(what, what.values[1])})"
    return _symbol(what, value)


def _symbol(what: Observable, value: str) -> str:
    return _quoted(f"{what.kind} {what.name} = {value}")


def _quoted(text: str) -> str:
    """A text as a quoted symbol of SMT-LIB; injective. A bar, a backslash, a percent sign and
    unprintable characters are escaped as ``%{HEX}``, by their code point."""
    return f"|{''.join(_letter(c) for c in text)}|"


def _letter(c: str) -> str:
    return c if c.isprintable() and c not in "|\\%" else f"%{{{ord(c):X}}}"


def one_line(text: str) -> str:
    return "".join(c if c.isprintable() else " " for c in text)
