"""The wiring diagram, on every wired spec: it agrees with the wiring list wire by wire, nothing
overlaps, no line crosses another, and nothing is said by color alone."""

from functools import cache
from itertools import combinations, pairwise
from pathlib import Path
from random import Random
from xml.etree import ElementTree

import pytest

import verifier
from tests.differential.wirings import write_wired
from tests.drawing.wiring_reader import Page, read
from tests.junction_files import WIRED_SPECS
from verifier.cli import main
from verifier.drawing.svg.placer import Box
from verifier.drawing.wiring.picture import WiringPage, below_each_other, printable, wiring_pages
from verifier.drawing.wiring.routing import Crossing, lanes, uncrossed
from verifier.plan.model import Plan
from verifier.sheets.options import USUAL_OPTIONS
from verifier.sheets.terminals import harness
from verifier.sheets.wiring import wiring_sheet

every_wired = pytest.mark.parametrize("path", WIRED_SPECS, ids=lambda path: path.stem)
TWO_OF_EACH = next(path for path in WIRED_SPECS if path.stem == "two-of-each-part")
PASSING = next(path for path in WIRED_SPECS if path.stem == "wired-passing-siding")


@cache
def drawn(path: Path) -> tuple[Plan, tuple[WiringPage, ...]]:
    plan = verifier.load(path)
    return plan, wiring_pages(plan)


def agrees(plan: Plan, pages: tuple[WiringPage, ...]) -> None:
    """The pages show just the wires of the list, as the list has them."""
    seen = read([page.svg for page in pages])
    page_of = {
        terminal: number
        for number, page in enumerate(pages, start=1)
        for terminal in Page(ElementTree.fromstring(page.svg)).pins().values()
    }
    sheet = wiring_sheet(plan, USUAL_OPTIONS)
    rows = [row for table in sheet.tables if table.columns[1] == "no." for row in table.rows]
    assert sorted(seen) == [int(row[1]) for row in rows]
    wires = {wire.number: wire for wire in harness(plan).wires}
    for row in rows:
        number, color, gauge, through, *ends = (row[n] for n in (1, 5, 6, 8, 9, 10))
        wire, plain = seen[int(number)], wires[int(number)]
        at = [str(end) for end in (plain.start, plain.end) if end is not None]
        assert [end.rpartition(":")[2] for end in at] == [end for end in ends if end != "-"]
        assert sorted(wire.ends) == sorted(at)
        said = f"{number} {color}" + (f" {gauge}" if gauge != "not given" else "")
        assert any(words == said or words.startswith((f"{said},", f"{said} to")) for words in
                   wire.words), (said, wire.words)  # fmt: skip
        for here, far in wire.far.items():
            other = next((end for end in at if end != here), None)
            if other is None:
                assert far.endswith(("(not given)", "(not given) cut", "(not given) through"))
                continue
            page = f", p. {page_of[other]}" if page_of[other] != page_of[here] else ""
            assert far == other + page
        names = [one.split(",")[0] for one in through.split(", ") if not one.endswith("turns")]
        assert wire.through == [" + ".join(names)] if through != "-" else wire.through == []


@every_wired
def test_diagram_and_list_agree_wire_by_wire(path: Path) -> None:
    agrees(*drawn(path))


def test_diagram_and_list_agree_on_layouts_by_chance() -> None:
    for seed in range(12):
        plan = verifier.load_text(write_wired(Random(seed), 200_000))
        pages = wiring_pages(plan)
        agrees(plan, pages)
        for page in pages:
            tidy(page)


def tidy(drawn_page: WiringPage) -> None:
    """No words on other words, none on a line of another wire or off the page; no two lines
    touch."""
    page = Page(ElementTree.fromstring(drawn_page.svg))
    texts = list(page.texts())
    paper = Box(0, 0, drawn_page.width, drawn_page.height)
    for words, box in texts:
        assert box.x >= 0 and box.right <= paper.right and box.bottom <= paper.bottom, words
    by_height = sorted(texts, key=lambda one: one[1].y)
    for n, (words, box) in enumerate(by_height):
        for others, other in by_height[n + 1 :]:
            if other.y >= box.bottom:
                break
            assert not box.meets(other), f"{words!r} on {others!r}"
    for (title, frame), (another, near) in combinations(page.boxes(), 2):
        assert not frame.meets(near), f"{title} on {another}"
    lines = [(number, line) for number, line, _, _ in page.wires()]
    segments = [(number, a, b) for number, line in lines for a, b in pairwise(line)]
    for (one, a, b), (two, c, d) in combinations(segments, 2):
        if one != two:
            way = Box(min(a[0], b[0]), min(a[1], b[1]), abs(a[0] - b[0]), abs(a[1] - b[1]))
            assert not way.crossed_by(c, d), f"wires {one} and {two} touch"
    own = {words for _, _, several, _ in page.wires() for words in several}
    for words, box in texts:
        if words not in own and not words.endswith(("turn", "turns")):
            assert not any(box.crossed_by(a, b) for _, a, b in segments), words


@every_wired
def test_nothing_overlaps(path: Path) -> None:
    for page in drawn(path)[1]:
        tidy(page)


@every_wired
def test_nothing_is_said_by_color_alone(path: Path) -> None:
    """Whoever makes every line black loses nothing: each wire has its color in words, and nothing
    else is colored."""
    plan, pages = drawn(path)
    colors = {wire.number: wire.color for wire in harness(plan).wires}
    for drawn_page in pages:
        page = Page(ElementTree.fromstring(drawn_page.svg))
        painted = set()
        for group in page.all("g", "wire"):
            painted |= {one for one in group.iter() if one.get("stroke")}
        assert {one for one in page.root.iter() if one.get("stroke") or one.get("fill")} <= painted
        for number, _, words, _ in page.wires():
            assert f"{number} {colors[number]}" in words[0]


def test_what_can_be_drawn_without_crossing_is() -> None:
    """More lines than any other choice that keeps both orders, and lanes that do not touch."""
    chance = Random(7)
    for _ in range(60):
        rows = chance.sample(range(20), 7)
        wires = [Crossing(n, n * 2 + 1, row * 2) for n, row in enumerate(rows)]
        kept = uncrossed(wires)
        best = max(
            size
            for size in range(len(wires) + 1)
            for some in combinations(wires, size)
            if all(a.end < b.end for a, b in pairwise(some))
        )
        assert len(kept) == best
        lane = lanes(kept)
        for a, b in combinations(kept, 2):
            for down, across in ((a, b), (b, a)):
                low, high = sorted((down.start, down.end))
                x = lane[down.wire]
                assert not (low <= across.start <= high and x <= lane[across.wire])
                assert not (low <= across.end <= high and x >= lane[across.wire])


# ------------------------------------------------------------------ the command


def test_a_page_of_its_own_and_a_document(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target = tmp_path / "wiring.html"
    assert main(["draw", str(PASSING), "--wiring", "-o", str(target)]) == 0
    assert "3 pages: Power plan; T1 (2R, 2LA, 2LB); T5" in " ".join(capsys.readouterr().out.split())
    assert target.read_text("utf-8").count('<div class="page">') == 3
    assert main(["draw", str(PASSING), "--wiring", "--place", "6RA"]) == 0
    one = capsys.readouterr().out
    assert one.count("<svg") == 1 and "B4" in one and "B1:" in one
    assert main(["draw", str(PASSING), "--wiring", "--power", "--wire-colors",
                 "red,black,white,green,blue,orange,brown,violet,gray"]) == 0  # fmt: skip
    power = capsys.readouterr().out
    assert power.count("<svg") == 1 and "Bus-West" in power and "yellow" not in power
    assert main(["draw", str(PASSING), "--wiring"]) == 0
    assert capsys.readouterr().out.count("<svg") == 4


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--wiring", "--place", "D-Mian"], "`D-Main`"),
        (["--place", "T1"], "add --wiring"),
        (["--power"], "add --wiring"),
        (["--wiring", "--power", "--place", "T1"], "leave one of them out"),
        (["--wiring", "--gaps"], "leave out facts"),
        (["--wiring", "--feeders"], "leave --feeders"),
        (["T1 reverse", "--wiring"], "leave out facts"),
        (["--wiring", "--wire-colors", "red"], "color"),
    ],
)
def test_bad_choices_have_messages(
    words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["draw", str(PASSING), *words]) == 2
    assert said in " ".join(capsys.readouterr().err.split())


def test_a_file_without_wiring(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "bare.ixl"
    file.write_text("edge A\nblock B\nbumper C\ntrack A = B = C\n")
    assert main(["draw", str(file), "--wiring"]) == 2
    assert "says nothing of its wiring" in " ".join(capsys.readouterr().err.split())


def test_every_page_says_what_is_dangerous_and_fits_both_papers() -> None:
    _, pages = drawn(TWO_OF_EACH)
    for page in pages:
        words = " ".join(words for words, _ in Page(ElementTree.fromstring(page.svg)).texts())
        assert "qualified person" in words and "local code" in words
    text = printable(pages, "x")
    assert "size:landscape" in text and "max-height" in text
    ElementTree.fromstring(below_each_other(pages))
