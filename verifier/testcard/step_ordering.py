"""From step to step with little to do: what there is to do, what it costs, and in which order
the steps then come.

In: setups. Out: the things to do to get from one to the next, each in words and with its cost;
an order that starts with all at rest. Up to eleven steps the order is the best there is; of
more it is made by always going to the nearest step, then by turning round or moving parts of
the way as long as that makes it shorter.
"""

from collections import deque
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import permutations

from verifier.diagnosis.bench import Bench, Setup
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.wiring.equipment import StockPlace

# A block, and the place on it where stock stands.
Stood = tuple[str, str]
# Up to so many steps every order is looked at.
ALL_ORDERS = 11
# What it costs to throw a lever or press a button; points thrown by hand, a derail or a gate,
# to which one has to walk; to put stock on the track, or take it off. Stock that is moved costs
# one for each block it comes to, and one more (common practice, no source).
LEVER, BY_HAND, STOCK = 1, 2, 3


@dataclass(frozen=True, slots=True)
class Instruction:
    """One thing to do."""

    text: str
    cost: int


# ------------------------------------------------------------------ what there is to do


class OperatorPath:
    """What there is to do on one layout to get from one setup to another."""

    def __init__(self, bench: Bench):
        self._bench = bench
        self._plan = bench.given
        self._near = _near(bench.plan)
        self.blocks_between = cache(self._blocks_between)

    def acts(self, before: Setup, after: Setup) -> list[Instruction]:
        """Everything to do, in an order in which no points move beneath stock: what stands on
        blocks whose points are thrown goes first, what comes to such blocks goes last."""
        throws = list(self._throws(before, after))
        first, last = self._moves(_stock(before), _stock(after), self._under(before, after))
        return [*first, *throws, *last]

    def cost(self, before: Setup, after: Setup) -> int:
        return sum(act.cost for act in self.acts(before, after))

    def _throws(self, before: Setup, after: Setup) -> Iterator[Instruction]:
        was, then = dict(before.told), dict(after.told)
        levers: set[str] = set()
        for turnout, state in then.items():
            if was.get(turnout, "normal") == state:
                continue
            lever = self._bench.lever_of(turnout)
            if lever is None:
                yield Instruction(f"throw {turnout} to {state}", LEVER)
            elif lever not in levers:
                levers.add(lever)
                yield Instruction(f"lever {lever} to {state}", LEVER)
        was, then = dict(before.lies), dict(after.lies)
        for turnout, state in then.items():
            if was.get(turnout, "normal") != state:
                yield Instruction(f"throw {turnout} to {state} by hand", BY_HAND)
        facts_before = dict(before.facts)
        for what, state in after.facts:
            if facts_before.get(what, what.usual) != state:
                yield _set(what, state)

    def _under(self, before: Setup, after: Setup) -> frozenset[str]:
        """The blocks in which points are thrown."""
        was, then = (dict((*setup.told, *setup.lies)) for setup in (before, after))
        thrown = (n for n, state in then.items() if was.get(n, "normal") != state)
        blocks = (self._plan.track.pieces[name].block for name in thrown)
        return frozenset(block for block in blocks if block is not None)

    # -------------------------------------------------------------- stock

    def _moves(
        self, off: Sequence[Stood], on: Sequence[Stood], under: Collection[str]
    ) -> tuple[list[Instruction], list[Instruction]]:
        """Stock moved, put on and taken off, as cheaply as can be: what is done before points
        are thrown in the blocks ``under``, and what is done after."""
        stays = {place for place in off if place in on and place[0] not in under}
        gone = [place for place in off if place not in stays]
        new = [place for place in on if place not in stays]
        few, many = (gone, new) if len(gone) <= len(new) else (new, gone)
        best: tuple[int, list[Instruction], list[Instruction]] | None = None
        for chosen in permutations(many, len(few)):
            pairs = zip(few, chosen, strict=True) if few is gone else zip(chosen, few, strict=True)
            first: list[Instruction] = []
            last: list[Instruction] = []
            for a, b in pairs:
                if self._who(*a) != self._who(*b) or (a[0] in under and b[0] in under):
                    first.append(self.take(a))
                    last.append(self.put(b))
                else:
                    (last if b[0] in under else first).append(self.move(a, b))
            for place in many:
                if place not in chosen:
                    if many is new:
                        last.append(self.put(place))
                    else:
                        first.append(self.take(place))
            price = sum(act.cost for act in (*first, *last))
            if best is None or price < best[0]:
                best = price, first, last
        assert best is not None
        return best[1], best[2]

    def move(self, a: Stood, b: Stood) -> Instruction:
        one, other, who = a[0], b[0], self._who(*a)
        where = self.at(*b).replace("on ", "to ", 1)
        text = f"move the {who} from {one} {where}"
        if one == other:
            text = f"move the {who} along {where.removeprefix('to ').replace(' at ', ' to ', 1)}"
        return Instruction(text, 1 + self.blocks_between(one, other))

    def put(self, place: Stood) -> Instruction:
        """Stock is put on the track."""
        return Instruction(f"put a {self._who(*place)} {self.at(*place)}", STOCK)

    def take(self, place: Stood) -> Instruction:
        """Stock is taken off."""
        return Instruction(f"take the {self._who(*place)} off {place[0]}", STOCK)

    def _who(self, block: str, name: str) -> str:
        place = self._place(block, name)
        return "locomotive" if place is None or place.draws or (place.feeder is None and (
            not self._plan.wiring.feeders_of(block))) else "car that draws no current"  # fmt: skip

    def at(self, block: str, name: str) -> str:
        place = self._place(block, name)
        if place is None or name == "drawing no current":
            return f"on {block}"
        said = name.removeprefix("drawing no current, ")
        return f"on {block} {said.replace('at ', 'at feeder ', 1)}"

    def _place(self, block: str, name: str) -> StockPlace | None:
        every = self._plan.equipment.places.get(block, ())
        return next((place for place in every if place.name == name), None)

    def _blocks_between(self, one: str, other: str) -> int:
        """How many blocks stock comes to on its way from one to another."""
        reached, waiting = {one: 0}, deque([one])
        while waiting and other not in reached:
            here = waiting.popleft()
            for block in self._near.get(here, ()):
                if block not in reached:
                    reached[block] = reached[here] + 1
                    waiting.append(block)
        return reached.get(other, STOCK)


def _stock(setup: Setup) -> list[Stood]:
    return [(block, place[0]) for block, place in setup.stands]


def _near(plan: Plan) -> Mapping[str, set[str]]:
    """The blocks next to each block."""
    near: dict[str, set[str]] = {}
    for joint in plan.track.joints:
        a, b = (plan.track.pieces[port.piece].block for port in (joint.a, joint.b))
        if a is not None and b is not None and a != b:
            near.setdefault(a, set()).add(b)
            near.setdefault(b, set()).add(a)
    return near


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


# ------------------------------------------------------------------ in which order


def short_path(count: int, cost: Callable[[int, int], int]) -> tuple[tuple[int, ...], bool]:
    """An order of ``count`` steps that costs little from the start (-1) to the last, and
    whether none costs less."""
    if count <= ALL_ORDERS:
        return _best_way(count, cost), True
    way = _nearest(count, cost)
    return _shortened(way, cost), False


def length(way: Sequence[int], cost: Callable[[int, int], int]) -> int:
    """What a whole way costs."""
    return sum(cost(a, b) for a, b in zip((-1, *way), way, strict=False))


def _best_way(count: int, cost: Callable[[int, int], int]) -> tuple[int, ...]:
    """By sets of steps that are done, and the last of them: the cheapest way there."""
    if not count:
        return ()
    best: dict[tuple[int, int], tuple[int, tuple[int, ...]]] = {
        (1 << i, i): (cost(-1, i), (i,)) for i in range(count)
    }
    for _ in range(count - 1):
        longer: dict[tuple[int, int], tuple[int, tuple[int, ...]]] = {}
        for (done, last), (price, way) in best.items():
            for i in range(count):
                if done >> i & 1:
                    continue
                key, found = (done | 1 << i, i), (price + cost(last, i), (*way, i))
                if key not in longer or found < longer[key]:
                    longer[key] = found
        best = longer
    return min(best.values())[1]


def _nearest(count: int, cost: Callable[[int, int], int]) -> list[int]:
    way: list[int] = []
    left = list(range(count))
    while left:
        here = way[-1] if way else -1
        then = min(left, key=lambda i: (cost(here, i), i))
        way.append(then)
        left.remove(then)
    return way


def _shortened(way: list[int], cost: Callable[[int, int], int]) -> tuple[int, ...]:
    """Turning a part of the way round, or moving up to three steps elsewhere, as long as that
    helps."""
    best = length(way, cost)
    while True:
        for other in _changed(way):
            price = length(other, cost)
            if price < best:
                way, best = other, price
                break
        else:
            return tuple(way)


def _changed(way: Sequence[int]) -> Iterator[list[int]]:
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
