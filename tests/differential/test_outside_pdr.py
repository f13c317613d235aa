"""Verdicts over time on generated junctions, asked again of an engine from outside and, where
proved, of a second solver.

``CLEARPROOF_PROFILE=nightly`` asks about a thousand junctions.
"""

from collections import Counter
from collections.abc import Callable, Iterable
from pathlib import Path
from random import Random

import pytest

import verifier
from tests.benchmarks.different_lines import different_line
from tests.benchmarks.engines import (
    disagreements,
    outside_verdicts,
    over_time,
    whole_circuit,
)
from tests.benchmarks.interlockings import DEFECTS, Defect, NotApplicable
from tests.benchmarks.stations import station
from tests.differential.locked import write_locked
from tests.engines.ic3_checker import ask_together, needs_directed_checker
from tests.engines.test_certificates import by_cvc5
from tests.sweep import NIGHTLY
from verifier.decide.histories import HistoryProver
from verifier.decide.replayed import AFTER_MISHAP
from verifier.engines.temporal.certificates import certificate
from verifier.logic.expr import disjunction
from verifier.plan.model import Plan
from verifier.verdicts.report import InductiveProof, Verdict

JUNCTIONS, AT_ONCE = (1000, 20) if NIGHTLY else (20, 10)
ROOM = 1500


def agreed(plan: Plan, folder: Path) -> list[Verdict]:
    """Our verdicts on what is asked of histories with truthful detection, once both engines have
    decided everything, and alike. Where trains that met or derailed would have to move on, the
    outside engine is asked again about histories in which they stay."""
    prover, asked = HistoryProver(plan, None, lambda: None), over_time(plan)
    verdicts = list(prover.verdicts(asked))
    theirs = outside_verdicts(asked, ask_together(whole_circuit(asked, prover), folder, 120))
    ours = {verdict.obligation.key: verdict.status for verdict in verdicts}
    assert ours.keys() == theirs.keys()
    open_ = [verdict for verdict in verdicts if verdict.status == "undecided"]
    assert all(v.why == AFTER_MISHAP and theirs[v.obligation.key] == "broken" for v in open_)
    if differ := disagreements(ours, theirs):
        staying = whole_circuit(asked, prover, wrecks=True)
        theirs |= outside_verdicts(asked, ask_together(staying, folder, 120))
        assert not disagreements({key: ours[key] for key in differ}, theirs)
    return verdicts


def accepted(verdicts: Iterable[Verdict]) -> None:
    """A second solver accepts what was proved, all of a window together."""
    windows: dict[int, list[InductiveProof]] = {}
    for verdict in verdicts:
        if verdict.lasting is not None:
            windows.setdefault(id(verdict.lasting.system), []).append(verdict.lasting)
    for proofs in windows.values():
        clauses = tuple(dict.fromkeys(clause for proof in proofs for clause in proof.clauses))
        bad = disjunction(*(proof.bad for proof in proofs))
        assert by_cvc5(certificate(proofs[0].system, bad, clauses, title="a window"))


@needs_directed_checker
@pytest.mark.parametrize("first", range(0, JUNCTIONS, AT_ONCE))
def test_generated_junctions(first: int, tmp_path: Path) -> None:
    """Several at a time, among which every answer comes up."""
    answers: Counter[str] = Counter()
    for seed in range(first, first + AT_ONCE):
        try:
            plan = verifier.load_text(write_locked(Random(seed), ROOM))
        except verifier.InputError as error:
            assert {d.code for d in error.diagnostics} == {"CP409"}, error
            continue
        verdicts = agreed(plan, tmp_path)
        accepted(verdicts)
        answers.update(verdict.status for verdict in verdicts)
    assert answers["proved"] and answers["broken"]


@needs_directed_checker
@pytest.mark.parametrize("seed", range(len(DEFECTS) if NIGHTLY else 1))
@pytest.mark.parametrize(("write", "size"), [(different_line, 1), (station, 8)])
def test_right_locking_is_proved(
    write: Callable[[int, int], str], size: int, seed: int, tmp_path: Path
) -> None:
    plan = verifier.load_text(write(size, seed))
    verdicts = agreed(plan, tmp_path)
    assert {verdict.status for verdict in verdicts} == {"proved"}
    accepted(verdicts)


@needs_directed_checker
@pytest.mark.parametrize("defect", DEFECTS if NIGHTLY else DEFECTS[::8])
def test_a_defect_breaks_something(defect: Defect, tmp_path: Path) -> None:
    """On the first line or station with a place for it."""
    plan = verifier.load_text(_with(defect))
    verdicts = agreed(plan, tmp_path)
    assert "broken" in {verdict.status for verdict in verdicts}
    accepted(verdicts)


def _with(defect: Defect) -> str:
    for seed in range(50):
        try:
            return different_line(1, seed, defect)
        except NotApplicable:
            continue
    raise AssertionError(f"no place for: {defect}")
