"""How far a proof is: one line on a terminal, after a second, and never anywhere else."""

import io

from verifier.reports.progress import AFTER, EVERY, ProgressLine


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
    progress = ProgressLine(terminal, "otter.ixl", clock)
    progress(1, 40)
    clock.now += AFTER - 0.01
    progress(2, 40)
    assert terminal.getvalue() == ""
    clock.now += 0.02
    progress(10, 40)
    assert screen(terminal.getvalue()) == "otter.ixl: 10 of 40 questions (25 %), 1 s"
    clock.now += 9
    progress(9, 40)
    assert screen(terminal.getvalue()) == "otter.ixl: 9 of 40 questions (22 %), 10 s"
    assert "\n" not in terminal.getvalue()


def test_it_is_not_written_for_every_question() -> None:
    terminal, clock = Terminal(), Clock()
    progress = ProgressLine(terminal, "otter.ixl", clock)
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
    progress = ProgressLine(terminal, "otter.ixl", clock)
    progress.clear()
    assert terminal.getvalue() == ""
    clock.now += AFTER
    progress(1, 2)
    assert screen(terminal.getvalue())
    progress.clear()
    assert screen(terminal.getvalue()) == ""
    assert terminal.getvalue().endswith("\r")


def test_quiet_where_there_is_no_terminal() -> None:
    stream, clock = io.StringIO(), Clock()
    progress = ProgressLine(stream, "otter.ixl", clock)
    clock.now += 60
    progress(1, 2)
    progress.clear()
    assert stream.getvalue() == ""


def test_names_that_the_terminal_cannot_show_do_no_harm() -> None:
    terminal, clock = Terminal(), Clock()
    terminal.encoding = "ascii"
    progress = ProgressLine(terminal, "l’Öttre.ixl", clock)
    clock.now += AFTER
    progress(1, 2)
    assert screen(terminal.getvalue()).isascii()
