"""A card that was filled in is read back: what is wrong on the layout is found by it."""

import csv
import io
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.diagnosis.test_diagnose import can_be_put_in, put_wrong
from tests.junction_files import spec
from tests.testcard.cards import WIRED, bench, card
from verifier.cli import main
from verifier.diagnosis.diagnose import diagnosis, explanations
from verifier.diagnosis.equivalence import indistinguishable
from verifier.diagnosis.observations import Observation
from verifier.diagnosis.suspects import Suspect
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.source import Source
from verifier.plan import observables
from verifier.plan.situation import Situation
from verifier.reference.evaluator import evaluate
from verifier.reports.sheets import sheet_csv
from verifier.sheets.test_card import sheet_of
from verifier.testcard.card_model import CardStep
from verifier.testcard.observation_points import ObservationPoint, observation_points
from verifier.testcard.results import observed

Written = Callable[[CardStep, ObservationPoint], str]


def ok(step: CardStep, look: ObservationPoint) -> str:
    return "ok"


def filled_in(name: str, written: Written = ok) -> str:
    """The card as it is printed, with something written into the last column of its rows."""
    made = card(name)
    by_row = {
        (str(step.number), look.at): written(step, look)
        for step in made.steps for look in observation_points(step)
    }  # fmt: skip
    rows = list(csv.reader(io.StringIO(sheet_csv(sheet_of(made)))))
    for row in rows[2:]:
        if not row:
            break
        row[5] = by_row.pop((row[0], row[2]))
    assert not by_row
    text = io.StringIO()
    csv.writer(text).writerows(rows)
    return text.getvalue()


def read(name: str, text: str) -> list[str]:
    return [o.text for o in looked(name, text)]


def looked(name: str, text: str) -> list[Observation]:
    return [*observed(bench(name), card(name), Source("card.csv", text)).values()]


def with_wrong(name: str, suspect: Suspect) -> Written:
    """What somebody writes who looks at a layout with something wrong."""
    plan, broken = put_wrong(card(name).plan, (suspect,))

    def written(step: CardStep, look: ObservationPoint) -> str:
        seen = evaluate(plan, Situation.of((*step.situation, *broken)))
        said = []
        for at, must in look.expected:
            if look.turnouts:
                state = seen.state(observables.points(at))
                said.append(f"{at} {'ok' if (state,) in must else state}")
            else:
                lit = tuple(seen.state(head.lens) for head in plan.signals[at].heads)
                said.append(f"{at} {'ok' if lit in must else ' over '.join(lit)}")
        return ", ".join(said)

    return written


@pytest.mark.parametrize("name", ["broken-wire-mended", "two-supplies-mended", WIRED])
def test_whatever_is_put_wrong_is_found_again(name: str) -> None:
    here = bench(name)
    suspects = [s for s in here.suspects if can_be_put_in(s)]
    shows = {found.fault.suspect for found in card(name).found}
    for suspect in suspects[:: 4 if name == WIRED else 1]:
        seen = looked(name, filled_in(name, with_wrong(name, suspect)))
        found, cut_short = explanations(here, seen)
        assert not cut_short
        if suspect not in shows:
            # A feeder past its detector may show, as current divides; it is then among those named.
            left_open = suspect.divides_current and (suspect,) in found
            assert found == ((),) or left_open, suspect.text
            continue
        assert found != ((),), suspect.text
        assert (suspect,) in found or any(
            indistinguishable(here, group, (suspect,)) for group in found
        ), suspect.text


def test_a_card_without_a_fault_says_that_nothing_is_wrong() -> None:
    here = bench(WIRED)
    found = diagnosis(here, looked(WIRED, filled_in(WIRED)))
    assert found.verdict == "nothing wrong"
    unseen = {u.what.text for u in card(WIRED).unseen}
    # Of points without power nobody knows that they do not happen to lie as told each time.
    left = {group[0] for alike in found.groups for group in alike.members}
    assert {suspect.text for suspect in left if not here.unpowered_by(suspect)} <= unseen


def test_what_was_not_looked_at_is_left_out() -> None:
    text = filled_in(WIRED, lambda step, look: "ok" if step.number in (2, 5) else "")
    assert read(WIRED, text) == ["step 2: as it must be", "step 5: as it must be"]


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("ok", "as it must be"),
        ("OK", "as it must be"),
        ("red", "4RA red"),
        ("no", "4RA no"),
        ("4RA red", "4RA red"),
        ("4ra: Stop", "4RA Stop"),
    ],
)
def test_what_may_be_written_beside_one_signal(written: str, said: str) -> None:
    at = next(
        (step.number, look.at) for step in card(WIRED).steps for look in observation_points(step)
        if look.names == ("4RA",)
    )  # fmt: skip
    text = filled_in(WIRED, lambda s, look: written if (s.number, look.at) == at else "")
    assert read(WIRED, text) == [f"step {at[0]}: {said}"]


def test_semicolons_of_a_spreadsheet_are_read_too() -> None:
    """Some fill each line up to the same number of cells, empty lines as well."""
    rows = list(csv.reader(io.StringIO(filled_in(WIRED))))
    for width in (0, 6):
        text = io.StringIO()
        csv.writer(text, delimiter=";").writerows(r + [""] * (width - len(r)) for r in rows)
        assert len(read(WIRED, text.getvalue())) == len(card(WIRED).steps)


def test_a_column_of_ones_own_is_let_stand() -> None:
    rows = list(csv.reader(io.StringIO(filled_in(WIRED))))
    rows[1].append("who looked")
    rows[2].append("me, on Tuesday")
    text = io.StringIO()
    csv.writer(text).writerows(rows)
    assert len(read(WIRED, text.getvalue())) == len(card(WIRED).steps)


# ------------------------------------------------------------------ what cannot be read


def wrong(text: str) -> list[tuple[str, str]]:
    """The codes of all that is wrong, each with the text it points at."""
    with pytest.raises(InputError) as caught:
        read(WIRED, text)
    return [(d.code, d.span.text) for d in caught.value.diagnostics]


def test_several_mistakes_are_told_at_once_each_at_its_place() -> None:
    mistakes = ["=1+1", "4L green", "4L sideways", "purple"]  # where all three signals are seen

    def written(step: CardStep, look: ObservationPoint) -> str:
        return mistakes.pop(0) if mistakes and len(look.expected) == 3 else ""

    found = wrong(filled_in(WIRED, written).replace("\r\n12,", "\r\n91,", 1))
    assert not mistakes
    assert sorted(code for code, _ in found) == ["CP621", "CP623", "CP624", "CP627", "CP807"]
    assert ("CP807", "=1+1") in found and ("CP627", "91") in found


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ("Test card ", "Card ", "CP625"),
        ("step,do,look at", "step,do,look", "CP625"),
        ("\r\n1,", "\r\n0,", "CP627"),
        (",T1,", ",T9,", "CP627"),
        (",T1,lies normal,-,ok", "", "CP627"),
        ("lies normal,-,ok", "lies normal,-,sideways", "CP621"),
        ("lies normal,-,ok", "lies normal,-,ok,more", "CP625"),
    ],
)
def test_what_was_changed_in_the_file_is_named(old: str, new: str, code: str) -> None:
    text = filled_in(WIRED)
    assert old in text
    assert {found for found, _ in wrong(text.replace(old, new, 1))} == {code}


def test_an_empty_card_and_an_empty_file() -> None:
    assert [code for code, _ in wrong(filled_in(WIRED, lambda s, look: ""))] == ["CP623"]
    assert [code for code, _ in wrong("")] == ["CP625"]
    assert [code for code, _ in wrong("\n\n")] == ["CP625"]


def test_one_look_twice() -> None:
    lines = filled_in(WIRED).split("\r\n")
    assert [code for code, _ in wrong("\r\n".join([*lines[:4], lines[2], *lines[4:]]))] == ["CP627"]


def test_results_of_another_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "card.csv"
    path.write_text(filled_in("two-supplies-mended"), "utf-8")
    assert main(["diagnose", str(spec(WIRED)), "--results", str(path)]) == 2
    assert f"{path}:1:1: CP626" in capsys.readouterr().err


def test_from_the_sheet_to_what_is_wrong(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The commands, end to end: print the card, fill it in, name the mistake."""
    junction = spec("two-supplies-mended")
    assert main(["sheet", str(junction), "test-card", "--csv"]) == 0
    printed = capsys.readouterr().out
    suspect = next(f.fault.suspect for f in card("two-supplies-mended").found)
    text = filled_in("two-supplies-mended", with_wrong("two-supplies-mended", suspect))
    assert printed.splitlines()[0] == text.splitlines()[0]
    (tmp_path / "card.csv").write_text(text, "utf-8")
    assert main(["diagnose", str(junction), "--results", str(tmp_path / "card.csv")]) == 1
    assert suspect.text in capsys.readouterr().out


def test_nothing_seen_at_all(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["diagnose", str(spec(WIRED))]) == 2
    assert "--results" in capsys.readouterr().err
    assert main(["diagnose", str(spec(WIRED)), "--results", "none.csv"]) == 2
    assert "none.csv: CP100: this file does not exist" in capsys.readouterr().err


def test_a_card_goes_by_what_it_asks_for_and_not_by_where_its_file_lies(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = spec("two-supplies-mended").read_text("utf-8")
    text = "".join(line for line in text.splitlines(True) if not line.startswith("layout "))
    numbers = []
    for name in ("one.ixl", "other.ixl"):
        (tmp_path / name).write_text(text, "utf-8")
        assert main(["sheet", str(tmp_path / name), "test-card", "--csv"]) == 0
        numbers.append(capsys.readouterr().out.splitlines()[0])
    assert numbers[0] == numbers[1]
    (tmp_path / "other.ixl").write_text(text.replace("D-", "E-"), "utf-8")
    assert main(["sheet", str(tmp_path / "other.ixl"), "test-card", "--csv"]) == 0
    assert capsys.readouterr().out.splitlines()[0] != numbers[0]


def test_a_file_without_signals_has_nothing_to_look_at(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "bare.ixl").write_text(
        "edge West, East\nblock Main\ntrack West = Main = East\n", "utf-8"
    )
    assert main(["sheet", str(tmp_path / "bare.ixl"), "test-card"]) == 0
    assert "no signal in this file" in capsys.readouterr().out
