"""Wired layouts for the tests of sheets: those of the repository, and chance ones."""

from pathlib import Path
from random import Random

from tests.differential.wirings import write_wired

ROOT = Path(__file__).resolve().parents[2]


def _is_wired(text: str) -> bool:
    words = text.split()
    return ("feeders" in words or "driver" in words) and "include" not in words


TEXTS = {
    path.name: text
    for path in sorted([*(ROOT / "specs").glob("*.ixl"),
                        *(ROOT / "verifier" / "patterns").glob("*.ixl"),
                        *(ROOT / "verifier" / "properties" / "examples").glob("*.ixl")])
    if _is_wired(text := path.read_text("utf-8"))
}  # fmt: skip


def by_chance(seed: int) -> str:
    return write_wired(Random(seed), 200_000)
