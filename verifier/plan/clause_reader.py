"""The clauses of one statement, each given once, read by what they are."""

from collections.abc import Collection, Iterable, Sequence
from fractions import Fraction

from verifier.language.syntax import tree
from verifier.plan.conditions import resolve
from verifier.plan.names import Names
from verifier.plan.observables import Condition
from verifier.plan.quantities import Bounds, read_amount
from verifier.plan.vocabulary import Vocabulary

# Clauses that are not written as their kind is called.
_CALLED: dict[tree.ClauseKind, str] = {"lever contacts": "contacts", "button contact": "contact"}


class ClauseReader:
    """The clauses of a statement. What is wrong with them is noted in ``names``; what a clause
    says is None where the statement does not have it, or where it is wrong."""

    def __init__(self, clauses: Iterable[tree.Clause], names: Names):
        self.names = names
        self.given: dict[tree.ClauseKind, tree.Clause] = {}
        for clause in clauses:
            first = self.given.setdefault(clause.kind, clause)
            if first is not clause:
                names.error(
                    "CP606",
                    clause.span,
                    "contacts" if clause.kind == "contacts" else "",
                    others=[first.span],
                    kind=_CALLED.get(clause.kind, clause.kind),
                )

    def __contains__(self, kind: tree.ClauseKind) -> bool:
        return kind in self.given

    def has_any(self, kinds: Collection[tree.ClauseKind]) -> bool:
        return not self.given.keys().isdisjoint(kinds)

    def get(self, kind: tree.ClauseKind) -> tree.Clause | None:
        return self.given.get(kind)

    def amount(self, kind: tree.ClauseKind, bounds: Bounds) -> Fraction | None:
        """The amount of a clause, in the unit of its measure."""
        clause = self.given.get(kind)
        if clause is None or not clause.lengths:
            return None
        return read_amount(clause.lengths[0], bounds, self.names)

    def word(self, kind: tree.ClauseKind) -> str | None:
        """The choice that a clause makes."""
        clause = self.given.get(kind)
        return clause.words[0].text if clause and clause.words else None

    def supply(self, kind: tree.ClauseKind = "powered by", *, run: bool = False) -> str | None:
        """The supply that a clause names. A ``run`` of wire is given only where it counts."""
        clause = self.given.get(kind)
        if clause is None:
            return None
        if clause.run and not run:
            self.names.error("CP619", clause.run.span, "run")
        if clause.fuse and not run:
            self.names.error("CP619", clause.fuse.span, "fuse")
        return clause.names[0].text if self.names.find(clause.names[0], "supply") else None

    def condition(self, kind: tree.ClauseKind, words: Vocabulary) -> Condition | None:
        clause = self.given.get(kind)
        if clause is None or clause.condition is None:
            return None
        return resolve(clause.condition, words, in_rule=True)

    def conditions(self, kind: tree.ClauseKind, words: Vocabulary) -> tuple[Condition, ...]:
        """All conditions of a clause that has several; none where one of them is wrong."""
        clause = self.given.get(kind)
        if clause is None or clause.condition is None:
            return ()
        read = [resolve(c, words, in_rule=True) for c in (clause.condition, *clause.then)]
        found = tuple(condition for condition in read if condition is not None)
        return found if len(found) == len(read) else ()


def at_most_one(listed: Sequence[tree.Word], what: str, names: Names) -> tuple[str, ...]:
    """The names of a list, each once; repeated ones are noted."""
    for first, again in tree.repeated(listed):
        names.error(
            "CP606",
            again.span,
            "feeder" if what == "feeder" else "listed",
            others=[first.span],
            what=what,
            name=again.text,
        )
    return tuple(dict.fromkeys(word.text for word in listed))
