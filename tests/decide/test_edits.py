"""After an edit, a proof with the store of the text before tells the same as one from scratch."""

import json
from collections.abc import Callable
from functools import lru_cache
from itertools import product
from pathlib import Path
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import verifier
from tests.decide.edits import versions
from tests.junction_files import SPECS, TIMED_EXAMPLES, TIMED_SPECS, WIRED_SPECS
from tests.sweep import NIGHTLY, sample
from verifier.decide.earlier_proofs import Ways
from verifier.decide.histories import HistoryProver
from verifier.engines.proof_store import ProofStore
from verifier.engines.temporal.kept_clauses import KeptClauses
from verifier.language.diagnostics.diagnostic import InputError
from verifier.logic.expr import FALSE, Atom, Expr, Or, atom, disjunction
from verifier.logic.transition_system import System
from verifier.plan.observables import Observable
from verifier.reports.machine import file_report
from verifier.verdicts.report import LaterProof, Report, Verdict

LOCKED = SPECS / "locking" / "locked-end-of-siding.ixl"
UNTIMED = [path for path in WIRED_SPECS if path not in TIMED_SPECS]
Edit = Callable[[str], str]


# What clauses are kept under.
KINDS = [Ways(*kind) for kind in product((False, True), repeat=len(Ways._fields))]

# What all tests of LOCKED prove from scratch, one process proves once.
of_locked = pytest.mark.xdist_group("locked-end-of-siding")


def told(text: str, store: ProofStore) -> str:
    """The whole report as text; what is wrong with the text, if it cannot be proved."""
    return _words(lambda: verifier.prove(verifier.load_text(text), store=store))


def from_scratch(text: str) -> str:
    return _words(lambda: report_from_scratch(text))


@lru_cache(maxsize=16)
def report_from_scratch(text: str) -> Report:
    return verifier.prove(verifier.load_text(text))


def _words(proof: Callable[[], Report]) -> str:
    try:
        return json.dumps(file_report(proof()))
    except InputError as error:
        return "\n".join(f"{d.code} {d.message}" for d in error.diagnostics)


@lru_cache(maxsize=1)
def _proved(text: str) -> ProofStore:
    store = ProofStore()
    verifier.prove(verifier.load_text(text), store=store)
    return store


def store_of(text: str) -> ProofStore:
    """A store with what the proof of a text found, to go on with."""
    kept, copied = _proved(text), ProofStore()
    for question, answer in kept._answers.items():
        copied.keep(question, answer)
    for kind in KINDS:
        copied.learn(kind, kept.clauses_of(kind))
    return copied


def changed(old: str, new: str) -> Edit:
    def change(text: str) -> str:
        assert old in text, old
        return text.replace(old, new)

    return change


EDITS: dict[str, Edit] = {
    "remark": changed("\nturnout", "\n# a remark\nturnout"),
    "stricter": changed("T1 normal and Main clear", "T1 normal and Main, Siding clear"),
    "no matter whether Main is clear": changed("T1 normal and Main clear", "T1 normal"),
    "both routes at once": changed(" and not Set-4L pressed and 4L-route down", ""),
    "relay renamed": changed("Entered", "Has-Entered"),
    "lever renamed": changed("T1-lever", "T1-crank"),
}
HARMFUL = ("no matter whether Main is clear", "both routes at once")


def safety(report: Report) -> dict[str, str]:
    """The status of all that must never be."""
    return {v.obligation.key: v.status for v in report.verdicts if v.obligation.mode == "never"}


@of_locked
def test_after_an_edit_a_session_says_whether_and_then_all_that_a_proof_from_scratch_says() -> None:
    """A remark after a harmful edit moves places in the file: what is asked and answered is the
    same as before, and what the report says of it is not."""
    text = LOCKED.read_text("utf-8")
    session = verifier.Session(text)
    alone = from_scratch(text)
    assert json.dumps(file_report(session.report())) == alone
    for name in sample([*EDITS], 3, "edits of a session", HARMFUL.__contains__):
        edit, harmful = EDITS[name], name in HARMFUL
        for after in (edit(text), *([EDITS["remark"](edit(text))] if harmful else [])):
            session.edit(after)
            first, report = session.verdicts(), session.report()
            assert json.dumps(file_report(report)) == from_scratch(after)
            assert first.stopped is not None and safety(first) == safety(report)
            assert ("broken" in safety(first).values()) >= harmful, name
        session.edit(text)
        assert json.dumps(file_report(session.report())) == alone
    with pytest.raises(InputError):
        session.edit("nothing that can be read")
    assert json.dumps(file_report(session.report())) == alone, "the text before stays"


def test_clauses_are_tried_under_new_names() -> None:
    text, store = LOCKED.read_text("utf-8"), ProofStore()
    verifier.prove(verifier.load_text(text), store=store, only=("collision", "derailment"))
    assert store.clauses
    for edit in (changed("T1", "T9"), changed("T1", "T8"), changed("Main", "Long-Track")):
        plan = verifier.load_text(edit(text))
        prover = HistoryProver(plan, None, lambda: None, store)._truthful
        assert prover._kept is not None
        assert len(prover._kept.clauses) >= len(store.clauses) // 2


def test_clauses_of_a_proof_serve_where_states_start_alike() -> None:
    """Nothing is known of how points lie at first, but that they lie as they were thrown."""
    same = (Observable("points", "T", ("normal", "reverse"), "normal"),
            Observable("thrown", "T", ("normal", "reverse"), "normal"))  # fmt: skip
    lie, told = same
    stay = {what: {value: atom(what, value) for value in what.values} for what in same}
    system = System(same, (), dict.fromkeys(same, lie.values), stay, alike=(same,))
    agree = disjunction(atom(lie, "normal"), atom(told, "reverse"))
    wrong = disjunction(atom(lie, "normal"), atom(told, "normal"))
    kept = KeptClauses(system, (agree, wrong, atom(lie, "normal")), ProofStore(), None)
    assert list(kept.inductive) == [agree]


def verdicts(report: Report) -> dict[str, str]:
    return {v.obligation.key: v.status for v in report.verdicts}


@of_locked
def test_a_store_of_another_file_changes_nothing() -> None:
    store = ProofStore()
    other = SPECS / "locking" / "locked-and-wired-end-of-siding.ixl"
    verifier.prove(verifier.load(other), store=store)
    assert store.clauses
    text = LOCKED.read_text("utf-8")
    assert told(text, store) == from_scratch(text)


def wrong_clauses(clauses: tuple[Expr, ...]) -> list[Expr]:
    """Clauses that do not hold, made of those that do: shortened, and turned round."""
    wrong: list[Expr] = [FALSE]
    for clause in clauses:
        parts = clause.parts if isinstance(clause, Or) else (clause,)
        wrong += [disjunction(*(p for p in parts if p is not part)) for part in parts]
        for part in parts:
            assert isinstance(part, Atom)
            others = (value for value in part.what.values if value not in part.values)
            wrong.append(atom(part.what, *others))
    return wrong


@of_locked
def test_a_corrupted_store_proves_nothing() -> None:
    """Each edit is harmful; with only wrong clauses, none of which may be believed."""
    text = LOCKED.read_text("utf-8")
    wrong = wrong_clauses(_proved(text).clauses)
    for name in ("no matter whether Main is clear", "both routes at once"):
        corrupted = ProofStore()
        for kind in KINDS:
            corrupted.learn(kind, wrong)
        after = EDITS[name](text)
        report = verifier.prove(verifier.load_text(after), store=corrupted)
        assert verdicts(report) == verdicts(report_from_scratch(after))


@of_locked
def test_what_is_told_of_a_proof_is_found_when_it_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    text = LOCKED.read_text("utf-8")
    after = verifier.prove(verifier.load_text(EDITS["stricter"](text)), store=store_of(text))
    later = [v.lasting for v in after.verdicts if isinstance(v.lasting, LaterProof)]
    asked: list[HistoryProver] = []

    def nothing(self: HistoryProver) -> dict[str, Verdict]:
        asked.append(self)
        return {}

    monkeypatch.setattr(HistoryProver, "_from_scratch", property(nothing))
    assert later and later[0].clauses and later[0].system.states
    assert len(asked) == 1


# ------------------------------------------------------------------ any edit


def _same_after_each(path: Path, chance: Random, count: int) -> None:
    store = ProofStore()
    for text in versions(path.read_text("utf-8"), chance, count):
        assert told(text, store) == from_scratch(text)


# Each takes many proofs: more of them, and on whole specs, with CLEARPROOF_PROFILE=nightly.
EXAMPLES = 4 if NIGHTLY else 1
ANY = settings(deadline=None, suppress_health_check=[*HealthCheck], max_examples=EXAMPLES)
CHANCE = st.randoms(use_true_random=False)


@pytest.mark.parametrize(
    "path", sample(UNTIMED[:: 1 if NIGHTLY else 3], 2, "edits"), ids=lambda path: path.stem
)
def test_any_edits_of_wired_files(path: Path) -> None:
    @ANY
    @given(chance=CHANCE)
    def check(chance: Random) -> None:
        _same_after_each(path, chance, 4)

    check()


@pytest.mark.parametrize(
    "path",
    TIMED_SPECS if NIGHTLY else sample(TIMED_EXAMPLES[::5], 2, "edits over time"),
    ids=lambda path: path.stem,
)
def test_any_edits_of_files_over_time(path: Path) -> None:
    @ANY
    @given(chance=CHANCE)
    def check(chance: Random) -> None:
        _same_after_each(path, chance, 2)

    check()
