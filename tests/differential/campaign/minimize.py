"""A case that disagrees, made small: statements and lines are left out while it still does.

In: a kind of case, a text and its number. Out: what is wrong, told apart by where it was raised;
and a text in which the same is wrong, of which nothing can be left out.
"""

import re
import traceback
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from random import Random

from tests.differential.campaign.kinds import Kind, Outcome

# How often a text is tried again, at most: each time takes as long as the case.
MOST_TRIES = 400


@dataclass(frozen=True, slots=True)
class Wrong:
    """What was raised, and where: two of one ``place`` are the same kind of disagreement."""

    place: str
    said: str


def tried(kind: Kind, text: str, seed: str) -> Outcome | Wrong:
    """What comes out of a text. Whatever is raised is wrong, but for Ctrl-C and time limits."""
    try:
        return kind.check(text, Random(seed))
    except Exception as error:  # what a check may raise is what is looked for
        last = traceback.extract_tb(error.__traceback__)[-1]
        place = f"{type(error).__name__} in {Path(last.filename).name}, {last.name}"
        return Wrong(place, str(error)[:2000])


def minimized(kind: Kind, text: str, seed: str, wrong: Wrong) -> str:
    """A text in which the same is wrong, without what does not matter."""
    left = MOST_TRIES

    def still(pieces: Sequence[str]) -> bool:
        nonlocal left
        left -= 1
        found = tried(kind, "\n".join(pieces) + "\n", seed) if left > 0 else None
        return isinstance(found, Wrong) and found.place == wrong.place

    whole = re.split(r"\n(?=\S)", text.rstrip("\n"))
    whole = without_vain(whole, still)
    lines = [line for statement in whole for line in statement.split("\n")]
    return "\n".join(without_vain(lines, still)) + "\n"


def without_vain(pieces: Sequence[str], still: Callable[[Sequence[str]], bool]) -> list[str]:
    """The pieces without those that do not matter: larger runs of them are tried first."""
    found, size = list(pieces), max(1, len(pieces) // 2)
    while size:
        at = 0
        while at < len(found):
            less = [*found[:at], *found[at + size :]]
            if less and still(less):
                found = less
            else:
                at += size
        size //= 2
    return found
