"""Random edits of a junction file, as somebody types them: harmless, harmful, wrong; and undone."""

import re
from collections.abc import Callable
from random import Random

# Words that are written somewhere in a file, keywords among them.
_WORD = re.compile(r"(?<=\s)[\w-]+(?=[\s,])")
_DECLARED = re.compile(
    r"^(?:relay|lever|button|turnout|signal|timer|block|condition) ([\w-]+)", re.M
)
_AND = re.compile(r" and [^\n]*")
_NUMBER = re.compile(r"\b\d+(?= s\b)")
_OCCUPANCY = re.compile(r"\bclear\b")

Edit = Callable[[str, Random], str]


def remark(text: str, chance: Random) -> str:
    return _at_a_line(text, chance, lambda line: f"# a remark\n{line}")


def line_left_out(text: str, chance: Random) -> str:
    return _at_a_line(text, chance, lambda line: "")


def line_doubled(text: str, chance: Random) -> str:
    return _at_a_line(text, chance, lambda line: line * 2)


def condition_left_out(text: str, chance: Random) -> str:
    """The rest of a condition after one of its `and`."""
    return _one(_AND, text, chance, lambda found: "")


def condition_shortened(text: str, chance: Random) -> str:
    """One part of a condition."""

    def shorter(found: str) -> str:
        parts = found.split(" and ")
        del parts[chance.randrange(1, len(parts))]
        return " and ".join(parts)

    return _one(_AND, text, chance, shorter)


def other_word(text: str, chance: Random) -> str:
    words = [found[0] for found in _WORD.finditer(text)]
    return _one(_WORD, text, chance, lambda found: chance.choice(words))


def other_time(text: str, chance: Random) -> str:
    return _one(
        _NUMBER, text, chance, lambda found: str(int(found) + chance.choice((-10, -1, 1, 9)))
    )


def other_occupancy(text: str, chance: Random) -> str:
    return _one(_OCCUPANCY, text, chance, lambda found: "occupied")


def renamed(text: str, chance: Random) -> str:
    """A thing, everywhere."""
    names = _DECLARED.findall(text)
    if not names:
        return text
    name = chance.choice(names)
    return re.sub(rf"(?<![\w.-]){re.escape(name)}(?![\w-])", f"{name}-2", text)


EDITS: tuple[Edit, ...] = (
    remark, line_left_out, line_doubled, condition_left_out, condition_shortened, other_word,
    other_time, other_occupancy, renamed,
)  # fmt: skip


def versions(text: str, chance: Random, count: int) -> list[str]:
    """A text and so many edits of it, one after the other, some of them undone at once."""
    found = [text]
    while len(found) <= count:
        changed = chance.choice(EDITS)(found[-1], chance)
        if changed != found[-1]:
            found.append(changed)
            if chance.random() < 0.85:  # nobody leaves a text broken for long
                found.append(found[-2])
    return found[: count + 1]


def _at_a_line(text: str, chance: Random, change: Callable[[str], str]) -> str:
    lines = text.splitlines(keepends=True)
    at = chance.randrange(len(lines))
    return "".join([*lines[:at], change(lines[at]), *lines[at + 1 :]])


def _one(pattern: re.Pattern[str], text: str, chance: Random, change: Callable[[str], str]) -> str:
    """The text with one of the places changed that a pattern finds."""
    places = [*pattern.finditer(text)]
    if not places:
        return text
    place = chance.choice(places)
    return text[: place.start()] + change(place[0]) + text[place.end() :]
