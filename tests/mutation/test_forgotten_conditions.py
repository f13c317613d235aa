"""Every condition a safe junction could forget: if forgetting it is dangerous, it is found.

What is dangerous is told by going through every situation, with no solver. Mutants that
are not dangerous are listed: there another condition covers for the one that was dropped,
or it served something else than safety. ``CLEARPROOF_PROFILE=nightly`` tries them all.
"""

import re
from collections.abc import Callable
from pathlib import Path

import pytest

import verifier
from tests.differential.truth import Truth
from tests.junction_files import PATTERN_FILES, SPEC_FILES
from tests.proofs import decided
from tests.sweep import NIGHTLY
from verifier import ProofStore
from verifier.decide.claims import matches
from verifier.engines.proof_store import NO_STORE
from verifier.farm.mutants import Mutant, mutants, without_one
from verifier.logic.expr import FALSE
from verifier.plan.minimality import count_situations
from verifier.plan.model import Plan
from verifier.plan.observables import All, AnyOne, Fact, Not
from verifier.properties.catalog import BY_NAME, obligations
from verifier.world.world import World, check_circles

# Files that are safe to begin with; the others say what is expected to be broken.
SAFE_FILES = [
    path
    for path in (*PATTERN_FILES, *SPEC_FILES)
    if not re.search("^expect ", path.read_text("utf-8"), re.MULTILINE)
]
# In these, every line asks for one thing only.
ONE_CONDITION = {
    "bridged-gap-mended", "broken-wire-mended", "cut-of-cars-mended", "fuse-and-supply-mended",
    "missed-feeder-mended", "no-track-power-mended", "shared-block-mended", "sub-bus-mended",
    "short-train-banned", "short-train-current", "short-train-mended",
    "thin-wire-mended", "two-supplies-isolated", "two-supplies-mended",
}  # fmt: skip
SAFETY = [name for name, entry in BY_NAME.items() if entry.group == "track and signals"]
# In a quick run: so many mutants a file, and files with so many situations.
MOST_MUTANTS, MOST_SITUATIONS = (1000, 20_000) if NIGHTLY else (6, 900)


def asked_of(plan: Plan) -> list[str]:
    """The properties that are about safety, the file's own included."""
    return SAFETY + [proof.title for proof in plan.proofs if proof.mode != "possible"]


def broken_by_solver(plan: Plan, store: ProofStore = NO_STORE) -> set[str]:
    """Keys of the safety obligations that are broken; sooner where the store has proofs of a like
    plan."""
    verdicts = decided(plan, asked_of(plan), store)
    assert not any(v.status == "undecided" for v in verdicts)
    return {v.obligation.key for v in verdicts if v.status == "broken"}


def broken_by_counting(plan: Plan) -> set[str]:
    """The same, from every situation there is. What is waived is left out."""
    wanted, truth = asked_of(plan), Truth(plan)
    return {
        o.key
        for o in obligations(plan, World(plan).lower)
        if o.property in wanted
        and truth.of(o.formula) & truth.allowed
        and not any(matches(waiver, o) for waiver in plan.waivers)
    }


def chosen(plan: Plan) -> list[Mutant]:
    """Mutants spread over the file, those that make a circle left out."""
    every = list(mutants(plan))
    step = max(1, -(-len(every) // MOST_MUTANTS))
    picked = []
    for mutant in every[::step]:
        try:
            check_circles(World(mutant.plan))
        except verifier.InputError:
            continue
        picked.append(mutant)
    return picked


def test_in_all_files_that_are_not_gone_through_there_is_nothing_to_forget() -> None:
    assert {path.stem for path in SAFE_FILES if not chosen(verifier.load(path))} == ONE_CONDITION


@pytest.mark.parametrize(
    "path", [p for p in SAFE_FILES if p.stem not in ONE_CONDITION], ids=lambda p: p.stem
)
def test_a_dangerous_omission_is_found(
    path: Path, record_property: Callable[[str, object], None]
) -> None:
    plan, store = verifier.load(path), ProofStore()
    assert not broken_by_solver(plan, store)
    # Over time not every situation comes about.
    small = not plan.locking.over_time and count_situations(plan.inputs) <= MOST_SITUATIONS
    dangerous: list[str] = []
    harmless: list[str] = []
    picked = chosen(plan)
    for mutant in picked:
        # Where nothing else says what is dangerous, one that is found shows enough by day.
        if dangerous and not (small or NIGHTLY):
            break
        found = broken_by_solver(mutant.plan, store)
        if small:
            assert found == broken_by_counting(mutant.plan), mutant.said
        (dangerous if found else harmless).append(mutant.said)
    how = "against every situation" if small else "too many situations to go through them all"
    record_property("dangerous", dangerous)
    record_property("harmless", harmless)
    print(f"{path.name}: {len(dangerous)} dangerous, {len(harmless)} harmless ({how})")
    for said in harmless:
        print(f"  harmless: {said}")
    assert dangerous, f"nothing that {path.name} could forget is dangerous: {harmless}"


SAFE = """
edge  West-Main, West-Siding, Quarry
block Main, Siding, Switch, Single
turnout T1 in Switch
lever 4 positions left, normal, right
track West-Main   = Main   | normal  T1 | Single = Quarry
track West-Siding = Siding | reverse T1
signal 4L at Single | T1
  heads upper, lower
  Clear             when 4 left and T1 normal and Switch, Main clear
  Diverging-Clear   when 4 left and T1 reverse and Switch, Siding clear
  Stop              otherwise
signal 4RA at Main | T1
  Clear             when 4 right and T1 normal and Switch, Single clear
  Stop              otherwise
signal 4RB at Siding | T1
head 4RB
  green             when 4 right and T1 reverse and Switch, Single clear
  red               otherwise
"""


def test_every_condition_of_an_end_of_siding_is_needed() -> None:
    """By hand: sixteen facts in four lines. Dropping the lever lets two trains meet,
    dropping the points sends one over a switch against it, dropping a block into a train."""
    plan = verifier.load_text(SAFE)
    assert not broken_by_solver(plan)
    every = list(mutants(plan))
    assert len(every) == 16
    found = {m.said.split(": ", 1)[1]: broken_by_solver(m.plan) for m in every}
    assert all(found.values()), [said for said, keys in found.items() if not keys]
    assert found["4RA Clear without `T1 normal`"] >= {
        "converging-proceeds: 4RA, 4RB", "proceed-over-open-points: 4RA, T1",
    }  # fmt: skip
    assert found["4RB green without `Single clear`"] == {"proceed-into-occupied: 4RB, Single"}
    for mutant in every:
        assert broken_by_counting(mutant.plan) == broken_by_solver(mutant.plan), mutant.said


TWO_BOARDS = """
edge West entering only
edge East leaving only
supply Bus-1 12 V
block A, M
track West = A | M = East
signal 2 at A | M
  heads upper, lower
  Clear when M clear and A occupied
  Stop  otherwise
driver B1 drives 2.upper powered by Bus-1
driver B2 drives 2.lower powered by Bus-1
"""
TWO_USES = """
module Block (beyond)
block Near
signal 2 at Near | beyond
  Clear when beyond clear and Near occupied
  Stop  otherwise
end
edge West, East
block A, B
use Block as One with beyond = A
use Block as Two with beyond = B
track West = One.Near | A | Two.Near | B = East
"""


@pytest.mark.parametrize(
    "text, found",
    [
        (TWO_BOARDS, [
            ("2 green over red without `M clear`", {"proceed-into-occupied: 2, M"}),
            ("2 green over red without `A occupied`", set()),
        ]),
        (TWO_USES, [
            ("One.2 Clear, Two.2 Clear without `A clear`, `B clear`",
             {"proceed-into-occupied: One.2, A", "proceed-into-occupied: Two.2, B"}),
            ("One.2 Clear, Two.2 Clear without `One.Near occupied`, `Two.Near occupied`", set()),
        ]),
    ],
    ids=["heads on two boards", "a module used twice"],
)  # fmt: skip
def test_a_line_of_the_file_is_one_line(text: str, found: list[tuple[str, set[str]]]) -> None:
    """What is dropped from a line is gone from every copy of it: no edit drops it from one."""
    plan = verifier.load_text(text)
    before = broken_by_solver(plan)
    every = [(m.said.split(": ", 1)[1], broken_by_solver(m.plan) - before) for m in mutants(plan)]
    assert every == found


def test_what_dropping_makes_of_a_condition() -> None:
    plan = verifier.load_text(
        SAFE.replace("4 left and T1 normal and Switch, Main clear",
                     "not (4 right or Main occupied) and (T1 normal or not Switch clear)")
    )  # fmt: skip
    when = plan.signals["4L"].lines[0].when
    assert when is not None

    def text(condition: object) -> str:
        match condition:
            case Fact(text=words):
                return words
            case Not(part=part):
                return f"not ({text(part)})"
            case All(parts=parts):
                return "(" + " and ".join(map(text, parts)) + ")"
            case AnyOne(parts=parts):
                return "(" + " or ".join(map(text, parts)) + ")"
        raise AssertionError(condition)

    assert [(dropped.text, text(left)) for dropped, left in without_one(when)] == [
        ("4 right", "(not (Main occupied) and (T1 normal or not (Switch clear)))"),
        ("Main occupied", "(not (4 right) and (T1 normal or not (Switch clear)))"),
        ("T1 normal", "(not ((4 right or Main occupied)) and not (Switch clear))"),
        ("Switch clear", "(not ((4 right or Main occupied)) and T1 normal)"),
    ]


def test_a_prover_that_misses_something_would_be_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    """The check itself can fail: logic that forgets a danger disagrees with the count."""
    plan = next(m.plan for m in mutants(verifier.load_text(SAFE)) if "`Single clear`" in m.said)
    assert broken_by_counting(plan) == broken_by_solver(plan) != set()
    counted = broken_by_counting(plan)
    monkeypatch.setattr(World, "expand", lambda self, expr: FALSE)
    assert broken_by_solver(plan) == set() != counted
