"""`include`, `module`, `end`, `use`: from lark's parse tree to our syntax tree."""

from verifier.language.syntax import tree as s
from verifier.language.syntax.lark_tree import Node, Nodes, string, tokens, trees


class ModuleBuilder(Nodes):
    """Turns the parse tree of one statement of reuse into a syntax node."""

    def _include(self, tree: Node) -> s.Include:
        text = next(token for token in tokens(tree) if token.type == "STRING")
        return s.Include(string(tree), self._span(text), self._span(tree))

    def _module(self, tree: Node) -> s.Module:
        return s.Module(self._name(tree), self._names(tree), self._span(tree))

    def _end(self, tree: Node) -> s.End:
        return s.End(self._span(tree))

    def _use(self, tree: Node) -> s.Use:
        bindings = tuple(
            s.Binding(self._name(child, 0), self._name(child, 1), self._span(child))
            for child in trees(tree, "binding")
        )
        turned = next((self._span(words) for words in trees(tree, "turned")), None)
        return s.Use(self._name(tree, 0), self._name(tree, 1), turned, bindings, self._span(tree))
