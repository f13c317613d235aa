"""A report does not depend on what was proved before it in the same process."""

import json
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
TEMPORAL = str(next((ROOT / "specs").rglob("loop-fills-up-broken.ixl")))
OTHERS = ("verifier/patterns/spur.ixl", "verifier/properties/examples/time-locking.broken.ixl")

PROVE = """if True:
    import contextlib, io, json, sys
    from verifier.cli import main

    def proved(path):
        out = io.StringIO()
        with contextlib.redirect_stdout(out):
            main(["prove", "--json", path])
        return json.loads(out.getvalue())

    json.dump([proved(path) for path in sys.argv[1:]], sys.stdout)
"""


def reports(*paths: str, seed: str) -> list[object]:
    """Each file's report, one after the other in one fresh process."""
    done = subprocess.run(
        [sys.executable, "-c", PROVE, *paths], capture_output=True, text=True, cwd=ROOT,
        env={**os.environ, "PYTHONHASHSEED": seed}, check=True, timeout=300,
    )  # fmt: skip
    return [without_times(report) for report in json.loads(done.stdout)]


def without_times(value: object) -> object:
    if isinstance(value, dict):
        return {k: without_times(v) for k, v in value.items() if k != "seconds"}
    return [without_times(v) for v in value] if isinstance(value, list) else value


def test_a_report_does_not_depend_on_what_was_proved_before() -> None:
    alone, again = reports(TEMPORAL, TEMPORAL, seed="1")
    assert alone == again
    assert reports(*OTHERS, TEMPORAL, seed="2")[-1] == alone
    assert '"history"' in json.dumps(alone)
