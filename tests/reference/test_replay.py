"""Whether a trace is a history of the plan, and ends as it is said to."""

import pytest

import verifier
from tests.reference.running import (
    A_B,
    Course,
    line,
)
from verifier.plan import observables
from verifier.reference.step import Valuation, replay

MEET, STOCK = observables.event("trains meet", "B"), observables.stock("B")


def bad(states: Valuation) -> bool:
    return states[MEET] == "yes" and states[STOCK] == "occupied"


def meeting() -> Course:
    """A train comes in and goes on to B, and another comes onto it there."""
    c = line('assume "nobody holds it" never Hold pressed\n')
    c.go("entry West")
    c.go("advance West end to A left")
    c.go(f"advance {A_B}")
    c.go(f"advance {A_B}")
    c.go("entry West")
    c.go(f"advance {A_B}", "button Go=pressed")
    return c


def test_a_history_replays() -> None:
    c = meeting()
    assert c.events == {"trains meet B"}
    assert replay(c.plan, c.trace, bad)


def test_what_a_trace_does_not_choose_is_as_usual() -> None:
    c = meeting()
    kept = [{w: v for w, v in moment.items() if w in c.now or v != w.usual} for moment in c.trace]
    assert sum(map(len, kept)) < sum(map(len, c.trace))
    assert replay(c.plan, kept, bad)


def changed(trace: list[Valuation], at: int, kind: str, name: str, value: str) -> list[Valuation]:
    what = next(w for w in trace[at] if (w.kind, w.name) == (kind, name))
    return [*trace[:at], {**trace[at], what: value}, *trace[at + 1 :]]


@pytest.mark.parametrize(
    ("at", "kind", "name", "value"),
    [
        (0, "train", "C", "occupied"),  # it does not start so
        (3, "train", "C", "occupied"),  # it does not go on so
        (3, "across", A_B, "free"),
        (1, "advance", "West end to A left", "no"),  # nor does it without that choice
        (2, "button", "Go", "held"),  # no such value
        (2, "button", "Hold", "pressed"),  # against what is assumed
        (5, "button", "Hold", "pressed"),
        (5, "advance", A_B, "no"),  # it ends well
    ],
)
def test_what_is_no_history_does_not_replay(at: int, kind: str, name: str, value: str) -> None:
    c = meeting()
    assert not replay(c.plan, changed(c.trace, at, kind, name, value), bad)


def test_half_a_history_and_none_do_not_replay() -> None:
    c = meeting()
    assert not replay(c.plan, c.trace[:-1], bad)
    assert not replay(c.plan, c.trace[1:], bad)
    assert not replay(c.plan, [], bad)


def test_a_trace_that_leaves_out_a_state_does_not_replay() -> None:
    c = meeting()
    gone = {w: v for w, v in c.trace[2].items() if (w.kind, w.name) != ("train", "B")}
    assert not replay(c.plan, [*c.trace[:2], gone, *c.trace[3:]], bad)


def test_lost_stock_replays_in_the_lossy_system_only() -> None:
    text = "edge West\nblock A\ntrack West = A = East\nedge East\n"
    c = Course(verifier.load_text(text), lossy=True)
    for chosen in ("entry West", "loss A", "tick time"):
        c.go(chosen)

    def unseen(states: Valuation) -> bool:
        report = states[observables.block_report("A")]
        return states[observables.stock("A")] == "occupied" and report == "clear"

    assert replay(c.plan, c.trace, unseen, lossy=True)
    assert not replay(c.plan, c.trace, unseen)
