"""Texts at random: bytes, words of the language, odd numbers. Reading one ends with a plan or with
messages, and with nothing else.

In: a random source. Out: a text; and what went wrong with one.
"""

import re
from collections.abc import Callable, Mapping
from random import Random

from tests.junction_files import SPEC_FILES
from tests.language.test_any_text import STATION_WORDS, WORDS, read

ODD = ("0", "00", "1e9", "9" * 40, "0.0000001", "-1", "1.", ".5", "1.5.2", "٣", "½", "1_000")


def any_bytes(r: Random) -> str:
    return r.randbytes(r.randint(0, 300)).decode(r.choice(["utf-8", "latin-1"]), "replace")


def any_words(r: Random) -> str:
    return " ".join(r.choice(WORDS) for _ in range(r.randint(1, 80)))


def changed_station(r: Random) -> str:
    words = list(STATION_WORDS)
    for _ in range(r.randint(1, 5)):
        words[r.randrange(len(words))] = r.choice([*WORDS, *STATION_WORDS])
    return " ".join(words)


def odd_numbers(r: Random) -> str:
    text = r.choice(SPEC_FILES).read_text("utf-8")
    return re.sub(r"\d+(\.\d+)?", lambda n: r.choice(ODD) if r.random() < 0.1 else n[0], text)


TEXTS: Mapping[str, Callable[[Random], str]] = {
    "bytes": any_bytes, "words": any_words, "changed words": changed_station,
    "odd numbers": odd_numbers,
}  # fmt: skip


def wrong_with(text: str) -> str:
    """What reading a text raises, that is no message; nothing where all is well."""
    try:
        read(text)
    except Exception as error:  # what is looked for
        return f"{type(error).__name__}: {error}"[:300]
    return ""
