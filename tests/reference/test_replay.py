"""Whether a trace is a history of the plan, and ends as it is said to."""

from fractions import Fraction

import pytest

import verifier
from tests.reference.running import (
    A_B,
    Course,
    line,
)
from verifier.plan import observables
from verifier.reference.step import replay
from verifier.reference.transition import Valuation

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
    for chosen in ("entry West", "loss A", "stays lost A"):
        c.go(chosen)

    def unseen(states: Valuation) -> bool:
        report = states[observables.block_report("A")]
        return states[observables.stock("A")] == "occupied" and report == "clear"

    assert replay(c.plan, c.trace, unseen, lossy=True)
    assert not replay(c.plan, c.trace, unseen)


# ------------------------------------------------------------------ times

TIMED = """
trains need 20 s to stop
timer T 30 s runs while Go pressed
relay R
  picks when Hold pressed
  slow to pick 19.5 s
signal 2R at A | B
  Clear when Go pressed
  Stop otherwise
"""
LATE, DONE = observables.window("late", "2R"), observables.timer("T")
UP = observables.relay("R")


def timed(*moments: tuple[str, ...]) -> Course:
    """A history in which a train comes in and 2R clears, and these moments follow."""
    c = line(TIMED)
    c.go("entry West")
    for chosen in ((), ("button Go=pressed",), *moments):
        c.go(*chosen)
    return c


@pytest.mark.parametrize(
    ("seconds", "is_one"),
    [(["20"], False), (["19.9"], False), (["29.9"], False), (["30"], True), (["60"], True)],
)
def test_a_timer_takes_its_time_or_longer(seconds: list[str], is_one: bool) -> None:
    held = ("button Go=pressed",)
    c = timed(held, (*held, "expiry T"), held)
    assert c.stepper.step(c.trace[-1]).observed[DONE] == "done"
    times = [Fraction(0)] * 4 + [Fraction(s) for s in seconds]
    trace = c.trace
    found = replay(c.plan, trace, lambda states: states[DONE] == "done", seconds=times)
    assert found is is_one
    assert not replay(c.plan, trace, lambda states: states[DONE] == "done")


@pytest.mark.parametrize(
    ("waits", "lasts", "is_one"),
    [
        ("19.5", "0", True),
        ("19.5", "0.4", True),
        ("19.99", "0", True),
        ("19.4", "0", False),  # the relay would be too fast
        ("20", "0", False),  # the train would be too late for too long
        ("19.5", "0.5", False),
    ],
)
def test_a_train_is_late_for_less_than_it_needs(waits: str, lasts: str, is_one: bool) -> None:
    """The relay begins to wait as the signal is put back; it is up while the train is late."""
    stays = "stays late 2R"
    held = ("button Hold=pressed", stays)
    c = timed(held, (*held, "expiry R"), held)
    times = [Fraction(0)] * 4 + [Fraction(waits), Fraction(lasts)]

    def both(states: Valuation) -> bool:
        return states[UP] == "up" and states[LATE] == "yes"

    assert replay(c.plan, c.trace, both, seconds=times) is is_one


def test_no_time_runs_backward() -> None:
    c = timed(())
    assert replay(c.plan, c.trace, lambda _: True, seconds=[Fraction(0)] * 3)
    assert not replay(c.plan, c.trace, lambda _: True, seconds=[Fraction(1), Fraction(-1)])
