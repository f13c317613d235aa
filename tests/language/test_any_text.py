"""Whatever is in a file, reading it ends with a plan or with messages: never otherwise."""

import re

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.language.statements import conditions, files
from tests.messages.expecting import STATION
from tests.sweep import examples
from verifier.api import load_text
from verifier.language.diagnostics.diagnostic import InputError, render
from verifier.language.syntax.parse import grammar_text, parse_situation
from verifier.plan.signals.aspects import INDICATIONS
from verifier.world.world import World

WORDS = [
    *re.findall(r'^[A-Z_]+(?:\.-?\d)?: "([^"]+)"$', grammar_text(), re.MULTILINE),
    "2400 mm", "96", "in", "12 V", "3", "m1", "D1", "Bus-1", "track power", "track", "power", ":",
    *INDICATIONS, "green", "red", "lies", "lie", "Clear", "Stop", "Approach", "Main", "Siding",
    "Switch", "Single", "West", "End", "T1", "4", "4L", "4R", "4L.upper", "B1", "Ready", "G1",
    '"a text"', '"', "g1", "\n", "\n  ", "# a note\n",
]  # fmt: skip
STATION_WORDS = re.findall(r'"[^"\n]*"|[\w.-]+|\|\||[^\s\w]|\n', STATION)

slow = settings(
    max_examples=examples(150),
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


def read(text: str) -> None:
    """Everything up to the world; every message can be printed."""
    try:
        World(load_text(text, "any.ixl"))
    except InputError as error:
        assert error.diagnostics
        for found in error.diagnostics:
            shown = render(found)
            assert found.code in shown
            assert shown.encode("utf-8", "replace")
            assert 0 <= found.span.start <= found.span.end <= len(text)
            assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f]", shown)


@slow
@given(st.text())
def test_any_text(text: str) -> None:
    read(text)


@slow
@given(st.binary())
def test_any_bytes(data: bytes) -> None:
    read(data.decode("utf-8", "replace"))
    read(data.decode("latin-1"))
    read(data.decode("utf-8", "surrogateescape"))


@slow
@given(st.lists(st.sampled_from(WORDS), max_size=60))
def test_any_words_of_the_language(words: list[str]) -> None:
    read(" ".join(words))


@slow
@given(files())
def test_any_statements(text: str) -> None:
    read(text)


@slow
@given(st.lists(conditions, min_size=1, max_size=3))
def test_any_conditions_at_a_station(found: list[list[str]]) -> None:
    read(STATION + "".join(f"condition X{i} is {' '.join(c)}\n" for i, c in enumerate(found)))


changes = st.lists(
    st.tuples(
        st.sampled_from(["drop", "put", "insert", "swap", "repeat"]),
        st.integers(0, len(STATION_WORDS) - 1),
        st.integers(0, len(STATION_WORDS) - 1),
        st.sampled_from(WORDS + STATION_WORDS),
    ),
    min_size=1,
    max_size=4,
)


@settings(slow, max_examples=examples(400))
@given(changes)
def test_a_station_with_some_words_changed(found: list[tuple[str, int, int, str]]) -> None:
    words = list(STATION_WORDS)
    for change, at, other, word in found:
        at, other = at % len(words), other % len(words)
        match change:
            case "drop" if len(words) > 1:
                del words[at]
            case "put":
                words[at] = word
            case "insert":
                words.insert(at, word)
            case "swap":
                words[at], words[other] = words[other], words[at]
            case _:
                words[at:at] = words[other : other + 20]
    read(" ".join(words))


@slow
@given(
    st.lists(
        st.sampled_from(
            ["T1", "Main", "4", "train", "on", "and", ",", "lever", "button", "reverse", "lies",
             "open", "left", "pressed", "occupied", "(", '"x"', ";", "\n"]
        ),
        max_size=12,
    )
)  # fmt: skip
def test_any_situation(words: list[str]) -> None:
    try:
        parse_situation(" ".join(words))
    except InputError as error:
        assert all(render(found) for found in error.diagnostics)
