"""How long a report takes beside its proof, and how large it is.

python -m tests.benchmarks.reports [--sizes 10,100]
"""

import argparse
import time
from itertools import pairwise

import verifier
from verifier.farm.lines import line
from verifier.reports.page.document import FileReport, document
from verifier.reports.page.made import sheets_of


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--sizes", default="10,100")
    sizes = [int(size) for size in options.parse_args().sizes.split(",")]
    print(f"{'control points':>14} {'proof, s':>10} {'sheets, s':>10} {'page, s':>10} {'MB':>6}")
    for size in sizes:
        times = [time.perf_counter()]
        report = verifier.prove(verifier.load_text(line(size)))
        times.append(time.perf_counter())
        sheets = sheets_of(report.plan)
        times.append(time.perf_counter())
        text = document([FileReport(report, sheets)], options="clearproof prove")
        times.append(time.perf_counter())
        took = " ".join(f"{b - a:>10.1f}" for a, b in pairwise(times))
        print(f"{size:>14} {took} {len(text.encode()) / 1e6:>6.1f}")


if __name__ == "__main__":
    main()
