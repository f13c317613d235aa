"""What earlier proofs leave for a changed plan: which delays to compare, and clauses to try.

Nothing in here is believed: what the clauses exclude is proved again. So they may be taken over
under new names where something seems to have been renamed.
"""

from collections.abc import Collection, Hashable, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from typing import NamedTuple

from verifier.engines.proof_store import ProofStore
from verifier.engines.temporal.kept_clauses import KeptClauses
from verifier.engines.temporal.localization import Doubt, LocalAnswer
from verifier.logic.expr import Expr, atom, substitute
from verifier.logic.time_order import Order, Ordered
from verifier.plan.observables import Observable
from verifier.world.history import Histories

# What the comparisons and the states of the last proof are kept under.
_ORDER, _STATES = "order of delays", "states"
# States that only comparisons add.
COMPARING = ("since", "credit")
Names = Mapping[Observable, Observable]


class Ways(NamedTuple):
    """Which histories there are: detection lost now and then, a false report once, held buttons
    kept in mind, something broken. What the store keeps clauses and histories under."""

    lossy: bool
    blips: bool
    held: bool
    faults: bool

    @property
    def doubt(self) -> Doubt:
        """Of locks, about half are released by a loss of detection or a false report; most buttons
        clear a signal again. (Counted in specs/.)"""
        if self.held:
            return "mostly"
        return "as often as not" if self.lossy or self.blips else None


def keep_order(store: ProofStore, order: Order, *, lossy: bool) -> None:
    """Keep the comparisons of a proof, beside those of earlier ones."""
    before = kept_order(store, lossy=lossy)
    store.keep((_ORDER, lossy), Order({**before.compared, **order.compared}))


def keep_states(store: ProofStore, states: Sequence[Observable], *, lossy: bool) -> None:
    """Keep what the states are called."""
    store.keep((_STATES, lossy), tuple(states))


def kept_order(store: ProofStore, *, lossy: bool) -> Order:
    """The comparisons that are kept."""
    known: Order | None = store.known((_ORDER, lossy))
    return known or Order()


def kept_states(store: ProofStore, *, lossy: bool) -> Sequence[Observable]:
    """The states that are kept."""
    known: Sequence[Observable] | None = store.known((_STATES, lossy))
    return known or ()


def new_names(before: Sequence[Observable], now: Sequence[Observable]) -> Names:
    """The states that are new, by those that are gone: of one kind in their order, where as many
    are new as are gone, as after a renaming."""
    gone, new = _by_kind(before, set(now)), _by_kind(now, set(before))
    return {
        old: other
        for kind, olds in gone.items()
        if len(olds) == len(new.get(kind, ()))
        for old, other in zip(olds, new[kind], strict=True)
    }


def _by_kind(
    whats: Sequence[Observable], left_out: Collection[Observable]
) -> dict[Hashable, list[Observable]]:
    found: dict[Hashable, list[Observable]] = {}
    for what in whats:
        if what not in left_out:
            found.setdefault((what.kind, what.values, what.usual), []).append(what)
    return found


def _renamed(clause: Expr, names: Names) -> Expr:
    return substitute(clause, lambda part: atom(names.get(part.what, part.what), *part.values))


class EarlierProofs:
    """What earlier proofs leave for a changed plan: which delays to compare, and clauses to try.
    Whatever they are, what they exclude is unreachable. ``kind``: of which histories."""

    def __init__(
        self,
        histories: Histories,
        clauses: Sequence[Expr],
        store: ProofStore,
        deadline: float | None,
        kind: Ways,
    ):
        self._histories = histories
        self._kind = kind
        self._store = store
        compared = kept_order(store, lossy=histories.lossy)
        states = kept_states(store, lossy=histories.lossy)
        now = histories.system.states
        names = new_names([w for w in states if w.kind not in COMPARING], now)
        self._ordered = Ordered(histories.system, _still_there(compared, names, histories))
        system = self._ordered.system
        names = new_names(states, system.states)
        known = clauses if not names else [_renamed(clause, names) for clause in clauses]
        self._clauses = KeptClauses(system, dict.fromkeys(known), store, deadline)

    @cached_property
    def clauses(self) -> tuple[Expr, ...]:
        """Those that are inductive together."""
        return tuple(self._clauses.inductive)

    def exclude(self, formula: Expr) -> tuple[Expr, LocalAnswer] | None:
        """A proof that something never happens, where they exclude it, and what it excludes."""
        bad = self._ordered.within(self._histories.expand(formula))
        proof = self._clauses.exclude(bad)
        if proof is None:
            return None
        # They may have new names, and were useful last.
        self._store.learn(self._kind, proof.clauses)
        return bad, LocalAnswer(proof, self._ordered.system)


def _still_there(order: Order, names: Names, histories: Histories) -> Order:
    """The comparisons of an earlier plan that can be made in this one, and those it begins with."""
    earlier = {
        names.get(what, what): replace(
            compared, delays=tuple(names.get(clock, clock) for clock in compared.delays)
        )
        for what, compared in order.compared.items()
    }
    timing = histories.system.timing
    if timing is None:
        return Order()
    clocks = {delay.clock for delay in timing.delays}
    return Order(
        {
            what: compared
            for what, compared in {**histories.order.compared, **earlier}.items()
            if clocks.issuperset(compared.delays)
        }
    )
