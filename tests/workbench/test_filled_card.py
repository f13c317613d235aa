"""The test card on the page: filled in, saved beside the junction, diagnosed where it stands."""

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from selenium import webdriver

from tests.junction_files import spec
from tests.workbench.browser import browser, one, soon
from tests.workbench.serving import Server, server
from tests.workbench.test_page import Page
from verifier.cli import main
from verifier.language.diagnostics.diagnostic import InputError
from verifier.verdicts.progress import silent
from verifier.workbench.cards import card_json

NAME = "electric-lock"
TRACK = """edge West, East
block Near, Ahead
track West = Near | Ahead = East
"""
SIGNAL = """signal 2R at Near | Ahead
  Clear when Ahead clear
  Stop otherwise
"""
OTHER = """signal 2L at Ahead | Near
  Clear when Near clear
  Stop otherwise
"""
SHORT = "timer Lock-Time runs for less than its 30 s"


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("card")
    shutil.copy(spec(NAME), folder)
    return folder


@pytest.fixture(scope="module")
def bench(home: Path) -> Iterator[Server]:
    with server(home) as started:
        yield started


def asked(bench: Server, **more: object) -> dict[str, Any]:
    """The last line of what is answered about the card."""
    body = {"name": f"{NAME}.ixl", "text": spec(NAME).read_text("utf-8"), "tab": "t", "card": True}
    return [*bench.lines("/api/prove", body | more)][-1]


def filled(rows: list[list[str]], last: str = "ok") -> list[list[str]]:
    """All as it must be, and what was seen where one looks last."""
    return [[*row[:5], "ok"] for row in rows[:-1]] + [[*rows[-1][:5], last]]


def save(bench: Server, rows: list[list[str]], title: str, stamp: str) -> tuple[int, Any]:
    body = {"name": f"{NAME}.ixl", "title": title, "rows": rows, "stamp": stamp}
    return bench.ask("/api/card-save", body)


def test_a_card_is_made_anew_where_an_included_file_has_changed(tmp_path: Path) -> None:
    (tmp_path / "track.ixl").write_text(TRACK, "utf-8")
    text, path = 'include "track.ixl"\n' + SIGNAL, tmp_path / "junction.ixl"

    def rows() -> list[list[str]]:
        found: list[list[str]] = card_json(text, path.name, path, {}, silent)["card"]["rows"]
        return found

    made = rows()
    assert rows() == made
    (tmp_path / "track.ixl").write_text(TRACK.replace("Ahead", "Beyond"), "utf-8")
    with pytest.raises(InputError):
        rows()
    (tmp_path / "track.ixl").write_text(f"{TRACK}button Night\n", "utf-8")
    assert rows() == made
    (tmp_path / "track.ixl").write_text(f"{TRACK}{OTHER}", "utf-8")
    assert any("2L" in row[2] for row in rows())


def test_it_is_saved_beside_the_junction_and_read_by_the_command(
    bench: Server, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file, card = home / f"{NAME}.ixl", home / f"{NAME}.card.csv"
    before = file.read_bytes()
    made = asked(bench)["card"]
    status, none = bench.ask("/api/card-file", {"name": file.name})
    assert (status, none["text"], none["stamp"]) == (200, "", "")
    status, saved = save(bench, filled(made["rows"], "reverse"), made["title"], "")
    assert (status, saved["name"]) == (200, card.name)
    assert main(["diagnose", str(file), "--results", str(card)]) == 1
    assert SHORT in capsys.readouterr().out
    # Somebody else has written it since: nothing is lost.
    there = card.read_bytes()
    status, changed = save(bench, filled(made["rows"]), made["title"], "")
    assert status == 409 and card.read_bytes() == there
    assert save(bench, filled(made["rows"]), made["title"], changed["stamp"])[0] == 200
    assert main(["diagnose", str(file), "--results", str(card)]) == 0
    again = asked(bench, filled=card.read_text("utf-8"))["card"]
    assert again["rows"] == filled(made["rows"]) and not again["other"]
    assert asked(bench, filled="Test card 0000-0000\n")["card"]["other"]
    assert file.read_bytes() == before
    assert {path.name for path in home.iterdir()} == {file.name, card.name}
    card.unlink()


def test_what_cannot_be_read_is_told_beside_its_row(bench: Server) -> None:
    made = asked(bench)["card"]
    answer = asked(bench, title=made["title"], rows=filled(made["rows"], "sideways"))
    assert answer["diagnosis"] is None
    assert [wrong["row"] for wrong in answer["wrong"]] == [len(made["rows"]) - 1]


@pytest.mark.parametrize("name", ["../x.ixl", "x.card.csv", ".x.ixl", "/x.ixl"])
def test_no_other_file_is_written(bench: Server, name: str) -> None:
    body = {"name": name, "title": "Test card", "rows": [[""] * 6], "stamp": ""}
    assert bench.ask("/api/card-save", body)[0] == 400


def test_no_link_leads_out_of_the_folder(bench: Server, home: Path, tmp_path: Path) -> None:
    """Nor onto the junction file."""
    link = home / f"{NAME}.card.csv"
    link.unlink(missing_ok=True)
    for goal in (tmp_path / "other.card.csv", home / f"{NAME}.ixl"):
        link.symlink_to(goal)
        status, said = save(bench, [["1", "", "2R", "red", "Stop", "ok"]], "Test card", "")
        link.unlink()
        assert status == 400 and "leads out of" in said["refused"]
    assert not (tmp_path / "other.card.csv").exists()


@pytest.fixture(scope="module")
def driver() -> Iterator[webdriver.Chrome]:
    with browser() as started:
        yield started


@pytest.mark.browser
def test_on_the_page(driver: webdriver.Chrome, bench: Server, home: Path) -> None:
    page = Page(driver, bench.address)
    page.open(f"{NAME}.ixl")
    page.click("#do-card")
    page.see("#card tr[data-row]")
    rows = driver.find_elements("css selector", "#card tr[data-row]")
    for row in rows[:-1]:
        tick = row.find_element("css selector", ".tick input")
        driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", tick)
        tick.click()
    field = rows[-1].find_element("css selector", ".seen input")
    field.send_keys("sideways\t")
    page.click("#card-diagnose")
    page.wait_for("#card tr.wrong", "sideways")
    field.clear()
    field.send_keys("reverse\t")
    page.click("#card-diagnose")
    page.wait_for("#card-found", SHORT)
    page.click("#card-save")
    page.wait_for("#card-said", "Saved")
    assert "reverse" in (home / f"{NAME}.card.csv").read_text("utf-8")
    # Another time: what was saved is there.
    page = Page(driver, bench.address)
    page.open(f"{NAME}.ixl")
    page.click("#do-card")
    seen = f'#card tr[data-row="{len(rows) - 1}"] .seen input'
    soon(lambda: one(driver, seen).get_attribute("value") == "reverse", driver)
    ticks = driver.find_elements("css selector", "#card .tick input")
    assert [tick.is_selected() for tick in ticks] == [True] * (len(rows) - 1) + [False]
