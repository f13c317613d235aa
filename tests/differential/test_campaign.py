"""The campaign of generated cases (``python -m tests.differential``): what it finds when something
is wrong, and that it writes the whole language."""

import os
import signal
import subprocess
import sys
from collections import Counter
from pathlib import Path
from random import Random

import pytest

from tests.differential.campaign.features import EVERY, features, unseen
from tests.differential.campaign.kinds import KINDS, Kind
from tests.differential.campaign.minimize import Wrong, minimized, tried
from tests.differential.campaign.run import Progress, case
from tests.junction_files import ROOT
from tests.sweep import NIGHTLY


def planted(text: str, _: Random) -> Counter[str]:
    """Wrong wherever a lever and a signal stand together."""
    if "Include" in text:
        raise ValueError("another one")
    assert not ("lever L1" in text and "signal S1" in text), "planted"
    return Counter(["fine"])


TEXT = """\
edge West, East
block A, B
track West = A | B = East
lever L1 positions left, right
lever L2 positions left, right
signal S1 at A | B
  Clear when L1 left
  Stop otherwise
"""


def test_a_disagreement_is_made_small() -> None:
    kind = Kind(1, "nobody", lambda r: TEXT, planted)
    wrong = tried(kind, TEXT, "1")
    assert isinstance(wrong, Wrong) and wrong.said.startswith("planted")
    small = minimized(kind, TEXT, "1", wrong)
    assert small == "lever L1 positions left, right\nsignal S1 at A | B\n"


def test_a_case_is_the_same_every_time_and_agrees() -> None:
    """The first cases of a seed: each twice, with the same outcome."""
    cheap = [n for n in range(12) if case(("test", n)).kind in ("junction", "ring of signals")]
    for number in cheap[:2]:
        one, other = case(("test", number)), case(("test", number))
        assert one == other and one.wrong is None
    assert cheap


def test_what_was_done_is_read_again() -> None:
    progress = Progress("test")
    progress.add(case(("test", 0)))
    assert Progress.read(progress.kept()) == progress


def test_ctrl_c_ends_with_what_was_done(tmp_path: Path) -> None:
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.differential", "--seed", "7", "--out", str(tmp_path)],
        cwd=ROOT, stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert process.stdout is not None
    assert process.stdout.readline() == "cases of --seed 7\n"
    process.send_signal(signal.SIGINT)
    told, _ = process.communicate()
    assert process.returncode == 0 and "cases of --seed 7, 0 disagree" in told


@pytest.mark.parametrize("name", list(KINDS))
def test_each_kind_writes_files_that_are_read(name: str) -> None:
    text = KINDS[name].write(Random(f"test {name}"))
    assert features(text)


def test_the_whole_language_is_written() -> None:
    """Among the texts of a night, which are not decided here, every statement and clause comes
    up; among a few already most do."""
    seen: set[str] = set()
    for number in range(3000 if NIGHTLY else 30):
        kind = list(KINDS.values())[number % len(KINDS)]
        seen |= features(kind.write(Random(f"whole language {number}")))
    assert len(unseen(seen)) < (1 if NIGHTLY else len(EVERY) // 2), unseen(seen)
