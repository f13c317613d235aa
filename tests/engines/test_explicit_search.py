"""The explorer: small systems whose answers can be seen by hand, and a published count."""

import pytest

from tests.engines import small_systems
from tests.engines.explicit_search import Choices, ever, explore
from verifier.engines.results import Reachable, Unknown
from verifier.logic.expr import TRUE, atom, holds, negation
from verifier.logic.transition_system import System
from verifier.plan import observables


def test_numbers_are_reached_by_the_shortest_way() -> None:
    def successors(n: int) -> list[int]:
        return [n + 1, 2 * n]

    found = explore([1], successors, most=10_000, wanted=lambda n: n == 20)
    assert found.found == 20
    assert found.path(20) in ([1, 2, 4, 5, 10, 20],)


def test_all_is_reached_and_no_more() -> None:
    found = explore([3, 4], lambda n: [n * n % 11], most=100)
    assert found.complete and found.found is None
    assert set(found.parents) == {3, 9, 4, 5}
    assert found.path(3) == [3] and found.path(4) == [4]


def test_it_stops_where_it_is_told() -> None:
    found = explore([0], lambda n: [n + 1], most=50)
    assert not found.complete and len(found.parents) == 50
    exactly = explore([0], lambda n: [(n + 1) % 50], most=50)
    assert exactly.complete and len(exactly.parents) == 50


def test_three_missionaries_cross() -> None:
    """Three missionaries, three cannibals, a boat for two: 11 crossings (widely published;
    from memory)."""

    def successors(state: tuple[int, int, int]) -> list[tuple[int, int, int]]:
        m, c, boat = state
        sign = -1 if boat else 1
        loads = [(1, 0), (2, 0), (0, 1), (0, 2), (1, 1)]
        then = [(m + sign * a, c + sign * b, 1 - boat) for a, b in loads]
        return [
            (a, b, side) for a, b, side in then
            if 0 <= a <= 3 and 0 <= b <= 3 and a in (0, 3, b)
        ]  # fmt: skip

    found = explore([(3, 3, 1)], successors, most=1000, wanted=lambda s: s == (0, 0, 0))
    assert len(found.path((0, 0, 0))) == 12


# ------------------------------------------------------------------ transition systems


def test_trains_on_a_locked_line_never_meet() -> None:
    assert ever(small_systems.single_track(), small_systems.MEET, most=100) is None


def test_on_a_line_that_is_not_locked_they_do() -> None:
    system = small_systems.single_track(locked=False)
    answer = ever(system, small_systems.MEET, most=100)
    assert isinstance(answer, Reachable)
    is_history(system, answer)
    # One comes in; the direction turns; the other comes in.
    assert len(answer.trace) == 4
    assert holds(small_systems.MEET, answer.trace[-1])


def test_a_relay_with_no_wire_never_picks() -> None:
    assert ever(small_systems.repeaters(), small_systems.THIRD_UP, most=10) is None


def test_a_timer_gets_done() -> None:
    system = small_systems.timer()
    answer = ever(system, small_systems.DONE, most=10)
    assert isinstance(answer, Reachable) and len(answer.trace) == 3
    is_history(system, answer)
    assert answer.trace[0] == {
        small_systems.CLOCK: "idle",
        small_systems.RUN: "pressed",
        small_systems.EXPIRE: "no",
    }


def test_not_while_what_is_taken_for_granted_forbids_it() -> None:
    never = negation(atom(small_systems.RUN, "pressed"))
    assert ever(small_systems.timer(always=(never,)), small_systems.DONE, most=10) is None
    held = small_systems.timer(start=("done",), always=(never,))
    answer = ever(held, small_systems.DONE, most=10)
    assert isinstance(answer, Reachable) and len(answer.trace) == 1
    assert answer.trace[0][small_systems.RUN] == "released"
    # Granted at the last moment too.
    both_ways = ever(held, atom(small_systems.RUN, "pressed"), most=10)
    assert both_ways is None


def test_too_many_states_are_no_answer() -> None:
    answer = ever(small_systems.single_track(), small_systems.MEET, most=2)
    assert isinstance(answer, Unknown)


def test_too_many_choices_are_refused() -> None:
    inputs = tuple(observables.button(f"B{i}") for i in range(25))
    with pytest.raises(ValueError, match="too many"):
        Choices(System((), inputs, {}, {}))


def test_every_way_to_choose_is_looked_at() -> None:
    system = small_systems.timer(start=small_systems.CLOCK.values)
    choices = Choices(system)
    for state in choices.starts():
        parts = dict(choices.parted(state))
        assert sum(bin(ways).count("1") for ways in parts.values()) == 4
        for then, ways in parts.items():
            now = {small_systems.CLOCK: state[0], **choices.chosen(ways)}
            assert holds(system.following[small_systems.CLOCK][then[0]], now)
    assert choices.ways(TRUE, ("idle",)) == choices.every == 0b1111


def is_history(system: System, answer: Reachable) -> None:
    """Each moment follows from the one before, and what is granted holds."""
    for what in system.states:
        assert answer.trace[0][what] in system.initial[what]
    for now, then in zip(answer.trace, answer.trace[1:], strict=False):
        for what in system.states:
            assert holds(system.following[what][then[what]], now)
    for now in answer.trace:
        assert all(holds(expr, now) for expr in system.always)
