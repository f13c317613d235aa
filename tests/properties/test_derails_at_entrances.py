"""A derail guards a way into interlocking limits only where it keeps stock out."""

import pytest

import verifier

SPUR = """
edge West
edge East leaving only
bumper Mill
block Near, Switch, Far, Spur
turnout T1 in Switch
{derail}
track West = Near | T1 normal  | Far  = East
track               T1 reverse | Spur = Mill
{limits}
signal 2R at Near | T1
  heads upper, lower
  Clear               when T1 normal and Switch, Far clear
  Diverging-Approach  when T1 reverse and Switch, Spur clear
  Stop                otherwise
"""


def entrances(derail: str, limits: str) -> dict[tuple[str, ...], str]:
    plan = verifier.load_text(SPUR.format(derail=derail, limits=limits))
    report = verifier.prove(plan, only=["unsignaled-entrance"])
    return {v.obligation.subjects: v.status for v in report.verdicts}


@pytest.mark.parametrize(
    ("limits", "name"), [("", "T1"), ("interlocking limits Mill-Switch is 2R", "Mill-Switch")]
)
def test_only_a_derail_toward_the_switch_guards_the_spur(limits: str, name: str) -> None:
    signaled = {(name, "2R"): "proved"}
    open_way = signaled | {(name, "Mill"): "broken"}
    assert entrances("", limits) == open_way
    assert entrances("derail D1 on Spur toward Mill", limits) == open_way
    assert entrances("derail D1 on Spur toward T1", limits) == signaled | {(name, "Mill"): "proved"}


TWO_WAYS = """
edge West
edge East leaving only
block Way, Upper, Lower, Throat, Out
turnout Join in Throat
turnout Fork in Way
derail D on {derail} toward Join
track West = Fork normal  | Upper | normal Join  | Out = East
track        Fork reverse | Lower | reverse Join
signal 4L at {signal}
  Stop otherwise
"""


@pytest.mark.parametrize(
    ("derail", "signal"),
    [("Upper", "Join reverse | Lower"), ("Lower", "Join normal | Upper")],
)
def test_a_derail_on_one_way_in_guards_no_other(derail: str, signal: str) -> None:
    """Both ways to the switch come from one end of the plan. Each limits have a name of their own,
    also where a derail lets trains out of them into others."""
    plan = verifier.load_text(TWO_WAYS.format(derail=derail, signal=signal))
    report = verifier.prove(plan, only=["unsignaled-entrance"])
    found = [(v.obligation.subjects, v.status) for v in report.verdicts]
    assert found == [(("Join", "West"), "broken"), (("Fork", "West"), "broken")]
