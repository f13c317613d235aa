"""Wired track of the Otter Valley (an invented railroad) for the checks against published
sources: small files as text, and what a report says of each single thing broken.

Input: the clauses in which an unsafe and a safe file differ. Output: junction text.
"""

from collections.abc import Mapping

import verifier
from tests.published.junctions import verdict
from verifier import Report, Situation
from verifier.plan.model import Plan
from verifier.reference.evaluator import Seen

STATION_CLEAR = "Clear when Station clear"


def station(
    detector: str,
    *,
    feeders: str = "m1, m2",
    district: str = "",
    driver: str = "powered by Bus-1",
    rule: str = STATION_CLEAR,
    more: str = "",
) -> str:
    """A signal before one block, which has one detector. ``detector``: what it is and what
    stands below it."""
    return f"""
    edge West entering only
    edge East leaving only
    supply Bus-1 12 V 5 A fuse 2 A
    block Approach
    block Station 3600 mm {"in " + district if district else ""}
      {"feeders " + feeders if feeders else ""}
    track West = Approach | Station = East
    detector D-Station {detector}
    signal 2R at Approach | Station
      {rule}
      Stop otherwise
    driver B1 drives 2R
      {driver}
    {more}
    """


def facing(
    turnout: str = "",
    *,
    driver: str = "when lamp out shows red",
    rules: str = "",
    more: str = "",
) -> str:
    """A signal of two heads before facing points. ``turnout``: what stands below the turnout,
    how it is moved and how it tells where it lies."""
    both_ways = """Clear when T1 normal and Switch, Main clear
      Diverging-Clear when T1 reverse and Switch, Siding clear"""
    return f"""
    edge West entering only
    edge East, Siding-Out leaving only
    supply Bus-1 12 V 5 A fuse 2 A
    block Approach, Switch, Main, Siding
    turnout T1 in Switch
      {turnout}
    track West = Approach | T1 normal | Main = East
    track T1 reverse | Siding = Siding-Out
    signal 2R at Approach | T1
      heads upper, lower
      {rules or both_ways}
      Stop otherwise
    driver B1 drives 2R.upper, 2R.lower
      powered by Bus-1
      {driver}
    {more}
    """


# ------------------------------------------------------------------ what comes out


def prove(text: str) -> Report:
    return verifier.prove(verifier.load_text(text))


def consequences(report: Report) -> dict[str, str]:
    """What each single fault does at worst, by its name. Advice is left out."""
    return {
        row.faults[0]: row.consequence
        for row in report.failures
        if len(row.faults) == 1 and row.kind != "report-stuck"
    }


def assert_nothing_false(report: Report) -> None:
    """Everything but advice is proved, and no single fault makes a false proceed."""
    left = [(v.status, v.obligation.key) for v in report.verdicts
            if v.status != "proved" and not v.obligation.advice]  # fmt: skip
    assert left == []
    assert report.exit_code == 0
    assert set(consequences(report).values()) <= {"none", "more restrictive"}


def assert_shown(
    report: Report, key: str, facts: Mapping[str, str], shows: Mapping[str, str]
) -> None:
    """``key`` is broken; the smallest situation is ``facts`` (all else as usual), in which the
    signals are taken for what ``shows`` says. Worked out by the evaluator."""
    found = verdict(report, key)
    assert found.status == "broken" and found.fails, key
    finding = found.finding
    assert finding is not None and finding.smallest
    assert {what.name: state for what, state in finding.situation} == dict(facts)
    assert taken_for(report.plan, finding.situation, *shows) == dict(shows)


def situation(plan: Plan, facts: Mapping[str, str]) -> Situation:
    """A situation by the names of things, broken ones included; all else as usual."""
    known = {what.name: what for what in plan.inputs}
    known |= {fault.name: fault.what for fault in plan.equipment.faults}
    return Situation.of((known[name], state) for name, state in facts.items())


def sees(plan: Plan, where: Mapping[str, str]) -> Seen:
    """Everything that the evaluator makes of a situation."""
    return verifier.evaluate(plan, situation(plan, where))


def taken_for(plan: Plan, where: Situation, *signals: str) -> dict[str, str]:
    """The aspects that signals are taken for in a situation, by the evaluator."""
    seen = verifier.evaluate(plan, where)
    return {name: seen.aspect(plan.signals[name]) for name in signals}
