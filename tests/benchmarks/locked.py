"""A single-track line of passing sidings with routes, time locking and direction of traffic,
proved over time; and the same asked of the outside engine as a whole.

    python -m tests.benchmarks.locked [--sizes 1,2,4,8,16] [--outside 1,2,4,8]

Every control point is one use of one module. Times are of one run each; compare them with each
other, in one run on one machine.
"""

import argparse
import tempfile
import time
from collections.abc import Iterator
from itertools import pairwise
from math import log
from pathlib import Path

import verifier
from tests.engines.ic3_checker import COMMAND, can_be_reached
from verifier.engines.interchange.aig import gates
from verifier.logic.expr import disjunction
from verifier.plan.model import Plan
from verifier.properties.catalog import BY_NAME, CATALOG
from verifier.world.history import Histories

END = """
module End (main, siding, single, go, far-in, far-set-in)
  block Switch
  button Set-In, Set-Out, Cancel
  lever T1-lever positions normal, reverse
  turnout T1 in Switch
    thrown by T1-lever
    locked while Switch occupied or any of In, Out up
  condition Ready is Used, Back down and not Time running and not Time done
  relay In
    picks when Set-In pressed and not any of Set-Out, far-set-in pressed and Out, far-in down
        and Ready and Switch clear
        and ((T1 normal and main clear) or (T1 reverse and siding clear))
    sticks while not (Used up and Switch clear) and not Time done
  relay Out
    picks when Set-Out pressed and not Set-In pressed and In down and Ready and not T1 moving
        and Switch clear and go
    sticks while not (Used up and Switch clear) and not Time done
  relay Used
    picks when Switch occupied and any of In, Out up
    sticks while any of In, Out up
  relay Back
    picks when Cancel pressed and any of In, Out up
    sticks while any of In, Out up
  timer Time 30 s runs while Back up and Switch clear
  signal L at single | T1
    heads upper, lower
    Approach            when In up and Ready and T1 normal and Switch, main clear
    Diverging-Approach  when In up and Ready and T1 reverse and Switch, siding clear
    Stop                otherwise
  signal RA at main | T1
    Clear  when Out up and Ready and T1 normal and Switch, single clear
    Stop   otherwise
  signal RB at siding | T1
    Clear  when Out up and Ready and T1 reverse and Switch, single clear
    Stop   otherwise
end
"""

# What is asked: all of locking but loss of shunt, which is advice against dirty rail.
ASKED = [p.name for p in CATALOG if p.group == "locking" and p.name != "loss-of-shunt"]


def locked_line(sidings: int) -> str:
    """A junction file of so many passing sidings, with two control points each."""
    return "\n".join(["edge West-End, East-End", END, *_blocks(sidings), *_track(sidings)])


def _blocks(sidings: int) -> Iterator[str]:
    yield "condition Go-West-0 is Single-0 clear"
    yield f"condition Go-East-{sidings} is Single-{sidings} clear"
    for i in range(sidings + 1):
        yield f"block Single-{i}"
    for i in range(1, sidings + 1):
        yield f"block Main-{i}, Siding-{i}"
        for end, other, single in (("West", "East", i - 1), ("East", "West", i)):
            yield (
                f"use End as {end}-{i} with main = Main-{i}, siding = Siding-{i}, single = "
                f"Single-{single}, go = Go-{end}-{single}, far-in = {other}-{i}.In, "
                f"far-set-in = {other}-{i}.Set-In"
            )
    for i in range(1, sidings):
        ends = f"East-{i}", f"West-{i + 1}"
        out, switch = (", ".join(f"{end}.{what}" for end in ends) for what in ("Out", "Switch"))
        yield f"button Rightward-{i}, Leftward-{i}"
        yield f"traffic Way-{i} on Single-{i}"
        yield f"  rightward when Rightward-{i} pressed leftward when Leftward-{i} pressed"
        yield f"  locked while any of Single-{i}, {switch} occupied or any of {out} up"
        yield f"condition Go-East-{i} is Single-{i} clear and Way-{i} rightward"
        yield f"  and not Leftward-{i} pressed"
        yield f"condition Go-West-{i} is Single-{i} clear and Way-{i} leftward"
        yield f"  and not Rightward-{i} pressed"


def _track(sidings: int) -> Iterator[str]:
    steps = ["West-End = Single-0"]
    for i in range(1, sidings + 1):
        steps.append(f"West-{i}.T1 normal | Main-{i} | normal East-{i}.T1 | Single-{i}")
        yield f"track West-{i}.T1 reverse | Siding-{i} | reverse East-{i}.T1"
    yield "track " + " | ".join(steps) + " = East-End"


def proved(plan: Plan) -> float:
    """Seconds for all that is asked of a line; it must all be proved."""
    start = time.perf_counter()
    report = verifier.prove(plan, only=ASKED)
    seconds = time.perf_counter() - start
    open_ones = [v.obligation.key for v in report.verdicts if v.status != "proved"]
    if open_ones:
        raise SystemExit(f"the generated line does not prove: {open_ones[:3]}")
    return seconds


def outside(plan: Plan) -> float:
    """Seconds of the outside engine for all collisions and derailments at once."""
    histories = Histories(plan)
    bad = disjunction(
        *(
            histories.expand(o.formula)
            for name in ("collision", "derailment")
            for o in BY_NAME[name].make(plan)
        )
    )
    with tempfile.TemporaryDirectory() as folder:
        asked = gates(histories.system, [bad])
        start = time.perf_counter()
        if can_be_reached(asked.circuit, 0, Path(folder), 600):
            raise SystemExit("the outside engine finds a history")
        return time.perf_counter() - start


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--sizes", default="1,2,4,8,16")
    options.add_argument("--outside", default="1,2,4,8" if COMMAND else "")
    chosen = options.parse_args()
    theirs = {int(size) for size in chosen.outside.split(",") if size}
    found: list[tuple[int, float]] = []
    print(f"{'sidings':>8} {'bits':>6} {'asked here, s':>14} {'outside, whole line, s':>24}")
    for size in sorted({int(size) for size in chosen.sizes.split(",")} | theirs):
        plan = verifier.load_text(locked_line(size))
        bits = sum(len(what.values) - 1 for what in Histories(plan).system.states)
        seconds = proved(plan)
        found.append((size, seconds))
        beside = f"{outside(plan):24.1f}" if size in theirs else ""
        print(f"{size:>8} {bits:>6} {seconds:>14.1f} {beside}", flush=True)
    for (few, first), (many, last) in pairwise(found):
        print(f"exponent from {few} to {many}: {log(last / first) / log(many / few):.2f}")


if __name__ == "__main__":
    main()
