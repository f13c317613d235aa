"""Trade words for every terminal of the grammar: users never see a parser's own names."""

from collections.abc import Iterable

from verifier.language.syntax.tree import KIND_BY_TERMINAL

# Terminals that carry the user's own text, or several words.
SPECIAL = {
    "NAME": "a name",
    "RULE_NAME": "a line such as `Clear when …` or `Stop otherwise`",
    "FLASHES": "`flashing`",
    "STRING": 'a text in "quotes"',
    "COLOR": "a color (green, yellow, red, lunar, white or dark)",
    "INDICATION": "an indication, such as `proceed prepared to stop at next signal`",
    "PLATE": "a plate (`number plate`, `letter plate` or `marker plate`)",
    "JOINED": "`=`",
    "GAP": "`|`",
    "DOUBLE_GAP": "`||`",
    "OPEN_PAREN": "`(`",
    "CLOSE_PAREN": "the closing `)`",
    "COMMA": "a comma",
    "LIES": "`lies`",
    "SWITCHING": "`switching only`",
    "TURNED": "`turned round`",
    "ENTERING": "`entering only`",
    "LEAVING": "`leaving only`",
    "NUMBER": "a number",
    "UNIT": "a unit, such as `mm`, `in`, `V` or `A`",
    "COLON": "`:`",
    "GAPS": "`gap`",
    "AT_MOST": "`at most`",
    "TRACK_POWER": "`track power`",
    "UL": "`UL`",
    "IEC": "`IEC`",
    "DC": "`DC`",
    "AC": "`AC`",
    "DCC": "`DCC`",
    "UNCLOSED_STRING": "a text in quotes",
    "STRAY": "a character",
    "COMMENT": "a comment",
    "SPACE": "a space",
}

RULE_SHAPE = "A line is written `Clear when T1 normal and Main clear`, or `Stop otherwise`."
SITUATION_SHAPE = "A situation is written `T1 reverse, train on Main, lever 4 left`."

# Sets of words that belong together are named together.
GROUPS: tuple[tuple[frozenset[str], str], ...] = (
    (
        frozenset({"CLEAR", "OCCUPIED", "VACANT", "NORMAL", "REVERSE", "MOVING", "LIES", "AT",
                   "PROCEEDS", "PROCEED", "SHOWS", "PRESSED", "DERAILING", "NON_DERAILING",
                   "SEATED", "OPEN", "FLASHING", "COLOR", "NAME"}),
        "a state, such as `clear`, `occupied`, `normal`, `reverse`, `at stop` or `proceeds`",
    ),
    (
        frozenset({"NORMAL", "REVERSE", "OPEN", "OCCUPIED", "VACANT", "CLEAR", "PRESSED",
                   "DERAILING", "NON_DERAILING", "SEATED", "NAME"}),
        "a state, such as `occupied`, `normal`, `reverse` or `pressed`",
    ),
    (
        frozenset({"ON", "AT", "BY", "DRAWS", "THROUGH", "TURNS", "SENSITIVITY", "HOLD", "POWERED",
                   "OUTPUT", "ISOLATED", "WITHOUT"}),
        "a clause of the detector (`through`, `powered by`, `output closed when clear` …)",
    ),
    (
        frozenset({"OUTPUTS", "INPUTS", "THROWS", "UNLOCKS", "TWO_COLOR", "THREE_COLOR", "TARGET",
                   "POSITION_LIGHT", "INCANDESCENT", "SEMAPHORE", "APPROACH_LIT",
                   "TESTED_UNLIT", "COMMON_ANODE", "COMMON_CATHODE", "SERIES", "POWERED",
                   "DRAWS", "READS", "WHEN", "LAMPS", "NEEDS"}),
        "a clause of the driver (`reads`, `powered by`, `when input missing shows red` …)",
    ),
    (
        frozenset({"THROWN", "MOTOR", "PULSE", "POWERED", "DRAWS", "CONTACTS", "CONTACT", "NO",
                   "FOULING", "GAPS", "FROG", "POINTS", "BONDED", "LOCKED", "ELECTRIC", "STARTS"}),
        "a clause of the turnout (`motor`, `thrown by`, `contacts`, `locked while` …)",
    ),
    (
        frozenset({"THROWN", "MOTOR", "PULSE", "POWERED", "DRAWS", "CONTACTS", "CONTACT", "NO",
                   "LOCKED", "ELECTRIC", "STARTS", "PIPE_CONNECTED"}),
        "a clause of the derail (`pipe-connected to`, `thrown by`, `locked while` …)",
    ),
    (
        frozenset({"THROWN", "MOTOR", "PULSE", "POWERED", "DRAWS", "CONTACTS", "CONTACT", "NO",
                   "LOCKED", "ELECTRIC", "STARTS"}),
        "a clause about how it moves (`motor`, `thrown by`, `contacts`, `locked while` …)",
    ),
    (
        frozenset({"PICKS", "STICKS", "RELEASES", "SLOW", "POWERED"}),
        "a clause of the relay (`picks when`, `sticks while`, `releases after` …)",
    ),
    (
        frozenset({"RIGHTWARD", "LEFTWARD", "LOCKED", "POWERED"}),
        "a clause of the traffic (`rightward when`, `leftward when`, `locked while`)",
    ),
    (frozenset({"CONTACTS", "CONTACT", "NO"}), "`contacts` or `no contacts`"),
    (frozenset({"CURRENT_SENSING", "SPOT"}), "`current-sensing` or `spot`"),
    (frozenset({"SLOW", "SNAP"}), "`slow` or `snap`"),
    (frozenset({"UL", "IEC", "RESETTABLE", "ELECTRONIC"}),
     "a kind of fuse (`UL`, `IEC`, `resettable` or `electronic`)"),
    (frozenset({"DC", "AC", "DCC"}), "a kind of current (`DC`, `AC` or `DCC`)"),
    (frozenset({"DEAD", "LIVE"}), "`dead` or `live by …`"),
    (frozenset({"POINTS", "CONTACTS", "LEVER"}), "`points`, `contacts` or `lever`"),
    (frozenset({"COIL", "DIODES", "BIASED"}), "`coil`, `diodes` or `biased diodes`"),
    (
        frozenset({"NORMAL", "REVERSE", "OPEN", "DERAILING", "NON_DERAILING", "SEATED"}),
        "a position (normal, reverse, open, derailing, non-derailing or seated)",
    ),
    (
        frozenset({"NAME", "TRAIN", "NOT", "OPEN_PAREN", "ANY", "ALL"}),
        "a condition, such as `Main clear` or `T1 normal`",
    ),
    (
        frozenset({"NAME", "TRAIN", "LEVER", "BUTTON", "RELAY", "TIMER", "TRAFFIC"}),
        "a fact, such as `train on Main` or `T1 reverse`",
    ),
    (frozenset({"PROCEED", "STOP", "INDICATION"}), "an indication, such as `proceed` or `stop`"),
    (frozenset({"JOINED", "GAP", "DOUBLE_GAP"}), "a join (`=`, `|` or `||`)"),
    (frozenset({"NORMAL", "REVERSE", "ALONG", "ACROSS"}),
     "a leg (normal, reverse, along or across)"),
    (frozenset({"NEVER", "ALWAYS", "POSSIBLE"}), "`never`, `always` or `possible`"),
    (frozenset({"NEVER", "ALWAYS"}), "`never` or `always`"),
    (frozenset({"FLASHING", "COLOR"}), SPECIAL["COLOR"]),
    (frozenset({"ANY", "ALL"}), "`any of` or `all of`"),
    (frozenset({"FLASHES", "RULE_NAME"}), SPECIAL["RULE_NAME"]),
    (frozenset({"NORMAL", "REVERSE", "NAME"}), "the name of a position"),
)  # fmt: skip


def word(terminal: str) -> str:
    """How one terminal is called in a message."""
    return SPECIAL.get(terminal) or f"`{terminal.lower().replace('_', '-')}`"


def shape(first: str, after_rule: bool) -> str:
    """How the statement that starts with terminal ``first`` looks, as a sentence."""
    if after_rule:
        return RULE_SHAPE
    kind = KIND_BY_TERMINAL.get(first)
    return f"{kind.title} is written `{kind.example}`." if kind else SITUATION_SHAPE


def expectation(accepted: Iterable[str]) -> str:
    """The terminals that may come next, as a phrase: "a name or `clear`"."""
    left = set(accepted)
    ends = "$END" in left
    left -= {"$END"}
    phrases: list[str] = []
    for group, phrase in GROUPS:
        if group <= left:
            phrases.append(phrase)
            left -= group
    parts = [word(terminal) for terminal in sorted(left)] + phrases
    if ends:
        parts.append("the next statement")
    return one_of(parts)


def one_of(parts: list[str]) -> str:
    """The parts as people list them: "a, b, or c"."""
    if len(parts) > 2:
        return ", ".join(parts[:-1]) + ", or " + parts[-1]
    return " or ".join(parts) or "the next statement"
