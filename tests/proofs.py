"""Reports of junction files, each proved once for all tests of one process."""

from collections.abc import Iterable
from functools import cache, lru_cache
from pathlib import Path

import verifier
from verifier import ProofStore
from verifier.decide.situations import SituationProver
from verifier.engines.proof_store import NO_STORE
from verifier.pipeline import (
    ProofState,
    check_assumptions,
    decide_faults,
    decide_histories,
    decide_situations,
    decide_usefulness,
    leave_out_vain,
    prove,
)
from verifier.plan.model import Plan
from verifier.properties.catalog import obligations
from verifier.verdicts.report import Report, Verdict
from verifier.world.world import World

# The file proved last, and what its proof found: tests of one file follow one another.
_latest: list[tuple[Path, ProofStore]] = []


@cache
def proved(path: Path) -> Report:
    store = ProofStore()
    report = verifier.prove(verifier.load(path), store=store)
    _latest[:] = [(path, store)]
    return report


def store_of(path: Path) -> ProofStore:
    """What the proof of a file found."""
    if not (_latest and _latest[0][0] == path):
        store = ProofStore()
        prove(verifier.load(path), store=store, repairs=False)
        _latest[:] = [(path, store)]
    return _latest[0][1]


@lru_cache(maxsize=8)
def without_repairs(text: str) -> Report:
    """The report on a text, but for repairs: for tests of what is decided."""
    return prove(verifier.load_text(text), repairs=False)


def proved_edited(path: Path, text: str) -> Report:
    """The report on the text of a file after an edit, but for repairs: as from scratch, and
    sooner."""
    return prove(verifier.load_text(text), store=store_of(path), repairs=False)


def decided(plan: Plan, only: Iterable[str], store: ProofStore = NO_STORE) -> tuple[Verdict, ...]:
    """The verdicts on some properties: the phases of a proof that come to them, without what a
    report tells besides (repairs, promises, what trains are kept from).

    Raises :class:`~verifier.InputError` where the assumptions contradict one another."""
    world, wanted = World(plan), frozenset(only)
    everything = tuple(obligations(plan, world.lower))
    asked = [o for o in everything if o.property in wanted]
    situations = SituationProver(world, None, (), store)
    proof = ProofState(plan, plan, everything, asked, situations, only=tuple(wanted))
    for phase in (
        leave_out_vain, check_assumptions, decide_histories(brief=True), decide_situations,
        decide_faults(pairs=False), decide_usefulness,
    ):  # fmt: skip
        phase(proof)
    return tuple(proof.decided[o.key] for o in asked)
