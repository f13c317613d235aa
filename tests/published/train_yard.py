"""Abrial's train yard as explicit states: W1 of the notes on published interlockings.

J.-R. Abrial, *Modeling in Event-B*, Cambridge University Press 2010, chapter 17; the routes and
the events were read in the open benchmark `Train_1_beebook_tlc_POR.mch` of the repository
`favu100/b2program` [V]. A state is one whole number, its parts sets of bits.

In: which routes there are, and a mistake to make. Out: where it starts, what follows, and
what is wrong in a state.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise

ROUTES: Mapping[str, str] = {
    "R1": "LABC", "R2": "LABDEFG", "R3": "LABDKJN", "R4": "MHIKFG", "R5": "MHIJN",
    "R6": "CBAL", "R7": "GFEDBAL", "R8": "NJKDBAL", "R9": "GFKIHM", "R10": "NJIHM",
}  # fmt: skip
BLOCKS = "ABCDEFGHIJKLMN"
STEPS = sorted({(a, b) for path in ROUTES.values() for a, b in pairwise(path)})

# Where the parts of a state stand in it: occupied blocks, rear blocks of trains, reserved
# blocks, reserved routes, formed routes, the steps that the physical track allows, and for
# each route the blocks it holds.
N = len(BLOCKS)
ALL = (1 << N) - 1
REAR, RESERVED, ROUTE, FORMED, TRACK = N, 2 * N, 3 * N, 3 * N + 10, 3 * N + 20
HELD = TRACK + len(STEPS)
ALL_STEPS = (1 << len(STEPS)) - 1
TEN = (1 << 10) - 1


def blocks(names: str) -> int:
    return sum(1 << BLOCKS.index(name) for name in names)


def steps(path: str) -> int:
    return sum(1 << STEPS.index(step) for step in pairwise(path))


def bits(mask: int) -> Iterator[int]:
    while mask:
        yield (mask & -mask).bit_length() - 1
        mask &= mask - 1


# Of each set of blocks: the steps out of them, and those into them.
OUT = [0] * (1 << N)
INTO = [0] * (1 << N)
for _number, (_a, _b) in enumerate(STEPS):
    OUT[blocks(_a)] |= 1 << _number
    INTO[blocks(_b)] |= 1 << _number
for _mask in range(1 << N):
    OUT[_mask] = OUT[_mask & -_mask] | OUT[_mask & (_mask - 1)]
    INTO[_mask] = INTO[_mask & -_mask] | INTO[_mask & (_mask - 1)]
TARGET = [blocks(b) for _, b in STEPS]
# All that says of a block that it is reserved or a train's.
LET_GO = [
    ~sum(1 << (at + b) for at in (0, REAR, RESERVED, *(HELD + N * r for r in range(10))))
    for b in range(N)
]


@dataclass(frozen=True)
class Yard:
    """``freeing_first``: a route that can be freed is freed before anything else but a front
    that goes on (the order of the benchmark). Mistakes: ``reserve`` looks at trains, not at
    reservations; ``form`` does not look at the points; ``enter`` looks for a reserved route,
    not for a formed one; ``reset``: points of a formed route may be set again; ``left_out``:
    blocks that the table forgets to reserve."""

    routes: tuple[str, ...] = tuple(ROUTES)
    freeing_first: bool = True
    reserve: bool = False
    form: bool = False
    enter: bool = False
    reset: bool = False
    left_out: Mapping[str, str] = field(default_factory=dict)

    start = 0

    @cached_property
    def table(self) -> list[tuple[int, int, int, int, int, int, int]]:
        """Of each route: its number, what it has to hold, its steps, what setting its points
        takes out of the track, its first block, its bit in a state, and what reserving it
        puts there."""
        rows = []
        for name in self.routes:
            number, path = list(ROUTES).index(name), ROUTES[name]
            hold = blocks(path) & ~blocks(self.left_out.get(name, ""))
            away = OUT[blocks(path[:-1])] | INTO[blocks(path[1:])]
            puts = 1 << (ROUTE + number) | hold << RESERVED | hold << (HELD + N * number)
            rows.append((number, hold, steps(path), ~(away << TRACK), blocks(path[0]),
                         1 << number, puts))  # fmt: skip
        return rows

    def successors(self, s: int) -> list[int]:
        """Every event that can happen."""
        taken = s >> ROUTE & TEN
        freed = []
        for number, *_, bit, _puts in self.table:
            if taken & bit and not s >> (HELD + N * number) & ALL:
                freed.append(s & ~(bit << ROUTE | bit << FORMED))
        occupied, track = s & ALL, s >> TRACK & ALL_STEPS
        fronts = [s | TARGET[step] for step in bits(track & OUT[occupied] & ~INTO[occupied])]
        if freed and self.freeing_first:
            return freed + fronts
        return [*freed, *fronts, *self._routes(s, taken), *self._rears(s)]

    def _routes(self, s: int, taken: int) -> Iterator[int]:
        """Reserving, setting points, forming, and trains coming in."""
        occupied, reserved = s & ALL, s >> RESERVED & ALL
        formed, track = s >> FORMED & TEN, s >> TRACK & ALL_STEPS
        in_use = occupied if self.reserve else reserved
        for number, hold, path, clear, first, bit, puts in self.table:
            if not taken & bit:
                if not in_use & hold:
                    yield self._owned(s, hold) | puts
                continue
            held = s >> (HELD + N * number) & ALL
            if not formed & bit or self.reset:
                yield s & clear | path << TRACK
            if not formed & bit and (self.form or not (track ^ path) & OUT[held]):
                yield s | bit << FORMED
            if (formed & bit or self.enter) and self._may_enter(held, hold, first, occupied):
                yield s | first | first << REAR

    def _owned(self, s: int, hold: int) -> int:
        """A reservation is a function: who had a block before has it no more. Matters only
        where blocks are reserved that are reserved."""
        for b in bits(hold & s >> RESERVED):
            s &= LET_GO[b] | (s & (1 << b | 1 << (REAR + b)))
        return s

    def _may_enter(self, held: int, hold: int, first: int, occupied: int) -> bool:
        """The first block is reserved for the route and free. Where the table forgets it,
        nothing looks at it."""
        return bool((held | ~hold) & first & ~occupied)

    def _rears(self, s: int) -> Iterator[int]:
        """Rears that follow."""
        occupied, track = s & ALL, s >> TRACK & ALL_STEPS
        for b in bits(s >> REAR & ALL):
            step = track & OUT[1 << b]
            if not step:
                yield s & LET_GO[b]
                continue
            target = TARGET[step.bit_length() - 1]
            if target & occupied:
                yield s & LET_GO[b] | target << REAR

    def wrong(self, s: int) -> str:
        """What is wrong in a state, if anything is: trains where nothing is reserved for them,
        or a front that faces another train or a block outside its route."""
        occupied = s & ALL
        if not occupied:
            return ""
        if occupied & ~(s >> RESERVED):
            return "a train stands on a block that is not reserved"
        formed, track = s >> FORMED & TEN, s >> TRACK & ALL_STEPS
        for number, _hold, path, _clear, _first, bit, _puts in self.table:
            held = s >> (HELD + N * number) & ALL
            here = held & occupied
            if not here:
                continue
            if not formed & bit:
                return "a train stands on a block of a route that is not formed"
            ahead = track & OUT[here]
            if (track ^ path) & OUT[held]:
                return "the points do not lie for a formed route with a train on it"
            if ahead & ~INTO[held]:
                return "a train faces a block that is not reserved for it"
        return ""
