"""CPU seconds of proofs of the same files with other delays: ``python -m tests.benchmarks.delays``.

Every spec with delays, its times drawn again and again. Of those with the same verdicts the slowest
should take no more than 1.5 times as long as the fastest. ``--sets 5``: so many of each.
"""

import argparse
import re
from collections.abc import Iterator
from pathlib import Path
from random import Random
from time import process_time

import verifier
from tests.junction_files import SPECS

SETS = 20
# Seconds that are drawn, fractions among them.
DELAYS = ("0.5", "2", "3", "5", "6", "7.25", "14", "19.5", "20", "26", "31", "45", "121", "240")
_TIMES = re.compile(r"(?m)^( *(?:timer \S+|slow to (?:pick|release)|trains need)) [0-9.]+ s")

Verdicts = tuple[tuple[str, str], ...]


def timed_specs() -> Iterator[Path]:
    """The specs that give times of relays or timers."""
    given = re.compile(r"(?m)^ *(timer \S+|slow to (pick|release)) [0-9.]+ s")
    return (path for path in sorted(SPECS.rglob("*.ixl")) if given.search(path.read_text("utf-8")))


def with_other_delays(text: str, r: Random) -> str:
    return _TIMES.sub(lambda found: f"{found[1]} {r.choice(DELAYS)} s", text)


def measured(text: str) -> tuple[Verdicts, float]:
    """The verdicts on a file, and how many CPU seconds they took."""
    plan = verifier.load_text(text)
    begun = process_time()
    report = verifier.prove(plan)
    seconds = process_time() - begun
    return tuple((v.obligation.key, v.status) for v in report.verdicts), seconds


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("specs", nargs="*", type=Path)
    arguments.add_argument("--sets", type=int, default=SETS)
    given = arguments.parse_args()
    print(f"{'file':42} {'sets':>4} {'as given':>8} {'fastest':>8} {'slowest':>8} {'ratio':>6}")
    for path in given.specs or timed_specs():
        text, r = path.read_text("utf-8"), Random(path.stem)
        _, as_given = measured(text)
        alike: dict[Verdicts, list[float]] = {}
        for _ in range(given.sets):
            verdicts, seconds = measured(with_other_delays(text, r))
            alike.setdefault(verdicts, []).append(seconds)
        for times in alike.values():
            low, high = min(times), max(times)
            print(
                f"{path.stem:42} {len(times):4} {as_given:8.1f} {low:8.1f} {high:8.1f} "
                f"{high / low:6.2f}",
                flush=True,
            )


if __name__ == "__main__":
    main()
