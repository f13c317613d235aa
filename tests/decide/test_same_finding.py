"""The same layout has the same findings: whatever the solver tries first, and in whatever
order the statements stand."""

import os
import subprocess
import sys
from collections.abc import Iterator
from itertools import permutations
from pathlib import Path
from random import Random

import pytest
import z3

import verifier
from tests.decide.layouts import BROKEN, SAFE
from tests.differential.junctions import write_junction
from tests.junction_files import SPEC_FILES
from verifier.verdicts.report import Report

BROKEN_SPECS = [path for path in SPEC_FILES if path.stem.endswith("-broken")]


def told(report: Report) -> list[object]:
    """Everything of a report that people see of its verdicts."""
    return [
        (v.obligation.key, v.status, v.why, v.covered, v.rests_on, v.witness, v.finding)
        for v in report.verdicts
    ]


@pytest.fixture
def seeded() -> Iterator[None]:
    yield
    for name in ("smt.random_seed", "sat.random_seed"):
        z3.set_param(name, 0)


def texts() -> list[str]:
    generated = [write_junction(Random(seed), 400) for seed in range(12)]
    return [BROKEN, SAFE, *(p.read_text("utf-8") for p in BROKEN_SPECS[:8]), *generated]


@pytest.mark.usefixtures("seeded")
def test_whatever_the_solver_tries_first() -> None:
    """The numbers it starts from change which situation it comes upon."""
    for text in texts():
        try:
            plan = verifier.load_text(text)
            expected = told(verifier.prove(plan))
        except verifier.InputError:
            continue
        for seed in (1, 77, 4711):
            for name in ("smt.random_seed", "sat.random_seed"):
                z3.set_param(name, seed)
            assert told(verifier.prove(plan)) == expected, text


def _facts(report: Report) -> dict[object, object]:
    """Verdicts with nothing in them that depends on where things stand in the file."""
    facts: dict[object, object] = {}
    for v in report.verdicts:
        key = (v.obligation.property, frozenset(v.obligation.subjects))
        finding = v.finding and (
            frozenset((w.name, s) for w, s in v.finding.situation),
            frozenset(w.name for w in v.finding.relevant),
            v.finding.covered,
        )
        assert key not in facts
        facts[key] = v.status, v.covered, finding
    return facts


def test_whatever_the_order_of_statements() -> None:
    """Blocks, turnouts and levers stay where they are: their order decides which of two
    situations is the simpler one. Signals and tracks may stand anywhere."""
    for base in (BROKEN, SAFE, BROKEN.replace("Switch, Siding clear", "Switch clear")):
        start, *signals = base.split("\nsignal ")
        expected = _facts(verifier.prove(verifier.load_text(base)))
        for order in permutations(signals):
            text = "\nsignal ".join([start, *order])
            assert _facts(verifier.prove(verifier.load_text(text))) == expected
        lines = start.splitlines()
        tracks = [line for line in lines if line.startswith("track")]
        others = [line for line in lines if not line.startswith("track")]
        text = "\nsignal ".join(["\n".join([*others, *reversed(tracks)]), *signals])
        assert _facts(verifier.prove(verifier.load_text(text))) == expected


def test_whatever_the_order_of_parts_of_a_condition() -> None:
    expected = _facts(verifier.prove(verifier.load_text(BROKEN)))
    text = BROKEN.replace(
        "when T1 normal  and Switch, Main clear", "when Main clear and (Switch clear and T1 normal)"
    ).replace(
        "T1 reverse and Switch, Single clear", "not (not Single, Switch clear) and T1 reverse"
    )
    assert _facts(verifier.prove(verifier.load_text(text))) == expected


def test_proving_twice_with_the_same_plan() -> None:
    plan = verifier.load_text(BROKEN)
    assert told(verifier.prove(plan)) == told(verifier.prove(plan))


TELL = """
import sys, verifier
for path in sys.argv[1:]:
    for v in verifier.prove(verifier.load(path)).verdicts:
        f = v.finding
        print(v.obligation.key, v.status, v.why, v.rests_on, v.witness)
        print(f and (f.situation, f.relevant, f.causes, f.mending))
"""


def test_whatever_order_sets_come_in() -> None:
    """Python puts sets in another order in every process; nothing of it may show."""
    files = [str(path) for path in BROKEN_SPECS[:5]]
    said = [
        subprocess.run(
            [sys.executable, "-c", TELL, *files],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            check=True,
            text=True,
            cwd=Path(__file__).parents[2],
        ).stdout
        for seed in ("0", "1", "2")
    ]
    assert len(said[0]) > 1000
    assert said[0] == said[1] == said[2]
