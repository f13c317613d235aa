"""What the failure table says of locks: what stays locked, and of pairs over time."""

from collections.abc import Sequence

import pytest

import verifier
from tests.junction_files import spec
from tests.published.test_cfr_236_locks_and_wires import POWER, junction
from verifier.decide.fault_effects import CIRCLE
from verifier.decide.fault_histories import FaultHistories
from verifier.decide.system_prover import SystemProver
from verifier.language.diagnostics.diagnostic import InputError
from verifier.pipeline import prove
from verifier.plan.model import Plan
from verifier.plan.wiring.faults import Fault
from verifier.properties.catalog import FAILURES
from verifier.reports.failures import failure_lines, failure_rows, pairs_words
from verifier.reports.ink import Ink
from verifier.verdicts.exit_codes import ExitCode
from verifier.verdicts.report import Report


def test_what_stays_locked_is_told() -> None:
    """Usefulness: the detector reads occupied for as long as its wire is broken."""
    report = verifier.prove(verifier.load_text(junction(track=POWER)))
    rows = {row.faults[0]: row for row in report.failures}
    held = rows["wire from D-T to the relays"]
    assert held.consequence == "more restrictive"
    assert held.why == "T1 stays locked; relay Route never picks"
    assert rows["wire from T1 normal to B1"].why == ""
    told = " ".join(" ".join(failure_lines(report, Ink(width=100))).split())
    assert "wire from D-T to the relays" in told and "T1 stays locked" in told


def test_a_lock_that_never_opens_anyway_is_blamed_on_no_fault() -> None:
    text = junction(track=POWER, lock="T occupied or T clear")
    report = verifier.prove(verifier.load_text(text))
    assert all("T1 stays locked" not in row.why for row in report.failures)


def test_pairs_are_looked_at_in_single_moments_only() -> None:
    report = verifier.prove(verifier.load_text(junction(track=POWER)), pairs=True)
    words = pairs_words(report, failure_rows(report), pairs=True)
    assert words.endswith("What two of them do over time was not looked at.")
    assert pairs_words(report, failure_rows(report), pairs=False) == ""


def table(plan: Plan) -> Report:
    """The failure table of a plan, without the rest of a report."""
    return prove(plan, only=sorted(FAILURES), repairs=False)


def test_fault_by_fault_the_table_is_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """With any of several faults present, what signals show may go round in a circle."""
    plan = verifier.load(spec("relays-without-power-broken"))
    whole = {row.faults: (row.consequence, row.why) for row in table(plan).failures}
    make = FaultHistories._prover
    made: list[Fault] = []

    def of_one(self: FaultHistories, faults: Sequence[Fault]) -> SystemProver:
        if len(faults) > 1:
            raise InputError([])
        made.extend(faults)
        return make(self, faults)

    monkeypatch.setattr(FaultHistories, "_prover", of_one)
    single = {row.faults: (row.consequence, row.why) for row in table(plan).failures}
    assert single == whole and len(made) > 3
    assert any(consequence == "unlocked" for consequence, _ in single.values())

    def of_none(self: FaultHistories, faults: Sequence[Fault]) -> SystemProver:
        raise InputError([])

    monkeypatch.setattr(FaultHistories, "_prover", of_none)
    report = table(plan)
    assert report.exit_code != ExitCode.AS_EXPECTED
    assert {row.consequence for row in report.failures if row.why == CIRCLE} == {"undecided"}
