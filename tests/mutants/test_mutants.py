"""The runner of mutants: it finds what breaks a test, and leaves alone what does not; its list of
changes that make no difference is of changes that there are."""

import os
import subprocess
import sys

from tests.junction_files import ROOT
from tests.mutants.sources import equivalents, looks_of, modules, places
from tests.mutation.source_mutants import changed

# A small module with a test of its own.
MODULE = ROOT / "verifier" / "reference" / "train_extents.py"
NAME = "verifier.reference.train_extents"
TESTS = ["tests/reference/test_train_extents.py"]


def how(text: str) -> str:
    """What becomes of a text of the module, in a process that has loaded none of ours."""
    program = (
        "import sys; from pathlib import Path; from tests.mutants.trial import tried\n"
        f"print(tried({NAME!r}, Path({str(MODULE)!r}), sys.stdin.read(), {TESTS!r}).how)"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], input=text, cwd=ROOT, capture_output=True, text=True,
        check=True, env={**os.environ, "PYTHONPATH": str(ROOT)}, timeout=300,
    )  # fmt: skip
    return done.stdout.strip()


def test_a_mutant_is_found_and_the_checkout_stays_as_it_is() -> None:
    before = MODULE.read_text("utf-8")
    assert TESTS[0] in looks_of(MODULE)
    assert how(before) == "survives"
    assert how(f"{before}\nraise RuntimeError\n") == "found"
    assert MODULE.read_text("utf-8") == before


def test_every_module_has_changes_and_tests() -> None:
    for path in modules()[::20]:
        assert looks_of(path)
    assert len(list(places(MODULE))) > 20


def test_each_equivalent_is_a_change_that_can_be_made() -> None:
    """Else the list would grow old: what is changed in the source is argued again."""
    listed = equivalents()
    assert len({one.key for one in listed}) == len(listed) > 0
    for file in {one.file for one in listed}:
        path = ROOT / file
        there = {place.key: place for place in places(path)}
        for one in listed:
            if one.file == file:
                assert changed(path.read_text("utf-8"), there[one.key].change), one
                assert one.why
