"""Words of the wiring statements are words only where they can stand; elsewhere, names."""

import re

import pytest

from verifier.language.source import Source
from verifier.language.syntax import tree
from verifier.language.syntax.contextual_keywords import OTHER_UNITS, STRANGE_UNITS
from verifier.language.syntax.parse import grammar_text, parse
from verifier.plan.quantities import MEASURES

# Every word that only wiring has, as names in a file that has none.
SOFT = re.findall(r'^[A-Z_]+\.-3: "([a-z-]+)"$', grammar_text(), re.MULTILINE)


def read(text: str) -> tuple[tree.Statement, ...]:
    return parse(Source("file", text))


def test_the_list_of_such_words_is_not_empty() -> None:
    assert {"closed", "motor", "feeders", "turns", "out"} <= set(SOFT)


@pytest.mark.parametrize("word", [w for w in SOFT if w.isalpha()])
def test_a_word_of_wiring_is_a_name_elsewhere(word: str) -> None:
    text = (
        f"block {word}, Main\nlever {word} positions {word}, in-{word}\n"
        f"turnout {word} in {word}\ntrack {word} = Main | {word} normal\n"
        f"condition {word} is {word} {word} and {word} clear\n"
        f"signal {word} at {word} | Main heads {word}, {word}\n  {word} when {word}\n"
        f"detector {word} current-sensing on {word} through {word}, {word} powered by {word}\n"
        f"driver {word} drives {word} reads {word}, {word} contacts\n"
        f"relay {word} picks when {word} and {word} {word} sticks while {word} and {word} {word}\n"
        f"timer {word} 3 s runs while {word}\n"
        f"route {word} from {word} to {word} via {word} normal\n"
        f"traffic {word} on {word}, {word} leftward when {word} locked while {word} clear\n"
        f"trains start on {word}\nedge {word} entering when {word} {word}\n"
        f"turnout {word} in {word} thrown by {word}, {word} locked while {word} {word}\n"
    )
    assert len(read(text)) == 15


@pytest.mark.parametrize(
    ("clauses", "kinds"),
    [
        ("locked while Ready motor snap", ["locked while", "motor"]),
        ("locked while T1 motor motor snap", ["locked while", "motor"]),
        ("locked while Ready no contacts", ["locked while", "contacts"]),
        ("locked while Ready contacts normal, reverse", ["locked while", "contacts"]),
        ("locked while Ready and T1 locked powered by Bus", ["locked while", "powered by"]),
        ("thrown reverse when Ready locked while Ready", ["thrown when", "locked while"]),
        ("thrown by hand electric lock released when Ready thrown by hand",
         ["thrown by", "electric lock", "thrown by"]),
        ("locked while Ready fouling point 10 mm", ["locked while", "fouling point"]),
        ("locked while Ready gap normal 10 mm", ["locked while", "gap"]),
    ],
)  # fmt: skip
def test_a_clause_follows_a_condition_that_ends_with_a_bare_name(
    clauses: str, kinds: list[str]
) -> None:
    (turnout,) = read(f"turnout T1 in Switch {clauses}")
    assert isinstance(turnout, tree.Turnout)
    assert [c.kind for c in turnout.clauses] == kinds


def test_a_relay_asks_for_things_named_like_its_clauses() -> None:
    (relay,) = read("relay R picks when sticks sticks slow to pick 3 s sticks while slow slow")
    assert isinstance(relay, tree.Relay)
    assert [c.kind for c in relay.clauses] == ["picks when", "slow to pick", "sticks while"]
    facts = [c.condition for c in relay.clauses if c.condition]
    assert [f.span.text for f in facts] == ["sticks sticks", "slow slow"]


@pytest.mark.parametrize(
    ("by", "names", "hand"),
    [
        ("hand", [], True), ("hand-lever", ["hand-lever"], False), ("L", ["L"], False),
        ("hand, foot", ["hand", "foot"], False), ("N, R", ["N", "R"], False),
    ],
)  # fmt: skip
def test_thrown_by_hand_or_by_something(by: str, names: list[str], hand: bool) -> None:
    (turnout,) = read(f"turnout T1 in Switch thrown by {by}")
    assert isinstance(turnout, tree.Turnout)
    assert [name.text for name in turnout.clauses[0].names] == names
    assert bool(turnout.clauses[0].words) is hand


def test_a_line_of_a_signal_may_show_a_word_of_wiring() -> None:
    (signal,) = read("signal 2 at A | B\n  output when A clear\n  closed otherwise\n")
    assert isinstance(signal, tree.Signal)
    assert [rule.shows.text for rule in signal.rules] == ["output", "closed"]


def test_when_belongs_to_the_driver_and_the_word_before_it_stays_what_it_is() -> None:
    for before in (
        "reads D1", "reads D1, T1 contacts", "outputs 6", "powered by Bus over 1 m of 22 AWG",
        "when lamp out shows red", "when lamp out shows flashing red",
    ):  # fmt: skip
        (driver,) = read(f"driver B1 drives 2 {before} when input missing shows dark\n")
        assert isinstance(driver, tree.Driver)
        assert [c.kind for c in driver.clauses][-1] == "when input missing"
        assert len(driver.clauses) == 2


def test_an_output_is_closed_when_something() -> None:
    (detector,) = read("detector D1 spot on A at 0 mm output closed when clear isolated output\n")
    assert isinstance(detector, tree.Detector)
    assert [c.kind for c in detector.clauses] == ["on", "at", "output", "isolated output"]


@pytest.mark.parametrize(
    ("text", "length", "districts"),
    [
        ("block A 96 in in North", ["96 in"], ["North"]),
        ("block A 96in in North", ["96 in"], ["North"]),
        ("block A 96 in", ["96 in"], []),
        ('block A 96 in "note"', ["96 in"], []),
        ("block A 96 in undetected", ["96 in"], []),
        ("block A 96 in feeders f1", ["96 in"], []),
        ("block A 96 in in feeders feeders f1", ["96 in"], ["feeders"]),
        ("block A 96 in feeders", ["96 "], ["feeders"]),
        ("block A 96 in North", ["96 "], ["North"]),
        ("block A 8 ft 6 in in North", ["8 ft", "6 in"], ["North"]),
        ("block A 8ft 6in in North", ["8 ft", "6 in"], ["North"]),
        ("block A 8 ft 6 in", ["8 ft", "6 in"], []),
        ("block 4 in North", [], ["North"]),
        ("block 4, 5 in North", [], ["North"]),
        ("block 4 5 m in North", ["5 m"], ["North"]),
        ("block A 2.4 m", ["2.4 m"], []),
        ("block A 2.4m", ["2.4 m"], []),
        ("block A in m", [], ["m"]),
    ],
)
def test_in_for_inches_and_in_for_districts(
    text: str, length: list[str], districts: list[str]
) -> None:
    (block,) = read(text)
    assert isinstance(block, tree.Block)
    assert [f"{a.number} {a.unit}" for a in block.length] == length
    assert [name.text for name in block.districts] == districts


def test_inches_at_the_end_of_a_statement_on_one_line() -> None:
    assert len(read("stopping distance 96 in supply A block B 96 in track A = B")) == 4


def test_a_number_of_a_turnout_is_no_length() -> None:
    turnout, crossing = read("turnout 4 in Switch\ncrossing 2, 8 in Diamond\n")
    assert isinstance(turnout, tree.Turnout) and isinstance(crossing, tree.Crossing)
    assert [name.text for name in (*turnout.names, *crossing.names)] == ["4", "2", "8"]


def test_track_power_and_a_track_that_begins_at_power() -> None:
    for text, count in (
        ("supply A track power 15 V", 1),
        ("supply A 15 V track power", 1),
        ("supply A track\n  power # well\n  15 V", 1),
        ("supply A track power track power", 1),
        ("supply A 15 V track power = Main", 2),
        ("supply A 15 V track power normal | Main", 2),
        ("supply A track power track power = Main", 2),
        ("supply A track West = power", 2),
        ("detector D1 spot without track power reads occupied track power | A", 2),
        ("block power track power = Main", 2),
    ):
        assert len(read(text)) == count, text


def test_no_two_spellings_of_a_unit_clash() -> None:
    own = {unit for measure in MEASURES for unit in measure.units}
    assert not own & (set(OTHER_UNITS) | STRANGE_UNITS)
    assert not set(OTHER_UNITS) & STRANGE_UNITS
    assert set(OTHER_UNITS.values()) <= own
