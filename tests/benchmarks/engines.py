"""Our engines beside an outside one on the same files: CPU time, memory and agreement.

    python -m tests.benchmarks.engines [--family NAME] [--sizes 8,12] [--seeds 0,1] [--defects N]
                                       [--limit SECONDS] [--without-abc]

For each file, all obligations over time are decided twice: by this program, from the text of the
file to replayed verdicts, and by ``berkeley-abc pdr -a`` on the AIGER circuit of the whole file,
all outputs in one call (its time is that of the call alone). Times are CPU seconds of one process
each; compare them with each other, in one run on one machine. What is not decided within the limit
is counted as undecided.

A family is a row in FAMILIES: its sizes, and the files of one size.
"""

import argparse
import multiprocessing
import re
import resource
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from random import Random
from time import process_time

import verifier
from tests.benchmarks.different_lines import different_line
from tests.benchmarks.interlockings import DEFECTS, Defect, NotApplicable
from tests.benchmarks.locked import locked_line
from tests.benchmarks.stations import station
from tests.engines.ic3_checker import COMMAND, Together, ask_together
from tests.junction_files import spec
from verifier.decide.histories import HistoryProver
from verifier.engines.interchange.aig import gates
from verifier.engines.interchange.aiger import Circuit
from verifier.plan.model import Plan
from verifier.properties.catalog import obligations
from verifier.properties.obligation import Obligation
from verifier.world.world import World


@dataclass(frozen=True, slots=True)
class Asked:
    """Which files of a family are asked about."""

    seeds: tuple[int, ...]
    defects: int


# How often the delays of a file are drawn, and from which seconds.
SETS_OF_DELAYS, DELAYS = 20, (21, 90)
# CPU seconds for writing the circuit, which count for neither engine.
FOR_CIRCUIT = 120

Files = Callable[[int, Asked], Iterator[tuple[str, str]]]


@dataclass(frozen=True, slots=True)
class Family:
    """Files of one kind. ``files``: for a size, the title and the text of each. ``alike``: they
    differ in nothing that should cost, so the ratio of slowest to fastest is told."""

    sizes: tuple[int, ...]
    files: Files
    alike: bool = False


@dataclass(frozen=True, slots=True)
class Measured:
    """The verdict on each obligation by its key, CPU seconds, peak memory in megabytes, whether the
    process came to its end; of ours the circuit of the whole file, then."""

    verdicts: Mapping[str, str]
    seconds: float
    megabytes: float
    ended: bool
    circuit: Circuit | None = None


# ------------------------------------------------------------------ families


def _with_defects(write: Callable[[int, int, Defect | None], str]) -> Files:
    """For each seed the safe file, and so many with a defect, of another kind each."""

    def files(size: int, asked: Asked) -> Iterator[tuple[str, str]]:
        for seed in asked.seeds:
            yield f"seed {seed}", write(size, seed, None)
            left = asked.defects
            for defect in DEFECTS[seed % len(DEFECTS) :] + DEFECTS[: seed % len(DEFECTS)]:
                try:
                    text = write(size, seed, defect) if left else ""
                except NotApplicable:
                    continue
                if text:
                    left -= 1
                    yield f"seed {seed}, {defect}", text

    return files


def _with_delays(size: int, asked: Asked) -> Iterator[tuple[str, str]]:
    """One file with the times of its timers drawn again and again, all longer than trains need."""

    def drawn(timer: re.Match[str]) -> str:
        return f"{timer[1]} {r.randint(*DELAYS)} s"

    text = {1: spec("locked-end-of-siding").read_text("utf-8"), 2: different_line(1)}.get(size)
    text = text or station(size)
    for seed in asked.seeds:
        r = Random(f"delays of {size}, {seed}")
        for number in range(SETS_OF_DELAYS):
            yield f"set {number}", re.sub(r"^(timer \S+) \d+ s", drawn, text, flags=re.MULTILINE)


def _alike(size: int, _: Asked) -> Iterator[tuple[str, str]]:
    yield "alike", locked_line(size)


FAMILIES: Mapping[str, Family] = {
    "stations": Family((8, 12, 16, 32, 64), _with_defects(station)),
    "different lines": Family((1, 4, 8, 16, 64), _with_defects(different_line)),
    "lines": Family((1, 4, 16, 64), _alike),
    # Of the locked end of siding (1), a line of one siding (2), stations.
    "delays": Family((1, 2, 8), _with_delays, alike=True),
}

# ------------------------------------------------------------------ measuring


def over_time(plan: Plan) -> list[Obligation]:
    """The obligations about histories of truthful detection, in the order of the catalog."""
    return [o for o in obligations(plan, World(plan).lower) if o.over == "histories"]


def ours(text: str, limit: int) -> Measured:
    """The verdicts of this program, in a process of its own."""
    fork = multiprocessing.get_context("fork")
    here, there = fork.Pipe(duplex=False)
    process = fork.Process(target=_decide, args=(text, limit, there))
    process.start()
    there.close()
    verdicts: dict[str, str] = {}
    seconds, megabytes, made = float(limit), 0.0, None
    while True:
        try:
            said = here.recv()
        except EOFError:
            break
        if isinstance(said, Circuit):
            made = said
        else:
            key, verdicts[key], seconds, megabytes = said
    process.join()
    ended = made is not None
    return Measured(verdicts, seconds if ended else float(limit), megabytes, ended, made)


def _decide(text: str, limit: int, answer: Connection) -> None:
    """Send each verdict with the CPU time and the memory so far; at the end the circuit."""
    start = process_time()
    most = int(start) + limit + 1
    resource.setrlimit(resource.RLIMIT_CPU, (most, most + FOR_CIRCUIT))
    plan = verifier.load_text(text)
    asked, prover = over_time(plan), HistoryProver(plan, None, lambda: None)
    for verdict in prover.verdicts(asked):
        megabytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        answer.send((verdict.obligation.key, verdict.status, process_time() - start, megabytes))
    resource.setrlimit(resource.RLIMIT_CPU, (most + FOR_CIRCUIT, most + FOR_CIRCUIT))
    answer.send(whole_circuit(asked, prover))


def whole_circuit(
    asked: Sequence[Obligation], prover: HistoryProver, *, wrecks: bool = False
) -> Circuit:
    """The circuit of a whole file, with the comparisons of delays that its proofs needed;
    ``wrecks``: trains that met or derailed stay where they are."""
    system, expand = prover.whole(wrecks=wrecks)
    return gates(system, [expand(o.formula) for o in asked]).circuit


def outside(plan: Plan, circuit: Circuit, limit: int) -> Measured:
    """The verdicts of the outside engine on the whole file."""
    asked = over_time(plan)
    with tempfile.TemporaryDirectory() as folder:
        said = ask_together(circuit, Path(folder), limit)
    verdicts = outside_verdicts(asked, said)
    return Measured(verdicts, said.seconds, said.megabytes, said.complete)


def outside_verdicts(asked: Sequence[Obligation], said: Together) -> dict[str, str]:
    """What the outside engine says, as verdicts on the obligations it has decided."""
    return {
        o.key: "proved" if (at in said.reached) == (o.mode == "possible") else "broken"
        for at, o in enumerate(asked)
        if at in said.reached or said.complete
    }


# ------------------------------------------------------------------ table


def disagreements(one: Mapping[str, str], other: Mapping[str, str]) -> list[str]:
    """The obligations that both have decided, but not alike."""
    decided = ("proved", "broken")
    return [
        key for key, status in one.items() if status in decided and other.get(key, status) != status
    ]


def _row(found: Measured, asked: int) -> str:
    counts = Counter(found.verdicts.values())
    broken = counts["broken"]
    undecided = asked - counts["proved"] - broken
    seconds = f"{found.seconds:.2f}" if found.ended else f"> {found.seconds:.0f}"
    return f"{seconds:>9} {broken:>6} {undecided:>9} {found.megabytes:>6.0f}"


def _printed(name: str, size: int, title: str, text: str, limit: int, *, abc: bool) -> Measured:
    """Measure one file and print its row. Raises SystemExit on a disagreement."""
    plan = verifier.load_text(text)
    asked, found = len(over_time(plan)), ours(text, limit)
    row = f"{name:<16} {size:>4} {asked:>5} {_row(found, asked)}"
    if abc:
        circuit = found.circuit or whole_circuit(
            over_time(plan), HistoryProver(plan, None, lambda: None)
        )
        theirs = outside(plan, circuit, limit)
        wrong = disagreements(found.verdicts, theirs.verdicts)
        row += f" | {_row(theirs, asked)} | {found.seconds / max(theirs.seconds, 0.01):>6.2f}"
        if wrong:
            raise SystemExit(f"{row} {title}\nthe engines disagree: {wrong}")
    print(f"{row}  {title}", flush=True)
    return found


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--family", action="append", choices=FAMILIES)
    options.add_argument("--sizes")
    options.add_argument("--seeds", default="0")
    options.add_argument("--defects", type=int, default=0, help="files with a defect for each seed")
    options.add_argument("--limit", type=int, default=120, help="CPU seconds for each file")
    options.add_argument("--without-abc", action="store_true")
    chosen = options.parse_args()
    asked = Asked(tuple(map(int, chosen.seeds.split(","))), chosen.defects)
    abc = COMMAND is not None and not chosen.without_abc
    one = f"{'CPU s':>9} {'broken':>6} {'undecided':>9} {'MB':>6}"
    beside = f" | {one} | {'ratio':>6}" if abc else ""
    print(f"{'family':<16} {'size':>4} {'asked':>5} {one}{beside}  file", flush=True)
    for name in chosen.family or FAMILIES:
        family = FAMILIES[name]
        sizes = tuple(map(int, chosen.sizes.split(","))) if chosen.sizes else family.sizes
        for size in sizes:
            files = family.files(size, asked)
            found = [_printed(name, size, *file, chosen.limit, abc=abc) for file in files]
            if family.alike and len(found) > 1:
                _print_ratio(found)


def _print_ratio(found: Sequence[Measured]) -> None:
    """The ratio of slowest to fastest, for each set of verdicts that came more than once."""
    times: dict[tuple[str, ...], list[float]] = {}
    for measured in found:
        times.setdefault(tuple(measured.verdicts.values()), []).append(measured.seconds)
    for seconds in times.values():
        if len(seconds) > 1:
            print(
                f"{len(seconds)} files alike: slowest {max(seconds) / min(seconds):.2f} times "
                "as slow as the fastest"
            )


if __name__ == "__main__":
    main()
