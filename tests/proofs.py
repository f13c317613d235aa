"""Reports of junction files, each proved once for all tests of one process."""

from functools import cache, lru_cache
from pathlib import Path

import verifier
from verifier import ProofStore
from verifier.verdicts.report import Report


@cache
def proved(path: Path) -> Report:
    return verifier.prove(verifier.load(path))


@lru_cache(maxsize=1)
def _store(path: Path) -> ProofStore:
    store = ProofStore()
    verifier.prove(verifier.load(path), store=store)
    return store


def proved_edited(path: Path, text: str) -> Report:
    """The report on the text of a file after an edit: as from scratch, and sooner."""
    return verifier.prove(verifier.load_text(text), store=_store(path))
