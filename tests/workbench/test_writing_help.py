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


def test_find_and_replace(tmp_path: Path) -> None:
    """From the keyboard: places are counted and gone through, names replaced in one step that Undo
    takes back, and nothing of the pattern is more than its letters."""
    (tmp_path / "siding.ixl").write_text(END_OF_SIDING + "# T1, T12, t1 and T1.\n", "utf-8")
    with server(tmp_path, "siding.ixl") as bench, browser("--window-size=800,900") as driver:
        driver.get(bench.address)
        soon(lambda: driver.execute_script("return document.documentElement.dataset.ready"), driver)
        one(driver, "#see-text").click()
        area = one(driver, "#text")

        def text() -> str:
            return str(driver.execute_script("return document.getElementById('text').value"))

        def told() -> str:
            return one(driver, "#find-count").text

        before = text()
        area.send_keys(Keys.CONTROL, Keys.HOME)
        area.send_keys(Keys.NULL, Keys.CONTROL, "f")
        what = driver.switch_to.active_element
        assert what.get_attribute("id") == "find-what"
        what.send_keys("T1")
        every = before.count("T1")
        assert told() == f"1 of {every}"
        what.send_keys(Keys.SHIFT, Keys.ENTER)
        assert told() == f"{every} of {every}"
        what.send_keys(Keys.NULL, Keys.ENTER)
        assert told() == f"1 of {every}"
        one(driver, "#find-words").click()
        assert told() == f"1 of {every - 1}"  # T12 is another name
        one(driver, "#find-by").send_keys("T7")
        one(driver, "#find-all").click()
        assert told() == f"{every - 1} places replaced"
        assert text().endswith("# T7, T12, t1 and T7.\n") and text().count("T7") == every - 1
        assert one(driver, "#do-undo").is_enabled()
        one(driver, "#do-undo").click()
        soon(lambda: text() == before, driver)
        what.clear()
        one(driver, "#find-by").clear()
        what.send_keys("t1")
        assert told() == "1 of 1"  # which is another name than T1
        what.clear()
        what.send_keys("tURNout")
        assert told() == "no match (1 in other case)"
        assert not one(driver, "#find-all").is_enabled()
        one(driver, "#find-case").click()
        assert told() == "1 of 1" and one(driver, "#find-all").is_enabled()
        one(driver, "#find-case").click()
        what.clear()
        what.send_keys(".*")
        assert told() == "no match" and not one(driver, "#find-next").is_enabled()
        what.send_keys(Keys.ESCAPE)
        assert driver.switch_to.active_element.get_attribute("id") == "text"
        assert not one(driver, "#find").is_displayed()
        bad = [entry for entry in driver.get_log("browser") if entry["level"] == "SEVERE"]
        assert not bad, bad
