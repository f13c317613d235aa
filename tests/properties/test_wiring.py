"""The wiring as written. Facts of the trade: common practice, no source."""

import pytest

import verifier
from tests.properties.asked import asked, nothing_is_asked, places, said
from verifier.properties.catalog import BY_NAME

STATIC = [name for name, entry in BY_NAME.items() if entry.group in ("distances", "wiring")]


def wired(
    *,
    kinds: tuple[str, str] = ("", ""),
    feeders: str = "a1, a2",
    through: str = "a1, a2",
    detector: str = "",
    driver: str = "",
    extra: str = "",
    rule: str = "Ahead, Beyond clear",
    joint: str = "|",
) -> str:
    return f"""
    edge West, East
    supply Bus-1 {kinds[0]} 12 V
    supply Bus-2 {kinds[1]} 12 V
    block Near
    block Ahead
      feeders {feeders}
    block Beyond
      feeders b1
    track West = Near | Ahead {joint} Beyond = East
    detector D-Ahead current-sensing on Ahead
      through {through}
      powered by Bus-1 {detector}
    detector D-Beyond current-sensing
      through b1
      powered by Bus-1
    {f"driver B1 drives 2R {driver}" if driver else ""}
    {extra}
    signal 2R at Near | Ahead
      Clear when {rule}
      Stop otherwise
    """


# ------------------------------------------------------------------ blocks and feeders


def test_two_blocks_with_the_rail_joined_through() -> None:
    assert asked("blocks-joined", wired()) == {"Near, Ahead": "proved", "Ahead, Beyond": "proved"}
    assert asked("blocks-joined", wired(joint="="))["Ahead, Beyond"] == "broken"
    assert "Ahead and Beyond" in said("blocks-joined", wired(joint="="), "Ahead", "Beyond")[0]
    assert places("blocks-joined", wired(joint="=")) == {"Ahead = Beyond"}


def test_a_block_cut_by_a_gap_that_has_no_name() -> None:
    text = """
    edge West, East
    bumper End
    block Near
    block Ahead
      feeders a1
    turnout T1 in Ahead
    track West = Near | T1 normal {} Ahead = East
    track T1 reverse = End
    signal 2R at Near | T1
      Clear when T1 normal and Ahead clear
      Stop otherwise
    """
    assert asked("blocks-joined", text.format("|")) == {"Near, Ahead": "proved", "Ahead": "broken"}
    assert "cuts Ahead in two" in said("blocks-joined", text.format("|"), "Ahead")[0]
    for fine in ("=", "|(g1)"):
        assert asked("blocks-joined", text.format(fine)) == {"Near, Ahead": "proved"}


def test_one_missed_feeder() -> None:
    text = wired(through="a1")
    assert asked("feeder-undetected", text) == {
        "a1, Ahead": "proved",
        "a2, Ahead": "broken",
        "b1, Beyond": "proved",
    }
    trouble, hint = said("feeder-undetected", text, "a2", "Ahead")
    assert "does not pass through D-Ahead" in trouble
    assert "Run a2 through D-Ahead" in hint
    assert "detector D-Ahead current-sensing on Ahead" in places("feeder-undetected", text)


def test_two_detectors_may_share_a_blocks_feeders() -> None:
    text = wired(through="a1", extra="detector D-2 current-sensing through a2\n powered by Bus-1")
    assert set(asked("feeder-undetected", text).values()) == {"proved"}


def test_a_detector_on_another_blocks_feeder() -> None:
    text = wired(through="a1, a2, b1")
    assert asked("detector-misplaced", text) == {"D-Ahead": "broken", "D-Beyond": "proved"}
    trouble, hint = said("detector-misplaced", text, "D-Ahead")
    assert "feeder b1 of Beyond" in trouble
    assert "Run b1 past D-Ahead" in hint


# ------------------------------------------------------------------ supplies


def test_detector_and_driver_need_a_common_supply() -> None:
    """Common practice, no source."""
    apart = wired(driver="powered by Bus-2")
    assert asked("supply-mismatch", apart) == {"B1, D-Ahead": "broken", "B1, D-Beyond": "broken"}
    trouble, hint = said("supply-mismatch", apart, "B1", "D-Ahead")
    assert "B1 on Bus-2 cannot read detector D-Ahead on Bus-1" in trouble
    assert "common return Bus-2, Bus-1" in hint and "isolated output" in hint


@pytest.mark.parametrize(
    "mended",
    [
        wired(driver="powered by Bus-1"),
        wired(driver="powered by Bus-2", extra="common return Bus-1, Bus-2"),
        wired(
            driver="powered by Bus-2",
            extra="supply Bus-3 12 V\ncommon return Bus-1, Bus-3\ncommon return Bus-3, Bus-2",
        ),
    ],
    ids=["same supply", "common return", "common return by way of a third"],
)
def test_what_makes_a_driver_hear(mended: str) -> None:
    assert asked("supply-mismatch", mended) == {"B1, D-Ahead": "proved", "B1, D-Beyond": "proved"}


def test_relays_and_detectors_need_a_common_supply() -> None:
    """Common practice, no source: relays hear detectors over a return as drivers do."""
    relays = """built of relays powered by Bus-2
    relay Seen picks when Ahead clear
    {}"""
    asked_of = {
        more: asked("supply-mismatch", wired(extra=relays.format(more)))
        for more in ("", "common return Bus-1, Bus-2")
    }
    assert asked_of[""] == {"the relays, D-Ahead": "broken", "the relays, D-Beyond": "broken"}
    assert set(asked_of["common return Bus-1, Bus-2"].values()) == {"proved"}
    subjects = ("the relays", "D-Ahead")
    trouble, hint = said("supply-mismatch", wired(extra=relays.format("")), *subjects)
    assert "relays on Bus-2 cannot hear detector D-Ahead on Bus-1" in trouble
    assert "common return Bus-2, Bus-1" in hint


def test_an_isolated_output_is_heard_anywhere() -> None:
    text = wired(driver="powered by Bus-2", detector="isolated output")
    assert asked("supply-mismatch", text) == {"B1, D-Ahead": "proved", "B1, D-Beyond": "broken"}


JOINED = "common return Bus-1, Bus-2"


@pytest.mark.parametrize(
    ("kinds", "status"),
    [
        (("DC", "AC"), "broken"),
        (("AC", "DC"), "broken"),
        (("DC", "DCC"), "broken"),
        (("AC", "AC"), "proved"),
        (("DC", ""), "proved"),
    ],
)
def test_a_common_return_does_not_join_two_kinds_of_supply(
    kinds: tuple[str, str], status: str
) -> None:
    """Common practice, no source. A supply that does not say its kind is taken to suit."""
    text = wired(kinds=kinds, driver="powered by Bus-2", extra=JOINED)
    assert asked("supply-mismatch", text) == dict.fromkeys(("B1, D-Ahead", "B1, D-Beyond"), status)
    isolated = wired(
        kinds=kinds, driver="powered by Bus-2", detector="isolated output", extra=JOINED
    )
    assert asked("supply-mismatch", isolated)["B1, D-Ahead"] == "proved"


def test_what_is_said_of_two_kinds_of_supply() -> None:
    text = wired(kinds=("DC", "AC"), driver="powered by Bus-2", extra=JOINED)
    trouble, hint = said("supply-mismatch", text, "B1", "D-Ahead")
    assert trouble.endswith(
        "driver B1 on Bus-2 cannot read detector D-Ahead on Bus-1: Bus-2 is AC and Bus-1 is DC, "
        "and a common return does not make them one"
    )
    assert "common return" not in hint and "isolated output" in hint


@pytest.mark.parametrize(("fed", "status"), [("Bus-1", "proved"), ("Bus-2", "broken")])
def test_a_booster_is_of_the_kind_of_what_feeds_it(fed: str, status: str) -> None:
    more = f"booster Boost fed by {fed} 12 V\ncommon return Boost, Bus-1, Bus-2"
    text = wired(kinds=("DC", "AC"), driver="powered by Boost", extra=more)
    assert set(asked("supply-mismatch", text).values()) == {status}


def test_a_return_over_a_third_supply_may_be_of_any_kind() -> None:
    """What flows over it is a wire; only the two ends count."""
    more = "supply Bus-3 AC 16 V\ncommon return Bus-1, Bus-3\ncommon return Bus-3, Bus-2"
    text = wired(kinds=("DC", "DC"), driver="powered by Bus-2", extra=more)
    assert set(asked("supply-mismatch", text).values()) == {"proved"}


def test_relays_on_ac_do_not_hear_an_output_on_dc() -> None:
    relays = "built of relays powered by Bus-2\nrelay Seen picks when Ahead clear"
    text = wired(kinds=("DC", "AC"), extra=f"{JOINED}\n{relays}")
    assert set(asked("supply-mismatch", text).values()) == {"broken"}
    trouble, _ = said("supply-mismatch", text, "the relays", "D-Ahead")
    assert "Bus-2 is AC and Bus-1 is DC" in trouble


def test_only_what_a_driver_reads_matters() -> None:
    text = wired(driver="powered by Bus-2 reads D-Ahead")
    assert asked("supply-mismatch", text) == {"B1, D-Ahead": "broken"}
    unsaid = wired(driver="powered by Bus-2", rule="Beyond clear")
    assert asked("supply-mismatch", unsaid) == {"B1, D-Beyond": "broken"}


def test_a_supply_that_is_not_given_is_not_asked_about() -> None:
    assert nothing_is_asked(["supply-mismatch"], wired(driver="reads D-Ahead"))


# ------------------------------------------------------------------ inputs


def test_a_detector_that_the_rules_need_and_the_driver_does_not_read() -> None:
    text = wired(driver="reads D-Ahead")
    assert asked("input-unread", text) == {"B1, D-Ahead": "proved", "B1, D-Beyond": "broken"}
    assert "use D-Beyond" in said("input-unread", text, "B1", "D-Beyond")[0]
    assert "Clear when Ahead, Beyond clear" in places("input-unread", text)


def test_what_named_conditions_ask_for_counts() -> None:
    text = wired(
        driver="reads D-Ahead",
        rule="Open",
        extra="condition Open is Ahead clear and Rest\ncondition Rest is Beyond clear",
    )
    assert asked("input-unread", text) == {"B1, D-Ahead": "proved", "B1, D-Beyond": "broken"}


def test_every_detector_of_a_block_is_to_be_read() -> None:
    second = "detector D-2 current-sensing through a2"
    text = wired(through="a1", driver="reads D-Ahead, D-Beyond", extra=second)
    assert asked("input-unread", text)["B1, D-2"] == "broken"


def test_a_driver_of_which_nothing_is_said_reads_all() -> None:
    assert nothing_is_asked(["input-unread"], wired(driver="powered by Bus-1"))


def turnout(contacts: str, reads: str) -> str:
    return f"""
    edge West entering only
    edge M, S leaving only
    block Near, Switch, Siding
    block Main 1 m
    turnout T1 in Switch {contacts}
    track West = Near | T1 normal | Main = M
    track T1 reverse | Siding = S
    supply Bus 12 V
    driver B1 drives 2R {reads}
    detector D spot on Main at 0 mm
    signal 2R at Near | T1
      Clear when T1 normal and Main clear
      Stop otherwise
    """


def test_contacts_are_to_be_read_unless_there_are_none() -> None:
    assert (
        asked("input-unread", turnout("contacts normal, reverse", "reads D"))["B1, T1"] == "broken"
    )
    both = turnout("contacts normal, reverse", "reads D, T1 contacts")
    assert asked("input-unread", both) == {"B1, T1": "proved", "B1, D": "proved"}
    assert asked("input-unread", turnout("", "reads D"))["B1, T1"] == "broken"
    assert asked("input-unread", turnout("no contacts", "reads D")) == {"B1, D": "proved"}


# ------------------------------------------------------------------ heads and outputs


def heads(drivers: str, rules: str = "") -> str:
    return f"""
    edge West, East
    block Near, Ahead, Beyond
    track West = Near | Ahead | Beyond = East
    {drivers}
    signal 2R at Near | Ahead
      heads upper, lower
      Clear when Ahead, Beyond clear
      Approach when Ahead clear
      Restricting when Beyond clear
      Stop otherwise
    signal 4R at Ahead | Beyond
      {rules}
      Stop otherwise
    """


def test_a_head_that_no_driver_lights() -> None:
    text = heads("driver B1 drives 2R.upper, 2R.lower")
    assert asked("head-without-driver", text) == {
        "2R.upper": "proved",
        "2R.lower": "proved",
        "4R": "broken",
    }
    assert nothing_is_asked(["head-without-driver"], heads(""))


def test_outputs_are_counted_by_lamp() -> None:
    """Upper: green, yellow, red. Lower: lunar, red."""
    five = "driver B1 drives 2R.upper, 2R.lower outputs {}"
    assert asked("driver-short-of-outputs", heads(five.format(5))) == {"B1": "proved"}
    assert asked("driver-short-of-outputs", heads(five.format(4))) == {"B1": "broken"}
    trouble, _ = said("driver-short-of-outputs", heads(five.format(4)), "B1")
    assert "needs 5 (3 for 2R.upper, 2 for 2R.lower)" in trouble


def test_what_the_driver_shows_of_itself_needs_a_lamp_too() -> None:
    def with_outputs(number: int, more: str) -> dict[str, str]:
        board = f"driver B1 drives 4R outputs {number} {more}"
        text = heads(f"detector D current-sensing through f1\n{board}", "Clear when Beyond clear")
        fed = text.replace(
            "block Near, Ahead, Beyond", "block Near, Ahead\nblock Beyond feeders f1"
        )
        return asked("driver-short-of-outputs", fed)

    assert with_outputs(1, "") == {"B1": "broken"}
    assert with_outputs(2, "") == {"B1": "proved"}
    assert with_outputs(2, "when input missing shows yellow") == {"B1": "broken"}


def test_flashing_and_steady_are_one_lamp_and_dark_is_none() -> None:
    text = """
    edge West, East
    block Near, Ahead, Beyond
    track West = Near | Ahead | Beyond = East
    driver B1 drives 2R outputs 2
    aspect Advance-Approach flashing yellow proceed prepared to stop at second signal
    signal 2R at Near | Ahead
    head 2R
      flashing yellow when Ahead, Beyond clear
      yellow when Ahead clear
      red when Beyond clear
      dark otherwise
    """
    assert asked("driver-short-of-outputs", text) == {"B1": "proved"}
    assert asked("driver-short-of-outputs", text.replace("outputs 2", "outputs 1")) == {
        "B1": "broken"
    }


# ------------------------------------------------------------------ all of them


@pytest.mark.parametrize("name", STATIC)
def test_nothing_is_asked_of_a_file_without_wiring(name: str) -> None:
    text = """
    edge West, East
    block Near, Ahead
    track West = Near | Ahead = East
    signal 2R at Near | Ahead
      Clear when Ahead clear
      Stop otherwise
    """
    assert nothing_is_asked([name], text)


@pytest.mark.parametrize("name", STATIC)
def test_each_names_its_source(name: str) -> None:
    source = BY_NAME[name].source
    known = (
        "49 CFR 236.", "ommon practice, no source", "AWG", "NMRA S-9.2.1", "UL/CSA 248-14", "NEC ",
    )  # fmt: skip
    assert any(word in source for word in known)


def test_static_questions_point_into_the_file_and_say_what_to_do() -> None:
    text = wired(through="a1, b1", driver="outputs 1 powered by Bus-2 reads D-Ahead", joint="=")
    report = verifier.prove(verifier.load_text(text))
    broken = [v.obligation for v in report.verdicts
              if v.status == "broken" and v.obligation.property in STATIC]  # fmt: skip
    assert {o.property for o in broken} == {
        "blocks-joined",
        "feeder-undetected",
        "detector-misplaced",
        "supply-mismatch",
        "input-unread",
        "driver-short-of-outputs",
    }
    assert all(o.hint.endswith(".") and o.spans and o.place for o in broken)
