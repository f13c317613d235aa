"""Track drawn on the page in a real browser: with the mouse, with keys, with a finger."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from selenium import webdriver
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.keys import Keys

from tests.workbench.browser import browser, one, soon
from tests.workbench.serving import Server, server
from tests.workbench.test_page import Page

pytestmark = pytest.mark.browser

DRAWN = """\
track West = B1 | T1 normal | B2 = East
track T1 reverse | B3 = East-2
"""
MOST_ACTIONS = 40


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("drawn")


@pytest.fixture(scope="module")
def bench(home: Path) -> Iterator[Server]:
    with server(home) as started:
        yield started


@pytest.fixture(scope="module")
def driver() -> Iterator[webdriver.Chrome]:
    with browser() as started:
        yield started


class Hand(Page):
    """What a person does to the page, counted."""

    def __init__(self, driver: webdriver.Chrome, address: str):
        super().__init__(driver, address)
        self.actions = 0

    def push(self, css: str) -> None:
        """Press a button with the mouse."""
        self.actions += 1
        self.point(css)

    def point(self, css: str, below: int = 0) -> None:
        """Click something, or so far below its middle. The paper may just be drawn anew."""

        def clicked() -> bool:
            target = one(self.driver, css)
            chain = ActionChains(self.driver)
            chain.move_to_element_with_offset(target, 0, below).click().perform()
            return True

        soon(clicked, self.driver)

    def at_end(self, end: str) -> None:
        """Click an open end of a piece."""
        self.actions += 1
        self.point(f'#canvas g[data-end="{end}"] .c-open')
        soon(lambda: not self.driver.find_elements("css selector", f'#canvas g[data-end="{end}"]'),
             self.driver)  # fmt: skip

    def drag(self, start: tuple[int, int], stop: tuple[int, int]) -> None:
        """Drag from one square of the graph paper to another."""
        self.actions += 1
        x, y = self.driver.execute_script(
            "const b = document.querySelector('#canvas svg').getBoundingClientRect();"
            "return [Math.round(b.x), Math.round(b.y)]"
        )
        chain = ActionChains(self.driver, duration=20)
        mouse = chain.w3c_actions.pointer_action
        mouse.move_to_location(x + 26 * start[0], y + 26 * start[1])
        mouse.pointer_down()
        mouse.move_to_location(x + 26 * stop[0], y + 26 * stop[1])
        mouse.pointer_up()
        chain.perform()

    def keys(self, *keys: str) -> None:
        """Press keys one after the other, each once what the one before drew is there."""
        for key in keys:
            self.actions += 1
            before = self.text
            ActionChains(self.driver).send_keys(key).perform()
            if key in "bsxeu":
                soon(lambda before=before: self.text != before, self.driver)  # type: ignore[misc]

    def write(self, *keys: str) -> None:
        """Type into a field; each letter counts."""
        self.actions += sum(map(len, keys))
        ActionChains(self.driver).send_keys(*keys).perform()

    def wait_for_text(self, words: str) -> None:
        soon(lambda: words in self.text, self.driver)


@pytest.fixture
def hand(driver: webdriver.Chrome, bench: Server) -> Iterator[Hand]:
    here = Hand(driver, bench.address)
    yield here
    severe = [e["message"] for e in driver.get_log("browser") if e["level"] == "SEVERE"]
    driver.execute_script(
        "localStorage.clear(); sessionStorage.clear();"
        "addEventListener('beforeunload', e => e.stopImmediatePropagation(), true)"
    )
    assert not severe


def _save(hand: Hand, home: Path, name: str) -> None:
    hand.actions += 1
    ActionChains(hand.driver).key_down(Keys.CONTROL).send_keys("s").key_up(Keys.CONTROL).perform()
    assert hand.see("#save-name")
    hand.write(name, Keys.ENTER)
    soon((home / f"{name}.ixl").is_file, hand.driver)


def test_an_end_of_siding_with_the_mouse(hand: Hand, home: Path) -> None:
    assert "pattern" in hand.words("#canvas-empty"), "the empty page says what to do"
    hand.push("#start-draw")
    hand.drag((3, 4), (9, 4))
    hand.push("#tool-turnout")
    hand.at_end("B1 right")
    assert "points" not in hand.words("#unfinished") and "T1" in hand.words("#unfinished")
    assert not hand.driver.find_elements("css selector", "#tinted .t-wrong"), "no wall of errors"
    hand.push("#tool-block")
    hand.at_end("T1 normal")
    hand.at_end("T1 reverse")
    hand.push("#tool-edge")
    hand.at_end("B1 left")
    hand.at_end("B2 right")
    hand.at_end("B3 right")
    soon(lambda: DRAWN in hand.text, hand.driver)
    assert not one(hand.driver, "#unfinished").is_displayed()
    hand.push("#do-draft")
    hand.wait_for_text("signal 2R")
    hand.wait_for("#stamp", "proved in operation")
    _save(hand, home, "mouse")
    assert hand.actions < MOST_ACTIONS
    while one(hand.driver, "#do-undo").is_enabled():
        ActionChains(hand.driver).click(one(hand.driver, "#do-undo")).perform()
    assert hand.text == ""
    hand.push("#do-redo")
    hand.wait_for_text("block B1")


def test_a_draft_with_its_wiring(hand: Hand) -> None:
    track = "edge West, East\nblock A, B\ntrack West = A | B = East\n"
    hand.type(track)
    hand.push("#draft-wiring")
    hand.push("#do-draft")
    hand.wait_for_text("detector D-A")
    hand.wait_for("#stamp", "proved in operation")
    assert one(hand.driver, "#do-wiring").is_displayed(), "its diagram"
    hand.push("#do-undo")
    assert hand.text == track


def test_an_end_of_siding_with_the_keyboard(hand: Hand, home: Path) -> None:
    hand.keys(Keys.F6, Keys.F6, *"ebsbebe")
    soon(lambda: DRAWN in hand.text, hand.driver)
    hand.keys("d")
    hand.wait_for_text("signal 2R")
    hand.wait_for("#stamp", "proved in operation")
    _save(hand, home, "keys")
    assert hand.actions < MOST_ACTIONS
    for _ in range(40):
        if hand.text == "":
            break
        ActionChains(hand.driver).key_down(Keys.CONTROL).send_keys("z").key_up(
            Keys.CONTROL
        ).perform()
    assert hand.text == "" and not one(hand.driver, "#do-undo").is_enabled()


def test_text_and_drawing_follow_each_other(hand: Hand) -> None:
    hand.push("#start-draw")
    hand.drag((3, 4), (20, 4))
    hand.drag((8, 4), (16, 8))  # from the middle of track: a switch
    hand.wait_for_text("T1 normal")
    hand.type(hand.text + "edge Quarry  # typed\nplace Quarry at 3, 9\n")
    hand.see('#canvas g[data-piece="Quarry"]')
    hand.push("#tool-select")
    drawn = hand.text
    hand.drag((3, 9), (4, 7))
    hand.wait_for_text("place Quarry at 4, 7")
    hand.keys("n")
    assert hand.see("#thing-name")
    hand.write("Mill", Keys.ENTER)
    hand.wait_for_text("edge Mill  # typed")
    hand.keys("t", "c")
    hand.wait_for_text("place Mill-2 at")
    for _ in range(3):
        hand.push("#do-undo")
    soon(lambda: hand.text == drawn, hand.driver)
    hand.see('#canvas g[data-piece="Quarry"]')
    hand.push("#tool-gap")
    hand.push('#canvas g[data-joint="T1 normal"]')
    hand.wait_for_text("T1 normal ||")


def test_a_finger_draws(hand: Hand) -> None:
    hand.push("#start-draw")
    x, y = hand.driver.execute_script(
        "const b = document.querySelector('#canvas svg').getBoundingClientRect(); return [b.x, b.y]"
    )
    for kind, points in [("touchStart", [(3, 4)]), ("touchMove", [(6, 4)]), ("touchMove", [(9, 4)]),
                         ("touchEnd", [])]:  # fmt: skip
        hand.driver.execute_cdp_cmd("Input.dispatchTouchEvent", {
            "type": kind, "touchPoints": [{"x": x + 26 * a, "y": y + 26 * b} for a, b in points],
        })  # fmt: skip
    hand.wait_for_text("place B1 from 3, 4 to 9, 4")


def test_signals_stand_at_gaps(hand: Hand) -> None:
    hand.type(f"edge West, East\nblock A, B\ntrack West = A | B = East\n{_places()}")
    hand.push("#view-draw")
    hand.push("#tool-signal")
    for below, name in ((8, "2R at A | B"), (-8, "2L at B | A")):
        hand.point('#canvas g[data-joint="A right"] .c-gap', below)
        hand.wait_for_text(f"signal {name}\n  Stop otherwise")


def _places() -> str:
    return "place A from 3, 4 to 9, 4\nplace B from 9, 4 to 15, 4\n"
