"""In which order a layout is bought: what is wanted first comes first, nothing twice."""

from pathlib import Path

import pytest

import verifier
from tests.sheets.wired_files import TEXTS
from verifier.cli import main
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.source import Source, Span
from verifier.sheets.buying.bill_of_materials import bill_of_materials
from verifier.sheets.buying.build_order import BuildStep, build_steps

SIDING = TEXTS["wired-passing-siding.ixl"]


def steps(*first: str, text: str = SIDING) -> tuple[BuildStep, ...]:
    wanted = [(name, Span(Source("--first", name), 0, len(name))) for name in first]
    return build_steps(verifier.load_text(text), wanted)


@pytest.mark.parametrize("name", TEXTS)
def test_nothing_is_bought_twice_and_every_head_once(name: str) -> None:
    plan = verifier.load_text(TEXTS[name])
    found = build_steps(plan)
    things = [thing for step in found for thing in step.things]
    assert len(things) == len(set(things))
    served = {
        part.serves for part in bill_of_materials(plan) if part.kind.family in ("head", "mast")
    }
    assert served <= set(things)


def test_what_is_wanted_first_comes_first() -> None:
    usual = steps()
    assert len(usual) > 1
    last = usual[-1]
    turned = steps(sorted(last.things & set(verifier.load_text(SIDING).signals))[0])
    assert turned[0].title == last.title
    assert {step.title for step in turned} == {step.title for step in usual}
    # What both need is in the first one now, and in the other one no more.
    assert turned[0].things > last.things
    every = [frozenset().union(*(step.things for step in some)) for some in (usual, turned)]
    assert every[0] == every[1]


def test_names_that_belong_to_no_control_point_are_told_at_once() -> None:
    with pytest.raises(InputError) as caught:
        steps("T1", "T99", "")
    assert [(d.code, d.span.text) for d in caught.value.diagnostics] == [
        ("CP809", "T99"), ("CP809", ""),
    ]  # fmt: skip


def test_the_only_control_point_is_named_as_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "a.ixl"
    path.write_text(TEXTS["wired-end-of-siding.ixl"], "utf-8")
    assert main(["sheet", str(path), "parts", "--first", "nowhere"]) == 2
    assert "The only control point is `T1`: name it, or one of its signals or turnouts." in (
        capsys.readouterr().err
    )
