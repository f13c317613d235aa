"""The C file of a junction, and whether it was shown to give what the rules give.

In: a checked plan. Out: the export and the answer. Nobody should write the text unless the answer
is :class:`~verifier.exports.equivalence.Equivalent`.
"""

from pathlib import Path

from verifier.exports.c_source import CExport, c_source
from verifier.exports.equivalence import Equivalent, Inconclusive, NotEquivalent, compare
from verifier.exports.interface import MOST_POSITIONS, TooManyPositions
from verifier.language.listing import listing
from verifier.plan.model import Plan


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
    told = [one.name for one in driver.reads or () if one.heard == "signal"]
    if told:
        raise NothingToExport(
            f"{board} is told by wire what {listing(told)} shows, and no C is made for that: let "
            "it read what the rules of that signal ask for"
        )
    if not (driver.heads or driver.throws or building.board == board):
        raise NothingToExport(f"{board} lights nothing and throws nothing")
