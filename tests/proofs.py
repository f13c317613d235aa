"""Reports of junction files, each proved once for all tests of one process that are about it.

Tests about one file of specs/ come one after another in one process (tests/conftest.py), so that
only the latest few are kept.
"""

from functools import lru_cache
from pathlib import Path

import verifier
from verifier import ProofStore
from verifier.verdicts.report import Report


@lru_cache(maxsize=4)
def _stored(path: Path) -> tuple[Report, ProofStore]:
    store = ProofStore()
    return verifier.prove(verifier.load(path), store=store), store


def proved(path: Path) -> Report:
    return _stored(path)[0]


def proved_edited(path: Path, text: str) -> Report:
    """The report on the text of a file after an edit: as from scratch, and sooner."""
    return verifier.prove(verifier.load_text(text), store=_stored(path)[1])
