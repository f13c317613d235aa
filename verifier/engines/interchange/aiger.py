"""Circuits as AIGER 1.9 files, a format that hardware model checkers read.

In: a circuit of inputs, latches and two-input gates, with bad states and with constraints. Out:
the ASCII form (`aag`) or the binary form (`aig`).

A literal is twice the number of an input, latch or gate, one more when it is negated; 0 is
false, 1 is true. Source: the AIGER distribution, `FORMAT` (20071012) and the report on 1.9
(`doc/beyond1`), read in a stored copy [V].
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

FALSE, TRUE = 0, 1


@dataclass(frozen=True, slots=True)
class Latch:
    """``reset``: what it is at the start, 0 or 1; itself where it may be either."""

    now: int
    following: int
    reset: int = 0


@dataclass(frozen=True, slots=True)
class Gate:
    """``out`` holds when both inputs do."""

    out: int
    one: int
    other: int


@dataclass(frozen=True, slots=True)
class Circuit:
    """``gates`` in an order in which each comes after those it needs. ``names``: of `i0`,
    `l3`, `b1` and so on, as in the symbol table."""

    inputs: tuple[int, ...]
    latches: tuple[Latch, ...]
    gates: tuple[Gate, ...]
    bad: tuple[int, ...] = ()
    constraints: tuple[int, ...] = ()
    outputs: tuple[int, ...] = ()
    names: Mapping[str, str] = field(default_factory=dict)
    # Lines after the symbol table, for people.
    comments: tuple[str, ...] = ()


# ------------------------------------------------------------------ writing


def ascii_form(circuit: Circuit) -> str:
    """The circuit as an `aag` file."""
    most = max(
        (lit >> 1 for lit in (*circuit.inputs, *(la.now for la in circuit.latches),
                              *(g.out for g in circuit.gates))),
        default=0,
    )  # fmt: skip
    lines = [
        _header("aag", most, circuit),
        *(str(lit) for lit in circuit.inputs),
        *(f"{latch.now} {_latch(latch)}" for latch in circuit.latches),
        *_asked(circuit),
        *(f"{g.out} {max(g.one, g.other)} {min(g.one, g.other)}" for g in circuit.gates),
        *_symbols(circuit),
    ]
    return "\n".join(lines) + "\n"


def binary_form(circuit: Circuit) -> bytes:
    """The circuit as an `aig` file, renumbered as that form requires."""
    ours = renumbered(circuit)
    most = len(ours.inputs) + len(ours.latches) + len(ours.gates)
    lines = [
        _header("aig", most, ours),
        *(_latch(latch) for latch in ours.latches),
        *_asked(ours),
    ]
    gates = bytearray()
    for gate in ours.gates:
        high, low = max(gate.one, gate.other), min(gate.one, gate.other)
        gates += packed(gate.out - high) + packed(high - low)
    text = "".join(f"{line}\n" for line in lines).encode()
    symbols = "".join(f"{line}\n" for line in _symbols(ours)).encode()
    return text + bytes(gates) + symbols


def packed(number: int) -> bytes:
    """A number in groups of seven bits, low ones first; the top bit says that more follow."""
    groups = bytearray()
    while number > 0x7F:
        groups.append(number & 0x7F | 0x80)
        number >>= 7
    groups.append(number)
    return bytes(groups)


def renumbered(circuit: Circuit) -> Circuit:
    """Inputs first, then latches, then gates, each gate above those it needs and its inputs
    in falling order."""
    old = [
        *(lit >> 1 for lit in circuit.inputs),
        *(latch.now >> 1 for latch in circuit.latches),
        *(gate.out >> 1 for gate in circuit.gates),
    ]
    new = {0: 0} | {number: i for i, number in enumerate(old, 1)}

    def to(lit: int) -> int:
        return 2 * new[lit >> 1] + (lit & 1)

    gates = [(to(g.out), to(g.one), to(g.other)) for g in circuit.gates]
    return Circuit(
        tuple(map(to, circuit.inputs)),
        tuple(Latch(to(la.now), to(la.following), to(la.reset)) for la in circuit.latches),
        tuple(Gate(out, max(one, other), min(one, other)) for out, one, other in gates),
        tuple(map(to, circuit.bad)),
        tuple(map(to, circuit.constraints)),
        tuple(map(to, circuit.outputs)),
        circuit.names,
        circuit.comments,
    )


def _header(word: str, most: int, circuit: Circuit) -> str:
    counts = [most, len(circuit.inputs), len(circuit.latches), len(circuit.outputs)]
    counts.append(len(circuit.gates))
    # The counts of 1.9 are left out where they are 0.
    if circuit.bad or circuit.constraints:
        counts.append(len(circuit.bad))
    if circuit.constraints:
        counts.append(len(circuit.constraints))
    return " ".join([word, *map(str, counts)])


def _latch(latch: Latch) -> str:
    return f"{latch.following} {latch.reset}" if latch.reset else str(latch.following)


def _asked(circuit: Circuit) -> Iterator[str]:
    yield from map(str, (*circuit.outputs, *circuit.bad, *circuit.constraints))


def _symbols(circuit: Circuit) -> Iterator[str]:
    yield from (f"{key} {name}" for key, name in circuit.names.items())
    if circuit.comments:
        yield "c"
        yield from circuit.comments
