"""Wired layouts for the tests of sheets: those of the repository, and chance ones."""

from functools import cache
from pathlib import Path
from random import Random

from tests.differential.wirings import write_wired
from tests.junction_files import EXAMPLE_FILES, PATTERN_FILES, SPEC_FILES

ROOT = Path(__file__).resolve().parents[2]


def _is_wired(text: str) -> bool:
    words = text.split()
    return ("feeders" in words or "driver" in words) and not {"include", "module"} & {*words}


def _all() -> dict[str, str]:
    """By the name of the file; where a folder further on has one of the same name, with that."""
    found: dict[str, str] = {}
    for path in (*SPEC_FILES, *PATTERN_FILES, *EXAMPLE_FILES):
        text = path.read_text("utf-8")
        if _is_wired(text):
            found[f"{path.parent.name}/{path.name}" if path.name in found else path.name] = text
    return found


TEXTS = _all()


@cache
def by_chance(seed: int) -> str:
    return write_wired(Random(seed), 200_000)
