"""Loads, voltage and fuses, with the limits where they are. The wire's numbers are those of
tests/published/test_handbook.py."""

from fractions import Fraction
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import verifier
from tests.properties.asked import asked, nothing_is_asked, said
from verifier.explain.assumptions.texts import assumption_texts
from verifier.logic.expr import holds
from verifier.properties import electrical

# ------------------------------------------------------------------ supplies and fuses of boards


def board(supply: str, driver: str = "lamps 15 mA", rules: str = "") -> str:
    """One driver with three heads, of which 1R.lower goes dark unless 1R clears."""
    return f"""
    edge West, East
    supply Bus-1 {supply}
    block Near, Ahead, Beyond
    track West = Near | Ahead | Beyond = East
    driver B1 drives 1R.upper, 1R.lower, 3R
      powered by Bus-1
      {driver}
    aspect Clear green over green proceed
    aspect Stop red or red over dark stop
    signal 1R at Near | Ahead
      heads upper, lower
      Clear when {rules or "Ahead clear"}
      Stop otherwise
    signal 3R at Ahead | Beyond
      Approach when Beyond clear
      Stop otherwise
    """


@pytest.mark.parametrize("name", ["supply-overloaded", "wire-overloaded"])
def test_heads_are_counted_with_one_lamp_each(name: str) -> None:
    limit = "12 V {}" if name == "supply-overloaded" else "12 V fuse {}"
    assert asked(name, board(limit.format("45 mA"))) == {"Bus-1": "proved"}
    assert asked(name, board(limit.format("44 mA"))) == {"Bus-1": "broken"}
    trouble, hint = said(name, board(limit.format("44 mA")), "Bus-1")
    assert "44 mA" in trouble and "can draw up to 45 mA" in trouble and "B1" in trouble
    assert hint.endswith(".")


@pytest.mark.parametrize("name", ["supply-overloaded", "wire-overloaded"])
def test_heads_that_are_never_lit_together_do_not_count_together(name: str) -> None:
    """1R.lower is lit only when 1R clears; it cannot."""
    limit = "12 V 30 mA fuse 30 mA"
    assert asked(name, board(limit)) == {"Bus-1": "broken"}
    assert asked(name, board(limit, rules="Ahead clear and Ahead occupied")) == {"Bus-1": "proved"}


def test_the_situation_that_overloads_is_shown() -> None:
    plan = verifier.load_text(board("12 V 30 mA", rules="Ahead clear and Beyond occupied"))
    (found,) = verifier.prove(plan, only=["supply-overloaded"]).verdicts
    assert found.finding is not None
    assert {what.name: state for what, state in found.finding.situation}["Beyond"] == "occupied"


def test_two_drivers_on_one_supply_add_up() -> None:
    text = board("12 V 50 mA").replace(
        "driver B1 drives 1R.upper, 1R.lower, 3R",
        "driver B2 drives 3R lamps 25 mA powered by Bus-1\ndriver B1 drives 1R.upper, 1R.lower",
    )
    assert asked("supply-overloaded", text) == {"Bus-1": "broken"}
    assert asked("supply-overloaded", text.replace("50 mA", "55 mA")) == {"Bus-1": "proved"}


@settings(deadline=None, max_examples=40)
@given(
    currents=st.lists(st.integers(1, 6), min_size=3, max_size=3),
    limit=st.integers(0, 18),
)
def test_too_much_is_what_adding_up_every_combination_says(currents: list[int], limit: int) -> None:
    """The formula against plain sums over which of three heads are lit."""
    plan = verifier.load_text(board("12 V 1 A"))
    heads = [head for signal in plan.signals.values() for head in signal.heads]
    loads = [(electrical.burning(h), Fraction(c)) for h, c in zip(heads, currents, strict=True)]
    formula = electrical.more_than(Fraction(limit), loads)
    for lit in product((True, False), repeat=3):
        states = {
            h.lens: h.lens.values[0] if on else "dark" for h, on in zip(heads, lit, strict=True)
        }
        drawn = sum(c for c, on in zip(currents, lit, strict=True) if on)
        assert holds(formula, states) == (drawn > limit)


def test_many_lamps_that_all_draw_differently_are_counted_one_a_head() -> None:
    plan = verifier.load_text(board("12 V 1 A"))
    head = next(iter(plan.signals.values())).heads[0]
    loads = [(electrical.burning(head), Fraction(2**i)) for i in range(20)]
    assert repr(electrical.more_than(Fraction(2**20 - 2), loads)) == "true"
    assert repr(electrical.more_than(Fraction(2**20 - 1), loads)) == "false"


@pytest.mark.parametrize(
    ("name", "supply", "driver"),
    [
        ("supply-overloaded", "12 V", "lamps 15 mA"),
        ("supply-overloaded", "12 V 1 A", ""),
        ("wire-overloaded", "12 V 1 A", "lamps 15 mA"),
        ("wire-overloaded", "12 V fuse 1 A", ""),
        ("voltage-drop", "12 V", "lamps 15 mA"),
        ("voltage-drop", "1 A", "needs 11 V"),
        ("fuse-too-large", "12 V 1 A", ""),
        ("fuse-too-large", "12 V fuse 1 A", ""),
    ],
)
def test_nothing_is_asked_without_the_numbers(name: str, supply: str, driver: str) -> None:
    assert nothing_is_asked([name], board(supply, driver))


# ------------------------------------------------------------------ voltage


def far(run: str, lamps: str = "lamps 1 A", needs: str = "needs 11 V") -> str:
    return board("12 V", f"{lamps} {needs}").replace("powered by Bus-1", f"powered by Bus-1 {run}")


def test_voltage_at_the_end_of_30_ft_at_3_A() -> None:
    """Three lamps of 1 A: 10.85 V are left over 18 AWG, 11.28 V over 16 AWG [C]."""
    assert asked("voltage-drop", far("over 30 ft of 18 AWG")) == {"B1": "broken"}
    assert asked("voltage-drop", far("over 30 ft of 16 AWG")) == {"B1": "proved"}
    trouble, hint = said("voltage-drop", far("over 30 ft of 18 AWG"), "B1")
    assert (
        "needs 11 V" in trouble
        and "only 10.85 V of the 12 V from Bus-1 over 30 ft of 18 AWG" in trouble
    )
    assert "thicker wire" in hint


def test_voltage_counts_only_lamps_that_are_lit_together() -> None:
    """Two lamps of 1 A lose 0.77 V on 18 AWG; the third is never lit with them."""
    never = far("over 30 ft of 18 AWG").replace("Ahead clear", "Ahead clear and Ahead occupied")
    assert asked("voltage-drop", never) == {"B1": "proved"}


def test_a_supply_below_what_is_needed_is_too_low_without_any_wire() -> None:
    assert asked("voltage-drop", far("", needs="needs 12 V")) == {"B1": "proved"}
    assert asked("voltage-drop", far("", needs="needs 12.1 V")) == {"B1": "broken"}
    low = far("over 1 ft of 12 AWG", lamps="", needs="needs 12.1 V")
    assert asked("voltage-drop", low) == {"B1": "broken"}


def test_a_run_without_a_current_is_not_judged() -> None:
    assert nothing_is_asked(["voltage-drop"], far("over 30 ft of 18 AWG", lamps=""))


# ------------------------------------------------------------------ fuses


def test_a_fuse_that_the_supply_cannot_open_never_blows() -> None:
    assert asked("fuse-too-large", board("12 V 3 A fuse 1.4 A"))["Bus-1"] == "proved"
    assert asked("fuse-too-large", board("12 V 3 A fuse 1.5 A"))["Bus-1"] == "broken"
    assert "no more than 3 A" in said("fuse-too-large", board("12 V 3 A fuse 1.5 A"), "Bus-1")[0]


@pytest.mark.parametrize(
    ("fuse", "opens"),
    [
        ("2 A UL", "4"),
        ("2 A IEC", "4.2"),
        ("2 A", "4.2"),
        ("2 A resettable trips at 3.7 A", "3.7"),
        ("2 A electronic", "2"),
        ("2 A electronic trips at 2.5 A", "2.5"),
        ("2 A UL trips at 5 A", "5"),
    ],
)
def test_a_fuse_opens_for_sure_at_a_multiple_by_its_kind(fuse: str, opens: str) -> None:
    """UL/CSA 248-14: twice its rating within two minutes [V, secondary]; IEC 60127: 2.1 times
    within half an hour [S, the time M]; of an unknown kind the larger; others by their sheets."""
    least = Fraction(opens)
    for gives, verdict in ((least, "proved"), (least - Fraction(1, 1000), "broken")):
        text = board(f"12 V {float(gives):.4f} A fuse {fuse}")
        assert asked("fuse-too-large", text)["Bus-1"] == verdict
    # The same of a short at the end of a wire that lets no more through.
    text = far("over 30 ft of 24 AWG").replace("12 V", f"12 V fuse {fuse}")
    assert asked("fuse-too-large", text)["Bus-1, B1"] == "proved"
    long = far(f"over {30 * 8 / float(opens):.3f} ft of 24 AWG").replace(
        "12 V", f"12 V fuse {fuse}"
    )
    assert asked("fuse-too-large", long)["Bus-1, B1"] == "broken"


# ------------------------------------------------------------------ wire


@pytest.mark.parametrize(
    ("table", "supply", "verdict"),
    [
        ("wire 24 AWG carries 2 A", "fuse 2 A", "proved"),
        ("wire 24 AWG carries 2 A", "fuse 2.1 A", "broken"),
        ("wire 24 AWG carries 2 A", "2 A fuse 5 A", "proved"),  # it gives no more
        ("wire 24 AWG carries 2 A", "3 A", "broken"),
        ("wire 24 AWG carries 2 A", "3 A fuse 1 A resettable trips at 2.5 A", "broken"),
        ("wire 24 AWG carries 2 A", "3 A fuse 1 A electronic trips at 2 A", "proved"),
        ("wire 22 AWG carries 2 A", "fuse 1 A", ""),  # another size
        ("wire 24 AWG carries 2 A", "", ""),
    ],
)
def test_a_wire_carries_what_its_fuse_lets_flow(table: str, supply: str, verdict: str) -> None:
    text = far("over 30 ft of 24 AWG").replace("12 V", f"12 V {supply}") + table + "\n"
    assert asked("wire-ampacity", text) == ({"Bus-1, B1": verdict} if verdict else {})


@pytest.mark.parametrize(("gauge", "amps"), [(18, 6), (16, 8), (14, 15)])
def test_the_code_may_show_a_wire_too_thin_and_never_thick_enough(gauge: int, amps: int) -> None:
    """NEC 402.5 (6, 8, 17 A) and 240.4(D) (7, 10, 15 A), the smaller of both [M]."""
    text = far(f"over 1 ft of {gauge} AWG").replace("12 V", "12 V fuse {} A")
    assert asked("wire-ampacity", text.format(amps)) == {}
    assert asked("wire-ampacity", text.format(f"{amps}.1")) == {"Bus-1, B1": "broken"}
    own = text.format(amps) + f"wire {gauge} AWG carries 3 A\n"
    assert asked("wire-ampacity", own) == {"Bus-1, B1": "broken"}
    assert asked("wire-ampacity", own.replace("carries 3", "carries 40")) == {"Bus-1, B1": "proved"}


def test_each_run_on_the_way_to_a_feeder_is_asked_for_itself() -> None:
    text = """
        edge West, East
        wire 16 AWG carries 5 A
        wire 22 AWG carries 3 A
        supply Rails track power DCC 15 V 5 A fuse 5 A electronic
        district North fed by Rails over 10 ft of 16 AWG
        block Near, Ahead in North
        block Far in North feeders f1 over 1 ft of 22 AWG, f2 over 1 ft of 16 AWG
        track West = Near | Ahead | Far = East
        signal 2R at Near | Ahead
          Stop otherwise
    """.replace("f1 over 1 ft of 22 AWG, f2", "f1 over 1 ft of 22 AWG feeders f2")
    assert asked("wire-ampacity", text) == {
        "Rails, North": "proved", "Rails, f1": "broken", "Rails, f2": "proved",
    }  # fmt: skip


# ------------------------------------------------------------------ what others draw


def test_what_boards_detectors_machines_and_boosters_draw_counts() -> None:
    text = """
        edge West, East, End
        supply Bus 12 V {} fuse {}
        supply Rails track power fed by Bus
        booster Boost fed by Bus draws 300 mA
        block Near feeders n1
        block Switch, Far, Spur
        turnout T1 in Switch motor slow powered by Bus draws 20 mA
        track West = Near | T1 normal | Far = East
        track T1 reverse | Spur = End
        detector D current-sensing through n1 powered by Bus draws 10 mA
        signal 2R at Near | T1
          Clear when T1 normal and Near clear
          Stop otherwise
        driver B drives 2R powered by Bus draws 30 mA lamps 15 mA
    """.replace("        supply Rails track power fed by Bus\n", "")
    for limits, verdict in (("375 mA", "proved"), ("374 mA", "broken")):
        assert asked("supply-overloaded", text.format(limits, "1 A")) == {"Bus": verdict}
        assert asked("wire-overloaded", text.format("1 A", limits)) == {"Bus": verdict}
    trouble, _ = said("supply-overloaded", text.format("374 mA", "1 A"), "Bus")
    assert "B with its heads, D, T1 and Boost can draw up to 375 mA" in trouble


# ------------------------------------------------------------------ coils


@pytest.mark.parametrize(
    ("thrown", "burns"),
    [
        ("thrown by T1-lever", True),
        ("thrown by T1-lever pulse 50 ms", False),
        ("thrown reverse when Ahead occupied", True),
        ("thrown reverse when Ahead occupied pulse 200 ms", False),
        ("thrown by B1, B2", False),
        ("thrown by hand", None),
        ("", None),
    ],
)
def test_a_coil_burns_on_a_contact_that_stays_closed(thrown: str, burns: bool | None) -> None:
    """Common practice, no source: twin-coil machines are thrown by a pulse."""
    plan = verifier.load_text(f"""
        edge West, East, End
        lever T1-lever positions normal, reverse
        button B1, B2
        block Ahead, Far, Spur
        turnout T1 in Ahead motor snap {thrown}
        track West = T1 normal | Far = East
        track T1 reverse | Spur = End
        prove "nothing" never T1 lies open
    """)
    found = verifier.prove(plan, only=["coil-burns"]).verdicts if burns is not None else ()
    assert [v.status == "broken" for v in found] == ([] if burns is None else [burns])


def test_a_fuse_that_a_short_at_the_far_end_never_blows() -> None:
    """30 ft of 24 AWG: 12 V give at most 7.8 A [C], and 4 A open for sure at 8.4 A."""
    text = far("over 30 ft of 24 AWG").replace("12 V", "12 V fuse {} A")
    assert asked("fuse-too-large", text.format(4)) == {"Bus-1, B1": "broken"}
    assert asked("fuse-too-large", text.format("3.7")) == {"Bus-1, B1": "proved"}
    trouble, hint = said("fuse-too-large", text.format(4), "Bus-1", "B1")
    assert "no more than 7.79 A" in trouble and "24 AWG" in trouble
    assert "local code" in hint


def behind_a_reverser(reverser: str, load: str = "10 mA to 2 A") -> str:
    """A balloon loop of which the wire goes through a reverser."""
    return f"""
    edge West
    supply Track-A track power DCC 15 V 5 A fuse 5 A electronic
    wire 22 AWG carries 3 A
    {reverser}
    district Turning fed by Rev-1 over 20 ft of 22 AWG
    block Lead, Switch
    block Loop in Turning
      feeders p1 over 12 ft of 22 AWG
    turnout T1 in Switch
    track West = Lead | T1 normal || Loop || reverse T1
    trains 300 mm to 600 mm, load {load}
    signal 2 at Lead | T1
      Stop otherwise
    signal 4 at Loop || normal T1
      Stop otherwise
    signal 6 at Loop || reverse T1
      Stop otherwise
    """


def test_a_reverser_passes_on_what_the_supply_before_it_gives() -> None:
    plain = behind_a_reverser("reverser Rev-1 fed by Track-A")
    each = {"Track-A, Turning": "broken", "Track-A, p1": "broken"}
    assert asked("wire-ampacity", plain) == each
    trouble, _ = said("wire-ampacity", plain, "Track-A", "p1")
    assert "carries 3 A" in trouble and "5 A from Track-A" in trouble
    # 15 V / 1.033 ohm = 14.5 A over 32 ft there and back [C].
    opens = {"Track-A": "proved", "Track-A, Turning": "proved", "Track-A, p1": "proved"}
    assert asked("fuse-too-large", plain) == opens
    far = plain.replace("over 20 ft", "over 100 ft")
    assert asked("fuse-too-large", far) == opens | {
        "Track-A, Turning": "broken", "Track-A, p1": "broken",
    }  # fmt: skip
    # A train on the section draws from the supply before the reverser.
    assert asked("supply-overloaded", plain) == {"Track-A": "proved"}
    assert asked("supply-overloaded", plain.replace("to 2 A", "to 6 A")) == {"Track-A": "broken"}
    two = plain.replace("fed by Rev-1", "fed by Rev-2").replace(
        "district", "reverser Rev-2 fed by Rev-1\n    district"
    )
    assert asked("wire-ampacity", two) == each


def test_all_that_is_powered_behind_a_reverser_counts_before_it() -> None:
    """Boards, detectors, machines and boosters; heads with their lamps; and the volts."""
    plain = behind_a_reverser("reverser Rev-1 fed by Track-A", "1 mA").replace(
        "5 A fuse", "1 A fuse"
    )
    for each in (
        "driver B drives 4 powered by Rev-1 draws 2 A",
        "driver B drives 4 powered by Rev-1 lamps 2 A",
        "detector D current-sensing through p1 powered by Rev-1 draws 2 A",
        "booster Boost fed by Rev-1 draws 2 A",
        "reverser Rev-2 fed by Rev-1 draws 2 A",
    ):
        lit = f"{plain}    {each}\n"
        assert asked("supply-overloaded", lit) == {"Track-A": "broken"}, each
        small = f"{plain}    {each.replace('2 A', '200 mA')}\n"
        assert asked("supply-overloaded", small) == {"Track-A": "proved"}, each
    needs = f"{plain}    driver B drives 4 powered by Rev-1 needs 16 V\n"
    assert asked("voltage-drop", needs) == {"B": "broken"}
    assert asked("voltage-drop", needs.replace("16 V", "14 V")) == {"B": "proved"}


def test_wheelsets_behind_a_reverser_have_the_volts_before_it() -> None:
    """15 V over 15 kohm: 1 mA. With the reverser's own 30 V it is 2 mA [C]."""
    text = behind_a_reverser("reverser Rev-1 fed by Track-A").replace(
        "600 mm, load 10 mA to 2 A", "600 mm, wheelsets 15 kohm"
    )
    cleared = text.replace(
        "Stop otherwise", "Clear when Switch, Loop clear and T1 normal\n  Stop otherwise", 1
    )
    text = f"{cleared}    detector D current-sensing through p1 sensitivity 2 mA\n"
    two = text.replace("fed by Rev-1", "fed by Rev-2").replace(
        "district", "reverser Rev-2 fed by Rev-1 3 A\n    district"
    )
    for passed in (text, two):
        assert asked("proceed-into-occupied", passed)["2, Loop"] == "broken"
        enough = passed.replace("sensitivity 2 mA", "sensitivity 1 mA")
        assert set(asked("proceed-into-occupied", enough).values()) == {"proved"}
    own = text.replace("fed by Track-A", "fed by Track-A 30 V")
    assert set(asked("proceed-into-occupied", own).values()) == {"proved"}


def test_a_fuse_at_a_reverser_is_on_the_way() -> None:
    fused = behind_a_reverser("reverser Rev-1 fed by Track-A fuse 3 A electronic")
    assert set(asked("wire-ampacity", fused).values()) == {"proved"}
    assert asked("wire-overloaded", fused.replace("to 2 A", "to 4 A"))["Rev-1"] == "broken"
    # With a current of its own it is a supply like any other.
    own = behind_a_reverser("reverser Rev-1 fed by Track-A 15 V 4 A")
    assert asked("wire-ampacity", own) == {"Rev-1, Turning": "broken", "Rev-1, p1": "broken"}
    own = own.replace("15 V 4 A", "15 V 3 A")
    assert asked("wire-ampacity", own) == {"Rev-1, Turning": "proved", "Rev-1, p1": "proved"}


def test_a_limit_that_is_exceeded_never_looks_met() -> None:
    text = board("12 V 1 A", "lamps 15 mA draws 956 mA")
    trouble, hint = said("supply-overloaded", text, "Bus-1")
    assert "up to 1.001 A" in trouble and "gives 1.001 A or more" in hint
    # 45 mA over 3 ft of 22 AWG: 2 x 3 ft x 16.14 mohm = 96.8 mohm, so 4.4 mV [C].
    far = board("12 V", "lamps 15 mA needs 11.996 V").replace(
        "by Bus-1", "by Bus-1 over 3 ft of 22 AWG"
    )
    trouble, _ = said("voltage-drop", far, "B1")
    assert "needs 11.996 V" in trouble and "only 11.99 V" in trouble
    trouble, hint = said("fuse-too-large", board("12 V 5 A fuse 5 A"), "Bus-1")
    # 5 A / 2.1 = 2.3809 A: rounded up it would be too large again.
    assert "no more than 2.38 A;" in hint
    _, hint = said("fuse-too-large", board("12 V 4 A fuse 2 A IEC"), "Bus-1")
    assert "no more than 1.9 A IEC;" in hint


def test_a_feeder_is_as_far_away_as_its_district_and_itself() -> None:
    """16 AWG for the bus, 22 AWG for the feeder: 0.2410 and 0.3874 ohm there and back [C]."""
    text = """
    edge West, East
    supply Track-A track power 15 V 5 A fuse {} A electronic
    district North fed by Track-A over 30 ft of 16 AWG
    block Near
    block Ahead in North
      feeders a1 over 12 ft of 22 AWG
    track West = Near | Ahead = East
    signal 2R at Near | Ahead
      Clear when Ahead clear
      Stop otherwise
    """
    # 15 V / (0.2410 + 0.3874) ohm = 23.9 A; the bus alone 62 A.
    assert asked("fuse-too-large", text.format(5)) == {
        "Track-A": "proved",
        "Track-A, North": "proved",
        "Track-A, a1": "proved",
    }
    assert asked("fuse-too-large", text.format(25)) == {
        "Track-A": "broken",
        "Track-A, North": "proved",
        "Track-A, a1": "broken",
    }


def test_no_ampacity_of_a_code_is_claimed() -> None:
    text = electrical.wire_overloaded.__doc__ or ""
    assert "ampacity is claimed" in text and "local code" in text


FUSED = """
edge West, East
wire 22 AWG carries 3 A
supply Bus DC 12 V 8 A{}
supply T track power DCC 12 V 8 A
district D fed by T over 1 m of 14 AWG{}
block A
block B in D feeders b1 over 1 m of 22 AWG{}
sub-bus SB feeds b1 over 1 m of 18 AWG{}
track West = A | B = East
signal 2 at A | B
  Clear when B clear
  Stop otherwise
driver X drives 2 powered by Bus over 10 m of 22 AWG{} draws 20 mA lamps 10 mA
"""


@pytest.mark.parametrize(
    ("fuses", "wrong"),
    [
        # Without any fuse, 8 A may flow in all of them.
        (("", "", "", "", ""), {"T, SB", "T, b1", "Bus, X"}),
        # One before the branch protects all that is behind it.
        ((" fuse 3 A UL", " fuse 3 A UL", "", "", ""), set()),
        # One in the branch protects the branch alone.
        (("", "", " fuse 3 A UL", "", " fuse 3 A UL"), {"T, SB"}),
        (("", "", "", " fuse 3 A electronic", " fuse 5 A UL"), {"Bus, X"}),
    ],
)
def test_a_wire_is_as_thick_as_the_smallest_fuse_before_it(
    fuses: tuple[str, ...], wrong: set[str]
) -> None:
    """Proving compares the census too. (NEC: 18 AWG 6 A, from memory.)"""
    verdicts = verifier.prove(verifier.load_text(FUSED.format(*fuses)), only=["wire-ampacity"])
    broken = [v for v in verdicts.verdicts if v.status == "broken"]
    assert {", ".join(v.obligation.subjects) for v in broken} == wrong


@pytest.mark.parametrize(
    ("fuses", "wrong"),
    [
        # 10 m of 22 AWG, there and back, are 1.06 ohm: 11.3 A, of which the supply gives 8 A.
        (("", "", "", "", " fuse 4 A UL"), set()),
        (("", "", "", "", " fuse 4 A IEC"), {"Bus, X"}),
        ((" fuse 8 A electronic", "", "", "", " fuse 4 A IEC"), set()),
        (("", " fuse 5 A UL", "", "", ""), {"T, D", "T, SB", "T, b1"}),
        (("", " fuse 5 A UL", "", " fuse 3 A UL", ""), {"T, D"}),
        (("", " fuse 5 A UL", " fuse 3 A resettable trips at 8 A", "", ""), {"T, D", "T, SB"}),
    ],
)
def test_a_short_opens_one_of_the_fuses_on_the_way(fuses: tuple[str, ...], wrong: set[str]) -> None:
    """UL 248-14: at twice its rating; IEC 60127: at 2.1 times."""
    verdicts = verifier.prove(verifier.load_text(FUSED.format(*fuses)), only=["fuse-too-large"])
    broken = [v for v in verdicts.verdicts if v.status == "broken"]
    assert {", ".join(v.obligation.subjects) for v in broken} == wrong


def test_a_fuse_in_the_wire_of_a_driver_carries_its_lamps() -> None:
    for rating, expected in (("29 mA", "broken"), ("30 mA", "proved")):
        text = FUSED.format("", "", "", "", f" fuse {rating} UL")
        verdicts = verifier.prove(verifier.load_text(text), only=["wire-overloaded"]).verdicts
        assert [(v.obligation.subjects, v.status) for v in verdicts] == [(("X",), expected)]


def test_a_fuse_where_nothing_is_asked_of_it() -> None:
    text = FUSED.format("", "", "", "", "") + "detector Q spot on A at 0 mm powered by Bus fuse 1 A"
    with pytest.raises(verifier.InputError) as error:
        verifier.load_text(text.replace("block A\n", "block A 1 m\n"))
    assert [d.code for d in error.value.diagnostics] == ["CP619"]


# ------------------------------------------------------------------ trains


def rails(load: str, supply: str = "3 A fuse 3 A electronic", feeder: str = "") -> str:
    return f"""
    edge West, East
    supply Track-A track power DCC 15 V {supply}
    district All fed by Track-A
    block Near in All
    block Ahead in All feeders a1{feeder}
    track West = Near | Ahead = East
    signal 2R at Near | Ahead Stop otherwise
    trains 300 mm to 2 m, load {load}
    """


def test_one_train_counts_as_load() -> None:
    """The most that one draws; how many there are is not in the file, and said so."""
    for most, expected in (("3 A", "proved"), ("3001 mA", "broken")):
        text = rails(f"1 mA to {most}")
        assert asked("supply-overloaded", text) == {"Track-A": expected}
        assert asked("wire-overloaded", text) == {"Track-A": expected}
    assert asked("supply-overloaded", rails("1 mA")) == {}
    one = "How many trains draw from Track-A at once is not in the file: one is counted as load."
    assert one in assumption_texts(verifier.load_text(rails("1 mA to 3 A")))


def test_a_fuse_on_the_way_to_the_rails_carries_one_train() -> None:
    for most, expected in (("500 mA", "proved"), ("501 mA", "broken")):
        text = rails(f"1 mA to {most}", feeder=" over 1 ft of 22 AWG fuse 500 mA UL")
        assert asked("wire-overloaded", text) == {"Track-A": "proved", "a1": expected}
