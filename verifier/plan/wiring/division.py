"""How the current of stock divides where not all feeders of a block pass through one detector.

In: the wiring and the track. Out: for each such detector and block a :class:`Division`: where the
detector surely detects stock, where it surely does not, and, left open, all else. Both semantics
read these facts.

A detector is taken to be a coil around the wire, which adds no resistance, and the feeders of a
block to leave one point of the bus.
"""

from collections.abc import Mapping
from itertools import pairwise
from math import inf

from verifier.plan.model import Track
from verifier.plan.wiring.electrical_constants import ohms_per_meter
from verifier.plan.wiring.equipment import Division, Spot
from verifier.plan.wiring.ladder import ROUNDING, Between, Tap, share_along
from verifier.plan.wiring.wiring_model import Detector, Feeder, Number, Wiring

# Copper at 20 °C, and by how much it may differ: from the cold to 75 °C, where it has about a fifth
# more, and the tolerance of the wire (common practice, no source).
COPPER_LEAST, COPPER_MOST = 0.9, 1.25


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
                surely, never = _claims(detector, block, wiring, track)
                found[detector.name, block] = Division(
                    detector.name, block, through, past, surely, never
                )
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
    if trains.wheelsets and supply and supply.volts:
        loads.append(supply.volts / trains.wheelsets)
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


def _claims(
    detector: Detector, block: str, wiring: Wiring, track: Track
) -> tuple[frozenset[Spot], frozenset[Spot]]:
    """Where a detector surely detects stock on a block, and where it surely does not."""
    least, most = margin(detector, block, wiring), _most(detector, wiring)
    surely: set[Spot] = set()
    never: set[Spot] = set()
    for spot, share in shares(detector, block, wiring, track).items():
        if least is not None and share.least * (1 - ROUNDING) * float(least) >= 1:
            surely.add(spot)
        if most is not None and share.most * (1 + ROUNDING) * float(most) < 1:
            never.add(spot)
    return frozenset(surely), frozenset(never)


def shares(detector: Detector, block: str, wiring: Wiring, track: Track) -> Mapping[Spot, Between]:
    """The share of current that passes a detector, by the feeder stock is nearest to and the
    feeders that are broken, at most one; empty where it may be anything."""
    feeders = wiring.feeders_of(block)
    rail, length = wiring.rails.get(block), wiring.lengths.get(block)
    taps = {f.name: tap for f in feeders if (tap := _tap(f, detector))}
    names = {feeder.name for feeder in feeders}
    beside = (d for d in wiring.detectors.values() if names.intersection(d.through))
    coils = all(d.by in (None, "coil") for d in beside)  # diodes hold some of the voltage back
    # Of feeders from several places along the bus, nothing is known.
    one_source = len({wiring.sub_bus_of(feeder.name) for feeder in feeders}) == 1
    whole = coils and one_source and is_plain(block, track)
    if rail is None or length is None or len(taps) < len(feeders) or not whole:
        return {}
    ohms = Between(float(rail.least), float(rail.most) if rail.soldered else inf)
    found: dict[Spot, Between] = {}
    for nearest, (first, last) in _stretches(taps, float(length)).items():
        for broken in ((), *((name,) for name in taps)):
            left = [tap for name, tap in taps.items() if name not in broken]
            if any(tap.counted for tap in left) and not all(tap.counted for tap in left):
                found[nearest, broken] = share_along(left, ohms, first, last)
    return found


def _tap(feeder: Feeder, detector: Detector) -> Tap | None:
    if feeder.at is None or feeder.run is None:
        return None
    # One rail takes one of the two wires of a run.
    ohms = float(feeder.run.length) * ohms_per_meter(feeder.run.gauge)
    wire = Between(ohms * COPPER_LEAST, ohms * COPPER_MOST)
    return Tap(float(feeder.at), wire, feeder.name in detector.through)


def _stretches(taps: Mapping[str, Tap], length: float) -> dict[str, tuple[float, float]]:
    """By feeder, the stretch of the block that is nearer to it than to any other."""
    ends = sorted({tap.at for tap in taps.values()})
    middles = [(one + other) / 2 for one, other in pairwise(ends)]
    bounds = dict(zip(ends, zip((0.0, *middles), (*middles, length), strict=True), strict=True))
    return {name: bounds[tap.at] for name, tap in taps.items()}


def is_plain(block: str, track: Track) -> bool:
    """Whether a block is one stretch of plain track, so that a length from its left end means one
    place."""
    pieces = [piece for piece in track.pieces.values() if piece.block == block]
    return (
        len(pieces) == 1
        and pieces[0].kind == "plain"
        and not any(joint.a.piece == joint.b.piece == pieces[0].name for joint in track.joints)
    )
