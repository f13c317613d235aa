"""How current divides between feeders: against node equations solved otherwise, by sampling within
the intervals, by the reference, and by hand."""

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise, product
from math import inf
from random import Random

import pytest

from verifier.plan.wiring.electrical_constants import FOOT, ohms_per_meter
from verifier.plan.wiring.rail_network import Between, RailCircuit, Stretch, Tap
from verifier.plan.wiring.rail_shares import share, share_at, share_near
from verifier.reference.currents import bounds

LIMIT = Fraction(10**9)  # ohms as good as open
Rails = Sequence[tuple[int, int, Fraction]]
Feeds = Sequence[tuple[int, Fraction, bool]]


def solved(rails: Rails, feeds: Feeds, at: int) -> Fraction:
    """The share of the counted feeders in a current of 1 A drawn at a node: the node equations by
    elimination, as they stand, without reciprocity."""
    count = 1 + max(max(n for a, b, _ in rails for n in (a, b)), max(n for n, _, _ in feeds))
    rows = [[Fraction(0)] * (count + 1) for _ in range(count)]
    for node, ohms, _ in feeds:
        rows[node][node] += 1 / ohms
    for a, b, ohms in rails:
        for one, other in ((a, b), (b, a)):
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
    return sum((-rows[n][-1] / ohms for n, ohms, counted in feeds if counted), Fraction(0))


def circuit(r: Random, *, joints: bool = True) -> tuple[RailCircuit, set[str]]:
    """A tree of rail, now and then with a way round, and feeders at most of its nodes; and which
    of them count. ``joints``: rail may be open, or without resistance."""
    count = r.randint(2, 6)
    ends = [(r.randrange(node), node) for node in range(1, count)]
    ends += [(0, count - 1)] * (count > 2 and r.random() < 0.3)
    stretches, taps = [], []
    for a, b in ends:
        least = r.choice([0.0, r.uniform(0.01, 0.3)]) if joints else r.uniform(0.01, 0.3)
        most = r.choice([inf, 0.3]) if joints and r.random() < 0.4 else least * r.uniform(1, 3)
        stretches.append(Stretch(a, b, Between(least, most)))
    for node in sorted({0, *(n for n in range(count) if r.random() < 0.7)}):
        least = r.uniform(0.001, 0.1)
        taps.append(Tap(f"m{node}", node, Between(least, least * r.uniform(1, 3))))
    counted = {tap.feeder for tap in taps if r.random() < 0.5}
    places = tuple((tap.feeder, (tap.node, r.randrange(count))) for tap in taps)
    return RailCircuit(tuple(stretches), tuple(taps), places), counted


def _sample(r: Random, of: Between, *, ends: bool) -> Fraction:
    most = of.most if of.most < inf else float(LIMIT)
    if ends:
        return max(Fraction(r.choice([of.least, most])), 1 / LIMIT)
    return max(Fraction(min(most, of.least + r.random() ** 8 * (most - of.least))), 1 / LIMIT)


def sampled(r: Random, of: RailCircuit, counted: set[str], at: int, *, ends: bool) -> float:
    """The share for stock at a node, with resistances within their intervals, or at their ends."""
    rails = [(s.a, s.b, _sample(r, s.ohms, ends=ends)) for s in of.stretches]
    feeds = [(t.node, _sample(r, t.ohms, ends=ends), t.feeder in counted) for t in of.taps]
    return float(solved(rails, feeds, at))


def test_shares_solve_the_node_equations() -> None:
    r = Random(16)
    for _ in range(60):
        found, counted = circuit(r, joints=False)
        rails = [(s.a, s.b, Fraction(s.ohms.least)) for s in found.stretches]
        feeds = [(t.node, Fraction(t.ohms.least), t.feeder in counted) for t in found.taps]
        at = r.choice(rails)[1]
        wires = [(a, b, float(ohms)) for a, b, ohms in rails]
        fed = [(node, float(ohms), counts) for node, ohms, counts in feeds]
        assert share(wires, fed, at) == pytest.approx(float(solved(rails, feeds, at)), abs=1e-9)


def test_whatever_lies_within_the_intervals_lies_within_the_bounds() -> None:
    r = Random(7)
    for _ in range(60):
        found, counted = circuit(r)
        at = r.choice(found.stretches).b
        share_ = share_at(found, counted, at)
        assert share_ is not None
        for ends in (True, False):
            for _ in range(6):
                once = sampled(r, found, counted, at, ends=ends)
                assert share_.least - 1e-6 <= once <= share_.most + 1e-6


def test_bounds_are_reached_at_corners() -> None:
    """No bound is wider than it has to be, where no joint may be open."""
    r = Random(3)
    for _ in range(12):
        found, counted = circuit(r, joints=False)
        found = RailCircuit(found.stretches, found.taps[:3], found.places)
        at = r.choice(found.stretches).b
        every = [
            share(
                [(s.a, s.b, o) for s, o in zip(found.stretches, rails, strict=True)],
                [(t.node, o, t.feeder in counted) for t, o in zip(found.taps, taps, strict=True)],
                at,
            )
            for rails in product(*((s.ohms.least, s.ohms.most) for s in found.stretches))
            for taps in product(*((t.ohms.least, t.ohms.most) for t in found.taps))
        ]
        shares = [one for one in every if one is not None]
        share_ = share_at(found, counted, at)
        assert share_ is not None
        assert share_.least == pytest.approx(min(shares), abs=1e-8)
        assert share_.most == pytest.approx(max(shares), abs=1e-8)


def test_the_reference_finds_the_same_bounds() -> None:
    r = Random(29)
    for _ in range(40):
        found, counted = circuit(r)
        nearest = r.choice(found.taps).feeder
        broken = (r.choice(found.taps).feeder,) if r.random() < 0.4 else ()
        known = share_near(found.without(broken), counted, nearest)
        least, most = bounds(found, tuple(sorted(counted)), nearest, broken)
        assert known is not None
        assert float(least) == pytest.approx(known.least, abs=1e-8)
        assert float(most) == pytest.approx(known.most, abs=1e-8)


def ladder(taps: Sequence[tuple[float, Between]], rail: Between) -> RailCircuit:
    """Feeders m0, m1 and so on along one rail, at some distances."""
    return RailCircuit(
        tuple(
            Stretch(i, i + 1, rail.times(b - a))
            for i, ((a, _), (b, _)) in enumerate(pairwise(taps))
        ),
        tuple(Tap(f"m{i}", i, ohms) for i, (_, ohms) in enumerate(taps)),
        tuple((f"m{i}", (i,)) for i in range(len(taps))),
    )


def test_three_feeders_the_middle_one_past_the_detector() -> None:
    """By hand (0.23, the shared notes on sources): 2.6 m of code 83, 1 ft of 22 AWG to each feeder,
    stock beside the middle one."""
    wire = float(FOOT) * ohms_per_meter(22)
    found = ladder([(2.6 * x / 6, Between(wire, wire)) for x in (1, 3, 5)], Between(0.108, 0.108))
    share_ = share_near(found, {"m0", "m2"}, "m1")
    assert share_ is not None
    assert share_.least == pytest.approx(0.23, abs=0.005)
    assert share_.most == pytest.approx(share_.least, abs=1e-6)


def test_rail_whose_joints_may_be_open_may_keep_all_current_from_a_feeder() -> None:
    wire = Between(0.01, 0.02)
    found = ladder([(0.0, wire), (0.5, Between(inf, inf)), (1.0, wire)], Between(0.1, inf))
    at_first, middle = share_at(found, {"m0"}, 0), share_at(found, {"m0"}, 1)
    assert at_first is not None
    assert at_first.most == pytest.approx(1)
    assert at_first.least > 0.8
    assert middle == Between(0.0, 1.0)


def test_without_feeders_anything_may_be() -> None:
    bare = RailCircuit((Stretch(0, 1, Between(0.1, 0.1)),), (), ())
    assert share_at(bare, set(), 0) == Between(0.0, 1.0)
