"""From lark's parse tree to our syntax tree: one small method per grammar rule."""

from collections.abc import Callable
from typing import Any, cast

from lark import Token

from verifier.language.syntax import tree as s
from verifier.language.syntax.build_locking import LockingBuilder
from verifier.language.syntax.build_modules import ModuleBuilder
from verifier.language.syntax.build_wiring import KINDS
from verifier.language.syntax.lark_tree import Node, mode, string, tokens, trees, types, word


class Builder(LockingBuilder, ModuleBuilder):
    """Turns the parse tree of one statement of ``source`` into a syntax node."""

    def statement(self, tree: Node) -> s.Statement:
        method: Callable[[Node], s.Statement] = getattr(self, f"_{tree.data}")
        return method(tree)

    def situation(self, tree: Node) -> tuple[s.Happening, ...]:
        return tuple(self._happening(child) for child in trees(tree, "happening"))

    # -------------------------------------------------------------- track and its parts

    def _layout(self, tree: Node) -> s.Layout:
        return s.Layout(string(tree), self._span(tree))

    def _edge(self, tree: Node) -> s.Edge:
        kinds = types(tree)
        direction = "both"
        if "ENTERING" in kinds:
            direction = "entering"
        elif "LEAVING" in kinds:
            direction = "leaving"
        entering = next(
            (self._condition(part.children[-1]) for part in trees(tree, "entering")), None
        )
        return s.Edge(self._names(tree), cast(Any, direction), entering, self._span(tree))

    def _bumper(self, tree: Node) -> s.Bumper:
        return s.Bumper(self._names(tree), self._span(tree))

    def _block(self, tree: Node) -> s.Block:
        return s.Block(
            self._names(tree),
            self._length(tree),
            tuple(name for group in trees(tree, "in_districts") for name in self._names(group)),
            any(trees(tree, "undetected")),
            any(trees(tree, "switching")),
            string(tree),
            tuple(self._feeders(child) for child in trees(tree, "feeders")),
            self._before(tree, ("feeders",)),
            self._span(tree),
        )

    def _turnout(self, tree: Node) -> s.Turnout:
        clauses = self._clauses(tree)
        return s.Turnout(self._names(tree), self._name(tree), clauses, self._span(tree))

    def _crossing(self, tree: Node) -> s.Crossing:
        return s.Crossing(self._names(tree), self._name(tree), self._span(tree))

    def _slip(self, tree: Node) -> s.Slip:
        single = None
        for joins in trees(tree, "single"):
            legs = [cast(s.Leg, str(t)) for t in tokens(joins) if t.type in ("ALONG", "ACROSS")]
            single = (legs[0], legs[1])
        below, first = self._clauses(tree), self._before(tree, KINDS)
        return s.Slip(self._names(tree), self._name(tree), single, below, first, self._span(tree))

    def _derail(self, tree: Node) -> s.Derail:
        names = (self._name(tree, 0), self._name(tree, 1), self._name(tree, 2))
        return s.Derail(*names, self._span(tree))

    def _gate(self, tree: Node) -> s.Gate:
        return s.Gate(self._names(tree), self._name(tree), self._span(tree))

    def _crossover(self, tree: Node) -> s.Crossover:
        return s.Crossover(self._name(tree), self._names(tree), self._span(tree))

    def _limits(self, tree: Node) -> s.Limits:
        return s.Limits(self._name(tree), self._names(tree), self._span(tree))

    def _track(self, tree: Node) -> s.Track:
        steps = tuple(self._step(child) for child in trees(tree, "step"))
        joins = tuple(self._join(child) for child in trees(tree, "join"))
        return s.Track(steps, joins, self._span(tree))

    def _step(self, tree: Node) -> s.Step:
        left, _, right = tree.children
        legs = [
            None if leg is None else cast(s.Leg, word(cast(Node, leg))) for leg in (left, right)
        ]
        return s.Step(legs[0], self._name(tree), legs[1], self._span(tree))

    def _join(self, tree: Node) -> s.Join:
        kind = cast(s.JoinKind, str(tree.children[0]))
        gap = self._name(tree) if any(trees(tree, "name")) else None
        return s.Join(kind, gap, self._span(tree))

    # -------------------------------------------------------------- signals

    def _signal(self, tree: Node) -> s.Signal:
        near, far = (self._step(child) for child in trees(tree, "step"))
        join = self._join(next(trees(tree, "join")))
        stands = tuple(a for group in trees(tree, "stands") for a in self._length(group))
        heads = tuple(name for group in trees(tree, "heads") for name in self._names(group))
        rules = self._rules(tree)
        return s.Signal(self._name(tree), near, join, far, stands, heads, rules, self._span(tree))

    def _head(self, tree: Node) -> s.Head:
        return s.Head(self._name(tree), self._rules(tree), self._span(tree))

    def _rules(self, tree: Node) -> tuple[s.Rule, ...]:
        return tuple(self._rule(child) for child in trees(tree, "rule"))

    def _rule(self, tree: Node) -> s.Rule:
        kinds = types(tree)
        shows = next(t for t in tokens(tree) if t.type == "RULE_NAME")
        when = None if "OTHERWISE" in kinds else self._condition(tree.children[-1])
        return s.Rule(self._name_of(shows), "FLASHES" in kinds, when, self._span(tree))

    def _aspect(self, tree: Node) -> s.Aspect:
        combinations = tuple(
            tuple(self._color(color) for color in trees(combination, "color"))
            for combination in trees(tree, "combination")
        )
        indication = " ".join(word(next(trees(tree, "indication"))).split())
        return s.Aspect(self._name(tree), combinations, indication, self._span(tree))

    def _address(self, tree: Node) -> s.Address:
        return s.Address(self._count(tree), self._name(tree), self._span(tree))

    def _number(self, tree: Node) -> s.Number:
        colors = [self._color(color) for color in trees(tree, "color")]
        shows = s.Name(colors[0].text, colors[0].span) if colors else self._name(tree)
        return s.Number(self._count(tree), shows, self._span(tree))

    def _count(self, tree: Node) -> s.Amount:
        number = next(token for token in tokens(tree) if token.type == "NUMBER")
        return s.Amount(str(number), "", self._span(number))

    # -------------------------------------------------------------- conditions

    def _condition_def(self, tree: Node) -> s.NamedCondition:
        condition = self._condition(tree.children[-1])
        return s.NamedCondition(self._name(tree), condition, self._span(tree))

    # -------------------------------------------------------------- panel and claims

    def _lever(self, tree: Node) -> s.Lever:
        positions = tuple(
            self._name_of(cast(Token, child.children[0])) for child in trees(tree, "position")
        )
        return s.Lever(self._names(tree), positions, self._span(tree))

    def _button(self, tree: Node) -> s.Button:
        return s.Button(self._names(tree), self._span(tree))

    def _prove(self, tree: Node) -> s.Prove:
        condition = self._condition(tree.children[-1])
        return s.Prove(string(tree), mode(tree), condition, self._span(tree))

    def _assume(self, tree: Node) -> s.Assume:
        condition = self._condition(tree.children[-1])
        return s.Assume(string(tree), mode(tree), condition, self._span(tree))

    def _waive(self, tree: Node) -> s.Waive:
        return s.Waive(self._claim(tree), self._subjects(tree), string(tree), self._span(tree))

    def _expect(self, tree: Node) -> s.Expect:
        return s.Expect(self._claim(tree), self._subjects(tree), self._span(tree))

    def _claim(self, tree: Node) -> s.Name:
        return self._name_or_text(next(trees(tree, "claim")))

    def _subjects(self, tree: Node) -> tuple[s.Name, ...]:
        return tuple(
            self._name_or_text(subject)
            for group in trees(tree, "subjects")
            for subject in trees(group, "subject")
        )

    def _name_or_text(self, tree: Node) -> s.Name:
        token = next(tree.scan_values(lambda value: isinstance(value, Token)))
        return s.Name(str(token).strip('"'), self._span(token))

    def _happening(self, tree: Node) -> s.Happening:
        names = tuple(
            self._name_of(cast(Token, child.children[0])) for child in trees(tree, "name")
        )
        kinds = types(tree)
        if "TRAIN" in kinds:
            return s.Happening("train", names, "occupied", self._span(tree))
        if "BUTTON" in kinds:
            return s.Happening("thing", names, "pressed", self._span(tree))
        return s.Happening("thing", names, word(next(trees(tree, "thing_state"))), self._span(tree))
