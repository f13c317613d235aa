"""Slips in our own source, and what finds them: ``python -m tests.mutants --sample 50``.

One place of logic, world, reference, properties, plan/track, engines or exports is changed at a
time, and all that looks at the module runs until something fails: the quick tests that import it,
those of its room, then generated cases that are decided twice. A failure counts only if the same
test passes without the change. Survivors are printed as diffs; ``equivalent.toml`` lists those that
are argued to make no difference. Exit code 1 for a survivor that it does not list; with ``--tell``
(CI) it is told, and the exit code is 0: which three are drawn is luck, and no fault of the change.
"""

import argparse
import difflib
import sys
from collections import Counter
from functools import cache
from random import Random, SystemRandom

from tests.junction_files import ROOT
from tests.mutants.sources import Place, equivalents, looks_of, modules, places
from tests.mutants.trial import preload, tried
from tests.mutation.source_mutants import as_printed, changed


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, prog="python -m tests.mutants")
    parser.add_argument("--sample", type=int, default=50, metavar="N",
                        help="how many slips to try (%(default)s)")  # fmt: skip
    parser.add_argument("--seed", help="what all is drawn by; drawn, and printed, if not given")
    parser.add_argument(
        "--only", default="", metavar="PART", help="only of modules whose path has this in it"
    )
    parser.add_argument("--tell", action="store_true", help="only report survivors; exit code 0")
    options = parser.parse_args()
    seed = options.seed or str(SystemRandom().randrange(1_000_000))
    print(f"mutants of --seed {seed}", flush=True)
    every = [p for path in modules() if options.only in str(path) for p in places(path)]
    listed = {one.key for one in equivalents()}
    count: Counter[str] = Counter()
    preload()
    try:
        for place in Random(seed).sample(every, min(options.sample, len(every))):
            how = one(place, listed)
            count[how] += 1
    except KeyboardInterrupt:
        print("stopped; what was tried until then:")
    print(f"{count.total()} of {len(every)} mutants tried: {told(count)}")
    return 1 if count["survives"] and not options.tell else 0


def one(place: Place, listed: set[tuple[str, str, str]]) -> str:
    """How one mutant fares, printed."""
    text = place.path.read_text("utf-8")
    mutant = changed(text, place.change)
    file, inside, said = place.key
    about = f"{file}:{place.change.line} in {inside or 'the module'}: {said}"
    if mutant is None:
        return "no change"
    if place.key in listed:
        print(f"{about}: listed as no difference", flush=True)
        return "listed as no difference"
    result = tried(place.module, place.path, mutant.text, looks_of(place.path))
    if result.how == "found" and not passes(result.by):
        print(f"{about}: {result.by} fails without the change too", flush=True)
        return "not known"
    print(f"{about}: {result.how} {result.by}".rstrip(), flush=True)
    if result.how == "survives":
        print("".join(diff(text, mutant.text, file)), flush=True)
    return result.how


@cache
def passes(test: str) -> bool:
    """Whether a test, or a generated case, passes as the program stands."""
    return tried("", ROOT, None, [test] if test.startswith("tests/") else []).how == "survives"


def diff(text: str, mutant: str, file: str) -> list[str]:
    before, after = (t.splitlines(keepends=True) for t in (as_printed(text), mutant))
    return list(difflib.unified_diff(before, after, file, file, n=2))


def told(count: Counter[str]) -> str:
    live = count.total() - count["no change"] - count["not known"]
    rate = f"{100 * (live - count['survives']) / live:.0f} %" if live else "none"
    some = ", ".join(f"{n} {how}" for how, n in count.most_common())
    return f"{some or 'none'}; {rate} found, or argued to be no difference"


if __name__ == "__main__":
    sys.exit(main())
