"""Answers kept from one proof to the next, so that an edit costs what it changes.

In: a question, and how to work out its answer. Out: the answer, worked out now or before.

A question names all that its answer depends on: expressions, which are equal only if they are the
same object, observables in their order, and plain values. So a store that was filled by another
file, or by an earlier text of this one, answers only questions that are the same to the letter; and
what is kept must be a function of the question alone, never of what a solver was asked before.
Nothing is read from a disk or from another process. Answers that a limit cut short are not kept.

Beside answers it has clauses of proofs, which are worth trying on the next question. They are
candidates: whoever uses them checks them (:mod:`verifier.engines.temporal.kept_clauses`).
"""

from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterable
from typing import Any, TypeVar

from verifier.logic.expr import Expr

T = TypeVar("T")

# As many answers are kept; those not asked for longest go first.
MOST_ANSWERS = 50_000
# As many clauses of one kind of histories are kept; those not useful for longest go first.
MOST_CLAUSES = 3_000


class ProofStore:
    """What earlier proofs of this process found. For one thread at a time."""

    def __init__(self, most: int = MOST_ANSWERS) -> None:
        self._most = most
        self._answers: OrderedDict[Hashable, Any] = OrderedDict()
        self._clauses: dict[Hashable, OrderedDict[Expr, None]] = {}

    def answer(self, question: Hashable, work: Callable[[], T], is_final: Callable[[T], bool]) -> T:
        """The answer to a question; worked out, and kept if it is final, where it is not known."""
        known: T | None = self.known(question)
        if known is not None:
            return known
        found = work()
        if is_final(found):
            self.keep(question, found)
        return found

    def known(self, question: Hashable) -> Any:
        """The answer that is kept; None where there is none."""
        known = self._answers.get(question)
        if known is not None:
            self._answers.move_to_end(question)
        return known

    def keep(self, question: Hashable, answer: Any) -> None:
        """Keep an answer, which is not None."""
        self._answers[question] = answer
        self._answers.move_to_end(question)
        while len(self._answers) > self._most:
            self._answers.popitem(last=False)

    @property
    def clauses(self) -> tuple[Expr, ...]:
        """Clauses of earlier proofs, of every kind of histories."""
        return tuple(dict.fromkeys(clause for kept in self._clauses.values() for clause in kept))

    @property
    def kinds(self) -> tuple[Hashable, ...]:
        """The kinds of histories that it has clauses of."""
        return tuple(self._clauses)

    def clauses_of(self, kind: Hashable) -> tuple[Expr, ...]:
        """Clauses of earlier proofs about one kind of histories, those useful last at the end."""
        return tuple(self._clauses.get(kind, ()))

    def learn(self, kind: Hashable, clauses: Iterable[Expr]) -> None:
        """Keep clauses of a proof about one kind of histories."""
        kept = self._clauses.setdefault(kind, OrderedDict())
        for clause in clauses:
            kept[clause] = None
            kept.move_to_end(clause)
        while len(kept) > MOST_CLAUSES:
            kept.popitem(last=False)

    def __len__(self) -> int:
        return len(self._answers)


class NoStore(ProofStore):
    """Keeps nothing: every question is worked out."""

    def answer(self, question: Hashable, work: Callable[[], T], is_final: Callable[[T], bool]) -> T:
        return work()

    def keep(self, question: Hashable, answer: Any) -> None:
        pass

    def learn(self, kind: Hashable, clauses: Iterable[Expr]) -> None:
        pass


NO_STORE = NoStore()
