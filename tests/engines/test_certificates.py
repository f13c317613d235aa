"""Proofs over time as files: two solvers accept the good ones and refuse the tampered ones."""

from collections.abc import Callable

import pytest

from tests.engines.random_systems import drawn_bads, drawn_system
from tests.engines.small_systems import (
    CLOCK,
    DONE,
    EAST_NEEDS,
    FIRST,
    MEET,
    ON_EAST,
    RIGHT,
    RUN,
    SECOND,
    THIRD,
    THIRD_UP,
    WEST_NEEDS,
    repeaters,
    single_track,
    timer,
)
from verifier.engines.interchange.check_proofs import MAGIC
from verifier.engines.results import Unreachable
from verifier.engines.temporal.certificates import README, certificate, recheck
from verifier.engines.temporal.houdini import inductive_clauses
from verifier.engines.temporal.induction import prove
from verifier.logic.expr import FALSE, TRUE, Expr, atom, disjunction, negation
from verifier.logic.transition_system import System
from verifier.plan.observables import relay

try:
    import cvc5
except ModuleNotFoundError:
    cvc5 = None


def by_cvc5(text: str) -> bool:
    if cvc5 is None:
        pytest.skip("cvc5 is not installed, so the second solver cannot be asked")
    terms = cvc5.TermManager()
    solver = cvc5.Solver(terms)
    solver.setOption("incremental", "true")
    symbols = cvc5.SymbolManager(terms)
    parser = cvc5.InputParser(solver, symbols)
    parser.setStringInput(cvc5.InputLanguage.SMT_LIB_2_6, text, "proof")
    answers = []
    while not (command := parser.nextCommand()).isNull():
        if said := command.invoke(solver, symbols).strip():
            answers.append(said)
    return answers == ["unsat"] * 3


solvers = pytest.mark.parametrize("check", [recheck, by_cvc5], ids=["z3", "cvc5"])
Check = Callable[[str], bool]
CLAUSES = [EAST_NEEDS, WEST_NEEDS]
NO_PUSH = (atom(RUN, "released"),)

ALL_DOWN = [negation(atom(one, "up")) for one in (FIRST, SECOND, THIRD)]

Case = tuple[System, Expr, list[Expr]]
GOOD: dict[str, Case] = {
    "line": (single_track(), MEET, CLAUSES),
    "repeaters": (repeaters(), THIRD_UP, ALL_DOWN),
    "timer": (timer(always=NO_PUSH), DONE, [atom(CLOCK, "idle")]),
    "nothing to show": (single_track(), FALSE, []),
}
BAD: dict[str, Case] = {
    "a clause dropped": (single_track(), MEET, CLAUSES[:1]),
    "no clause": (single_track(), MEET, []),
    "only what must never happen": (single_track(), MEET, [negation(MEET)]),
    "a clause that fails at the start": (single_track(), MEET, [*CLAUSES, RIGHT]),
    "a clause that does not last": (single_track(), MEET, [*CLAUSES, negation(ON_EAST)]),
    "more is forbidden": (single_track(), disjunction(MEET, ON_EAST), CLAUSES),
    "the lock is not there": (single_track(locked=False), MEET, CLAUSES),
    "fewer repeaters": (repeaters(), THIRD_UP, ALL_DOWN[1:]),
    "the first moment": (timer(("done",), NO_PUSH), DONE, [negation(DONE)]),
    "the second moment": (timer(("running",)), DONE, [negation(DONE)]),
    "nothing taken for granted": (timer(), DONE, [atom(CLOCK, "idle")]),
    "a start among others": (timer(("idle", "running"), NO_PUSH), DONE, [atom(CLOCK, "idle")]),
    "anything goes": (single_track(), TRUE, CLAUSES),
}


def written(name: str, cases: dict[str, Case]) -> str:
    system, bad, clauses = cases[name]
    return certificate(system, bad, clauses, title=name)


@solvers
@pytest.mark.parametrize("name", GOOD)
def test_solvers_accept_a_proof(name: str, check: Check) -> None:
    assert check(written(name, GOOD))


@solvers
@pytest.mark.parametrize("name", BAD)
def test_solvers_refuse_what_is_no_proof(name: str, check: Check) -> None:
    assert not check(written(name, BAD))


def asserted(text: str) -> list[int]:
    return [i for i, line in enumerate(text.splitlines()) if line.startswith("(assert")]


@solvers
def test_a_line_left_out_of_the_file_is_seen(check: Check) -> None:
    """Every line of this file is needed: without any one of them some question has an answer."""
    lines = written("line", GOOD).splitlines()
    here = asserted("\n".join(lines))
    assert len(here) > 8
    for left_out in here:
        assert not check("\n".join(lines[:left_out] + lines[left_out + 1 :])), lines[left_out]


def test_a_file_cut_short_is_refused() -> None:
    text = written("line", GOOD)
    questions = text.split("(push 1)")
    assert recheck(text)
    assert not recheck("(push 1)".join(questions[:-1]))
    assert not recheck(text.replace("(check-sat)", "", 1))
    assert not recheck(text[: len(text) // 2])
    assert not recheck("")
    assert not recheck("no such file")


def test_a_proof_is_written_the_same_way_each_time() -> None:
    assert written("line", GOOD) == written("line", GOOD)


def test_the_file_says_what_each_part_is() -> None:
    text = certificate(
        single_track(), MEET, CLAUSES, title="No two\ntrains meet", told=["an eastbound |train|\n"]
    )
    assert text.startswith(f"{MAGIC}\n; No two trains meet\n")
    assert "; - an eastbound |train| \n" in text
    for heading in ("1. At the start", "2. From moment to moment", "3. While the facts hold"):
        assert f"; {heading}" in text
    assert "`unsat` three times" in README.replace("\n", " ")


ODD = ["A|B", "A\\B", "A%B", "A/B", "A%{7C}B", "A\tB", "A B"]


@solvers
def test_names_that_no_symbol_can_hold_are_kept_apart(check: Check) -> None:
    """One of them is up, all others never are: were any two of them one, a question would have
    an answer, or the proof would be of something else."""
    for up in ODD:
        relays = [relay(name) for name in ODD]
        first = {what: ("up",) if what.name == up else ("down",) for what in relays}
        stays = {what: {v: atom(what, v) for v in what.values} for what in relays}
        system = System(tuple(relays), (), first, stays)
        others = [atom(what, "down") for what in relays if what.name != up]
        bad = disjunction(*(negation(one) for one in others))
        assert check(certificate(system, bad, others, title="odd"))
        alone = atom(relay(up), "up")
        assert not check(certificate(system, alone, others, title="odd"))


def test_names_with_blanks_and_letters_of_other_alphabets() -> None:
    odd = relay("Île 1 “north”")
    system = System((odd,), (), {odd: ("down",)}, {odd: {"down": TRUE, "up": FALSE}})
    text = certificate(system, atom(odd, "up"), [atom(odd, "down")], title="odd")
    assert recheck(text)
    assert by_cvc5(text)


@pytest.mark.parametrize("seed", range(40))
def test_proofs_of_the_engines_are_accepted(seed: int) -> None:
    """Whatever is proved about a system drawn at random stands up in a file; and where it
    happens at times, the same clauses prove nothing."""
    system = drawn_system(seed)
    for bad in drawn_bads(system, seed):
        proof = prove(system, bad, inductive_clauses(system))
        clauses = proof.clauses if isinstance(proof, Unreachable) else (negation(bad),)
        text = certificate(system, bad, clauses, title=f"seed {seed}")
        assert recheck(text) == by_cvc5(text) == isinstance(proof, Unreachable), text
