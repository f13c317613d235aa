"""Slips in our own source, and what finds them: ``python -m tests.mutation.campaign``.

One small change at a time is made to a module of ``verifier/properties`` or ``verifier/plan``; then
every junction file is read, its obligations are made, and compared with the census. What that lets
pass is tried with the quick tests (``--tests``). Survivors are printed: each is a change of words,
makes no difference, or shows what no test looks at. Takes long; never part of a test run.

``--every 7``: every seventh change only. ``--start 3``: from the third of those.
"""

import argparse
import os
import shutil
import signal
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from tests.junction_files import EXAMPLE_FILES, PATTERN_FILES, ROOT, SPEC_FILES
from tests.mutation.loading import load_from
from tests.mutation.source_mutants import SourceMutant, source_mutants
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.modules.expand import read
from verifier.language.source import Source
from verifier.language.syntax import tree

# After so many seconds a change counts as found: it keeps the program from ending.
PATIENCE = 60
QUICK_TESTS = (
    "tests/plan", "tests/properties", "tests/published", "tests/reference", "tests/world",
    "tests/messages", "tests/census", "tests/sheets", "tests/decide",
)  # fmt: skip


class Read(NamedTuple):
    """A junction file that is accepted, read as far as no module of ``plan`` is needed."""

    path: Path
    source: Source
    statements: Sequence[tree.Statement]


def all_read() -> list[Read]:
    """Every junction file: those with two of each kind first, as they find the most."""
    found = []
    odd = (ROOT / "tests" / "census" / "layouts").glob("*.ixl")
    for path in (*odd, *SPEC_FILES, *PATTERN_FILES, *EXAMPLE_FILES):
        source = Source(str(path), path.read_text("utf-8"))
        try:
            found.append(Read(path, source, read(source, path)))
        except InputError:
            continue
    return sorted(found, key=lambda one: ("two-of-each" not in one.path.stem, len(one.source.text)))


def accepted(files: Sequence[Read]) -> list[Read]:
    """Those without an error, as the program stands. (In a process of its own: none of the
    modules that are to be changed may be loaded here.)"""
    reader, writer = os.pipe()
    if os.fork() == 0:
        from verifier.plan.build import build

        for i, one in enumerate(files):
            try:
                build(one.source, one.statements)
            except InputError:
                continue
            os.write(writer, f"{i}\n".encode())
        os._exit(0)
    os.close(writer)
    with os.fdopen(reader) as lines:
        kept = [files[int(line)] for line in lines]
    os.wait()
    return kept


def what_finds(files: Sequence[Read], path: Path, mutant: SourceMutant) -> str:
    """How reading all files and the census find a change; empty where they do not."""
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        signal.alarm(PATIENCE)
        os.write(writer, _look(files, path, mutant).encode()[:2000])
        os._exit(0)
    os.close(writer)
    with os.fdopen(reader) as told:
        found = told.read()
    _, status = os.waitpid(child, 0)
    return found if status == 0 else "does not end"


def _look(files: Sequence[Read], path: Path, mutant: SourceMutant) -> str:
    module = ".".join(path.relative_to(ROOT).with_suffix("").parts)
    load_from(module, path, mutant.text)
    sys.setrecursionlimit(3000)
    try:
        from tests.census.agreement import differ
        from verifier.plan.build import build

        for one in files:
            found = differ(build(one.source, one.statements))
            if found:
                return f"census, {one.path.stem}: {found[0]}"
    except Exception as error:
        return f"{type(error).__name__}"
    return ""


def what_tests_find(path: Path, mutant: SourceMutant, tests: Sequence[str]) -> str:
    """The first of the quick tests that fails with a change; empty where none does."""
    with tempfile.TemporaryDirectory() as place:
        for name in ("verifier", "tests", "grammar", "specs", "pyproject.toml", "README.md"):
            here = ROOT / name
            if here.is_dir():
                shutil.copytree(here, Path(place) / name)
            else:
                shutil.copy(here, Path(place) / name)
        (Path(place) / path.relative_to(ROOT)).write_text(mutant.text, "utf-8")
        done = subprocess.run(
            [sys.executable, "-m", "pytest", "-q", "-x", "-n", "0", "-p", "no:cacheprovider",
             "-m", "not slow and not browser", *tests],
            cwd=place, capture_output=True, text=True, check=False,
            env={**os.environ, "PYTHONPATH": place},
        )  # fmt: skip
    failed = [line for line in done.stdout.splitlines() if line.startswith(("FAILED", "ERROR"))]
    return (failed[0] if failed else done.stdout[-200:]) if done.returncode else ""


def modules(names: Sequence[str]) -> list[Path]:
    """The files named; those of properties and plan, when none is."""
    if names:
        return [ROOT / name for name in names]
    return sorted(
        path
        for room in ("properties", "plan")
        for path in (ROOT / "verifier" / room).rglob("*.py")
        if path.name != "__init__.py"
    )


def chosen(paths: Sequence[Path], every: int, start: int) -> Iterator[tuple[Path, SourceMutant]]:
    """Every so many-th change of all modules."""
    changes = ((p, m) for p in paths for m in source_mutants(p.read_text("utf-8")))
    return ((p, m) for i, (p, m) in enumerate(changes) if i % every == start)


def main() -> None:
    """Print what finds each change, survivors in full."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("files", nargs="*", help="modules to change (all, when none is named)")
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--start", type=int, default=0)
    parser.add_argument("--tests", action="store_true", help="try survivors with the quick tests")
    parser.add_argument("--found", action="store_true", help="print what finds the others")
    asked = parser.parse_args()
    files = accepted(all_read())
    count: Counter[str] = Counter()
    for path, mutant in chosen(modules(asked.files), asked.every, asked.start):
        found = what_finds(files, path, mutant)
        if not found and asked.tests:
            found = what_tests_find(path, mutant, QUICK_TESTS)
        how = "survives" if not found else found.partition(" ")[0].strip(",")
        count[how] += 1
        if not found or asked.found:
            where = f"{path.relative_to(ROOT)}:{mutant.line}"
            print(f"{where}: {mutant.said}: {found or 'SURVIVES'}", flush=True)
    total = sum(count.values())
    print(f"{total} changes; " + ", ".join(f"{n} {how}" for how, n in count.most_common()))


if __name__ == "__main__":
    main()
