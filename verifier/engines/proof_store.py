"""Answers kept from one proof to the next, so that an edit costs what it changes.

In: a question, and how to work out its answer. Out: the answer, worked out now or before.

A question names all that its answer depends on: expressions, which are equal only if they are the
same object, observables in their order, and plain values. So a store that was filled by another
file, or by an earlier text of this one, answers only questions that are the same to the letter; and
what is kept must be a function of the question alone, never of what a solver was asked before.
Nothing is read from a disk or from another process. Answers that a limit cut short are not kept.
"""

from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Any, TypeVar

T = TypeVar("T")

# As many answers are kept; those not asked for longest go first.
MOST_ANSWERS = 50_000


class ProofStore:
    """What earlier proofs of this process found. For one thread at a time."""

    def __init__(self, most: int = MOST_ANSWERS) -> None:
        self._most = most
        self._answers: OrderedDict[Hashable, Any] = OrderedDict()

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

    def __len__(self) -> int:
        return len(self._answers)


class NoStore(ProofStore):
    """Keeps nothing: every question is worked out."""

    def answer(self, question: Hashable, work: Callable[[], T], is_final: Callable[[T], bool]) -> T:
        return work()

    def keep(self, question: Hashable, answer: Any) -> None:
        pass


NO_STORE = NoStore()
