"""specs/README.md, which a newcomer reads first: every file once, with what is proved of it."""

import re
from typing import NamedTuple

import pytest

import verifier
from tests.junction_files import SPEC_FILES, SPECS

INDEX = (SPECS / "README.md").read_text("utf-8")


class Row(NamedTuple):
    """One line of a table of the index."""

    name: str
    path: str
    teaches: str
    proved: str
    term: str


ROWS = [
    Row(*match.groups())
    for match in re.finditer(
        r"^\| \[([\w-]+)\]\((\S+)\) \| (.+?) \| (.+?) \| (.+?) \|$", INDEX, re.MULTILINE
    )
]


def test_every_file_is_in_the_index_once() -> None:
    listed = [SPECS / row.path for row in ROWS]
    assert sorted(listed) == sorted(SPEC_FILES)
    assert all(row.name == path.stem for row, path in zip(ROWS, listed, strict=True))


def test_no_two_files_have_one_name() -> None:
    assert len({path.stem for path in SPEC_FILES}) == len(SPEC_FILES)


def test_the_files_of_a_folder_stand_under_its_heading() -> None:
    headings = re.findall(r"^## .+: `([\w-]+)/`$", INDEX, re.MULTILINE)
    assert sorted(headings) == sorted({path.parent.name for path in SPEC_FILES})
    for folder, text in zip(
        headings, re.split(r"^## ", INDEX, flags=re.MULTILINE)[1:], strict=True
    ):
        assert set(re.findall(r"\]\(([\w-]+)/", text)) == {folder}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.name)
def test_what_the_index_says_is_what_the_file_expects(row: Row) -> None:
    """That the file behaves as it says is for test_specs."""
    plan = verifier.load(SPECS / row.path)
    broken, _, waived = row.proved.partition("waived:")
    for listed, claims in (broken, plan.expectations), (waived, plan.waivers):
        assert re.findall(r"`([\w-]+)`", listed) == list(dict.fromkeys(c.claim for c in claims))
    assert broken.startswith("broken: " if plan.expectations else "safe")


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.name)
def test_terms_are_sections_of_part_236(row: Row) -> None:
    assert row.term == "—" or re.fullmatch(r"[a-z' -]+ \(236\.\d+\)", row.term)
