"""What the words of the language and of the reports mean, in a line each. All of it is data, in
``words.toml``, loaded when the first one is asked for."""

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib import resources
from typing import NamedTuple


class Meaning(NamedTuple):
    """What a word means. ``of_language``: whether junction files or reports have it."""

    word: str
    text: str
    of_language: bool


@cache
def meanings() -> Mapping[str, Meaning]:
    """All words with a meaning. A word that both have means what it means in the language; its
    meaning in reports goes by its capitals or not at all."""
    table = tomllib.loads((resources.files(__package__) / "words.toml").read_text("utf-8"))
    found = {word: Meaning(word, text, False) for word, text in table["reports"].items()}
    return found | {word: Meaning(word, text, True) for word, text in table["language"].items()}
