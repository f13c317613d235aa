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
from typing import Any

from verifier.language.csv_reader import CsvCell, csv_table, is_formula, shortened
from verifier.language.diagnostics.diagnostic import Diagnostic, InputError, nearest
from verifier.language.diagnostics.registry import diagnostic
from verifier.language.files import UnreadableError, text_of
from verifier.language.source import Source, Span
from verifier.sheets.buying.part_kinds import (
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
        raise InputError(
            [
                diagnostic(
                    "CP100",
                    span,
                    error.reason,
                    hints=("spreadsheet",) if error.reason == "not_text" else (),
                    **error.fields,
                )
            ]
        ) from None
    return prices_in(Source(str(path), text))


def prices_in(source: Source) -> PriceList:
    """The price list that a text is. Raises :class:`InputError`."""
    table = csv_table(source)
    if not table.rows:
        whole = Span(source, 0, 0)
        raise InputError([diagnostic("CP803", whole, "empty")])
    return _PriceReader(source, table.rows, decimal_comma=table.separator == ";").read()


class _PriceReader:
    def __init__(
        self, source: Source, rows: tuple[tuple[CsvCell, ...], ...], *, decimal_comma: bool
    ):
        self.source, self.rows, self.decimal_comma = source, rows, decimal_comma
        self.errors: list[Diagnostic] = []
        self.currency: CsvCell | None = None
        self.prices: dict[PartKind, Price] = {}
        self.rated: dict[int, Fraction] = {}

    def read(self) -> PriceList:
        columns = self._columns(self.rows[0])
        if not self.errors:
            for row in self.rows[1:]:
                self._row(row, columns)
            if not self.prices and not self.errors:
                self._error("CP803", self.rows[0][0].span, "no_parts")
        if self.errors:
            raise InputError(self.errors)
        currency = self.currency.text if self.currency else ""
        return PriceList(self.source.name, currency, self.prices, self.rated)

    def _error(self, code: str, span: Span, variant: str = "", /, **details: Any) -> None:
        self.errors.append(diagnostic(code, span, variant, **details))

    def _columns(self, header: tuple[CsvCell, ...]) -> dict[str, int]:
        found: dict[str, int] = {}
        if not any(cell.text.lower() in COLUMNS for cell in header):
            self._error("CP803", header[0].span.to(header[-1].span), "no_columns")
            return found
        for position, cell in enumerate(header):
            name = cell.text.lower()
            if not name:
                continue
            if name not in COLUMNS:
                self._error(
                    "CP803",
                    cell.span,
                    "column",
                    near=nearest(shortened(name), COLUMNS),
                    name=shortened(cell.text),
                    columns=COLUMNS,
                )
            elif name in found:
                self._error("CP803", cell.span, "two_columns", name=name)
            found.setdefault(name, position)
        missing = [name for name in _NEEDED if name not in found]
        if missing and not self.errors:
            span = header[0].span.to(header[-1].span)
            self._error("CP803", span, "missing_column", name=missing[0])
        return found

    def _row(self, row: tuple[CsvCell, ...], columns: Mapping[str, int]) -> None:
        before = len(self.errors)
        width = max(columns.values()) + 1
        for position, cell in enumerate(row):
            # A price below zero is told as one.
            is_price = position == columns["price"] and _AMOUNT.fullmatch(cell.text.lstrip("+-"))
            if is_formula(cell.text) and not is_price:
                self._error("CP807", cell.span, said=shortened(cell.text))
        if any(cell.text for cell in row[len(self.rows[0]) :]):
            span = row[len(self.rows[0])].span.to(row[-1].span)
            self._error("CP803", span, "cells", count=len(row), columns=len(self.rows[0]))
        if len(self.errors) > before:
            return
        empty = CsvCell("", row[-1].span)
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

    def _kind(self, cell: CsvCell) -> PartKind | None:
        kind = kind_of(cell.text.lower())
        if kind is None:
            near = nearest(shortened(cell.text), (*FAMILIES, *known_kinds())) if cell.text else None
            self._error(
                "CP804",
                cell.span,
                "" if cell.text else "none",
                near=near,
                name=shortened(cell.text),
                kinds=known_kinds(),
            )
            return None
        if kind in self.prices:
            self._error("CP808", cell.span, others=[self.prices[kind].span], kind=str(kind))
        return kind

    def _price(self, cell: CsvCell) -> Decimal | None:
        if not cell.text:
            return None
        if self.decimal_comma and _TWO_WAYS.fullmatch(cell.text):
            whole = cell.text[:-4] + cell.text[-3:]
            self._error("CP805", cell.span, "two_ways", cell=cell.text, whole=whole)
            return None
        text = self._point(cell.text)
        if not _AMOUNT.fullmatch(text) or Decimal(text) > _MOST:
            self._error(
                "CP805",
                cell.span,
                "most" if _AMOUNT.fullmatch(text) else "",
                said=shortened(cell.text),
                most=int(_MOST),
            )
            return None
        return Decimal(text)

    def _point(self, text: str) -> str:
        """An amount with a point, where the file may have decimal commas."""
        return text.replace(",", ".") if self.decimal_comma else text

    def _same_currency(self, cell: CsvCell) -> None:
        if not _CURRENCY.fullmatch(cell.text):
            self._error("CP806", cell.span, "" if cell.text else "none", said=shortened(cell.text))
        elif self.currency is None:
            self.currency = cell
        elif self.currency.text != cell.text:
            self._error(
                "CP806",
                cell.span,
                "mixed",
                others=[self.currency.span],
                cell=cell.text,
                currency=self.currency.text,
            )

    def _per(self, kind: PartKind, cell: CsvCell | None, price: CsvCell) -> SoldBy | None:
        """What wire is sold by: a price per foot must never be taken for one per meter."""
        text = cell.text.lower() if cell is not None else ""
        if not FAMILIES[kind.family].by_length:
            if cell is not None and text:
                self._error("CP810", cell.span, "piece", kind=str(kind))
            return None
        for sold_by in METRES:
            if text == sold_by:
                return sold_by
        if cell is not None and text:
            self._error("CP810", cell.span, "unit", said=shortened(cell.text))
        elif price.text:
            self._error("CP810", price.span, kind=str(kind))
        return None

    def _rating(self, kind: PartKind, cell: CsvCell) -> None:
        if not cell.text:
            return
        found = _RATING.fullmatch(self._point(cell.text))
        if found is None or kind.family != "wire" or kind.size is None or not float(found[1]):
            self._error("CP805", cell.span, "rating", said=shortened(cell.text))
            return
        worth = Fraction(found[1]) * (Fraction(1) if found[2] == "A" else Fraction(1, 1000))
        self.rated[int(kind.size)] = worth
