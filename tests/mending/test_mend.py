"""Repairs of whole files: every one proved, nothing else lost, and the first one the usual one.

A sample of the broken specs is mended here; ``CLEARPROOF_PROFILE=nightly`` mends them all.
"""

import json
from difflib import unified_diff
from pathlib import Path

import pytest

from tests.junction_files import SPEC_FILES, spec
from tests.sweep import NIGHTLY
from verifier import load_text, prove
from verifier.api import checked, mend_text
from verifier.cli import main
from verifier.language.format.formatter import format_text
from verifier.mending import mend as searching
from verifier.mending.changes import Change, changed, without
from verifier.mending.judge import Judge, worse
from verifier.mending.mend import Mended
from verifier.mending.proposals import proposals

nightly = pytest.mark.skipif(not NIGHTLY, reason="takes minutes: CLEARPROOF_PROFILE=nightly")
BROKEN = [path.stem for path in SPEC_FILES if path.stem.endswith("-broken")]
# By spec: the lines that the first repair adds, and those that it takes out.
FIRST = {
    # One feeder, and not four findings.
    "missed-feeder-broken": (["  through m1, m2, m3"], ["  through m1, m2"]),
    # A lever before a cross-check.
    "diamond-broken": (
        [
            "lever 2 positions normal, reverse",
            "",
            "  Clear  when Diamond, East clear and 2 normal",
            "  Clear  when Diamond, South clear and 2 reverse",
        ],
        ["  Clear  when Diamond, East clear", "  Clear  when Diamond, South clear"],
    ),
    # A lock of the frame, where each signal has a lever.
    "lever-frame-broken": (
        ["lever L2 reverse locks L4 normal", "lever L4 reverse locks L6 normal"],
        [],
    ),
    # The gap that is wrong, before a rule that lives with it.
    "gap-inside-broken": (
        ["  gap normal 200 mm, reverse 180 mm"],
        ["  gap normal 200 mm, reverse 120 mm"],
    ),
    # Points asked for where a train may pass at stop.
    "stop-and-proceed-broken": (
        ["  Stop-and-Proceed  when T1 normal and D1 derailing", "  Stop              otherwise"],
        ["  Stop-and-Proceed  otherwise"],
    ),
}


def mended(name: str, text: str = "") -> Mended:
    path = spec(name)
    return mend_text(text or path.read_text("utf-8"), path.name, path)


def lines_changed(found: Mended) -> tuple[list[str], list[str]]:
    """Lines that the first repair adds, and those it takes out, but for what was expected."""
    before, after = found.before.text.splitlines(), found.repairs[0].text.splitlines()
    lines = list(unified_diff(before, after, n=0, lineterm=""))[2:]
    added = [line[1:] for line in lines if line.startswith("+")]
    gone = [line[1:] for line in lines if line.startswith("-")]
    return added, [line for line in gone if line and not line.startswith("expect broken")]


def assert_proves(text: str, name: str) -> None:
    """A repair that mends all leaves a file that is proved as it says, with nothing set aside."""
    plan, _ = checked(text, name, None)
    report = prove(plan)
    assert not [v.obligation.key for v in report.verdicts if v.status == "broken"
                and not v.obligation.advice]  # fmt: skip
    assert not report.unmet and report.exit_code == 0
    assert not plan.expectations


@pytest.mark.parametrize("name", FIRST)
def test_the_first_repair_is_the_usual_one(name: str) -> None:
    found = mended(name)
    added, gone = lines_changed(found)
    wanted, taken = FIRST[name]
    assert added == wanted
    assert set(taken) <= set(gone)
    assert found.repairs[0].whole and not found.left
    assert found.repairs[0].text == format_text(found.repairs[0].text)
    assert_proves(found.repairs[0].text, name)


@nightly
@pytest.mark.parametrize("name", BROKEN)
def test_every_broken_spec_is_mended_without_hand(name: str) -> None:
    path = spec(name)
    found = searching.mend(
        lambda text: checked(text, name, path), path.read_text("utf-8"), alternatives=False
    )
    assert found.is_whole, (name, [v.obligation.key for v in found.left])
    assert_proves(next(repair.text for repair in found.repairs if repair.whole), name)


def test_one_mistake_is_one_finding() -> None:
    [mistake] = mended("missed-feeder-broken").mistakes
    assert mistake.root.obligation.property == "feeder-undetected"
    assert [v.obligation.key for v in mistake.also] == [
        "proceed-into-occupied: 2R, Station",
        "wire-broken: feeder m1",
        "wire-broken: feeder m2",
    ]


MODULE = """
layout "Two ends from one module"
edge W1, E2 leaving only
edge W2, S1, S2, E1
module End (single, main, siding, panel)
  block Switch
  turnout T1 in Switch
  track single | T1 normal  | main
  track          T1 reverse | siding
  signal Out-A at main | T1
    Clear  when panel left and Switch, single clear
    Stop   otherwise
  signal Out-B at siding | T1
    Clear  when panel left and T1 reverse and Switch, single clear
    Stop   otherwise
end
block Single-1, Main-1, Siding-1, Single-2, Main-2, Siding-2
track W1 = Single-1
track Main-1 = E1
track Siding-1 = S1
track W2 = Main-2
track S2 = Siding-2
track Single-2 = E2
lever 2, 4 positions left, normal
use End as A with single = Single-1, main = Main-1, siding = Siding-1, panel = 2
use End as B turned round with single = Single-2, main = Main-2, siding = Siding-2, panel = 4
"""


def test_a_module_is_mended_for_all_its_uses() -> None:
    found = mend_text(MODULE, "ends", None)
    first = found.repairs[0]
    assert first.whole and not found.left
    [added], [gone] = lines_changed(found)
    assert gone == "    Clear  when panel left and Switch, single clear"
    assert added == f"{gone} and T1 normal"
    assert {key.partition(": ")[2][:1] for key in first.mends} == {"A", "B"}
    assert_proves(first.text, "ends")


def test_what_takes_several_steps() -> None:
    """A derail, and then the signals that have to check it."""
    found = mended("team-track-broken")
    assert found.repairs[0].whole and len(found.repairs[0].steps) == 3
    assert "derail D3 on Team toward T3" in found.repairs[0].text
    assert found.repairs[0].text.count("D3 derailing") == 2


def test_what_is_kept_waived_or_lost() -> None:
    """A text that mends a finding and loses an aspect is worse; a waiver is no proof."""
    text = spec("diamond-broken").read_text("utf-8")
    judge = Judge(lambda other: checked(other, "diamond", None), None)
    before = judge.judged(text)
    assert list(before.broken) == ["crossing-proceeds: 2R, 4R"]
    never = judge.judged(text.replace("when Diamond, East clear", "when 2R proceeds", 1)
                         .replace("2R proceeds", "Diamond clear and Diamond occupied"))  # fmt: skip
    assert "crossing-proceeds: 2R, 4R" not in never.broken
    assert {"never-shown: 2R, Clear", "route-never-clears: 2R to Wren-Hollow"} <= {
        *worse(before, never)
    }
    assert not list(worse(before, before))
    assert list(worse(never, before)) == ["crossing-proceeds: 2R, 4R"]
    # No proposal waives anything, and none is what stands there already.
    for proposal in proposals(before.given, *before.broken.values()):
        made = changed(text, proposal.changes)
        assert made is None or ("waive" not in made and made != text)


def test_a_lock_that_never_opens_mends_nothing() -> None:
    text = spec("drawbridge-broken").read_text("utf-8")
    judge = Judge(lambda other: checked(other, "drawbridge", None), None)
    before = judge.judged(text)
    # A relay that would have to be up to pick.
    thrown, never = "thrown by G1-lever", "relay Never\n  picks when Never up\n"
    locked = text.replace(thrown, f"{thrown}\n  locked while Bridge occupied or Never down")
    for_good = judge.judged(locked.replace("gate G1", f"{never}gate G1", 1))
    assert "points-move-under-train: G1" not in for_good.broken
    assert not list(worse(before, for_good)), "no property says that a gate has to open"
    assert not judge.keeps_moving(before, for_good)
    assert judge.keeps_moving(before, before)


def test_nothing_to_mend() -> None:
    found = mended("diamond-mended")
    assert not found.repairs and not found.mistakes and not found.left


def test_places_of_changes() -> None:
    text = "block A\nsignal 1 at A | B  # here\nexpect broken x\n"
    plan = load_text(spec("diamond-broken").read_text("utf-8"))
    [expectation] = plan.expectations
    assert changed(plan.source.text, [without(plan.source.text, expectation.span)]) == (
        plan.source.text.replace("expect broken crossing-proceeds for 2R, 4R\n", "")
    )
    assert changed(text, [Change(0, 5, 0, "edge"), Change(3, 7, 0, "")]) is None
    assert changed(text, [Change(0, 5, 0, "block")]) is None


# ------------------------------------------------------------------ the command


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "crossing.ixl"
    text = spec("diamond-broken").read_text("utf-8").replace("\n", "\r\n")
    path.write_bytes(text.encode())
    return path


def test_repairs_are_shown(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = file.read_bytes()
    assert main(["mend", str(file)]) == 1
    said = capsys.readouterr().out
    assert "1 check broken; 1 mistake found that can be mended." in said
    assert "Repair 1 (nothing stays broken)" in said and "Repair 2 " in said
    assert "+  Clear  when Diamond, East clear and 2 normal" in said
    assert file.read_bytes() == before
    assert main(["mend", str(file), "--json"]) == 1
    told = json.loads(capsys.readouterr().out)
    assert told["broken"] == [m["root"] for m in told["mistakes"]] == ["crossing-proceeds: 2R, 4R"]
    assert [r["number"] for r in told["repairs"]] == told["mistakes"][0]["repairs"]
    assert all(r["mends_all"] for r in told["repairs"]) and not told["left"]


def test_a_repair_is_made(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = file.read_bytes()
    assert main(["mend", str(file), "--apply", "9"]) == 2
    assert "has no repair 9: there are" in capsys.readouterr().err
    assert file.read_bytes() == before
    assert main(["mend", str(file), "--apply", "1"]) == 0
    assert "Nothing stays broken (proved)." in capsys.readouterr().out
    after = file.read_bytes()
    assert after.count(b"\r\n") == after.count(b"\n") > 20
    assert b"expect broken" not in after
    assert main(["mend", str(file), "--apply", "1"]) == 0
    assert "Nothing to mend" in capsys.readouterr().out
    assert file.read_bytes() == after


def test_what_changed_meanwhile_is_not_overwritten(
    file: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    find = searching.mend

    def slowly(*given: object, **options: object) -> Mended:
        found = find(*given, **options)  # type: ignore[arg-type]
        file.write_text('layout "Mine"\n', "utf-8")
        return found

    monkeypatch.setattr(searching, "mend", slowly)
    assert main(["mend", str(file), "--apply", "1"]) == 2
    assert "was changed meanwhile; nothing was written" in capsys.readouterr().err
    assert file.read_text("utf-8") == 'layout "Mine"\n'


def test_wrong_numbers(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["mend", str(file), "--apply", "0"])
    assert "`0` is not the number of a repair, from 1" in capsys.readouterr().err
    assert main(["mend", str(file.with_name("none.ixl"))]) == 2
