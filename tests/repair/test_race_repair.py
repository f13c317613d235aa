"""A race is told as a race: what races, the order that saves it, and the contact that removes it,
each proved."""

from pathlib import Path

import pytest

import verifier
from verifier.plan.locking.locking_model import Building
from verifier.reports.remedies import remedies
from verifier.verdicts.report import Finding

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
