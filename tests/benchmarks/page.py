"""How long the page lets people wait: from the command to the first answer, from the pause in
typing to drawing and signals, and to the verdicts.

    python -m tests.benchmarks.page [--runs N]

Medians; compare them with each other, in one run on one machine.
"""

import argparse
import statistics
import tempfile
import time
from pathlib import Path

from tests.junction_files import spec
from tests.workbench.serving import Server

LOOKED_AT = ("end-of-siding-mended", "wired-end-of-siding", "locked-end-of-siding", "yard-throat")


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--runs", type=int, default=9)
    runs = options.parse_args().runs
    with tempfile.TemporaryDirectory() as folder:
        begins = []
        for _ in range(3):
            start = time.perf_counter()
            server = Server(Path(folder))
            server.ask("/", method="GET")
            server.ask("/api/start")
            begins.append(time.perf_counter() - start)
            server.end()
        print(f"{'from the command to a page that answers':<44} {ms(begins)}")
        server = Server(Path(folder))
        list(server.prove(spec("end-of-siding-mended").read_text("utf-8")))
        try:
            for name in LOOKED_AT:
                looks, proofs = measured(server, (spec(name)).read_text("utf-8"), runs)
                print(f"{name + ': drawing and signals':<44} {ms(looks)}")
                print(f"{name + ': verdicts':<44} {ms(proofs)}")
        finally:
            server.end()


def measured(server: Server, text: str, runs: int) -> tuple[list[float], list[float]]:
    looks, proofs = [], []
    for run in range(runs):
        # Another text each time: nothing is remembered of it.
        changed = f"{text}\n# {run}\n"
        start = time.perf_counter()
        server.ask("/api/look", {"name": "", "text": changed})
        looks.append(time.perf_counter() - start)
        if run < 3:
            start = time.perf_counter()
            list(server.prove(changed))
            proofs.append(time.perf_counter() - start)
    return looks, proofs


def ms(times: list[float]) -> str:
    return f"{statistics.median(times) * 1000:9.0f} ms"


if __name__ == "__main__":
    main()
