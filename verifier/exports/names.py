"""Names of the junction file as names a C compiler takes.

In: names with hyphens, dots and letters of any language. Out: identifiers that still read like
them, no two alike.
"""

import re
import unicodedata

# Beyond this a name is cut: C99 (5.2.4.1) looks at the first 63 characters of a name only, and
# what stands before and after it needs some of them.
LONGEST = 40


def plain(text: str) -> str:
    """A name in the letters, digits and underscores of C; empty where nothing is left of it."""
    apart = unicodedata.normalize("NFKD", text)
    letters = "".join(c for c in apart if not unicodedata.combining(c))
    return re.sub(r"[^A-Za-z0-9]+", "_", letters).strip("_")[:LONGEST].rstrip("_")


class CNames:
    """Identifiers given out so far. Capitals are told apart only where C does."""

    def __init__(self) -> None:
        self._given: set[str] = set()

    def give(self, before: str, name: str) -> str:
        """A new identifier for ``name``: ``before`` says what kind of thing it is."""
        wanted = f"{before}_{plain(name)}".rstrip("_")
        found, number = wanted, 1
        while found in self._given:
            number += 1
            found = f"{wanted}_{number}"
        self._given.add(found)
        return found

    def give_capital(self, before: str, name: str) -> str:
        """The same for an enumerator, in capitals."""
        return self.give(before, plain(name).upper())
