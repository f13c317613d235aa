"""Where trains can stand over spots: exact critical positions against z3's real numbers, and
against trains put down by hand."""

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from random import Random

import pytest

from verifier.engines.results import Exists, Impossible
from verifier.engines.smt.situations import SituationCheck
from verifier.engines.smt.train_length_constraints import Room
from verifier.logic.expr import atom
from verifier.plan import observables
from verifier.plan.wiring.equipment import Geometry
from verifier.reference.train_extents import TrainPosition, train_positions


def geometry(
    length: object, spots: Sequence[object], shortest: object, longest: object = None
) -> Geometry:
    most = None if longest is None else Fraction(str(longest))
    exact = tuple(Fraction(str(spot)) for spot in spots)
    return Geometry(Fraction(str(length)), exact, Fraction(str(shortest)), most)


def any_set(count: int) -> list[tuple[int, ...]]:
    """Every set of spots, those that do not lie side by side included."""
    return [tuple(i for i in range(count) if number >> i & 1) for number in range(1 << count)]


def by_solver(geometry: Geometry) -> set[tuple[int, ...]]:
    """The sets of spots that z3 finds a train for."""
    names = {f"over {covers}": covers for covers in any_set(len(geometry.spots))}
    what = observables.standing("Main", tuple(names))
    check = SituationCheck([what], rooms={what: Room(geometry, names)})
    found = set()
    for name, covers in names.items():
        answer = check.find(atom(what, name))
        assert isinstance(answer, Exists | Impossible)
        if isinstance(answer, Exists):
            found.add(covers)
    return found


def covered_by(train: TrainPosition, geometry: Geometry) -> tuple[int, ...]:
    left, right = train.start, train.start + train.length
    return tuple(i for i, spot in enumerate(geometry.spots) if left <= spot and spot <= right)


def agree(geometry: Geometry) -> None:
    ways = train_positions(geometry)
    assert set(ways) == by_solver(geometry), geometry
    for covers, train in ways.items():
        assert covered_by(train, geometry) == covers
        assert geometry.shortest <= train.length
        assert geometry.longest is None or train.length <= geometry.longest
        assert train.start < geometry.length and train.start + train.length > 0
        assert list(covers) == list(range(covers[0], covers[-1] + 1)) if covers else True


def test_a_train_shorter_than_the_spacing_hides_between_two_spots() -> None:
    """Common practice, no source."""
    assert () in train_positions(geometry("1.2", ["0", "0.6", "1.2"], "0.599", "2"))
    assert () not in train_positions(geometry("1.2", ["0", "0.6", "1.2"], "0.6", "2"))


def test_a_train_just_as_long_as_the_spacing_cannot_hide() -> None:
    """It covers both spots, or one of them with some of it beyond."""
    ways = train_positions(geometry("0.6", ["0", "0.6"], "0.6", "0.6"))
    assert set(ways) == {(0, 1), (0,), (1,)}
    assert ways[0, 1] == TrainPosition(Fraction(0), Fraction("0.6"))


def test_a_train_reaches_in_from_either_end_without_covering_an_inner_spot() -> None:
    assert set(train_positions(geometry("1", ["0.5"], "5", "5"))) == {(), (0,)}
    # With spots at both ends nothing longer than the block can be on it unseen.
    assert set(train_positions(geometry("1", ["0", "1"], "5", "5"))) == {(0,), (1,), (0, 1)}
    assert set(train_positions(geometry("1", ["0"], "5", "5"))) == {(), (0,)}


def test_no_train_covers_two_spots_that_are_further_apart_than_it_is_long() -> None:
    ways = train_positions(geometry("2", ["0.2", "1.2"], "0.1", "0.999"))
    assert set(ways) == {(), (0,), (1,)}
    assert (0, 1) in train_positions(geometry("2", ["0.2", "1.2"], "0.1", "1"))


def test_without_lengths_of_trains_any_run_of_spots_can_be_covered() -> None:
    ways = train_positions(geometry("2", ["0", "1", "2"], "0"))
    assert set(ways) == {(), (0,), (1,), (2,), (0, 1), (1, 2), (0, 1, 2)}


def test_a_train_of_no_length_stands_on_one_spot_at_most() -> None:
    """At the very ends of the block it would not be on it."""
    assert set(train_positions(geometry("2", ["0", "1", "2"], "0", "0"))) == {(), (1,)}


AWKWARD = ("0", "1/3", "0.3", "0.5", "0.599", "0.6", "0.601", "2/3", "0.9", "1", "1.2")


@pytest.mark.parametrize("seed", range(60))
def test_the_solver_finds_the_same_places(seed: int) -> None:
    agree(random_geometry(Random(seed)))


def random_geometry(r: Random) -> Geometry:
    length = Fraction(r.choice(AWKWARD[1:]))
    marks = [Fraction(0), length, *(Fraction(a) for a in AWKWARD if Fraction(a) <= length)]
    spots = tuple(sorted(set(r.sample(marks, min(len(marks), r.randint(1, 4))))))
    gaps = {b - a for a in (Fraction(0), *spots) for b in (*spots, length) if b > a}
    lengths = [*gaps, length, length * 2, *(g + Fraction(1, 1000) for g in gaps), Fraction(0)]
    shortest, longest = sorted([r.choice(lengths), r.choice(lengths)])
    return Geometry(length, spots, shortest, None if r.random() < 0.25 else longest)


def test_on_each_way_through_a_block_only_its_own_spots_are_covered() -> None:
    """Spots 1 and 2 before the points, 3 on one leg, 4 on the other; the last leg has none."""
    room = replace(
        geometry("1.2", ["0", "0.4", "0.8", "0.8"], "0.4", "1"), ways=((0, 1, 2), (0, 1, 3), (0, 1))
    )
    found = set(train_positions(room))
    assert found == by_solver(room)
    assert found == {(0,), (0, 1), (0, 1, 2), (0, 1, 3), (1, 2), (1, 3), (1,), (2,), (3,), ()}
