"""Whether everything can be done, and can always be done again: CPU seconds on growing lines.

    python -m tests.benchmarks.resets [--family line|different|station] [--sizes 1,2,4,8]

For each file, first what must never be is decided, which gives the invariants; then what must stay
possible "for good" (AG EF); then what must be possible. Times are of one run each.
"""

import argparse
from collections import Counter
from collections.abc import Callable, Mapping
from time import process_time

import verifier
from tests.benchmarks.different_lines import different_line
from tests.benchmarks.locked import locked_line
from tests.benchmarks.stations import station
from verifier.decide.histories import HistoryProver
from verifier.properties.catalog import obligations
from verifier.world.world import World

FAMILIES: Mapping[str, Callable[[int], str]] = {
    "line": locked_line,
    "different": different_line,
    "station": station,
}


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--family", choices=FAMILIES, default="line")
    options.add_argument("--sizes", default="1,2,4,8")
    options.add_argument("--without-possible", action="store_true")
    chosen = options.parse_args()
    print(f"{'size':>5} {'never, s':>10} {'for good, s':>12} {'possible, s':>12}  verdicts")
    for size in map(int, chosen.sizes.split(",")):
        plan = verifier.load_text(FAMILIES[chosen.family](size))
        asked = list(obligations(plan, World(plan).lower))
        over_time = [o for o in asked if o.over == "histories"]
        kinds = [
            [o for o in over_time if o.mode == "never"],
            [o for o in asked if o.over == "for good"],
            [o for o in over_time if o.mode == "possible"],
        ]
        prover, times, verdicts = HistoryProver(plan, None, lambda: None), [], Counter[str]()
        for kind in kinds[:2] if chosen.without_possible else kinds:
            began = process_time()
            verdicts += Counter(v.status for v in prover.decide(kind).values())
            times.append(process_time() - began)
        told = [f"{seconds:.1f}" for seconds in times] + [""]
        print(f"{size:>5} {told[0]:>10} {told[1]:>12} {told[2]:>12}  {dict(verdicts)}", flush=True)


if __name__ == "__main__":
    main()
