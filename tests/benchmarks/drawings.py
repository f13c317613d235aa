"""How long SVG drawings take: a control point, and a line of a hundred, whole and in strips.

    python -m tests.benchmarks.drawings [--runs N]

Medians of several runs in one process; compare them with each other, in one run.
"""

import argparse
import statistics
import time
from collections.abc import Callable

import verifier
from tests.junction_files import spec
from verifier.drawing.svg.picture import pages, picture
from verifier.farm.lines import line
from verifier.plan.situation import Situation
from verifier.reference.evaluator import evaluate


def seconds(work: Callable[[], object], runs: int) -> float:
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--runs", type=int, default=5)
    runs = options.parse_args().runs
    point = verifier.load(spec("wired-end-of-siding"))
    seen = evaluate(point, Situation.of([]))
    hundred = verifier.load_text(line(100))
    drawn = {
        "a control point": lambda: picture(point, seen),
        "a line of a hundred, whole": lambda: picture(hundred),
        "a line of a hundred, in strips": lambda: pages(hundred),
    }
    for what, work in drawn.items():
        print(f"{what:<32} {seconds(work, runs) * 1000:8.1f} ms")


if __name__ == "__main__":
    main()
