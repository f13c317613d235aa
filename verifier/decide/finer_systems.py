"""Systems that tell more histories apart than the one at hand, which takes further states."""

from collections.abc import Sequence

from verifier.decide.replayed import Finer
from verifier.logic.time_order import Order, Ordered
from verifier.plan.model import Plan
from verifier.plan.wiring.faults import Fault
from verifier.world.history import Histories


class FinerSystems:
    """Those of one plan: with detection truthful or lossy, with blips or without, with faults, with
    held buttons kept in mind or without."""

    def __init__(
        self, plan: Plan, *, lossy: bool, blips: bool, faults: Sequence[Fault], held: bool
    ):
        self._plan = plan
        self._lossy = lossy
        self._blips = blips
        self._faults = faults
        self._held = held
        self._histories: dict[Finer, Histories] = {}
        # Questions about one system share one object, with the order that was asked for last.
        self._ordered: dict[Finer, tuple[Order, Ordered]] = {}

    def of(self, finer: Finer, order: Order) -> tuple[Histories, Ordered]:
        """The histories, and their system with an order of delays."""
        if finer not in self._histories:
            self._histories[finer] = Histories(
                self._plan,
                lossy=self._lossy,
                blips=self._blips,
                faults=self._faults,
                held=self._held,
                wrecks=finer.wrecks,
                prompt=finer.prompt,
            )
        histories = self._histories[finer]
        known = self._ordered.get(finer)
        if known is None or known[0] != order:
            known = self._ordered[finer] = order, Ordered(histories.system, order)
        return histories, known[1]
