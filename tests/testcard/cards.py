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
from verifier.testcard.card import card_on
from verifier.testcard.card_model import Card

ROOT = Path(__file__).resolve().parents[2]

SMALL = (
    "both-green-mended", "broken-wire-mended", "head-by-head-mended", "lift-gate-mended",
    "order-of-lines-mended", "short-train-current", "two-supplies-mended", "stalled-motor-mended",
)  # fmt: skip
# Of these a card takes no more than a tenth of a second (of others up to minutes).
QUICK = (
    *SMALL,
    "balloon-loop", "bridged-gap-broken", "bridged-gap-mended", "broken-wire-broken",
    "crossover-broken", "cut-of-cars-mended", "diamond-broken", "diamond-mended",
    "drawbridge-broken", "electric-lock", "electric-lock-too-soon", "end-of-siding-broken",
    "figure-eight", "flasher-stopped-broken", "fuse-and-supply-broken",
    "fuse-and-supply-mended", "gap-inside-broken", "gap-inside-mended", "lamp-out-broken",
    "lift-gate-broken", "missed-feeder-broken", "missed-feeder-mended", "no-track-power-broken",
    "no-track-power-mended", "number-plate-broken", "one-contact-broken", "one-contact-mended",
    "one-engine", "order-of-lines-broken", "oval-five-blocks", "oval-three-blocks",
    "padlocked-switch", "ring-on-dc-broken", "ring-on-dc-mended", "short-train-banned",
    "short-train-broken", "short-train-mended", "single-track-automatic",
    "single-track-no-traffic", "stalled-motor-broken", "sub-bus-broken", "thin-wire-broken",
    "thin-wire-mended", "two-supplies-broken", "two-supplies-isolated",
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
