"""Statements of memory, time and locking: from lark's parse tree to our syntax tree."""

from typing import cast

from lark import Token

from verifier.language.syntax import tree as s
from verifier.language.syntax.build_wiring import WiringBuilder
from verifier.language.syntax.lark_tree import Node, trees, types


class LockingBuilder(WiringBuilder):
    """Turns the parse tree of one statement about locking into a syntax node."""

    def _relay(self, tree: Node) -> s.Relay:
        return s.Relay(self._name(tree), self._clauses(tree), self._span(tree))

    def _timer(self, tree: Node) -> s.Timer:
        runs = self._condition(tree.children[-1])
        return s.Timer(self._name(tree), self._length(tree), runs, self._span(tree))

    def _route(self, tree: Node) -> s.Route:
        name, signal, to = (self._name(tree, nth) for nth in range(3))
        via = tuple(self._way(way) for part in trees(tree, "via") for way in trees(part, "way"))
        return s.Route(name, signal, to, via, self._span(tree))

    def _way(self, tree: Node) -> s.Way:
        side = next(trees(tree, "side"))
        position = self._name_of(cast(Token, side.children[0]))
        return s.Way(self._name(tree), position, self._span(tree))

    def _traffic(self, tree: Node) -> s.Traffic:
        blocks = self._names(tree)
        return s.Traffic(self._name(tree), blocks, self._clauses(tree), self._span(tree))

    def _running(self, tree: Node) -> s.Running:
        kind = next(kind for word, kind in _RUNNING.items() if word in types(tree))
        return s.Running(kind, self._names(tree), self._length(tree), self._span(tree))


# The terminal that tells each way of running from the others.
_RUNNING: dict[str, s.RunningKind] = {
    "OBEY": "obey signals",
    "NEED": "need to stop",
    "NEVER": "never reverse",
    "REVERSE": "reverse on",
    "START": "start on",
}
