"""The widths that drawings are laid out with are those of the widest face a system may choose."""

import string

import pytest
from selenium import webdriver

from tests.workbench.browser import browser
from verifier.drawing.svg.typeface import FONT, text_width

CHARACTERS = string.ascii_letters + string.digits + string.punctuation + " "
# Faces that systems have for a generic family. One that is not there falls back on another.
FACES = (
    FONT, "system-ui", "ui-sans-serif", "DejaVu Sans", "Liberation Sans", "Noto Sans", "FreeSans",
)  # fmt: skip
TEXTS = ("4L.upper", "Heron-Falls-Main", "West-Siding", "WWW-MMM", "T1 normal", "2LA", "m1, m2")
MEASURE = """
const paint = document.createElement('canvas').getContext('2d');
paint.font = `1000px "${arguments[0]}", sans-serif`;
return arguments[1].map((text) => paint.measureText(text).width);
"""


def measured(driver: webdriver.Chrome, face: str, texts: list[str]) -> list[float]:
    return [float(width) for width in driver.execute_script(MEASURE, face, texts)]


def test_only_generic_families_are_named() -> None:
    assert FONT in ("sans-serif", "serif", "monospace", "system-ui")


@pytest.mark.browser
def test_no_face_is_wider_than_the_widths_say() -> None:
    with browser() as driver:
        for face in FACES:
            for text, width in zip(CHARACTERS, measured(driver, face, [*CHARACTERS]), strict=True):
                assert 0 < width <= text_width(text, 1000) + 1, (face, text)
            for text, width in zip(TEXTS, measured(driver, face, [*TEXTS]), strict=True):
                # Kerning can widen a text by less than a percent, far less than the room kept.
                assert width <= text_width(text, 1000) * 1.01, (face, text)
            # Not so generous that drawings grow for nothing: DejaVu Sans is as wide.
            widest = measured(driver, "DejaVu Sans", [*TEXTS])
        for text, width in zip(TEXTS, widest, strict=True):
            assert text_width(text, 1000) < 1.2 * width, text
