"""The C file of a junction, and whether it was shown to give what the rules give.

In: a checked plan. Out: the export and the answer. Nobody should write the text unless the answer
is :class:`~verifier.exports.equivalence.Equivalent`.
"""

from pathlib import Path

from verifier.exports.asked_for import observables_read
from verifier.exports.c_source import CExport, c_source
from verifier.exports.equivalence import Equivalent, Inconclusive, NotEquivalent, compare
from verifier.exports.interface import (
    MOST_POSITIONS,
    TooManyPositions,
    interface_of,
)
from verifier.exports.told_signals import told_in_a_circle, told_signals
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.listing import listing
from verifier.plan.model import Plan
from verifier.plan.signals.heads import signal_of
from verifier.world.report_abstraction import ReportedWorld
from verifier.world.world import check_circles


class NothingToExport(Exception):
    """A plan of which no C can be made; the text says why, in the words of the trade."""


def checked_export(
    plan: Plan, timeout: float | None = None, graded: str = "", board: str | None = None
) -> tuple[CExport, Equivalent | NotEquivalent | Inconclusive]:
    """``timeout`` in seconds for the comparison, None for no limit; ``graded``: what is proved of
    the rules, where that was worked out; ``board``: the driver that it is for. Raises
    :class:`NothingToExport`."""
    if board is not None:
        _check_board(board, plan)
    if not plan.signals:
        raise NothingToExport("there are no signals, so there are no rules to run")
    try:
        if board is not None:
            _check_told(board, plan)
        made = c_source(plan, Path(plan.source.name).stem, plan.source.digest, graded, board)
    except TooManyPositions as error:
        raise NothingToExport(
            f"lever {error.lever} has more than the {MOST_POSITIONS} positions that can be told "
            "apart at an input"
        ) from None
    return made, compare(made, timeout)


def _check_board(board: str, plan: Plan) -> None:
    drivers, locking = plan.wiring.drivers, plan.locking
    if board not in drivers:
        known = f"its boards are {listing(list(drivers))}" if drivers else "it has no `driver`"
        raise NothingToExport(f"no board is called {board}: {known}")
    building = locking.building
    if building.kind == "as one program" and locking.memory and building.board is None:
        raise NothingToExport(
            "the file does not say on which board its program runs: write `built as one program on "
            f"{board}`"
        )
    driver = drivers[board]
    if not (driver.heads or driver.throws or building.board == board):
        raise NothingToExport(f"{board} lights nothing and throws nothing")


def _check_told(board: str, plan: Plan) -> None:
    """That a board can go by what it is told of signals of others."""
    driver = plan.wiring.drivers[board]
    told = told_signals(driver, plan)
    if not told:
        return
    face = interface_of(plan, board)
    part = face.plan
    for what in observables_read(part):
        signal = signal_of(what.name, plan.signals)
        if what.kind == "color" and signal in told:
            raise NothingToExport(
                f"the rules of {board} ask for the color of {what.name}, and its wires tell it the "
                f"aspect of {signal} alone: let these rules ask which aspect {signal} shows"
            )
    circle = told_in_a_circle(driver, part.signals, plan)
    if circle is not None:
        own, other, keeper = circle
        raise NothingToExport(
            f"{own} of {board} depends on {other} of {keeper}, {other} on {own}, and each board is "
            "told by wire what the other shows: then it matters which board is the quicker. Let "
            "one board light both, or leave one of the signals out of what the other board "
            "`reads`"
        )
    try:
        check_circles(ReportedWorld(plan, face.told), part.signals.values())
    except InputError:
        raise NothingToExport(
            f"signals that {board} works out depend on each other, and not whatever it is told of "
            f"{listing(told)} decides between them: leave that out of what {board} `reads`, so "
            "that it works that out too"
        ) from None
