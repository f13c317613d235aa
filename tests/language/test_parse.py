"""Reading text: what spacing may do, and that no text, however odd, stalls or overflows it."""

import gc
import re
import sys
from collections.abc import Callable
from typing import Any

import pytest

from tests.language.test_format import read
from tests.messages.expecting import STATION
from verifier.api import load_text
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.format.formatter import format_text
from verifier.language.source import Source
from verifier.language.syntax import parse as parsing
from verifier.language.syntax import tree
from verifier.language.syntax.parse import (
    MAX_ERRORS,
    MAX_NAME,
    MAX_NESTING,
    is_name,
    lex,
    parse,
    parse_situation,
)
from verifier.logic import expr


def only(text: str) -> tree.Statement:
    (statement,) = parse(Source("file", text))
    return statement


def codes(text: str) -> list[str]:
    try:
        load_text(text)
    except InputError as error:
        return [d.code for d in error.diagnostics]
    return []


# ------------------------------------------------------------------ meaning


def test_spaces_line_ends_and_comments_never_matter() -> None:
    apart = re.sub(r"([\w.-]+|[|=(),]+)", r" # a note\n\t\1", STATION)
    assert read(apart) == read(STATION)
    assert read(" ".join(STATION.split())) == read(STATION)
    assert read(STATION.replace("\n", "\r\n")) == read(STATION)
    assert read(STATION.replace("\n", "\r")) == read(STATION)
    assert read("\ufeff" + STATION) == read(STATION)


def test_a_comment_with_words_of_the_language_is_a_comment() -> None:
    assert read('block Main # signal "x" when ( otherwise\n') == read("block Main")
    assert read("signal 2 at A | B # when\n  Stop # otherwise\n otherwise") == read(
        "signal 2 at A | B Stop otherwise"
    )


def test_and_binds_closer_than_or_and_not_closest() -> None:
    assert read("condition X is not A and B or C") == read("condition X is ((not A) and B) or C")


def test_words_of_the_language_inside_names_are_nothing_special() -> None:
    statement = only("block Clear, signal-4, when2, Otherwise, normal_T1, x.green")
    assert isinstance(statement, tree.Block)
    assert [n.text for n in statement.names] == [
        "Clear", "signal-4", "when2", "Otherwise", "normal_T1", "x.green",
    ]  # fmt: skip


def test_an_aspect_may_be_called_like_a_word_of_the_language() -> None:
    statement = only("signal 2 at A | B\n clear when Main clear\n stop otherwise")
    assert isinstance(statement, tree.Signal)
    assert [rule.shows.text for rule in statement.rules] == ["clear", "stop"]


def test_flashing_belongs_to_the_line_it_begins() -> None:
    statement = only(
        "head 2\n green when Ready\n flashing yellow when 4 flashing red\n red otherwise"
    )
    assert isinstance(statement, tree.Head)
    assert [(r.flashing, r.shows.text) for r in statement.rules] == [
        (False, "green"), (True, "yellow"), (False, "red"),
    ]  # fmt: skip


def test_spans_hold_exactly_what_was_written() -> None:
    text = "signal 4L at Single |(g1) normal T1\n  Clear when T1 normal and (Main clear)\n"
    signal = only(text)
    assert isinstance(signal, tree.Signal)
    assert signal.span.text == text.strip()
    assert signal.far.span.text == "normal T1"
    assert signal.join.span.text == "|(g1)"
    (rule,) = signal.rules
    assert rule.span.text == "Clear when T1 normal and (Main clear)"
    assert isinstance(rule.when, tree.AllOf)
    assert [part.span.text for part in rule.when.parts] == ["T1 normal", "Main clear"]


def test_statements_may_share_a_line() -> None:
    kinds = [
        type(s).__name__
        for s in parse(
            Source(
                "file", "slip P1 in T single along to across track A | X1 across signal 2 at A | B"
            )
        )
    ]
    assert kinds == ["Slip", "Track", "Signal"]


def test_situations() -> None:
    found = parse_situation("T1 reverse, train on Main and Siding, lever 4 left, button B1 pressed")
    assert [(h.kind, [n.text for n in h.names], h.state) for h in found] == [
        ("thing", ["T1"], "reverse"),
        ("train", ["Main", "Siding"], "occupied"),
        ("thing", ["4"], "left"),
        ("thing", ["B1"], "pressed"),
    ]
    assert parse_situation("") == ()


@pytest.mark.parametrize(
    ("text", "message", "hint"),
    [
        ("T1", "this stops short after `T1`", "Expected `is`, `lies`, or a state"),
        ("T1 reverse train on Main", "`train` was not expected here", "Expected a comma."),
        ("train Main", "`Main` was not expected here", "Expected `on`."),
        (",", "`,` was not expected here", "Expected a fact, such as `train on Main`"),
        ("T1 reverse,", "this stops short after `,`", "Expected a fact, such as `train on Main`"),
        ("T1 (reverse", "`(` was not expected here", "Expected `is`, `lies`, or a state"),
    ],
)
def test_situations_written_wrong(text: str, message: str, hint: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_situation(text)
    (found,) = caught.value.diagnostics
    assert found.message == message
    assert found.hint.startswith(hint)
    assert found.hint.endswith("A situation is written `T1 reverse, train on Main, lever 4 left`.")


@pytest.mark.parametrize("name", ["Main", "4L", "4L.upper", "West-Main", "Überweg", "x_1", "Clear"])
def test_names(name: str) -> None:
    assert is_name(name)


@pytest.mark.parametrize(
    "text", ["", "clear", "lie", "green", "a b", "-a", "_a", "a.", "a#", '"a"']
)
def test_what_is_no_name(text: str) -> None:
    assert not is_name(text)


# ------------------------------------------------------------------ deep and long


@pytest.mark.parametrize("opening", ["(", "not (", "not not ("])
def test_ten_thousand_parentheses_inside_one_another(opening: str) -> None:
    text = STATION + "condition X is " + opening * 10_000 + "Main clear" + ")" * 10_000
    assert codes(text) == ["CP108"]
    assert codes(STATION + "condition X is " + opening * 10_000) == ["CP108"]
    assert codes(STATION + "condition X is " + "not " * 10_000 + "Main clear") == ["CP108"]


def test_parentheses_beside_one_another_are_no_nesting() -> None:
    many = " and ".join(["(Main clear or not (T1 normal))"] * 500)
    assert codes(STATION + f"condition X is {many}") == []
    names = " | ".join(f"B{i} |(g{i}) C{i}" for i in range(100))
    assert codes(f"track {names}")[0] == "CP201"


def test_the_deepest_condition_allowed_is_far_from_pythons_limit() -> None:
    inner = "Main clear"
    for _ in range(MAX_NESTING // 2):
        inner = f"Switch clear or Single occupied and not ({inner})"
    text = STATION + f'condition X is {inner}\nprove "x" possible X\n'
    assert codes(text.replace("not (", "not not (")) == ["CP108"]
    before = sys.getrecursionlimit()
    sys.setrecursionlimit(len(_frames()) + 300)
    try:
        load_text(text)
        format_text(text)
    finally:
        sys.setrecursionlimit(before)


def _frames() -> list[object]:
    frame: Any = sys._getframe()
    found: list[object] = []
    while frame:
        found.append(frame)
        frame = frame.f_back
    return found


def test_three_thousand_conditions_each_in_terms_of_the_one_before() -> None:
    chain = "condition C0 is Main clear\n" + "".join(
        f"condition C{n} is C{n - 1} and Switch clear\n" for n in range(1, 3000)
    )
    assert codes(STATION + chain) == []
    backward = "".join(f"condition C{n} is C{n + 1}\n" for n in range(3000))
    assert codes(STATION + backward + "condition C3000 is T1 normal\n") == []


def test_a_circle_of_three_thousand_conditions_is_shown() -> None:
    circle = "".join(f"condition C{n} is C{(n + 1) % 3000}\n" for n in range(3000))
    assert codes(STATION + circle) == ["CP409"]


@pytest.mark.parametrize("word", [" and ", " or "])
def test_a_condition_of_five_thousand_terms(word: str) -> None:
    terms = word.join(["Main clear", "T1 normal", "Siding occupied", "4 left", "4R at stop"] * 1000)
    assert codes(STATION + f"condition X is {terms}\n") == []


def test_a_list_of_twenty_thousand_names() -> None:
    names = ", ".join(f"B{n}" for n in range(20_000))
    assert codes(f"block {names}") == ["CP306"] * 20_000
    assert codes(STATION + f"condition X is {'Main, ' * 20_000} Main clear") == []


def test_three_thousand_signals_each_reading_the_next() -> None:
    count = 3000
    blocks = [f"B{n}" for n in range(count + 1)]
    lines = ["edge West, East", *(f"block {block}" for block in blocks)]
    lines.append(f"track West = {' | '.join(blocks)} = East")
    for n in range(count):
        ahead = f" and not S{n + 1} at stop" if n + 1 < count else ""
        lines.append(
            f"signal S{n} at B{n} | B{n + 1}\n  Clear when B{n + 1} clear{ahead}\n"
            f"  Approach when B{n + 1} clear\n  Stop otherwise"
        )
    plan = load_text("\n".join(lines))
    assert len(plan.signals) == len(plan.routes) == count


def test_a_name_may_be_as_long_as_it_fits_and_no_longer() -> None:
    def file(length: int) -> str:
        return f"edge West, East\nblock {'x' * length}\ntrack West = {'x' * length} = East\n"

    assert codes(file(MAX_NAME)) == []
    assert set(codes(file(MAX_NAME + 1))) == {"CP109"}
    assert set(codes(file(1_000_000))) == {"CP109"}


# ------------------------------------------------------------------ effort


def calls(work: Callable[[], object]) -> int:
    """How many calls of functions a piece of work takes: a measure that no clock disturbs."""
    count = 0

    def note(frame: object, event: str, argument: object) -> None:
        nonlocal count
        count += event in ("call", "c_call")

    # What earlier tests left behind must not be cleared away, and counted, in between.
    gc.disable()
    sys.setprofile(note)
    try:
        work()
    finally:
        sys.setprofile(None)
        gc.enable()
    return count


def copies(count: int) -> str:
    """A station beside another, ``count`` of them, every name with its number."""
    own = "West|East|Main|Siding|Switch|Single|T1|End|4|B1|Ready|D1|G1|4L|4R"
    pattern = re.compile(rf"(?<![\w-])({own})(?![\w-])")
    return "".join(pattern.sub(rf"\1-{n}", STATION) for n in range(count))


def per_word(count: int, work: Callable[[Source], object]) -> float:
    """Calls for each word, of a text of which nothing was read before."""
    parsing._recent.clear()
    expr._group.cache_clear()
    source = Source("file", copies(count))
    words = sum(1 for _ in lex(source))
    return calls(lambda: work(source)) / words


def test_reading_takes_no_more_for_each_word_of_a_longer_file() -> None:
    parse(Source("file", STATION))  # loads the grammar
    assert per_word(150, parse) < 1.05 * per_word(10, parse)


def test_checking_takes_no_more_for_each_word_of_a_longer_file() -> None:
    def check(source: Source) -> object:
        return load_text(source.text)

    load_text(STATION)
    assert per_word(60, check) < 1.1 * per_word(10, check)


def test_formatting_takes_no_more_for_each_word_of_a_longer_file() -> None:
    def neaten(source: Source) -> object:
        return format_text(source.text)

    assert per_word(60, neaten) < 1.1 * per_word(10, neaten)


@pytest.mark.parametrize(
    "text",
    [
        "block Main " + "# " * 200_000,
        "block Main " + "# \n" * 100_000,
        "block Main" + " " * 500_000 + "when",
        "signal 2 at A | B\n" + "X #\n" * 50_000,
        "head 2\n" + "flashing #\n" * 20_000,
        "block " + "x" * 500_000,
        "block A" + ".a" * 200_000 + ".",
        "block A" + "-" * 500_000 + ".",
        '"' * 200_001,
        '"\n' * 100_000,
        "aspect A green " + "proceed prepared to stop at " * 20_000,
        "aspect A green proceed" + " " * 500_000 + "prepared",
        "block " * 50_000,
        "block A ; " + "abc " * 100_000,
        "\x00" * 100_000,
        "condition X is " + "(" * 100_000,
    ],
    ids=lambda text: text[:24],
)
def test_text_made_to_stall_is_answered(text: str) -> None:
    try:
        parse(Source("file", text))
    except InputError as error:
        assert 0 < len(error.diagnostics) <= MAX_ERRORS
