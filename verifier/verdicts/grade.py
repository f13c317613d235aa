"""What a proof is worth: its grade, and what keeps it from a higher one.

Grades, exit codes and whatever says that a proof falls short are read off one list of
:class:`Shortfall`; nothing else decides them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Literal

from verifier.verdicts.exit_codes import ExitCode, worst


class Grade(Enum):
    """What is proved of a file as a whole, the most first."""

    # Every history was considered, and every single moment.
    OPERATION = "proved in operation"
    # Histories were not: the file says nothing of trains or time.
    MOMENT = "proved at every single moment"
    # No question was asked, or none that could have been answered otherwise.
    NOTHING = "nothing to prove"
    # Something is broken, undecided, set aside or was not looked at.
    NONE = "not proved"


class ShortfallKind(Enum):
    """Everything that a proof can fall short by."""

    BROKEN = "broken"
    UNMET = "not as expected"
    UNDECIDED = "undecided"
    STOPPED = "stopped"
    KEPT_OUT = "kept out"
    NOTHING_CLEARS = "nothing clears"
    NO_TRAINS = "no trains"
    NOTHING_ASKED = "nothing asked"
    KNOWN = "known"
    EXPECTED = "broken as expected"
    WAIVED = "waived"
    SELECTED = "selected"
    NO_HISTORIES = "no histories"

    @property
    def at_best(self) -> Grade:
        """The highest grade of a file that falls short by this."""
        return _LIMITS[self][0]

    @property
    def exit_code(self) -> ExitCode:
        """The exit code of a file that falls short by this alone."""
        return _LIMITS[self][1]


_LIMITS = {
    ShortfallKind.BROKEN: (Grade.NONE, ExitCode.BROKEN),
    ShortfallKind.UNMET: (Grade.NONE, ExitCode.BROKEN),
    ShortfallKind.UNDECIDED: (Grade.NONE, ExitCode.UNDECIDED),
    ShortfallKind.STOPPED: (Grade.NONE, ExitCode.UNDECIDED),
    ShortfallKind.KEPT_OUT: (Grade.NONE, ExitCode.UNDECIDED),
    ShortfallKind.NOTHING_CLEARS: (Grade.NOTHING, ExitCode.UNDECIDED),
    ShortfallKind.NO_TRAINS: (Grade.NOTHING, ExitCode.UNDECIDED),
    ShortfallKind.NOTHING_ASKED: (Grade.NOTHING, ExitCode.UNDECIDED),
    ShortfallKind.KNOWN: (Grade.NONE, ExitCode.AS_EXPECTED),
    ShortfallKind.EXPECTED: (Grade.NONE, ExitCode.AS_EXPECTED),
    ShortfallKind.WAIVED: (Grade.NONE, ExitCode.AS_EXPECTED),
    ShortfallKind.SELECTED: (Grade.NONE, ExitCode.AS_EXPECTED),
    ShortfallKind.NO_HISTORIES: (Grade.MOMENT, ExitCode.AS_EXPECTED),
}


@dataclass(frozen=True, slots=True)
class Shortfall:
    """Something that a proof falls short by: how much of it (``number``), or what (``names``)."""

    kind: ShortfallKind
    number: int = 0
    names: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class KeptOut:
    """What trains never come to, and would without some assumptions or promises (``titles``);
    without titles, a block that they come to only if some stand there at the start. Not ``sure``:
    that was not decided in time."""

    titles: tuple[str, ...]
    kind: Literal["block", "signal", "route"]
    name: str
    sure: bool = True


def grade_of(shortfalls: Sequence[Shortfall]) -> Grade:
    """The grade of a file that falls short by all these."""
    limits = [shortfall.kind.at_best for shortfall in shortfalls]
    return max(limits, key=list(Grade).index, default=Grade.OPERATION)


def exit_code_of(shortfalls: Sequence[Shortfall], required: Grade | None = None) -> ExitCode:
    """The exit code of a file that falls short by all these; less than the grade ``required``
    counts as undecided."""
    codes = [shortfall.kind.exit_code for shortfall in shortfalls]
    if required is not None and lacks(grade_of(shortfalls), required):
        codes.append(ExitCode.UNDECIDED)
    return worst(codes)


def lacks(grade: Grade, required: Grade) -> bool:
    """Whether a grade is less than the one required."""
    order = list(Grade)
    return order.index(grade) > order.index(required)
