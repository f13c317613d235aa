"""Every change of the wiring offered does mend, once it is written into the file, and takes
nothing away."""

from dataclasses import replace

import pytest

import verifier
from tests.repair.rewired import rewired
from verifier.repair import wiring_repair
from verifier.verdicts.report import Report, Rewiring, Status

# One signal, two blocks: all that is asked of it is proved.
PLAIN = """\
edge West, East
trains 600 mm to 2000 mm, detectable throughout, wheelsets 2 kohm
supply Track-A track power 14 V 5 A fuse 5 A electronic
supply Bus-1 12 V 5 A fuse 2 A
supply Bus-2 12 V 5 A fuse 2 A
district North fed by Track-A
block Main 2400 mm in North
  feeders m1, m2
block Single 2400 mm in North
  feeders g1, g2
track West = Main | Single = East
detector D-Main current-sensing through m1, m2
  turns 2
  sensitivity 1 mA
  powered by Bus-1
  output closed when clear
  without track power reads occupied
detector D-Single current-sensing through g1, g2
  turns 2
  sensitivity 1 mA
  powered by Bus-1
  output closed when clear
  without track power reads occupied
driver B1 drives 1R
  powered by Bus-1
  reads D-Single
signal 1R at Main | Single
  Clear when Single clear
  Stop otherwise
"""
# A switch with two signals; 2L has two heads, one for each way.
SWITCH = """\
edge West, Spur, East
supply Bus-1 12 V 5 A fuse 2 A
block Main, Siding, Switch, Single
turnout T1 in Switch
  motor slow 3 s
  powered by Bus-1
  contacts normal, reverse
  fouling point 180 mm
  gap normal 200 mm, reverse 190 mm
track West = Main | normal T1 | Single = East
track Spur = Siding | reverse T1
lever 2 positions left, normal, right
driver B1 drives 2L.upper, 2L.lower
  powered by Bus-1
  reads T1 contacts
  when lamp out shows red
driver B2 drives 2RA, 2RB
  powered by Bus-1
  reads T1 contacts
signal 2L at Single | T1 heads upper, lower
  Clear           when 2 left and T1 normal  and Switch, Main clear
  Diverging-Clear when 2 left and T1 reverse and Switch, Siding clear
  Stop            otherwise
signal 2RA at Main | T1
  Clear when 2 right and T1 normal and Switch, Single clear
  Stop otherwise
signal 2RB at Siding | T1
  Clear when 2 right and T1 reverse and Switch, Single clear
  Stop otherwise
"""
SPOTS = "detector D-Single spot on Single at 0 mm, 1200 mm"
SINGLE = """\
detector D-Single current-sensing through g1, g2
  turns 2
  sensitivity 1 mA
"""


def edited(text: str, *edits: tuple[str, str]) -> str:
    for old, new in edits:
        assert old in text, old
        text = text.replace(old, new)
    return text


def in_single(old: str, new: str) -> tuple[str, str]:
    """An edit of the statement of D-Single alone."""
    start = PLAIN.index("detector D-Single")
    statement = PLAIN[start : PLAIN.index("driver B1")]
    assert old in statement
    return statement, statement.replace(old, new)


def statuses(report: Report) -> dict[str, Status]:
    return {v.obligation.key: v.status for v in report.verdicts if not v.obligation.advice}


def offered(report: Report, key: str) -> tuple[Rewiring, ...]:
    (verdict,) = (v for v in report.verdicts if v.obligation.key == key)
    assert verdict.status == "broken"
    assert verdict.finding is not None
    return verdict.finding.rewiring


INTO = "proceed-into-occupied: 1R, Single"
CASES = {
    "sense the other way": (
        edited(PLAIN, in_single("when clear", "when occupied")),
        "wire-broken: wire from D-Single to B1",
        ["output closed when clear"],
    ),
    "a missed feeder": (
        edited(PLAIN, in_single("through g1, g2", "through g1")),
        INTO,
        ["through g1, g2"],
    ),
    "the feeder itself is found": (
        edited(PLAIN, in_single("through g1, g2", "through g1")),
        "feeder-undetected: g2, Single",
        ["through g1, g2"],
    ),
    "a feeder of another block": (
        edited(PLAIN, in_single("through g1, g2", "through g1, g2, m2"),
               ("m1, m2\n  turns", "m1\n  turns")),
        "detector-misplaced: D-Single",
        ["through g1, g2"],
    ),
    "no track power": (
        edited(PLAIN, in_single("  without track power reads occupied\n", "")),
        "supply-lost: supply Track-A",
        ["without track power reads occupied"],
    ),
    "a turn more": (
        edited(PLAIN, in_single("turns 2\n  sensitivity 1 mA", "turns 2\n  sensitivity 20 mA")),
        INTO,
        ["turns 3"],
    ),
    "turns against a bridged gap, in both detectors": (
        edited(PLAIN, ("turns 2", "turns 1")),
        "gap-bridged: gap Main | Single",
        ["turns 2", "turns 2"],
    ),
    "too many turns": (
        edited(PLAIN, in_single("sensitivity 1 mA", "sensitivity 10 mA")),
        "gap-bridged: gap Main | Single",
        ["sensitivity 1.4 mA"],
    ),
    "another supply": (
        edited(PLAIN, in_single("powered by Bus-1", "powered by Bus-2")),
        "supply-mismatch: B1, D-Single",
        ["common return Bus-1, Bus-2"],
    ),
    "another kind of supply": (
        edited(
            PLAIN,
            in_single("powered by Bus-1", "powered by Bus-2"),
            ("supply Bus-1", "common return Bus-1, Bus-2\nsupply Bus-1 AC"),
            ("supply Bus-2", "supply Bus-2 DC"),
        ),
        "supply-mismatch: B1, D-Single",
        ["isolated output"],
    ),
    "another supply and sensed the wrong way: a pair": (
        edited(
            PLAIN,
            in_single("Bus-1\n  output closed when clear", "Bus-2\n  output closed when occupied"),
        ),
        INTO,
        ["output closed when clear", "common return Bus-1, Bus-2"],
    ),
    "a missed feeder and too few turns: a pair": (
        edited(
            PLAIN,
            (SINGLE, SINGLE.replace("g1, g2", "g1").replace("1 mA", "20 mA")),
        ),
        INTO,
        ["through g1, g2", "turns 3"],
    ),
    "an input that is not wired": (
        edited(PLAIN, ("  reads D-Single", "  reads D-Main")),
        "input-unread: B1, D-Single",
        ["reads D-Main, D-Single"],
    ),
    "a block with one feeder": (
        edited(PLAIN, ("feeders g1, g2", "feeders g1"), in_single("through g1, g2", "through g1")),
        "wire-broken: feeder g1",
        ["feeders g2", "through g1, g2"],
    ),
    "spots too far apart": (
        edited(PLAIN, ("  feeders g1, g2\n", ""), (SINGLE, f"{SPOTS}\n"),
               ("clear\n  without track power reads occupied\ndriver", "clear\ndriver")),
        "train-hidden: Single",
        ["at 0 mm, 600 mm, 1200 mm, 1800 mm, 2400 mm"],
    ),
    "spots under short trains: current sensing": (
        edited(PLAIN, (SINGLE, f"{SPOTS}\n"), ("600 mm to", "100 mm to"),
               ("clear\n  without track power reads occupied\ndriver", "clear\ndriver")),
        INTO,
        ["detector D-Single current-sensing through g1, g2"],
    ),
    "cars that draw nothing: spots as well": (
        edited(PLAIN, ("detectable throughout", "detectable at the locomotive only")),
        INTO,
        ["detector D-Single-spots-1 spot on Single at 0 mm, 600 mm, 1200 mm, 1800 mm, 2400 mm",
         "reads D-Single, D-Single-spots-1"],
    ),
    "one contact": (
        edited(SWITCH, ("contacts normal, reverse", "contact normal")),
        "proceed-over-open-points: 2L, T1",
        ["contacts normal, reverse"],
    ),
    "no contacts": (
        edited(SWITCH, ("contacts normal, reverse", "no contacts"),
               ("  reads T1 contacts\n", "  reads D-Main\n"),
               ("lever 2", "detector D-Main spot on Main at 0 mm\nlever 2"),
               ("block Main, ", "block Main 100 mm\nblock ")),
        "proceed-over-open-points: 2L, T1",
        ["contacts normal, reverse", "reads D-Main, T1 contacts", "reads D-Main, T1 contacts"],
    ),
    "a lamp out": (
        edited(SWITCH, ("  when lamp out shows red\n", "")),
        "lamp-out: head 2L.upper",
        ["when lamp out shows red"],
    ),
    "a gap short of the fouling point": (
        edited(SWITCH, ("reverse 190 mm", "reverse 150 mm")),
        "fouling-undetected: 2RA, T1, Siding",
        ["gap normal 200 mm, reverse 180 mm"],
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_what_is_offered_mends_once_it_is_written(name: str) -> None:
    text, key, clauses = CASES[name]
    report = verifier.prove(verifier.load_text(text))
    steps = offered(report, key)
    assert [step.write.splitlines()[0] for step in steps] == clauses
    before = statuses(report)
    mended = rewired(text, steps)
    after = statuses(verifier.prove(verifier.load_text(mended)))
    assert after[key] == "proved", mended
    lost = {k for k, status in before.items() if status == "proved" and after.get(k) == "broken"}
    assert not lost, mended


@pytest.mark.parametrize("name", ["a missed feeder", "no track power", "spots too far apart"])
def test_every_change_offered_mends(name: str) -> None:
    """Not only those looked for above: all that is offered of a file."""
    text, looked_for, _ = CASES[name]
    report = verifier.prove(verifier.load_text(text))
    findings = {v.obligation.key: v.finding for v in report.verdicts if v.finding}
    further = {key: f.rewiring for key, f in findings.items() if f.rewiring and key != looked_for}
    assert further
    for key, steps in further.items():
        mended = statuses(verifier.prove(verifier.load_text(rewired(text, steps))))
        # A block without spots is not asked about trains between them.
        assert mended.get(key, "proved") == "proved"


@pytest.mark.parametrize("text", [PLAIN, SWITCH], ids=["plain", "switch"])
def test_the_files_are_safe_before_they_are_broken(text: str) -> None:
    """So that what is broken in them is what each case breaks."""
    assert set(statuses(verifier.prove(verifier.load_text(text))).values()) == {"proved"}


def test_nothing_is_offered_where_nothing_helps() -> None:
    """A rule that does not ask for the block: no wiring makes it ask."""
    text = edited(PLAIN, ("Clear when Single clear", "Clear when Main clear"))
    text = edited(text, ("reads D-Single", "reads D-Main"))
    assert offered(verifier.prove(verifier.load_text(text)), INTO) == ()


def test_nothing_is_offered_without_wiring() -> None:
    text = """
        edge West, East
        block Main, Single
        track West = Main | Single = East
        signal 1R at Main | Single
          Clear when Main clear
          Stop otherwise
    """
    assert offered(verifier.prove(verifier.load_text(text)), INTO) == ()


def test_a_change_that_would_lose_an_aspect_is_not_offered() -> None:
    """A driver that cannot hear its detector: sensed the other way round, the block reads
    occupied for good. Safe, and of no use; so the returns are joined as well."""
    text, key, _ = CASES["another supply and sensed the wrong way: a pair"]
    plan = verifier.load_text(text)
    steps = offered(verifier.prove(plan), key)
    sense = [step for step in steps if step.write.startswith("output")]
    alone = statuses(verifier.prove(verifier.load_text(rewired(text, sense))))
    assert alone[key] == "proved"
    assert alone["never-shown: 1R, Clear"] == "broken"
    both = statuses(verifier.prove(verifier.load_text(rewired(text, steps))))
    assert both["never-shown: 1R, Clear"] == "proved"


def test_a_change_that_makes_another_failure_is_not_offered() -> None:
    """Current sensing without a word on track power would be blind when it is off."""
    text, key, _ = CASES["spots under short trains: current sensing"]
    report = verifier.prove(verifier.load_text(text))
    (step,) = offered(report, key)
    blind = step.write.replace("\n  without track power reads occupied", "")
    assert blind != step.write
    after = statuses(
        verifier.prove(verifier.load_text(rewired(text, [replace(step, write=blind)])))
    )
    assert statuses(report)["supply-lost: supply Track-A"] == "proved"
    assert after["supply-lost: supply Track-A"] == "broken"


def test_the_search_has_an_end(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(wiring_repair, "MAX_TRIES", 1)
    text, key, _ = CASES["a missed feeder and too few turns: a pair"]
    assert offered(verifier.prove(verifier.load_text(text)), key) == ()


def test_a_new_feeder_gets_a_name_that_is_free() -> None:
    text = edited(CASES["a block with one feeder"][0], ("m1, m2", "m1, g2"))
    steps = offered(verifier.prove(verifier.load_text(text)), "wire-broken: feeder g1")
    assert [step.write for step in steps] == ["feeders g3", "through g1, g3"]
