"""Conditions of the file as tests in C.

In: a condition, or an expression of the world where signals read one another in a circle.
Out: a test over fields. What each field is called is in the
:class:`~verifier.exports.interface.Interface`.
"""

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from verifier.exports.asked_for import RESTRICTIVE
from verifier.exports.c_text import (
    ALWAYS,
    NEVER,
    CWriter,
    NegatedTest,
    SimpleTest,
    Test,
    all_tests,
    any_test,
    is_one_of,
    test_text,
)
from verifier.exports.interface import Interface
from verifier.exports.names import CNames
from verifier.logic.expr import And, Atom, Const, Expr, Group, Or, fold, nodes
from verifier.plan.observables import All, AnyOne, Condition, Fact, Not, Observable
from verifier.plan.signals.heads import signal_of
from verifier.world.report_abstraction import missing

# What is asked of an aspect or a color.
AspectQuery = tuple[Observable, tuple[str, ...]]


@dataclass(slots=True)
class ConditionWriter:
    """How what the rules speak of is written in C. ``named``: the variable that holds what a
    named condition comes to; ``settled``: of what signals in a circle ask of one another, the
    variables that hold the answers."""

    face: Interface
    named: Callable[[str], str]
    settled: Mapping[AspectQuery, str] = field(default_factory=dict)

    def of(self, condition: Condition) -> Test:
        """A condition of the file."""
        match condition:
            case Fact(what=what, values=values) if what.kind == "condition":
                name = SimpleTest(self.named(what.name))
                return name if values == ("true",) else NegatedTest(name)
            case Fact(what=what, values=values):
                return self.says(what, values)
            case All(parts=parts):
                return all_tests(*map(self.of, parts))
            case AnyOne(parts=parts):
                return any_test(*map(self.of, parts))
            case Not(part=part):
                return NegatedTest(self.of(part))

    def says(self, what: Observable, values: tuple[str, ...]) -> Test:
        """That something is in one of some states."""
        known = self.settled.get((what, values))
        if known is not None:
            return SimpleTest(known)
        if what.kind in ("aspect", "color") and what not in self.face.told:
            return self._shown(what, values)
        if what.kind == "fault":
            return self._fault(what, values)
        found = self.face.by_what[what]
        chosen = [s.enumerator for s in found.states if s.value in values]
        others = [s.enumerator for s in found.states if s.value not in values]
        return is_one_of(self.read(what), chosen, others)

    def read(self, what: Observable) -> str:
        """What is read to know a report, a lever or a memory."""
        found = self.face.by_what[what]
        if found.missing:
            return found.name
        return self.face.place(found)

    def _shown(self, what: Observable, values: tuple[str, ...]) -> Test:
        words = self.face.aspects if what.kind == "aspect" else self.face.colors
        chosen = [words[v].enumerator for v in what.values if v in values]
        others = [words[v].enumerator for v in what.values if v not in values]
        return is_one_of(self.told(what), chosen, others)

    def told(self, what: Observable) -> str:
        """The output that holds an aspect or a color."""
        owner = signal_of(what.name, self.face.plan.signals)
        lit = next(lit for lit in self.face.lit if lit.signal.name == owner)
        if what.kind == "aspect":
            return f"out->{lit.aspect}"
        heads = zip(lit.signal.heads, lit.heads, strict=True)
        return next(f"out->{name}" for head, name in heads if head.name == what.name)

    def _fault(self, what: Observable, values: tuple[str, ...]) -> Test:
        found = self.face.by_what.get(what)
        if found is None:
            found = next(
                f for f in self.face.inputs
                if f.missing and missing(f.what) == what
            )  # fmt: skip
            assert found.missing is not None
            test: Test = SimpleTest(f"in->{found.name} == {found.missing.enumerator}")
            return test if "missing" in values else NegatedTest(test)
        chosen = [s.enumerator for s in found.states if s.value in values]
        others = [s.enumerator for s in found.states if s.value not in values]
        return is_one_of(f"in->{found.name}", chosen, others)

    def expression(self, expr: Expr, code: CWriter, names: CNames) -> Test:
        """An expression of the world. Parts that stand in it more than once get a variable."""
        used = Counter(
            part for node in nodes(expr) if isinstance(node, Group) for part in node.parts
        )

        def step(node: Expr, parts: tuple[Test, ...]) -> Test:
            match node:
                case Const(value=value):
                    return ALWAYS if value else NEVER
                case Atom(what=what, values=values):
                    return self.says(what, values)
                case And():
                    test = all_tests(*parts)
                case Or():
                    test = any_test(*parts)
                case _:
                    raise AssertionError(node)
            if used[node] < 2:
                return test
            name = names.give("part", "")
            code.test(f"const bool {name} = ", test, ";")
            return SimpleTest(name)

        return fold(expr, step)

    def noticed(self) -> CWriter:
        """Variables for reports that may be missing: then they read as what restricts most."""
        code = CWriter(indent=1)
        for found in self.face.inputs:
            if found.missing:
                restrictive = found.state(RESTRICTIVE[found.what.kind]).enumerator
                test = test_text(SimpleTest(f"in->{found.name} == {found.missing.enumerator}"))
                code.put(f"const uint8_t {found.name} =")
                # The cast is for C++ alone, where an enumerator is no number.
                code.put(f"    ({test}) ? (uint8_t){restrictive} : in->{found.name};")
        return code
