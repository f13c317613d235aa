"""The order of the steps, and the instructions that lead from one to the next.

In: setups. Out: instructions, each in words and with its cost, and an order of the steps that
begins at rest. Up to eleven steps the order is the cheapest. For more it is found by nearest
neighbor, then improved by 2-opt and or-opt.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise, permutations

from verifier.diagnosis.bench import Bench, Setup
from verifier.plan.devices import devices
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.wiring.equipment import StockPlace

# A block, and the place on it where stock stands.
Stood = tuple[str, str]
_Positions = Iterable[tuple[str, str]]
# Up to this many steps the order is the cheapest.
ALL_ORDERS = 11
# The costs of a lever or button; of points thrown by hand, a derail or a gate, to which the
# operator walks; of stock put on the track or taken off. Moving stock costs one for each block it
# enters, and one more (common practice, no source).
LEVER, BY_HAND, STOCK = 1, 2, 3


@dataclass(frozen=True, slots=True)
class Instruction:
    """An instruction to the operator; ``cost`` is its effort."""

    text: str
    cost: int


# ------------------------------------------------------------------ instructions


class OperatorPath:
    """The instructions that lead from one setup of a layout to another."""

    def __init__(self, bench: Bench):
        self._bench = bench
        self._plan = bench.given
        self._devices = devices(bench.given)
        self._distances = _distances(bench.plan)

    def acts(self, before: Setup, after: Setup) -> list[Instruction]:
        """The instructions, in an order in which no points move under stock: stock leaves the
        blocks whose points are thrown first, and enters such blocks last."""
        throws = list(self._throws(before, after))
        first, last = self._moves(_stock(before), _stock(after), self._under(before, after))
        return [*first, *throws, *last]

    def cost(self, before: Setup, after: Setup) -> int:
        """The cost of all instructions."""
        return sum(act.cost for act in self.acts(before, after))

    def _throws(self, before: Setup, after: Setup) -> Iterator[Instruction]:
        levers: set[str] = set()
        for name, state in self._changed(before.told, after.told):
            lever = self._bench.lever_of(name)
            if lever is None:
                yield Instruction(f"throw {name} to {state}", LEVER)
            elif lever not in levers:
                levers.add(lever)
                leg = ("normal", "reverse")[self._bench.positions(name).index(state)]
                yield Instruction(f"lever {lever} to {leg}", LEVER)
        for name, state in self._changed(before.lies, after.lies):
            yield Instruction(f"throw {name} to {state} by hand", BY_HAND)
        facts_before = dict(before.facts)
        for what, state in after.facts:
            if facts_before.get(what, what.usual) != state:
                yield _set(what, state)

    def _under(self, before: Setup, after: Setup) -> frozenset[str]:
        """The blocks in which points, derails or gates move."""
        changed = self._changed((*before.told, *before.lies), (*after.told, *after.lies))
        return frozenset(self._devices[name].block for name, _ in changed)

    def _changed(self, before: _Positions, after: _Positions) -> Iterator[tuple[str, str]]:
        """What lies otherwise afterwards, and how."""
        was = dict(before)
        for name, state in after:
            if was.get(name, self._bench.positions(name)[0]) != state:
                yield name, state

    # -------------------------------------------------------------- stock

    def _moves(
        self, off: Sequence[Stood], on: Sequence[Stood], under: Collection[str]
    ) -> tuple[list[Instruction], list[Instruction]]:
        """The cheapest way to change where stock stands: what is done before points are thrown in
        the blocks ``under``, and what is done after."""
        stays = {place for place in off if place in on and place[0] not in under}
        gone = [place for place in off if place not in stays]
        new = [place for place in on if place not in stays]
        few, many = (gone, new) if len(gone) <= len(new) else (new, gone)
        ways = (
            self._way(gone, new, [*zip(few, chosen, strict=True)], under)
            if few is gone
            else self._way(gone, new, [*zip(chosen, few, strict=True)], under)
            for chosen in permutations(many, len(few))
        )
        return min(ways, key=lambda way: sum(act.cost for part in way for act in part))

    def _way(
        self,
        gone: Sequence[Stood],
        new: Sequence[Stood],
        pairs: Sequence[tuple[Stood, Stood]],
        under: Collection[str],
    ) -> tuple[list[Instruction], list[Instruction]]:
        """Each pair is moved, if possible; the rest is taken off or put on."""
        moved = [
            (a, b)
            for a, b in pairs
            if self._who(*a) == self._who(*b) and not (a[0] in under and b[0] in under)
        ]
        first = [self.take(a) for a in gone if a not in {a for a, _ in moved}]
        last: list[Instruction] = []
        for a, b in moved:
            (last if b[0] in under else first).append(self.move(a, b))
        return first, [*last, *(self.put(b) for b in new if b not in {b for _, b in moved})]

    def move(self, a: Stood, b: Stood) -> Instruction:
        """Stock is moved from one place to another."""
        one, other, who = a[0], b[0], self._who(*a)
        if one == other:
            text = f"move the {who} along {self.where(*b, at='to')}"
        else:
            text = f"move the {who} from {one} to {self.where(*b)}"
        return Instruction(text, 1 + self._distances.get(one, {}).get(other, STOCK))

    def put(self, place: Stood) -> Instruction:
        """Stock is put on the track."""
        return Instruction(f"put a {self._who(*place)} on {self.where(*place)}", STOCK)

    def take(self, place: Stood) -> Instruction:
        """Stock is taken off the track."""
        return Instruction(f"take the {self._who(*place)} off {place[0]}", STOCK)

    def _who(self, block: str, name: str) -> str:
        place = self._place(block, name)
        is_electric = bool(self._plan.wiring.feeders_of(block))
        if place is None or place.draws or (place.feeder is None and not is_electric):
            return "locomotive"
        return "car that draws no current"

    def where(self, block: str, name: str, *, at: str = "at") -> str:
        """A place where stock stands: ``Main at feeder m1, over spot 2``."""
        place = self._place(block, name)
        if place is None:
            return block
        feeder = f"{at} feeder {place.feeder}" if place.feeder else ""
        feeder = place.dead.name if place.dead else feeder
        return " ".join(filter(None, (block, ", ".join(filter(None, (feeder, place.over))))))

    def _place(self, block: str, name: str) -> StockPlace | None:
        every = self._plan.equipment.places.get(block, ())
        return next((place for place in every if place.name == name), None)


def _stock(setup: Setup) -> list[Stood]:
    return [(block, place[0]) for block, place in setup.stands]


def _distances(plan: Plan) -> dict[str, dict[str, int]]:
    """How many blocks stock enters on its way from one block to another."""
    import networkx

    graph: networkx.Graph[str] = networkx.Graph()
    for joint in plan.track.joints:
        one, other = (plan.track.pieces[port.piece].block for port in (joint.a, joint.b))
        if one is not None and other is not None:
            graph.add_edge(one, other)
    return dict(networkx.all_pairs_shortest_path_length(graph))


def _set(what: Observable, state: str) -> Instruction:
    match what.kind:
        case "button":
            press = state == "pressed"
            return Instruction(
                f"{'press and hold' if press else 'let go of'} button {what.name}", LEVER
            )
        case "lever":
            return Instruction(f"lever {what.name} to {state}", LEVER)
        case "gate":
            said = "seat" if state == "seated" else "open"
            return Instruction(f"{said} gate {what.name}", BY_HAND)
        case _:
            return Instruction(f"set {what.kind} {what.name} {state}", BY_HAND)


# ------------------------------------------------------------------ order


def short_path(count: int, cost: Callable[[int, int], int]) -> tuple[tuple[int, ...], bool]:
    """A cheap order of ``count`` steps, from the start (-1) to the last step, and whether it is
    proved that no order is cheaper."""
    if count <= ALL_ORDERS:
        return _cheapest(count, cost), True
    order: list[int] = []
    left = set(range(count))
    while left:
        here = order[-1] if order else -1
        order.append(min(left, key=lambda i: (cost(here, i), i)))
        left.remove(order[-1])
    return _improved(order, cost), False


def length(order: Sequence[int], cost: Callable[[int, int], int]) -> int:
    """The cost of a whole order."""
    return sum(cost(a, b) for a, b in pairwise((-1, *order)))


def _cheapest(count: int, cost: Callable[[int, int], int]) -> tuple[int, ...]:
    """The cheapest order, by dynamic programming over the steps done and the last of them
    (Held and Karp)."""

    @cache
    def rest(done: int, last: int) -> tuple[int, tuple[int, ...]]:
        open_ = (i for i in range(count) if not done >> i & 1)
        further = ((i, *rest(done | 1 << i, i)) for i in open_)
        return min(
            ((cost(last, i) + price, (i, *order)) for i, price, order in further), default=(0, ())
        )

    return rest(0, -1)[1]


def _improved(order: list[int], cost: Callable[[int, int], int]) -> tuple[int, ...]:
    """The order after the changes that make it cheaper."""
    best = length(order, cost)
    while better := next((o for o in _changed(order) if length(o, cost) < best), None):
        order, best = better, length(better, cost)
    return tuple(order)


def _changed(way: Sequence[int]) -> Iterator[list[int]]:
    """The order with a part reversed (2-opt), or with up to three steps elsewhere (or-opt)."""
    count = len(way)
    for start in range(count):
        for end in range(start + 2, count + 1):
            yield [*way[:start], *reversed(way[start:end]), *way[end:]]
    for size in (1, 2, 3):
        for start in range(count - size + 1):
            part = way[start : start + size]
            rest = [*way[:start], *way[start + size :]]
            for at in range(len(rest) + 1):
                if at != start:
                    yield [*rest[:at], *part, *rest[at:]]
