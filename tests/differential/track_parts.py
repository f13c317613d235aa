"""Track for generated junctions: building blocks put together at random.

In: a random source. Out: the statements of a track with no signals, as text.
"""

from dataclasses import dataclass, field
from random import Random


@dataclass
class Draft:
    """What has been drawn so far. ``room`` is how many more situations it may grow by."""

    r: Random
    room: float
    blocks: list[str] = field(default_factory=list)
    dark: set[str] = field(default_factory=set)
    edges: list[str] = field(default_factory=list)
    bumpers: list[str] = field(default_factory=list)
    turnouts: list[str] = field(default_factory=list)
    declared: list[str] = field(default_factory=list)
    tracks: list[str] = field(default_factory=list)
    gaps: int = 0

    def takes(self, factor: float) -> bool:
        """Use up room, where there is some."""
        if factor > self.room:
            return False
        self.room /= factor
        return True

    def block(self) -> str:
        self.room /= 2
        self.blocks.append(f"B{len(self.blocks) + 1}")
        return self.blocks[-1]

    def turnout(self, block: str) -> str:
        self.room /= 3
        self.turnouts.append(f"T{len(self.turnouts) + 1}")
        self.declared.append(f"turnout {self.turnouts[-1]} in {block}")
        return self.turnouts[-1]

    def end(self) -> str:
        """An end of the plan to the right or left of something."""
        if self.r.random() < 0.2:
            self.bumpers.append(f"Bumper{len(self.bumpers) + 1}")
            return self.bumpers[-1]
        self.edges.append(f"Edge{len(self.edges) + 1}")
        return self.edges[-1]

    def gap(self) -> str:
        """A gap with a name of its own, so that a signal can always say which it means."""
        self.gaps += 1
        return self.r.choice(["|", "|", "|", "||"]) + f"(g{self.gaps})"


def plain(d: Draft, left: str) -> str | None:
    if d.room < 2:
        return None
    right = d.block()
    d.tracks.append(f"{left} {d.gap()} {right}")
    return right


def siding_end(d: Draft, left: str) -> str | None:
    """A branch or a siding joins; its far end is an end of the plan."""
    if d.room < 2**3 * 3:
        return None
    switch, right, branch = d.block(), d.block(), d.block()
    t = d.turnout(switch)
    straight, aside = d.r.sample(["normal", "reverse"], 2)
    if d.r.random() < 0.5:
        d.tracks.append(f"{left} {d.gap()} {t} {straight} {d.gap()} {right}")
        d.tracks.append(f"{t} {aside} {d.gap()} {branch} = {d.end()}")
    else:
        d.tracks.append(f"{left} {d.gap()} {straight} {t} {d.gap()} {right}")
        d.tracks.append(f"{d.end()} = {branch} {d.gap()} {aside} {t}")
    return right


def passing_siding(d: Draft, left: str) -> str | None:
    """Two turnouts in blocks of their own or in those of the tracks outside."""
    own = d.r.random() < 0.4 and d.room >= 2**5 * 9
    if d.room < 2**3 * 9:
        return None
    main, siding, right = d.block(), d.block(), d.block()
    one, two = (d.block(), d.block()) if own else (left, right)
    t, u = d.turnout(one), d.turnout(two)
    a, b = (d.gap(), d.gap()) if own else ("=", "=")
    d.tracks.append(f"{left} {a} {t} normal {d.gap()} {main} {d.gap()} normal {u} {b} {right}")
    d.tracks.append(f"{t} reverse {d.gap()} {siding} {d.gap()} reverse {u}")
    return right


def crossover(d: Draft, left: str) -> str | None:
    if d.room < 2**3 * 9:
        return None
    right, other, beyond = d.block(), d.block(), d.block()
    between = d.block() if d.r.random() < 0.3 and d.room >= 18 else ""
    t, u = d.turnout(right), d.turnout(beyond)
    d.tracks.append(f"{left} {d.gap()} {t} normal = {right}")
    d.tracks.append(f"{d.end()} = {other} {d.gap()} normal {u} = {beyond} = {d.end()}")
    middle = f"{d.gap()} {between} {d.gap()}" if between else d.gap()
    d.tracks.append(f"{t} reverse {middle} reverse {u}")
    if d.r.random() < 0.8:
        d.declared.append(f"crossover K{len(d.declared)} is {t}, {u}")
    return right


def diamond(d: Draft, left: str) -> str | None:
    if d.room < 2**3:
        return None
    right, north, south = d.block(), d.block(), d.block()
    square = d.block() if d.room >= 4 and d.r.random() < 0.5 else ""
    name = f"X{len(d.declared)}"
    d.declared.append(f"crossing {name} in {square or right}")
    d.tracks.append(f"{left} {d.gap()} along {name} {d.gap() if square else '='} {right}")
    d.tracks.append(f"{d.end()} = {north} {d.gap()} across {name} {d.gap()} {south} = {d.end()}")
    return right


def slip(d: Draft, left: str) -> str | None:
    if d.room < 2**4 * 3:
        return None
    throat, right, one, two = d.block(), d.block(), d.block(), d.block()
    d.room /= 3
    d.turnouts.append(f"P{len(d.turnouts) + 1}")
    single = d.r.choice(["", " single along to across"])
    d.declared.append(f"slip {d.turnouts[-1]} in {throat}{single}")
    d.tracks.append(f"{left} {d.gap()} along {d.turnouts[-1]} {d.gap()} {right}")
    d.tracks.append(
        f"{d.end()} = {one} {d.gap()} across {d.turnouts[-1]} {d.gap()} {two} = {d.end()}"
    )
    return right


def spur(d: Draft, left: str) -> str | None:
    """A spur with or without a derail at its mouth."""
    if d.room < 2**2 * 3:
        return None
    track, right = d.block(), d.block()
    t = d.turnout(left)
    d.tracks.append(f"{left} = {t} normal {d.gap()} {right}")
    d.tracks.append(f"{t} reverse {d.gap()} {track} = {d.end()}")
    if d.r.random() < 0.7 and d.takes(3):
        d.declared.append(f"derail D{len(d.declared)} on {track} toward {t}")
    return right


def gate(d: Draft, left: str) -> str | None:
    if d.room < 8:
        return None
    bridge, right = d.block(), d.block()
    d.room /= 2
    d.declared.append(f"gate G{len(d.declared)} on {bridge}")
    d.tracks.append(f"{left} {d.gap()} {bridge} {d.gap()} {right}")
    return right


def ladder(d: Draft, left: str) -> str | None:
    if d.room < 2**3 * 9:
        return None
    right, first, second = d.block(), d.block(), d.block()
    t, u = d.turnout(right), d.turnout(right)
    d.tracks.append(f"{left} {d.gap()} {t} normal = {u} normal = {right}")
    d.tracks.append(f"{t} reverse {d.gap()} {first} = {d.end()}")
    d.tracks.append(f"{u} reverse {d.gap()} {second} = {d.end()}")
    return right


PARTS = (
    plain, siding_end, siding_end, passing_siding, crossover, diamond, slip, spur, gate, ladder,
)  # fmt: skip


def write_track(r: Random, room: float) -> Draft:
    """One to three building blocks in a row, its ends at the plan's edge or joined up."""
    d = Draft(r, room)
    first = here = d.block()
    for _ in range(r.randint(1, 3)):
        part = r.choice(PARTS)
        if len(d.turnouts) < 3 or part in (plain, diamond, gate):
            here = part(d, here) or here
    if here == first:
        here = plain(d, here) or here
    if here != first and r.random() < 0.2:
        d.tracks.append(f"{here} {d.gap()} {first}")
    else:
        d.tracks.append(f"{d.end()} = {first}")
        d.tracks.append(f"{here} = {d.end()}")
    for block in d.blocks:
        if r.random() < 0.06:
            d.dark.add(block)
    return d


def track_text(d: Draft) -> list[str]:
    """The statements of a draft, in an order in which they may stand in a file."""
    lines = []
    for edge in d.edges:
        way = d.r.choice([""] * 6 + [" entering only", " leaving only"])
        lines.append(f"edge {edge}{way}")
    lines += [f"bumper {b}" for b in d.bumpers]
    for block in d.blocks:
        words = " undetected" if block in d.dark else ""
        words += " switching only" if d.r.random() < 0.06 else ""
        lines.append(f"block {block}{words}")
    return [*lines, *d.declared, *(f"track {t}" for t in d.tracks)]
