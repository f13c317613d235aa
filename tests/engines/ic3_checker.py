"""A property-directed engine from outside: the distribution's `berkeley-abc` (Debian package
of that name), asked about a system as an AIGER file. Tests use it; the program does not.

That engine knows no latch that starts as either, so files for it have none.
"""

import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from tests.engines.aiger_reader import Witness, read_witness, replay, with_set_starts
from verifier.engines.interchange.aiger import Circuit, binary_form

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
    fold = "fold; " if one.constraints else ""
    script = f"read_aiger {model}; {fold}pdr -T {seconds}; print_status; write_cex -a {found}"
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


def witness_of(text: str) -> Witness:
    """Its witnesses have neither the first lines nor the last one of the format."""
    return read_witness("1\nb0\n" + text.replace("# DONE", "\n.\n"))
