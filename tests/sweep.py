"""Sweeps: tests of many generated cases, of which a run takes a sample and a night takes all.

A run draws the sample with a seed of its own, which it prints; ``CLEARPROOF_SEED=…`` draws the same
again. Of each kind there is at least one case: kinds are what cases have in common beside their
numbers. With ``CLEARPROOF_PROFILE=nightly`` all cases run, and there are more of them.

What is named must exist (tests/house checks it). Cases that stand for something by themselves, such
as published ones, regressions and files of specs/, are no sweep.
"""

import os
from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Sequence
from random import Random, SystemRandom
from typing import TypeVar

T = TypeVar("T")

NIGHTLY = os.environ.get("CLEARPROOF_PROFILE") == "nightly"
# Set before pytest-xdist starts its processes, which draw the same sample.
SEED = os.environ.setdefault("CLEARPROOF_SEED", str(SystemRandom().randrange(1_000_000)))

# One case in so many, of tests with a case for each number.
SWEEPS = {
    "tests/differential/test_circles.py::test_seeded_rings": 2,
    "tests/differential/test_explicit_states.py::test_engines_agree_with_the_search_over": 2,
    "tests/differential/test_explicit_states.py::test_engines_agree_through_wires": 2,
    "tests/differential/test_explicit_states.py::test_trains_that_met_or_derailed": 2,
    "tests/differential/test_failure_tables.py::test_generated_lines": 2,
    "tests/differential/test_generated.py::test_seeded_junctions_agree": 2,
    "tests/differential/test_histories.py::test_engines_agree_with_going_through": 2,
    "tests/differential/test_histories.py::test_every_step_is_the_same": 4,
    "tests/differential/test_memory.py::test_generated_junctions": 4,
    "tests/differential/test_outside_pdr.py::test_generated_junctions": 2,
    "tests/differential/test_plates.py::test_plates": 3,
    "tests/differential/test_promises.py::test_engines_agree_with_a_search": 2,
    "tests/differential/test_races.py::test_the_same_states_are_reached": 4,
    "tests/differential/test_recollection.py::test_memory_that_hears_anything": 4,
    "tests/differential/test_wired.py::test_wired_junctions_agree": 2,
    "tests/drafting/test_drafts.py::test_drafts_of_generated_plans": 3,
    "tests/drafting/test_drafts.py::test_drafts_of_shapes": 3,
    "tests/drafting/test_options.py::test_every_option_on_every_kind": 300,
    "tests/drafting/test_options.py::test_time_locking_is_proved_on_every_kind": 6,
    "tests/engines/test_aiger.py::test_the_outside_engine_agrees_on_systems": 4,
    "tests/engines/test_certificates.py::test_proofs_of_the_engines": 4,
    "tests/engines/test_faulty_solver.py::test_many_wrong_answers": 4,
    "tests/engines/test_faulty_solver.py::test_one_wrong_answer": 4,
    "tests/engines/test_faulty_solver.py::test_short_clauses_of_a_wrong_solver": 4,
    "tests/engines/test_faulty_solver.py::test_traces": 4,
    "tests/engines/test_houdini.py::test_all_that_is_settled_is_found": 4,
    "tests/engines/test_induction.py::test_proofs_are_proofs": 4,
    "tests/engines/test_max_load.py::test_the_most_is_what_every_situation": 4,
    "tests/engines/test_no_answer.py::test_proofs": 4,
    "tests/engines/test_no_answer.py::test_what_lasts": 4,
    "tests/engines/test_pdr.py::test_all_bad_states_are_decided_together": 4,
    "tests/engines/test_pdr.py::test_hints_are_checked": 4,
    "tests/engines/test_proof_core.py::test_systems_drawn_at_random": 4,
    "tests/engines/test_resettability.py::test_the_engine_agrees_with_going_through": 4,
    "tests/engines/test_spacer.py::test_it_answers_as_going_through_everything": 4,
    "tests/exports/test_time.py::test_a_slow_relay_by_the_clock": 2,
    "tests/sheets/test_counts.py::test_conductors_are_as_many": 4,
    "tests/sheets/test_counts.py::test_parts_are_as_many": 4,
    "tests/testcard/test_card.py::test_chance_junctions": 3,
}


def sample(
    cases: Iterable[T], one_in: int, about: str, kind: Callable[[T], Hashable] = lambda case: None
) -> list[T]:
    """One case in so many of each kind, at least one, in their order; all of them at night.
    ``about`` names the sweep: others draw apart from it."""
    every = list(cases)
    if NIGHTLY:
        return every
    kinds: dict[Hashable, list[int]] = defaultdict(list)
    for i, case in enumerate(every):
        kinds[kind(case)].append(i)
    random = Random(f"{SEED} {about}")
    drawn = [i for some in kinds.values() for i in random.sample(some, -(-len(some) // one_in))]
    return [every[i] for i in sorted(drawn)]


def examples(count: int) -> int:
    """How many examples hypothesis draws, of so many at night."""
    return count if NIGHTLY else -(-count // 3)


def kind_of(values: Iterable[object]) -> tuple[str, ...]:
    """What a case has in common with others: its parameters, but for numbers."""
    return tuple(str(v) for v in values if not isinstance(v, int) or isinstance(v, bool))


def sweep_of(nodeid: str) -> str | None:
    """The sweep that a test is of."""
    return next((name for name in SWEEPS if "[" in nodeid and nodeid.startswith(name)), None)


def drawn(cases: Sequence[tuple[str, tuple[object, ...]]]) -> list[str]:
    """Of tests, by their names and parameters, those of sweeps that are drawn, and all others."""
    left: list[str] = []
    sweeps: dict[str, list[tuple[str, tuple[object, ...]]]] = defaultdict(list)
    for nodeid, values in cases:
        if sweep_of(nodeid) is None:
            left.append(nodeid)
        else:
            sweeps[nodeid.partition("[")[0]].append((nodeid, values))
    for function, some in sweeps.items():
        one_in = SWEEPS[sweep_of(some[0][0]) or ""]
        left += [nodeid for nodeid, _ in sample(some, one_in, function, lambda c: kind_of(c[1]))]
    return left
