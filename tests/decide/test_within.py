"""A limit on the time of a whole proof: wherever it ends, what was decided is kept and is what the
whole proof says; the rest is undecided, with the reason, and never a success."""

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

import verifier
from tests.decide.layouts import BROKEN
from tests.junction_files import ROOT, spec
from tests.proofs import proved
from verifier.engines import session, stopping
from verifier.engines.results import Interrupted
from verifier.engines.temporal import sat
from verifier.verdicts.exit_codes import ExitCode
from verifier.verdicts.report import Report, Verdict


class Clock:
    """A second passes between each two looks at it."""

    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        self.now += 1
        return self.now


def ticking(monkeypatch: pytest.MonkeyPatch) -> Clock:
    clock = Clock()
    monkeypatch.setattr(stopping, "monotonic", clock)
    monkeypatch.setattr(session, "monotonic", clock)
    monkeypatch.setattr(sat, "monotonic", clock)
    return clock


def prove_within(path: Path, seconds: float, told: Callable[[Verdict], None]) -> Report:
    return verifier.prove(verifier.load(path), within=seconds, on_verdict=told)


# Situations; faults and repairs; histories; histories, and the failures of wiring.
FILES = {
    "end-of-siding-broken": (0.0, 0.1, 0.3, 0.6, 0.9, 0.99),
    "stalled-motor-broken": (0.0, 0.1, 0.3, 0.6, 0.9, 0.99),
    "electric-lock-too-soon": (0.02, 0.3, 0.6, 0.9),
    "locked-and-wired-end-of-siding": (0.2, 0.5, 0.95),
}


@pytest.mark.parametrize("name", FILES)
def test_what_was_decided_in_time_is_what_the_whole_proof_says(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = spec(name)
    whole = {v.obligation.key: v for v in proved(path).verdicts}
    clock = ticking(monkeypatch)
    prove_within(path, 1e9, lambda verdict: None)
    needed = clock.now
    numbers = set()
    for share in FILES[name]:
        ticking(monkeypatch)
        told: dict[str, Verdict] = {}

        def on_verdict(verdict: Verdict, told: dict[str, Verdict] = told) -> None:
            told[verdict.obligation.key] = verdict

        seconds = 2 + int(share * needed)
        report = prove_within(path, seconds, on_verdict)
        assert [v.obligation.key for v in report.verdicts] == list(whole)
        decided = {v.obligation.key: v for v in report.verdicts if v.status != "undecided"}
        numbers.add(len(decided))
        for key, verdict in decided.items():
            assert verdict is told[key]
            assert (verdict.status, verdict.expected) == (whole[key].status, whole[key].expected)
        late = [v for v in report.verdicts if v.obligation.key not in told]
        if late:
            assert {(v.status, v.why) for v in late} == {
                ("undecided", f"not reached within {seconds} s")
            }
            assert report.interrupted and report.exit_code != ExitCode.AS_EXPECTED
            assert report.unmet == ()
    assert len(numbers) > 1


def test_no_time_at_all(monkeypatch: pytest.MonkeyPatch) -> None:
    ticking(monkeypatch)
    report = verifier.prove(verifier.load_text(BROKEN), within=0.5)
    assert {(v.status, v.why) for v in report.verdicts} == {
        ("undecided", "not reached within 0.5 s")
    }
    assert report.exit_code == ExitCode.UNDECIDED


def test_the_failure_table_says_what_was_not_reached(monkeypatch: pytest.MonkeyPatch) -> None:
    path = spec("stalled-motor-broken")
    clock = ticking(monkeypatch)
    prove_within(path, 1e9, lambda verdict: None)
    partly = 0
    for share in (0.5, 0.7, 0.8, 0.9):
        ticking(monkeypatch)
        report = prove_within(path, int(share * clock.now), lambda verdict: None)
        whole = {row.faults: row for row in proved(path).failures}
        late = [row for row in report.failures if row.why.startswith("not reached within")]
        assert {row.consequence for row in late} <= {"undecided"}
        assert all(row == whole[row.faults] for row in report.failures if row not in late)
        if report.failures:
            assert {row.faults for row in report.failures} == set(whole)
        partly += bool(late)
    assert partly


def test_pairs_that_were_not_reached_are_not_called_harmless(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    plan = verifier.load(spec("stalled-motor-mended"))
    clock = ticking(monkeypatch)
    whole = verifier.prove(plan, pairs=True, within=1e9)
    assert whole.exit_code == ExitCode.AS_EXPECTED
    ticking(monkeypatch)
    report = verifier.prove(plan, pairs=True, within=clock.now - 2)
    assert report.interrupted and report.exit_code == ExitCode.UNDECIDED
    pairs = [row for row in report.failures if row.kind == "pair"]
    late = [row for row in pairs if row.consequence == "undecided"]
    assert late and set(pairs) - set(late) <= set(whole.failures)


def test_of_two_limits_the_earlier_one_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stopping, "monotonic", lambda: 10.0)
    assert stopping.deadline() is None and stopping.deadline(7.0) == 7.0
    with stopping.time_limit(5):
        assert stopping.deadline() == 15 and stopping.deadline(12.0) == 12
        with stopping.time_limit(2):
            assert stopping.deadline(20.0) == 12
        with stopping.time_limit(60):
            assert stopping.deadline() == 15 and stopping.out_of_time() == "not reached within 5 s"
        with stopping.time_limit(None):
            assert stopping.deadline() == 15
        stopping.checkpoint()
        monkeypatch.setattr(stopping, "monotonic", lambda: 15.0)
        with pytest.raises(Interrupted):
            stopping.checkpoint()
    assert stopping.deadline() is None and not stopping.is_over()
    stopping.checkpoint()


def test_running_out_of_memory_keeps_what_is_decided(monkeypatch: pytest.MonkeyPatch) -> None:
    path = spec("end-of-siding-broken")
    whole = {v.obligation.key: v.status for v in proved(path).verdicts}
    decided = []

    def full(verdict: Verdict) -> None:
        decided.append(verdict)
        if len(decided) == 5:
            raise MemoryError

    report = verifier.prove(verifier.load(path), on_verdict=full)
    kept = {v.obligation.key: v.status for v in report.verdicts if v.status != "undecided"}
    assert len(kept) == 5 and kept.items() <= whole.items()
    assert {v.why for v in report.verdicts if v.status == "undecided"} == {
        "the memory ran out before it was decided"
    }
    assert report.interrupted


def test_memory_that_runs_short_is_noticed_before_a_solver_ends_the_process() -> None:
    short = """if True:
        import resource, sys
        from verifier import cli
        from verifier.engines import stopping
        from verifier.verdicts.report import Verdict
        import verifier.pipeline

        told = 0

        def record(proof, verdicts, real=verifier.pipeline.ProofState.record):
            global told
            real(proof, verdicts)
            told += 1
            if told == 3:
                _, most = resource.getrlimit(resource.RLIMIT_AS)
                used = int(stopping._USED.read_text().split()[0]) * resource.getpagesize()
                resource.setrlimit(resource.RLIMIT_AS, (used + stopping.RESERVE // 2, most))

        verifier.pipeline.ProofState.record = record
        raise SystemExit(cli.main(["prove", "verifier/patterns/crossover.ixl"]))
    """
    done = subprocess.run(
        [sys.executable, "-c", short], capture_output=True, text=True, timeout=60, check=False,
        cwd=ROOT, env={**os.environ, "PYTHONIOENCODING": "utf-8"},
    )  # fmt: skip
    assert done.returncode == ExitCode.UNDECIDED and done.stderr == ""
    assert "3 proved (stopped for lack of memory)" in done.stdout
