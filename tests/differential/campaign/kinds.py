"""What kinds of cases a campaign draws: how the text of one is written, and what must agree on it.

In: a random source. Out: the text of a small file; and of a text what came out of it, counted. A
disagreement raises. A check depends on the text and the number of the case alone, so that a text
with statements left out can be tried again.
"""

import re
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from random import Random

import verifier
from tests.differential import (
    test_circles,
    test_generated,
    test_memory,
    test_wired,
)
from tests.differential.campaign.extras import with_extras
from tests.differential.campaign.third_program import (
    check_late,
    check_race,
    write_late,
    write_race,
)
from tests.differential.junctions import checked, write_junction
from tests.differential.locked import write_locked
from tests.differential.locked_wired import with_releases, write_locked_and_wired
from tests.differential.rings import write_ring
from tests.differential.small_lines import with_detectors, write_line
from tests.differential.test_explicit_states import agree, wrecks_agree
from tests.differential.test_failure_tables import harmful
from tests.differential.test_histories import engines_agree, steps_agree
from tests.differential.test_times import ODD, SMALL
from tests.differential.timed import ExactSearch, write_timed
from tests.differential.windows import small_systems
from tests.differential.wirings import write_wired
from verifier.decide.histories import HistoryProver
from verifier.logic.expr import holds
from verifier.pipeline import prove
from verifier.plan.model import Plan
from verifier.properties.catalog import obligations
from verifier.reference.evaluator import Unsettled
from verifier.reference.explicit_states import Never, Reached, search
from verifier.reference.step import Stepper
from verifier.world.world import World

ROOM, MOST_STEPS, SECONDS = 60, 1500, 20.0
# How often repairs are looked for in single moments, and the product's own enumerator is asked,
# which goes by the same evaluator.
WHOLE = 0.2
Outcome = Counter[str]


@dataclass(frozen=True, slots=True)
class Kind:
    """``share``: how often it is drawn, beside others. ``deciders``: what decides it, in words."""

    share: int
    deciders: str
    write: Callable[[Random], str]
    check: Callable[[str, Random], Outcome]


def loaded(text: str) -> Plan | None:
    """The plan; None where the file is refused because its signals go round in a circle."""
    try:
        return checked(text)
    except verifier.InputError as error:
        assert {d.code for d in error.diagnostics} == {"CP409"}, error
        return None


# ------------------------------------------------------------------ single moments


def check_junction(text: str, r: Random) -> Outcome:
    whole = r.random() < WHOLE
    return Counter([test_generated.check(text, r, whole=whole)])


def check_memory(text: str, r: Random) -> Outcome:
    plan = loaded(text)
    if plan is None:
        return Counter(["circle"])
    return test_memory.check(plan, tallied=r.random() < WHOLE)


def check_ring(text: str, _: Random) -> Outcome:
    return Counter([test_circles.check(text)])


# ------------------------------------------------------------------ step by step


def check_steps(text: str, r: Random) -> Outcome:
    """The system and the stepper, at moments at random."""
    plan = loaded(text)
    if plan is None:
        return Counter(["circle"])
    lossy = r.random() < 0.5
    steps_agree(plan, r, lossy=lossy)
    return Counter(["steps, lossy" if lossy else "steps"])


def check_wired_steps(text: str, r: Random) -> Outcome:
    """The same through wires, with things that break, or with blips."""
    plan = loaded(text)
    if plan is None:
        return Counter(["circle"])
    blips = r.random() < 0.3
    faults = [] if blips else r.sample(plan.equipment.faults, min(8, len(plan.equipment.faults)))
    try:
        steps_agree(plan, r, lossy=r.random() < 0.3, blips=blips, faults=faults)
    except (verifier.InputError, Unsettled):
        assert faults  # with them, what signals show goes round in a circle
        return Counter(["circle with faults"])
    return Counter(["steps, blips" if blips else "steps, faults"])


# ------------------------------------------------------------------ over time


def check_line(text: str, r: Random) -> Outcome:
    """Engines against a search through every state."""
    plan = loaded(text)
    if plan is None:
        return Counter(["circle"])
    return agree(plan, lossy=r.random() < 0.3)


def check_wired_line(text: str, r: Random) -> Outcome:
    plan = loaded(text)
    if plan is None:
        return Counter(["circle"])
    faults = plan.equipment.faults
    if r.random() < 0.3:
        return agree(plan, blips=True)
    try:
        return agree(plan, faults=r.sample(faults, min(2, len(faults))))
    except (verifier.InputError, Unsettled):
        return Counter(["circle with faults"])


def check_wrecks(text: str, _: Random) -> Outcome:
    plan = loaded(text)
    return Counter(["circle"]) if plan is None else wrecks_agree(plan)


def check_window(text: str, r: Random) -> Outcome:
    """Engines on parts of a system, against going through these."""
    plan = loaded(text)
    if plan is None:
        return Counter(["circle"])
    answers: Outcome = Counter()
    for small in small_systems(plan, r, lossy=r.random() < 0.25):
        answers.update(engines_agree(small))
    return answers


def check_report(text: str, _: Random) -> Outcome:
    """A whole proof against a search through every state over the reference."""
    plan = loaded(text)
    if plan is None:
        return Counter(["circle"])
    report = prove(plan, repairs=False, timeout=SECONDS)
    told = [v for v in report.verdicts if v.obligation.over == "histories"]
    told = [v for v in told if v.status in ("proved", "broken")]
    never = [v for v in told if v.obligation.mode == "never"]
    bads = [partial(holds, v.obligation.formula) for v in never]
    came_out: Outcome = Counter()
    for verdict, answer in zip(never, search(plan, bads, most_steps=MOST_STEPS), strict=True):
        if isinstance(answer, Reached | Never):
            found = isinstance(answer, Reached)
            assert found == (verdict.status == "broken"), verdict.obligation.key
            came_out[verdict.status] += 1
    return came_out


def check_table(text: str, _: Random) -> Outcome:
    plan = loaded(text)
    return Counter(["circle"]) if plan is None else harmful(plan, 200)


def check_timed(text: str, _: Random) -> Outcome:
    """Verdicts that depend on times, against all histories in exact time."""
    plan = verifier.load_text(text)
    asked = [
        o for o in obligations(plan, World(plan).lower)
        if o.property in ("time-locking", "approach-locking")
    ]  # fmt: skip
    found = HistoryProver(plan, SECONDS, lambda: None, brief=True).decide(asked)
    quantum = Fraction(1, 4) if re.search(r"\.5 s", text) else Fraction(1, 2)
    exact = ExactSearch(Stepper(plan, prompt=True), quantum)
    came_out: Outcome = Counter()
    for o, happens in zip(asked, exact.find([o.holds_in for o in asked], most=800), strict=True):
        status = found[o.key].status
        if happens is not None and status != "undecided":
            assert happens == (status == "broken"), o.key
            came_out[status] += 1
    return came_out


# ------------------------------------------------------------------ texts


def _junction(r: Random) -> str:
    return with_extras(r, write_junction(r, r.choice([ROOM // 2, ROOM // 2, ROOM, 2 * ROOM])))


def _memory(r: Random) -> str:
    return with_extras(r, write_junction(r, r.choice([ROOM // 2, ROOM, 2 * ROOM]), memory=True))


def _wired(r: Random) -> str:
    return with_extras(r, write_wired(r, ROOM))


def _steps(r: Random) -> str:
    return with_extras(r, with_releases(r, write_locked(r, r.choice([ROOM, 4 * ROOM]))))


def _wired_steps(r: Random) -> str:
    return with_extras(r, write_locked_and_wired(r, r.choice([ROOM, 4 * ROOM])))


def _line(r: Random) -> str:
    return with_extras(r, write_line(r))


def _wired_line(r: Random) -> str:
    return with_extras(r, with_releases(r, with_detectors(r, write_line(r))))


def _timed(r: Random) -> str:
    return write_timed(r, sizes=r.choice([ODD, SMALL, SMALL]))


KINDS: Mapping[str, Kind] = {
    "junction": Kind(400, "solver, reference", _junction, check_junction),
    "wired junction": Kind(16, "solver, reference", _wired, test_wired.check),
    "junction with memory": Kind(600, "solver, reference", _memory, check_memory),
    "ring of signals": Kind(600, "logic, reference", write_ring, check_ring),
    "steps": Kind(120, "encoding, reference", _steps, check_steps),
    "steps through wires": Kind(40, "encoding, reference", _wired_steps, check_wired_steps),
    "line": Kind(7, "engines, search over the reference", _line, check_line),
    "wired line": Kind(2, "engines, search over the reference", _wired_line, check_wired_line),
    "wrecks": Kind(2, "engines, search over the reference", _line, check_wrecks),
    "window": Kind(2, "engines, going through the system", _steps, check_window),
    "whole report": Kind(2, "prove, search over the reference", _line, check_report),
    "failure table": Kind(1, "prove, search over the reference", _wired_line, check_table),
    "race": Kind(4, "solver, reference, third program", write_race, check_race),
    "race with a timer": Kind(2, "solver, reference, third program", write_late, check_late),
    "times": Kind(4, "solver, histories in exact time", _timed, check_timed),
}
