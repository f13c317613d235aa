"""A race is told as a race: what races, the order that saves it, and the contact that removes it,
each proved."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

import verifier
from tests.differential import test_races as races
from tests.junction_files import spec
from verifier.decide.fault_histories import FaultHistories
from verifier.decide.histories import HistoryProver
from verifier.engines.proof_store import NO_STORE
from verifier.plan.locking.locking_model import Building
from verifier.plan.model import Plan
from verifier.properties.catalog import obligations
from verifier.properties.obligation import Obligation
from verifier.repair.race_repair import RaceRepairer, _races
from verifier.reports.remedies import remedies
from verifier.verdicts.report import Finding, Verdict
from verifier.world.world import World

RACE = Path("specs/locking/relay-race-broken.ixl")


@pytest.fixture(scope="module")
def text() -> str:
    return RACE.read_text("utf-8").replace("expect broken opposing-proceeds", "")


def finding_of(text: str) -> Finding:
    report = verifier.prove(verifier.load_text(text))
    found = next(v for v in report.verdicts if v.fails)
    assert found.finding is not None
    return found.finding


def test_the_contact_that_removes_a_race(text: str) -> None:
    """The addition, written as the report says it, makes the file safe in operation."""
    finding = finding_of(text)
    assert finding.race is not None
    assert {finding.race.waits, finding.race.other} == {"4L-route", "4R-route"}
    assert set(finding.race.orders) == {("4L-route", "4R-route"), ("4R-route", "4L-route")}
    (addition,) = finding.mending
    assert addition.shows == "picks"
    name = addition.owner.removeprefix("relay ")
    start = text.index("picks when", text.index(f"relay {name}"))
    end = text.index("\n", start)
    mended = f"{text[:end]} and {addition.condition}{text[end:]}"
    assert all(v.status == "proved" or v.obligation.advice for v in
               verifier.prove(verifier.load_text(mended)).verdicts)  # fmt: skip


def test_a_race_in_words(text: str) -> None:
    report = verifier.prove(verifier.load_text(text))
    found = next(v for v in report.verdicts if v.fails)
    first, second, *_ = remedies(found)
    assert first.lead.startswith("This is a race: 4L-route and 4R-route act in the same instant")
    assert second.lead.startswith("To mend it (proved")
    assert all("built as one program" not in step.text for step in second.steps)


def test_one_program_has_no_race(text: str) -> None:
    program = text.replace("built of relays", "built as one program")
    report = verifier.prove(verifier.load_text(program))
    assert not any(v.fails for v in report.verdicts)


def test_an_order_fixes_who_sees_whom() -> None:
    building = Building(orders=(("A", "B"),))
    assert building.fixed("B", "A") is True
    assert building.fixed("A", "B") is False
    assert building.fixed("A", "C") is None


# ------------------------------------------------------------------ several races

HEAD = f"{races.HEAD}built of relays\n"
# Two pairs that race, and one proof of both.
TWO = (
    HEAD
    + """\
button A-set, B-set, C-set, D-set
relay A picks when A-set pressed and B down
relay B picks when B-set pressed and A down
relay C picks when C-set pressed and D down
relay D picks when D-set pressed and C down
prove "asked" never (A up and B up) or (C up and D up)
"""
)
# Each asks for the next one only.
CIRCLE = (
    HEAD
    + """\
button Go
relay A picks when Go pressed and B down
relay B picks when Go pressed and C down
relay C picks when Go pressed and A down
prove "asked" never (A up and B up) or (B up and C up) or (C up and A up)
"""
)
# Each asks for both others, and has a button of its own.
NO_CIRCLE = (
    HEAD
    + """\
button A-set, B-set, C-set
relay A picks when A-set pressed and not B-set pressed and not C-set pressed and B, C down
relay B picks when B-set pressed and not C-set pressed and not A-set pressed and C, A down
relay C picks when C-set pressed and not A-set pressed and not B-set pressed and A, B down
prove "asked" never (A up and B up) or (B up and C up) or (C up and A up)
"""
)
# Not for a race: A stays up, and B does not ask for A.
NONE = TWO.replace("B-set pressed and A down", "B-set pressed").replace(
    "A-set pressed and B down", "A-set pressed and B down sticks while A up"
)


def verdict_of(plan: Plan) -> Verdict:
    (asked,) = (o for o in obligations(plan, World(plan).lower) if o.property == "asked")
    (verdict,) = HistoryProver(plan, 20.0, lambda: None).decide([asked]).values()
    return verdict


def repaired(text: str) -> Verdict:
    def whole(tried: Plan) -> frozenset[str]:
        verdict = verdict_of(tried)
        return frozenset({verdict.obligation.key} if verdict.status == "proved" else ())

    plan = verifier.load_text(text)
    verdict = verdict_of(plan)
    obligation: Obligation = verdict.obligation
    assert verdict.finding is not None
    repairer = RaceRepairer(plan, [obligation], 20.0, whole)
    return replace(verdict, finding=repairer.repaired(obligation, verdict.finding))


def test_two_races_that_lead_to_one_break() -> None:
    """No order of two saves it; the two orders together do, and so does a contact for each."""
    verdict = repaired(TWO)
    assert verdict.finding is not None and verdict.finding.race is None
    tangle = verdict.finding.tangle
    assert tangle is not None
    assert {frozenset(order) for order in tangle.orders} == {frozenset("AB"), frozenset("CD")}
    lead, cure = remedies(verdict)
    assert "no order of two of them saves it" in lead.lead and "No contact" not in lead.lead
    assert cure.lead.startswith("To mend it, all of these together (proved")
    assert len(cure.steps) == 2
    mended = TWO
    for addition in verdict.finding.mending:
        start = mended.index(f"{addition.owner} picks when")
        end = mended.index("\n", start)
        mended = f"{mended[:end]} and {addition.condition}{mended[end:]}"
    assert verdict_of(verifier.load_text(mended)).status == "proved"


def test_a_circle_has_no_order() -> None:
    verdict = repaired(CIRCLE)
    assert verdict.finding is not None and verdict.finding.race is None
    tangle = verdict.finding.tangle
    assert tangle is not None and not tangle.orders and set(tangle.circle) == {"A", "B", "C"}
    (remedy,) = remedies(verdict)
    assert remedy.lead.startswith("This is a race in a circle")
    assert "No order in which they act saves it" in remedy.lead
    assert "No contact and no slow relay that was tried mends it" in remedy.lead
    assert verdict_of(verifier.load_text(NO_CIRCLE)).status == "proved"


def test_what_no_order_changes_is_no_race() -> None:
    verdict = repaired(NONE)
    assert verdict.finding is not None
    assert verdict.finding.race is None and verdict.finding.tangle is None


def test_no_order_is_told_of_what_a_fault_does() -> None:
    """Nothing is asked with the fault present, so no order may be said to save anything."""
    plan = verifier.load(spec("relays-without-power-broken"))
    (fault,) = (f for f in plan.equipment.faults if f.name == "power wire of the relays")
    all_asked = tuple(obligations(plan, World(plan).lower))
    moving = [o for o in all_asked if o.property == "points-move-under-train"]
    ((_, verdict),) = FaultHistories(plan, None, moving, lambda: None, NO_STORE).verdicts([fault])
    (broken,) = (o for o in all_asked if o.subjects == (fault.name,))
    finding = verdict.finding
    assert finding is not None and finding.story is not None and any(_races(plan, finding.story))
    repairer = RaceRepairer(plan, [broken], None, lambda _: frozenset())
    assert repairer.repaired(broken, finding) == finding


# Each relay asks for a direction of traffic, which the same lever may turn as it picks.
TRAFFIC = """
edge West, East
block A, B, C
track West = A | B | C = East
lever L positions left, right
button S2, S4
traffic Way on B
  rightward when L right
  leftward when L left
  locked while B occupied or any of R2, R4 up
relay R2 picks when S2 pressed and Way rightward and B clear sticks while B clear
relay R4 picks when S4 pressed and Way leftward and B clear sticks while B clear
signal 2 at A | B
  Clear  when R2 up and B, C clear
  Stop   otherwise
signal 4 at C | B
  Clear  when R4 up and B, A clear
  Stop   otherwise
built of relays
"""


def test_a_direction_of_traffic_that_turns_as_a_relay_picks() -> None:
    report = verifier.prove(verifier.load_text(TRAFFIC), only=["opposing-proceeds"])
    (verdict,) = report.verdicts
    assert verdict.finding is not None and verdict.finding.story is not None
    said = [event.text for event in verdict.finding.story.events]
    assert "relay R2 picks while it sees Way still rightward" in said
    assert any(text.startswith("the direction of traffic Way turns leftward") for text in said)
    assert {(m.owner, m.condition) for m in verdict.finding.mending} == {
        ("relay R2", "not L left"),
        ("relay R4", "not L right"),
    }  # fmt: skip


def ring(size: int) -> str:
    """So many relays in a circle, each of which needs the next one to be down: it never settles."""
    names = [f"R{number}" for number in range(size)]
    after = dict(zip(names, [*names[1:], names[0]], strict=True))
    relays = "".join(f"relay {n} picks when Go pressed and {after[n]} down\n" for n in names)
    return (
        "edge West, East\nblock A, B\nbutton Go\ntrack West = A | B = East\n"
        f"{relays}signal 2 at A | B\n  Clear when B clear\n  Stop otherwise\n"
        f'prove "asked" never all of {", ".join(names)} up\n'
    )


@pytest.mark.parametrize("size", [3, 4, 5])
def test_a_race_that_never_settles_has_its_history_and_its_orders(size: int) -> None:
    found = repaired(ring(size)).finding
    assert found is not None and found.story is not None and found.tangle is not None
    orders = found.tangle.orders
    # One after the other along the circle, from the last of them.
    assert len(orders) == size - 1 and not found.tangle.circle
    assert all(one[1] == two[0] for one, two in pairwise(orders))
