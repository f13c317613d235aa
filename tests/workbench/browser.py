"""A real browser, headless, with Debian's own driver; nothing is downloaded."""

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TypeVar

from selenium import webdriver
from selenium.common.exceptions import (
    NoSuchElementException,
    StaleElementReferenceException,
    WebDriverException,
)
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.remote.webelement import WebElement
from selenium.webdriver.support.ui import WebDriverWait

T = TypeVar("T")

BROWSER, DRIVER = shutil.which("chromium"), shutil.which("chromedriver")
PATIENCE = 60


@contextmanager
def browser(*arguments: str) -> Iterator[webdriver.Chrome]:
    assert BROWSER and DRIVER
    options = Options()
    options.binary_location = BROWSER
    for argument in (
        "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage",
        "--window-size=1400,1000", *arguments,
    ):  # fmt: skip
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options, Service(DRIVER))
    try:
        yield driver
    finally:
        driver.quit()


def soon(look: Callable[[], T], driver: webdriver.Chrome, patience: float = PATIENCE) -> T:
    """What ``look`` finds as soon as it finds something, within ``patience`` seconds."""
    gone = (NoSuchElementException, StaleElementReferenceException, WebDriverException)
    wait = WebDriverWait(driver, patience, poll_frequency=0.05, ignored_exceptions=gone)
    return wait.until(lambda _: look())


def one(driver: webdriver.Chrome, css: str) -> WebElement:
    return driver.find_element("css selector", css)
