"""The page in a real browser: written in, played with, proved, saved; looked at by structure."""

import json
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from selenium import webdriver
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webelement import WebElement

from tests.drawing.samples import END_OF_SIDING
from tests.junction_files import spec
from tests.workbench.browser import browser, one, soon
from tests.workbench.serving import Server, server

pytestmark = pytest.mark.browser

UNLOCKED = "locked-end-of-siding-no-route-locking.ixl"


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("otter-valley")
    for name in ("both-green-broken", "diamond-broken", Path(UNLOCKED).stem, "wired-end-of-siding"):
        shutil.copy(spec(name), folder)
    return folder


@pytest.fixture(scope="module")
def bench(home: Path) -> Iterator[Server]:
    with server(home) as started:
        yield started


@pytest.fixture(scope="module")
def driver() -> Iterator[webdriver.Chrome]:
    with browser() as started:
        yield started


class Page:
    """What a person at the page does and sees."""

    def __init__(self, driver: webdriver.Chrome, address: str):
        self.driver = driver
        driver.get("about:blank")
        # What the page before still asked, its key taken away by then, is no matter of this one.
        driver.get_log("browser")
        driver.get(address)
        soon(lambda: driver.execute_script("return document.documentElement.dataset.ready"), driver)

    def see(self, css: str) -> WebElement:
        return soon(lambda: one(self.driver, css), self.driver)

    def words(self, css: str) -> str:
        return one(self.driver, css).text

    def wait_for(self, css: str, words: str) -> None:
        soon(lambda: words in one(self.driver, css).text, self.driver)

    def click(self, css: str) -> None:
        def clicked() -> bool:
            self.driver.execute_script("arguments[0].click()", one(self.driver, css))
            return True

        soon(clicked, self.driver)

    def type(self, text: str) -> None:
        """The whole text anew, as if pasted."""
        self.driver.execute_script(
            "const t = document.getElementById('text'); t.focus(); t.select();"
            "document.execCommand('insertText', false, arguments[0])",
            text,
        )

    @property
    def text(self) -> str:
        return str(self.driver.execute_script("return document.getElementById('text').value"))

    def open(self, name: str) -> None:
        self.click("#do-open")
        self.click(f'dialog[open] .choice[data-name="{name}"]')
        self.wait_for("#file-name", name)

    def thing(self, kind: str, name: str) -> WebElement:
        return self.see(f'#drawing g[data-kind="{kind}"][data-name="{name}"]')

    def poke(self, kind: str, name: str) -> None:
        """Click a thing of the drawing, which may just be drawn anew."""
        click = "arguments[0].dispatchEvent(new MouseEvent('click', {bubbles: true}))"
        again_if_redrawn(self, lambda: self.driver.execute_script(click, self.thing(kind, name)))

    def state(self, kind: str, name: str) -> str | None:
        return self.thing(kind, name).get_attribute("data-state")

    def wait_for_state(self, kind: str, name: str, state: str) -> None:
        soon(lambda: self.state(kind, name) == state, self.driver)

    def press(self, *keys: str) -> None:
        ActionChains(self.driver).send_keys(*keys).perform()


def again_if_redrawn(page: Page, act: Callable[[], object]) -> None:
    """Do something with a part of the page that may just be drawn anew."""
    soon(lambda: act() or True, page.driver)


@pytest.fixture
def page(driver: webdriver.Chrome, bench: Server) -> Iterator[Page]:
    here = Page(driver, bench.address)
    yield here
    severe = [
        entry["message"]
        for entry in driver.get_log("browser")
        if entry["level"] == "SEVERE"
        # The browser asks no questions of a test that leaves; a save that was refused is 409.
        and not any(known in entry["message"] for known in ("beforeunload", "409"))
    ]
    # The next test begins with an empty page.
    driver.execute_script(
        "localStorage.clear(); sessionStorage.clear();"
        "addEventListener('beforeunload', e => e.stopImmediatePropagation(), true)"
    )
    assert not severe


def test_an_error_is_underlined_listed_and_mended(page: Page) -> None:
    page.type(END_OF_SIDING.replace("turnout T1", "turnuot T1"))
    page.wait_for("#error-count", "1 error")
    page.wait_for("#error-list", "turnuot")
    assert "turnout" in page.words("#error-list"), "and what was meant"
    soon(lambda: page.see("#tinted .t-wrong").text == "turnuot", page.driver)
    page.press(Keys.F8)
    chosen = page.driver.execute_script(
        "const t = document.getElementById('text');"
        "return t.value.slice(t.selectionStart, t.selectionEnd)"
    )
    assert chosen == "turnuot"
    page.press("turnout")
    page.wait_for("#error-count", "No errors")
    page.wait_for("#verdict-list", "BROKEN")
    assert page.thing("signal", "4L")


def test_points_are_thrown_and_stock_is_dragged(page: Page) -> None:
    page.type(END_OF_SIDING)
    page.wait_for_state("points", "T1", "normal")
    page.poke("points", "T1")
    page.wait_for_state("points", "T1", "reverse")
    page.wait_for_state("signal", "4L", "Diverging-Clear")

    def drop() -> None:
        rail = page.thing("block", "Siding").find_element("css selector", "path.hit")
        ActionChains(page.driver).drag_and_drop(page.see("#stock"), rail).perform()

    again_if_redrawn(page, drop)
    assert page.thing("stock", "Siding")
    page.wait_for_state("signal", "4L", "Stop")


def test_why_a_signal_shows_what_it_shows(page: Page) -> None:
    page.type(END_OF_SIDING)
    page.wait_for_state("signal", "4RA", "Clear")

    def said() -> str:
        ActionChains(page.driver).move_to_element(page.thing("signal", "4RA")).perform()
        return one(page.driver, "#why-tip:not([hidden])").text

    tip = soon(said, page.driver)
    assert "4RA shows Clear" in tip and "Single reports clear" in tip
    page.press(Keys.ESCAPE)
    soon(lambda: not one(page.driver, "#why-tip").is_displayed(), page.driver)


def test_a_finding_is_shown_changed_and_mended(page: Page) -> None:
    page.open("both-green-broken.ixl")
    page.wait_for("#progress", "Checked in")
    assert page.words("#progress").count("broken") == 1
    page.click('#verdict-list button.verdict[data-key="proceed-over-open-points: 4RA, T1"]')
    page.wait_for("#showing", "proceed-over-open-points")
    page.wait_for_state("signal", "4RA", "Clear")
    page.poke("block", "Single")
    page.wait_for("#still", "no longer unsafe")
    page.click("#do-restore")
    page.click("#showing button.mend")
    soon(lambda: page.driver.execute_script(
        "return document.getElementById('text').value !== arguments[0]",
        spec("both-green-broken").read_text("utf-8")), page.driver)  # fmt: skip
    soon(
        lambda: (
            not page.driver.find_elements(
                "css selector", '#verdict-list button.verdict[data-key*="open-points: 4RA"]'
            )
        ),
        page.driver,
    )


def test_why_each_promise_is_needed(page: Page) -> None:
    said, _, _ = spec("hand-thrown-switch-broken").read_text("utf-8").partition("\nexpect ")
    page.type(said)
    page.click("#do-promises")
    page.wait_for("#promises", "crew promises not to throw T1")
    page.click("#promises summary")
    page.wait_for("#promises", "Where it is broken (replayed)")
    page.wait_for("#promises", "In place of all promises about T1 (proved)")


def test_a_repair_is_made_by_one_click_and_undone(page: Page) -> None:
    before = spec("diamond-broken").read_text("utf-8")
    page.open("diamond-broken.ixl")
    page.click('#verdict-list button.verdict[data-key*="crossing-proceeds"]')
    page.click("#do-repairs")
    page.wait_for("#mending", "Give the dispatcher a lever 2")
    page.click("#mending .repair button")
    written = "return document.getElementById('text').value"
    soon(lambda: "lever 2 positions" in page.driver.execute_script(written), page.driver)
    one(page.driver, "#text").send_keys(Keys.CONTROL, "z")
    soon(lambda: page.driver.execute_script(written) == before, page.driver)


def test_a_history_is_stepped_through(page: Page) -> None:
    page.open(UNLOCKED)
    # This proof alone takes 6 s of one processor, several times that on a busy machine.
    soon(
        lambda: page.words("#stamp") == "not proved: 5 broken as expected",
        page.driver,
        patience=120,
    )
    page.click('#verdict-list button.verdict[data-key^="derailment"]')
    page.wait_for("#moment-words", "moment")
    last = page.words("#moment-words")
    again_if_redrawn(page, lambda: page.see("#showing").click())
    again_if_redrawn(page, lambda: one(page.driver, "#to-before").click())
    soon(lambda: page.words("#moment-words") != last, page.driver)
    again_if_redrawn(page, lambda: one(page.driver, "#to-next").send_keys(Keys.HOME))
    page.wait_for("#moment-words", "moment 1 of")
    again_if_redrawn(page, lambda: one(page.driver, "#to-next").send_keys(Keys.ARROW_RIGHT))
    page.wait_for("#moment-words", "moment 2 of")
    assert page.driver.find_elements("css selector", "#events li"), "and events are told"
    page.press(Keys.ESCAPE)
    soon(lambda: not one(page.driver, "#showing").is_displayed(), page.driver)


def test_a_wire_is_broken_and_a_lever_set(page: Page) -> None:
    page.open("wired-end-of-siding.ixl")
    page.wait_for("#panel-things", "4")
    page.click('#panel-things [data-key="lever 4 left"]')
    page.wait_for_state("signal", "4L", "Clear")
    assert "wire" in page.words("#break summary").lower()
    page.click("#break summary")

    def break_supply() -> None:
        every = page.driver.find_elements("css selector", "#break-things fieldset")
        supply = next(one for one in every if "Bus-1" in one.text)
        supply.find_elements("css selector", "button")[-1].click()

    again_if_redrawn(page, break_supply)
    soon(lambda: page.state("signal", "4L") != "Clear", page.driver)
    page.wait_for("#break summary", "broken now")


def test_the_wiring_diagram_opens(page: Page) -> None:
    page.open("wired-end-of-siding.ixl")
    soon(lambda: one(page.driver, "#do-wiring").is_displayed(), page.driver)
    page.click("#do-wiring")
    page.wait_for("dialog", "clearproof draw FILE --wiring")
    assert len(page.driver.find_elements("css selector", "dialog .diagram svg")) == 2
    page.click("dialog button[value='']")


def test_a_text_without_wiring_has_no_diagram_and_says_so(page: Page) -> None:
    page.type(END_OF_SIDING)
    page.wait_for_state("points", "T1", "normal")
    # As while a text that had wiring is being changed.
    page.driver.execute_script("document.getElementById('do-wiring').hidden = false")
    page.click("#do-wiring")
    page.wait_for("dialog", "The text says nothing of its wiring.")
    page.click("dialog button[value='ok']")


def test_saving_opening_again_and_a_file_changed_on_disk(page: Page, home: Path) -> None:
    path = home / "loon-cove.ixl"
    path.unlink(missing_ok=True)
    page.type(END_OF_SIDING)
    ActionChains(page.driver).key_down(Keys.CONTROL).send_keys("s").key_up(Keys.CONTROL).perform()
    name = page.see("#save-name")
    name.clear()
    name.send_keys("loon-cove", Keys.ENTER)
    page.wait_for("#file-name", "loon-cove.ixl")
    soon(path.is_file, page.driver)
    assert path.read_text("utf-8") == END_OF_SIDING
    page.type(END_OF_SIDING + "# mine\n")
    path.write_text("block Other\n", encoding="utf-8")
    page.click("#do-save")
    page.wait_for("#dialog", "changed since it was read")
    assert path.read_text("utf-8") == "block Other\n", "nothing is overwritten unasked"
    page.click('#dialog button[value="over"]')
    soon(lambda: path.read_text("utf-8").endswith("# mine\n"), page.driver)


def test_what_is_typed_survives_a_reload(page: Page) -> None:
    page.type(END_OF_SIDING + "# not saved\n")
    page.wait_for("#error-count", "No errors")
    page.driver.execute_script(
        "addEventListener('beforeunload', e => e.stopImmediatePropagation(), true)"
    )
    page.driver.refresh()
    if alert := _alert(page.driver):
        alert.accept()
    soon(lambda: page.text.endswith("# not saved\n"), page.driver)


def _alert(driver: webdriver.Chrome):  # type: ignore[no-untyped-def]
    from selenium.common.exceptions import NoAlertPresentException

    try:
        return driver.switch_to.alert
    except NoAlertPresentException:
        return None


def test_a_new_junction_from_a_pattern(page: Page) -> None:
    page.click("#do-new")
    page.click('dialog[open] .choice[data-name="end-of-siding"]')
    page.wait_for("#verdict-list", "Proved")
    assert "turnout" in page.text


def test_with_the_keyboard_alone(page: Page) -> None:
    page.type(END_OF_SIDING)
    page.wait_for_state("points", "T1", "normal")
    page.see("#text").click()
    page.press(Keys.F6)
    focused = (
        "return document.activeElement.dataset.kind + ' ' + document.activeElement.dataset.name"
    )
    soon(lambda: " " in page.driver.execute_script(focused), page.driver)
    met = {page.driver.execute_script(focused)}
    for key in [Keys.ARROW_RIGHT] * 8 + [Keys.ARROW_UP, Keys.ARROW_LEFT, Keys.ARROW_DOWN] * 4:
        if "points T1" in met:
            break
        page.press(key)
        met.add(page.driver.execute_script(focused))
    assert "points T1" in met
    page.press(Keys.ENTER)
    page.wait_for_state("points", "T1", "reverse")
    assert page.driver.execute_script(focused) == "points T1", "and the focus stays"
    outline = page.driver.execute_script(
        "const r = document.activeElement.querySelector('.ring');"
        "return getComputedStyle(r).stroke + getComputedStyle(r).visibility"
    )
    assert "none" not in outline


@pytest.mark.parametrize("paper", ["light", "dark"])
def test_both_papers_can_be_read(page: Page, paper: str) -> None:
    page.type(END_OF_SIDING)
    page.wait_for_state("points", "T1", "normal")
    page.driver.execute_script(
        "const k = document.getElementById('theme'); k.value = arguments[0];"
        "k.dispatchEvent(new Event('change'))",
        paper,
    )
    ink, ground = page.driver.execute_script(
        "const r = document.querySelector('#drawing path.r'), p = document.getElementById('sheet');"
        "return [getComputedStyle(r).stroke, getComputedStyle(p).backgroundColor]"
    )
    assert _contrast(ink, ground) >= 4.5, "WCAG 2.2, 1.4.3 (from memory)"


def _contrast(one: str, other: str) -> float:
    bright, dim = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (bright + 0.05) / (dim + 0.05)


def _luminance(color: str) -> float:
    parts = [float(p) / 255 for p in color[color.index("(") + 1 : -1].split(",")[:3]]
    red, green, blue = (p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize("width", [700, 420])
def test_twice_as_large_nothing_is_lost(page: Page, width: int) -> None:
    """At 200 % a window has half its width in CSS pixels."""
    page.driver.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": 500, "deviceScaleFactor": 2, "mobile": False},
    )
    try:
        page.click("#see-text")
        page.type(END_OF_SIDING)
        page.wait_for_state("points", "T1", "normal")
        page.click("#see-plan")
        wider = page.driver.execute_script(
            "return document.documentElement.scrollWidth - innerWidth"
        )
        assert wider <= 1, "the page itself never scrolls sideways"
        for button in page.driver.find_elements("css selector", "header button"):
            box = button.rect
            assert box["width"] > 0 and box["x"] >= 0 and box["x"] + box["width"] <= width + 1
    finally:
        page.driver.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def test_names_are_text_and_nothing_leaves_the_machine(page: Page, bench: Server) -> None:
    page.type(
        'layout "<img src=x onerror=alert(1)>"\nedge W, E\nblock A "<script>alert(2)</script>"\n'
        "block B\ntrack W = A | B = E\nsignal 2 at A | B\n  Clear when B clear\n  Stop otherwise\n"
    )
    page.wait_for("#sheet-title", "<img src=x onerror=alert(1)>")
    assert not page.driver.find_elements("css selector", "main img, main script, #drawing style")
    asked = {
        json.loads(entry["message"])["message"]["params"]["request"]["url"]
        for entry in page.driver.get_log("performance")
        if '"Network.requestWillBeSent"' in entry["message"]
    }
    own = f"http://127.0.0.1:{bench.port}/"
    assert all(url.startswith((own, "data:", "chrome:", "about:")) for url in asked)


def test_two_tabs_have_texts_of_their_own(page: Page, bench: Server) -> None:
    page.type(END_OF_SIDING)
    page.wait_for_state("points", "T1", "normal")
    first = page.driver.current_window_handle
    page.driver.switch_to.new_window("tab")
    second = Page(page.driver, bench.address)
    second.type("edge W, E\nblock A, B\ntrack W = A | B = E\n")
    second.wait_for("#error-count", "No errors")
    assert second.thing("block", "B")
    page.driver.close()
    page.driver.switch_to.window(first)
    assert page.text == END_OF_SIDING


def test_a_lost_server_is_told_and_the_text_goes_on(home: Path, driver: webdriver.Chrome) -> None:
    started = Server(home)
    page = Page(driver, started.address)
    page.type(END_OF_SIDING)
    page.wait_for_state("points", "T1", "normal")
    started.process.kill()
    started.end()
    page.wait_for("#banners", "lost its server")
    with server(home, "--port", str(started.port)) as again:
        page.wait_for("#banners", "its key is new")
        assert page.text == END_OF_SIDING
        driver.switch_to.new_window("tab")
        driver.get(again.address)
        soon(lambda: one(driver, "#text"), driver)
        driver.switch_to.window(driver.window_handles[0])
        soon(lambda: not driver.find_elements("css selector", "#banners .banner"), driver)
        assert page.text == END_OF_SIDING
        driver.get_log("browser")
