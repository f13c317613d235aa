"""The parts file: read like any spreadsheet writes it, and refused in words."""

import csv
import io
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from verifier.cli import main
from verifier.language.csv_reader import csv_table, is_formula
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.source import Source
from verifier.sheets.buying.part_kinds import FAMILIES, PartKind, best_of, kind_of, known_kinds
from verifier.sheets.buying.prices import PriceList, prices_in, read_prices

HEADER = "kind,price,currency,note\n"


def prices(text: str) -> PriceList:
    return prices_in(Source("parts.csv", text))


def wrong(text: str) -> list[tuple[str, int, int, str]]:
    """Of everything that is wrong: its code, line and column, and the text marked."""
    try:
        prices(text)
    except InputError as error:
        return [(d.code, d.span.line, d.span.column, d.span.text) for d in error.diagnostics]
    return []


# ------------------------------------------------------------------ cells


@given(
    st.lists(
        st.lists(st.text(st.sampled_from('ab ",;\n\r\té=1'), max_size=6), min_size=1, max_size=4),
        min_size=1, max_size=5,
    ),
    st.sampled_from(",;\t"),
    st.sampled_from(["\n", "\r\n"]),
)  # fmt: skip
def test_cells_are_what_pythons_own_reader_reads(
    rows: list[list[str]], separator: str, end: str
) -> None:
    """Python's csv, which writes and reads RFC 4180, is the reference; ours strips cells and
    leaves out empty rows."""
    first = ["head"] * 9  # so that it is plain what separates
    text = io.StringIO()
    writer = csv.writer(text, delimiter=separator, lineterminator=end, quoting=csv.QUOTE_ALL)
    writer.writerows([first, *rows])
    wanted = [[cell.strip() for cell in row] for row in [first, *rows]]
    found = csv_table(Source("parts.csv", text.getvalue()))
    assert found.separator == separator
    assert [[c.text for c in row] for row in found.rows] == [row for row in wanted if any(row)]


@given(st.text(st.sampled_from('ab",;\n\r\t =1'), max_size=40))
def test_any_text_is_read_or_refused(text: str) -> None:
    assert all(code.startswith("CP80") for code, *_ in wrong(text))
    assert all(code.startswith("CP80") for code, *_ in wrong(HEADER + text))


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM", "=cmd|'/C calc'!A0"])
def test_what_a_spreadsheet_takes_for_a_formula(text: str) -> None:
    assert is_formula(text)


def test_what_is_no_formula() -> None:
    assert not any(map(is_formula, ["-", "", "1-2", "a=b", "0.5"]))


# ------------------------------------------------------------------ right


@pytest.mark.parametrize(
    "text",
    [
        "kind,price,currency\nhead-3,4.50,USD\n",
        "\ufeffkind,price,currency\nhead-3,4.50,USD\n".removeprefix("\ufeff"),
        "Kind,Price,Currency\r\nHEAD-3,4.50,USD\r\n",
        "kind;price;currency\nhead-3;4,50;USD\n",
        "kind\tprice\tcurrency\nhead-3\t4.50\tUSD",
        '"currency","note","kind","price"\n"USD","a, b","head-3","4.50"\n\n',
        "kind,price,currency,,\nhead-3,4.50,USD,,\n,,,,\n",
    ],
)
def test_spreadsheets_of_all_kinds(text: str) -> None:
    found = prices(text)
    price = found.of(PartKind("head", Fraction(3)))
    assert price is not None
    assert (found.currency, price.amount) == ("USD", Decimal("4.50"))


def test_a_byte_order_mark_is_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "parts.csv"
    path.write_bytes(b"\xef\xbb\xbf" + HEADER.encode() + b"head,1,USD,\r\n")
    assert read_prices(path).currency == "USD"


def test_prices_are_exact_and_may_be_left_open() -> None:
    found = prices(HEADER + "head,0.1,USD,\nfuse,,,\nmast,0,USD,\n")
    amounts = {str(kind): price.amount for kind, price in found.prices.items()}
    assert amounts == {"head": Decimal("0.1"), "fuse": None, "mast": Decimal(0)}


def test_wire_is_rated_by_its_maker() -> None:
    found = prices("kind,price,currency,rating\nwire-22AWG,,,2.5 A\nwire-24AWG,,,800 mA\n")
    assert found.rated == {22: Fraction("2.5"), 24: Fraction("0.8")}


def test_wire_is_priced_by_what_its_row_says() -> None:
    """Only a price needs it: a row may be there for its rating alone."""
    text = "kind,price,currency,per\nwire-22AWG,0.11,USD,Foot\nwire-16AWG,1,USD,meter\nwire,,,\n"
    by = {str(kind): price.per for kind, price in prices(text).prices.items()}
    assert by == {"wire-22AWG": "foot", "wire-16AWG": "meter", "wire": None}


# ------------------------------------------------------------------ wrong


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("", [("CP803", 1, 1, "")]),
        ("\n\n", [("CP803", 1, 1, "")]),
        (HEADER, [("CP803", 1, 1, "kind")]),
        ("kind,price\nhead,1\n", [("CP803", 1, 1, "kind,price")]),
        ("kind,prise,currency\n", [("CP803", 1, 6, "prise")]),
        ("kind,price,currency,kind\n", [("CP803", 1, 21, "kind")]),
        (HEADER + 'head,"4.50,USD,\n', [("CP803", 2, 6, '"4.50')]),
        (HEADER + 'head,"4"5,USD,\n', [("CP803", 2, 6, '"4"5')]),
        (HEADER + "head,4,50,USD,more\n", [("CP803", 2, 15, "more")]),
        (HEADER + "haed,1,USD,\n", [("CP804", 2, 1, "haed")]),
        (HEADER + ",1,USD,\n", [("CP804", 2, 1, "")]),
        (HEADER + "wire-22A,1,USD,\n", [("CP804", 2, 1, "wire-22A")]),
        (HEADER + "contact-2,1,USD,\n", [("CP804", 2, 1, "contact-2")]),
        (HEADER + "head-0,1,USD,\n", [("CP804", 2, 1, "head-0")]),
        (HEADER + "head-2.5,1,USD,\n", [("CP804", 2, 1, "head-2.5")]),
        ("kind;price;currency\nhead;1.234;EUR\n", [("CP805", 2, 6, "1.234")]),
        ("kind;price;currency\nhead;12,345;EUR\n", [("CP805", 2, 6, "12,345")]),
        ("head,1,USD\nmast,2,USD\n", [("CP803", 1, 1, "head,1,USD")]),
        ("sep=;\nkind;price;currency\n", [("CP803", 1, 1, "sep=;")]),
        (HEADER + "head,$4,USD,\n", [("CP805", 2, 6, "$4")]),
        (HEADER + "head,-4,USD,\n", [("CP805", 2, 6, "-4")]),
        (HEADER + "head,1e3,USD,\n", [("CP805", 2, 6, "1e3")]),
        (HEADER + "head,2000000,USD,\n", [("CP805", 2, 6, "2000000")]),
        (HEADER + "head,NaN,USD,\n", [("CP805", 2, 6, "NaN")]),
        (HEADER + "head,4,$,\n", [("CP806", 2, 8, "$")]),
        (HEADER + "head,4,,\n", [("CP806", 2, 8, "")]),
        (HEADER + "head,4,usd,\n", [("CP806", 2, 8, "usd")]),
        (HEADER + "head,4,USD,\nmast,4,CAD,\n", [("CP806", 3, 8, "CAD")]),
        (HEADER + "head,4,USD,=HYPERLINK()\n", [("CP807", 2, 12, "=HYPERLINK()")]),
        (HEADER + "@head,4,USD,\n", [("CP807", 2, 1, "@head")]),
        (HEADER + 'head,4,USD,"\t=1"\n', [("CP807", 2, 12, '"\t=1"')]),
        (HEADER + "head-3,4,USD,\nHead-3.0,5,USD,\n", [("CP808", 3, 1, "Head-3.0")]),
        ("kind,price,currency,rating\nfuse-2A,1,USD,2 A\n", [("CP805", 2, 15, "2 A")]),
        ("kind,price,currency,rating\nwire-22AWG,,USD,two\n", [("CP805", 2, 17, "two")]),
        ("kind,price,currency,rating\nwire-22AWG,,USD,0 A\n", [("CP805", 2, 17, "0 A")]),
        (HEADER + "wire-22AWG,1,USD,by the foot\n", [("CP810", 2, 12, "1")]),
        ("kind,price,currency,per\nwire-22AWG,1,USD,\n", [("CP810", 2, 12, "1")]),
        ("kind,price,currency,per\nwire,1,USD,yard\n", [("CP810", 2, 12, "yard")]),
        ("kind,price,currency,per\nhead,1,USD,foot\n", [("CP810", 2, 12, "foot")]),
    ],
)  # fmt: skip
def test_each_way_of_getting_it_wrong(text: str, found: list[tuple[str, int, int, str]]) -> None:
    assert wrong(text) == found


def test_everything_that_is_wrong_is_told_at_once() -> None:
    text = "kind;price;currency\r\nhead;4,50;EUR\r\nheads;1;EUR\r\nfuse;x;USD\r\ncontact;=1;EUR\r\n"
    assert wrong(text) == [
        ("CP804", 3, 1, "heads"), ("CP805", 4, 6, "x"), ("CP806", 4, 8, "USD"),
        ("CP807", 5, 9, "=1"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (None, "does not exist"),
        (b"kind,price,currency\nhead,\xff,USD\n", "is not plain UTF-8 text"),
        ("kind,price,currency\nhead,1,USD\n".encode("utf-16"), "save the file as `CSV UTF-8`"),
        (b"x" * 20_000_000, "is larger than"),
        (b"kind,price,currency\n" + b"haed,x,y\n" * 100_000, "more than 10,000 lines"),
    ],
)
def test_a_file_that_cannot_be_read(
    content: bytes | None, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, plan = tmp_path / "parts.csv", tmp_path / "a.ixl"
    plan.write_text("edge A\nbumper C\nblock B\ntrack A = B = C\n", "utf-8")
    if content is not None:
        path.write_bytes(content)
    assert main(["sheet", str(plan), "parts", "--prices", str(path)]) == 2
    assert said in capsys.readouterr().err


def test_in_a_file_with_semicolons_commas_may_be_decimal_ones() -> None:
    text = (
        "kind;price;currency;rating;per\nhead;0,125;EUR;;\nmast;1,2340;EUR;;\ndriver;1234,5;EUR;;\n"
    )
    found = prices(text + "fuse-2.5A;2;EUR;;\nwire-22AWG;0.250;EUR;2,5 A;meter\n")
    assert [p.amount for p in found.prices.values()] == [
        Decimal(amount) for amount in ("0.125", "1.234", "1234.5", "2", "0.25")
    ]
    assert found.rated == {22: Fraction(5, 2)}


# ------------------------------------------------------------------ kinds


@pytest.mark.parametrize("name", known_kinds())
def test_a_kind_reads_back_as_it_is_written(name: str) -> None:
    kind = kind_of(name)
    assert kind is not None and str(kind) == name and kind.text
    assert kind_of(kind.family) == PartKind(kind.family)


def test_every_family_can_be_priced() -> None:
    assert {name.split("-")[0] for name in known_kinds()} == {n.split("-")[0] for n in FAMILIES}


@pytest.mark.parametrize(
    ("wanted", "known", "best"),
    [
        ("driver-4", ["driver-4", "driver-6", "driver"], "driver-4"),
        ("driver-4", ["driver-2", "driver-8", "driver-6", "driver"], "driver-6"),
        ("driver-4", ["driver-2", "driver"], "driver"),
        ("driver-4", ["driver-2", "head"], None),
        ("supply-3A", ["supply-5A", "supply-1A"], "supply-5A"),
        ("fuse-2A", ["fuse-3A", "fuse"], "fuse"),  # a larger fuse does not do
        ("fuse-2A", ["fuse-3A"], None),
        ("wire-22AWG", ["wire-20AWG"], None),
        ("driver", ["driver-6"], None),
    ],
)
def test_what_is_bought_for_a_part(wanted: str, known: list[str], best: str | None) -> None:
    kinds = [kind for name in known if (kind := kind_of(name))]
    kind = kind_of(wanted)
    assert kind is not None and len(kinds) == len(known)
    found = best_of(kind, kinds)
    assert (str(found) if found else None) == best
