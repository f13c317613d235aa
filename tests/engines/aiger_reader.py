"""AIGER 1.9 files read back: circuits of both forms, witnesses, and a small simulator. Justice and
fairness are not read."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter

from verifier.engines.interchange.aig import Code, Gates
from verifier.engines.interchange.aiger import FALSE, TRUE, Circuit, Gate, Latch, renumbered
from verifier.plan.observables import Observable


@dataclass(frozen=True, slots=True)
class Witness:
    """What a checker answers about bad state number ``bad``. ``reached``: it can be reached
    (True), it cannot (False), not known (None). ``start``: the latches; ``inputs``: one tuple
    a moment, the last of which is that of the bad state. None: either will do."""

    reached: bool | None
    bad: int = 0
    start: tuple[bool | None, ...] = ()
    inputs: tuple[tuple[bool | None, ...], ...] = ()


def with_set_starts(circuit: Circuit) -> Circuit:
    """The same for checkers that know no latch that starts as either: each of these gets an
    input, last in the order of inputs, that is what it is at the first moment."""
    ours = renumbered(circuit)
    either = [latch.now for latch in ours.latches if latch.reset == latch.now]
    if not either:
        return ours
    most = 2 * (len(ours.inputs) + len(ours.latches) + len(ours.gates))
    chosen = [most + 2 * i for i in range(1, len(either) + 1)]
    begun = chosen[-1] + 2
    gates: list[Gate] = []
    real: dict[int, int] = {}
    for now, choice in zip(either, chosen, strict=True):
        kept = begun + 2 + 2 * len(gates)
        gates += [Gate(kept, now, begun), Gate(kept + 2, choice, begun ^ 1)]
        gates.append(Gate(kept + 4, kept ^ 1, (kept + 2) ^ 1))
        real[now] = (kept + 4) ^ 1

    def to(lit: int) -> int:
        return real.get(lit & ~1, lit & ~1) ^ (lit & 1)

    held = [
        Latch(la.now, to(la.following), FALSE if la.now in real else la.reset)
        for la in ours.latches
    ]
    return Circuit(
        (*ours.inputs, *chosen),
        (*held, Latch(begun, TRUE)),
        (*gates, *(Gate(g.out, to(g.one), to(g.other)) for g in ours.gates)),
        tuple(map(to, ours.bad)),
        tuple(map(to, ours.constraints)),
        tuple(map(to, ours.outputs)),
        ours.names,
        ours.comments,
    )


# ------------------------------------------------------------------ reading


def read(data: bytes) -> Circuit:
    """A circuit from either form. Raises ValueError for what is not one."""
    try:
        return _Reader(data).circuit()
    except (IndexError, CycleError, UnicodeDecodeError) as error:
        raise ValueError("not an AIGER file, or cut short") from error


class _Reader:
    """Reads along a file."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._at = 0

    def circuit(self) -> Circuit:
        word, *counts = self._line().split()
        if word not in ("aag", "aig") or not 5 <= len(counts) <= 9:
            raise ValueError(f"not an AIGER file: it begins with `{word}`")
        most, inputs, latches, outputs, gates, bad, constraints, *live = (
            *map(int, counts), *[0] * (9 - len(counts)),
        )  # fmt: skip
        if any(live):
            raise ValueError("justice and fairness are not read")
        plain = word == "aag"
        if not plain and most != inputs + latches + gates:
            raise ValueError("the numbers of the first line do not add up")
        ins = [self._numbers(1)[0] if plain else 2 * i for i in range(1, inputs + 1)]
        held = [self._latch(plain, 2 * (inputs + i)) for i in range(1, latches + 1)]
        outs = [self._numbers(1)[0] for _ in range(outputs)]
        bads = [self._numbers(1)[0] for _ in range(bad)]
        granted = [self._numbers(1)[0] for _ in range(constraints)]
        first = inputs + latches + 1
        ands = [self._gate(plain, 2 * (first + i)) for i in range(gates)]
        found = Circuit(
            tuple(ins), tuple(held), _in_order(ands), tuple(bads), tuple(granted), tuple(outs),
            dict(self._names()),
        )  # fmt: skip
        _check(found, most)
        return found

    def _line(self) -> str:
        end = self._data.find(b"\n", self._at)
        if end < 0:
            raise ValueError("not an AIGER file, or cut short")
        line = self._data[self._at : end].decode()
        self._at = end + 1
        return line

    def _numbers(self, *amounts: int) -> list[int]:
        numbers = [int(word) for word in self._line().split()]
        if len(numbers) not in amounts or min(numbers) < 0:
            raise ValueError("a line has not as many numbers as it should")
        return numbers

    def _latch(self, plain: bool, literal: int) -> Latch:
        numbers = self._numbers(2, 3) if plain else [literal, *self._numbers(1, 2)]
        return Latch(*numbers)

    def _gate(self, plain: bool, literal: int) -> Gate:
        if plain:
            return Gate(*self._numbers(3))
        high = literal - self._packed()
        return Gate(literal, high, high - self._packed())

    def _packed(self) -> int:
        number = shift = 0
        while True:
            byte = self._data[self._at]
            self._at += 1
            number |= (byte & 0x7F) << shift
            if byte < 0x80:
                return number
            shift += 7

    def _names(self) -> Iterator[tuple[str, str]]:
        """The symbol table, up to the comments."""
        while self._at < len(self._data):
            line = self._line()
            if line.strip() == "c":
                return
            key, _, name = line.partition(" ")
            if key[:1] not in ("i", "l", "o", "b", "c") or not key[1:].isdigit():
                raise ValueError(f"`{line}` is no line of a symbol table")
            yield key, name


def _in_order(gates: Sequence[Gate]) -> tuple[Gate, ...]:
    """Each gate after those it needs; as they stand where they do so."""
    at = {gate.out >> 1: gate for gate in gates}
    if len(at) != len(gates):
        raise ValueError("two gates have one number")
    needs = {number: {g.one >> 1, g.other >> 1} & at.keys() for number, g in at.items()}
    place = {number: i for i, number in enumerate(at)}
    if all(place[need] < place[number] for number in at for need in needs[number]):
        return tuple(gates)
    return tuple(at[number] for number in TopologicalSorter(needs).static_order())


def _check(circuit: Circuit, most: int) -> None:
    """Everything is there once, and nothing else is spoken of."""
    made = [*circuit.inputs, *(la.now for la in circuit.latches), *(g.out for g in circuit.gates)]
    there = {FALSE, *made}
    if len(there) <= len(made) or any(lit & 1 or lit >> 1 > most for lit in made):
        raise ValueError("two things have one number, or a number is too high")
    spoken = [*circuit.bad, *circuit.constraints, *circuit.outputs]
    spoken += [lit for la in circuit.latches for lit in (la.following, la.reset)]
    spoken += [lit for g in circuit.gates for lit in (g.one, g.other)]
    if any(lit & ~1 not in there for lit in spoken):
        raise ValueError("a number is spoken of that nothing has")
    if any(latch.reset not in (FALSE, TRUE, latch.now) for latch in circuit.latches):
        raise ValueError("a latch starts as something else than 0, 1 or either")


_SAID = {"0": False, "1": True, "x": None, "X": None}
_STATUS = {"0": False, "1": True, "2": None}


def read_witness(text: str) -> Witness:
    """The first witness of an answer. Raises ValueError for what is not one."""
    lines = iter(line.strip() for line in text.splitlines() if not line.startswith("c"))
    status = next(lines, "")
    if status not in _STATUS:
        raise ValueError(f"`{status}` is not an answer: 0, 1 or 2 is")
    asked = next(lines, "b0")
    if not asked.startswith("b") or not asked[1:].isdigit():
        raise ValueError(f"`{asked}` is not the name of a bad state")
    if status != "1":
        return Witness(_STATUS[status], int(asked[1:]))
    vectors: list[tuple[bool | None, ...]] = []
    for line in lines:
        if line == ".":
            if not vectors:
                raise ValueError("the witness has no start")
            return Witness(True, int(asked[1:]), vectors[0], tuple(vectors[1:]))
        try:
            vectors.append(tuple(_SAID[sign] for sign in line))
        except KeyError as error:
            raise ValueError(f"`{line}` is no line of a witness") from error
    raise ValueError("the witness does not end: there is no line with a full stop")


# ------------------------------------------------------------------ running


@dataclass(frozen=True, slots=True)
class Moment:
    """The circuit at one moment: latches and inputs, which bad states it is, and whether what
    is taken for granted holds."""

    latches: tuple[bool, ...]
    inputs: tuple[bool, ...]
    bad: tuple[bool, ...]
    allowed: bool


def run(
    circuit: Circuit, start: Sequence[bool], inputs: Iterable[Sequence[bool]]
) -> Iterator[Moment]:
    """The moments from a start on, one for each tuple of inputs."""
    latches = tuple(start)
    for given in inputs:
        if len(given) != len(circuit.inputs) or len(latches) != len(circuit.latches):
            raise ValueError("there are not as many values as inputs or latches")
        held = {FALSE: False}
        held.update(zip(circuit.inputs, given, strict=True))
        held.update(zip((latch.now for latch in circuit.latches), latches, strict=True))

        def value(lit: int, held: dict[int, bool] = held) -> bool:
            return held[lit & ~1] != bool(lit & 1)

        for gate in circuit.gates:
            held[gate.out] = value(gate.one) and value(gate.other)
        yield Moment(
            latches,
            tuple(given),
            tuple(map(value, circuit.bad)),
            all(map(value, circuit.constraints)),
        )
        latches = tuple(value(latch.following) for latch in circuit.latches)


def replay(circuit: Circuit, witness: Witness) -> tuple[Moment, ...] | None:
    """The moments of a witness up to the bad state; None when it does not lead there by an
    allowed start and allowed moments. What it leaves open is taken as false, or as the start
    of the latch."""
    if not witness.reached or witness.bad >= len(circuit.bad):
        return None
    start = []
    for latch, said in zip(circuit.latches, witness.start, strict=False):
        fixed = None if latch.reset == latch.now else latch.reset == TRUE
        if None not in (fixed, said) and fixed != said:
            return None
        start.append(bool(fixed) if said is None else said)
    if len(witness.start) != len(circuit.latches):
        return None
    if any(len(given) != len(circuit.inputs) for given in witness.inputs):
        return None
    moments = []
    for moment in run(circuit, start, ([bool(bit) for bit in row] for row in witness.inputs)):
        moments.append(moment)
        if not moment.allowed:
            return None
        if moment.bad[witness.bad]:
            return tuple(moments)
    return None


# ------------------------------------------------------------------ back to the system


def situation(made: Gates, moment: Moment) -> Mapping[Observable, str]:
    """The states and inputs of the system at a moment of its circuit."""
    return {code.what: _value(code, moment.latches) for code in made.states} | {
        code.what: _value(code, moment.inputs) for code in made.inputs
    }


def _value(code: Code, bits: Sequence[bool]) -> str:
    for at, value in enumerate(code.values, code.first):
        if bits[at]:
            return value
    return code.left_over
