"""Causes are data: their sentences are made of them, and nothing reads those sentences."""

import ast
import string
from pathlib import Path

import pytest

import verifier
from tests.decide.layouts import BROKEN
from verifier.reports.page.pictures import Numbers
from verifier.verdicts.causes import CauseKind, Subject, cause

PRODUCT = Path(verifier.__file__).parent
SHARED = {"subject", "state", "clause"}


def details_of(kind: CauseKind) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(kind.value) if name} - SHARED


@pytest.mark.parametrize("kind", CauseKind, ids=lambda kind: kind.name)
def test_every_kind_is_said_of_what_it_is_about(kind: CauseKind) -> None:
    details = {name: f"<{name}>" for name in details_of(kind)}
    said = cause(kind, Subject("relay", "R1"), None, (), state="up", **details).text
    assert all(value in said for value in details.values())
    assert "R1" in said or "{subject}" not in kind.value
    assert "{" not in said


def test_every_kind_is_used() -> None:
    used = {
        node.attr
        for path in (PRODUCT / "explain").glob("*.py")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Attribute)
        and isinstance(node.value, ast.Name)
        and node.value.id == "CauseKind"
    }
    assert used == {kind.name for kind in CauseKind}


def test_pictures_mark_what_a_cause_is_about_whatever_its_sentence_begins_with() -> None:
    plan = verifier.load_text(BROKEN)
    assert "Main" in plan.blocks
    line = cause(CauseKind.LINE_NOT_SHOWN, Subject("line", "4L"), None, state="Main")
    gap = cause(CauseKind.GAP_BRIDGED, Subject("gap", "Main"), None)
    stray = cause(
        CauseKind.STRAY_CURRENT, Subject("block", "Main"), None, stock="a train", other="4L"
    )
    assert line.text.startswith("Main")
    numbers = Numbers(plan, [line, gap, stray])
    assert [numbers.of(one) for one in (line, gap, stray)] == [None, None, 1]
