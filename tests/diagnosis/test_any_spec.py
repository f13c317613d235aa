"""Whatever the file: a log is followed, and an observation explained, to an answer."""

from pathlib import Path

import pytest

import verifier
from tests.junction_files import SPEC_FILES, spec
from tests.sweep import sample
from verifier.cli import main
from verifier.plan.model import Plan
from verifier.verdicts.exit_codes import ExitCode

ANSWERS = (ExitCode.AS_EXPECTED, ExitCode.BROKEN, ExitCode.UNDECIDED)
# What remembers has power from a supply here: all relays, or the board that the program runs on.
POWERED = ("panel-and-boards", "relays-without-power-broken", "relays-without-power-mended")


def replayed(path: Path, plan: Plan, folder: Path) -> int | None:
    """The answer to a log of one block, occupied and then clear; None where none is detected."""
    block = next((block.name for block in plan.blocks.values() if block.detected), None)
    if block is None:
        return None
    log = folder / "log.csv"
    log.write_text(f"time,what,state\n0,{block},occupied\n1,{block},clear\n", "utf-8")
    return main(["replay", str(path), str(log)])


def diagnosed(path: Path, plan: Plan) -> int:
    """The answer to a signal that is dark with a train on the first block."""
    signal, block = next(iter(plan.signals.values())), next(iter(plan.blocks))
    dark = ", ".join(f"{head.name} dark" for head in signal.heads)
    return main(["diagnose", str(path), f"train on {block}: {dark}"])


@pytest.mark.parametrize("name", POWERED)
def test_a_log_is_followed_without_the_supply_of_what_remembers(name: str, tmp_path: Path) -> None:
    path = spec(name)
    assert replayed(path, verifier.load(path), tmp_path) == ExitCode.AS_EXPECTED


def test_a_log_and_an_observation_have_an_answer(tmp_path: Path) -> None:
    replays = 0
    for path in sample(SPEC_FILES, 10, "answers on the bench"):
        plan = verifier.load(path)
        assert diagnosed(path, plan) in ANSWERS, path
        answer = replayed(path, plan, tmp_path)
        assert answer is None or answer in ANSWERS, path
        replays += answer is not None
    assert replays
