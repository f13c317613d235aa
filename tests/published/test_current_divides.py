"""Drop and division of current, recomputed by ngspice, a circuit simulator from outside, on
generated feeders; and what detectors see of it in the field, common practice without a source."""

import re
import shutil
import subprocess
from collections.abc import Mapping, Sequence
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from random import Random

import pytest

from tests.differential.junctions import built
from tests.published.junctions import broken
from tests.published.wired import prove
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation
from verifier.plan.wiring.division import shares
from verifier.plan.wiring.electrical_constants import RAILS, ohms_per_meter, volts_lost
from verifier.plan.wiring.rail_circuit import COPPER_LEAST, COPPER_MOST
from verifier.plan.wiring.rail_shares import share
from verifier.plan.wiring.wiring_model import Run
from verifier.reference.evaluator import Evaluator
from verifier.sheets.test_card import sure_tests

NGSPICE = shutil.which("ngspice")
asks_ngspice = pytest.mark.skipif(
    NGSPICE is None,
    reason="Debian's package ngspice is not installed: no simulator of circuits can be asked",
)


def simulated(lines: Sequence[str], wanted: Sequence[str], tmp_path: Path) -> list[float]:
    """The values of some expressions at the operating point of a circuit."""
    deck = tmp_path / "circuit.cir"
    asked = [f"print {name}" for name in wanted]
    text = ["feeders", *lines, ".control", "set numdgt=12", "op", *asked, ".endc", ".end"]
    deck.write_text("\n".join(text) + "\n", "ascii")
    assert NGSPICE is not None
    done = subprocess.run(
        [NGSPICE, "-b", str(deck)], capture_output=True, text=True, timeout=60, check=False
    )
    found = {
        name: float(value) for name, value in re.findall(r"^(\S+) = (\S+)$", done.stdout, re.M)
    }
    assert set(wanted) <= found.keys(), done.stdout + done.stderr
    return [found[name] for name in wanted]


@asks_ngspice
@pytest.mark.parametrize("seed", range(8))
def test_division_of_current(seed: int, tmp_path: Path) -> None:
    """One rail of a block with a supply of 14 V at the bus end of all feeders, and stock that draws
    10 mA: the current in each feeder, as a share of the whole."""
    r = Random(seed)
    count = r.randint(2, 6)
    wires = [r.uniform(0.1, 1.5) * ohms_per_meter(r.choice([18, 20, 22, 24])) for _ in range(count)]
    per_meter = float(r.choice([ohms for pair in RAILS.values() for ohms in pair]))
    rails = [r.uniform(0.05, 1.5) * per_meter for _ in range(count - 1)]
    stock = r.randrange(count)
    lines = ["Vbus bus 0 14", f"Istock n{stock} 0 0.01"]
    # A source of 0 V in series measures the current of a feeder.
    lines += [f"Rf{i} bus m{i} {ohms:.12g}" for i, ohms in enumerate(wires)]
    lines += [f"Vf{i} m{i} n{i} 0" for i in range(count)]
    lines += [f"Rr{i} n{i} n{i + 1} {ohms:.12g}" for i, ohms in enumerate(rails)]
    currents = simulated(lines, [f"i(vf{i})" for i in range(count)], tmp_path)
    for i, current in enumerate(currents):
        feeds = [(j, ohms, j == i) for j, ohms in enumerate(wires)]
        along = [(j, j + 1, ohms) for j, ohms in enumerate(rails)]
        assert share(along, feeds, stock) == pytest.approx(current / 0.01, abs=1e-5)


LEGS = ("normal", "reverse")


def through_points(r: Random) -> tuple[str, dict[str, tuple[str, int]], int]:
    """A block with one turnout, its rail soldered and its points bonded; of each feeder the end of
    the turnout on whose side it is and how far from the points, in mm; and the fouling point."""
    fouling = r.choice([150, 200, 250])
    where = {"f0": ("points", r.choice([0, 300, 900]))}
    for i, leg in enumerate(LEGS * 2):
        if i < 1 or r.random() < 0.5:
            where[f"f{i + 1}"] = leg, fouling + r.choice([0, 200, 700])
    said = {"points": "before T1", "normal": "beyond normal T1", "reverse": "beyond reverse T1"}
    feeders = ", ".join(f"{f} at {at} mm {said[end]}" for f, (end, at) in where.items())
    detected = ", ".join(f for i, f in enumerate(where) if i % 2)
    text = "\n".join([
        "edge West, A-East, B-East", "supply Rails track power DCC 14 V",
        "district Town fed by Rails", "rail code 83 soldered", "block Single, A, B",
        f"block Switch in Town feeders {feeders} over 1 ft of 22 AWG",
        f"turnout T1 in Switch fouling point {fouling} mm bonded over 4 in of 22 AWG",
        "track West = Single | T1 normal | A = A-East", "track T1 reverse | B = B-East",
        f"detector D current-sensing through {detected}",
        "signal 2 at Single | T1", "  Clear when Switch clear and T1 normal", "  Stop otherwise",
    ])  # fmt: skip
    return text, where, fouling


def one_rail(
    r: Random, where: Mapping[str, tuple[str, int]], fouling: int
) -> tuple[list[str], list[tuple[str, str, int]]]:
    """One rail of such a block as a circuit, its resistances anywhere within what they may be; and
    places where stock may stand: a node, the end on whose side it is, and how far from the points.

    The stock rail leads to one leg. To the other leads the closure rail, which the point blade may
    touch, a jumper from the stock rail, and another one around the frog."""
    stock, other = r.sample(LEGS, 2)
    frog = fouling * 3 // 4
    jumper = 4 * 0.0254 * ohms_per_meter(22) * 1.25
    lines: list[str] = ["Vbus bus 0 14"]
    places: list[tuple[str, str, int]] = []
    for end in ("points", *LEGS):
        marks = {at for e, at in where.values() if e == end} | {0, fouling, frog, 40, 1200}
        marks |= {r.randint(0, 1300) for _ in range(3)}
        for a, b in pairwise(sorted(marks)):
            if (end, b) != (other, frog) and not (end == other and a < frog < b):
                ohms = (b - a) / 1000 * r.uniform(*map(float, RAILS[Fraction(83)]))
                lines.append(f"R{end}{a} {end}{a} {end}{b} {ohms:.12g}")
        places += [(f"{end}{at}", end, at) for at in sorted(marks) if (end, at) != (other, frog)]
    # The points are one place; the blade of the closure rail may touch there, or not.
    lines += ["Rstock points0 " + stock + "0 1e-9"]
    lines += [f"Rblade points0 {other}0 {r.uniform(0.001, 0.2):.6g}"] * (r.random() < 0.5)
    lines += [
        f"Rjumper{i} {a} {b} {r.uniform(0.05, 1) * jumper:.12g}"
        for i, (a, b) in enumerate([
            (f"{stock}40", f"{other}40"), (f"{r.choice(LEGS)}40", f"{other}{fouling}"),
        ])
    ]  # fmt: skip
    for feeder, (end, at) in where.items():
        ohms = 0.3048 * ohms_per_meter(22) * r.uniform(COPPER_LEAST, COPPER_MOST)
        lines += [f"R{feeder} bus m{feeder} {ohms:.12g}", f"V{feeder} m{feeder} {end}{at} 0"]
    return lines, places


@asks_ngspice
@pytest.mark.parametrize("seed", range(6))
def test_division_through_points(seed: int, tmp_path: Path) -> None:
    """No share lies outside the bounds, wherever stock stands and whichever way the points lie."""
    r = Random(seed)
    text, where, fouling = through_points(r)
    plan = built(text)
    (division,) = plan.equipment.divisions.values()
    known = shares(division)
    assert len(known) > len(where)
    lines, places = one_rail(r, where, fouling)
    wide = 0.0
    for node, side, at in r.sample(places, 6):
        asked = [f"i(v{feeder})" for feeder in where]
        drawn = [f"Istock {node} 0 0.01"]
        currents = simulated([*lines, *drawn], asked, tmp_path)
        through = sum(i for f, i in zip(where, currents, strict=True) if f in division.through)
        away = {f: abs(at - x) if end == side else at + x for f, (end, x) in where.items()}
        for nearest in (f for f, far in away.items() if far == min(away.values())):
            bounds = known[nearest, ()]
            assert bounds.least - 1e-5 <= through / 0.01 <= bounds.most + 1e-5, (node, nearest)
            wide = max(wide, bounds.most - bounds.least)
    assert wide < 1


@asks_ngspice
@pytest.mark.parametrize("seed", range(4))
def test_drop_along_a_bus(seed: int, tmp_path: Path) -> None:
    """There and back over several runs of wire, one after the other: what is lost on each."""
    r = Random(100 + seed)
    runs = [
        Run(Fraction(r.randint(1, 90), 10), r.choice([12, 14, 16, 18, 22]))
        for _ in range(r.randint(1, 4))
    ]
    amps = Fraction(r.randint(1, 30), 10)
    lines, nodes = ["Vbus a0 b0 14", "Rground b0 0 1"], []
    for i, run in enumerate(runs):
        ohms = float(run.length) * ohms_per_meter(run.gauge)
        lines += [f"Ra{i} a{i} a{i + 1} {ohms:.12g}", f"Rb{i} b{i} b{i + 1} {ohms:.12g}"]
        nodes.append(f"v(a{i + 1})-v(b{i + 1})")
    lines.append(f"Iload a{len(runs)} b{len(runs)} {float(amps):.12g}")
    left = [14.0, *simulated(lines, nodes, tmp_path)]
    for run, (before, after) in zip(runs, pairwise(left), strict=True):
        assert volts_lost(run, amps) == pytest.approx(before - after, abs=1e-5)


# ------------------------------------------------------------------ what detectors see


def block(feeders: str, detectors: Sequence[str], trains: str, rail: str = "") -> str:
    """A block Main of 2.4 m with some feeders and detectors."""
    return "\n".join([
        "edge West, East", "supply Rails track power DCC 14 V", "district Town fed by Rails", rail,
        f"block Main 2400 mm in Town feeders {feeders}", "block Near",
        "track West = Near | Main = East", "signal 2R at Near | Main", "  Clear when Main clear",
        "  Stop otherwise", *detectors, trains,
    ])  # fmt: skip


def standing_on(plan: Plan, name: str) -> Observable:
    """Where stock stands on a block."""
    return next(what for what in plan.inputs if (what.kind, what.name) == ("standing", name))


TRAINS = "trains 300 mm to 2200 mm"


@pytest.mark.parametrize(("ohms", "status"), [("7 kohm", "proved"), ("7.1 kohm", "broken")])
def test_practice_two_rings_share_what_a_block_draws(ohms: str, status: str) -> None:
    """[C] Of 2 mA (14 V over 7 kohm) one of two rings gets 1 mA; of less, perhaps neither."""
    rings = [f"detector D{n} current-sensing through m{n} sensitivity 1 mA" for n in (1, 2)]
    report = prove(block("m1, m2", rings, f"{TRAINS}, wheelsets {ohms}"))
    unsafe = "proceed-into-occupied: 2R, Main" in broken(report)
    assert unsafe == (status == "broken")


def test_practice_two_rings_of_unknown_kind_are_taken_to_see_enough() -> None:
    """What is not declared stands beside the verdict."""
    rings = [f"detector D{n} current-sensing through m{n}" for n in (1, 2)]
    report = prove(block("m1, m2", rings, TRAINS))
    assert "proceed-into-occupied: 2R, Main" not in broken(report)
    assert any("divides between several detectors" in text for text in report.assumed)


PLACES = "m1 at 400 mm, m2 at 1200 mm, m3 at 2000 mm over 1 ft of 22 AWG"


@pytest.mark.parametrize(("milliamperes", "rail", "unseen"), [
    ("1 mA", "rail code 83 soldered", False), ("2 mA", "rail code 83 soldered", True),
    ("1 mA", "rail code 83", True), ("1 mA", "", True),
])  # fmt: skip
def test_practice_one_feeder_of_three_past_the_ring(
    milliamperes: str, rail: str, unseen: bool
) -> None:
    """[C] The shared notes on sources: some quarter of 7 mA still passes the ring, so that one set
    to 1 mA sees stock anywhere, one set to 2 mA may not; nor if a joint may be open."""
    ring = f"detector D current-sensing through m1, m3 sensitivity {milliamperes}"
    report = prove(block(PLACES, [ring], f"{TRAINS}, wheelsets 2 kohm", rail))
    assert ("proceed-into-occupied: 2R, Main" in broken(report)) == unseen


def test_practice_one_drop_of_several_through_the_ring() -> None:
    """Common practice, no source: seen only near that drop."""
    ring = "detector D current-sensing through m1 sensitivity 4 mA"
    text = block(PLACES, [ring], f"{TRAINS}, load 7 mA to 7 mA", "rail code 83 soldered")
    plan = prove(text).plan
    (division,) = plan.equipment.divisions.values()
    heard = observables.block_report("Main")
    says = {
        (place, state): Evaluator(plan).states(facts, [heard])[heard]
        for place in ("at m1", "at m3")
        for state in division.what.values
        if (facts := Situation.of([(standing_on(plan, "Main"), place), (division.what, state)]))
    }
    assert {says["at m3", state] for state in division.what.values} == {"clear"}
    assert {says["at m1", state] for state in division.what.values} == {"clear", "occupied"}


@pytest.mark.parametrize(("through", "off"), [("m1, m2, m3", False), ("m1, m3", True)])
def test_practice_the_sure_test_of_feeders(through: str, off: bool) -> None:
    """Common practice, no source: open the detected leads, and the rail goes dead; where the file
    has a feeder run past the detector, only once that is off the bus too."""
    ring = f"detector D current-sensing through {through}"
    ((place, do, rails, _),) = sure_tests(built(block(PLACES, [ring], TRAINS))).rows
    assert place == "Main"
    assert do.startswith("take m2 off the bus; ") == off
    assert "open the leads of m1" in do and rails.startswith("dead everywhere")


FOOT = "over 1 ft of 22 AWG"


@pytest.mark.parametrize(
    ("own", "other", "bus", "why"),
    [
        ("", "", "", ""),
        ("fuse 1 A", "fuse 1 A", "", "the fuse of m1"),
        ("fuse 1 A", "", "", "the fuse of m1"),
        ("", "fuse 1 A resettable trips at 2 A", "", "the fuse of m2"),
        ("", "", "sub-bus SB feeds m1, m2 fuse 1 A", ""),
        ("", "", "sub-bus SB feeds m1 fuse 1 A", "some of them come from a sub-bus"),
    ],
)
def test_practice_a_fuse_in_a_feeder_adds_to_its_wire(
    own: str, other: str, bus: str, why: str
) -> None:
    """[C] A fuse has tens of milliohms, a resettable one up to ohms, a foot of 22 AWG some 16: with
    one in a single feeder nothing is known of the shares; one before all of them changes none."""
    ring = "detector D current-sensing through m1 turns 2 sensitivity 1 mA"
    feeders = f"m1 at 400 mm {FOOT} {own}\n  feeders m2 at 2000 mm {FOOT} {other}"
    rail = f"rail code 100 soldered\n{bus}"
    report = prove(block(feeders, [ring], f"{TRAINS}, wheelsets 1 kohm", rail))
    assert ("proceed-into-occupied: 2R, Main" in broken(report)) == bool(why)
    said = " ".join(report.assumed)
    assert ("joints and terminals" in said) != bool(why)
    assert ("does not follow from the file" in said) == bool(why)
    assert why in said
