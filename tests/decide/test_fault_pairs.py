"""Pairs of faults: found just the same where each has to be asked about by itself."""

from collections.abc import Sequence

import pytest

import verifier
from tests.junction_files import spec
from verifier.decide.fault_effects import CIRCLE, FaultEffect
from verifier.decide.fault_pairs import FaultPairs
from verifier.engines.proof_store import NO_STORE
from verifier.engines.smt.situations import SituationCheck
from verifier.language.diagnostics.diagnostic import InputError
from verifier.plan.observables import Observable
from verifier.properties.failures import harms
from verifier.properties.obligation import Obligation
from verifier.verdicts.report import Report
from verifier.world.world import World


def pairs_of(report: Report) -> dict[frozenset[str], tuple[str, ...]]:
    """The pairs that do harm, and which of the two are silent."""
    assert not any(row.consequence == "undecided" for row in report.failures)
    return {frozenset(row.faults): row.silent for row in report.failures if row.kind == "pair"}


@pytest.mark.parametrize("every", [False, True])
@pytest.mark.parametrize("name", ["sub-bus-mended", "broken-wire-mended"])
def test_pair_by_pair(name: str, every: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """With all faults in one world, what signals show may go round in a circle."""
    plan = verifier.load(spec(name))
    at_once = pairs_of(verifier.prove(plan, pairs=every))
    ask = FaultPairs._ask
    asked: list[Sequence[Observable]] = []

    def only_of_two(
        self: FaultPairs, harm: Obligation, some: Sequence[Observable],
        broken: Sequence[Observable],
    ) -> None:  # fmt: skip
        if len(broken) > 2:
            raise InputError([])
        asked.append(broken)
        ask(self, harm, some, broken)

    monkeypatch.setattr(FaultPairs, "_ask", only_of_two)
    assert pairs_of(verifier.prove(plan, pairs=every)) == at_once
    assert asked and (at_once or not every)


# With the wires from D-M to B1 and from D-N to B2 broken, each signal waits for the other.
WAITING = """
edge West entering only
edge East leaving only
edge North entering only
edge South leaving only
supply Bus-1  12 V 5 A fuse 2 A
block In
block M feeders m1
block In2
block N feeders n1
track West = In | M = East
track North = In2 | N = South
detector D-M current-sensing on M through m1 output closed when clear
detector D-N current-sensing on N through n1 output closed when clear
signal A at In | M
  Clear  when M occupied and N clear and B at stop
  Stop   otherwise
signal B at In2 | N
  Clear  when N occupied and M clear and A at stop
  Stop   otherwise
driver B1 drives A  powered by Bus-1
driver B2 drives B  powered by Bus-1
assume "A gives way" never A proceeds and train on In2
"""


def test_an_assumption_may_speak_of_what_two_faults_leave_open() -> None:
    plan = verifier.load_text(WAITING)
    sound = World(plan)
    singles = {
        fault.name: FaultEffect(fault, sound, SituationCheck.of(sound))
        for fault in plan.equipment.faults
        if fault.name in ("wire from D-M to B1", "wire from D-N to B2")
    }
    assert len(singles) == 2
    pairs = FaultPairs(sound, singles, frozenset(), None, NO_STORE, every=True)
    asked = [harm for harm in harms(plan, ()) if harm.subjects == ("A",)]
    *_, (_, _, rows) = pairs.search(asked)
    assert [(row.consequence, row.why) for row in rows] == [("undecided", CIRCLE)]
