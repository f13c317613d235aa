"""Truth tables: every situation of a small junction is in one row, and the row says what the
evaluator says."""

from itertools import product
from random import Random

import pytest

import verifier
from tests.exports.compiled import as_one_program
from tests.exports.test_time import Controller
from tests.junction_files import spec
from verifier.exports.c_source import c_source
from verifier.exports.names import plain
from verifier.plan.model import Plan
from verifier.plan.observables import UNLISTED
from verifier.plan.situation import Situation
from verifier.reference.evaluator import evaluate
from verifier.sheets.sheet import Table
from verifier.sheets.truth import ANY, MOST_ROWS, truth_sheet

_KINDS = {"block": "block report", "points": "points report", "derail": "derail report",
          "gate": "gate report"}  # fmt: skip


def holding(table: Table, states: dict[str, str]) -> list[tuple[str, ...]]:
    """The rows that fit what comes in."""
    [end] = [i for i, c in enumerate(table.columns) if c in ("shows", "may be thrown", "becomes")]
    asked = range(1, end)
    return [
        row
        for row in table.rows
        if all(row[i] == ANY or states[table.columns[i]] in row[i].split(" or ") for i in asked)
    ]


def check(plan: Plan) -> int:
    tables = {t.title: t for t in truth_sheet(plan).tables if "shows" in t.columns}
    looked_at = 0
    for values in product(*(what.values for what in plan.inputs)):
        seen = evaluate(plan, Situation.of(zip(plan.inputs, values, strict=True)))
        words = {v: k for k, v in _KINDS.items()}
        states = {
            f"{words.get(w.kind, w.kind)} {w.name}": s
            for w, s in seen.states.items()
            if not w.reader
        }
        for signal in plan.signals.values():
            table = tables[signal.name]
            [row] = holding(table, states)
            shows = table.columns.index("shows")
            assert row[shows] == seen.aspect(signal)
            assert row[shows + 1 :] == seen.colors(signal)
            looked_at += 1
    return looked_at


@pytest.mark.parametrize(
    "name", ["both-green-broken", "crossover-mended", "diamond-mended", "order-of-lines-broken",
             "oval-three-blocks", "spur-mended", "slow-track-relay", "single-track-no-traffic",
             "electric-lock-too-soon"],
)  # fmt: skip
def test_every_situation_is_in_one_row(name: str) -> None:
    assert check(verifier.load(spec(name))) > 20


def test_colors_that_no_aspect_has_are_told_apart() -> None:
    plan = verifier.load_text(
        "edge W, E\nblock A, B\ntrack W = A | B = E\nlever 4 positions left, right\n"
        "signal 2 at A | B\n  heads upper, lower\n"
        "head 2.upper\n  green when B clear\n  yellow when 4 right\n  red otherwise\n"
        "head 2.lower\n  green when 4 left\n  red otherwise\n",
        "heads.ixl",
    )
    assert check(plan) == 8
    [table] = truth_sheet(plan).tables
    unlisted = {row[-2:] for row in table.rows if row[-3] == UNLISTED}
    assert ("green", "green") in unlisted


def test_what_decides_most_is_asked_first() -> None:
    """One row for each way in which a route is let go of, not one for each of its blocks."""
    tables = truth_sheet(verifier.load(spec("locked-end-of-siding"))).tables
    assert [len(table.rows) for table in tables[:3]] == [10, 8, 8]


@pytest.mark.parametrize(
    ("name", "seen"),
    [("slow-track-relay", 2), ("single-track-traffic", 2), ("electric-lock", 2),
     ("locked-end-of-siding", 12)],
)  # fmt: skip
def test_what_is_remembered_and_locked_is_as_the_exported_program_has_it(
    name: str, seen: int
) -> None:
    """The program is written from the rules and run here on plain numbers. It acts in the order of
    the file."""
    plan = as_one_program(verifier.load(spec(name)))
    controller = Controller(c_source(plan, name, "0" * 64))
    tables = {t.title: t for t in truth_sheet(plan).tables if "shows" not in t.columns}
    assert len(tables) == len(plan.locking.memory) + sum(
        throw.locked is not None for throw in plan.locking.throws.values()
    )
    chance, found = Random(name), set()
    for _ in range(200):
        states = controller.any_state(chance)
        assert controller.step(0)
        for title, table in tables.items():
            [row] = holding(table, states)
            kind, what = title.split(" ", 1)
            if kind == "points":
                free = controller.state[f"out->unlocked_{plain(what)}"].truth
                assert row[-1] == ("yes" if free else "no"), (title, states)
            else:
                [field] = [f.what for f in controller.export.face.memory if f.what.name == what]
                assert row[-1] == controller.memory(field), (title, states)
            found.add((title, row[-1]))
    assert len(found) >= seen and len(found) > len(tables)


def test_a_table_that_would_be_too_long_is_left_out_and_told() -> None:
    blocks = [f"B{i}" for i in range(24)]
    pairs = " or ".join(
        f"({a} clear and {b} occupied)" for a, b in zip(blocks[::2], blocks[1::2], strict=True)
    )
    plan = verifier.load_text(
        f"edge W, E\nblock {', '.join(blocks)}\ntrack W = {' | '.join(blocks)} = E\n"
        f"signal 2 at B0 | B1\n  Clear when {pairs}\n  Stop otherwise\n",
        "long.ixl",
    )
    sheet = truth_sheet(plan)
    assert not sheet.tables and f"more than {MOST_ROWS} rows" in " ".join(sheet.notes)


def test_the_table_of_a_relay_gives_its_state_as_it_sees_the_others() -> None:
    plan = verifier.load(spec("relay-race-broken"))
    sheet = truth_sheet(plan)
    assert any("as it sees them" in note for note in sheet.notes)
    table = next(t for t in sheet.tables if t.title == "relay 4R-route")
    first, second = (table.columns.index(f"relay {name}") for name in ("4L-route", "4R-route"))
    picks = [row for row in table.rows if row[-1] == "up" and row[second] == "down"]
    assert picks and all(row[first] == "down" for row in picks)
    program = next(
        t for t in truth_sheet(as_one_program(plan)).tables if t.title == "relay 4R-route"
    )
    assert "button Clear-4L" in program.columns and "button Clear-4L" not in table.columns
