"""How far long work has come, for whoever waits."""

from collections.abc import Callable

from verifier.verdicts.report import Verdict

# Told how much of what is being done is done, and of how much: of a proof, the obligations decided
# and all of them. It may be told the same again.
Progress = Callable[[int, int], None]

# Told each verdict as soon as it is known. A verdict may be told again, with repairs.
OnVerdict = Callable[[Verdict], None]


def silent(done: int, of: int) -> None:
    """Nobody is told."""


def unheard(verdict: Verdict) -> None:
    """Nobody is told."""
