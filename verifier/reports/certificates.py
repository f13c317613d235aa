"""Proofs over time as files that others can check.

In: reports. Out: for each proof a file of SMT-LIB 2.6 with its three questions, and a README
that says how to check them with any solver.
"""

import re
from collections.abc import Iterator, Sequence

from verifier.engines.certificates import README, certificate
from verifier.findings.lasting import sentences
from verifier.findings.verdicts import Report


def certificate_files(reports: Sequence[Report]) -> Iterator[tuple[str, str]]:
    """The name and the text of each file: one for every proof over time."""
    yield "README.txt", README
    number = 0
    for report in reports:
        for verdict in report.verdicts:
            lasting = verdict.lasting
            if lasting is None or verdict.status != "proved":
                continue
            number += 1
            title = f"{report.plan.title}: {verdict.obligation.key}"
            text = certificate(
                lasting.system,
                lasting.bad,
                lasting.clauses,
                title=title,
                steps=lasting.steps,
                told=sentences(report.plan, lasting.clauses),
            )
            yield f"{number:04}-{_plain(verdict.obligation.key)}.smt2", text


def _plain(text: str) -> str:
    return re.sub(r"[^A-Za-z0-9]+", "-", text).strip("-")[:80]
