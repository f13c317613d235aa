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
    text = junction(track=POWER, lock="T occupied or Never down")
    report = verifier.prove(verifier.load_text(text + "\nrelay Never picks when Never up\n"))
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


# The relay holds the lock until no train can come any more; the direction stays while trains run.
KEPT = {
    "relay": """
edge West entering only
edge Main-End, Siding-End leaving only
block A, B, M, S
lever T1-lever positions normal, reverse
lever Go positions normal, set
relay Hold
  picks when 2 proceeds
  slow to release 30 s
turnout T1 in B
  thrown by T1-lever
  locked while Hold up or B occupied or not 2 at stop
track West = A | T1 normal | M = Main-End
track T1 reverse | S = Siding-End
signal 2 at A | T1
  Clear  when Go set and T1 normal and B, M clear
  Stop   otherwise
driver B1 drives 2
  powered by Bus
trains need 20 s to stop
""",
    "traffic": """
edge West, East
block W, S, E
lever 2 positions left, normal, right
traffic Way on S
  rightward when 2 right
  leftward when 2 left
  locked while S occupied or not all of 2R, 2L at stop
track West = W | S | E = East
signal 2R at W | S
  Clear  when 2 right and Way rightward and S, E clear
  Stop   otherwise
signal 2L at E | S
  Clear  when 2 left and Way leftward and S, W clear
  Stop   otherwise
driver B1 drives 2R, 2L
  powered by Bus
trains obey signals
""",
}


@pytest.mark.parametrize("kept", list(KEPT))
def test_a_program_forgets_at_once_with_the_power_of_its_board(kept: str) -> None:
    """A relay drops after its time; what a program keeps is gone, and starts anew."""
    found = {}
    for built in ("as one program on B1", "of relays powered by Bus"):
        plan = verifier.load_text(f"built {built}\nsupply Bus 12 V 2 A\n{KEPT[kept]}")
        rows = {row.faults[0]: row.consequence for row in table(plan).failures}
        found[built] = rows["supply Bus"]
    assert list(found.values()) == ["unlocked", "more restrictive"]
