"""How current divides between feeders: against node equations solved otherwise, by sampling within
the intervals, and by hand."""

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise, product
from math import inf
from random import Random

import pytest

from verifier.plan.wiring.electrical_constants import FOOT, ohms_per_meter
from verifier.plan.wiring.ladder import ANYTHING, Between, Tap, share, share_along, share_at

LIMIT = Fraction(10**9)  # ohms as good as open


def solved(taps: Sequence[tuple[Fraction, bool]], rails: Sequence[Fraction], at: int) -> Fraction:
    """The share of the counted feeders in a current of 1 A drawn at a node: the node equations by
    elimination, as they stand, without reciprocity."""
    count = len(taps)
    rows = [[Fraction(0)] * (count + 1) for _ in taps]
    for i, (ohms, _) in enumerate(taps):
        rows[i][i] += 1 / ohms
    for i, ohms in enumerate(rails):
        for one, other in ((i, i + 1), (i + 1, i)):
            rows[one][one] += 1 / ohms
            rows[one][other] -= 1 / ohms
    rows[at][count] = Fraction(-1)
    for i in range(count):
        pivot = next(r for r in range(i, count) if rows[r][i])
        rows[i], rows[pivot] = rows[pivot], rows[i]
        rows[i] = [x / rows[i][i] for x in rows[i]]
        for r in range(count):
            if r != i and rows[r][i]:
                rows[r] = [x - rows[r][i] * y for x, y in zip(rows[r], rows[i], strict=True)]
    return sum(
        (-row[count] / ohms for row, (ohms, counted) in zip(rows, taps, strict=True) if counted),
        Fraction(0),
    )


def test_shares_solve_the_node_equations() -> None:
    r = Random(16)
    for _ in range(60):
        count = r.randint(2, 6)
        taps = [(Fraction(r.randint(1, 200), 1000), r.random() < 0.5) for _ in range(count)]
        rails = [Fraction(r.randint(1, 400), 1000) for _ in range(count - 1)]
        at = r.randrange(count)
        found = share([(float(o), c) for o, c in taps], [float(o) for o in rails], at)
        assert found == pytest.approx(float(solved(taps, rails, at)), abs=1e-9)


def _ladder(r: Random) -> tuple[list[Tap], Between]:
    taps = []
    for _ in range(r.randint(2, 5)):
        least = r.uniform(0.001, 0.1)
        taps.append(Tap(r.uniform(0, 3), Between(least, least * r.uniform(1, 3)), r.random() < 0.5))
    least = r.uniform(0.02, 0.3)
    return taps, Between(least, r.choice([inf, least * r.uniform(1, 3)]))


def _sample(r: Random, of: Between, *, ends: bool) -> Fraction:
    most = of.most if of.most < inf else float(LIMIT)
    if ends:
        return Fraction(r.choice([of.least, most]))
    return Fraction(min(most, of.least + r.random() ** 8 * (most - of.least)))


def _at(r: Random, taps: Sequence[Tap], rail: Between, x: float, *, ends: bool) -> float:
    """The share for stock at x, with resistances anywhere within their intervals, or at ends."""
    nodes = sorted([*taps, Tap(x, Between(inf, inf), counted=False)], key=lambda tap: tap.at)
    at = next(i for i, node in enumerate(nodes) if node.ohms.least == inf)
    ohms = [
        (LIMIT * 1000 if n.ohms.least == inf else _sample(r, n.ohms, ends=ends), n.counted)
        for n in nodes
    ]
    tiny = Fraction(1, 10**9)  # rail between two feeders at one place
    rails = [
        max(_sample(r, rail.times(b.at - a.at), ends=ends), tiny) for a, b in pairwise(nodes)
    ]  # fmt: skip
    return float(solved(ohms, rails, at))


def test_whatever_lies_within_the_intervals_lies_within_the_bounds() -> None:
    r = Random(7)
    for _ in range(60):
        taps, rail = _ladder(r)
        x = r.uniform(0, 3)
        bounds = share_at(taps, rail, x)
        for ends in (True, False):
            for _ in range(6):
                assert bounds.least - 1e-6 <= _at(r, taps, rail, x, ends=ends) <= bounds.most + 1e-6


def test_bounds_are_reached_at_corners() -> None:
    """No bound is wider than it has to be, where no joint may be open."""
    r = Random(3)
    for _ in range(15):
        taps, rail = _ladder(r)
        rail = Between(rail.least, rail.least * 2)
        taps, x = taps[:3], r.uniform(0, 3)
        nodes = sorted([*taps, Tap(x, Between(inf, inf), counted=False)], key=lambda tap: tap.at)
        at = next(i for i, node in enumerate(nodes) if node.ohms.least == inf)
        steps = [rail.times(b.at - a.at) for a, b in pairwise(nodes)]
        every = [
            share(list(zip(ohms, (n.counted for n in nodes), strict=True)), rails, at)
            for ohms in product(*((n.ohms.least, n.ohms.most) for n in nodes))
            for rails in product(*((s.least, s.most) for s in steps))
        ]
        shares = [found for found in every if found is not None]
        bounds = share_at(taps, rail, x)
        assert bounds.least == pytest.approx(min(shares), abs=1e-8)
        assert bounds.most == pytest.approx(max(shares), abs=1e-8)


def test_along_a_stretch_no_place_is_outside_the_bounds() -> None:
    r = Random(11)
    for _ in range(20):
        taps, rail = _ladder(r)
        first, last = sorted((r.uniform(0, 3), r.uniform(0, 3)))
        bounds = share_along(taps, rail, first, last)
        for _ in range(8):
            here = share_at(taps, rail, r.uniform(first, last))
            assert bounds.least - 1e-8 <= here.least <= here.most <= bounds.most + 1e-8


def test_three_feeders_the_middle_one_past_the_detector() -> None:
    """By hand (0.23, the shared notes on sources): 2.6 m of code 83, 1 ft of 22 AWG to each feeder,
    stock beside the middle one."""
    wire = float(FOOT) * ohms_per_meter(22)
    taps = [Tap(2.6 * x / 6, Between(wire, wire), x != 3) for x in (1, 3, 5)]
    found = share_at(taps, Between(0.108, 0.108), 1.3)
    assert found.least == pytest.approx(0.23, abs=0.005)
    assert found.most == pytest.approx(found.least, abs=1e-6)


def test_rail_whose_joints_may_be_open_may_keep_all_current_from_a_feeder() -> None:
    taps = [
        Tap(0.0, Between(0.01, 0.02), counted=True),
        Tap(1.0, Between(0.01, 0.02), counted=False),
    ]
    rail = Between(0.1, inf)
    assert share_at(taps, rail, 0.0).most == pytest.approx(1)
    assert share_at(taps, rail, 0.0).least > 0.8
    middle = share_at(taps, rail, 0.5)
    assert (middle.least, middle.most) == (0.0, 1.0)


def test_without_feeders_anything_may_be() -> None:
    assert share_at([], Between(0.1, 0.1), 0.5) == ANYTHING
