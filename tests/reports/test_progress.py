"""How far a proof is: one line on a terminal, after a second; elsewhere a plain line now and
then."""

import io
from dataclasses import replace

import pytest

import verifier
from tests.decide.layouts import BROKEN
from verifier.reports import progress as module
from verifier.reports.progress import AFTER, EVERY, PLAIN_AFTER, PLAIN_EVERY, ProgressLine


class Terminal(io.StringIO):
    encoding = "utf-8"

    def isatty(self) -> bool:
        return True


class Clock:
    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now


def screen(written: str) -> str:
    """What is to be seen of one line after all that was written to it."""
    line: list[str] = []
    at = 0
    for char in written:
        if char == "\r":
            at = 0
            continue
        line[at : at + 1] = char
        at += 1
    return "".join(line).rstrip()


def test_nothing_for_a_second_then_one_line_that_is_written_over() -> None:
    terminal, clock = Terminal(), Clock()
    progress = ProgressLine(terminal, "otter.ixl", "decided", clock)
    progress(1, 40)
    clock.now += AFTER - 0.01
    progress(2, 40)
    assert terminal.getvalue() == ""
    clock.now += 0.02
    progress(10, 40)
    assert screen(terminal.getvalue()) == "otter.ixl: 10 of 40 decided, 1 s"
    clock.now += 9
    progress(9, 40)
    assert screen(terminal.getvalue()) == "otter.ixl: 9 of 40 decided, 10 s"
    assert "\n" not in terminal.getvalue()


def test_it_is_not_written_for_every_question() -> None:
    terminal, clock = Terminal(), Clock()
    progress = ProgressLine(terminal, "otter.ixl", "decided", clock)
    clock.now += AFTER
    progress(1, 1000)
    before = terminal.getvalue()
    clock.now += EVERY / 2
    progress(2, 1000)
    assert terminal.getvalue() == before
    clock.now += EVERY
    progress(3, 1000)
    assert "3 of 1000" in terminal.getvalue()


def test_it_is_wiped_away() -> None:
    terminal, clock = Terminal(), Clock()
    progress = ProgressLine(terminal, "otter.ixl", "decided", clock)
    progress.clear()
    assert terminal.getvalue() == ""
    clock.now += AFTER
    progress(1, 2)
    assert screen(terminal.getvalue())
    progress.clear()
    assert screen(terminal.getvalue()) == ""
    assert terminal.getvalue().endswith("\r")


def test_a_plain_line_now_and_then_where_there_is_no_terminal() -> None:
    stream, clock = io.StringIO(), Clock()
    progress = ProgressLine(stream, "otter.ixl", "decided", clock)
    progress(1, 87)
    assert stream.getvalue() == ""
    for done in range(60):
        clock.now += 1
        progress(done, 87)
    progress.clear()
    lines = stream.getvalue().splitlines()
    first = int(PLAIN_AFTER)
    assert lines == [
        f"otter.ixl: {second - 1} of 87 decided, {second} s"
        for second in range(first, 61, int(PLAIN_EVERY))
    ]
    assert stream.getvalue().endswith("\n") and "\r" not in stream.getvalue()


def test_it_counts_what_is_broken() -> None:
    report = verifier.prove(verifier.load_text(BROKEN))
    broken = next(v for v in report.verdicts if v.fails)
    terminal, clock = Terminal(), Clock()
    progress = ProgressLine(terminal, "otter.ixl", "decided", clock)
    for verdict in (broken, report.verdicts[0], replace(broken, expected=True), broken):
        progress.on_verdict(verdict)
    clock.now += AFTER
    progress(3, 9)
    assert screen(terminal.getvalue()) == "otter.ixl: 3 of 9 decided, 1 broken so far, 1 s"


def test_it_is_shown_while_one_question_takes_long(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "BEAT", 0.001)
    terminal, clock = Terminal(), Clock()
    progress = ProgressLine(terminal, "otter.ixl", "decided", clock)
    with progress.alive():
        clock.now += AFTER
        while not terminal.getvalue():  # without a word from the proof
            pass
    assert terminal.getvalue().startswith("\rotter.ixl: 1 s")
    assert screen(terminal.getvalue()) == ""


class Gone(io.StringIO):
    def write(self, text: str) -> int:
        raise BrokenPipeError


def test_a_reader_that_goes_away_ends_nothing() -> None:
    clock = Clock()
    progress = ProgressLine(Gone(), "otter.ixl", "decided", clock)
    clock.now += 60
    progress(1, 2)
    clock.now += 60
    progress(2, 2)
    progress.clear()


def test_names_that_the_terminal_cannot_show_do_no_harm() -> None:
    terminal, clock = Terminal(), Clock()
    terminal.encoding = "ascii"
    progress = ProgressLine(terminal, "l’Öttre.ixl", "decided", clock)
    clock.now += AFTER
    progress(1, 2)
    assert screen(terminal.getvalue()).isascii()
