"""The evaluator: reports, lines, colors and aspects of small layouts worked out by hand."""

import pytest

import verifier
from tests.differential.junctions import built
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import UNLISTED, Observable
from verifier.plan.situation import Situation
from verifier.reference import evaluator as evaluating
from verifier.reference.evaluator import Evaluator, TooManyWays, Unsettled

JUNCTION = """
aspect Grade red over white stop and proceed
aspect Limited flashing yellow over red proceed prepared to stop at second signal
edge West, North, East
block W, N, Switch, E
turnout T1 in Switch
derail D1 on N toward T1
gate G1 on E
lever L1 positions left, normal, right
button Call
track West = W | normal T1 | E = East
track North = N | reverse T1
condition Lined is T1 normal and D1 derailing
condition Ready is Lined and not any of Switch, W occupied
signal 2L at E | T1 heads up, low
  Clear when Ready and L1 left
  Limited when Ready or Call pressed
  Diverging-Clear when T1 reverse and D1 non-derailing and N clear
  Grade when T1 moving
  Stop otherwise
signal 2RA at W | T1
  Clear when G1 seated and 2L at stop and E clear
  Stop otherwise
signal 2RB at N | T1
head 2RB
  lunar when 2L.up red and not 2RA green
  dark when 2L shows Limited
  red otherwise
"""


def plan() -> Plan:
    return verifier.load_text(JUNCTION)


def situation(plan: Plan, **states: str) -> Situation:
    by_name = {what.name: what for what in plan.inputs}
    return Situation.of((by_name[name], state) for name, state in states.items())


def test_everything_as_usual() -> None:
    p = plan()
    seen = verifier.evaluate(p, situation(p))
    assert seen.state(observables.block_report("W")) == "clear"
    assert seen.state(observables.points_report("T1")) == "normal"
    assert seen.state(observables.derail_report("D1")) == "derailing"
    assert seen.state(observables.gate_report("G1")) == "seated"
    assert seen.state(observables.condition("Lined")) == "true"
    assert seen.state(observables.condition("Ready")) == "true"
    assert seen.state(observables.line("2L", 1)) == "acts"
    assert seen.state(observables.line("2L", 0)) == "idle"
    assert seen.aspect(p.signals["2L"]) == "Limited"
    assert seen.colors(p.signals["2L"]) == ("flashing yellow", "red")
    assert seen.aspect(p.signals["2RA"]) == "Stop"
    assert seen.colors(p.signals["2RB"]) == ("dark",)
    assert seen.aspect(p.signals["2RB"]) == UNLISTED


@pytest.mark.parametrize(
    ("states", "aspects"),
    [
        ({"L1": "left"}, ("Clear", "Stop", "Stop")),
        ({"W": "occupied"}, ("Stop", "Clear", "Stop")),
        ({"W": "occupied", "E": "occupied"}, ("Stop", "Stop", "Restricting")),
        ({"W": "occupied", "Call": "pressed"}, ("Limited", "Stop", UNLISTED)),
        ({"T1": "open"}, ("Grade", "Clear", "Stop")),
        ({"T1": "open", "G1": "open"}, ("Grade", "Stop", "Restricting")),
        ({"T1": "reverse", "D1": "non-derailing"}, ("Diverging-Clear", "Stop", "Restricting")),
        ({"T1": "reverse", "D1": "open"}, ("Stop", "Clear", "Stop")),
    ],
)
def test_aspects_read(states: dict[str, str], aspects: tuple[str, ...]) -> None:
    p = plan()
    seen = verifier.evaluate(p, situation(p, **states))
    assert tuple(seen.aspect(s) for s in p.signals.values()) == aspects


def test_stop_and_proceed_counts_as_at_stop() -> None:
    """`2L at stop` holds while it shows Grade: a train has to stop at it."""
    p = plan()
    seen = verifier.evaluate(p, situation(p, T1="open"))
    assert seen.aspect(p.signals["2L"]) == "Grade"
    assert seen.aspect(p.signals["2RA"]) == "Clear"


RING = """
block A, B
track A |(g1) B |(g2) A
signal 1E at A |(g1) B  Clear when B clear and 2E at stop  Stop otherwise
signal 2E at B |(g2) A  Clear when A clear and 1E at stop  Stop otherwise
"""


def test_a_circle_is_unsettled_only_where_it_matters() -> None:
    p = built(RING)
    evaluator = Evaluator(p)
    with pytest.raises(Unsettled) as caught:
        evaluator.see(situation(p))
    assert not isinstance(caught.value, TooManyWays)
    with pytest.raises(Unsettled):
        evaluator.states(situation(p), [p.signals["1E"].aspect])
    seen = evaluator.see(situation(p, A="occupied"))
    assert [seen.aspect(s) for s in p.signals.values()] == ["Clear", "Stop"]


def _asked(plan: Plan) -> list[Observable]:
    return [signal.aspect for signal in plan.signals.values()]


def test_where_there_are_too_many_ways_it_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """The rules do settle it, but not within the limit: that is no verdict on the rules."""
    p = verifier.load_text(
        RING.replace("2E at stop", "(2E at stop or 2E proceeds)").replace("1E at stop", "1E green")
    )
    assert Evaluator(p).states(situation(p), _asked(p)) == {
        s.aspect: "Clear" for s in p.signals.values()
    }
    monkeypatch.setattr(evaluating, "MAX_WAYS", 1)
    with pytest.raises(TooManyWays):
        Evaluator(p).see(situation(p))


def test_named_conditions_by_the_thousand() -> None:
    chain = ["condition C0 is B clear"]
    chain += [f"condition C{i} is C{i - 1} and (A clear or C{i - 1})" for i in range(1, 3000)]
    text = RING.replace("2E at stop", "C2999").replace("1E at stop", "not C2998")
    p = verifier.load_text("\n".join([text, *chain]))
    evaluator = Evaluator(p)
    seen = evaluator.see(situation(p))
    assert [seen.aspect(s) for s in p.signals.values()] == ["Clear", "Stop"]
    wanted = [observables.condition("C2999"), observables.condition("C5"), p.signals["1E"].aspect]
    assert evaluator.states(situation(p), wanted) == {
        wanted[0]: "true", wanted[1]: "true", wanted[2]: "Clear",
    }  # fmt: skip
    assert evaluator.allows(situation(p), p.conditions["C2999"].condition)
    assert not evaluator.allows(situation(p, B="occupied"), p.conditions["C2999"].condition)
