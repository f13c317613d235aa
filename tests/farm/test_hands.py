"""Processes that do one piece of work after another, and the sweeps that use them."""

import csv
import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

import verifier
from tests.decide.layouts import BROKEN, SAFE
from tests.farm import requests
from tests.junction_files import spec
from verifier import ProofStore
from verifier.cli import main
from verifier.commands.cluster_proving import _Here, confirmed, work
from verifier.commands.proved_files import Asked, proved
from verifier.decide.earlier_proofs import Ways
from verifier.decide.sent_proofs import NoProof, received, sent, written
from verifier.farm import sweeps
from verifier.farm.answers import Answer, Lost, NotDone
from verifier.farm.evidence import Json, decided
from verifier.farm.hands import HandDied, NotWanted, end_all, hand, request
from verifier.farm.here import answers_here
from verifier.farm.journal import Journal
from verifier.farm.lent import lent
from verifier.farm.mutants import mutants
from verifier.farm.sweeping import swept
from verifier.farm.table import write_table
from verifier.farm.versions import difference, versions
from verifier.language.writing import UnwritableError
from verifier.pipeline import prove
from verifier.reports.ink import Ink
from verifier.verdicts.exit_codes import ExitCode

ASKED = Asked(Ink(), alone=True)
KEY = b"k" * 32


def ask(name: str, *given: object, wanted: bool = True) -> Json:
    with hand() as held:
        answer = held.ask(request(f"{requests.__name__}:{name}", *given), lambda: wanted)
    told: Json = json.loads(answer)
    return told


def test_a_hand_answers_raises_dies_and_is_ended(tmp_path: Path) -> None:
    noted = str(tmp_path / "noted")
    assert ask("squared", 7, noted) == {"answer": 49}
    assert ask("raises", 1) == {"raised": "ValueError: as asked"}
    with pytest.raises(HandDied):
        ask("dies", 1)
    with pytest.raises(NotWanted):
        ask("squared", 8, noted, 60.0, wanted=False)
    assert ask("squared", 9, noted) == {"answer": 81}
    assert Path(noted).read_text() == "7\n9\n"
    end_all()


def test_all_is_answered_but_what_a_process_dies_of(tmp_path: Path) -> None:
    noted = str(tmp_path / "noted")
    asked = [request(f"{requests.__name__}:squared", n, noted) for n in range(6)]
    asked[2] = request(f"{requests.__name__}:dies", 2)
    found = dict(answers_here(asked, 2, lambda done, of: None))
    assert isinstance(found.pop(2), Lost)
    assert found == {n: {"answer": n * n} for n in (0, 1, 3, 4, 5)}


def test_versions_that_differ_are_named() -> None:
    assert difference(versions()) is None
    words = difference({**versions(), "z3-solver": "1.0"})
    assert words is not None and words.startswith("z3-solver 1.0 there, ")
    assert difference({}) is not None


# ------------------------------------------------------------------ what is believed


def test_proofs_sent_are_tried_and_nothing_more() -> None:
    """The clauses of a proof, through JSON, prove the same; those that say too much do not."""
    plan, store = verifier.load(spec("locked-end-of-siding")), ProofStore()
    report = prove(plan, store=store, quick=True)
    data = json.loads(json.dumps(sent(store)))
    again = received(data)
    assert store.kinds and all(isinstance(kind, Ways) for kind in again.kinds)
    assert [again.clauses_of(kind) for kind in store.kinds] == [
        store.clauses_of(kind) for kind in store.kinds
    ]
    too_much = {**data, "clauses": [[kind, [["constant", False]]] for kind, _ in data["clauses"]]}
    broken = plan.signals and verifier.load(spec("locked-end-of-siding-no-route-locking"))
    assert broken
    for tried in (data, too_much):
        quick = prove(plan, store=received(tried), quick=True)
        told = {v.obligation.key: v.status for v in quick.verdicts if v.obligation.mode == "never"}
        assert told.items() <= {v.obligation.key: v.status for v in report.verdicts}.items()
    # What was proved of the safe one proves nothing of one that is not.
    found = prove(broken, store=received(too_much), quick=True)
    assert any(v.status == "broken" for v in found.verdicts)


@pytest.mark.parametrize("damage", ["whats", "clauses", "orders", "states"])
def test_what_is_no_proof_is_refused(damage: str) -> None:
    data = sent(ProofStore())
    for wrong in (None, 7, [[1]], [["atom", 99, []]], {"a": 1}):
        with pytest.raises(NoProof):
            received({**data, damage: wrong})


@pytest.fixture
def files(tmp_path: Path) -> dict[str, Path]:
    found = {name: tmp_path / f"{name}.ixl" for name in ("safe", "broken")}
    # One condition is said twice: nothing is lost without it.
    twice = SAFE.replace(
        "T1 normal and Switch, Main clear", "T1 normal and Switch, Main, Main clear"
    )
    found["safe"].write_text(twice, "utf-8")
    found["broken"].write_text(BROKEN, "utf-8")
    return found


def test_a_worker_that_lies_proves_nothing(files: dict[str, Path]) -> None:
    """Of a broken file it says what is true of a safe one; here it is proved again."""
    file = lent(files["broken"])
    honest = work(ASKED, file, None)
    assert confirmed(ASKED, file, honest, None)
    safe = work(ASKED, replace(file, raw=SAFE.encode()), None)
    code = {**honest, "outcome": {**honest["outcome"], "code": 0}}
    lies: Sequence[Answer] = [{"answer": lie} for lie in (safe, code, {**honest, "decided": {}})]
    assert not any(confirmed(ASKED, file, lie["answer"], None) for lie in lies)  # type: ignore[index]
    here, truth = _Here(ASKED), proved(ASKED, files["broken"])
    assert truth.code == ExitCode.BROKEN
    for answer in (*lies, {"answer": 7}, {"answer": None}, {"raised": "X"}, {"else": 1}):
        outcome = here.outcome(file, answer, None)
        assert (outcome.code, outcome.lines) == (truth.code, truth.lines)
    end_all()


def test_a_worker_that_is_gone_proves_nothing(files: dict[str, Path]) -> None:
    file = lent(files["safe"])
    for answer in (Lost("it has gone"), NotDone()):
        outcome = _Here(ASKED).outcome(file, answer, None)
        assert outcome.code == ExitCode.UNDECIDED
        assert "not proved: undecided" in outcome.lines[0]


def test_a_file_is_lent_with_what_it_includes(tmp_path: Path) -> None:
    (tmp_path / "parts").mkdir()
    (tmp_path / "parts" / "b.ixl").write_text(
        "signal 2 at A | B\n  Clear when B clear\n  Stop otherwise\n"
    )
    main_file = tmp_path / "a.ixl"
    track = "block A, B\nedge West, East\ntrack West = A | B = East\n"
    main_file.write_text(f'{track}include "parts/b.ixl"\n')
    file = lent(main_file)
    assert [name for name, _ in file.others] == ["parts/b.ixl"]
    told, here = work(ASKED, file, None), proved(ASKED, main_file)
    assert tuple(told["outcome"]["lines"]) == here.lines
    assert any("parts/b.ixl" in line for line in here.lines) or here.code == ExitCode.AS_EXPECTED


# ------------------------------------------------------------------ sweeps


def rows_of(table: Path) -> list[dict[str, str]]:
    with table.open(newline="") as file:
        return list(csv.DictReader(file))


def test_mutants_lines_and_junctions(
    files: dict[str, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "table.csv"
    assert main(["farm", "mutants", str(files["safe"]), "-o", str(out)]) == ExitCode.AS_EXPECTED
    rows = rows_of(out)
    assert len(rows) == 17 and {row["result"] for row in rows} == {"unsafe", "harmless"}
    needed = {row["left out"].split(": ")[1] for row in rows if row["result"] == "unsafe"}
    assert "4RB Clear without `Single clear`" in needed
    assert main(["farm", "lines", "2-3", "-o", str(out), "--jobs", "1"]) == ExitCode.AS_EXPECTED
    assert [row["result"] for row in rows_of(out)] == ["proved at every single moment"] * 2
    (tmp_path / "wrong.ixl").write_text("signal\n")
    every = [str(files["safe"]), str(files["broken"]), str(tmp_path / "wrong.ixl")]
    assert main(["farm", "junctions", *every, "-o", str(out)]) == ExitCode.AS_EXPECTED
    assert [row["result"] for row in rows_of(out)] == ["agrees", "agrees", "refused: CP105"]
    assert [row["broken"] for row in rows_of(out)] == ["0", "2", ""]
    assert not list(tmp_path.glob("*.journal"))
    assert "Table written" in capsys.readouterr().out
    end_all()


def test_a_difference_is_found(files: dict[str, Path], monkeypatch: pytest.MonkeyPatch) -> None:
    """Solver and reference are compared: where one says something else, the row says so."""
    from verifier.logic.expr import FALSE
    from verifier.world.world import World

    file = lent(files["broken"])
    assert sweeps.junction(file)["row"]["result"] == "agrees"
    monkeypatch.setattr(World, "expand", lambda self, expr: FALSE)
    assert sweeps.junction(file)["row"]["result"] == "differs"


def test_a_mutant_claimed_harmless_or_unsafe_is_looked_at_here(files: dict[str, Path]) -> None:
    file = lent(files["safe"])
    every = {n: sweeps.mutant(file, n) for n in range(17)}
    assert all(sweeps.mutant_found_too(told, file, n) for n, told in every.items())
    results = {told["row"]["result"]: n for n, told in every.items()}
    unsafe, harmless = results["unsafe"], results["harmless"]
    lie = {**every[harmless], "row": {**every[unsafe]["row"], "result": "harmless", "breaks": ""}}
    assert not sweeps.mutant_found_too(lie, file, unsafe)
    assert not sweeps.mutant_found_too(every[unsafe], file, harmless)
    row = every[unsafe]["row"]
    for wrong in (
        {"left out": "line 1: 2 Clear without `A clear`"}, {"file": "other.ixl"},
        {"breaks": f"{row['breaks']}; collision: T1"}, {"breaks": ""}, {"result": "Unsafe"},
        {"result": "refused: CP000"}, {"result": ""},
    ):  # fmt: skip
        lie = {**every[unsafe], "row": {**row, **wrong}}
        assert not sweeps.mutant_found_too(lie, file, unsafe), wrong
    for nothing in ("undecided", "refused: CP409"):
        told = {"row": {**row, "result": nothing, "breaks": ""}}
        assert sweeps.mutant_found_too(told, file, unsafe)
        assert not sweeps.mutant_found_too({"row": {**row, "result": nothing}}, file, unsafe)


DAMAGE: Sequence[object] = (
    None, 7, "x", [], [[]], {}, [7], [{}], [{"key": []}], [{"key": "x", "situation": [[1]]}],
)  # fmt: skip


def test_whatever_a_worker_sends_of_a_mutant_or_a_line_is_data(files: dict[str, Path]) -> None:
    """What is no proof, or shows nothing, is not found here; nothing is raised."""
    file = lent(files["safe"])
    told = {n: sweeps.mutant(file, n) for n in (0, 1, 2)}
    unsafe = next(n for n in told if told[n]["row"]["result"] == "unsafe")
    row, shown = told[unsafe]["row"], told[unsafe]["shown"]
    key, line = shown[0]["key"], sweeps.sized(2, "none")
    of_moments = ({"moments": [[]], "seconds": ["1/0"]}, {"moments": [shown[0]["situation"]]})
    others = ({"situation": [*shown[0]["situation"], ["relay", "R", ["up", "down"], "down", "",
                                                      "up"]]}, *of_moments)  # fmt: skip
    one = {**row, "breaks": key}
    for damage in (*DAMAGE, *([{"key": key, **other}] for other in others), [*shown, *shown]):
        for claimed in (row, one, {**row, "result": "harmless", "breaks": ""}):
            wrong = {"row": claimed, "shown": damage, "proofs": damage}
            assert not sweeps.mutant_found_too(wrong, file, unsafe), damage
        assert not sweeps.sized_found_too({**line, "proofs": damage}, 2, "none")
        assert not sweeps.sized_found_too({**line, "decided": damage}, 2, "none")
    assert not sweeps.mutant_found_too({"row": row}, file, unsafe)
    assert not sweeps.sized_found_too({"row": line["row"]}, 2, "none")
    assert sweeps.sized_found_too(line, 2, "none")


RELAYED = """
edge West entering only
edge East leaving only
block Near, Far
lever L positions normal, reverse
track West = Near | Far = East
trains obey signals
built of relays
relay A
  picks when L reverse{and_not}
signal 2 at Near | Far
  Clear  when A up and Far clear
  Stop   otherwise
"""


@pytest.mark.parametrize("and_not, result", [("", "unsafe"), (" and L normal", "harmless")])
def test_what_is_unsafe_over_time_has_a_history_that_is_one(
    and_not: str, result: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A situation says nothing of what is remembered in it, nor does a history too hasty."""
    path = tmp_path / "relayed.ixl"
    path.write_text(RELAYED.format(and_not=and_not), "utf-8")
    file, key = lent(path), "proceed-into-occupied: 2, Far"
    plan, _ = file.checked()
    wanted = {"A": "up", "Far": "occupied"}
    facts = [[*written(w), wanted[w.name]] for w in plan.inputs if w.name in wanted]
    assert len(facts) == 2
    [number] = [n for n, one in enumerate(mutants(plan)) if "`Far clear`" in one.said]
    told = sweeps.mutant(file, number)
    assert told["row"]["result"] == result and sweeps.mutant_found_too(told, file, number)
    row = {**told["row"], "result": "unsafe", "breaks": key}
    lie = {"row": row, "shown": [{"key": key, "situation": facts}]}
    assert not sweeps.mutant_found_too(lie, file, number)
    if result == "unsafe":
        [shown] = told["shown"]
        short = {**told, "shown": [{**shown, "moments": shown["moments"][:-1]}]}
        assert not sweeps.mutant_found_too(short, file, number)
        monkeypatch.setattr("verifier.decide.replayed.is_prompt", lambda *_, **__: False)
        assert not sweeps.mutant_found_too(told, file, number)


def test_a_sweep_is_taken_up_again(files: dict[str, Path], tmp_path: Path) -> None:
    """What the journal has is not worked out again; what is damaged or signed otherwise is."""
    cases = list(sweeps.junction_cases([lent(path) for path in files.values()]))
    columns, table = sweeps.JUNCTION_COLUMNS, tmp_path / "t.csv"
    asked: list[int] = []

    def run(key: bytes = KEY, sweep: str = "one") -> list[object]:
        def answers(some: Sequence[bytes]):  # type: ignore[no-untyped-def]
            asked.append(len(some))
            return answers_here(some, 1, lambda done, of: None)

        with Journal(table, key, sweep) as journal:
            return list(swept(cases, columns, journal, answers, 1, checks=False).rows)

    first = run()
    assert None not in first and asked == [2]
    assert run() == first and asked == [2]
    journal = tmp_path / "t.csv.journal"
    whole = journal.read_bytes()
    journal.write_bytes(whole[:-20])  # the computer stopped while it was written
    assert run() == first and asked == [2, 1]
    assert run() == first and asked == [2, 1]
    journal.write_bytes(whole.replace(b"agrees", b"Agrees"))
    assert run() == first and asked == [2, 1, 2]
    journal.write_bytes(whole)
    assert run(b"x" * 32) == first and asked == [2, 1, 2, 2]
    journal.write_bytes(whole)
    assert run(sweep="another") == first and asked == [2, 1, 2, 2, 2]
    end_all()


def test_what_workers_die_of_is_told_and_not_made_up(tmp_path: Path) -> None:
    cases = [sweeps.Case("x", f"{requests.__name__}:dies", (1,), f"{requests.__name__}:dies")]
    with Journal(tmp_path / "t.csv", KEY, "one") as journal:
        found = swept(
            cases, ("file",), journal, lambda r: answers_here(r, 1, lambda d, o: None), 1,
            checks=False,
        )  # fmt: skip
    assert found.rows == (None,) and found.why


@pytest.mark.parametrize("name, words", [("t.txt", "a table ends in"), ("no/t.csv", "folder")])
def test_a_table_that_cannot_be_written(
    name: str, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code = main(["farm", "lines", "2", "-o", str(tmp_path / name)])
    assert code == ExitCode.BAD_INPUT
    [line] = capsys.readouterr().err.splitlines()
    assert words in line


def test_parquet_where_pyarrow_is(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "t.parquet"
    try:
        import pyarrow.parquet as parquet
    except ImportError:
        assert main(["farm", "lines", "2", "-o", str(path)]) == ExitCode.BAD_INPUT
        assert "needs pyarrow" in capsys.readouterr().err
        return
    write_table(path, ("a", "b"), [{"a": "1", "b": "2"}])
    assert parquet.read_table(path).to_pylist() == [{"a": "1", "b": "2"}]


@pytest.mark.parametrize("size", ["x", "0", "3", "4-2", "2-", "-3", "1-9999", "²"])
def test_a_size_that_cannot_be(
    size: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code = main(["farm", "lines", "-o", str(tmp_path / "t.csv"), "--", size])
    assert code == ExitCode.BAD_INPUT
    assert "even number of control points" in capsys.readouterr().err


def test_a_journal_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "t.csv.journal").mkdir()
    with pytest.raises(UnwritableError):
        Journal(tmp_path / "t.csv", KEY, "one")


def test_all_that_is_decided_is_compared() -> None:
    report = verifier.prove(verifier.load_text(BROKEN))
    found = decided(report)
    assert len(found["verdicts"]) == len(report.verdicts)
    assert found == decided(verifier.prove(verifier.load_text(BROKEN)))
    assert found != decided(verifier.prove(verifier.load_text(SAFE)))
