"""How the current of stock divides where not all feeders of a block pass through one detector.

In: the wiring and the track. Out: for each such detector and block a :class:`Division`: where the
detector surely detects stock, where it surely does not, and, left open, all else. Both semantics
read these facts.

A detector is taken to be a coil around the wire, which adds no resistance, and the feeders of a
block to leave one point of the bus.
"""

from collections.abc import Mapping
from dataclasses import replace

from verifier.plan.model import Track
from verifier.plan.wiring.equipment import Division, Spot
from verifier.plan.wiring.rail_circuit import rail_circuit
from verifier.plan.wiring.rail_network import Between, Unknown
from verifier.plan.wiring.rail_shares import ROUNDING, share_near
from verifier.plan.wiring.wiring_model import Detector, Number, Wiring

WHOLE = Number(1)


def divisions(wiring: Wiring, track: Track) -> dict[tuple[str, str], Division]:
    """Every division, by detector and block."""
    found = {}
    for detector in wiring.detectors.values():
        for block in dict.fromkeys(wiring.feeders[name].block for name in detector.through):
            names = [feeder.name for feeder in wiring.feeders_of(block)]
            past = tuple(name for name in names if name not in detector.through)
            if past:
                through = tuple(name for name in names if name in detector.through)
                known = Division(
                    detector.name, block, through, past, rail_circuit(block, wiring, track),
                    margin(detector, block, wiring), _most(detector, wiring),
                )  # fmt: skip
                found[detector.name, block] = _claimed(known)
    return found


def together(wiring: Wiring, share: Number = WHOLE) -> dict[str, tuple[str, ...]]:
    """By block, the detectors that its feeders pass through, where there are several and one of
    them surely detects whatever all of these feeders carry: such a share of what stock draws."""
    found = {}
    for block in dict.fromkeys(feeder.block for feeder in wiring.feeders.values()):
        own = {feeder.name for feeder in wiring.feeders_of(block)}
        through = [d for d in wiring.detectors.values() if own.intersection(d.through)]
        margins = [margin(d, block, wiring) for d in through]
        known = [m for m in margins if m is not None]
        # Were each to get less than it needs, these shares would come to less than the whole.
        enough = len(known) < len(margins) or sum(1 / m for m in known) <= share
        if len(through) > 1 and enough and not any(wiring.is_blind(d) for d in through):
            found[block] = tuple(d.name for d in through)
    return found


# ------------------------------------------------------------------ currents


def least_load(block: str, wiring: Wiring) -> Number | None:
    """The least current that stock to be detected draws on a block; None where the file does not
    say: its `load`, or track voltage over the resistance of a wheelset."""
    trains, supply = wiring.trains, wiring.power_of(block)
    if trains is None:
        return None
    loads = [trains.load] if trains.load is not None else []
    if trains.wheelsets and supply and (volts := wiring.volts_of(supply.name)):
        loads.append(volts / trains.wheelsets)
    return min(loads, default=None)


def margin(detector: Detector, block: str, wiring: Wiring) -> Number | None:
    """The current that the weakest detectable stock draws, as a multiple of what the detector
    needs; None where the file does not give all that this depends on."""
    load = least_load(block, wiring)
    if load is None or not detector.sensitivity:
        return None
    return load * detector.turns / detector.sensitivity


def _most(detector: Detector, wiring: Wiring) -> Number | None:
    """The same for the strongest stock."""
    trains = wiring.trains
    if trains is None or trains.most_load is None or not detector.sensitivity:
        return None
    return trains.most_load * detector.turns / detector.sensitivity


# ------------------------------------------------------------------ shares


def _claimed(division: Division) -> Division:
    """With where the detector surely detects stock on the block, and where it surely does not."""
    least, most = division.weakest, division.strongest
    surely: set[Spot] = set()
    never: set[Spot] = set()
    known = shares(division)
    for spot, share in known.items():
        if least is not None and share.least * (1 - ROUNDING) * float(least) >= 1:
            surely.add(spot)
        if most is not None and share.most * (1 + ROUNDING) * float(most) < 1:
            never.add(spot)
    return replace(
        division, known=frozenset(known), surely=frozenset(surely), never=frozenset(never)
    )


def shares(division: Division) -> Mapping[Spot, Between]:
    """The share of current that passes a detector, by the feeder stock is nearest to and the
    feeders that are broken, at most one; where none is given, it may be anything."""
    circuit = division.circuit
    if isinstance(circuit, Unknown):
        return {}
    names = tuple(tap.feeder for tap in circuit.taps)
    found: dict[Spot, Between] = {}
    for broken in ((), *((name,) for name in names)):
        left = {*names}.difference(broken)
        counted = left.intersection(division.through)
        if counted and counted != left:
            rest = circuit.without(broken)
            for near in names:
                share = share_near(rest, counted, near)
                if share is not None:
                    found[near, broken] = share
    return found
