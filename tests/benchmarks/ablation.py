"""What each part of the engines over time is worth: every file with histories, proved with one
part after the other switched off.

    python -m tests.benchmarks.ablation [--limit SECONDS] [FILE ...]

Prints, for each part, how many obligations about histories are proved, broken and undecided in
all files, and the CPU time. A file that takes more CPU time than the limit counts its obligations
as undecided. One process at a time, so that the times can be compared.
"""

import argparse
import multiprocessing
import resource
import sys
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from multiprocessing.queues import SimpleQueue
from pathlib import Path
from typing import Any
from unittest.mock import patch

ROOT = Path(__file__).parents[2]
FOLDERS = ("specs", "verifier/properties/examples", "verifier/patterns")
# Seconds for each question, so that a missing part does not cost a minute each.
EACH = 10.0


def _without_pdr() -> None:
    from verifier.engines.temporal.pdr import _Search

    _Search.exclude = lambda *_: iter(())  # type: ignore[method-assign]


def _without_houdini() -> None:
    from verifier.engines.temporal import houdini

    houdini.inductive = lambda *_, **__: []


def _without_localization() -> None:
    from verifier.engines.temporal.localization import Windows

    Windows.window = lambda self, bads, rings: self._states  # type: ignore[method-assign]


def _without_symmetry() -> None:
    from verifier.engines.temporal import symmetry

    real = symmetry.Shapes.of

    def of(self: Any, system: Any) -> Any:
        shape = real(self, system)
        return symmetry.Shape(object(), shape.there, shape.back)

    symmetry.Shapes.of = of  # type: ignore[method-assign]


def _without_simulation() -> None:
    from verifier.engines.temporal import simulation

    real = simulation.Samples.__init__

    def init(self: Any, system: Any, **_: Any) -> None:
        real(self, system, width=8, moments=0)
        self.reached = 0

    simulation.Samples.__init__ = init  # type: ignore[method-assign]


def _without_bmc() -> None:
    from verifier.engines.results import Unknown
    from verifier.engines.temporal import bmc

    bmc.BoundedModelChecker.search = lambda *_: Unknown("off")  # type: ignore[method-assign]


def _without_resettability() -> None:
    from verifier.decide import system_prover
    from verifier.engines.results import Unknown

    def unknown(_: object, goals: Sequence[object], *__: object, **___: object) -> list[Unknown]:
        return [Unknown("off")] * len(goals)

    patch.object(system_prover, "always_again", unknown).start()


def _without_proof_core() -> None:
    from verifier.decide import system_prover
    from verifier.logic.transition_system import System

    def everything(system: System, *_: object, **__: object) -> tuple[int, ...]:
        return tuple(range(len(system.always)))

    patch.object(system_prover, "relied_on", everything).start()


PARTS: Mapping[str, Callable[[], None]] = {
    "none": lambda: None,
    "pdr": _without_pdr,
    "houdini": _without_houdini,
    "bmc": _without_bmc,
    "resettability": _without_resettability,
    "simulation": _without_simulation,
    "localization": _without_localization,
    "symmetry": _without_symmetry,
    "proof core": _without_proof_core,
}


def has_histories(path: Path) -> bool:
    """Whether the file can be loaded and speaks of time."""
    import verifier

    try:
        return bool(verifier.load(path).locking.over_time)
    except verifier.InputError:
        return False


def prove(path: Path, part: str, answer: "SimpleQueue[Counter[str]]") -> None:
    """Decide one file's obligations about histories without a part, and send how often each
    verdict came."""
    import verifier
    from verifier.decide.histories import HistoryProver
    from verifier.properties.catalog import obligations
    from verifier.world.world import World

    PARTS[part]()
    plan = verifier.load(path)
    over_time = [o for o in obligations(plan, World(plan).lower) if o.over != "situations"]
    verdicts = HistoryProver(plan, EACH, lambda: None).decide(over_time).values()
    answer.put(Counter(v.status for v in verdicts))


def measured(path: Path, part: str, limit: int) -> tuple[Counter[str], float]:
    """The verdicts of a process of its own (empty when it ran out of CPU time), and its CPU
    time in seconds."""
    fork = multiprocessing.get_context("fork")
    answer: SimpleQueue[Counter[str]] = fork.SimpleQueue()

    def limited() -> None:
        resource.setrlimit(resource.RLIMIT_CPU, (limit, limit))
        prove(path, part, answer)

    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    process = fork.Process(target=limited)
    process.start()
    process.join()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    took = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Counter() if answer.empty() else answer.get(), took


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--limit", type=int, default=120, help="CPU seconds for each file")
    parser.add_argument("--part", action="append", choices=PARTS, help="only these parts")
    parser.add_argument("files", nargs="*", type=Path)
    options = parser.parse_args()
    files = options.files or [p for f in FOLDERS for p in sorted((ROOT / f).rglob("*.ixl"))]
    files = [path.resolve() for path in files if options.files or has_histories(path)]
    totals: dict[Path, int] = {}
    print("| without | proved | broken | undecided | too late | CPU s |\n|---|---|---|---|---|---|")
    for part in options.part or PARTS:
        verdicts: Counter[str] = Counter()
        late, seconds = 0, 0.0
        for path in files:
            found, took = measured(path, part, options.limit)
            totals.setdefault(path, found.total())
            late += not found
            verdicts += found or Counter(undecided=totals[path])
            seconds += took
            print(part, path.stem, dict(found), f"{took:.1f}", file=sys.stderr, flush=True)
        row = [verdicts[status] for status in ("proved", "broken", "undecided")]
        print(f"| {part} | {' | '.join(map(str, row))} | {late} | {seconds:.0f} |", flush=True)


if __name__ == "__main__":
    main()
