"""What signals show, as C: every signal after those it reads, named conditions in between.

In: the interface, and the world for what signals that read one another round in a circle come to.
Out: lines of C.
"""

from collections.abc import Iterable, Iterator, Mapping
from graphlib import TopologicalSorter
from itertools import product
from pathlib import PurePath

from verifier.exports.asked_for import reports_read
from verifier.exports.c_text import CWriter, SimpleTest, Test, all_tests, any_test
from verifier.exports.condition_to_c import AspectQuery, ConditionWriter
from verifier.exports.interface import Interface, SignalOutputs
from verifier.exports.names import CNames
from verifier.language.source import Span
from verifier.logic.expr import Atom, Expr, atom, nodes
from verifier.plan.model import Line, Plan, Signal
from verifier.plan.observables import UNLISTED, Observable, conditions_in, facts_in
from verifier.plan.signals.aspects import Combination
from verifier.plan.signals.heads import signal_of
from verifier.plan.wiring.wiring_model import Driver
from verifier.world.report_abstraction import ReportedWorld, lamp_out

# A signal, or a named condition.
Node = tuple[str, str]


class SignalRules:
    """Writes the part of the function that settles all signals. ``names``: of its variables."""

    def __init__(self, face: Interface, world: ReportedWorld, names: CNames):
        self._face = face
        self._plan = face.plan
        self._world = world
        self._names = names
        self.named = {name: names.give("is", name) for name in self._plan.conditions}

    def written(self, conditions: Iterable[str]) -> CWriter:
        """All signals, and these named conditions."""
        code = CWriter(indent=1)
        for members in _in_order(self._plan, conditions):
            signals = [name for kind, name in members if kind == "signal"]
            named = [name for kind, name in members if kind == "condition"]
            settled = (
                self._settled(signals, named, code) if _goes_round(members, self._plan) else {}
            )
            words = ConditionWriter(self._face, self.named.__getitem__, settled)
            for name in by_use(self._plan, named):
                self.condition(name, self.named[name], words, code)
            for name in signals:
                self._signal(self._lit(name), words, code)
        return code

    def condition(self, name: str, variable: str, words: ConditionWriter, code: CWriter) -> None:
        """A named condition, worked out into a variable."""
        condition = self._plan.conditions[name]
        code.say(f"{place_of(condition.span)}: {condition.span.text}")
        code.test(f"const bool {variable} = ", words.of(condition.condition), ";")
        code.put("")

    def _lit(self, signal: str) -> SignalOutputs:
        return next(lit for lit in self._face.lit if lit.signal.name == signal)

    # -------------------------------------------------------------- circles

    def _settled(
        self, signals: Iterable[str], named: Iterable[str], code: CWriter
    ) -> dict[AspectQuery, str]:
        """The answers to all that the signals of a circle ask of one another."""
        signals = set(signals)
        conditions = [w for s in signals for w in self._plan.signals[s].conditions]
        conditions += [self._plan.conditions[name].condition for name in named]
        questions = sorted(
            {
                (says.what, says.values)
                for condition in conditions
                for says in facts_in(condition)
                if says.what.kind in ("aspect", "color")
                and signal_of(says.what.name, self._plan.signals) in signals
            },
            key=lambda q: (q[0].kind, q[0].name, q[1]),
        )
        answers: dict[AspectQuery, str] = {}
        code.say(
            "These signals depend on each other in a cycle. What they test of each other is "
            "evaluated first, without the cycle:"
        )
        for question in questions:
            asked = atom(question[0], *question[1])
            if isinstance(asked, Atom):
                self._answer(asked, signals, answers, code)
                answers[question] = answers[asked.what, asked.values]
        code.put("")
        return answers

    def _answer(
        self, asked: Atom, circle: set[str], answers: dict[AspectQuery, str], code: CWriter
    ) -> None:
        """Write the answer to a question, those it needs before it."""
        begun: dict[Atom, None] = {}
        stack = [asked]
        while stack:
            part = stack[-1]
            if (part.what, part.values) in answers:
                stack.pop()
                continue
            meaning = self._world.one_step(part)
            waiting = [
                n for n in self._open_in(meaning, circle) if (n.what, n.values) not in answers
            ]
            if any(n in begun or n is part for n in waiting):
                # They wait for one another: what each comes to in terms of reports alone.
                meaning, waiting = self._world.expand(part), []
            if waiting:
                begun[part] = None
                stack += waiting
                continue
            begun.pop(part, None)
            stack.pop()
            words = ConditionWriter(self._face, self.named.__getitem__, answers)
            test = words.expression(meaning, code, self._names)
            name = self._names.give("settled", part.what.name)
            code.say(f"that {part.what.name} shows {' or '.join(part.values)}")
            code.test(f"const bool {name} = ", test, ";")
            answers[part.what, part.values] = name

    def _open_in(self, meaning: Expr, circle: set[str]) -> list[Atom]:
        return [
            node
            for node in nodes(meaning)
            if isinstance(node, Atom)
            and node.what.kind in ("aspect", "color")
            and signal_of(node.what.name, self._plan.signals) in circle
        ]

    # -------------------------------------------------------------- one signal

    def _signal(self, lit: SignalOutputs, words: ConditionWriter, code: CWriter) -> None:
        signal = lit.signal
        code.say(f"signal {signal.name}, {place_of(signal.span)}")
        if signal.by_head:
            for head, name in zip(signal.heads, lit.heads, strict=True):
                self._lines(head.lines, words, code, {
                    line.index: [f"out->{name} = {self._color(line.shows)};"]
                    for line in head.lines
                })  # fmt: skip
        else:
            self._lines(signal.lines, words, code, {
                line.index: self._shows(lit, self._colors(line, signal)) for line in signal.lines
            })  # fmt: skip
        self._noticed(lit, words, code)
        if signal.by_head:
            self._read(lit, code)
        code.put("")

    def _lines(
        self,
        lines: tuple[Line, ...],
        words: ConditionWriter,
        code: CWriter,
        shows: Mapping[int, list[str]],
    ) -> None:
        """The first line that holds acts."""
        for line in lines:
            said = f"{place_of(line.span)}: {line.span.text}"
            if line.when is not None:
                word = "if (" if line.index == 0 else "else if ("
                code.test(word, words.of(line.when), ") {")
            else:
                code.put("else {" if line.index else "{")
            code.indent += 1
            code.say(said)
            code.put(*shows[line.index])
            code.close()

    def _colors(self, line: Line, signal: Signal) -> Combination:
        return signal.colors(line.shows, self._plan.chart)

    def _shows(self, lit: SignalOutputs, colors: Combination) -> list[str]:
        aspect = self._face.aspects[self._plan.chart_of(lit.signal).reading(colors)]
        return [
            f"out->{lit.aspect} = {aspect.enumerator};",
            *(
                f"out->{name} = {self._color(color)};"
                for name, color in zip(lit.heads, colors, strict=True)
            ),
        ]

    def _color(self, color: str) -> str:
        return self._face.colors[color].enumerator

    def _read(self, lit: SignalOutputs, code: CWriter) -> None:
        """The aspect that the colors of the heads are."""
        chart = self._plan.chart_of(lit.signal)
        unlisted = self._face.aspects[UNLISTED].enumerator
        shown = [head.color.values for head in lit.signal.heads]
        listed = [c for c in product(*shown) if chart.readings(c)]
        listed.sort(key=lambda c: chart.aspects.index(chart.readings(c)[0]))
        word = "if ("
        for colors in listed:
            tests = (
                SimpleTest(f"out->{name} == {self._color(color)}")
                for name, color in zip(lit.heads, colors, strict=True)
            )
            code.test(word, all_tests(*tests), ") {")
            code.put(
                f"    out->{lit.aspect} = {self._face.aspects[chart.reading(colors)].enumerator};",
                "}",
            )
            word = "else if ("
        code.put("else {" if listed else "{", f"    out->{lit.aspect} = {unlisted};", "}")

    # -------------------------------------------------------------- what drivers notice

    def _noticed(self, lit: SignalOutputs, words: ConditionWriter, code: CWriter) -> None:
        """What a driver does about dead inputs, then about lamps that do not light."""
        signal = lit.signal
        drivers: dict[str, Driver] = {}
        for i, head in enumerate(signal.heads):
            driver = self._plan.wiring.driver_of(head.name)
            if driver is None:
                continue
            drivers[driver.name] = driver
            if driver.when_missing is not None and (signal.by_head or i == 0):
                reports = reports_read(signal, i, self._plan)
                self._instead(lit, [i], driver.when_missing, self._missing(reports), code, (
                    f"driver {driver.name}: when input missing shows {driver.when_missing}"
                ))  # fmt: skip
        for driver in drivers.values():
            if driver.when_out is None:
                continue
            heads = [i for i, h in enumerate(signal.heads) if h.name in driver.heads]
            self._instead(lit, heads, driver.when_out, self._out(lit, heads), code, (
                f"driver {driver.name}: when lamp out shows {driver.when_out}"
            ))  # fmt: skip

    def _instead(
        self, lit: SignalOutputs, heads: list[int], color: str, when: Test, code: CWriter, said: str
    ) -> None:
        signal = lit.signal
        if when == any_test():
            return
        code.test("if (", when, ") {")
        code.indent += 1
        code.say(said)
        if signal.by_head:
            code.put(*(f"out->{lit.heads[i]} = {self._color(color)};" for i in heads))
        else:
            code.put(*self._shows(lit, (color,) * len(signal.heads)))
        code.close()

    def _missing(self, reports: Iterable[Observable]) -> Test:
        fields = [self._face.by_what[what] for what in reports]
        return any_test(*(
            SimpleTest(f"in->{f.name} == {f.missing.enumerator}") for f in fields if f.missing
        ))  # fmt: skip

    def _out(self, lit: SignalOutputs, heads: Iterable[int]) -> Test:
        tests = []
        for i in heads:
            lamp = self._face.by_what[lamp_out(lit.signal.heads[i].name)]
            tests.append(all_tests(
                SimpleTest(f"in->{lamp.name} == {lamp.state('out').enumerator}"),
                SimpleTest(f"out->{lit.heads[i]} != {self._color('dark')}"),
            ))  # fmt: skip
        return any_test(*tests)


def place_of(span: Span) -> str:
    """File name and line, without folders: the text must not depend on where the file lies."""
    return f"{PurePath(span.source.name).name}:{span.line}"


# ------------------------------------------------------------------ what comes before what


def _asks(node: Node, plan: Plan) -> Iterator[Node]:
    kind, name = node
    whens = plan.signals[name].conditions if kind == "signal" else [plan.conditions[name].condition]
    for when in whens:
        for says in facts_in(when):
            if says.what.kind == "condition":
                yield "condition", says.what.name
            elif says.what.kind in ("aspect", "color"):
                asked = signal_of(says.what.name, plan.signals)
                if asked in plan.signals:  # else the board is told of it
                    yield "signal", asked


def _in_order(plan: Plan, conditions: Iterable[str]) -> Iterator[list[Node]]:
    """Signals and named conditions, those that ask one another together, after all they ask."""
    import networkx

    graph: networkx.DiGraph[Node] = networkx.DiGraph()
    waiting: list[Node] = [("signal", name) for name in plan.signals]
    waiting += [("condition", name) for name in conditions]
    graph.add_nodes_from(waiting)
    seen = set(waiting)
    while waiting:
        node = waiting.pop()
        for asked in dict.fromkeys(_asks(node, plan)):
            graph.add_edge(asked, node)
            if asked not in seen:
                seen.add(asked)
                waiting.append(asked)
    every_name = [*plan.conditions, *plan.signals]
    place = {name: i for i, name in enumerate(every_name)}
    together = networkx.condensation(graph)
    members = {
        n: sorted(together.nodes[n]["members"], key=lambda node: place[node[1]])
        for n in together.nodes
    }
    first = {n: place[nodes_[0][1]] for n, nodes_ in members.items()}
    for n in networkx.lexicographical_topological_sort(together, key=first.__getitem__):
        yield members[n]


def _goes_round(members: list[Node], plan: Plan) -> bool:
    return len(members) > 1 or members[0] in _asks(members[0], plan)


def by_use(plan: Plan, names: list[str]) -> list[str]:
    """Named conditions, each after those it is written in terms of."""
    asks = {
        name: [c for c in conditions_in(plan.conditions[name].condition) if c in names]
        for name in names
    }
    return list(TopologicalSorter(asks).static_order())
