"""Generated irregular stations: places with points, joined by tracks at random, with all locking.

    python -m tests.benchmarks.stations BLOCKS [SEED [DEFECT]]

For each block as many points, signal groups and relays as a station of 12 blocks, 7 groups of
points and signals and 15 relays. Tracks join places (some twice: passing tracks), or end at an edge
or a bumper. Places differ in how routes are released and canceled and points are thrown, and in
the order of their statements. :mod:`tests.benchmarks.interlockings` says why they are safe.
"""

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil
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
    crossover,
    trees,
)

# Points and relays of the station that the sizes are taken from, of 12 blocks.
POINTS, RELAYS, BLOCKS = 7, 15, 12


@dataclass(frozen=True, slots=True)
class Size:
    """How much of everything there is in a station."""

    blocks: int
    places: int
    points: int
    relays: int
    crossovers: int
    leads: int
    leaving_only: int
    links: int

    @property
    def tracks(self) -> int:
        """All plain track but leads."""
        return self.blocks - self.places - self.leads


def size_of(blocks: int) -> Size:
    """The size of a station of so many blocks."""
    places = round(5 * blocks / 16)
    points = round(POINTS * blocks / BLOCKS)
    leads = blocks // 16
    tracks = blocks - places - leads
    relays = round(RELAYS * blocks / BLOCKS)
    # Each crossover has four relays, other places two, and each place up to two further ones.
    crossovers = max(1, ceil((relays - 4 * places) / 2), places // 5)
    ports = points + 2 * places + crossovers
    leaving_only = ceil(0.15 * ports)
    links = ports - leaving_only - tracks
    return Size(blocks, places, points, relays, crossovers, leads, leaving_only, links)


def station(blocks: int, seed: int = 0, defect: Defect | None = None) -> str:
    """The junction file of a station with so many blocks (8 or more).

    Raises NotApplicable where it has no place for the defect."""
    r = Random(f"station of {blocks}, {seed}")
    size = size_of(blocks)
    places, tracks = _laid_out(r, size)
    _choose(r, size, places, tracks)
    draw = Random(f"defect of {blocks}, {seed}")
    title = f"A generated station of {blocks} blocks, seed {seed}"
    return Writer(r, places, tracks, draw, defect).text(title)


# ------------------------------------------------------------------ topology


def _laid_out(r: Random, size: Size) -> tuple[list[Place], list[Track]]:
    """Places and tracks; drawn again until they can be joined in the numbers wanted."""
    while True:
        places = _places(r, size)
        tracks = _joined(r, size, places)
        if tracks is not None:
            return places, tracks


def _places(r: Random, size: Size) -> list[Place]:
    others = size.places - size.crossovers
    turnouts = [1] * others
    for _ in range(size.points - size.places):
        turnouts[r.randrange(others)] += 1
    kinds: list[int] = [*turnouts, *[0] * size.crossovers]
    r.shuffle(kinds)
    return [
        trees(r, n, r.randint(0, k), k) if k else crossover(r, n) for n, k in enumerate(kinds, 1)
    ]


def _joined(r: Random, size: Size, places: list[Place]) -> list[Track] | None:
    """Tracks between places and to the ends of the plan. None: they did not come out."""
    free: dict[Side, list[tuple[Place, Port]]] = {
        side: [(place, port) for place in places for port in place.ports if port.side == side]
        for side in OTHER
    }
    links: list[Track] = []

    def join(west: tuple[Place, Port], east: tuple[Place, Port]) -> None:
        track = Track(f"Track-{len(links) + 1}", {"left": west, "right": east})
        west[1].track = east[1].track = track
        free["right"].remove(west)
        free["left"].remove(east)
        links.append(track)

    for place in places[1:]:
        east = r.choice([at for at in free["left"] if at[0] is place])
        join(r.choice([at for at in free["right"] if at[0].number < place.number]), east)
    while len(links) < size.links:
        pairs = [(w, e) for w in free["right"] for e in free["left"] if w[0].number < e[0].number]
        if not pairs:
            return None
        join(*r.choice(pairs))
    if len(links) > size.links:
        return None
    left_over = [*free["left"], *free["right"]]
    r.shuffle(left_over)
    if not _leaving(left_over, size.leaving_only):
        return None
    ends = [at for at in left_over if not at[1].leaving_only]
    return [*links, *_ends(r, ends)] if _with_leads(r, size, places) else None


def _leaving(left_over: list[tuple[Place, Port]], wanted: int) -> bool:
    """Make so many ports of trees leaving only; each side keeps an entrance."""
    for place, port in left_over:
        entrances = [p for p in place.ports if p.side == port.side and not p.leaving_only]
        if wanted and not place.groups and len(entrances) > 1:
            port.leaving_only = True
            wanted -= 1
    return not wanted


def _ends(r: Random, left_over: list[tuple[Place, Port]]) -> Iterator[Track]:
    """A track from each port to an edge or, one in four, a bumper; one edge at least."""
    for i, (place, port) in enumerate(left_over):
        bumper = i > 0 and r.random() < 0.25
        name = f"{'Stub' if bumper else 'Approach'}-{port.name}"
        side = OTHER[port.side]
        track = Track(name, {side: (place, port)}, "bumper" if bumper else "edge")
        port.track = track
        yield track


def _with_leads(r: Random, size: Size, places: list[Place]) -> bool:
    """Put a lead before the points of some places, on a side with one port."""
    fit = [
        (place, port)
        for place in places
        if not place.groups
        for port in place.ports
        if not port.needs and not port.leaving_only
    ]
    if len({place.number for place, _ in fit}) < size.leads:
        return False
    r.shuffle(fit)
    for place, port in fit:
        if size.leads > sum(p.lead is not None for p in places) and place.lead is None:
            place.lead = port.first = f"Lead-{place.number}"
    return True


# ------------------------------------------------------------------ styles


def _choose(r: Random, size: Size, places: list[Place], tracks: list[Track]) -> None:
    """Draw the styles, so that the number of relays comes out."""
    for place in places:
        if not place.groups:
            for port in place.ports:
                if not port.leaving_only:
                    place.groups.setdefault(f"{ONWARD[port.side]}-{place.number}", []).append(port)
        place.remembers = place.lead is not None
    room = size.relays - sum(len(p.groups) + p.remembers for p in places)
    options = [(p, True) for p in places if not p.lead]
    options += [(p, False) for p in places]
    for place, remembers in r.sample(options, room):
        if remembers:
            place.remembers = True
        else:
            place.by_button = True
    by_traffic: dict[tuple[int, ...], bool] = {}
    for track in tracks:
        ends = [place for place, _ in track.ends.values()]
        # All tracks between two places alike: relays of theirs that exclude each other for one
        # of these tracks would guard the others as well.
        if not track.beyond:
            drawn = r.random() < 0.5 or not all(p.remembers for p in ends)
            track.traffic = by_traffic.setdefault(tuple(p.number for p in ends), drawn)


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("blocks", type=int)
    options.add_argument("seed", type=int, nargs="?", default=0)
    options.add_argument("defect", choices=DEFECTS, nargs="?")
    chosen = options.parse_args()
    print(station(chosen.blocks, chosen.seed, chosen.defect), end="")


if __name__ == "__main__":
    main()
