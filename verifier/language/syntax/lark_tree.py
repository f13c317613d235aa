"""Reading lark's parse tree: the children of a node by rule and by kind, their places."""

from collections.abc import Iterator
from typing import Any, cast

from lark import Token, Tree

from verifier.language.source import Source, Span
from verifier.language.syntax import tree as s

Node = Tree[Token]


class Nodes:
    """What the builders of statements share: names and places in ``source``."""

    def __init__(self, source: Source):
        self.source = source

    def _span(self, node: Node | Token) -> Span:
        if isinstance(node, Token):
            return Span(self.source, cast(int, node.start_pos), cast(int, node.end_pos))
        return Span(self.source, node.meta.start_pos, node.meta.end_pos)

    def _name_of(self, token: Token) -> s.Name:
        return s.Name(str(token), self._span(token))

    def _name(self, tree: Node, nth: int = 0) -> s.Name:
        found = list(trees(tree, "name"))
        return self._name_of(cast(Token, found[nth].children[0]))

    def _names(self, tree: Node, nth: int = 0) -> tuple[s.Name, ...]:
        groups = list(trees(tree, "names"))
        if nth >= len(groups):
            return ()
        return tuple(
            self._name_of(cast(Token, child.children[0])) for child in trees(groups[nth], "name")
        )

    def _color(self, tree: Node) -> s.Color:
        return s.Color(" ".join(str(t) for t in tokens(tree)), self._span(tree))


def trees(tree: Node, rule: str) -> Iterator[Node]:
    return (c for c in tree.children if isinstance(c, Tree) and c.data == rule)


def tokens(tree: Node) -> Iterator[Token]:
    return (child for child in tree.children if isinstance(child, Token))


def types(tree: Node) -> set[str]:
    return {token.type for token in tokens(tree)}


def word(tree: Node) -> str:
    return str(tree.children[0])


def string(tree: Node) -> str:
    return next((str(t)[1:-1] for t in tokens(tree) if t.type == "STRING"), "")


def quantity(tree: Node) -> Any:
    return next((word(child) for child in trees(tree, "quantity")), "")


def mode(tree: Node) -> Any:
    return next(str(t) for t in tokens(tree) if t.type in ("NEVER", "ALWAYS", "POSSIBLE"))
