"""A parts file of a person's own: what each kind of part costs, in one currency.

In: CSV with the columns `kind`, `price`, `currency` and, if wanted, `note`, `rating` (the
current that the maker rates a wire for) and `per` (what wire is sold by: no price of wire goes
without). Out: a :class:`PriceList`; everything that is wrong
with the file is told at once.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

from verifier.language.csv_reader import Cell, cells_of, is_formula, shortened
from verifier.language.diagnostics.diagnostic import Diagnostic, InputError, did_you_mean
from verifier.language.files import UnreadableError, text_of
from verifier.language.source import Source, Span
from verifier.sheets.part_kinds import (
    FAMILIES,
    METRES,
    PartKind,
    SoldBy,
    best_of,
    kind_of,
    known_kinds,
)

COLUMNS = ("kind", "price", "currency", "note", "rating", "per")
_NEEDED = COLUMNS[:3]
# The dearest part that is believed; beyond that a digit is wrong (common practice, no source).
_MOST = Decimal(1_000_000)
_AMOUNT = re.compile(r"[0-9]{1,12}(?:\.[0-9]{1,6})?")
# Where commas may be decimal ones, what may stand before three digits: a thousand, or a one.
_TWO_WAYS = re.compile(r"[1-9][0-9]{0,2}[.,][0-9]{3}")
_CURRENCY = re.compile(r"[A-Z]{3}")
_RATING = re.compile(r"([0-9]{1,6}(?:\.[0-9]{1,6})?) ?(A|mA)")


@dataclass(frozen=True, slots=True)
class Price:
    """``amount`` None: the row is there, and its price is left open. ``per``: of what is
    bought by length, what the price is for one of; None where it is left open."""

    kind: PartKind
    amount: Decimal | None
    per: SoldBy | None
    note: str
    span: Span


@dataclass(frozen=True, slots=True)
class PriceList:
    """``rated``: by size of wire, the amperes that its maker rates it for."""

    name: str
    currency: str
    prices: Mapping[PartKind, Price]
    rated: Mapping[int, Fraction] = field(default_factory=dict)

    def of(self, kind: PartKind) -> Price | None:
        """The price that is paid for a part of this kind; None where there is no row for it."""
        found = best_of(kind, self.prices)
        return self.prices[found] if found is not None else None


def read_prices(path: Path) -> PriceList:
    """Raises :class:`InputError` with everything that is wrong with the file."""
    try:
        text = text_of(path)
    except UnreadableError as error:
        span = Span(Source(str(path), ""), 0, 0)
        hint = "Spreadsheets save such a file as `CSV UTF-8`." if "UTF-8" in error.what else ""
        raise InputError([Diagnostic("CP100", f"this file {error.what}", span, hint)]) from None
    return prices_in(Source(str(path), text))


def prices_in(source: Source) -> PriceList:
    """The price list that a text is. Raises :class:`InputError`."""
    table = cells_of(source)
    if not table.rows:
        whole = Span(source, 0, 0)
        raise InputError([_bad_table("this parts file is empty", whole)])
    return _Reader(source, table.rows, decimal_comma=table.separator == ";").read()


def _bad_table(message: str, span: Span) -> Diagnostic:
    return Diagnostic(
        "CP803", message, span,
        "The first line names the columns: `kind,price,currency,note`; below stands one part a "
        "line: `driver,24.50,USD,one board`.",
    )  # fmt: skip


class _Reader:
    def __init__(self, source: Source, rows: tuple[tuple[Cell, ...], ...], *, decimal_comma: bool):
        self.source, self.rows, self.decimal_comma = source, rows, decimal_comma
        self.errors: list[Diagnostic] = []
        self.currency: Cell | None = None
        self.prices: dict[PartKind, Price] = {}
        self.rated: dict[int, Fraction] = {}

    def read(self) -> PriceList:
        columns = self._columns(self.rows[0])
        if not self.errors:
            for row in self.rows[1:]:
                self._row(row, columns)
            if not self.prices and not self.errors:
                self._error(_bad_table("no part stands below the names of the columns",
                                       self.rows[0][0].span))  # fmt: skip
        if self.errors:
            raise InputError(self.errors)
        currency = self.currency.text if self.currency else ""
        return PriceList(self.source.name, currency, self.prices, self.rated)

    def _error(self, diagnostic: Diagnostic) -> None:
        self.errors.append(diagnostic)

    def _columns(self, header: tuple[Cell, ...]) -> dict[str, int]:
        found: dict[str, int] = {}
        if not any(cell.text.lower() in COLUMNS for cell in header):
            what = "the first line does not name the columns"
            self._error(_bad_table(what, header[0].span.to(header[-1].span)))
            return found
        for position, cell in enumerate(header):
            name = cell.text.lower()
            if not name:
                continue
            if name not in COLUMNS:
                hint = (
                    did_you_mean(shortened(name), COLUMNS) or f"Columns are {', '.join(COLUMNS)}."
                )
                self._error(
                    Diagnostic(
                        "CP803", f"no column is called `{shortened(cell.text)}`", cell.span, hint
                    )
                )
            elif name in found:
                self._error(_bad_table(f"two columns are called `{name}`", cell.span))
            found.setdefault(name, position)
        missing = [name for name in _NEEDED if name not in found]
        if missing and not self.errors:
            span = header[0].span.to(header[-1].span)
            self._error(_bad_table(f"the column `{missing[0]}` is missing", span))
        return found

    def _row(self, row: tuple[Cell, ...], columns: Mapping[str, int]) -> None:
        before = len(self.errors)
        width = max(columns.values()) + 1
        for position, cell in enumerate(row):
            # A price below zero is told as one.
            is_price = position == columns["price"] and _AMOUNT.fullmatch(cell.text.lstrip("+-"))
            if is_formula(cell.text) and not is_price:
                self._error(Diagnostic(
                    "CP807", f"a spreadsheet takes `{shortened(cell.text)}` for a formula",
                    cell.span,
                    "What a table holds could then be worked out anew, or run, where it is opened. "
                    "Write the figure itself; a note begins with a letter or a digit.",
                ))  # fmt: skip
        if any(cell.text for cell in row[len(self.rows[0]) :]):
            span = row[len(self.rows[0])].span.to(row[-1].span)
            hint = 'A cell with a comma in it stands in quotes: `"drivers, boxed"`.'
            self._error(Diagnostic("CP803", f"this line has {len(row)} cells, and there are "
                                   f"{len(self.rows[0])} columns", span, hint))  # fmt: skip
        if len(self.errors) > before:
            return
        empty = Cell("", row[-1].span)
        cells = [*row, *(empty for _ in range(width - len(row)))]
        kind = self._kind(cells[columns["kind"]])
        amount = self._price(cells[columns["price"]])
        if cells[columns["price"]].text:
            self._same_currency(cells[columns["currency"]])
        note = cells[columns["note"]].text if "note" in columns else ""
        if kind is not None:
            of_price = cells[columns["price"]]
            per = self._per(kind, cells[columns["per"]] if "per" in columns else None, of_price)
            self.prices[kind] = Price(kind, amount, per, note, cells[columns["kind"]].span)
            if "rating" in columns:
                self._rating(kind, cells[columns["rating"]])

    def _kind(self, cell: Cell) -> PartKind | None:
        kind = kind_of(cell.text.lower())
        if kind is None:
            near = did_you_mean(shortened(cell.text), (*FAMILIES, *known_kinds()))
            listed = f"Kinds are {', '.join(known_kinds())}; those with a number in any size."
            what = f"no kind of part is called `{shortened(cell.text)}`"
            if not cell.text:
                what, near = "this line does not say which kind of part it is", ""
            self._error(Diagnostic("CP804", what, cell.span, near or listed))
            return None
        if kind in self.prices:
            self._error(Diagnostic(
                "CP808", f"`{kind}` has two prices", cell.span, "Leave one of them out.",
                ((self.prices[kind].span, "the first one is here"),),
            ))  # fmt: skip
        return kind

    def _price(self, cell: Cell) -> Decimal | None:
        if not cell.text:
            return None
        if self.decimal_comma and _TWO_WAYS.fullmatch(cell.text):
            whole = cell.text[:-4] + cell.text[-3:]
            self._error(Diagnostic(
                "CP805", f"`{cell.text}` can be read in two ways", cell.span,
                f"Write `{whole}` if it is so many whole ones, and `{cell.text}0` if not.",
            ))  # fmt: skip
            return None
        text = self._point(cell.text)
        if not _AMOUNT.fullmatch(text) or Decimal(text) > _MOST:
            hint = "Write the number alone, with a point and nothing between thousands: `24.50`. "
            hint += "Leave it empty if not known."
            if _AMOUNT.fullmatch(text):
                hint = f"More than {_MOST:,} for one part is not to be expected."
            self._error(
                Diagnostic("CP805", f"`{shortened(cell.text)}` is no price", cell.span, hint)
            )
            return None
        return Decimal(text)

    def _point(self, text: str) -> str:
        """An amount with a point, where the file may have decimal commas."""
        return text.replace(",", ".") if self.decimal_comma else text

    def _same_currency(self, cell: Cell) -> None:
        if not _CURRENCY.fullmatch(cell.text):
            what = (
                f"`{shortened(cell.text)}` is no currency" if cell.text else "no currency is given"
            )
            hint = "Write its three capital letters, such as USD or EUR."
            self._error(Diagnostic("CP806", what, cell.span, hint))
        elif self.currency is None:
            self.currency = cell
        elif self.currency.text != cell.text:
            self._error(Diagnostic(
                "CP806", f"a price in {cell.text} among prices in {self.currency.text}", cell.span,
                "Sums need one currency: convert the price, at the rate you pay.",
                ((self.currency.span, "the first price is here"),),
            ))  # fmt: skip

    def _per(self, kind: PartKind, cell: Cell | None, price: Cell) -> SoldBy | None:
        """What wire is sold by: a price per foot must never be taken for one per meter."""
        text = cell.text.lower() if cell is not None else ""
        hint = "Write `foot` or `meter` in the column `per`."
        if not FAMILIES[kind.family].by_length:
            if cell is not None and text:
                self._error(Diagnostic(
                    "CP810", f"`{kind}` is not bought by length", cell.span,
                    "Leave the column `per` empty here: the price is for one.",
                ))  # fmt: skip
            return None
        for sold_by in METRES:
            if text == sold_by:
                return sold_by
        if cell is not None and text:
            what = f"wire is not sold by `{shortened(cell.text)}` here"
            self._error(Diagnostic("CP810", what, cell.span, hint))
        elif price.text:
            what = f"nothing says whether `{kind}` costs this by the foot or by the meter"
            self._error(Diagnostic("CP810", what, price.span, hint))
        return None

    def _rating(self, kind: PartKind, cell: Cell) -> None:
        if not cell.text:
            return
        found = _RATING.fullmatch(self._point(cell.text))
        if found is None or kind.family != "wire" or kind.size is None or not float(found[1]):
            hint = "Only wire of a size has one, as its maker gives it: `3 A`."
            self._error(
                Diagnostic("CP805", f"`{shortened(cell.text)}` is no rating here", cell.span, hint)
            )
            return
        worth = Fraction(found[1]) * (Fraction(1) if found[2] == "A" else Fraction(1, 1000))
        self.rated[int(kind.size)] = worth
