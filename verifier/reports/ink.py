"""How a console is written to: color or none, line-drawing characters or plain ASCII.

Color is only ever an extra: every word it paints says the same without it.
"""

import os
import shutil
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TextIO

_CODES = {"good": "32", "bad": "1;31", "unsure": "33", "quiet": "2", "strong": "1"}


@dataclass(frozen=True, slots=True)
class Ink:
    color: bool = False
    ascii_only: bool = False
    width: int = 100

    def plain(self, line: str) -> str:
        """The line in the characters this console has."""
        return line.replace("…", "...") if self.ascii_only else line

    def paint(self, text: str, style: str) -> str:
        """``text`` in a style: good, bad, unsure, quiet or strong."""
        if not self.color or not text:
            return text
        return f"\x1b[{_CODES[style]}m{text}\x1b[0m"


def ink_for(
    stream: TextIO,
    *,
    color: str = "auto",
    ascii_only: bool = False,
    environment: Mapping[str, str] = os.environ,
) -> Ink:
    """The ink for a stream. ``color`` is auto, always or never; NO_COLOR is honored."""
    wanted = color == "always" or (
        color == "auto"
        and stream.isatty()
        and not environment.get("NO_COLOR")
        and environment.get("TERM") != "dumb"
    )
    return Ink(wanted, ascii_only or not can_draw_lines(stream), _width(stream))


def can_draw_lines(stream: TextIO) -> bool:
    """Whether the stream's encoding has the characters that drawings use."""
    try:
        "═╪╱╲▐█▌◂▸‖—…".encode(stream.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def _width(stream: TextIO) -> int:
    if not stream.isatty():
        return 100
    return max(60, min(160, shutil.get_terminal_size((100, 24)).columns))


def standard_ink(*, color: str = "auto", ascii_only: bool = False) -> Ink:
    return ink_for(sys.stdout, color=color, ascii_only=ascii_only)
