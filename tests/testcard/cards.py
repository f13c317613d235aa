"""Cards for the tests of the test card: of files of the repository, and of chance junctions."""

from functools import cache
from pathlib import Path
from random import Random

import verifier
from tests.differential.junctions import write_junction
from tests.junction_files import spec
from verifier.diagnosis.bench import Bench
from verifier.language.diagnostics.diagnostic import InputError
from verifier.plan.model import Plan
from verifier.testcard.card import Card, card_on

ROOT = Path(__file__).resolve().parents[2]

SMALL = (
    "both-green-mended", "broken-wire-mended", "head-by-head-mended", "lift-gate-mended",
    "order-of-lines-mended", "short-train-current", "two-supplies-mended", "stalled-motor-mended",
)  # fmt: skip
WIRED = "wired-end-of-siding"


@cache
def bench(name: str) -> Bench:
    return Bench(verifier.load(spec(name)))


@cache
def card(name: str) -> Card:
    return card_on(bench(name))


def by_chance(seed: int, room: int) -> Plan | None:
    """A generated junction without wiring; None where its rules go round in a circle."""
    try:
        return verifier.load_text(write_junction(Random(seed), room), f"chance {seed}")
    except InputError:
        return None
