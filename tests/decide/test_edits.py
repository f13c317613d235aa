"""After an edit, a proof with the store of the text before tells the same as one from scratch."""

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import verifier
from tests.junction_files import SPECS, TIMED_SPECS, WIRED_SPECS
from verifier.decide.histories import HistoryProver
from verifier.engines.proof_store import ProofStore
from verifier.language.diagnostics.diagnostic import InputError
from verifier.logic.expr import FALSE, Atom, Expr, Or, atom, disjunction
from verifier.reports.machine import file_report
from verifier.verdicts.report import LaterProof, Report, Verdict

LOCKED = SPECS / "locking" / "locked-end-of-siding.ixl"
Edit = Callable[[str], str]


def told(text: str, store: ProofStore | None = None) -> str:
    """The whole report as text; what is wrong with the text, if it cannot be proved."""
    try:
        plan = verifier.load_text(text)
        report = verifier.prove(plan) if store is None else verifier.prove(plan, store=store)
    except InputError as error:
        return "\n".join(f"{d.code} {d.message}" for d in error.diagnostics)
    return json.dumps(file_report(report))


def changed(old: str, new: str) -> Edit:
    def change(text: str) -> str:
        assert old in text, old
        return text.replace(old, new)

    return change


EDITS: dict[str, Edit] = {
    "remark": changed("\nturnout", "\n# a remark\nturnout"),
    "stricter": changed("T1 normal and Main clear", "T1 normal and Main, Siding clear"),
    "no matter whether Main is clear": changed("T1 normal and Main clear", "T1 normal"),
    "both routes at once": changed("Set-4R pressed and 4L-route down", "Set-4R pressed"),
    "relay renamed": changed("Entered", "Has-Entered"),
    "lever renamed": changed("T1-lever", "T1-crank"),
}


@pytest.mark.parametrize("name", EDITS)
def test_the_report_after_an_edit_and_after_undo_is_that_from_scratch(name: str) -> None:
    text, store = LOCKED.read_text("utf-8"), ProofStore()
    before, after = told(text), EDITS[name](text)
    assert told(text, store) == before
    assert told(after, store) == told(after)
    assert told(text, store) == before


def verdicts(report: Report) -> dict[str, str]:
    return {v.obligation.key: v.status for v in report.verdicts}


def test_a_store_of_another_file_changes_nothing() -> None:
    store = ProofStore()
    other = SPECS / "locking" / "locked-and-wired-end-of-siding.ixl"
    verifier.prove(verifier.load(other), store=store)
    assert store.clauses
    assert told(LOCKED.read_text("utf-8"), store) == told(LOCKED.read_text("utf-8"))


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


def test_a_corrupted_store_proves_nothing() -> None:
    """Each edit is harmful; with only wrong clauses, none of which may be believed."""
    text, store = LOCKED.read_text("utf-8"), ProofStore()
    verifier.prove(verifier.load_text(text), store=store)
    wrong = wrong_clauses(store.clauses)
    for name in ("no matter whether Main is clear", "both routes at once"):
        corrupted = ProofStore()
        corrupted.learn(wrong)
        plan = verifier.load_text(EDITS[name](text))
        assert verdicts(verifier.prove(plan, store=corrupted)) == verdicts(verifier.prove(plan))


def test_what_is_told_of_a_proof_is_found_when_it_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    text, store = LOCKED.read_text("utf-8"), ProofStore()
    verifier.prove(verifier.load_text(text), store=store)
    after = verifier.prove(verifier.load_text(EDITS["stricter"](text)), store=store)
    later = [v.lasting for v in after.verdicts if isinstance(v.lasting, LaterProof)]
    asked: list[HistoryProver] = []

    def nothing(self: HistoryProver) -> dict[str, Verdict]:
        asked.append(self)
        return {}

    monkeypatch.setattr(HistoryProver, "_from_scratch", property(nothing))
    assert later and later[0].clauses and later[0].system.states
    assert len(asked) == 1


# ------------------------------------------------------------------ any edit

# A word that is written somewhere in a file is put in the place of another.
_WORDS = re.compile(r"(?<=\s)[\w-]+(?=[\s,])")


@st.composite
def texts(draw: st.DrawFn, path: Path) -> list[str]:
    """Texts of a file, each an edit of the one before: a line left out, doubled or moved, a word
    put for another, a name changed everywhere, the last edit undone."""
    versions = [path.read_text("utf-8")]
    for _ in range(draw(st.integers(1, 3))):
        text = versions[-1]
        lines = text.splitlines(keepends=True)
        at = draw(st.integers(0, len(lines) - 1))
        words = [*_WORDS.finditer(text)]
        one, other = draw(st.sampled_from(words)), draw(st.sampled_from(words))
        versions.append(
            draw(
                st.sampled_from(
                    [
                        "".join([*lines[:at], *lines[at + 1 :]]),
                        "".join([*lines[: at + 1], *lines[at:]]),
                        text[: one.start()] + other[0] + text[one.end() :],
                        re.sub(rf"(?<![\w-]){re.escape(one[0])}(?![\w-])", f"{one[0]}-2", text),
                        re.sub(r" and [^\n]*\n", "\n", text, count=1),
                        versions[max(len(versions) - 2, 0)],
                    ]
                )
            )
        )
    return versions


def _same_after_each(versions: list[str]) -> None:
    store = ProofStore()
    for text in versions:
        assert told(text, store) == told(text)


ANY = settings(deadline=None, suppress_health_check=[*HealthCheck], max_examples=12)


@pytest.mark.parametrize("path", [p for p in WIRED_SPECS if p not in TIMED_SPECS][:4], ids=str)
def test_any_edits_of_wired_files(path: Path) -> None:
    @ANY
    @given(versions=texts(path))
    def check(versions: list[str]) -> None:
        _same_after_each(versions)

    check()


@pytest.mark.parametrize("path", TIMED_SPECS, ids=lambda path: path.stem)
def test_any_edits_of_files_over_time(path: Path) -> None:
    @ANY
    @given(versions=texts(path))
    def check(versions: list[str]) -> None:
        _same_after_each(versions)

    check()
