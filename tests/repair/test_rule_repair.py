"""Every mending offered does mend, once it is written into the file."""

from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest

import verifier
from tests.decide.layouts import BROKEN
from tests.decide.written import written
from tests.differential.junctions import write_junction
from tests.junction_files import EXAMPLE_FILES, SPEC_FILES, spec
from tests.proofs import decided, proved
from verifier.decide.memory_invariants import memory_facts
from verifier.engines.results import Exists
from verifier.engines.smt.situations import SituationCheck
from verifier.logic.expr import atom
from verifier.pipeline import prove as decide
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.properties.catalog import obligations
from verifier.repair import rule_repair
from verifier.verdicts.report import Finding, Report, Verdict
from verifier.world.world import World

ROOT = Path(__file__).parents[2]
# In others nothing is broken (tests/specs), so nothing is offered.
FILES = [
    path
    for path in (*SPEC_FILES, *EXAMPLE_FILES)
    if path.suffixes[0] == ".broken" or "expect broken" in path.read_text("utf-8")
]


USEFUL = ("never-shown", "route-never-clears")


def statuses(text: str, wanted: str) -> dict[str, str]:
    """What is decided of one property, and of what signals can still show."""
    verdicts = decided(verifier.load_text(text), {wanted, *USEFUL})
    return {v.obligation.key: v.status for v in verdicts}


def offered(report: Report) -> Iterator[tuple[str, Finding]]:
    for verdict, finding in mended_verdicts(report):
        yield verdict.obligation.key, finding


def mended_verdicts(report: Report) -> Iterator[tuple[Verdict, Finding]]:
    for verdict in report.verdicts:
        if verdict.finding and verdict.finding.mending:
            yield verdict, verdict.finding


def check_mendings(plan: Plan, report: Report) -> int:
    """How many were offered; asserts that each mends, and that the signals it changes can
    still show all they could, on every route."""
    count = 0
    for verdict, finding in mended_verdicts(report):
        key, text = verdict.obligation.key, written(plan, finding.mending)
        mended = statuses(text, verdict.obligation.property)
        assert mended[key] == "proved", f"{key}\n{text}"
        changed = {addition.owner.split(".")[0] for addition in finding.mending}
        for v in report.verdicts:
            kept = v.obligation.property in USEFUL
            if kept and v.status == "proved" and changed & set(v.obligation.signals):
                assert mended[v.obligation.key] == "proved", f"{key}: {v.obligation.key}\n{text}"
        count += 1
    return count


def test_a_mending_that_would_lose_a_route_is_not_offered() -> None:
    """One head for two routes: asking for the points would keep trains from one of them."""
    text = """
        edge West, East, Mill
        block Main, Switch, Single, Spur
        turnout 5 in Switch
        track West = Main | 5 normal | Single = East
        track 5 reverse | Spur = Mill
        signal 2R at Main | 5
          Clear when Switch, Single clear
          Stop otherwise
    """
    plan = verifier.load_text(text)
    report = verifier.prove(plan)
    assert check_mendings(plan, report) >= 1
    conditions = {a.condition for _, found in offered(report) for a in found.mending}
    assert "5 normal" not in conditions


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_on_the_junctions_to_read(path: Path) -> None:
    try:
        report = proved(path)
    except verifier.InputError:
        assert path.name == "assumptions-contradict.broken.ixl"
        return
    check_mendings(report.plan, report)


def test_on_generated_junctions() -> None:
    count = 0
    for seed in range(40):
        text = write_junction(Random(seed), 400)
        try:
            plan = verifier.load_text(text)
            report = verifier.prove(plan)
        except verifier.InputError:
            continue
        # An expectation or waiver would have to change along with the rules.
        count += check_mendings(plan, report)
    assert count >= 20


def test_what_is_offered_for_two_signals_into_each_other() -> None:
    report = verifier.prove(verifier.load_text(BROKEN))
    said = {
        key: [(a.owner, a.shows, a.condition) for a in finding.mending]
        for key, finding in offered(report)
    }
    assert said == {
        "opposing-proceeds: 4L, 4RA": [("4L", "Clear", "4RA at stop")],
        "opposing-proceeds: 4L, 4RB": [("4L", "Diverging-Clear", "4RB at stop")],
    }


def test_what_the_aspect_says_is_mended_first() -> None:
    """Clear is shown into the siding: it is the points that Clear forgot, not the siding."""
    text = BROKEN.replace("T1 normal  and Switch, Main clear", "Switch, Main clear")
    report = verifier.prove(verifier.load_text(text))
    said = {
        key: [(a.owner, a.shows, a.condition) for a in finding.mending]
        for key, finding in offered(report)
    }
    assert said["proceed-into-occupied: 4L, Siding"] == [("4L", "Clear", "T1 normal")]
    assert said["aspect-against-route: 4L"] == [("4L", "Clear", "T1 normal")]


def test_a_derail_that_guards_the_route_is_thought_of() -> None:
    plan = verifier.load(spec("spur-broken"))
    report = verifier.prove(plan)
    said = {
        key: [(a.owner, a.condition) for a in finding.mending] for key, finding in offered(report)
    }
    assert said["derail-not-set: 2R, D1"] == [("2R", "D1 derailing")]


def test_a_condition_that_stands_in_an_or_can_still_be_asked_for() -> None:
    text = BROKEN.replace(
        "T1 normal  and Switch, Main clear",
        "T1 normal and Switch clear and (Main clear or T1 normal)",
    )
    report = verifier.prove(verifier.load_text(text))
    said = {key: [a.condition for a in finding.mending] for key, finding in offered(report)}
    assert said["proceed-into-occupied: 4L, Main"] == ["Main clear"]


def test_a_line_with_or_needs_its_parentheses() -> None:
    text = BROKEN.replace(
        "T1 normal  and Switch, Main clear",
        "T1 normal and Switch, Main clear or T1 moving and Main clear",
    )
    plan = verifier.load_text(text)
    assert check_mendings(plan, verifier.prove(plan)) > 0


def test_no_addition_makes_a_circle() -> None:
    """4RA asks for 4L while cars stand on the siding: 4L cannot ask for 4RA."""
    text = BROKEN.replace(
        "T1 normal  and Switch, Single clear",
        "T1 normal and Switch, Single clear and (4L at stop or Siding clear)",
    )
    plan = verifier.load_text(text)
    report = verifier.prove(plan)
    assert check_mendings(plan, report) > 0
    said = [a for _, finding in offered(report) for a in finding.mending]
    assert ("4L", "4RA at stop") not in [(a.owner, a.condition) for a in said]
    assert ("4RA", "4L at stop") in [(a.owner, a.condition) for a in said]


def test_a_line_is_never_mended_to_death() -> None:
    """4L clears only while a train stands on Main: `Main clear` would keep it at stop."""
    text = BROKEN.replace("T1 normal  and Switch, Main clear", "T1 normal and Main occupied")
    plan = verifier.load_text(text)
    report = verifier.prove(plan)
    check_mendings(plan, report)
    said = {(a.owner, a.condition) for _, finding in offered(report) for a in finding.mending}
    assert ("4L", "Main clear") not in said


def test_only_the_first_findings_are_mended(monkeypatch: pytest.MonkeyPatch) -> None:
    from verifier.repair import repairs

    monkeypatch.setattr(repairs, "MAX_REPAIRS", 1)
    report = verifier.prove(verifier.load_text(BROKEN))
    assert [key for key, _ in offered(report)] == ["opposing-proceeds: 4L, 4RA"]
    monkeypatch.setattr(repairs, "MAX_REPAIRS", 12)
    monkeypatch.setattr(rule_repair, "MAX_ADDITIONS", 0)
    assert not list(offered(verifier.prove(verifier.load_text(BROKEN))))


def test_no_addition_lets_a_circle_come_up_elsewhere() -> None:
    """2 and 3 ask for each other, which does no harm as long as 1 proceeds whenever 2 could
    clear. With `B clear` 1 would be at stop there, and nothing settles 2 and 3 any more."""
    text = """
        edge West, East
        block W, A, B, C
        track West = W | A | B | C = East
        signal 1 at W | A  Clear when A, C clear  Stop otherwise
        signal 2 at C | B  Clear when A, C clear and 3 at stop and 1 at stop  Stop otherwise
        signal 3 at A | W  Clear when W clear and 2 at stop  Stop otherwise
    """
    plan = verifier.load_text(text)
    report = verifier.prove(plan)
    check_mendings(plan, report)
    (into_b,) = (v for v in report.verdicts if v.obligation.key == "proceed-into-occupied: 1, B")
    assert into_b.finding is not None
    assert into_b.finding.mending == ()
    with pytest.raises(verifier.InputError, match="wait for each other"):
        verifier.load_text(text.replace("when A, C clear  Stop", "when A, B, C clear  Stop"))


LATCH = """
edge West-Main, West-Siding, Quarry
block Main, Siding, Switch, Single
button Go
turnout T1 in Switch
track West-Main = Main | normal  T1 | Single = Quarry
track West-Siding = Siding | reverse T1
relay R
  picks when Go pressed and 4L at stop and T1 normal and Switch, Main clear
signal 4L at Single | T1
  Clear when T1 normal and Switch, Main clear
  Clear when R up and T1 normal and Switch, Main clear
  Stop otherwise
signal 4RA at Main | T1
  Clear when T1 normal and Switch, Single clear
  Stop  otherwise
signal 4RB at Siding | T1
  Stop  otherwise
"""


def test_a_mending_is_proved_with_the_memory_of_the_plan_it_makes() -> None:
    """As the rules stand R never picks, since 4L is never at stop when it could. With `4RA at
    stop` added to the first line of 4L it picks, and the second line lets 4L clear again."""
    plan = verifier.load_text(LATCH)
    never_up = atom(observables.relay("R"), "down")
    world = World(plan, memory_facts=(*memory_facts(plan, None), never_up))
    asked = next(o for o in obligations(plan, world.lower) if o.key == "opposing-proceeds: 4L, 4RA")
    found = SituationCheck.of(world).find(world.expand(asked.formula), smallest=True)
    assert isinstance(found, Exists)
    for addition in rule_repair.repair_rules(world, asked, found.situation, None):
        changed = verifier.load_text(written(plan, (addition,)))
        (again,) = [
            v for v in verifier.prove(changed, only=["opposing-proceeds"]).verdicts
            if v.obligation.key == asked.key
        ]  # fmt: skip
        assert again.status == "proved", written(plan, (addition,))


def test_who_does_not_ask_for_mendings_gets_the_same_verdicts() -> None:
    plan = verifier.load_text(BROKEN)
    with_them, without = decide(plan), decide(plan, repairs=False)
    assert [*offered(with_them)] and not [*offered(without)]
    assert [v.status for v in with_them.verdicts] == [v.status for v in without.verdicts]
