"""Proofs over time as files that others can check.

In: reports. Out: for each proof a file of SMT-LIB 2.6 with its three questions, and a README
that says how to check them with any solver, and a program that does.
"""

import inspect
import re
from collections.abc import Iterator, Sequence
from pathlib import Path

from verifier.engines.interchange import check_proofs
from verifier.engines.temporal.certificates import README, certificate
from verifier.explain.invariant_text import sentences
from verifier.verdicts.grade_words import headline
from verifier.verdicts.report import InductiveProof, Report, Verdict

# How the names of proofs end.
ENDING = ".smt2"


def proofs_over_time(reports: Sequence[Report]) -> int:
    """How many proofs there are to write."""
    return sum(1 for report in reports for _ in _lasting(report))


def _lasting(report: Report) -> Iterator[tuple[Verdict, InductiveProof]]:
    for verdict in report.verdicts:
        if verdict.lasting is not None and verdict.status == "proved":
            yield verdict, verdict.lasting


def of_earlier_runs(folder: Path) -> set[Path]:
    """The proofs in a folder that clearproof wrote at some time."""
    return {path for path in folder.glob(f"*{ENDING}") if path.is_file() and _is_ours(path)}


def foreign(folder: Path) -> list[str]:
    """The files in a folder that have the names of ours that are no proofs, and are not ours."""
    heads = {"README.txt": README, "check.py": inspect.getsource(check_proofs)}
    return [
        name
        for name, text in heads.items()
        if (folder / name).is_file() and _first_line(folder / name) != text.splitlines()[0].encode()
    ]


def _is_ours(path: Path) -> bool:
    return _first_line(path) == check_proofs.MAGIC.encode()


def _first_line(path: Path) -> bytes | None:
    try:
        with path.open("rb") as file:
            return file.readline(1000).rstrip()
    except OSError:
        return None


def certificate_files(reports: Sequence[Report]) -> Iterator[tuple[str, str]]:
    """The name and the text of each file: one for every proof over time."""
    yield "check.py", inspect.getsource(check_proofs)
    yield "README.txt", f"{README}{_FILES}{''.join(_file(report) for report in reports)}"
    number = 0
    for report in reports:
        for verdict, lasting in _lasting(report):
            number += 1
            title = f"{report.plan.title}: {verdict.obligation.key}"
            text = certificate(
                lasting.system,
                lasting.bad,
                lasting.clauses,
                title=title,
                told=sentences(report.plan, lasting.clauses),
                grade=headline(report),
                digest=report.plan.source.digest,
            )
            yield f"{number:04}-{_plain(verdict.obligation.key)}{ENDING}", text


# What ties proofs to the files that they are of.
_FILES = """
The junction files these are proofs of
--------------------------------------

A proof is of a file as it was when it was proved, here by its SHA-256 (as `sha256sum` prints it;
what a file includes is not counted in). Prove a file again once it differs. Below each stands what
was proved of it as a whole, of which these proofs are a part.

"""


def _file(report: Report) -> str:
    source = report.plan.source
    return f"    {source.digest}  {source.name}\n    {headline(report)}\n"


def _plain(text: str) -> str:
    return re.sub(r"[^A-Za-z0-9]+", "-", text).strip("-")[:80]
