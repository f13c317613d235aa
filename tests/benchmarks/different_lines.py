"""Generated single-track lines of passing sidings with all locking, whose control points all
differ.

    python -m tests.benchmarks.different_lines SIDINGS [SEED [DEFECT]]

Each siding has two control points. They differ in the delay of their timer, how routes are released
and canceled, how many relays store them, how points are thrown and which leg leads to the main, a
lead before the points, a spur, the aspects and heads of their signals, how trains are kept from
meeting on the tracks beside them, and the order of their statements.
:mod:`tests.benchmarks.interlockings` says why they are safe.
"""

import argparse
from random import Random

from tests.benchmarks.interlockings import (
    DEFECTS,
    ONWARD,
    OTHER,
    Defect,
    Place,
    Port,
    Side,
    Track,
    Writer,
    trees,
)

# Seconds a timer may run; trains need 20 s to stop.
DELAYS = (30, 35, 40, 45, 50, 55, 60)
End = tuple[Place, Port]


def different_line(sidings: int, seed: int = 0, defect: Defect | None = None) -> str:
    """The junction file of a line with so many passing sidings.

    Raises NotApplicable where it has no place for the defect."""
    r = Random(f"line of {sidings}, {seed}")
    places = [_control_point(r, number) for number in range(1, 2 * sidings + 1)]
    tracks = [*_singles(r, places)]
    for i in range(sidings):
        tracks += _siding(r, i + 1, places[2 * i], places[2 * i + 1])
    draw = Random(f"defect of line of {sidings}, {seed}")
    return Writer(r, places, tracks, draw, defect).text(f"A line of {sidings} sidings, seed {seed}")


def _control_point(r: Random, number: int) -> Place:
    """One end of a siding: a turnout, one in four with a second one for a spur."""
    turnouts = 2 if r.random() < 0.25 else 1
    west = number % 2
    place = trees(r, number, 0 if west else turnouts, turnouts)
    place.by_button = r.random() < 0.5
    place.remembers = r.random() < 0.7
    place.clears = r.random() < 0.5
    place.delays = (r.choice(DELAYS),)
    if r.random() < 0.3:
        place.heads = ("upper", "middle", "lower")
    single = _single(place)
    if r.random() < 0.3:
        place.remembers = True
        place.lead = single.first = f"Lead-{number}"
    legs = [port for port in place.ports if port is not single]
    place.groups = {f"{ONWARD[single.side]}-{number}": [single]}
    if r.random() < 0.3:
        place.groups |= {f"{ONWARD[port.side]}-{port.name}": [port] for port in legs}
    else:
        place.groups[f"{ONWARD[legs[0].side]}-{number}"] = legs
    return place


def _single(place: Place) -> Port:
    """The port toward the single track: the one that no points lie for."""
    return next(port for port in place.ports if not port.needs)


def _singles(r: Random, places: list[Place]) -> list[Track]:
    """The single track: from the plan's edges, and between sidings."""
    first, last = places[0], places[-1]
    tracks = [
        _track("Single-0", {"right": (first, _single(first))}, None),
        _track(f"Single-{len(places) // 2}", {"left": (last, _single(last))}, None),
    ]
    for west, east in zip(places[1:-1:2], places[2::2], strict=True):
        ends: dict[Side, End] = {"left": (west, _single(west)), "right": (east, _single(east))}
        tracks.append(_track(f"Single-{west.number // 2}", ends, _draws_traffic(r, west, east)))
    return tracks


def _siding(r: Random, number: int, west: Place, east: Place) -> list[Track]:
    """The two tracks of a siding, and spurs from the legs left over."""
    traffic = _draws_traffic(r, west, east)
    legs: list[list[Port]] = []
    for place in (west, east):
        legs.append([port for port in place.ports if port.needs])
        r.shuffle(legs[-1])
    tracks = []
    for name, one, other in zip(("Main", "Siding"), legs[0], legs[1], strict=False):
        ends: dict[Side, End] = {"left": (west, one), "right": (east, other)}
        tracks.append(_track(f"{name}-{number}", ends, traffic))
    for place, ports in zip((west, east), legs, strict=True):
        for port in ports[2:]:
            end: dict[Side, End] = {OTHER[port.side]: (place, port)}
            spur = Track(f"Spur-{place.number}", end, "bumper")
            port.track = spur
            tracks.append(spur)
    return tracks


def _draws_traffic(r: Random, west: Place, east: Place) -> bool:
    """Whether a direction of traffic keeps trains apart; relays need ones that remember."""
    return r.random() < 0.5 or not (west.remembers and east.remembers)


def _track(name: str, ends: dict[Side, End], traffic: bool | None) -> Track:
    """A track between two places, or, where ``traffic`` is None, to an edge."""
    track = Track(name, ends, "edge" if traffic is None else "", bool(traffic))
    for _, port in ends.values():
        port.track = track
    return track


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("sidings", type=int)
    options.add_argument("seed", type=int, nargs="?", default=0)
    options.add_argument("defect", choices=DEFECTS, nargs="?")
    chosen = options.parse_args()
    print(different_line(chosen.sidings, chosen.seed, chosen.defect), end="")


if __name__ == "__main__":
    main()
