"""The C file of a junction, and whether it was shown to give what the rules give.

In: a checked plan. Out: the export and the answer. Nobody should write the text unless the answer
is :class:`~verifier.exports.equivalence.Equivalent`.
"""

from pathlib import Path

from verifier.exports.c_source import CExport, c_source
from verifier.exports.equivalence import Equivalent, Inconclusive, NotEquivalent, compare
from verifier.exports.interface import MOST_POSITIONS, TooManyPositions
from verifier.plan.model import Plan


class NothingToExport(Exception):
    """A plan of which no C can be made; the text says why, in the words of the trade."""


def checked_export(
    plan: Plan, timeout: float | None = None, graded: str = ""
) -> tuple[CExport, Equivalent | NotEquivalent | Inconclusive]:
    """``timeout`` in seconds for the comparison, None for no limit; ``graded``: what is proved of
    the rules, where that was worked out. Raises :class:`NothingToExport`."""
    if not plan.signals:
        raise NothingToExport("there are no signals, so there are no rules to run")
    try:
        made = c_source(plan, Path(plan.source.name).stem, plan.source.digest, graded)
    except TooManyPositions as error:
        raise NothingToExport(
            f"lever {error.lever} has more than the {MOST_POSITIONS} positions that can be told "
            "apart at an input"
        ) from None
    return made, compare(made, timeout)
