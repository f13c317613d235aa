"""The language reference does what it says, and leaves nothing out."""

import re
import tomllib
from pathlib import Path
from random import Random

import pytest

from tests.junction_files import SPEC_FILES
from verifier.api import load_text, prove
from verifier.commands.defaults import KEYS
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.modules.expand import read
from verifier.language.source import Source
from verifier.language.syntax.parse import (
    MAX_NAME,
    MAX_NESTING,
    grammar_text,
    parse,
    parse_situation,
)
from verifier.language.syntax.tree import STATEMENT_WORDS
from verifier.plan.build import build
from verifier.plan.model import Plan
from verifier.plan.signals.aspects import INDICATIONS, SPEEDS, chart
from verifier.sheets.buying.prices import prices_in

ROOT = Path(__file__).resolve().parents[2]
TEXT = (ROOT / "grammar" / "reference.md").read_text("utf-8")
BLOCKS = re.findall(r"^```(\S+)([^\n]*)\n(.*?)^```$", TEXT, re.MULTILINE | re.DOTALL)
FILES = [(kind, text) for word, kind, text in BLOCKS if word == "ixl"]
PARTS = [text for word, _, text in BLOCKS if word == "ixl-part"]


def rows(heading: str) -> list[list[str]]:
    """The cells of the table below a heading, its first two lines left out."""
    below = TEXT.split(f"\n{heading}\n", 1)[1]
    table = re.search(r"(?:^\|.*\n)+", below, re.MULTILINE)
    assert table
    return [
        [cell.strip().strip("`") for cell in line.strip("|").split("|")]
        for line in table[0].splitlines()[2:]
    ]


def broken_in(text: str) -> set[str]:
    """The properties that a file breaks."""
    verdicts = prove(load_text(text)).verdicts
    return {v.obligation.property for v in verdicts if v.status == "broken"}


def codes_of(text: str) -> list[str]:
    """What is wrong with a file. That track alone leaves nothing to prove is not."""
    try:
        prove(load_text(text))
    except InputError as error:
        return [d.code for d in error.diagnostics if d.code != "CP502"]
    return []


@pytest.mark.parametrize(("kind", "text"), FILES)
def test_a_file_of_the_reference_is_right_or_wrong_as_it_says(kind: str, text: str) -> None:
    match kind.split():
        case ["unsafe", *properties]:
            assert broken_in(text).issuperset(properties)
        case ["safe", *properties]:
            assert broken_in(text).isdisjoint(properties)
        case ["broken", *codes]:
            assert codes_of(text) == codes
        case words:
            assert not words
            assert codes_of(text) == []


@pytest.mark.parametrize("text", PARTS)
def test_a_part_of_a_file_in_the_reference_can_be_read(text: str) -> None:
    assert parse(Source("part", text))


def test_every_block_is_checked_one_way_or_another() -> None:
    assert {word for word, _, _ in BLOCKS} == {
        "ixl", "ixl-part", "text", "csv", "yaml", "toml", "lua",
        "log",  # tests/diagnosis/test_log_replay.py
    }  # fmt: skip
    *_, club = (tomllib.loads(text) for word, _, text in BLOCKS if word == "toml")
    assert set(club) <= set(KEYS)
    assert len(FILES) >= 15
    assert len(PARTS) >= 15
    (situation,) = (text for word, _, text in BLOCKS if word == "text")
    assert len(parse_situation(situation)) == 4


def test_every_statement_has_a_section_and_an_example() -> None:
    sections = dict(re.findall(r"^### (.+?)\n(.*?)(?=^##|\Z)", TEXT, re.MULTILINE | re.DOTALL))
    for word in (word.lower().replace("_", "-") for word in STATEMENT_WORDS):
        # A numeral is called a number too.
        word = {"numbered": "number", "at-most": "at most"}.get(word, word)
        name = {
            "interlocking": "interlocking limits",
            "common": "common return",
            "stopping": "stopping distance",
            "end": "module",
            "built": "built of relays, built as one program",
            "written": "written for version",
        }.get(word, word)
        assert re.search(rf"^{word}\b", sections[name], re.MULTILINE), word


def test_every_word_of_the_language_is_used_somewhere() -> None:
    words = set(re.findall(r'^[A-Z_]+(?:\.-3)?: "([a-z-]+)"$', grammar_text(), re.MULTILINE))
    assert len(words) > 110
    assert not {word for word in words if not re.search(rf"(?<![\w-]){word}(?![\w-])", TEXT)}


def test_the_table_of_indications_is_the_list() -> None:
    next_signal = {
        None: "nothing",
        "slow": "is not at stop",
        "medium": "allows medium speed or better",
        "limited": "allows limited speed or better",
    }
    wanted = [
        [i.text, i.speed, {"any": "either"}.get(i.way, i.way), next_signal[i.next_at_least]]
        for i in sorted(INDICATIONS.values(), key=lambda i: -i.rank)
    ]
    assert rows("### Indications") == wanted
    assert {i.speed for i in INDICATIONS.values()} == set(SPEEDS)


def test_the_built_in_chart_is_as_printed() -> None:
    wanted = []
    for aspect in chart(()).aspects:
        colors = [" over ".join(aspect.for_heads(n) or ()) for n in (1, 2, 3)]
        wanted.append([aspect.name, *colors, aspect.indication.text])
    assert rows("### The built-in chart") == wanted


def test_the_limits_told_are_those_in_force() -> None:
    assert f"at most {MAX_NAME} of them" in TEXT
    assert f"up to {MAX_NESTING} deep" in TEXT


def test_every_link_leads_to_a_heading() -> None:
    headings = {
        re.sub(r"[^a-z -]", "", line.lower()).replace(" ", "-")
        for line in re.findall(r"^#+ (.+)$", TEXT, re.MULTILINE)
    }
    links = re.findall(r"\]\(#([^)]+)\)", TEXT)
    assert links
    assert set(links) <= headings


@pytest.mark.parametrize("path", SPEC_FILES, ids=lambda path: path.name)
def test_the_order_of_statements_does_not_matter(path: Path) -> None:
    source = Source(path.name, path.read_text("utf-8"))
    statements = list(read(source, path))
    wanted = shape(build(source, statements))
    for seed in range(3):
        Random(seed).shuffle(statements)
        assert shape(build(source, statements)) == wanted


def shape(plan: Plan) -> object:
    """What a plan is made of, whatever the order."""
    pieces = plan.track.pieces
    joints = [
        tuple(sorted((pieces[p.piece].title, p.end) for p in (j.a, j.b))) for j in plan.track.joints
    ]
    routes = {(r.signal, r.exit, r.blocks, frozenset(r.needs)) for r in plan.routes}
    return sorted(joints), routes, set(plan.inputs)


def test_the_parts_file_can_be_read() -> None:
    [text] = re.findall(r"```csv\n(kind,.*?)```", TEXT, re.DOTALL)
    found = prices_in(Source("parts.csv", text))
    assert found.currency == "USD" and len(found.prices) == len(text.splitlines()) - 1
