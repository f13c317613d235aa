"""Every pattern of `clearproof new` proves as it stands and tells a beginner what next."""

from importlib.resources import files

import pytest

import verifier
from tests.junction_files import PATTERN_FILES
from tests.proofs import proved
from verifier.language.format.formatter import format_text
from verifier.patterns import PATTERNS, pattern_text
from verifier.plan.minimality import count_situations
from verifier.properties.catalog import FAILURES
from verifier.reference.explicit_situations import tally

FILE_OF = {path.stem: path for path in PATTERN_FILES}
ENUMERABLE = 20_000
ENUMERATED = [name for name in PATTERNS if not name.startswith(("locked-", "passing-"))]

every_pattern = pytest.mark.parametrize("name", PATTERNS)


def test_the_list_is_what_lies_in_the_folder() -> None:
    found = {
        entry.name.removesuffix(".ixl")
        for entry in files("verifier.patterns").iterdir()
        if entry.name.endswith(".ixl")
    }
    assert found == set(PATTERNS)


def test_the_patterns_that_were_asked_for_are_there() -> None:
    assert set(PATTERNS) == {
        "end-of-siding", "passing-siding", "junction", "crossover", "diamond", "yard-throat",
        "spur", "oval", "wired-end-of-siding", "locked-end-of-siding",
        "locked-wired-end-of-siding",
    }  # fmt: skip


@every_pattern
def test_it_proves_as_it_stands_with_nothing_set_aside(name: str) -> None:
    report = proved(FILE_OF[name])
    plan = report.plan
    assert report.exit_code == 0, [v.obligation.key for v in report.verdicts if v.fails]
    # That a stuck detector is not survived is advice to everyone; dirty rail or wheels, and what a
    # button does that stays pressed, to a beginner.
    advice = ("report-stuck", "loss-of-shunt", "false-occupancy", "clears-again")
    asked = [v for v in report.verdicts if v.obligation.property not in advice]
    assert {v.status for v in asked} == {"proved"}
    assert not (plan.waivers or plan.assumptions or plan.expectations)


@every_pattern
def test_its_head_comment_says_what_to_change_and_what_comes_next(name: str) -> None:
    text = pattern_text(name)
    head = text[: text.index("layout")]
    assert all(line.startswith("#") or not line for line in head.splitlines())
    assert "To make it yours:" in head and "Next:" in head
    for rest in head.split("clearproof new ")[1:]:
        assert rest.split("`")[0].split()[0] in PATTERNS


@every_pattern
def test_its_title_stands_alone_on_a_line_to_be_changed(name: str) -> None:
    titles = [line for line in pattern_text(name).splitlines() if line.startswith("layout ")]
    assert len(titles) == 1 and titles[0].startswith('layout "My ')


@every_pattern
def test_lines_fit_the_page_and_the_list_fits_a_line(name: str) -> None:
    assert all(len(line) <= 100 for line in pattern_text(name).splitlines())
    assert len(PATTERNS[name]) <= 70 and "\n" not in PATTERNS[name]


@every_pattern
def test_it_is_laid_out_as_the_formatter_does(name: str) -> None:
    assert format_text(pattern_text(name)) == pattern_text(name)


def test_the_enumerator_goes_through_all_that_it_can() -> None:
    """What is left to tests/differential: over time, or too many situations."""
    for name in PATTERNS:
        plan = verifier.load_text(pattern_text(name))
        enumerable = not plan.locking.over_time and count_situations(plan.inputs) <= ENUMERABLE
        assert (name in ENUMERATED) == enumerable, name


@pytest.mark.parametrize("name", ENUMERATED)
def test_the_enumerator_finds_nothing_either(name: str) -> None:
    plan, verdicts = proved(FILE_OF[name]).plan, proved(FILE_OF[name]).verdicts
    # What is broken is not enumerated here: see tests/differential.
    obligations = [v.obligation for v in verdicts if v.obligation.property not in FAILURES]
    counted = tally(plan, [o.holds_in for o in obligations])
    for obligation, found in zip(obligations, counted, strict=True):
        assert (found.count == 0) == (obligation.mode == "never"), obligation.key
