"""A repair of the wiring, judged in operation.

In: a plan that is proved over time, what was proved of it, and the same plan wired otherwise. Out:
whether all of that is proved of the other one too, and a fault that the repair is for does no harm
there in any history.
"""

from collections.abc import Collection

from verifier.decide.fault_histories import WITH_FAULTS, FaultHistories
from verifier.decide.histories import HistoryProver
from verifier.engines.proof_store import NO_STORE
from verifier.engines.stopping import checkpoint
from verifier.plan.model import Plan
from verifier.plan.wiring.faults import Fault
from verifier.properties.catalog import obligations
from verifier.world.world import World

# How many ways of wiring are judged over time for one file.
MOST = 4


class RewiredHistories:
    """``proved``: the keys of what was proved of the file as it stands."""

    def __init__(self, proved: Collection[str], timeout: float | None):
        self._proved = frozenset(proved)
        self._timeout = timeout
        self._left = MOST

    def keep(self, rewired: Plan, fault: Fault | None) -> bool:
        """Whether a plan keeps what was proved, with this fault too. False where that is not known:
        too many were judged before, or time ran out."""
        if not rewired.locking.over_time:
            return True
        if self._left == 0:
            return False
        self._left -= 1
        safety = [
            o for o in obligations(rewired, World(rewired).lower)
            if not o.of_situations and o.mode == "never" and o.key in self._proved and not o.advice
        ]  # fmt: skip
        histories = HistoryProver(rewired, self._timeout, checkpoint)
        if histories.contradiction() != ():
            return False
        if any(verdict.status != "proved" for verdict in histories.verdicts(safety)):
            return False
        if fault is None:
            return True
        asked = [o for o in safety if o.over == "histories" and o.property in WITH_FAULTS]
        faulty = FaultHistories(rewired, self._timeout, asked, checkpoint, NO_STORE)
        return all(verdict.status == "proved" for _, verdict in faulty.verdicts([fault]))
