"""Benchmarks: whole processes, cold, medians of several runs. Not a test.

    python -m tests.benchmarks.run [--runs N] [--json FILE] [--sizes 10,30,100,300]
                                   [--wired-sizes 2,10,20,50]

Prints a table; with --json also writes the figures. Compare ratios on one machine, in one
run: absolute times differ from machine to machine.
"""

import argparse
import json
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.junction_files import spec
from verifier.farm.lines import line, wired_line

ROOT = Path(__file__).resolve().parents[2]
CLI = [sys.executable, "-m", "verifier.cli"]


def seconds(arguments: list[str], runs: int) -> float:
    """Median wall-clock time of a whole process."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        subprocess.run([*CLI, *arguments], stdout=subprocess.DEVNULL, check=False)
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def measured(path: Path) -> dict[str, float]:
    """Time and peak memory of one whole proof, by a child that reports its own usage."""
    start = time.perf_counter()
    process = subprocess.Popen([*CLI, "prove", "--quiet", str(path)], stdout=subprocess.PIPE)
    assert process.stdout is not None
    said = process.stdout.read().decode()
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode != 0:
        raise SystemExit(f"the generated line does not prove: {said}")
    return {
        "seconds": time.perf_counter() - start,
        "megabytes": usage.ru_maxrss / 1024,
    }


def startup(runs: int) -> dict[str, float]:
    mended = spec("end-of-siding-mended")
    wired = spec("wired-end-of-siding")
    bare = []
    for _ in range(runs):
        start = time.perf_counter()
        subprocess.run([sys.executable, "-c", "pass"], check=True)
        bare.append(time.perf_counter() - start)
    return {
        "python alone": statistics.median(bare),
        "clearproof --help": seconds(["--help"], runs),
        "ask, end of siding": seconds(["ask", str(mended), "T1 normal"], runs),
        "prove, end of siding": seconds(["prove", str(mended)], runs),
        "prove, wired end of siding": seconds(["prove", str(wired)], runs),
        "card, wired end of siding": seconds(["sheet", str(wired), "test-card"], runs),
    }


def scaling(write: Callable[[int], str], sizes: list[int], runs: int) -> list[dict[str, float]]:
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        for size in sizes:
            path = Path(folder) / f"line-{size}.ixl"
            path.write_text(write(size))
            found = [measured(path) for _ in range(runs)]
            middle = statistics.median(row["seconds"] for row in found)
            rows.append(
                {
                    "control points": size,
                    "seconds": middle,
                    "ms per control point": middle / size * 1000,
                    "megabytes": max(row["megabytes"] for row in found),
                }
            )
    return rows


def print_curve(title: str, rows: list[dict[str, float]]) -> None:
    print(f"\n  {title}")
    print(f"  {'control points':>14} {'seconds':>9} {'ms each':>9} {'ratio':>6} {'MB':>6}")
    first = rows[0]["ms per control point"]
    for row in rows:
        each = row["ms per control point"]
        print(
            f"  {row['control points']:>14} {row['seconds']:>9.2f} {each:>9.1f} "
            f"{each / first:>6.2f} {row['megabytes']:>6.0f}"
        )


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--runs", type=int, default=5)
    options.add_argument("--json", type=Path)
    options.add_argument("--sizes", default="10,30,100,300")
    options.add_argument("--wired-sizes", default="2,10,20,50")
    chosen = options.parse_args()
    figures: dict[str, Any] = {
        "machine": f"{platform.machine()}, {os.cpu_count()} cores, Python "
        f"{platform.python_version()}",
        "runs": chosen.runs,
        "start-up": startup(chosen.runs),
    }
    print(f"{figures['machine']}; medians of {chosen.runs} runs, whole processes, cold\n")
    for name, value in figures["start-up"].items():
        print(f"  {name:<28} {value:7.3f} s")
    for title, write, given in (
        ("line, rules only", line, chosen.sizes),
        ("line, wired, every single fault", wired_line, chosen.wired_sizes),
    ):
        sizes = [int(size) for size in given.split(",") if size]
        if sizes:
            figures[title] = scaling(write, sizes, max(1, chosen.runs // 2))
            print_curve(title, figures[title])
    if chosen.json:
        chosen.json.write_text(json.dumps(figures, indent=2) + "\n")


if __name__ == "__main__":
    main()
