"""How far the work on a test card has come, for whoever waits."""

from collections.abc import Callable

# Told how much of what is being done is done, and of how much.
Progress = Callable[[int, int], None]


def silent(done: int, of: int) -> None:
    """Nobody is told."""
