"""Help with writing on the page, in a real browser: proposals by keys, and what a word means."""

from pathlib import Path

import pytest
from selenium.webdriver.common.keys import Keys

from tests.drawing.samples import END_OF_SIDING
from tests.workbench.browser import browser, one, soon
from tests.workbench.serving import server

pytestmark = pytest.mark.browser


def test_what_can_be_written_is_proposed_and_words_are_explained(tmp_path: Path) -> None:
    (tmp_path / "siding.ixl").write_text(END_OF_SIDING, encoding="utf-8")
    with server(tmp_path, "siding.ixl") as bench, browser() as driver:
        driver.get(bench.address)
        soon(lambda: driver.execute_script("return document.documentElement.dataset.ready"), driver)
        area = one(driver, "#text")

        def text() -> str:
            return str(driver.execute_script("return document.getElementById('text').value"))

        def proposed() -> list[str]:
            items = driver.find_elements("css selector", "#proposals:not([hidden]) li b")
            return [item.text for item in items]

        area.send_keys(Keys.CONTROL, Keys.END)
        area.send_keys(Keys.NULL, "\nturnout T2 in S")
        assert "Switch" in soon(proposed, driver)
        area.send_keys(Keys.ENTER)  # nothing was picked: it is a line end
        assert text().endswith("turnout T2 in S\n")
        area.send_keys(Keys.BACKSPACE)
        area.send_keys(Keys.CONTROL, " ")
        soon(proposed, driver)
        names = proposed()
        for _ in range(names.index("Switch")):
            area.send_keys(Keys.ARROW_DOWN)
        area.send_keys(Keys.ENTER)
        assert text().endswith("\nturnout T2 in Switch")
        assert not proposed()
        # The pointer rests on the statement word of a signal.
        at = next(i for i, line in enumerate(text().split("\n")) if line.startswith("signal"))
        driver.execute_script(
            """
            const [area, line] = arguments;
            area.scrollTop = 0;
            const box = area.getBoundingClientRect();
            const high = parseFloat(getComputedStyle(area).lineHeight);
            const clientX = box.left + 25, clientY = box.top + 8 + high * (line + 0.5);
            area.dispatchEvent(new MouseEvent('mousemove', { clientX, clientY, bubbles: true }));
            """,
            area, at,
        )  # fmt: skip
        told = soon(lambda: one(driver, "#meaning:not([hidden])").text, driver)
        assert told.startswith("signal: tells trains"), told
        bad = [entry for entry in driver.get_log("browser") if entry["level"] == "SEVERE"]
        assert not bad, bad
