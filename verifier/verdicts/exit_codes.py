"""The exit codes of every command, in one table."""

from collections.abc import Iterable
from enum import IntEnum


class ExitCode(IntEnum):
    """What a command returns to whoever ran it."""

    AS_EXPECTED = 0
    BROKEN = 1
    BAD_INPUT = 2
    UNDECIDED = 3
    OUR_BUG = 4

    @property
    def meaning(self) -> str:
        return _MEANINGS[self]


_MEANINGS = {
    ExitCode.AS_EXPECTED: "everything is as the files say (each with its grade)",
    ExitCode.BROKEN: "something is broken, or something expected to be broken is not",
    ExitCode.BAD_INPUT: "the input is wrong",
    ExitCode.UNDECIDED: "nothing is broken, but something is undecided, unread or not asked",
    ExitCode.OUR_BUG: "a bug of clearproof's own",
}

# Of several files, and of all that is wrong with one, the worst counts.
_WORST_FIRST = (
    ExitCode.OUR_BUG,
    ExitCode.BAD_INPUT,
    ExitCode.BROKEN,
    ExitCode.UNDECIDED,
    ExitCode.AS_EXPECTED,
)


def worst(codes: Iterable[ExitCode]) -> ExitCode:
    """The exit code for several files together; that of no file at all is 0."""
    found = {*codes, ExitCode.AS_EXPECTED}
    return next(code for code in _WORST_FIRST if code in found)


def table() -> list[str]:
    return [f"{int(code)}  {code.meaning}" for code in ExitCode]
