"""The SMT-LIB scripts: other solvers read them, and answer what the situation check does."""

import re
from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest
import z3

import verifier
from tests.differential.junctions import write_junction
from tests.junction_files import SPEC_FILES
from verifier.engines.interchange.smtlib import script
from verifier.engines.results import Exists, Impossible
from verifier.engines.smt.situations import SituationCheck
from verifier.logic.expr import Expr, atom, conjunction, disjunction
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.properties.catalog import obligations
from verifier.world.world import World

try:
    import cvc5
except ModuleNotFoundError:
    cvc5 = None

needs_cvc5 = pytest.mark.skipif(
    cvc5 is None, reason="cvc5 is not installed, so the second solver cannot be asked"
)
# Every so many obligations of a file are asked of the other solvers.
STRIDE = 2


def by_cvc5(text: str) -> str:
    terms = cvc5.TermManager()
    solver = cvc5.Solver(terms)
    symbols = cvc5.SymbolManager(terms)
    parser = cvc5.InputParser(solver, symbols)
    parser.setStringInput(cvc5.InputLanguage.SMT_LIB_2_6, text, "obligation")
    answers = []
    while not (command := parser.nextCommand()).isNull():
        said = command.invoke(solver, symbols)
        if said.strip():
            answers.append(said.strip())
    assert len(answers) == 1, answers
    return str(answers[0])


def by_fresh_z3(text: str) -> str:
    solver = z3.Solver()
    solver.from_string(text)
    return str(solver.check())


def questions(plan: Plan) -> Iterator[tuple[str, str]]:
    """Scripts of a plan's obligations, with the situation check's own answer."""
    world = World(plan)
    assumptions = [(a.title, world.expand(world.lower(a.condition))) for a in plan.assumptions]
    check = SituationCheck(plan.inputs, [expr for _, expr in assumptions])
    asked = [o for o in obligations(plan, world.lower) if o.over == "situations"]
    for obligation in asked[::STRIDE]:
        goal = world.expand(obligation.formula)
        answer = check.find(goal)
        assert isinstance(answer, Exists | Impossible)
        ours = "sat" if isinstance(answer, Exists) else "unsat"
        yield script(goal, plan.inputs, assumptions, obligation.key), ours


@needs_cvc5
@pytest.mark.parametrize("path", SPEC_FILES, ids=lambda p: p.stem)
def test_three_solvers_agree_on_the_junctions_to_read(path: Path) -> None:
    asked = list(questions(verifier.load(path)))
    assert asked
    for text, ours in asked:
        assert by_cvc5(text) == ours, text
        assert by_fresh_z3(text) == ours, text


@needs_cvc5
def test_three_solvers_agree_on_generated_junctions() -> None:
    answers = set()
    for seed in range(15):
        try:
            plan = verifier.load_text(write_junction(Random(seed), 400))
        except verifier.InputError:
            continue
        for text, ours in questions(plan):
            answers.add(ours)
            assert by_cvc5(text) == by_fresh_z3(text) == ours, text
    assert answers == {"sat", "unsat"}


A, T = observables.stock("Main"), observables.points("T1")


def test_what_a_script_looks_like() -> None:
    goal = conjunction(atom(A, "occupied"), atom(T, "reverse", "open"))
    text = script(goal, [A, T], [("kept lined", atom(T, "normal"))], "a question")
    assert text.splitlines() == [
        "; a question",
        ";",
        "; The answer `unsat` means: no allowed situation makes the question true.",
        "; The answer `sat` means: there is one. Inputs that are not declared here do not",
        "; matter. A two-state input has one Boolean: it stands for the state in its name.",
        "(set-info :smt-lib-version 2.6)",
        "(set-logic QF_UF)",
        "(declare-const |stock Main = occupied| Bool)",
        "(declare-const |points T1 = normal| Bool)",
        "(declare-const |points T1 = reverse| Bool)",
        "(declare-const |points T1 = open| Bool)",
        "(assert (! (and (or |points T1 = normal| |points T1 = reverse| |points T1 = open|) "
        "(not (and |points T1 = normal| |points T1 = reverse|)) "
        "(not (and |points T1 = normal| |points T1 = open|)) "
        "(not (and |points T1 = reverse| |points T1 = open|))) "
        ":named |points T1 is in one state|))",
        "(assert (! |points T1 = normal| :named |assumption 1: kept lined|))",
        "(assert (! (and |stock Main = occupied| (or |points T1 = reverse| |points T1 = open|)) "
        ":named |the question|))",
        "(check-sat)",
    ]
    assert by_fresh_z3(text) == "unsat"


@needs_cvc5
def test_titles_may_hold_anything() -> None:
    """What SMT-LIB cannot write in a symbol, and what would end a comment, is replaced."""
    title = 'pipe | backslash \\ tab \t carriage return \r ; ) bell \x07 "Müller" 線路'
    goal = atom(A, "occupied")
    text = script(goal, [A], [(title, goal), (title, goal)], f"two\nlines {title}")
    assert by_cvc5(text) == by_fresh_z3(text) == "sat"
    assert all(c.isprintable() or c == "\n" for c in text)


@needs_cvc5
def test_names_that_no_symbol_can_hold_are_kept_apart() -> None:
    blocks = [observables.stock(name) for name in ("a|b", "a\\b", "a%b", "a/b", "a%{7C}b")]
    for one in blocks:
        alone = conjunction(atom(one, "occupied"), *(atom(x, "vacant") for x in blocks if x != one))
        text = script(alone, blocks, [], "")
        assert by_cvc5(text) == by_fresh_z3(text) == "sat"


def _ladder(rungs: int) -> Expr:
    """Every rung uses the one below twice: as a tree it doubles each time."""
    blocks = [observables.stock(f"B{i}") for i in range(8)]
    low: Expr = atom(blocks[0], "occupied")
    for i in range(1, rungs):
        left, right = atom(blocks[i % 8], "occupied"), atom(blocks[(i + 3) % 8], "vacant")
        low = disjunction(
            conjunction(left, low), conjunction(right, low, atom(blocks[(i + 5) % 8], "occupied"))
        )
    return low


@needs_cvc5
def test_size_grows_with_the_expression_not_with_its_tree() -> None:
    inputs = [observables.stock(f"B{i}") for i in range(8)]
    sizes = [len(script(_ladder(n), inputs, [], "")) for n in (50, 100, 200)]
    assert sizes[2] - sizes[1] < 2.5 * (sizes[1] - sizes[0])
    text = script(_ladder(200), inputs, [], "")
    assert max(map(len, text.splitlines())) < 1000
    assert len(re.findall("define-fun", text)) >= 150
    assert by_cvc5(text) == by_fresh_z3(text) == "sat"
