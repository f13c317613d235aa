"""Trade words for every terminal of the grammar: users never see a parser's own names."""

from collections.abc import Iterable

# Terminals that carry the user's own text, or several words.
SPECIAL = {
    "NAME": "a name",
    "RULE_NAME": "what is shown, followed by `when` or `otherwise`",
    "STRING": 'a text in "quotes"',
    "COLOUR": "a colour (green, yellow, red, lunar, white or dark)",
    "INDICATION": "an indication, such as `proceed prepared to stop at next signal`",
    "JOINED": "`=`",
    "GAP": "`|`",
    "DOUBLE_GAP": "`||`",
    "OPEN_PAREN": "`(`",
    "CLOSE_PAREN": "`)`",
    "COMMA": "`,`",
    "LIES": "`lies`",
    "UNCLOSED_STRING": "a text in quotes",
    "STRAY": "a character",
    "COMMENT": "a comment",
    "SPACE": "a space",
}

# Words that start a statement; recovery after an error begins at the next one.
STATEMENT_WORDS = {
    "LAYOUT", "EDGE", "BUMPER", "BLOCK", "TURNOUT", "CROSSING", "SLIP", "DERAIL", "GATE",
    "CROSSOVER", "INTERLOCKING", "TRACK", "SIGNAL", "HEAD", "ASPECT", "CONDITION", "LEVER",
    "BUTTON", "PROVE", "ASSUME", "WAIVE", "EXPECT",
}  # fmt: skip

# Sets of words that belong together are named together.
GROUPS: tuple[tuple[frozenset[str], str], ...] = (
    (
        frozenset({"CLEAR", "OCCUPIED", "VACANT", "NORMAL", "REVERSE", "MOVING", "LIES", "AT",
                   "PROCEEDS", "PROCEED", "SHOWS", "PRESSED", "DERAILING", "NON_DERAILING",
                   "SEATED", "OPEN", "FLASHING", "COLOUR", "NAME"}),
        "a state, such as `clear`, `occupied`, `normal`, `reverse`, `at stop` or `proceeds`",
    ),
    (
        frozenset({"NAME", "TRAIN", "NOT", "OPEN_PAREN", "ANY", "ALL"}),
        "a condition, such as `Main clear` or `T1 normal`",
    ),
    (frozenset({"PROCEED", "STOP", "INDICATION"}), "an indication, such as `proceed` or `stop`"),
    (frozenset({"JOINED", "GAP", "DOUBLE_GAP"}), "`=`, `|` or `||` to join the next piece"),
    (frozenset({"NORMAL", "REVERSE", "ALONG", "ACROSS"}), "a leg (normal, reverse, along, across)"),
    (frozenset({"NEVER", "ALWAYS", "POSSIBLE"}), "`never`, `always` or `possible`"),
    (frozenset({"NEVER", "ALWAYS"}), "`never` or `always`"),
    (frozenset({"FLASHING", "COLOUR"}), SPECIAL["COLOUR"]),
    (frozenset({"AND", "OR"}), "`and` or `or`"),
    (frozenset({"FLASHING", "RULE_NAME"}), SPECIAL["RULE_NAME"]),
)  # fmt: skip


def word(terminal: str) -> str:
    """How one terminal is called in a message."""
    return SPECIAL.get(terminal) or f"`{terminal.lower().replace('_', '-')}`"


def expectation(accepted: Iterable[str]) -> str:
    """The terminals that may come next, as a phrase: "a name, or `clear`"."""
    left = set(accepted)
    ends = "$END" in left
    left -= {"$END"} | STATEMENT_WORDS
    parts: list[str] = []
    for group, phrase in GROUPS:
        if group <= left:
            parts.append(phrase)
            left -= group
    parts += [word(terminal) for terminal in sorted(left)]
    if ends:
        parts.append("the next statement")
    if len(parts) > 1:
        return ", ".join(parts[:-1]) + ", or " + parts[-1]
    return parts[0] if parts else "the next statement"
