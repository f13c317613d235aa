"""The obligations of a plan are those that the census counts, on every file that there is.

Two derivations that share nothing must come to the same list, formula by formula.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache
from itertools import product
from pathlib import Path
from random import Random

import pytest

import verifier
from tests.benchmarks.stations import station
from tests.census.agreement import differ, made
from tests.differential.junctions import write_junction
from tests.differential.locked import write_locked
from tests.differential.rings import write_ring
from tests.differential.small_lines import write_line
from tests.differential.wirings import write_wired
from tests.junction_files import EXAMPLE_FILES, PATTERN_FILES, ROOT, SPEC_FILES, spec
from tests.sweep import NIGHTLY
from verifier import pipeline
from verifier.census.census import CENSUS, census
from verifier.census.compare import differences, differences_with_faults, told_apart
from verifier.cli import main
from verifier.farm.lines import line, wired_line
from verifier.logic.expr import TRUE, Expr, atom, conjunction, disjunction, holds, negation, support
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.properties.catalog import BY_NAME, FAILURES, obligations
from verifier.properties.failures import harms, points_lie_alike
from verifier.properties.obligation import Obligation

# Layouts with what no other file has two of.
ODD_FILES = sorted((ROOT / "tests" / "census" / "layouts").glob("*.ixl"))
FILES = (*SPEC_FILES, *PATTERN_FILES, *EXAMPLE_FILES, *ODD_FILES)
SEEDS = 2000 if NIGHTLY else 12


@cache
def plan_of(path: Path) -> Plan | None:
    """The plan; None where the file is refused."""
    try:
        return verifier.load(path)
    except verifier.InputError:
        assert path in EXAMPLE_FILES, path
        return None


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_of_every_file_just_that_is_asked(path: Path) -> None:
    plan = plan_of(path)
    if plan is not None:
        assert differ(plan) == ()


def _junction_with_memory(r: Random, room: int) -> str:
    return write_junction(r, room, memory=True)


@pytest.mark.parametrize(
    "write",
    [write_junction, _junction_with_memory, write_locked, write_wired],
    ids=["junctions", "with memory", "locked", "wired"],
)
def test_of_generated_junctions(write: Callable[[Random, int], str]) -> None:
    _check_generated(lambda r: write(r, 20_000))


@pytest.mark.parametrize("write", [write_line, write_ring], ids=["lines", "rings"])
def test_of_generated_lines(write: Callable[[Random], str]) -> None:
    _check_generated(write)


def _check_generated(write: Callable[[Random], str]) -> None:
    checked = 0
    for seed in range(SEEDS):
        text = write(Random(seed))
        try:
            plan = verifier.load_text(text)
        except verifier.InputError:
            continue
        checked += 1
        found = differ(plan)
        assert not found, "\n".join((text, *found))
    assert checked > SEEDS // 2


@pytest.mark.parametrize("text", [line(12), wired_line(6), station(25)])
def test_of_large_layouts(text: str) -> None:
    assert differ(verifier.load_text(text)) == ()


def test_the_census_has_every_property() -> None:
    assert set(CENSUS) == set(BY_NAME)


def test_every_property_is_asked_of_two_subjects_in_one_file() -> None:
    """So that what stops at the first of several is found out."""
    most: Counter[str] = Counter()
    for path in FILES:
        plan = plan_of(path)
        if plan is not None:
            here = Counter(entry.property for entry in census(plan))
            most |= here
    alone = {name for name in CENSUS if most[name] < 2}
    # There is one set of assumptions in a file.
    assert alone == {"assumptions-contradict"}


# ------------------------------------------------------------------ what is told


def _locked() -> tuple[Plan, list[Obligation]]:
    plan = verifier.load(spec("locked-and-wired-end-of-siding"))
    return plan, made(plan)


def test_one_too_few_one_too_many_one_twice() -> None:
    plan, asked = _locked()
    first = asked[0]
    assert differences(plan, asked[1:]) == (f"{first.key}: must be asked, and is not",)
    extra = replace(first, subjects=("4L", "9L"))
    assert differences(plan, [*asked, extra]) == (
        "converging-proceeds: 4L, 9L: is asked, and must not be",
    )
    assert differences(plan, [*asked, first]) == (f"{first.key}: is asked twice",)


@pytest.mark.parametrize("turned", range(0, 190, 9))
def test_an_obligation_that_says_something_else(turned: int) -> None:
    plan, asked = _locked()
    was = asked[turned]
    for now in (
        replace(was, formula=negation(was.formula)),
        replace(was, advice=not was.advice),
        replace(was, over="lossy" if was.over != "lossy" else "histories"),
        replace(was, mode="possible" if was.mode == "never" else "never"),
        replace(was, signals=(*was.signals, "9L")),
    ):
        found = differences(plan, [*asked[:turned], now, *asked[turned + 1 :]])
        assert len(found) == 1 and found[0].startswith(f"{was.key}: "), found


def test_faults_that_move_points_and_what_they_must_not_do() -> None:
    plan, asked = _locked()
    safety = list(harms(plan, [o for o in asked if o.of_situations and o.property not in FAILURES]))
    moving = {
        fault.name: points_lie_alike(fault, plan)
        for fault in plan.equipment.faults if fault.moves_points
    }  # fmt: skip
    assert len(moving) > 1
    assert differences_with_faults(plan, safety, moving) == ()
    assert differences_with_faults(plan, safety[1:], moving) == (
        f"{safety[0].key}: must be asked, and is not",
    )
    first, *_ = moving
    rest = {name: lie for name, lie in moving.items() if name != first}
    assert differences_with_faults(plan, safety, rest) == (
        f"{first}: is said to leave points alone",
    )
    assert differences_with_faults(plan, safety, moving | {"lamp 4L red": TRUE}) == (
        "lamp 4L red: is said to move points",
    )
    assert differences_with_faults(plan, safety, moving | {first: negation(moving[first])}) == (
        f"{first}: points are said to lie as without it otherwise",
    )


THINGS = [observables.points("T1"), observables.stock("A"), observables.gate("G")]


def _random_formula(r: Random, depth: int) -> Expr:
    if not depth or r.random() < 0.2:
        what = r.choice(THINGS)
        return atom(what, *r.sample(what.values, r.randint(1, len(what.values))))
    parts = [_random_formula(r, depth - 1) for _ in range(r.randint(1, 3))]
    made = r.choice((conjunction, disjunction))(*parts)
    return negation(made) if r.random() < 0.3 else made


def _cases(things: Sequence[observables.Observable]) -> list[dict[observables.Observable, str]]:
    return [
        dict(zip(things, states, strict=True)) for states in product(*(t.values for t in things))
    ]


@pytest.mark.parametrize("seed", range(150))
def test_formulas_are_told_apart_just_where_they_differ(seed: int) -> None:
    r = Random(seed)
    one, two = _random_formula(r, 3), _random_formula(r, 3)
    apart = [case for case in _cases(THINGS) if holds(one, case) != holds(two, case)]
    case = told_apart(one, two)
    assert (case is None) == (not apart)
    if case is not None:
        whole = {what: case.get(what, what.usual) for what in THINGS}
        assert holds(one, whole) != holds(two, whole)
        assert set(case) <= {*support(one), *support(two)}


# ------------------------------------------------------------------ in every proof


def _without(property_name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the first obligation of a property be forgotten."""

    def forgetful(plan: Plan, lower: Callable[[observables.Condition], Expr]) -> list[Obligation]:
        asked = list(obligations(plan, lower))
        asked.remove(next(o for o in asked if o.property == property_name))
        return asked

    monkeypatch.setattr(pipeline, "obligations", forgetful)


def test_what_is_forgotten_is_a_bug_of_ours_and_no_verdict(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = str(spec("end-of-siding-mended"))
    assert main(["prove", "--quiet", path]) == 0
    capsys.readouterr()
    _without("proceed-into-occupied", monkeypatch)
    assert main(["prove", "--quiet", path]) == 4
    told = capsys.readouterr()
    assert "proceed-into-occupied: 4L, Switch: must be asked, and is not" in " ".join(
        (told.out + told.err).split()
    )


def test_a_selection_is_compared_by_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    plan = verifier.load(spec("wired-end-of-siding"))
    _without("proceed-into-occupied", monkeypatch)
    assert pipeline.prove(plan, only=["undetected-track", "never-shown"]).verdicts
    with pytest.raises(verifier.InternalError, match="proceed-into-occupied"):
        pipeline.prove(plan, only=["proceed-into-occupied"])
    # What must not come of a fault is lacking it as well.
    with pytest.raises(verifier.InternalError, match="proceed-into-occupied"):
        pipeline.prove(plan, only=["lamp-out"])
