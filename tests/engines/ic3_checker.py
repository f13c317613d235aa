"""A property-directed engine from outside: the distribution's `berkeley-abc` (Debian package
of that name), asked about a system as an AIGER file. Tests use it; the program does not.

That engine knows no latch that starts as either, so files for it have none.
"""

import os
import re
import resource
import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from tests.engines.aiger_reader import Witness, read_witness, replay, with_set_starts
from verifier.engines.interchange.aig import Gates
from verifier.engines.interchange.aiger import FALSE, Circuit, binary_form
from verifier.logic.expr import Expr, atom, disjunction, negation

COMMAND = shutil.which("berkeley-abc") or shutil.which("abc")

needs_directed_checker = pytest.mark.skipif(
    COMMAND is None,
    reason="berkeley-abc is not installed, so the outside property-directed engine cannot be "
    "asked (Debian package berkeley-abc; .ci/run installs it where it may)",
)


def can_be_reached(circuit: Circuit, bad: int, folder: Path, seconds: int = 60) -> bool:
    """What that engine says of one bad state; where it says yes, its witness is replayed.

    Raises AssertionError when it does not answer or its witness does not hold up."""
    assert COMMAND is not None
    # Without names: they number all bad states, of which one is left.
    one = with_set_starts(replace(circuit, bad=(circuit.bad[bad],), names={}))
    model, found = folder / "asked.aig", folder / "found.cex"
    model.write_bytes(binary_form(one))
    found.unlink(missing_ok=True)
    script = f"{_read(one, model)}; pdr -T {seconds}; print_status; write_cex -a {found}"
    done = subprocess.run(
        [COMMAND, "-q", script],
        capture_output=True,
        text=True,
        timeout=seconds + 30,
        check=False,
        cwd=folder,
    )
    if "Property proved" in done.stdout and "Status = 1" in done.stdout:
        assert not found.exists()
        return False
    assert "Status = 0" in done.stdout, done.stdout + done.stderr
    # It puts in latches for constraints and leaves out those that do not matter: what it says
    # of the start cannot be told apart. Every latch of ours has one way to start.
    witness = replace(witness_of(found.read_text()), start=(None,) * len(one.latches))
    assert replay(one, witness), "the witness of the outside engine does not hold up"
    return True


def _read(circuit: Circuit, model: Path) -> str:
    """What reads a circuit. Constraints are honored only once they are folded into bad states."""
    return f"read_aiger {model}" + ("; fold" if circuit.constraints else "")


@dataclass(frozen=True, slots=True)
class Together:
    """What that engine says of all bad states of a circuit. ``reached``: their numbers;
    ``complete``: all others can not be reached. CPU seconds and peak memory of the call."""

    reached: frozenset[int]
    complete: bool
    seconds: float
    megabytes: float


def ask_together(circuit: Circuit, folder: Path, seconds: int = 60) -> Together:
    """All bad states in one call, within so many CPU seconds. Witnesses are not asked for."""
    assert COMMAND is not None
    every = with_set_starts(replace(circuit, names={}))
    model = folder / "asked.aig"
    model.write_bytes(binary_form(every))
    process = subprocess.Popen(
        [COMMAND, "-q", f"{_read(every, model)}; pdr -a -T {10 * seconds}"],
        stdout=subprocess.PIPE,
        text=True,
        cwd=folder,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds + 1)),
    )
    assert process.stdout is not None
    with process.stdout:
        said = process.stdout.read()
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    reached = re.findall(r"^Output +(\d+) was (?:trivially )?asserted", said, re.MULTILINE)
    complete = "Undecided = 0." in said
    assert not complete or f"Disproved = {len(reached)}." in said, said
    return Together(
        frozenset(map(int, reached)),
        complete,
        usage.ru_utime + usage.ru_stime,
        usage.ru_maxrss / 1024,
    )


def dumped_invariant(made: Gates, folder: Path, seconds: int = 60) -> tuple[Expr, ...]:
    """The clauses with which that engine proves that no bad state of a circuit can be reached.

    Its dump holds only where every latch starts at 0; each row is a cube that it excludes. Raises
    AssertionError where it proves nothing."""
    assert COMMAND is not None
    assert all(latch.reset == FALSE for latch in made.circuit.latches)
    model, dump = folder / "asked.aig", folder / "invariant.pla"
    model.write_bytes(binary_form(replace(made.circuit, names={})))
    # With -o the bad states are not taken for excluded by themselves.
    script = f"{_read(made.circuit, model)}; pdr -a -o -d -I {dump} -T {seconds}"
    done = subprocess.run(
        [COMMAND, "-q", script],
        capture_output=True,
        text=True,
        timeout=seconds + 30,
        check=False,
        cwd=folder,
    )
    assert "Undecided = 0." in done.stdout, done.stdout + done.stderr
    rows = [row.split() for row in dump.read_text().splitlines() if row and row[0] != "#"]
    (latches,) = ([int(name[2:]) for name in row[1:]] for row in rows if row[0] == ".ilb")
    # That an observable has one value at most is true of our terms anyway.
    cubes = [row[0] for row in rows if row[0][0] in "01-"]
    return tuple(dict.fromkeys(_excluding(made, latches, cube) for cube in cubes))


def _excluding(made: Gates, latches: Sequence[int], cube: str) -> Expr:
    """The clause that excludes a cube of latches."""
    values = [(code.what, value) for code in made.states for value in code.values]
    return disjunction(
        *(
            negation(atom(*values[latch])) if bit == "1" else atom(*values[latch])
            for latch, bit in zip(latches, cube, strict=True)
            if bit != "-"
        )
    )


def witness_of(text: str) -> Witness:
    """Its witnesses have neither the first lines nor the last one of the format."""
    return read_witness("1\nb0\n" + text.replace("# DONE", "\n.\n"))
