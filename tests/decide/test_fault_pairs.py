"""Pairs of faults: found just the same where each has to be asked about by itself."""

from collections.abc import Sequence

import pytest

import verifier
from tests.junction_files import spec
from verifier.decide.fault_pairs import FaultPairs
from verifier.language.diagnostics.diagnostic import InputError
from verifier.plan.observables import Observable
from verifier.properties.obligation import Obligation
from verifier.verdicts.report import Report


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
