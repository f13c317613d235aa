"""Generated files decided more than once: ``python -m tests.differential --cases 1000``.

Small files over the whole language are decided by the solver and by the reference, some by a third
program that knows nothing of either. What disagrees is made small and written to ``--out``; a run
with the same ``--out`` and ``--seed`` goes on where the last one ended. Ctrl-C ends it with what
was done, and so does SIGTERM. Exit code 1 if any disagree.
"""

import argparse
import gc
import sys
import time
from pathlib import Path
from random import SystemRandom

from tests.differential.campaign.features import unseen
from tests.differential.campaign.kinds import KINDS
from tests.differential.campaign.run import Done, Progress, run
from verifier.engines.stopping import heed_termination

# Every so many cases what was done is kept.
KEPT = 20


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, prog="python -m tests.differential")
    parser.add_argument("--cases", type=int, default=1000, metavar="N",
                        help="how many cases to decide twice (%(default)s)")  # fmt: skip
    parser.add_argument("--seed", help="what all is drawn by; drawn, and printed, if not given")
    parser.add_argument(
        "--jobs", type=int, default=1, metavar="N", help="in how many processes (1)"
    )
    parser.add_argument(
        "--out", type=Path, metavar="FOLDER", help="folder for disagreements and what was done"
    )
    parser.add_argument(
        "--cpu", type=float, metavar="S", help="no more cases after so many seconds of work"
    )
    options = parser.parse_args()
    seed = options.seed or str(SystemRandom().randrange(1_000_000))
    gc.set_threshold(50_000, 20, 50)  # many objects, and hardly a circle of them
    heed_termination()
    progress = started(options.out, seed)
    try:
        print(f"cases of --seed {seed}", flush=True)
        for done in run(progress, options.cases, options.jobs):
            progress.add(done)
            keep(options.out, progress, done)
            if options.cpu and time.process_time() > options.cpu:
                break
    except KeyboardInterrupt:
        print("stopped; what was done until then:")
    print("\n".join(told(progress)))
    return 1 if progress.wrong else 0


def started(out: Path | None, seed: str) -> Progress:
    if out is None:
        return Progress(seed)
    out.mkdir(parents=True, exist_ok=True)
    kept = out / f"{seed}.json"
    return Progress.read(kept.read_text("utf-8")) if kept.exists() else Progress(seed)


def keep(out: Path | None, progress: Progress, done: Done) -> None:
    """A disagreement at once; all that was done, every now and then."""
    if done.wrong is not None:
        wrong, small = done.wrong
        which = f"kind {done.kind}, seed {progress.seed}, case {done.number}"
        about = f"{wrong.place}\n{wrong.said}\n{which}"
        text = "".join(f"# {line}\n" for line in about.splitlines()) + small
        print(text, flush=True)
        if out is not None:
            (out / f"{progress.seed}-{done.number}.ixl").write_text(text, "utf-8")
    if out is not None and (done.wrong is not None or not progress.cases % KEPT):
        new = out / f"{progress.seed}.new"
        new.write_text(progress.kept(), "utf-8")
        new.replace(out / f"{progress.seed}.json")


def told(progress: Progress) -> list[str]:
    lines = [f"{progress.cases} cases of --seed {progress.seed}, {len(progress.wrong)} disagree"]
    for kind, often in sorted(progress.kinds.items()):
        came = {
            what.partition(": ")[2]: n
            for what, n in progress.outcomes.most_common()
            if what.partition(": ")[0] == kind
        }
        some = ", ".join(f"{what} {n}" for what, n in list(came.items())[:8])
        lines.append(f"  {often} of kind {kind} ({KINDS[kind].deciders}): {some}")
    seen = ", ".join(f"{what} {n}" for what, n in progress.features.most_common())
    lines += [f"in so many files: {seen}", f"in none: {', '.join(unseen(progress.features))}"]
    return lines + [f"  {wrong}" for wrong in progress.wrong]


if __name__ == "__main__":
    sys.exit(main())
