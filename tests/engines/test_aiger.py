"""AIGER 1.9: the published counter and its witness, systems as circuits, an outside engine."""

from itertools import product
from pathlib import Path
from random import Random

import pytest

from tests.engines import small_systems as small
from tests.engines.aiger_reader import (
    Witness,
    read,
    read_witness,
    replay,
    run,
    situation,
    with_set_starts,
)
from tests.engines.explicit_search import explore
from tests.engines.ic3_checker import can_be_reached, needs_directed_checker
from tests.engines.random_systems import drawn_bads, drawn_system, replays, truth
from verifier.engines.interchange.aig import Gates, gates
from verifier.engines.interchange.aiger import (
    Circuit,
    Gate,
    Latch,
    ascii_form,
    binary_form,
    packed,
    renumbered,
)
from verifier.engines.results import Reachable
from verifier.logic.expr import atom, conjunction, negation
from verifier.logic.transition_system import System

# The report on the AIGER format, version 1.9 (read in a stored copy [V]): a counter of one bit,
# bad when it is 1, and a witness.
COUNTER = "aag 5 1 1 0 3 1\n2\n4 10 0\n4\n6 5 3\n8 4 2\n10 9 7\n"
COUNTER_WITNESS = "1\nb0\n0\n1\n1\n.\n"
# With "the input is never 1" taken for granted the bad state cannot be reached: ours [C].
HELD = "aag 5 1 1 0 3 1 1\n2\n4 10 0\n4\n3\n6 5 3\n8 4 2\n10 9 7\n"


def reached(circuit: Circuit, bad: int = 0) -> bool:
    """Whether a bad state can be reached, by going through everything."""
    starts = product(*(
        (False, True) if latch.reset == latch.now else (latch.reset == 1,)
        for latch in circuit.latches
    ))  # fmt: skip
    every = list(product((False, True), repeat=len(circuit.inputs)))

    def moments(latches: tuple[bool, ...]):  # type: ignore[no-untyped-def]
        for inputs in every:
            here, after = run(circuit, latches, (inputs, inputs))
            if here.allowed:
                yield here, after.latches

    found = explore(
        starts,
        lambda latches: [after for _, after in moments(latches)],
        most=100_000,
        wanted=lambda latches: any(here.bad[bad] for here, _ in moments(latches)),
    )
    assert found.complete or found.found is not None
    return found.found is not None


# ------------------------------------------------------------------ the published pair


@pytest.mark.parametrize("binary", [False, True])
def test_the_published_counter_and_its_witness(binary: bool) -> None:
    """AIGER 1.9 report [V]: the model, and the six-line witness that is valid for it."""
    counter = read(COUNTER.encode())
    circuit = read(binary_form(counter)) if binary else counter
    witness = read_witness(COUNTER_WITNESS)
    assert witness == Witness(True, 0, (False,), ((True,), (True,)))
    moments = replay(circuit, witness)
    assert moments is not None
    assert [moment.latches for moment in moments] == [(False,), (True,)]
    assert reached(circuit)


def test_the_published_counter_held_still() -> None:
    """The same with the input never 1 [C]: the bad state cannot be reached, and the published
    witness is none."""
    circuit = read(HELD.encode())
    assert not reached(circuit)
    assert replay(circuit, read_witness(COUNTER_WITNESS)) is None


@pytest.mark.parametrize(
    "wrong",
    ["1\nb0\n1\n1\n1\n.\n", "1\nb0\n0\n0\n1\n.\n", "1\nb0\n0\n1\n.\n", "1\nb1\n0\n1\n1\n.\n",
     "1\nb0\n00\n1\n1\n.\n", "1\nb0\n0\n11\n11\n.\n", "0\nb0\n.\n", "2\nb0\n.\n"],
)  # fmt: skip
def test_witnesses_that_are_none(wrong: str) -> None:
    assert replay(read(COUNTER.encode()), read_witness(wrong)) is None


@needs_directed_checker
def test_the_outside_engine_on_the_published_counter(tmp_path: Path) -> None:
    assert can_be_reached(read(COUNTER.encode()), 0, tmp_path)
    assert not can_be_reached(read(HELD.encode()), 0, tmp_path)


# ------------------------------------------------------------------ the format


@pytest.mark.parametrize(
    ("number", "groups"),
    [(0, "00"), (127, "7f"), (128, "8001"), (258, "8202"), (16383, "ff7f"), (16387, "838001")],
)
def test_numbers_in_groups_of_seven_bits(number: int, groups: str) -> None:
    """FORMAT (20071012) [V]: its table of examples."""
    assert packed(number).hex() == groups


def test_the_counter_is_written_as_it_was_read() -> None:
    """But for the reset, which is 0 where nothing is said."""
    assert ascii_form(read(COUNTER.encode())) == COUNTER.replace("4 10 0", "4 10")
    assert ascii_form(read(HELD.encode())) == HELD.replace("4 10 0", "4 10")


@pytest.mark.parametrize("seed", range(30))
def test_both_forms_say_the_same(seed: int) -> None:
    system = drawn_system(seed)
    circuit = gates(system, drawn_bads(system, seed)).circuit
    assert circuit.names
    assert read(ascii_form(circuit).encode()) == circuit == renumbered(circuit)
    assert read(binary_form(circuit)) == circuit
    # Numbers in any order, as the ASCII form allows.
    shuffled = _shuffled(circuit, Random(seed))
    assert read(binary_form(read(ascii_form(shuffled).encode()))) == renumbered(
        read(ascii_form(shuffled).encode())
    )


def _shuffled(circuit: Circuit, chance: Random) -> Circuit:
    numbers = len(circuit.inputs) + len(circuit.latches) + len(circuit.gates)
    new = [0, *chance.sample(range(1, numbers + 1), numbers)]

    def to(lit: int) -> int:
        return 2 * new[lit >> 1] + (lit & 1)

    return Circuit(
        tuple(map(to, circuit.inputs)),
        tuple(Latch(to(la.now), to(la.following), to(la.reset)) for la in circuit.latches),
        tuple(Gate(to(g.out), to(g.one), to(g.other)) for g in circuit.gates),
        tuple(map(to, circuit.bad)),
        tuple(map(to, circuit.constraints)),
    )


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ("", "cut short"),
        ("hello\n", "not an AIGER file"),
        ("aag 1 1 0 0\n2\n", "not an AIGER file"),
        ("aag 5 1 1 0 3 1 0 1\n", "justice"),
        (COUNTER[:-8], "cut short"),
        (COUNTER.replace("6 5 3", "6 5 15"), "nothing has"),
        (COUNTER.replace("6 5 3", "6 9 3").replace("8 4 2", "8 7 2"), "not an AIGER file"),
        (COUNTER.replace("6 5 3", "2 5 4"), "one number"),
        (COUNTER.replace("6 5 3", "8 5 3"), "one number"),
        (COUNTER.replace("6 5 3", "7 5 3"), "too high"),
        (COUNTER.replace("4 10 0", "4 10 2"), "starts as something else"),
        (COUNTER.replace("4 10 0", "4"), "as many numbers"),
        (COUNTER + "z0 what\n", "symbol table"),
        ("aig 4 1 1 0 3 1\n10\n4\n", "do not add up"),
        ("aig 5 1 1 0 3 1\n10\n4\n", "cut short"),
    ],
)
def test_files_that_are_none(wrong: str, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        read(wrong.encode())


@pytest.mark.parametrize("wrong", ["", "3\n", "1\nj0\n0\n1\n.\n", "1\nb0\n0\n1\n", "1\nb0\n.\n",
                                   "1\nb0\n0\n2\n.\n"])  # fmt: skip
def test_answers_that_are_none(wrong: str) -> None:
    with pytest.raises(ValueError, match=r"answer|bad state|witness"):
        read_witness(wrong)


def test_comments_end_a_file() -> None:
    named = read((COUNTER + "i0 button\nb0 up\nc\nz0 whatever\n").encode())
    assert named.names == {"i0": "button", "b0": "up"}


# ------------------------------------------------------------------ systems


@pytest.mark.parametrize("seed", range(60))
def test_a_circuit_reaches_what_its_system_reaches(seed: int) -> None:
    system = drawn_system(seed)
    bads = drawn_bads(system, seed, 2)
    made = gates(system, bads)
    known = truth(system)
    for number, bad in enumerate(bads):
        expected = known.depth(bad) is not None
        assert reached(made.circuit, number) == expected
    if len(made.circuit.inputs) + len(made.circuit.latches) <= 7:
        set_starts = with_set_starts(made.circuit)
        assert all(latch.reset != latch.now for latch in set_starts.latches)
        assert reached(set_starts) == (known.depth(bads[0]) is not None)


@pytest.mark.parametrize("seed", range(30))
def test_a_run_of_the_circuit_is_a_history_of_the_system(seed: int) -> None:
    """Inputs at random; every moment of the circuit is one of the system, in its words."""
    system = drawn_system(seed)
    chance = Random(seed)
    bad = negation(atom(system.states[0], system.states[0].usual))
    made = gates(system, [bad])
    start = [
        bool(latch.reset == 1 or (latch.reset == latch.now and chance.randint(0, 1)))
        for latch in made.circuit.latches
    ]
    rows = [[bool(chance.randint(0, 1)) for _ in made.circuit.inputs] for _ in range(12)]
    told = []
    for moment in run(made.circuit, start, rows):
        if not moment.allowed:
            break
        told.append(situation(made, moment))
        # `replays` looks at the last moment: it is bad there when the circuit says so.
        assert replays(system, bad, Reachable(tuple(told))) == moment.bad[0]
    for i in range(len(told)):
        now = Reachable(tuple(told[: i + 1]))
        assert replays(system, bad, now) or replays(system, negation(bad), now)


SMALL: dict[str, tuple[System, bool]] = {
    "line": (small.single_track(), False),
    "line without lock": (small.single_track(locked=False), True),
}


@needs_directed_checker
@pytest.mark.parametrize("name", SMALL)
def test_the_outside_engine_on_a_single_track(name: str, tmp_path: Path) -> None:
    system, happens = SMALL[name]
    made = gates(system, [small.MEET, conjunction(small.ON_EAST, small.RIGHT)])
    assert can_be_reached(made.circuit, 0, tmp_path) == happens
    assert can_be_reached(made.circuit, 1, tmp_path)


@needs_directed_checker
@pytest.mark.parametrize("seed", range(40))
def test_the_outside_engine_agrees_on_systems_drawn_at_random(seed: int, tmp_path: Path) -> None:
    system = drawn_system(seed)
    bads = drawn_bads(system, seed, 2)
    made: Gates = gates(system, bads)
    known = truth(system)
    for number, bad in enumerate(bads):
        expected = known.depth(bad) is not None
        assert can_be_reached(made.circuit, number, tmp_path) == expected
