"""Promises of the crew: stepper against expressions, and engines against a search through every
state over the reference, on junctions with all kinds of promises."""

from collections import Counter
from functools import partial
from itertools import product
from random import Random

import pytest

import verifier
from tests.differential.steps import any_moments, walk
from tests.differential.test_histories import steps_agree
from tests.junction_files import spec
from verifier.decide.histories import HistoryProver
from verifier.plan.devices import devices
from verifier.plan.locking.crew_rules import stood_before
from verifier.plan.locking.locking_model import Promise
from verifier.properties.catalog import obligations
from verifier.properties.obligation import Obligation
from verifier.reference.explicit_states import Never, Reached, TooLarge, search
from verifier.reference.step import Stepper
from verifier.world.world import World

# Two turnouts with one lever, a slip behind them, derails and a gate.
THROAT = """
edge West, East, Mill
block Main, Throat, Upper, Lower, Yard
lever K positions normal, reverse
button N, R
turnout T1, T3 in Throat
  thrown by K
slip P1 in Yard
  thrown by N, R
derail D1 on Spur toward T3
  thrown by K-derail
lever K-derail positions normal, reverse
gate G1 on Lower
  thrown by hand
derail D2 on Main toward T1
  pipe-connected to T1
track West = Main | T1 normal | Upper | along P1 | East-Block = East
track Mid = Spur | normal T3 | Lower | across P1 | Mill-Block = Mill
track T1 reverse = reverse T3
block East-Block, Mill-Block, Spur
edge Mid
signal 2 at Main | T1
  Clear when T1 normal and Throat, Upper clear
  Approach when T1 reverse and T3 normal and Throat, Lower clear
  Restricting when T1 reverse
  Stop otherwise
signal 4 at East-Block | P1
  Clear when P1 normal and Yard, Upper clear
  Restricting when P1 reverse
  Stop otherwise
signal 6 at Mill-Block | P1
  Clear when Yard clear
  Stop otherwise
signal 8 at Spur | T3
  Clear when Throat clear
  Stop otherwise
trains need 8 s to stop
trains start on Upper, Spur
"""
PROMISES = """
crew promises not to throw points under a train
crew promises not to throw points ahead of a train
crew promises not to throw points under clear signals
crew promises not to throw points before a train can stop
crew promises not to throw D1, G1 under a train
crew promises not to throw D1, G1 under clear signals
crew promises not to throw D1, G1 ahead of a train
crew promises not to throw D1, G1 before a train can stop
crew promises one train at a time on Lower, Throat
crew promises one direction at a time on Upper, Yard
crew promises not to reverse on Main, Spur
"""


@pytest.mark.parametrize("seed", range(8))
def test_every_kind_of_promise_is_the_same_in_both_semantics(seed: int) -> None:
    steps_agree(verifier.load_text(THROAT + PROMISES), Random(seed), lossy=seed % 2 == 0)


@pytest.mark.parametrize("seed", range(4))
def test_a_train_before_a_derail_is_the_same_in_both_semantics(seed: int) -> None:
    """One that comes off a spur with no signal to go by."""
    text = spec("spur-mended").read_text("utf-8")
    plan = verifier.load_text(text + "crew promises not to throw D1 ahead of a train\n")
    assert stood_before(devices(plan)["D1"], plan)
    steps_agree(plan, Random(seed), lossy=seed % 2 == 0)
    stepper = Stepper(plan)
    moments = any_moments(stepper, 300, Random(seed))
    assert any(stepper.step(moment).broken for moment in moments)


def test_chance_breaks_every_kind_of_promise() -> None:
    """Otherwise that both agree would say little."""
    broken: Counter[str] = Counter()
    stepper, r = Stepper(verifier.load_text(THROAT + PROMISES)), Random(5)
    steps = [stepper.step(moment) for moment in any_moments(stepper, 400, r)]
    for _ in range(30):
        steps += walk(stepper, 12, r)[1]
    for step in steps:
        broken.update(p.rule for p in step.broken if isinstance(p, Promise))
    kept = sum(not step.broken for step in steps)
    assert len(broken) == 7 and all(broken.values()) and kept, broken


def test_a_promise_can_always_be_kept() -> None:
    """In any state, people who throw nothing and let no train go on keep every promise."""
    stepper, r = Stepper(verifier.load_text(THROAT + PROMISES)), Random(7)
    levers = [w for w in stepper.choices if w.kind == "lever"]
    for moment in any_moments(stepper, 300, r):
        quiet = {w: w.usual for w in stepper.choices}
        ways = [
            stepper.step({**moment, **quiet, **dict(zip(levers, at, strict=True))})
            for at in product(*(w.values for w in levers))
        ]
        assert any(not step.broken for step in ways)


# ------------------------------------------------------------------ engines

SMALL = """
edge West, East
block Main, Switch, Single
bumper End
turnout T1 in Switch
  thrown by {by}
  motor snap
track West = Main | normal T1 | Single = East
track End = Spur | reverse T1
block Spur
{panel}
signal 2 at Main | T1
  Clear when T1 normal and Switch, Single clear
  Stop otherwise
signal 4 at Single | T1
  Clear when T1 normal and Switch, Main clear
  Stop otherwise
trains never reverse
"""
PANELS = {"hand": "", "Lever": "lever Lever positions normal, reverse", "N, R": "button N, R"}
EACH = (
    "not to throw T1 under a train",
    "not to throw T1 under clear signals",
    "one train at a time on Main, Switch, Single",
    "one direction at a time on Main, Switch, Single",
)

# By what the points are thrown, and which promises are made.
CASES = [("hand", 1), ("hand", 3), ("hand", 7), ("Lever", 2), ("Lever", 7), ("N, R", 7)]


@pytest.mark.parametrize(("by", "which"), CASES)
def test_engines_agree_with_a_search_through_every_state(by: str, which: int) -> None:
    """Of each set of promises that does not say one thing twice."""
    chosen = [EACH[k] for k in (0, 1) if which & (1 << k)]
    chosen += [EACH[2 + by.count(",")]] if which & 4 else []
    text = SMALL.format(by=by, panel=PANELS[by])
    plan = verifier.load_text(text + "".join(f"crew promises {p}\n" for p in chosen))
    asked = [o for o in obligations(plan, World(plan).lower) if is_asked(o)]
    found = search(plan, [partial(Obligation.holds_in, o) for o in asked], most_steps=300_000)
    verdicts = HistoryProver(plan, None, lambda: None).decide(asked)
    assert not any(isinstance(answer, TooLarge) for answer in found)
    for obligation, answer in zip(asked, found, strict=True):
        wanted = {Never: "proved", Reached: "broken"}[type(answer)]
        assert verdicts[obligation.key].status == wanted, obligation.key


def is_asked(obligation: Obligation) -> bool:
    return obligation.over == "histories" and obligation.mode == "never"


def test_the_promises_that_a_proof_uses_are_named() -> None:
    text = SMALL.format(by="hand", panel="")
    text += "".join(f"crew promises {p}\n" for p in (EACH[0], EACH[1], EACH[3]))
    report = verifier.prove(verifier.load_text(text), only=["points-move-under-train"])
    (verdict,) = report.verdicts
    assert verdict.status == "proved"
    assert verdict.rests_on == (
        "your crew promises not to throw T1 under a train",
        "your crew promises not to throw T1 under clear signals",
    )
