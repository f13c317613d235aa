"""The options of `clearproof sheet`, and their values."""

import argparse
import os
import re
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from fractions import Fraction

    from verifier.language.diagnostics.diagnostic import Diagnostic
    from verifier.language.source import Source, Span
    from verifier.sheets.options import SheetOptions

T = TypeVar("T")

# The sheets that use each option.
_FOR = {
    "prices": ("parts", "electrical"),
    "spares": ("parts",),
    "first": ("parts",),
    "compare": ("parts",),
    "wire_colors": ("wiring", "labels"),
    "output": ("labels",),
    "led": ("electrical",),
}


def sheet_options(sheet: argparse.ArgumentParser) -> None:
    sheet.add_argument(
        "--prices", metavar="FILE", help="parts: your parts file, CSV with kind, price, "
        "currency; electrical: the ratings of wire in it",
    )  # fmt: skip
    sheet.add_argument(
        "--spares", type=_percent, metavar="N", help="parts: spares per 100 (default 10)"
    )
    sheet.add_argument(
        "--first", action="append", metavar="NAME",
        help="parts: the control point to build first, by one of its signals or turnouts",
    )  # fmt: skip
    sheet.add_argument(
        "--compare", action="append", metavar="FILE",
        help="parts: another junction file, proved and counted beside this one",
    )  # fmt: skip
    sheet.add_argument(
        "--wire-colors", "--wire-colours", metavar="COLORS-OR-FILE",
        help="wiring, labels: the colors of wire you have, such as red,black,white,blue",
    )  # fmt: skip
    sheet.add_argument(
        "-o", "--output", metavar="FILE.html", help="labels: lay them out to print and cut"
    )
    sheet.add_argument(
        "--led", action="append", type=_led, metavar="COLOR=VOLTS",
        help="electrical: volts across a lit LED, such as red=1.8",
    )  # fmt: skip


def misplaced_option(options: argparse.Namespace) -> str:
    """The message for an option that does not fit the sheet, or is given twice; else empty."""
    for option, kinds in _FOR.items():
        if getattr(options, option) is not None and options.kind not in kinds:
            return f"--{option.replace('_', '-')} is for the sheet {' or '.join(kinds)}."
    given = [color for color, _ in options.led or ()]
    twice = next((color for color in given if given.count(color) > 1), None)
    return f"--led has {twice} twice: leave one of them out." if twice else ""


def requested_options(options: argparse.Namespace) -> "SheetOptions":
    """The values of the options. Raises :class:`InputError` with all errors in the parts file, the
    colors and the other junction files."""
    from verifier.api import load
    from verifier.language.diagnostics.diagnostic import InputError
    from verifier.language.source import Source, Span
    from verifier.sheets.buying.prices import read_prices
    from verifier.sheets.options import SPARES, SheetOptions

    errors: list[Diagnostic] = []

    def tried(read: Callable[[], T]) -> T | None:
        """The value read; None after an error, which is kept with the others."""
        try:
            return read()
        except InputError as error:
            errors.extend(error.diagnostics)
            return None

    listed, priced = options.wire_colors, options.prices
    colors = tried(lambda: listed_colors(listed))
    prices = tried(lambda: read_prices(Path(priced))) if priced is not None else None
    compared = options.compare or []
    errors += _compared_with_itself(options.file, compared)
    others = [tried(partial(load, path)) for path in compared]
    if errors:
        raise InputError(errors)
    return SheetOptions(
        colors=colors,
        prices=prices,
        spares=SPARES if options.spares is None else options.spares,
        first=tuple(
            (name, Span(Source("--first", name), 0, len(name))) for name in options.first or ()
        ),
        others=tuple(plan for plan in others if plan is not None),
        forward=dict(options.led or ()),
    )


def listed_colors(listed: str | None) -> "tuple[tuple[str, Span], ...] | None":
    """The colors of wire at hand, from the command line or the file named there; None where none
    are given. Raises :class:`InputError` for what is no color."""
    from verifier.sheets.wire_colors import available_colors

    return None if listed is None else available_colors(_listed(listed))


def _compared_with_itself(file: str, others: Sequence[str]) -> "Iterator[Diagnostic]":
    from verifier.language.diagnostics.registry import diagnostic
    from verifier.language.source import Source, Span

    seen = {os.path.realpath(file)}
    for other in others:
        path = os.path.realpath(other)
        if path in seen:
            yield diagnostic("CP811", Span(Source("--compare", other), 0, len(other)), path=other)
        seen.add(path)


def _listed(text: str) -> "Source":
    """A list given on the command line, or the content of the file named there."""
    from verifier.api import read_text
    from verifier.language.source import Source

    if "," not in text and Path(text).suffix:
        return Source(text, read_text(text))
    return Source("--wire-colors", text)


def _percent(text: str) -> int:
    if not text.isascii() or not text.isdigit() or int(text[:6]) > 1000:
        raise argparse.ArgumentTypeError(f"`{text}` is not a number of spares per 100")
    return int(text)


def _led(text: str) -> "tuple[str, Fraction]":
    from fractions import Fraction

    from verifier.plan.wiring.electrical_constants import FORWARD, LED_VOLTS

    color, _, volts = text.partition("=")
    color, number = color.strip().lower(), volts.strip().removesuffix("V").strip()
    if color not in FORWARD or not re.fullmatch(r"[0-9]{1,3}(\.[0-9]{1,3})?", number):
        raise argparse.ArgumentTypeError(
            f"`{text}` is not the volts of an LED: write red=1.8 (colors: {', '.join(FORWARD)})"
        )
    least, most = LED_VOLTS
    if not least <= Fraction(number) <= most:
        raise argparse.ArgumentTypeError(
            f"`{text}`: a lit LED has {float(least):g} to {float(most):g} V across it, by its color"
        )
    return color, Fraction(number)
