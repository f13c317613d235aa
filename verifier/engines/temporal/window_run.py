"""One run of the engine in a window, or what the store has of the same run.

In: a window, bad states of it, clauses worth trying. Out: answers as they are found, then an
inductive invariant. Trusts :mod:`verifier.engines.temporal.pdr` for nothing: what it calls
unreachable the induction check has accepted.
"""

from collections.abc import Hashable, Iterator
from dataclasses import dataclass
from time import monotonic

from verifier.engines.proof_store import ProofStore
from verifier.engines.results import Answer, Unknown, Unreachable
from verifier.engines.stopping import is_over
from verifier.engines.temporal import pdr
from verifier.logic.expr import Expr
from verifier.logic.transition_system import System


@dataclass(frozen=True, slots=True)
class Asking:
    """What a run of the engine depends on."""

    system: System
    bads: tuple[Expr, ...]
    hints: tuple[Expr, ...]
    pairs: bool


class WindowRun:
    """One run of the engine in a window, or what the store has of the same run."""

    def __init__(self, asking: Asking, deadline: float | None, store: ProofStore, kind: Hashable):
        self._asking = asking
        self._kind = kind
        self._deadline = deadline
        self._store = store
        self._question = (
            "window", asking.system.content, asking.bads, asking.hints, asking.pairs,
        )  # fmt: skip
        # After the last answer: all clauses found, which are an inductive invariant.
        self.invariant: tuple[Expr, ...] = ()

    def answers(self) -> Iterator[tuple[Expr, Answer]]:
        """The answer for each bad state, as soon as it is known."""
        known: tuple[dict[Expr, Answer], tuple[Expr, ...]] | None
        known = self._store.known(self._question)
        if known is not None:
            yield from known[0].items()
            self.invariant = known[1]
            return
        asking = self._asking
        engine = pdr.Reachability(asking.system, asking.hints, pairs=asking.pairs)
        found: dict[Expr, Answer] = {}
        for bad, answer in engine.answers(asking.bads, self._deadline):
            found[bad] = answer
            if isinstance(answer, Unreachable):
                self._store.learn(self._kind, answer.clauses)
            yield bad, answer
        self.invariant = engine.invariant(self._deadline)
        late = is_over() or (self._deadline is not None and monotonic() >= self._deadline)
        if not late and not any(isinstance(answer, Unknown) for answer in found.values()):
            self._store.keep(self._question, (found, self.invariant))
