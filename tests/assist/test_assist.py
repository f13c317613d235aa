"""What editors are told of a text and a place in it, with and without errors in the text."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lark import Token

from verifier.assist.amounts import units
from verifier.assist.completion import proposals
from verifier.assist.fixes import error_fixes
from verifier.assist.hover import hover
from verifier.assist.layout import formatted
from verifier.assist.naming import Names, names_of
from verifier.assist.navigation import CannotRename, Family, renamed
from verifier.assist.outline import folds, symbols, tints
from verifier.assist.pieces import Text, text_of
from verifier.assist.places import from_editor, to_editor
from verifier.assist.problems import problems
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.source import Source
from verifier.language.syntax.parse import chunks, keywords, parse, parse_on, parser_at
from verifier.language.words import meanings

ROOT = Path(__file__).resolve().parents[2]
SPECS = sorted((ROOT / "specs").rglob("*.ixl"))
SIDING = (ROOT / "specs/first-steps/end-of-siding-mended.ixl").read_text("utf-8")
MODULES = """module Pair (main)
  block Near, Far
  turnout T1 in Near
  signal 4L at main | T1
    heads upper, lower
    Clear when T1 normal and Near, Far clear and Ready
    Stop otherwise
  condition Ready is Far clear
end
block Main
use Pair as East with main = Main
prove "x" never East.4L proceeds and East.4L.upper green
expect broken converging-proceeds for East.4L, "East.4L to Main"
"""


def text(written: str) -> Text:
    return text_of(Source("a.ixl", written))


def names(written: str) -> Names:
    return names_of(text(written))


def words(written: str, place: str = "") -> list[str]:
    """What is proposed behind ``written``, in a text that ends there."""
    whole = written + place
    return [proposal.text for proposal in proposals(Family((names(whole),)), 0, len(whole))]


# ------------------------------------------------------------------ read in pieces


@pytest.mark.parametrize("path", SPECS[::9], ids=lambda path: path.stem)
def test_a_text_read_in_pieces_is_the_text_read_at_once(path: Path) -> None:
    whole = path.read_text("utf-8")
    middle = len(whole) // 2
    for written in (whole, f"{whole[:middle]} when {whole[middle:]}", whole[middle:]):
        source = Source(path.name, written)
        statements, errors = parse_on(source)
        found = text_of(source)
        places = [(start + s.span.start, start + s.span.end) for start, s in found.statements()]
        assert places == [(s.span.start, s.span.end) for s in statements]
        told = [(e.code, e.message, e.span.start, e.span.end) for e in found.errors()]
        assert told == [(e.code, e.message, e.span.start, e.span.end) for e in errors]


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.sampled_from(
            ["signal 4L at A | B", "\n", "track power", "track A = B", "supply S", "number plate",
             "  Clear", "when", "proceed prepared to stop at next", "aspect X red", "block A",
             "at most", "2", "trains", "# signal",
             '"', "\r", "in", "letter", "edge E,", "otherwise", "\n\n", "DC"]
        ),
        max_size=14,
    )
)  # fmt: skip
def test_no_cut_changes_what_a_text_says(parts: list[str]) -> None:
    source = Source("a", " ".join(parts).replace(" \n ", "\n").replace(" \r ", "\r"))
    statements, errors = parse_on(source)
    found = text_of(source)
    assert [(start + s.span.start, type(s)) for start, s in found.statements()] == [
        (s.span.start, type(s)) for s in statements
    ]
    assert [(e.code, e.span.start) for e in found.errors()] == [
        (e.code, e.span.start) for e in errors
    ]


def test_what_is_right_has_no_problems() -> None:
    for path in SPECS[::5]:
        assert problems(text(path.read_text("utf-8"))) == [], path


def test_names_that_nothing_declares_are_told_at_once() -> None:
    (found,) = problems(text(SIDING.replace("turnout T1 in Switch", "turnout T1 in Swich")))
    assert (found.code, found.hint) == ("CP201", "Did you mean `Switch`?")
    # What stands in a statement that cannot be read may declare it.
    told = problems(text(SIDING.replace("turnout T1 in Switch", "turnout T1 inn Switch")))
    assert [error.code for error in told] == ["CP104"]


# ------------------------------------------------------------------ completion


def test_statements_and_their_clauses_are_proposed() -> None:
    assert {"signal", "turnout", "sub-bus"} <= set(words(""))
    assert words(SIDING, "\nsig") == ["signal"]
    clauses = words(SIDING, "\nrelay R ")
    assert clauses == ["picks when", "powered by", "releases after", "slow to", "sticks while"]
    assert words(SIDING, "\n# sig") == [] == words(SIDING, '\nlayout "sig')
    assert "proceed at medium speed" in words("aspect Medium red over green ")
    assert words("crew promises not to throw points under a ") == ["train"]


def test_names_of_the_right_kind_are_proposed() -> None:
    assert words(SIDING, "\nturnout T2 in S") == ["Siding", "Switch", "Single"]
    assert words(SIDING, "\nroute X from ") == ["4L", "4RA", "4RB"]
    assert words(SIDING, "\ncrossover K is ") == ["T1"]
    assert words(SIDING, "\nlever 5 reverse locks ") == ["4"]
    assert "4L.upper" in words(SIDING, "\nhead ")
    assert words(SIDING, "\nblock ") == [], "a name that is being made up"
    assert words(MODULES, "use ") == ["Pair"]
    assert words(MODULES, "use Pair as West with ") == ["main ="]
    inside = MODULES[: MODULES.index("  condition")] + "    Approach when "
    assert {"Near", "T1", "main"} <= set(words(inside)) and "Main" not in words(inside)


WIRED = """block A, B
edge West, East
track West = A | B = East
signal 2 at A | B
  heads upper, lower
signal 4 at B | A
"""


def test_names_of_the_same_statement_are_proposed() -> None:
    assert words(WIRED, "block C, D\n  feeders f1 on ") == ["C", "D"]
    assert words(WIRED, "driver X drives ")[:4] == ["2", "2.upper", "2.lower", "4"]
    for clause in ("series of 2 in", "semaphore", "common-anode 4,"):
        assert words(WIRED, f"driver X drives 2.upper, 4\n  {clause} ")[:2] == ["2.upper", "4"]
        assert "2.lower" in words(WIRED, f"driver X drives 2\n  {clause} ")
    assert words(WIRED, "driver X throws T1 semaphore ") == ["2", "2.upper", "2.lower", "4"]
    assert words(WIRED + "district North fed by S\n", "block C 96 in ")[0] == "North"
    assert "undetected" in words(WIRED, "block C 96 in ")


def test_amounts_and_their_units_are_proposed() -> None:
    for written, proposed in {
        "driver X drives 2 outputs 3 of 20 ": ["mA", "A"],
        "driver X drives 2 lamps 15 ": ["mA", "A"],
        "driver X drives 2 lamps ": ["15 mA"],
        "turnout T1 in A bonded over 3 mm of 2": ["20 AWG", "22 AWG", "24 AWG"],
        "turnout T1 in A bonded over 3 mm of 22 ": ["AWG"],
        "turnout T1 in A gap normal 200 mm, reverse 90 ": ["mm", "cm", "m", "in", "ft"],
        "supply S 12 V ": ["3 A"],
        "fuse 2 A resettable trips at ": [],
        "supply S 12 V 3 A fuse 2 A resettable trips at ": ["4 A"],
        "rail code 83 of 90 mohm to 180 ": ["mohm", "ohm", "kohm"],
        "trains 600 mm to 2200 mm, wheelsets 10 ": ["kohm", "ohm", "mohm"],
    }.items():
        assert words(WIRED, written)[: len(proposed)] == proposed, written
    for written in ("driver X drives 2 outputs ", "rail code ", "at most "):
        assert words(WIRED, written) == [], "a plain number"


def test_every_unit_that_specs_have_is_among_those_proposed() -> None:
    found = 0
    for path in SPECS[::5]:
        for tokens in chunks(Source(path.name, path.read_text("utf-8")), []):
            read: list[Token] = []
            parser_at("statement", tokens, read)
            for i in range(len(read)):
                if read[i].type == "UNIT":
                    found += 1
                    assert str(read[i]) in [unit.text for unit in units(read[:i])], read[: i + 1]
    assert found > 100


def test_states_of_the_named_thing_are_proposed() -> None:
    line = "\nsignal 6L at Main | T1\n  Clear when "
    assert words(SIDING, f"{line}T1 ")[:3] == ["normal", "reverse", "moving"]
    assert words(SIDING, f"{line}Main ")[:2] == ["clear", "occupied"]
    assert "shows Approach" in words(SIDING, f"{line}4L ")
    assert words(SIDING, '\nprove "x" never T1 ')[3:5] == ["lies normal", "lies reverse"]
    assert words(SIDING, "\nsignal 6L at Main | T1\n  ")[0] == "Clear when"
    assert "converging-proceeds" in words(SIDING, "\nexpect broken ")


def test_a_statement_with_an_error_does_not_stop_completion() -> None:
    assert "Main" in words(SIDING, "\nsignal 6L att at ")
    assert words("turnuot T9 in X\n" + SIDING, "\nturnout T2 in Sw") == ["Switch"]


# ------------------------------------------------------------------ hover


def told(written: str, word: str, nth: int = 0) -> str:
    at = -1
    for _ in range(nth + 1):
        at = written.index(word, at + 1)
    found = hover(Family((names(written),)), 0, at)
    return found.markdown if found else ""


def test_a_signal_tells_what_it_shows_when() -> None:
    said = told(SIDING, "4RA")
    assert "**4RA** is a signal" in said
    assert (
        "- **Clear** (green: proceed) when `4 right and T1 normal and Switch, Single clear`" in said
    )
    assert "- **Stop** (red: stop) otherwise" in said


def test_names_and_words_tell_what_they_mean() -> None:
    assert "main track at the station" in told(SIDING, "Main  ")
    assert "red over green: " not in told(SIDING, "Diverging-Clear")
    assert "proceed diverging" in told(SIDING, "Diverging-Clear")
    assert told(SIDING, "turnout").startswith("**turnout**: a switch")
    assert "**4L** is a signal" in told(MODULES, "4L", 1), "by the name of its use"
    assert told(SIDING.replace("turnout T1 in", "turnout T1 inn"), "4RA")


def test_every_word_has_a_meaning() -> None:
    assert not keywords() - meanings().keys()
    for meaning in meanings().values():
        assert meaning.text and not meaning.text.endswith(".")
    phrases = ["green", "yellow", "red", "lunar", "white", "dark", "lie", "lies", "plate"]
    language = {word for word, meaning in meanings().items() if meaning.of_language}
    assert language == keywords() | set(phrases)


# ------------------------------------------------------------------ names


def occurrences(written: str, at: int, new: str) -> str:
    """The text with another name for what stands at a place."""
    places = renamed(Family((names(written),)), 0, at, new)
    for _, start, end in sorted(places, reverse=True):
        written = written[:start] + new + written[end:]
    return written


def test_a_name_is_renamed_wherever_it_is_meant() -> None:
    changed = occurrences(MODULES, MODULES.index("4L"), "6L")
    assert changed == MODULES.replace("4L", "6L")
    assert occurrences(MODULES, MODULES.index("East"), "West") == MODULES.replace("East", "West")
    lower = occurrences(MODULES, MODULES.index("upper"), "top")
    assert lower == MODULES.replace("upper", "top")
    assert occurrences(SIDING, SIDING.index("4RA"), "6R").count("6R") == SIDING.count("4RA")
    assert occurrences(MODULES, MODULES.index("main"), "Line") == MODULES.replace("main", "Line")


@pytest.mark.parametrize(
    ("new", "why"),
    [("4RA", "already the name of a signal"), ("stop", "no name"), ("a b", "no name"),
     ("a.b", "no name"), ("x" * 101, "at most 100")],
)  # fmt: skip
def test_a_name_that_clashes_is_refused(new: str, why: str) -> None:
    with pytest.raises(CannotRename, match=why):
        occurrences(SIDING, SIDING.index("4L "), new)


def test_a_name_that_would_be_read_as_a_word_is_refused() -> None:
    written = "lever Foot positions normal, reverse\nturnout T1 in B thrown by Foot\nblock B\n"
    with pytest.raises(CannotRename, match="something else"):
        occurrences(written, written.index("Foot"), "hand")
    with pytest.raises(CannotRename, match="declares"):
        occurrences(written, 2, "x")


# ------------------------------------------------------------------ the whole text


def test_parts_fold_and_things_are_listed() -> None:
    found = {(fold.first, fold.last) for fold in folds(text(MODULES))}
    assert {(1, 9), (4, 7)} <= found
    listed = symbols(names(MODULES))
    assert [symbol.name for symbol in listed] == ["Pair", "Main", "East"]
    inside = [symbol.name for symbol in listed[0].inside]
    assert inside == ["Near", "Far", "T1", "4L", "4L.upper", "4L.lower", "Ready"]


def test_words_are_tinted_by_what_they_are() -> None:
    line = 'block stop-2, Main "the main" # note\nturnout T1 in Main motor slow 3 s\n'
    found = [(line[t.start : t.end], t.tint) for t in tints(names(line))]
    assert ("block", "statement") in found and ("# note", "comment") in found
    assert ("stop-2", "name") in found and ("motor", "keyword") in found
    assert ('"the main"', "string") in found and ("3", "number") in found


def test_what_cannot_be_read_keeps_its_layout() -> None:
    good, bad = "block   A\nblock B\n\n", "turnout  T1   inn A\n\n"
    assert formatted(text(good + bad + good)) == f"block A\nblock B\n\n{bad}block A\nblock B\n"
    assert formatted(text("block   A\r\nblock B\r\n")) == "block A\r\nblock B\r\n"
    with pytest.raises(InputError):
        parse(Source("", bad))


def test_an_error_offers_the_word_that_was_meant() -> None:
    written = "blokc A\nturnout T1 in Mian\nblock Main\nturnout T2 in Main\n  mottor slow\n"
    found = text(written)
    fixes = {written[f.start : f.end]: f.text for f in error_fixes(found.source, problems(found))}
    assert fixes == {"blokc": "block", "Mian": "Main", "mottor": "motor"}


def test_places_are_counted_as_editors_do() -> None:
    source = Source("", "a\r\n# 🚂🚃 é\rlast")
    at = source.text.index("é")
    assert to_editor(source, at) == (1, 7)
    assert from_editor(source, 1, 7) == at
    assert from_editor(source, 1, 3) == source.text.index("🚂"), "inside a character"
    assert from_editor(source, 1, 99) == source.text.index("\r", at)
    assert from_editor(source, 9, 0) == len(source.text)
    for offset in range(len(source.text) + 1):
        if source.text[offset - 1 : offset + 1] != "\r\n":
            assert from_editor(source, *to_editor(source, offset)) == offset
