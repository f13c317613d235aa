"""Bit-parallel random simulation of a transition system: thousands of executions at once.

In: a :class:`System`. Out: reachable valuations of its states and inputs. Each value of each
observable is a Python integer with one bit (a *lane*) for each execution, so one evaluation of an
expression serves all of them.

Proves nothing: a sampled valuation is reachable; one that was not sampled may be too.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from random import Random

from verifier.engines.stopping import checkpoint
from verifier.logic.expr import And, Atom, Const, Expr, fold
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable

# Executions at once, and their length in steps.
WIDTH, MOMENTS = 2048, 72
# At each step, one execution in 2**ANEW starts again from an initial state.
ANEW = 5
# How often inputs are drawn again where they violate a constraint.
ATTEMPTS = 3
# Commands keep their value for a while; other inputs are drawn at each step.
_LASTING = frozenset(("lever", "button", "derail", "gate", "thrown"))


# One instruction: target slot, whether "and" or "or", first operand, further operands.
Instruction = tuple[int, bool, int, tuple[int, ...]]
# Instructions evaluated so often are made Python functions of so many each, which run in less than
# half the time; making one takes as long as 150 evaluations.
HOT, LONGEST = 200, 2000


class Machine:
    """Evaluates expressions over the states and inputs of a system in many lanes at once."""

    def __init__(self, system: System):
        self.system = system
        # The slot of each value, then of each node; slots 0 and 1 are false and true.
        self._slots: dict[tuple[Observable, str], int] = {}
        self._nodes: dict[Expr, int] = {}
        self._program: list[Instruction] = []
        # Functions for the first so many instructions, and how often the rest was evaluated.
        self._made: list[Callable[[list[int]], None]] = []
        self._ready = self._evaluated = 0
        self._advances: Callable[[list[int]], None] | None = None
        self._size = 2
        for what in (*system.states, *system.inputs):
            for value in what.values:
                self._slots[what, value] = self._slot()
        # Slots below this one hold states and inputs.
        self.first_node = self._size
        self._inputs = [(w, [self._slots[w, v] for v in w.values]) for w in system.inputs]
        self._next = [self._next_of(what) for what in system.states]
        self._always = [self._compiled(expr) for expr in system.always]

    def _slot(self) -> int:
        self._size += 1
        return self._size - 1

    def _next_of(self, what: Observable) -> tuple[list[int], list[int]]:
        """The slots of a state's values, and of their next-state functions: of two values, of the
        second only."""
        values = what.values[1:] if len(what.values) == 2 else what.values
        here = [self._slots[what, v] for v in what.values]
        return here, [self._compiled(self.system.following[what][v]) for v in values]

    def slot(self, expr: Expr) -> int:
        """The slot of an expression after :meth:`evaluate`. :meth:`blank` must be called later."""
        return self._compiled(expr)

    def _compiled(self, expr: Expr) -> int:
        return fold(expr, self._compile, self._nodes)

    def _compile(self, node: Expr, parts: tuple[int, ...]) -> int:
        match node:
            case Const(value=value):
                return 1 if value else 0
            case Atom(what=what, values=values):
                return self._joined(False, [self._slots[what, v] for v in values])
            case _:
                return self._joined(isinstance(node, And), parts)

    def _joined(self, is_and: bool, parts: Sequence[int]) -> int:
        if len(parts) == 1:
            return parts[0]
        slot = self._slot()
        self._program.append((slot, is_and, parts[0], tuple(parts[1:])))
        return slot

    # -------------------------------------------------------------- evaluation

    def blank(self, every: int) -> list[int]:
        """Slots for as many lanes as ``every`` has bits."""
        return [0, every] + [0] * (self._size - 2)

    def put(self, values: list[int], what: Observable, value: str, cases: int) -> None:
        values[self._slots[what, value]] = cases

    def set(self, values: list[int], state: Mapping[Observable, str]) -> None:
        """Set all lanes to this valuation."""
        for what, value in state.items():
            for v in what.values:
                values[self._slots[what, v]] = values[1] if v == value else 0

    def get(self, values: Sequence[int], what: Observable, value: str) -> int:
        return values[self._slots[what, value]]

    def state(self, values: Sequence[int]) -> dict[Observable, str]:
        """The states in the first lane."""
        return {
            what: next(v for v in what.values if values[self._slots[what, v]] & 1)
            for what in self.system.states
        }

    def having(self, values: Sequence[int], part: Atom) -> int:
        cases = 0
        for value in part.values:
            cases |= values[self._slots[part.what, value]]
        return cases

    def evaluate(self, values: list[int]) -> None:
        """Work out every node from the states and inputs."""
        for run in self._made:
            run(values)
        if self._ready == len(self._program):
            return
        left = self._program[self._ready :] if self._ready else self._program
        for slot, is_and, first, rest in left:
            result = values[first]
            if is_and:
                for other in rest:
                    result &= values[other]
            else:
                for other in rest:
                    result |= values[other]
            values[slot] = result
        self._evaluated += 1
        if self._evaluated == HOT:
            self._evaluated = 0
            for at in range(0, len(left), LONGEST):
                self._made.append(_function(left[at : at + LONGEST]))
            self._ready = len(self._program)
            self._advances = self._advances or self._advancing()

    def allowed(self, values: Sequence[int]) -> int:
        """The lanes in which all constraints hold."""
        cases = values[1]
        for slot in self._always:
            cases &= values[slot]
        return cases

    def advance(self, values: list[int]) -> None:
        """Replace the states by their successors."""
        if self._advances is not None:
            self._advances(values)
            return
        every = values[1]
        new = [[values[slot] for slot in sources] for _, sources in self._next]
        for (here, _), come in zip(self._next, new, strict=True):
            if len(here) == 2:
                come = [every ^ come[0], come[0]]
            for slot, cases in zip(here, come, strict=True):
                values[slot] = cases

    def _advancing(self) -> Callable[[list[int]], None] | None:
        """A function that advances; the slots of states are the first ones, in their order."""
        come: list[str] = []
        for here, sources in self._next:
            if len(here) == 2:
                come.append(f"v[1]^v[{sources[0]}]")
            come += (f"v[{slot}]" for slot in sources)
        if not 0 < len(come) <= LONGEST:
            return None
        return _defined(f" v[2:{2 + len(come)}] = {','.join(come)},")

    def draw(self, values: list[int], chance: Random, cases: int, settled: int) -> None:
        """Draw new inputs in the lanes of ``cases``; commands of those in ``settled`` stay."""
        for what, slots in self._inputs:
            new = cases & ~settled if what.kind in _LASTING else cases
            kept = values[1] ^ new
            for slot, drawn in zip(slots, _drawn(what, chance, values[1]), strict=True):
                values[slot] = (values[slot] & kept) | (drawn & new)


def _function(part: Sequence[Instruction]) -> Callable[[list[int]], None]:
    """A function that does what these instructions say, whose targets follow each other."""
    first, last = part[0][0], part[-1][0]
    assert [slot for slot, *_ in part] == [*range(first, last + 1)]
    read = {slot for _, _, one, rest in part for slot in (one, *rest) if slot < first}
    lines = [f" x{slot} = v[{slot}]" for slot in sorted(read)]
    for slot, is_and, one, rest in part:
        joined = ("&" if is_and else "|").join(f"x{operand}" for operand in (one, *rest))
        lines.append(f" x{slot} = {joined}")
    targets = ",".join(f"x{slot}" for slot in range(first, last + 1))
    lines.append(f" v[{first}:{last + 1}] = {targets},")
    return _defined("\n".join(lines))


def _defined(body: str) -> Callable[[list[int]], None]:
    """A function of the slots ``v``. The text holds slots only, which are numbers."""
    names: dict[str, Callable[[list[int]], None]] = {}
    exec(f"def run(v):\n{body}", names)
    return names["run"]


def _drawn(what: Observable, chance: Random, every: int) -> list[int]:
    """For each value, the lanes that get it."""
    width = every.bit_length()
    if what.values == ("no", "yes"):
        # The probability differs from lane to lane.
        often, really = chance.getrandbits(width), chance.getrandbits(width)
        third = chance.getrandbits(width)
        half = every >> (width // 2)
        yes = (often & (really | half)) | (third & half & really)
        return [every ^ yes, yes]
    return _shared(chance, every, len(what.values))


def _shared(chance: Random, every: int, ways: int) -> list[int]:
    """The lanes of ``every``, partitioned at random."""
    if ways == 1:
        return [every]
    one = chance.getrandbits(every.bit_length()) & every
    left = ways // 2
    return [
        *(cases & one for cases in _shared(chance, every, left)),
        *(cases & (every ^ one) for cases in _shared(chance, every, ways - left)),
    ]


class Samples:
    """Reachable valuations. Every integer here has one bit for each of them."""

    def __init__(self, system: System, *, width: int = WIDTH, moments: int = MOMENTS):
        self.system = system
        self._chance = Random(len(system.states))
        self._machine = Machine(system)
        self._values = self._machine.blank((1 << width) - 1)
        self._width = width
        self._seen: list[tuple[list[int], int]] = []
        self._begin(self._values[1])
        for _ in range(moments):
            checkpoint()
            self._step()
        self._holding: dict[Expr, int] = {}
        self._having: dict[tuple[Observable, str], int] = {}
        self.reached = _joined([alive for _, alive in self._seen], width)

    def _begin(self, cases: int) -> None:
        """Set some lanes to initial states."""
        every = self._values[1]
        drawn: dict[Observable, dict[str, int]] = {}
        for what in self.system.states:
            allowed = self.system.initial[what]
            first = self.system.starts_with(what)[0]
            if first not in drawn:
                parts = _shared(self._chance, every, len(allowed))
                drawn[first] = dict(zip(allowed, parts, strict=True))
            shared = drawn[first]
            for value in what.values:
                old = self._machine.get(self._values, what, value)
                new = (old & ~cases) | (shared.get(value, 0) & cases)
                self._machine.put(self._values, what, value, new)

    def _step(self) -> None:
        """Record the current step and advance to the next."""
        machine, values, chance = self._machine, self._values, self._chance
        every = values[1]
        settled = chance.getrandbits(self._width) | chance.getrandbits(self._width)
        alive = 0
        for attempt in range(ATTEMPTS if self.system.always else 1):
            stay = settled if self._seen and attempt == 0 else 0
            machine.draw(values, chance, every & ~alive, stay)
            machine.evaluate(values)
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
        """The samples in which ``what`` has this value."""
        key = what, value
        if key not in self._having:
            slices = [self._machine.get(values, what, value) for values, _ in self._seen]
            self._having[key] = _joined(slices, self._width) & self.reached
        return self._having[key]

    def holding(self, expr: Expr) -> int:
        """The samples in which an expression holds."""
        return fold(expr, self._evaluate, self._holding)

    def _evaluate(self, node: Expr, parts: tuple[int, ...]) -> int:
        match node:
            case Const(value=value):
                return self.reached if value else 0
            case Atom(what=what, values=values):
                cases = 0
                for each in values:
                    cases |= self.having(what, each)
                return cases
            case And():
                cases = self.reached
                for part in parts:
                    cases &= part
                return cases
            case _:
                cases = 0
                for part in parts:
                    cases |= part
                return cases


def _joined(slices: Iterable[int], width: int) -> int:
    """The integers concatenated."""
    size = (width + 7) // 8
    return int.from_bytes(b"".join(s.to_bytes(size, "little") for s in slices), "little")


# Of machines and samples: those of the systems with detection truthful and lossy, each with and
# without comparisons and wrecks.
KEPT = 8

_machines: list[Machine] = []
_latest: list[tuple[int, Samples]] = []


def machine_of(system: System) -> Machine:
    """The machine of a system; the last ones are kept."""
    for machine in _machines:
        if machine.system is system:
            return machine
    _machines[:] = [Machine(system), *_machines[: KEPT - 1]]
    return _machines[0]


def samples_of(system: System, moments: int = MOMENTS) -> Samples:
    """The last samples are kept: queries about one system follow each other."""
    for length, samples in _latest:
        if samples.system is system and length == moments:
            return samples
    _latest[:] = [(moments, Samples(system, moments=moments)), *_latest[: KEPT - 1]]
    return _latest[0][1]
