"""A second solver is asked for each "unsatisfiable", and believed no more than the first."""

import sys
from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest
import z3

import verifier
from tests.junction_files import SPECS
from verifier.cli import main
from verifier.engines import second_solver
from verifier.engines.proof_store import ProofStore
from verifier.engines.results import SolversDiffer
from verifier.engines.second_solver import SLICE, SecondSolver, rechecked
from verifier.engines.session import Session
from verifier.logic.expr import FALSE
from verifier.world.world import World

cvc5 = pytest.importorskip("cvc5", reason="cvc5 is not installed: there is no second solver")

# A plan of single moments that is proved, one that is broken, one with wires and faults, one with
# locks over time.
FILES = (
    "first-steps/end-of-siding-mended",
    "first-steps/end-of-siding-broken",
    "wiring/fuse-and-supply-broken",
    "locking/drawbridge-mended",
)


def spec(name: str) -> Path:
    return SPECS / f"{name}.ixl"


@pytest.mark.parametrize("name", FILES)
def test_asked_twice_a_file_has_the_same_verdicts(name: str) -> None:
    plan = verifier.load(spec(name))
    once, twice = verifier.prove(plan), verifier.prove(plan, recheck=True)
    assert once.second is None
    assert twice.second is not None and twice.second.agreed > 0
    assert [(v.obligation.key, v.status, v.why) for v in twice.verdicts] == [
        (v.obligation.key, v.status, v.why) for v in once.verdicts
    ]
    assert twice.failures == once.failures and twice.grade == once.grade


def test_what_was_found_before_is_asked_again() -> None:
    plan, store = verifier.load(spec(FILES[0])), ProofStore()
    verifier.prove(plan, store=store)
    report = verifier.prove(plan, store=store, recheck=True)
    alone = verifier.prove(plan, recheck=True)
    assert report.second == alone.second and report.second is not None
    assert report.second.agreed > 0


class Says:
    """An answer of the second solver."""

    def __init__(self, word: str):
        self.word, self.name = word, "INCOMPLETE"

    def isSat(self) -> bool:
        return self.word == "sat"

    def isUnsat(self) -> bool:
        return self.word == "unsat"

    def getUnknownExplanation(self) -> "Says":
        return self


def answers(monkeypatch: pytest.MonkeyPatch, word: str) -> None:
    monkeypatch.setattr(SecondSolver, "_ask", lambda *_: Says(word))


def test_two_solvers_that_differ_are_a_bug(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    answers(monkeypatch, "sat")
    assert main(["prove", "--recheck", "--jobs", "1", str(spec(FILES[0]))]) == 4
    assert "z3 excludes what cvc5" in capsys.readouterr().err


@pytest.mark.parametrize("name", [FILES[0], FILES[3]])
def test_no_second_answer_is_no_agreement(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    answers(monkeypatch, "unknown")
    report = verifier.prove(verifier.load(spec(name)), recheck=True)
    assert report.exit_code == 3
    assert report.second is not None and report.second.agreed == 0
    left = [v for v in report.verdicts if v.status == "proved" and v.obligation.mode == "never"]
    # What simplifies to "false" by the laws of logic is asked of no solver.
    world = World(report.plan)
    for verdict in left:
        asked = (
            world.expand(verdict.obligation.formula)
            if verdict.lasting is None
            else verdict.lasting.bad
        )
        assert asked == FALSE, verdict.obligation.key
    assert any("gave no second answer" in v.why for v in report.verdicts)


def test_what_cannot_be_translated_has_no_second_answer() -> None:
    with rechecked():
        session = Session()
        number = z3.Int("trains", session.context)
        session.add(number > 2, number < 2)
        assert session.check() is None
        assert "cannot be asked" in session.reason


def test_without_the_package_one_line_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(second_solver, "find_spec", lambda _: None)
    assert main(["prove", "--recheck", str(spec(FILES[0]))]) == 2
    said = capsys.readouterr()
    assert said.err.strip() == "`--recheck` needs cvc5: pip install 'clearproof[recheck]'"
    assert not said.out
    monkeypatch.setitem(sys.modules, "cvc5", None)
    with pytest.raises(ImportError):
        verifier.prove(verifier.load(spec(FILES[0])), recheck=True)


def test_the_report_says_who_was_asked(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["prove", "--recheck", str(spec(FILES[0]))]) == 0
    said = capsys.readouterr().out
    assert f"cvc5 {cvc5.__version__} confirmed " in said


# ------------------------------------------------------------------ the translation


def terms(random: Random, bits: list[z3.BoolRef]) -> Iterator[z3.BoolRef]:
    """Random terms of all kinds that the engines make."""
    known = list(bits)
    for _ in range(12):
        some = random.sample(known, 3)
        term = random.choice(
            [
                z3.And(*some), z3.Or(*some), z3.Not(some[0]), some[0] == some[1],
                z3.Implies(some[0], some[1]), z3.Xor(some[0], some[1]), z3.If(*some),
                z3.AtMost(*some, random.randrange(3)), z3.AtLeast(*some, random.randrange(1, 4)),
            ]
        )  # fmt: skip
        known.append(term)
        yield term


def test_both_solvers_read_a_term_alike() -> None:
    """What cvc5 is given is what z3 was: both answer alike, through scopes and assumptions."""
    seen = set()
    # Trains of some length stand from a start on.
    start, length = z3.Real("start"), z3.Real("length")
    with rechecked():
        session = Session(context=z3.main_ctx())
    session.add(length >= z3.Q(1, 3), length <= 2, start < 4, start + length > z3.Q(9, 2))
    assert session.check() is True
    session.add(z3.Or(start + length > 6, start < 1))
    session.add(start > 0)
    assert session.check() is False  # by both
    for seed in range(60):
        random = Random(seed)
        with rechecked() as agreements:
            session = Session()
        bits = [session.boolean(f"b{n}") for n in range(4)]
        mirror = session._second
        assert mirror is not None and agreements is not None
        for term in terms(random, bits):
            session.push()
            session.add(term)
            literals = random.sample(bits, 2)
            found = session.check(literals)  # raises where z3 says no and cvc5 does not
            seen.add(found)
            if found:
                with pytest.raises(SolversDiffer):
                    mirror.confirms(literals, None)
            if random.random() < 0.5 or not found:
                session.pop()
        assert mirror._scopes
    assert seen == {True, False}


def test_a_long_question_ends_at_its_deadline() -> None:
    """cvc5 works in short goes, so that Ctrl-C and the time limit are heard between two."""
    goes = []

    class Slow:
        def setOption(self, _name: str, value: str) -> None:
            goes.append(int(value))

        def checkSatAssuming(self, *_: object) -> Says:
            late = Says("unknown")
            late.name = "TIMEOUT"
            return late

        def isUnknown(self) -> bool:
            return True

    with rechecked():
        asked = Session()._second
    assert asked is not None
    asked._solver = Slow()
    Says.isUnknown = Slow.isUnknown  # type: ignore[attr-defined]
    assert asked._ask([], 0.0).name == "TIMEOUT"
    assert goes == [1] and SLICE <= 1000
