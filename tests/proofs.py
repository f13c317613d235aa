"""Reports of junction files, each proved once for all tests of one process."""

from functools import cache
from pathlib import Path

import verifier
from verifier.verdicts.report import Report


@cache
def proved(path: Path) -> Report:
    return verifier.prove(verifier.load(path))
