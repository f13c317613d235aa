"""Locks that a finding over time asks for: said to be proved only where they were."""

from collections.abc import Iterable

import pytest

import verifier
from tests.decide.histories import END_OF_SIDING
from tests.junction_files import spec
from tests.proofs import without_repairs
from verifier.engines.stopping import OutOfTime
from verifier.repair import repairs
from verifier.reports.remedies import remedies
from verifier.verdicts.report import Report, Verdict

ON_T1 = "points-move-under-train: T1"
UNDER_4L = "points-move-under-signal: 4L, T1"
AS_BEFORE = "To mend it (proved: it can no longer happen, and routes can be set as before): "


def written_into(lock: str, more: Iterable[tuple[str, str]]) -> str:
    text = END_OF_SIDING.format(lock=lock)
    for old, new in more:
        assert old in text
        text = text.replace(old, new)
    return text


def proved(lock: str, *more: tuple[str, str], timeout: float | None = None) -> Report:
    return verifier.prove(verifier.load_text(written_into(lock, more)), timeout=timeout)


def status(lock: str, key: str, *more: tuple[str, str]) -> str:
    return found(without_repairs(written_into(lock, more)), key).status


def found(report: Report, key: str) -> Verdict:
    return next(v for v in report.verdicts if v.obligation.key == key)


def advice(verdict: Verdict) -> str:
    (remedy,) = remedies(verdict)
    return remedy.lead


@pytest.mark.parametrize(
    ("before", "key", "hint", "after"),
    [
        ("locked while 4L-route up", ON_T1, "add `or Switch occupied` to the line `locked while …` "
         "of T1.", "locked while 4L-route up or Switch occupied"),
        ("locked while Switch occupied", UNDER_4L, "add `or not 4L at stop` to the line `locked "
         "while …` of T1.", "locked while Switch occupied or not 4L at stop"),
        ("motor snap", ON_T1, "write `locked while Switch occupied` under `turnout T1`.",
         "motor snap locked while Switch occupied"),
    ],
)  # fmt: skip
def test_a_lock_that_mends_is_proved_to(before: str, key: str, hint: str, after: str) -> None:
    """And does, once it is written."""
    verdict = found(proved(before), key)
    assert advice(verdict) == AS_BEFORE + hint
    assert status(after, key) == "proved"


def test_a_lock_that_is_not_enough_stays_a_hint() -> None:
    """Points that have begun to move go on as the train comes in."""
    verdict = found(proved(""), ON_T1)
    assert advice(verdict) == "To mend it: write `locked while Switch occupied` under `turnout T1`."
    assert status("locked while Switch occupied", ON_T1) == "broken"


def test_a_lock_that_keeps_a_route_from_being_set_stays_a_hint() -> None:
    """4RA is clear from the start; locked for that, T1 never comes to lie for 4RB any more."""
    clear = (
        ("4RA at Main | T1\n  Stop", "4RA at Main | T1\n  Clear when T1 normal\n  Stop"),
        ("4RB at Siding | T1\n  Stop", "4RB at Siding | T1\n  Clear when T1 reverse\n  Stop"),
    )
    key = "points-move-under-signal: 4RA, T1"
    hint = "write `locked while not 4RA at stop` under `turnout T1`."
    unlocked = proved("motor snap starts normal", *clear)
    assert advice(found(unlocked, key)) == f"To mend it: {hint}"
    assert found(unlocked, "route-never-set: 4RB to Quarry").status == "proved"
    written = "motor snap starts normal locked while not 4RA at stop"
    assert status(written, key, *clear) == "proved"
    assert status(written, "route-never-set: 4RB to Quarry", *clear) == "broken"


def test_without_time_nothing_is_said_to_be_proved() -> None:
    report = proved("locked while 4L-route up", timeout=0.0)
    assert not any(v.finding and v.finding.hint_proved for v in report.verdicts)


def test_a_lock_not_reached_in_time_is_not_said_to_be_proved(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def late(*_: object) -> bool:
        raise OutOfTime

    monkeypatch.setattr(repairs, "is_repaired_by_lock", late)
    assert advice(found(proved("motor snap"), ON_T1)).startswith("To mend it: ")


def test_a_lock_proved_for_one_use_of_a_module_says_so() -> None:
    text = spec("passing-siding-from-one-module").read_text("utf-8")
    file = text.replace("locked while Switch occupied or any of In, Out up\n", "motor snap\n")
    assert file != text
    asked = ["points-move-under-train", "route-never-set"]
    report = verifier.prove(verifier.load_text(file), only=asked)
    verdict = found(report, "points-move-under-train: West.T1")
    proved_so, where = remedies(verdict)
    assert proved_so.lead.startswith("To mend it (proved: ")
    assert where.lead.startswith("This was proved for the use West of module End only.")
