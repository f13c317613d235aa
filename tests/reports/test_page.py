"""The HTML report: whole, safe, complete, the same each time; then in a browser."""

import base64
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import pytest

import verifier
from tests.drawing.samples import END_OF_SIDING
from tests.junction_files import spec
from tests.proofs import proved
from tests.workbench.browser import browser
from verifier.cli import main
from verifier.reports.page.document import FileReport, document
from verifier.reports.page.made import sheets_of
from verifier.reports.words import told_findings
from verifier.sheets.catalog import SHEETS
from verifier.verdicts.report import Report

# Where the file is proved, one process has its report.
of_the_short_timer = pytest.mark.xdist_group("locked-end-of-siding-timer-too-short")

EMPTY = {"meta", "br", "hr", "input", "col"}
HOSTILE = (
    'layout "<script>alert(1)</script></title>"\nedge W, E\n'
    "block A \"<img src=x onerror='alert(2)'>\"\nblock B\ntrack W = A | B = E\n"
    'assume "</script><b>bold" always B vacant\n'
    "signal 2 at A | B\n  Clear when B clear\n  Stop otherwise\n"
    'waive never-shown for 2, Stop because "<i>sloping</i>"\n'
)


class Read(HTMLParser):
    """A page read back: its elements, its text, and whether it is well formed."""

    def __init__(self, text: str):
        super().__init__()
        self.open: list[str] = []
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.said: list[str] = []
        self.wrong: list[str] = []
        self.feed(text)
        self.close()
        self.wrong += [f"{name} is never closed" for name in self.open]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in EMPTY:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open.pop() != tag:
            self.wrong.append(f"{tag} closes what is not open")

    def handle_data(self, data: str) -> None:
        if not self.open or self.open[-1] not in ("script", "style"):
            self.said.append(data)

    @property
    def text(self) -> str:
        return " ".join("".join(self.said).split())


def page_of(report: Report) -> str:
    return document([FileReport(report, sheets_of(report.plan))], options="clearproof prove")


def checked(text: str) -> Read:
    read = Read(text)
    assert not read.wrong
    ids = [attrs["id"] for _, attrs in read.elements if "id" in attrs]
    assert len(set(ids)) == len(ids)
    for name, attrs in read.elements:
        assert not any(key.startswith("on") for key in attrs)
        assert name not in ("link", "img", "iframe", "object", "embed", "base", "form")
        for key in ("src", "href", "xlink:href", "action"):
            if key in attrs:
                target = attrs[key] or ""
                assert target.startswith("#") and target[1:] in ids, "links lead inside only"
    assert not re.search(r"url\(|@import", text)
    return read


@pytest.mark.parametrize(
    "name",
    ["both-green-broken", "wired-end-of-siding", "locked-end-of-siding-timer-too-short",
     "yard-throat", "passing-siding-from-one-module", "head-by-head-broken"],
)  # fmt: skip
def test_everything_is_told(name: str) -> None:
    report = proved(spec(name))
    read = checked(page_of(report))
    for verdict in report.verdicts:
        obligation = verdict.obligation
        assert f"{', '.join(obligation.subjects)}:" in read.text, obligation.key
        if verdict.status == "broken":
            assert obligation.trouble in read.text or (
                obligation.trouble[0].upper() + obligation.trouble[1:] in read.text
            )
    for text in report.assumed:
        assert " ".join(text.replace("`", "").split()) in read.text
    for line in report.plan.source.text.splitlines():
        assert " ".join(line.split()) in read.text
    for sheet in sheets_of(report.plan).values():
        assert sheet.title in read.text
        for row in (row for table in sheet.tables for row in table.rows):
            for cell in row:
                assert " ".join(cell.replace("`", "").split()) in read.text
    assert "For model railroads, not for railways that carry people" in read.text


@of_the_short_timer
def test_every_finding_is_drawn_and_histories_frame_by_frame() -> None:
    report = proved(spec("locked-end-of-siding-timer-too-short"))
    read = checked(page_of(report))
    told = [
        v for v in told_findings(report, lessons=True, everything=False)
        if v.finding is not None and v.finding.story is not None
    ]  # fmt: skip
    assert told
    strips = [attrs for _, attrs in read.elements if attrs.get("class") == "strip"]
    frames = [attrs for _, attrs in read.elements if attrs.get("class") == "frame"]
    assert len(strips) == len(told) and len(frames) > len(strips)


def test_conflicting_routes_are_hatched_and_causes_numbered() -> None:
    text = page_of(proved(spec("end-of-siding-broken")))
    assert 'class="hatch rising"' in text and 'class="hatch falling"' in text
    read = checked(text)
    circles = {attrs["data-number"] for _, attrs in read.elements if "data-number" in attrs}
    numbers = re.findall(r'<span class="number">(\d+)</span>', text)
    assert circles and circles == set(numbers)


def test_hostile_names_stay_text() -> None:
    report = verifier.prove(verifier.load_text(HOSTILE, "<b>odd</b>.ixl"))
    read = checked(page_of(report))
    assert [name for name, _ in read.elements].count("script") == 1, "our own"
    for word in ("<script>alert(1)</script></title>", "</script><b>bold", "<i>sloping</i>"):
        assert word in read.text


def test_the_same_report_is_the_same_file(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "0")
    report = proved(spec("both-green-broken"))
    assert page_of(report) == page_of(report)
    assert "1970-01-01" in page_of(report)


def test_several_files_have_one_table_of_contents() -> None:
    reports = [proved(spec(n)) for n in ("both-green-broken", "both-green-mended")]
    read = checked(document([FileReport(r, {}) for r in reports], options="clearproof prove"))
    assert "2 junctions" in read.text
    for report in reports:
        assert report.plan.title in read.text


# ------------------------------------------------------------------ the command


@pytest.fixture
def siding(tmp_path: Path) -> str:
    path = tmp_path / "alder-creek.ixl"
    path.write_text(END_OF_SIDING, encoding="utf-8")
    return str(path)


def test_the_command_writes_it_and_ends_as_ever(siding: str, tmp_path: Path) -> None:
    path = tmp_path / "report.html"
    assert main(["prove", "--quiet", siding]) == main(
        ["prove", "--quiet", siding, "--report", str(path), "--only", "converging-proceeds",
         "--only", "opposing-proceeds"]
    )  # fmt: skip
    read = checked(path.read_text("utf-8"))
    assert "--only converging-proceeds" in read.text
    assert SHEETS["locking"].make(verifier.load(siding)).title in read.text


def test_the_test_card_goes_in_when_asked(siding: str, tmp_path: Path) -> None:
    path = tmp_path / "report.html"
    main(["prove", "--quiet", siding, "--report", str(path), "--with-test-card"])
    card = SHEETS["test-card"].make(verifier.load(siding))
    read = checked(path.read_text("utf-8"))
    assert card.title in read.text
    frames = [attrs for _, attrs in read.elements if attrs.get("class") == "frame"]
    assert len(frames) == len(card.poses) > 5, "each step is drawn"


def test_a_place_that_cannot_be_written_is_told(
    siding: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["prove", "--quiet", siding, "--report", str(tmp_path / "no" / "r.html")]) == 2
    assert "cannot be written" in capsys.readouterr().err


# ------------------------------------------------------------------ in a browser


@pytest.fixture(scope="module")
def on_disk(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("report") / "report.html"
    report = proved(spec("locked-end-of-siding-timer-too-short"))
    path.write_text(page_of(report), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def driver() -> "Iterator[object]":
    with browser() as started:
        yield started


@of_the_short_timer
@pytest.mark.browser
def test_it_opens_from_disk_and_nothing_leaves(on_disk: Path, driver) -> None:  # type: ignore[no-untyped-def]
    driver.get("about:blank")
    driver.get_log("performance")
    driver.get(on_disk.as_uri())
    asked = [
        e["message"] for e in driver.get_log("performance") if "requestWillBeSent" in e["message"]
    ]
    assert asked and all(on_disk.name in message for message in asked)
    assert not [entry for entry in driver.get_log("browser") if entry["level"] == "SEVERE"]
    wider = driver.execute_script("return document.documentElement.scrollWidth - innerWidth")
    assert wider <= 1


@of_the_short_timer
@pytest.mark.browser
def test_a_history_is_played(on_disk: Path, driver) -> None:  # type: ignore[no-untyped-def]
    driver.get(on_disk.as_uri())
    strip = driver.find_element("css selector", ".strip")
    frames = strip.find_elements("css selector", ".frame")
    assert sum(frame.is_displayed() for frame in frames) == 1 and frames[-1].is_displayed()
    player = driver.find_element("css selector", ".player")
    before, after, _, every = player.find_elements("css selector", "button")
    before.click()
    assert frames[-2].is_displayed() and not frames[-1].is_displayed()
    after.click()
    assert frames[-1].is_displayed()
    every.click()
    assert all(frame.is_displayed() for frame in frames)


@of_the_short_timer
@pytest.mark.browser
def test_without_scripts_all_of_it_is_there(on_disk: Path, driver) -> None:  # type: ignore[no-untyped-def]
    driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        driver.get(on_disk.as_uri())
        frames = driver.find_elements("css selector", ".frame:not(.of-note .frame) svg")
        assert frames and all(frame.is_displayed() for frame in frames)
        assert not driver.find_elements("css selector", ".player")
    finally:
        driver.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})


@of_the_short_timer
@pytest.mark.browser
def test_it_prints_all_frames_on_paper(on_disk: Path, driver) -> None:  # type: ignore[no-untyped-def]
    driver.get(on_disk.as_uri())
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    try:
        frames = driver.find_elements("css selector", ".frame:not(.of-note .frame)")
        assert frames and all(frame.is_displayed() for frame in frames)
        assert not driver.find_element("css selector", ".player").is_displayed()
    finally:
        driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    printed = driver.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})
    assert len(printed["data"]) > 10_000


@of_the_short_timer
@pytest.mark.browser
def test_a_wired_end_of_siding_hangs_on_a_wall(driver, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """Plan, verdicts, failures and aspects, on four sheets at most; a sheet is printed once it is
    opened."""
    file = tmp_path / "wall.html"
    file.write_text(page_of(proved(spec("wired-end-of-siding"))), "utf-8")
    driver.get(file.as_uri())

    def printed() -> int:
        pdf = driver.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})["data"]
        return len(re.findall(rb"/Type ?/Page\b", base64.b64decode(pdf)))

    assert printed() <= 4
    driver.get(f"{file.as_uri()}#f1-sheet-wiring")
    assert driver.find_element("css selector", "#f1-sheet-wiring").get_attribute("open")
    assert printed() > 4


@of_the_short_timer
@pytest.mark.browser
def test_a_note_is_its_sentence_on_a_wall(driver, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    """Its history is printed once it is opened."""
    plan = verifier.load(spec("locked-end-of-siding"))
    report = verifier.prove(plan, only=["clears-again"])
    assert [v for v in report.verdicts if v.obligation.advice and v.finding and v.finding.story]
    file = tmp_path / "notes.html"
    file.write_text(page_of(report), "utf-8")
    driver.get(file.as_uri())
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    try:
        driver.execute_script("dispatchEvent(new Event('beforeprint'))")
        events = driver.find_elements("css selector", ".finding .events li")
        assert events and not any(event.is_displayed() for event in events)
        assert driver.find_element("css selector", ".finding .trouble").is_displayed()
        driver.execute_script("document.querySelector('.of-note').open = true")
        assert any(event.is_displayed() for event in events)
    finally:
        driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
