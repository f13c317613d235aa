"""Slips of a programmer that passed every test before there was a census: it finds each."""

import subprocess
import sys

from tests.junction_files import ROOT
from tests.mutation.seeds import SEEDS
from tests.mutation.source_mutants import source_mutants


def test_the_census_finds_each() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "tests.mutation.seeds"],
        cwd=ROOT, capture_output=True, text=True, timeout=600, check=True,
    )  # fmt: skip
    told = done.stdout.splitlines()
    assert len(told) == len(SEEDS)
    for line in told:
        assert ": census, " in line, line


KINDS = (
    "turned round", "break for continue", "only the first of `xs`", "without the filter",
    "without `yield x`", "without its not", "'normal' for 'reverse'", "always", "never",
    "the other of and, or",
)  # fmt: skip


def test_each_kind_of_slip_is_made() -> None:
    text = (
        "def f(xs, y):\n"
        "    for x in xs:\n"
        "        if x is None and not y:\n"
        "            continue\n"
        "        yield x\n"
        "        yield [z for z in x if z == 'reverse']\n"
    )
    made = list(source_mutants(text))
    said = " ".join(m.said for m in made)
    for kind in KINDS:
        assert kind in said, kind
    assert len({m.text for m in made}) == len(made)
    for mutant in made:
        compile(mutant.text, "changed", "exec")
