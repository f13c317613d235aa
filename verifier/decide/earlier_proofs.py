"""What earlier proofs leave for a changed plan: which delays to compare, and clauses to try.

Nothing in here is believed: what the clauses exclude is proved again.
"""

from collections.abc import Sequence
from functools import cached_property

from verifier.engines.proof_store import ProofStore
from verifier.engines.temporal.kept_clauses import KeptClauses
from verifier.engines.temporal.localization import LocalAnswer
from verifier.logic.expr import Expr
from verifier.logic.time_order import Order, Ordered
from verifier.world.history import Histories

# What the comparisons of the last proof are kept under.
_ORDER = "order of delays"


def keep_order(store: ProofStore, order: Order, *, lossy: bool) -> None:
    """Keep the comparisons of a proof, beside those of earlier ones."""
    before = store.known((_ORDER, lossy)) or Order()
    store.keep((_ORDER, lossy), Order({**before.compared, **order.compared}))


class EarlierProofs:
    """What earlier proofs leave for a changed plan: which delays to compare, and clauses to try.
    Whatever they are, what they exclude is unreachable."""

    def __init__(
        self,
        histories: Histories,
        clauses: Sequence[Expr],
        store: ProofStore,
        deadline: float | None,
    ):
        self._histories = histories
        compared = store.known((_ORDER, histories.lossy)) or Order()
        self._ordered = Ordered(histories.system, _still_there(compared, histories))
        system = self._ordered.system
        self._clauses = KeptClauses(system, clauses, store, deadline)

    @cached_property
    def clauses(self) -> tuple[Expr, ...]:
        """Those that are inductive together."""
        return tuple(self._clauses.inductive)

    def exclude(self, formula: Expr) -> tuple[Expr, LocalAnswer] | None:
        """A proof that something never happens, where they exclude it, and what it excludes."""
        bad = self._ordered.within(self._histories.expand(formula))
        proof = self._clauses.exclude(bad)
        return (bad, LocalAnswer(proof, self._ordered.system)) if proof else None


def _still_there(order: Order, histories: Histories) -> Order:
    """The comparisons of an earlier plan that can be made in this one, and those it begins with."""
    timing = histories.system.timing
    if timing is None:
        return Order()
    clocks = {delay.clock for delay in timing.delays}
    return Order(
        {
            what: compared
            for what, compared in {**histories.order.compared, **order.compared}.items()
            if clocks.issuperset(compared.delays)
        }
    )
