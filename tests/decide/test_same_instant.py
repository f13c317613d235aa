"""What moves in the very instant in which a train comes onto it, be it points, a derail or a gate;
and that trains which derail there stay. Common practice, no source."""

import pytest

from tests.proofs import without_repairs
from verifier.reference.explicit_states import Never, Reached, search
from verifier.verdicts.report import Report

# The neighbor lets a train in while the gate is seated; nothing holds it while the train comes.
AT_EDGE = """
edge West entering when {ready}
edge East leaving only
block B, C
lever L positions normal, reverse
button Set
gate X on B
  thrown by L
  locked while B occupied{held} {motor}
relay Held
  picks when Set pressed and X seated and B clear
  sticks while B clear
track West = B | C = East
signal 2 at B | C
  Clear when C clear
  Stop otherwise
"""
READY, HELD = "Held up and X seated and B clear", " or Held up"
TRAILED = """
edge West entering when T normal and S clear
edge Yard entering only
edge East leaving only
block S, B, C
lever L positions normal, reverse
turnout T in S
  thrown by L
  motor snap
  locked while S occupied
track West = normal T | C = East
track Yard = B | reverse T
signal 2 at B | T
  Stop otherwise
trains never reverse
"""


def broken(report: Report) -> set[str]:
    assert not any(v.status == "undecided" for v in report.verdicts)
    return {v.obligation.key for v in report.verdicts if v.status == "broken"}


@pytest.mark.parametrize("motor", ["", "motor snap"])
def test_a_gate_that_opens_as_a_train_comes_in_derails_it(motor: str) -> None:
    text = AT_EDGE.format(ready="X seated and B clear", held="", motor=motor)
    report = without_repairs(text)
    assert "derailment: X" in broken(report)
    (asked,) = [v.obligation for v in report.verdicts if v.obligation.key == "derailment: X"]
    (found,) = search(report.plan, [asked.holds_in], most_steps=20_000)
    assert isinstance(found, Reached)


def test_what_holds_the_gate_before_the_train_comes_prevents_it() -> None:
    report = without_repairs(AT_EDGE.format(ready=READY, held=HELD, motor=""))
    assert "derailment: X" not in broken(report)
    (asked,) = [v.obligation for v in report.verdicts if v.obligation.key == "derailment: X"]
    (found,) = search(report.plan, [asked.holds_in], most_steps=40_000)
    assert isinstance(found, Never)


def test_points_that_snap_as_a_train_trails_them_derail_it() -> None:
    assert "derailment: T" in broken(without_repairs(TRAILED))


# Each train that the signal lets in derails, and stays there.
WRECKED = """
edge West entering only
edge East leaving only
block A, B, C
lever L positions normal, reverse
{device}
  thrown by L
  locked while B occupied
track West = A | B | C = East
signal 2 at A | B
  Clear when {against} and B clear
  Stop otherwise
prove "no train gets beyond" never train on C and B vacant
"""


def test_a_train_that_derails_at_a_gate_stays_there() -> None:
    text = WRECKED.format(device="gate X on B", against="X open")
    report = without_repairs(text)
    assert "derailment: X" in broken(report)
    assert not any("no train gets beyond" in key for key in broken(report))


def test_nothing_is_left_undecided_after_a_train_derails_at_a_derail() -> None:
    text = WRECKED.format(device="derail X on B toward C", against="X derailing")
    assert "derailment: X" in broken(without_repairs(text))


UNSEEN = """
edge West entering only
edge East leaving only
block A, B, C
lever L positions normal, reverse
button N, R
{device}
  {thrown}
track West = A | B | C = East
signal 2 at A | B
  Clear when {good} and B, C clear
  Stop otherwise
"""
LOCK = "locked while B occupied or not 2 at stop"
THROWN = [
    LOCK,
    f"thrown by hand {LOCK}",
    f"thrown by L {LOCK}",
    f"thrown by N, R {LOCK}",
    "thrown by hand electric lock released when B clear and 2 at stop",
]


@pytest.mark.parametrize("thrown", THROWN)
@pytest.mark.parametrize(
    ("device", "good"),
    [("gate X on B", "X seated"), ("derail X on B toward C", "X non-derailing")],
)
def test_dirty_rail_is_asked_about_of_whatever_is_locked(
    device: str, good: str, thrown: str
) -> None:
    """49 CFR 236.309."""
    report = without_repairs(UNSEEN.format(device=device, good=good, thrown=thrown))
    noted = broken(report)
    assert "loss-of-shunt: X" in noted
    assert "derailment: X" not in noted
