"""Current that divides through points: logic and solver against the evaluator, where rails between
feeders are known and detectors are fine or coarse by chance."""

from collections import Counter
from random import Random

from tests.differential.test_wired import check
from tests.sweep import NIGHTLY
from verifier.api import load_text

SEEDS = range(200) if NIGHTLY else (11, 18)


def throat(r: Random) -> str:
    """A block with one turnout or two, feeders on both sides of the points, and a detector that
    some of them bypass."""
    two = r.random() < 0.5
    sides = ["before T1", "beyond normal T1", f"beyond reverse {'T3' if two else 'T1'}"]
    at = [f"f{i} at {r.choice([250, 600, 900])} mm {side}" for i, side in enumerate(sides)]
    bond = r.choice(["", *[" bonded over 4 in of 22 AWG"] * 3])
    through = r.sample(["f0", "f1", "f2"], r.choice([1, 2]))
    joint = "T3 normal" if two else "B"
    return "\n".join([
        "edge West, A-East, B-East", "supply Rails track power DCC 14 V",
        f"district Town fed by Rails rail code 83 {r.choice(['', *['soldered'] * 5])}",
        "block Single, A, B",
        f"block Throat in Town feeders {', '.join(at)} over 1 ft of 22 AWG",
        f"turnout T1 in Throat fouling point 200 mm{bond}",
        *([f"turnout T3 in Throat points at 500 mm beyond reverse T1{bond}"] if two else []),
        "track West = Single | T1 normal | A = A-East",
        f"track T1 reverse {'=' if two else '|'} {joint}{' | B' if two else ''} = B-East",
        *(["bumper End", "track T3 reverse = End"] if two else []),
        f"detector D current-sensing through {', '.join(through)}",
        f"  sensitivity {r.choice([2, 5, 20])} mA turns {r.choice([1, 8, 40])}",
        f"trains 300 mm to 900 mm, load {r.choice(['7', '5', '4'])} mA to {r.choice([7, 8])} mA",
        "signal 2 at Single | T1", "  Clear when T1 normal and Throat, A clear", "  Stop otherwise",
    ]) + "\n"  # fmt: skip


def test_throats_agree() -> None:
    """And enough of what is surely seen, and surely not, among them."""
    came_out: Counter[str] = Counter()
    for seed in SEEDS:
        text = throat(Random(seed))
        for division in load_text(text).equipment.divisions.values():
            came_out["surely"] += bool(division.surely)
            came_out["never"] += bool(division.never)
            came_out["known"] += bool(division.known)
        came_out += check(text, Random(seed))
    assert came_out["known"] == len(SEEDS)
    assert came_out["surely"] and came_out["never"]
    assert came_out["proved"] > len(SEEDS)
