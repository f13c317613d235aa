"""What is said of junctions over time, asked again of an engine and of a solver from outside.

A property-directed engine that is no part of this project is given each junction as a circuit,
all of it, with what may never happen as bad states; and what was proved is written as a file that
two solvers check.
"""

from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest

import verifier
from tests.engines.ic3_checker import (
    can_be_reached,
    dumped_invariant,
    needs_directed_checker,
)
from tests.engines.test_certificates import by_cvc5
from tests.junction_files import SPEC_FILES, TIMED_SPECS
from tests.proofs import store_of
from verifier.decide.histories import HistoryProver
from verifier.engines.interchange.aig import gates
from verifier.engines.interchange.aiger import FALSE
from verifier.engines.results import Unknown, Unreachable
from verifier.engines.temporal.certificates import certificate, recheck
from verifier.engines.temporal.induction import Induction, prove
from verifier.logic.expr import Expr, disjunction
from verifier.logic.transition_system import System
from verifier.plan.model import Plan
from verifier.properties.catalog import obligations
from verifier.properties.obligation import Obligation
from verifier.verdicts.report import InductiveProof, Verdict
from verifier.world.world import World

# Whether detection may be lost now and then.
COURSES = {"histories": False, "lossy": True}


def asked(plan: Plan) -> list[Obligation]:
    return [o for o in obligations(plan, World(plan).lower) if o.over in COURSES]


every_junction = pytest.mark.parametrize("path", TIMED_SPECS, ids=lambda path: path.stem)


@cache
def prover(path: Path) -> HistoryProver:
    return HistoryProver(verifier.load(path), None, lambda: None, store_of(path))


@cache
def decided(path: Path) -> list[Verdict]:
    return list(prover(path).decide(asked(prover(path).plan)).values())


def whole(path: Path, *, lossy: bool) -> tuple[System, Callable[[Expr], Expr]]:
    """The whole system with the comparisons of delays that the proofs needed."""
    assert decided(path)
    return prover(path).whole(lossy=lossy)


def test_there_are_junctions_in_time() -> None:
    """And those listed are all of which something is asked over time."""
    assert len(TIMED_SPECS) >= 10
    assert [path for path in SPEC_FILES if asked(verifier.load(path))] == TIMED_SPECS


def says_never(verdict: Verdict) -> bool:
    """Whether a verdict says that no history comes to what it is about."""
    return (verdict.status == "proved") == (verdict.obligation.mode == "never")


@needs_directed_checker
@every_junction
def test_the_outside_engine_agrees_on_every_junction(path: Path, tmp_path: Path) -> None:
    for over, lossy in COURSES.items():
        here = [v for v in decided(path) if v.obligation.over == over]
        if not here:
            continue
        system, expand = whole(path, lossy=lossy)
        never: list[Expr] = []
        at_times: list[Expr] = []
        for verdict in here:
            assert verdict.status in ("proved", "broken"), verdict
            bad = expand(verdict.obligation.formula)
            (never if says_never(verdict) else at_times).append(bad)
        circuit = gates(system, [disjunction(*never), *at_times]).circuit
        if can_be_reached(circuit, 0, tmp_path):  # unless a wreck has to move on for that
            staying, meant = prover(path).whole(lossy=lossy, wrecks=True)
            bad = disjunction(*(meant(v.obligation.formula) for v in here if says_never(v)))
            assert not can_be_reached(gates(staying, [bad]).circuit, 0, tmp_path)
        for number in range(1, len(at_times) + 1):
            assert can_be_reached(circuit, number, tmp_path), here


@needs_directed_checker
@every_junction
def test_an_invariant_of_the_outside_engine_is_one(path: Path, tmp_path: Path) -> None:
    """Its clauses, put into our terms, are inductive by our check and exclude all that is
    proved: system and circuit say the same."""
    system, expand = whole(path, lossy=False)
    bads = [
        expand(v.obligation.formula)
        for v in decided(path)
        if v.obligation.over == "histories"
        and (v.status == "proved") == (v.obligation.mode == "never")
    ]
    made = gates(system, bads)
    if any(latch.reset != FALSE for latch in made.circuit.latches):
        pytest.skip("a latch does not start at 0, and the outside engine's dump would not hold")
    clauses = dumped_invariant(made, tmp_path)
    judge = Induction(system, clauses)
    assert judge.invariant(None) == clauses
    for bad in bads:
        assert isinstance(judge.prove(bad, None), Unreachable)
    # And without a clause that is needed, where there is one, it is refused.
    fewer = (clauses[:i] + clauses[i + 1 :] for i in range(len(clauses)))
    bad = disjunction(*bads)
    refused = any(isinstance(prove(system, bad, some), Unknown) for some in fewer)
    assert refused == bool(clauses)


@every_junction
def test_every_proof_stands_up_in_a_file(path: Path) -> None:
    written = {
        certificate(p.system, p.bad, p.clauses, title=v.obligation.key)
        for v in decided(path)
        if (p := v.lasting) is not None
    }
    for text in sorted(written):
        assert recheck(text), text


@every_junction
def test_a_second_solver_accepts_every_invariant(path: Path) -> None:
    """All that was proved in one window in one file: what it says holds together."""
    windows: dict[int, list[InductiveProof]] = {}
    for verdict in decided(path):
        if verdict.lasting is not None:
            windows.setdefault(id(verdict.lasting.system), []).append(verdict.lasting)
    for proofs in windows.values():
        clauses = tuple(dict.fromkeys(clause for proof in proofs for clause in proof.clauses))
        bad = disjunction(*(proof.bad for proof in proofs))
        assert by_cvc5(certificate(proofs[0].system, bad, clauses, title=path.stem))
