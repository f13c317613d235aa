"""`clearproof farm`: sweeps of very many cases, here or on a Dask cluster, into a table."""

import argparse
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from secrets import token_bytes
from typing import TYPE_CHECKING

from verifier.commands.console import (
    Command,
    WrongWord,
    files_of,
    jobs_option,
    say,
    say_aside,
    within_option,
)
from verifier.language.listing import several
from verifier.verdicts.exit_codes import ExitCode

if TYPE_CHECKING:
    from verifier.farm.lent import Lent
    from verifier.farm.sweeping import Answers, Swept
    from verifier.farm.sweeps import Case

# The most control points of one line.
_MOST = 2000
_ABOUT = """\
mutants FOLDER    leave out each condition of each rule: which of them is a false clear
lines SIZE...     prove generated lines of so many control points, such as 2-20
junctions FOLDER  compare the solver with a reference that goes through every situation
"""


def add(command: Command) -> None:
    farm = command("farm", _farm, "run a sweep of many cases, here or on a Dask cluster")
    farm.description = f"{farm.description}\n\n{_ABOUT}"
    farm.add_argument("sweep", choices=("mutants", "lines", "junctions"), metavar="SWEEP")
    farm.add_argument("what", nargs="+", metavar="FOLDER-OR-SIZE")
    farm.add_argument("-o", "--output", required=True, metavar="TABLE",
                      help="the table to write: .csv, or .parquet with pyarrow")  # fmt: skip
    farm.add_argument("--cluster", metavar="ADDRESS",
                      help="the cluster to work on, such as tls://host:8786")  # fmt: skip
    jobs_option(farm)
    within_option(farm)


def _farm(options: argparse.Namespace) -> int:
    from verifier.commands.processes import processors
    from verifier.engines.stopping import time_limit
    from verifier.farm.journal import Journal
    from verifier.farm.sweeping import swept
    from verifier.farm.table import check_table, write_table

    table = Path(options.output)
    check_table(table)
    cases, columns = _cases(options)
    jobs = options.jobs or processors()
    with time_limit(options.within), Journal(table, _key(), _sweep(columns)) as journal:
        known = sum(case.digest in journal.rows for case in cases)
        if known:
            say_aside([f"{known} of {several(len(cases), 'case')} are known from {journal.path}."])
        with _workers(options, jobs, len(cases) - known) as answers:
            found = swept(
                cases, columns, journal, answers, jobs, checks=options.cluster is not None
            )
        rows = [row for row in found.rows if row is not None]
        write_table(table, columns, rows)
        if len(rows) == len(cases):
            journal.remove()
    say(_told(found, table))
    if len(rows) < len(cases):
        say_aside([f"The same command goes on with the rest: {journal.path}."])
    return _code(found)


def _cases(options: argparse.Namespace) -> "tuple[Sequence[Case], Sequence[str]]":
    """The cases of a sweep, and the columns of its table. Raises InputError and WrongWord."""
    from verifier.farm import sweeps

    match options.sweep:
        case "lines":
            sizes = [size for text in options.what for size in _sizes(text)]
            return list(sweeps.line_cases(list(dict.fromkeys(sizes)))), sweeps.LINE_COLUMNS
        case "mutants":
            return list(sweeps.mutant_cases(_lent(options.what))), sweeps.MUTANT_COLUMNS
        case _:
            return list(
                sweeps.junction_cases(_lent(options.what, checks=False))
            ), sweeps.JUNCTION_COLUMNS


def _lent(paths: Sequence[str], *, checks: bool = True) -> "list[Lent]":
    """The files, but for those that are wrong, which are told; without ``checks``, but for those
    that cannot be read."""
    from verifier.commands.console import complaint
    from verifier.farm.lent import lent
    from verifier.language.diagnostics.diagnostic import InputError

    found, wrong = [], []
    for path in dict.fromkeys(files_of(paths, layouts=True)):
        try:
            found.append(lent(path, checks=checks))
        except InputError as error:
            wrong.append((path, error))
    last = None if found or not wrong else wrong.pop()[1]
    for path, told in wrong:
        say_aside([f"{path} is left out:", *complaint(told)])
    if last is not None:
        raise last
    return found


def _sizes(text: str) -> Iterator[int]:
    """The even numbers of control points that `8` or `2-20` names. Raises WrongWord."""
    first, to, last = text.partition("-")
    ends = [first, last if to else first]
    if all(end.isascii() and end.isdigit() and len(end) < 9 for end in ends):
        sizes = [size for size in range(int(ends[0]), min(int(ends[1]), _MOST) + 1)
                 if size and size % 2 == 0]  # fmt: skip
        if sizes and int(ends[1]) <= _MOST:
            yield from sizes
            return
    raise WrongWord(
        f"`{text}` is no size of a line. Write an even number of control points from 2 to {_MOST}, "
        "or a range such as `2-20`."
    )


def _key() -> bytes:
    """What the journal is signed with; where the user has no key, nobody can take it up again."""
    from verifier.commands.proof_cache import signing_key

    return signing_key() or token_bytes(32)


def _sweep(columns: Sequence[str]) -> str:
    from verifier.farm.versions import versions

    return repr((tuple(columns), dict(versions())))


@contextmanager
def _workers(options: argparse.Namespace, jobs: int, left: int) -> "Iterator[Answers]":
    """Who works out the cases, with the progress on the error output."""
    from functools import partial

    from verifier.farm.here import answers_here
    from verifier.reports.progress import ProgressLine

    line = ProgressLine(sys.stderr, f"farm {options.sweep}", "cases")
    with line.alive():
        if options.cluster is None or not left:
            yield lambda requests: answers_here(requests, jobs, line)
            return
        from verifier.farm.cluster import answers, cluster_at

        with cluster_at(options.cluster) as client:
            yield partial(answers, client, progress=line)


def _told(found: "Swept", table: Path) -> Iterator[str]:
    counts = Counter(row["result"] for row in found.rows if row is not None)
    for result, number in sorted(counts.items(), key=lambda one: (-one[1], one[0])):
        yield f"{number:>7}  {result}"
    if None in found.rows:
        why = f": {found.why}" if found.why else ""
        yield f"{found.rows.count(None):>7}  not worked out{why}"
    yield f"Table written: {table}"


def _code(found: "Swept") -> ExitCode:
    """4 where solver and reference differ, 3 where something is open."""
    results = {row["result"] for row in found.rows if row is not None}
    if "differs" in results:
        return ExitCode.OUR_BUG
    if None in found.rows or "undecided" in results or not found.rows:
        return ExitCode.UNDECIDED
    return ExitCode.AS_EXPECTED
