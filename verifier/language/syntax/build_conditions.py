"""Conditions: from lark's parse tree to our syntax tree."""

from typing import Any, cast

from lark import Tree

from verifier.language.syntax import tree as s
from verifier.language.syntax.lark_tree import Node, Nodes, quantity, tokens, trees


class ConditionBuilder(Nodes):
    """Turns the parse tree of one condition into a syntax node."""

    def _condition(self, node: Any) -> s.Condition:
        tree = cast(Node, node)
        span = self._span(tree)
        match tree.data:
            case "all_of" | "any_of":
                parts = tuple(self._condition(c) for c in tree.children if isinstance(c, Tree))
                return s.AllOf(parts, span) if tree.data == "all_of" else s.AnyOf(parts, span)
            case "opposite":
                return s.Opposite(self._condition(tree.children[-1]), span)
            case "negation":  # parentheses
                return self._condition(tree.children[1])
            case "train_on":
                words = list(tokens(tree))
                state = s.State("train on", "", self._span(words[0]).to(self._span(words[1])))
                return s.Fact(quantity(tree), self._names(tree), state, span)
            case "fact":
                states = list(trees(tree, "state"))
                found = self._state(states[0]) if states else None
                return s.Fact(quantity(tree), self._names(tree), found, span)
            case other:
                raise AssertionError(f"no such condition node: {other}")

    def _state(self, tree: Node) -> s.State:
        span = self._span(tree)
        said = list(tokens(tree))
        match said[0].type:
            case "LIES":
                return s.State("lies", str(said[1]), span)
            case "AT":
                return s.State("at stop", "", span)
            case "PROCEED" | "PROCEEDS":
                return s.State("proceeds", "", span)
            case "SHOWS":
                return s.State("shows", self._name(tree).text, span)
            case "FLASHING" | "COLOR":
                return s.State("color", " ".join(str(t) for t in said), span)
            case "NAME":
                return s.State("name", str(said[0]), span)
            case _:
                return s.State(str(said[0]), "", span)
