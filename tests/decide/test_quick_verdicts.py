"""Whether, before how: what earlier texts left is moved, or tried again, and not believed."""

import json
from collections.abc import Iterator, Sequence
from functools import lru_cache
from random import Random

import pytest

import verifier
from tests.decide.test_edits import EDITS, KINDS, LOCKED, of_locked, safety
from tests.junction_files import spec
from verifier import pipeline
from verifier.decide.moved_report import _Places
from verifier.engines.proof_store import ProofStore
from verifier.engines.results import Reachable
from verifier.engines.temporal import bmc
from verifier.engines.temporal.earlier_histories import EarlierHistories
from verifier.language.source import Span
from verifier.pipeline import prove
from verifier.reports.machine import file_report
from verifier.verdicts.causes import Cause
from verifier.verdicts.report import Report

HARMFUL = EDITS["both routes at once"]


def at_lines(text: str, remark: str, *numbers: int) -> str:
    """The text with a remark before some of its lines."""
    lines = text.splitlines(keepends=True)
    for number in sorted(numbers, reverse=True):
        lines.insert(number, remark)
    return "".join(lines)


def quick(text: str, store: ProofStore) -> Report:
    return prove(verifier.load_text(text), store=store, quick=True)


@lru_cache(maxsize=4)
def quick_from_scratch(text: str) -> Report:
    return quick(text, ProofStore())


@of_locked
@pytest.mark.parametrize("name", ["locked-end-of-siding", "wired-end-of-siding"])
def test_a_remark_moves_the_verdicts_and_asks_nothing(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = spec(name).read_text("utf-8")
    session = verifier.Session(text)
    first = session.verdicts()
    count = text.count("\n")
    moved = at_lines(text, "# a remark\n\n", 0, count // 3, count // 2, count - 3)
    alone = quick_from_scratch(moved)

    def asks(*_: object) -> None:
        raise AssertionError("something is asked")

    monkeypatch.setattr(pipeline, "_run", asks)
    session.edit(moved)
    second = session.verdicts()
    assert [*places(second, moved)] == [*places(first, text)]
    assert [*asked(second)] == [*asked(alone)] != [*asked(first)]
    assert second.kept_out == alone.kept_out and second.follows == alone.follows
    session.edit(text)
    assert json.dumps(file_report(session.verdicts())) == json.dumps(file_report(first))


def asked(report: Report) -> Iterator[tuple[str, str, list[tuple[int, int]]]]:
    """What is asked, the answers, and where."""
    for verdict in report.verdicts:
        spans = [(span.start, span.end) for span in verdict.obligation.spans]
        yield verdict.obligation.key, verdict.status, spans


def places(report: Report, text: str) -> Iterator[tuple[str, ...]]:
    """All that the report says of places, with the text there."""

    def there(span: Span | None) -> str:
        assert span is None or span.source.text == text
        return "" if span is None else span.first_line

    def behind(causes: Sequence[Cause]) -> Iterator[tuple[str, ...]]:
        for cause in causes:
            yield cause.text, there(cause.span)
            yield from behind(cause.because)

    for verdict in report.verdicts:
        yield verdict.obligation.trouble, *map(there, verdict.obligation.spans)
        if verdict.finding is not None:
            yield from behind(verdict.finding.causes)


@of_locked
def test_only_places_may_differ() -> None:
    text = LOCKED.read_text("utf-8")
    plan = verifier.load_text(text)

    def differs(other: str) -> bool:
        assert other != text
        return not _Places(plan, verifier.load_text(other)).are_all_that_differs

    assert not differs(at_lines(text, "# a remark\n", 3, 30))
    for name, edit in EDITS.items():
        assert differs(edit(text)) == (name != "remark"), name
    assert differs(text.replace("30 s", "31 s"))
    one, other = "relay 4L-route", "relay 4R-route"
    before, rest = text.split(one, 1)
    first, after = rest.split(other, 1)
    second, end = after.split("\n\n", 1)
    swapped = f"{before}{other}{second}\n\n{one}{first}{end}"
    assert sorted(swapped.split()) == sorted(text.split())
    assert differs(swapped), "the order of the file is that of relays"


@of_locked
def test_histories_of_an_earlier_text_are_found_again(monkeypatch: pytest.MonkeyPatch) -> None:
    text, store = LOCKED.read_text("utf-8"), ProofStore()
    broken = safety(quick(HARMFUL(text), store))
    assert "broken" in broken.values()
    later = HARMFUL(text).replace("30 s", "31 s")
    alone = safety(quick_from_scratch(later))
    searched: list[object] = []
    search = bmc.search

    def counted(system, bad, **how):  # type: ignore[no-untyped-def]
        found = search(system, bad, **how)
        searched.append(found)
        return found

    monkeypatch.setattr(bmc, "search", counted)
    assert safety(quick(later, store)) == alone
    found = [one for one in searched if isinstance(one, Reachable)]
    never = [key for key, status in alone.items() if status == "broken"]
    assert len(found) < len(never), "most are broken by a history that was known"


@of_locked
def test_histories_that_do_not_replay_are_not_shown() -> None:
    """Those of another text, of another file, and made up ones change no verdict."""
    text, store = LOCKED.read_text("utf-8"), ProofStore()
    quick(HARMFUL(text), store)
    quick(spec("single-track-no-traffic").read_text("utf-8"), store)
    chance = Random(1)
    alone = quick_from_scratch(text)
    for kind in KINDS:
        histories = EarlierHistories(store, kind)
        for key, trace in list(histories._kept.items()):
            made_up = [{w: chance.choice(w.values) for w in moment} for moment in trace]
            histories.learn(f"{key}, made up", [*trace, *made_up])
            histories.learn(f"{key}, made up too", made_up)
    assert sum(len(EarlierHistories(store, kind)) for kind in KINDS) > 20
    assert safety(quick(text, store)) == safety(alone)
