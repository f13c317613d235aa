"""`clearproof export --format aiger`: what is written, read back, run and checked from outside."""

from pathlib import Path

import pytest

import verifier
from tests.engines.aiger_reader import read, run
from tests.engines.ic3_checker import can_be_reached, needs_directed_checker
from verifier.cli import main
from verifier.engines.interchange.aiger import ascii_form, binary_form, renumbered
from verifier.exports.circuit import circuit
from verifier.language.listing import several
from verifier.pipeline import prove

EXAMPLES = Path(verifier.__file__).parent / "properties" / "examples"
BROKEN, MENDED = (EXAMPLES / f"points-move-under-train.{x}.ixl" for x in ("broken", "mended"))


@pytest.mark.parametrize("suffix", ["aag", "aig"])
def test_what_is_written_is_read_back_and_runs(
    suffix: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    made, path = circuit(verifier.load(MENDED)), tmp_path / f"out.{suffix}"
    assert main(["export", str(MENDED), "--format", "aiger", "-o", str(path)]) == 0
    counted = f"{several(len(made.bad), 'bad state')}, 1 constraint"
    assert f"{counted}. A bad state" in capsys.readouterr().out
    assert f"{counted} (assumptions, promises, and what starts alike)" in made.comments
    back = read(path.read_bytes())
    assert len(back.bad) == len(made.bad) > 0 and back.names == made.names
    quiet = [[False] * len(made.inputs)] * 5
    start = [latch.reset == 1 for latch in made.latches]
    now = renumbered(made) if suffix == "aig" else made
    assert [m.bad for m in run(back, start, quiet)] == [m.bad for m in run(now, start, quiet)]


def test_it_is_printed_and_names_what_is_bad(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["export", str(MENDED), "--format", "aiger"]) == 0
    said = capsys.readouterr().out
    assert said == ascii_form(circuit(verifier.load(MENDED)))
    assert "\nb0 " in said and "\nb0: must not be reached: " in said.partition("\nc\n")[2]


def test_what_says_nothing_of_time_has_no_circuit(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "still.ixl"
    path.write_text("edge W, E\nblock A, B\ntrack W = A | B = E\n", encoding="utf-8")
    assert main(["export", str(path), "--format", "aiger"]) == 2
    assert "nothing to check over time" in capsys.readouterr().err


@needs_directed_checker
@pytest.mark.parametrize("path", [BROKEN, MENDED], ids=["broken", "mended"])
def test_an_outside_checker_agrees(path: Path, tmp_path: Path) -> None:
    plan = verifier.load(path)
    made = read(binary_form(circuit(plan)))
    verdicts = {v.obligation.key: v for v in prove(plan, repairs=False).verdicts}
    answers = set()
    for i in range(len(made.bad)):
        verdict = verdicts[made.names[f"b{i}"]]
        reached = can_be_reached(made, i, tmp_path)
        holds = reached == (verdict.obligation.mode == "possible")
        assert holds == (verdict.status == "proved"), verdict.obligation.key
        answers.add(reached)
    assert answers
