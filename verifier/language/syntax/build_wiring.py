"""Wiring statements, and all clauses: from lark's parse tree to our syntax tree."""

from collections.abc import Container
from typing import cast

from lark import Token, Tree

from verifier.language.source import Span
from verifier.language.syntax import tree as s
from verifier.language.syntax.build_conditions import ConditionBuilder
from verifier.language.syntax.lark_tree import Node, tokens, trees, types

# The grammar's rule for each kind of clause.
KINDS: dict[str, s.ClauseKind] = {
    "thrown": "thrown by",
    "motor": "motor",
    "powered": "powered by",
    "contacts": "contacts",
    "fouling": "fouling point",
    "gaps": "gap",
    "track_power": "track power",
    "rating": "rating",
    "fuse": "fuse",
    "fed": "fed by",
    "on_block": "on",
    "at_spots": "at",
    "through": "through",
    "turns": "turns",
    "sensitivity": "sensitivity",
    "hold": "hold",
    "output": "output",
    "isolated": "isolated output",
    "unpowered": "without track power",
    "outputs": "outputs",
    "reads": "reads",
    "missing": "when input missing",
    "out": "when lamp out",
    "lamps": "lamps",
    "needs": "needs",
    "detectable": "detectable",
    "wheelsets": "wheelsets",
    "thrown_by_rule": "thrown reverse when",
    "locked": "locked while",
    "electric_lock": "electric lock",
    "picks": "picks when",
    "sticks": "sticks while",
    "slow": "slow to release",
    "rightward": "rightward when",
    "leftward": "leftward when",
}
# Those that end with a condition.
_CONDITIONS = {
    "thrown_by_rule", "locked", "electric_lock", "picks", "sticks", "rightward", "leftward",
}  # fmt: skip
# Terminals that say what was chosen.
_CHOICES = {"CLEAR", "OCCUPIED", "THROUGHOUT", "LOCOMOTIVE", "BOTH", "HAND"}


class WiringBuilder(ConditionBuilder):
    """Turns the parse tree of one wiring statement into a syntax node."""

    def _supply(self, tree: Node) -> s.Supply:
        return s.Supply(self._name(tree), False, self._clauses(tree), self._span(tree))

    def _booster(self, tree: Node) -> s.Supply:
        return s.Supply(self._name(tree), True, self._clauses(tree), self._span(tree))

    def _district(self, tree: Node) -> s.District:
        names = self._name(tree), self._name(tree, 1)
        return s.District(*names, self._run(tree), self._span(tree))

    def _common_return(self, tree: Node) -> s.CommonReturn:
        return s.CommonReturn(self._names(tree), self._span(tree))

    def _detector(self, tree: Node) -> s.Detector:
        kind = "spot" if "SPOT" in types(tree) else "current-sensing"
        return s.Detector(
            self._name(tree),
            "spot" if kind == "spot" else "current-sensing",
            self._clauses(tree),
            self._before(tree, KINDS),
            self._span(tree),
        )

    def _driver(self, tree: Node) -> s.Driver:
        return s.Driver(self._name(tree), self._names(tree), self._clauses(tree), self._span(tree))

    def _trains(self, tree: Node) -> s.Trains:
        shortest, longest = self._lengths(tree)
        return s.Trains(shortest, longest, self._clauses(tree), self._span(tree))

    def _scale(self, tree: Node) -> s.Scale:
        if any(trees(tree, "name")):
            return s.Scale(self._name(tree), None, self._span(tree))
        numbers = [t for t in tokens(tree) if t.type == "NUMBER"]
        one, many = (s.Amount(str(number), "", self._span(number)) for number in numbers)
        return s.Scale(None, (one, many), self._span(tree))

    def _stopping_distance(self, tree: Node) -> s.StoppingDistance:
        return s.StoppingDistance(self._length(tree), self._span(tree))

    # -------------------------------------------------------------- parts of them

    def _clauses(self, tree: Node) -> tuple[s.Clause, ...]:
        return tuple(
            self._clause(child)
            for child in tree.children
            if isinstance(child, Tree) and child.data in KINDS
        )

    def _clause(self, tree: Node) -> s.Clause:
        readings = list(trees(tree, "reading"))
        names = self._names(tree) or tuple(
            self._name(child)
            for child in [*readings, *([tree] if any(trees(tree, "name")) else [])]
        )
        chosen = [*(t for t in tokens(tree) if t.type in _CHOICES)]
        for rule in ("side", "motor_kind"):
            chosen += [cast(Token, child.children[0]) for child in trees(tree, rule)]
        colors = [self._color(child) for child in trees(tree, "color")]
        lengths = self._lengths(tree)
        if tree.data in ("rating", "fuse"):
            lengths = tuple((self._amount(child),) for child in trees(tree, "amount"))
        kind = KINDS[tree.data]
        if "PICK" in types(tree):
            kind = "slow to pick"
        return s.Clause(
            kind,
            self._span(tree),
            names,
            (*map(self._name_of, chosen), *(s.Name(c.text, c.span) for c in colors)),
            lengths,
            self._run(tree),
            tuple(self._name(child) for child in readings if "CONTACTS" in types(child)),
            self._condition(tree.children[-1]) if tree.data in _CONDITIONS else None,
        )

    def _before(self, tree: Node, rules: Container[str]) -> Span:
        """The stretch of a statement before what is read by any of these rules."""
        end = 0
        for child in tree.children:
            if isinstance(child, Tree) and child.data in rules:
                break
            end = self._span(child).end if child else end
        start = self._span(tree).start
        return Span(self.source, start, end)

    def _feeders(self, tree: Node) -> s.Feeders:
        return s.Feeders(self._names(tree), self._run(tree), self._span(tree))

    def _run(self, tree: Node) -> s.Run | None:
        for run in trees(tree, "run"):
            length, gauge = self._lengths(run)
            return s.Run(length, gauge, self._span(run))
        return None

    def _lengths(self, tree: Node) -> tuple[s.Length, ...]:
        return tuple(
            tuple(self._amount(child) for child in trees(length, "amount"))
            for length in trees(tree, "length")
        )

    def _length(self, tree: Node) -> s.Length:
        """The one length of a node; empty where it has none."""
        return next(iter(self._lengths(tree)), ())

    def _amount(self, tree: Node) -> s.Amount:
        number, *unit = tokens(tree)
        return s.Amount(str(number), str(unit[0]) if unit else "", self._span(tree))
