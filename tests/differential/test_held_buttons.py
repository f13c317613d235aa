"""Signals that a held button clears again, on generated panels: the engines on the encoded system
against the explicit-state search over the stepper.

They must agree on each signal and button: whether it clears again behind a train, and how long the
shortest history is that shows it.
"""

from collections import Counter
from functools import partial
from random import Random

import pytest

import verifier
from tests.sweep import NIGHTLY
from verifier.engines.results import Reachable, Unreachable
from verifier.engines.temporal.bmc import search as bounded_search
from verifier.engines.temporal.localization import Windows
from verifier.logic.expr import atom, holds
from verifier.plan.model import Plan
from verifier.reference.explicit_states import Never, Reached, search
from verifier.reference.step import replay
from verifier.world.history import Histories

PANELS, MOST_STEPS = (400, 200_000) if NIGHTLY else (16, 30_000)
HEAD = """
edge West entering only
edge East leaving only
block Near, Far
button B
track West = Near | Far = East
trains never reverse
"""


@pytest.mark.parametrize("first", range(0, PANELS, 8))
def test_engines_agree_with_the_search_on_held_buttons(first: int) -> None:
    """Eight panels at a time, among which both answers come up."""
    answers: Counter[str] = Counter()
    for seed in range(first, first + 8):
        answers.update(agree(verifier.load_text(panel(Random(seed)))))
    assert answers["never"] and answers["reached"], answers


def panel(r: Random) -> str:
    """A signal that asks for a relay, which a button or a repeater of it picks; a second one that a
    train drops or picks, and perhaps a timer, a lever or traffic."""
    pressed = r.choice(["B pressed", "B pressed", "R up", "R down", "R done"])
    repeater = {
        "R up": "relay R picks when B pressed",
        "R down": "relay R picks when not B pressed",
        "R done": "timer R 2 s runs while B pressed",
    }
    free = r.choice(["", " and F up", " and F down"])
    lever = r.choice(["", "", " and 2 reverse"])
    sticks = r.choice(["", "\n  sticks while Far clear", "\n  sticks while Far clear and F up"])
    first = r.choice(["not B pressed and Far clear", "K up and Far occupied", "B pressed"])
    holds_on = r.choice(["Far clear", "B pressed", "K up or Far occupied"])
    also = r.choice(["", "", " and B pressed", " and F down"])
    lines = [
        HEAD,
        "lever 2 positions normal, reverse" if lever else "",
        f"built {r.choice(['of relays', 'as one program'])}",
        repeater.get(pressed, ""),
        f"relay K\n  picks when {pressed}{free}{lever} and Far clear{sticks}",
        f"relay F\n  picks when {first}\n  sticks while {holds_on}" if "F " in free + also + sticks
        else "",
        f"signal 2R at Near | Far\n  Clear when K up and Far clear{also}\n  Stop otherwise",
    ]  # fmt: skip
    return "\n".join(lines) + "\n"


def agree(plan: Plan) -> Counter[str]:
    histories = Histories(plan, held=True)
    events = [event for event in histories.events() if event.kind == "clears again"]
    bads = [atom(event, "yes") for event in events]
    shown = [partial(holds, bad) for bad in bads]
    answers = search(plan, shown, most_steps=MOST_STEPS, held=True, wrecks_stay=False)
    decided = Windows(histories.system, timeout=20).decide([histories.expand(b) for b in bads])
    counts: Counter[str] = Counter()
    for bad, predicate, answer, found in zip(bads, shown, answers, decided, strict=True):
        if isinstance(found.outcome, Reachable):
            assert replay(plan, found.outcome.trace, predicate, held=True, wrecks_stay=False)
            assert not isinstance(answer, Never)
        if isinstance(answer, Reached):
            assert not isinstance(found.outcome, Unreachable)
            length = len(answer.history)
            bounded = bounded_search(histories.system, histories.expand(bad), most=length - 1)
            assert isinstance(bounded, Reachable) and len(bounded.trace) == length
        counts[type(answer).__name__.lower()] += 1
    return counts
