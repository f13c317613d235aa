"""One error costs one message: the others in the file are still found, and none is made up."""

from tests.messages.expecting import STATION, errors


def places(text: str) -> list[tuple[int, str, str]]:
    return [(d.span.line, d.code, d.span.text) for d in errors(text)]


def test_each_broken_statement_has_its_message() -> None:
    assert places(
        "layout Heron Falls\n"
        "edge West East\n"
        "block Main, Single\n"
        "turnout T1 Main\n"
        "singal 2 at Main | Single\n"
        "  Stop otherwise\n"
        "track West = = Main\n"
        "signal 4 at Main | Single\n"
        "  Clear if Main clear\n"
        "  Stop otherwise\n"
        'prove "x" sometimes 4 proceeds\n'
    ) == [
        (1, "CP104", "Heron"),
        (2, "CP104", "East"),
        (4, "CP104", "Main"),
        (5, "CP103", "singal"),
        (7, "CP104", "="),
        (9, "CP104", "if"),
        (11, "CP104", "sometimes"),
    ]


def test_a_statement_word_in_a_broken_line_adds_nothing() -> None:
    assert places("block Main main track at the signal head\nedge West, East and\n") == [
        (1, "CP104", "main"),
        (2, "CP104", "and"),
    ]


def test_a_statement_word_after_a_comma_is_meant_as_a_name() -> None:
    assert places("block Main, track\nblock Single\n") == [(1, "CP106", "track")]
    assert places("block Main,\nblock Single\n") == [(1, "CP105", ",")]


def test_a_stray_character_costs_its_own_statement_only() -> None:
    assert places("block Main ;\nblock Single %\nedge West, East\nblock €\n") == [
        (1, "CP101", ";"),
        (2, "CP101", "%"),
        (4, "CP101", "€"),
    ]


def test_an_open_quote_costs_its_own_line_only() -> None:
    assert places('layout "Heron Falls\nblock Main "main track\nblock Single\nturnout T1\n') == [
        (1, "CP102", '"Heron Falls'),
        (2, "CP102", '"main track'),
        (4, "CP105", "T1"),
    ]


def test_text_before_the_first_statement_has_one_message() -> None:
    assert places("Our railroad, begun 1998\nand finished never\nblock Main Single\n") == [
        (1, "CP103", "Our"),
        (3, "CP104", "Single"),
    ]


def test_a_misspelt_first_word_takes_only_its_statement_along() -> None:
    assert places("blok Main\n  undetected\nblock Single =\n") == [
        (1, "CP103", "blok"),
        (3, "CP104", "="),
    ]


def test_several_unknown_names_are_all_found_and_each_once() -> None:
    assert places(
        STATION
        + "condition X is Mian clear and Swich clear and Mian clear\n"
        + "condition Y is Mian clear and T9 normal\n"
        + "gate G2 on Mian\n"
    ) == [
        (19, "CP201", "Swich"),
        (20, "CP201", "T9"),
        (21, "CP201", "Mian"),
    ]


def test_a_misspelt_block_of_a_turnout_is_the_only_complaint() -> None:
    assert places(STATION.replace("turnout T1 in Switch", "turnout T1 in Swich")) == [
        (3, "CP201", "Swich")
    ]


def test_a_misplaced_signal_makes_no_noise_where_others_read_it() -> None:
    assert places(
        STATION
        + "signal 6 at Main | Single\n  heads upper, lower\n"
        + "head 6.upper\n  green when Main clear\n  red otherwise\n"
        + "head 6.lower\n  red otherwise\n"
        + "condition X is 6 at stop and 6.upper red and 6 proceeds\n"
        + "interlocking limits North is 4L, 6\n"
    ) == [(19, "CP307", "Main | Single")]


def test_a_wrong_crossover_makes_no_noise_where_it_is_used() -> None:
    assert places(STATION + "crossover K1 is T1\ncondition X is K1 normal\n") == [
        (19, "CP313", "crossover K1 is T1")
    ]


def test_wrong_joints_do_not_leave_loose_ends_to_complain_of() -> None:
    assert places(STATION.replace("| reverse T1", "| normal T1")) == [
        (11, "CP301", "Siding | normal T1")
    ]


def test_errors_come_in_the_order_of_the_file() -> None:
    found = errors(
        STATION
        + "condition X is T1 occupied\ncondition Y is Main normal\n"
        + 'prove "x" never 4L pressed\ncondition Z is 4 west\n'
    )
    assert [d.span.line for d in found] == [19, 20, 21, 22]


def test_a_hopeless_file_ends_after_some_errors() -> None:
    assert len(errors("block Main Single\n" * 1000)) == 25


def test_errors_of_a_thousand_unknown_names_are_found_without_guessing_at_each() -> None:
    found = errors(STATION + "".join(f"gate G{n}x on Main{n}\n" for n in range(1000)))
    assert len(found) == 1000
    assert found[0].hint == "Did you mean `Main`?"
    assert found[-1].hint == "If the name is right, declare it with a `block` statement."
