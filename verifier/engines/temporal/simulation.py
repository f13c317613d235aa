"""What a transition system does when it is left to chance: thousands of histories at once.

In: a :class:`System`. Out: its states and inputs at moments that some history reaches. A Python
number holds one bit for each history, so that an expression is worked out once for all of them.

Nothing is proved here: what happens in a sample does happen; what does not, may.
"""

from collections.abc import Iterable, Mapping, Sequence
from random import Random

from verifier.logic.expr import And, Atom, Const, Expr, fold
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable

# Histories at once, and how long each goes on.
WIDTH, MOMENTS = 2048, 72
# One history in so many starts anew at each moment.
ANEW = 5  # as a power of two
# How often inputs are drawn again where they break what is taken for granted.
ATTEMPTS = 3
# Commands stay as they are for a while; choices are made at each moment.
_LASTING = frozenset(("lever", "button", "derail", "gate", "thrown"))


# Where it goes, whether all are wanted or any, and of what: the first, and the rest.
Working = tuple[int, bool, int, tuple[int, ...]]


class Machine:
    """Works out expressions over the states and inputs of a system for many cases at once: a
    case is one bit of every number."""

    def __init__(self, system: System):
        self.system = system
        # Where the value of each thing is kept, then each node; the first two never change.
        self._slots: dict[tuple[Observable, str], int] = {}
        self._nodes: dict[Expr, int] = {}
        self._program: list[Working] = []
        self._size = 2
        for what in (*system.states, *system.inputs):
            for value in what.values:
                self._slots[what, value] = self._slot()
        # Up to here, what is kept is states and inputs themselves.
        self.first_node = self._size
        self._inputs = [(w, [self._slots[w, v] for v in w.values]) for w in system.inputs]
        self._next = [self._next_of(what) for what in system.states]
        self._always = [self._compiled(expr) for expr in system.always]

    def _slot(self) -> int:
        self._size += 1
        return self._size - 1

    def _next_of(self, what: Observable) -> tuple[list[int], list[int]]:
        """Where the values of a state are kept, and what is to come there. Of two values the
        second decides."""
        values = what.values[1:] if len(what.values) == 2 else what.values
        here = [self._slots[what, v] for v in what.values]
        return here, [self._compiled(self.system.following[what][v]) for v in values]

    def slot(self, expr: Expr) -> int:
        """Where an expression comes to stand once worked out. Room made before lacks it."""
        return self._compiled(expr)

    def _compiled(self, expr: Expr) -> int:
        return self._nodes[expr] if expr in self._nodes else fold(expr, self._compile)

    def _compile(self, node: Expr, parts: tuple[int, ...]) -> int:
        known = self._nodes.get(node)
        if known is not None:
            return known
        match node:
            case Const(value=value):
                slot = 1 if value else 0
            case Atom(what=what, values=values):
                slot = self._joined(False, [self._slots[what, v] for v in values])
            case _:
                slot = self._joined(isinstance(node, And), parts)
        self._nodes[node] = slot
        return slot

    def _joined(self, is_and: bool, parts: Sequence[int]) -> int:
        if len(parts) == 1:
            return parts[0]
        slot = self._slot()
        self._program.append((slot, is_and, parts[0], tuple(parts[1:])))
        return slot

    # -------------------------------------------------------------- at work

    def blank(self, every: int) -> list[int]:
        """Room for as many cases as ``every`` has bits."""
        return [0, every] + [0] * (self._size - 2)

    def put(self, values: list[int], what: Observable, value: str, cases: int) -> None:
        values[self._slots[what, value]] = cases

    def set(self, values: list[int], state: Mapping[Observable, str]) -> None:
        """All cases are in this state."""
        for what, value in state.items():
            for v in what.values:
                values[self._slots[what, v]] = values[1] if v == value else 0

    def get(self, values: Sequence[int], what: Observable, value: str) -> int:
        return values[self._slots[what, value]]

    def having(self, values: Sequence[int], part: Atom) -> int:
        cases = 0
        for value in part.values:
            cases |= values[self._slots[part.what, value]]
        return cases

    def part(self, slots: Sequence[int]) -> list[Working]:
        """As much of the working out as these slots need."""
        needed = set(slots)
        part = []
        for working in reversed(self._program):
            if working[0] in needed:
                part.append(working)
                needed.update((working[2], *working[3]))
        return part[::-1]

    def work_out(self, values: list[int], part: Sequence[Working] | None = None) -> None:
        for slot, is_and, first, rest in self._program if part is None else part:
            result = values[first]
            if is_and:
                for other in rest:
                    result &= values[other]
            else:
                for other in rest:
                    result |= values[other]
            values[slot] = result

    def allowed(self, values: Sequence[int]) -> int:
        """The cases in which all that is taken for granted is so."""
        cases = values[1]
        for slot in self._always:
            cases &= values[slot]
        return cases

    def advance(self, values: list[int]) -> None:
        """The next moment's states."""
        every = values[1]
        new = [[values[slot] for slot in sources] for _, sources in self._next]
        for (here, _), come in zip(self._next, new, strict=True):
            if len(here) == 2:
                come = [every ^ come[0], come[0]]
            for slot, cases in zip(here, come, strict=True):
                values[slot] = cases

    def draw(self, values: list[int], chance: Random, cases: int, settled: int) -> None:
        """New inputs for some of the cases; commands of those in ``settled`` stay."""
        for what, slots in self._inputs:
            new = cases & ~settled if what.kind in _LASTING else cases
            kept = values[1] ^ new
            for slot, drawn in zip(slots, _drawn(what, chance, values[1]), strict=True):
                values[slot] = (values[slot] & kept) | (drawn & new)


def _drawn(what: Observable, chance: Random, every: int) -> list[int]:
    """Of all the cases, those that get each value."""
    width = every.bit_length()
    if what.values == ("no", "yes"):
        # How often things are chosen differs from case to case.
        often, really = chance.getrandbits(width), chance.getrandbits(width)
        third = chance.getrandbits(width)
        half = every >> (width // 2)
        yes = (often & (really | half)) | (third & half & really)
        return [every ^ yes, yes]
    return _shared(chance, every, len(what.values))


def _shared(chance: Random, every: int, ways: int) -> list[int]:
    """All the cases, shared out."""
    if ways == 1:
        return [every]
    one = chance.getrandbits(every.bit_length()) & every
    left = ways // 2
    return [
        *(cases & one for cases in _shared(chance, every, left)),
        *(cases & (every ^ one) for cases in _shared(chance, every, ways - left)),
    ]


class Samples:
    """Moments that some history reaches. Every number here has one bit for each of them."""

    def __init__(self, system: System, *, width: int = WIDTH, moments: int = MOMENTS):
        self.system = system
        self._chance = Random(len(system.states))
        self._machine = Machine(system)
        self._values = self._machine.blank((1 << width) - 1)
        self._width = width
        self._seen: list[tuple[list[int], int]] = []
        self._begin(self._values[1])
        for _ in range(moments):
            self._go_on()
        self._holding: dict[Expr, int] = {}
        self._having: dict[tuple[Observable, str], int] = {}
        self.reached = _joined([alive for _, alive in self._seen], width)

    def _begin(self, cases: int) -> None:
        """Some cases go back to the start of a history."""
        every = self._values[1]
        for what in self.system.states:
            allowed = self.system.initial[what]
            shared = dict(zip(allowed, _shared(self._chance, every, len(allowed)), strict=True))
            for value in what.values:
                old = self._machine.get(self._values, what, value)
                new = (old & ~cases) | (shared.get(value, 0) & cases)
                self._machine.put(self._values, what, value, new)

    def _go_on(self) -> None:
        """One moment is looked at, and the next one reached."""
        machine, values, chance = self._machine, self._values, self._chance
        every = values[1]
        settled = chance.getrandbits(self._width) | chance.getrandbits(self._width)
        alive = 0
        for attempt in range(ATTEMPTS if self.system.always else 1):
            stay = settled if self._seen and attempt == 0 else 0
            machine.draw(values, chance, every & ~alive, stay)
            machine.work_out(values)
            alive = machine.allowed(values)
            if alive == every:
                break
        self._seen.append((values[: machine.first_node], alive))
        machine.advance(values)
        anew = every & ~alive
        fresh = every
        for _ in range(ANEW):
            fresh &= chance.getrandbits(self._width)
        self._begin(anew | fresh)

    # -------------------------------------------------------------- questions

    def having(self, what: Observable, value: str) -> int:
        """The moments at which something has a value."""
        key = what, value
        if key not in self._having:
            slices = [self._machine.get(values, what, value) for values, _ in self._seen]
            self._having[key] = _joined(slices, self._width) & self.reached
        return self._having[key]

    def holding(self, expr: Expr) -> int:
        """The moments at which an expression holds."""
        if expr not in self._holding:
            fold(expr, self._work_out)
        return self._holding[expr]

    def _work_out(self, node: Expr, parts: tuple[int, ...]) -> int:
        known = self._holding.get(node)
        if known is None:
            match node:
                case Const(value=value):
                    known = self.reached if value else 0
                case Atom(what=what, values=values):
                    known = 0
                    for each in values:
                        known |= self.having(what, each)
                case And():
                    known = self.reached
                    for part in parts:
                        known &= part
                case _:
                    known = 0
                    for part in parts:
                        known |= part
            self._holding[node] = known
        return known


def _joined(slices: Iterable[int], width: int) -> int:
    """One long number of several."""
    size = (width + 7) // 8
    return int.from_bytes(b"".join(s.to_bytes(size, "little") for s in slices), "little")


_latest: list[Samples] = []


def samples_of(system: System) -> Samples:
    """The last samples are kept: questions about one system come one after the other."""
    if not _latest or _latest[0].system is not system:
        _latest[:] = [Samples(system)]
    return _latest[0]
