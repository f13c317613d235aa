"""Trade words for every terminal of the grammar: users never see a parser's own names."""

from collections.abc import Iterable

# Terminals that carry the user's own text, or several words.
SPECIAL = {
    "NAME": "a name",
    "RULE_NAME": "a line such as `Clear when …` or `Stop otherwise`",
    "FLASHES": "`flashing`",
    "STRING": 'a text in "quotes"',
    "COLOR": "a color (green, yellow, red, lunar, white or dark)",
    "INDICATION": "an indication, such as `proceed prepared to stop at next signal`",
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
    "TRACK_POWER": "`track power`",
    "UNCLOSED_STRING": "a text in quotes",
    "STRAY": "a character",
    "COMMENT": "a comment",
    "SPACE": "a space",
}

# Words that start a statement; recovery after an error begins at the next one. With each:
# what the statement is called, and one of it as it should look.
STATEMENTS = {
    "INCLUDE": ("An included file", 'include "common/aspects.ixl"'),
    "MODULE": ("The first line of a module", "module End-Of-Siding (main, siding, single)"),
    "END": ("The last line of a module", "end"),
    "USE": (
        "A use of a module",
        "use End-Of-Siding as East with main = Main, single = Single` or `use End-Of-Siding as "
        "West turned round with main = Main, single = Other",
    ),
    "LAYOUT": ("The title", 'layout "Heron Falls, east switch"'),
    "EDGE": ("An edge of the plan", "edge West-Main, Quarry"),
    "BUMPER": ("A bumper", "bumper End-of-Spur"),
    "BLOCK": ("A block", 'block Main "main track at the station"'),
    "TURNOUT": ("A turnout", "turnout T1 in Switch"),
    "CROSSING": ("A crossing", "crossing X1 in Diamond"),
    "SLIP": ("A slip", "slip P1 in Throat` or `slip P2 in Throat single along to across"),
    "DERAIL": ("A derail", "derail D1 on Spur toward T1"),
    "GATE": ("A gate", "gate G1 on Bridge"),
    "CROSSOVER": ("A crossover", "crossover K1 is T1, T2"),
    "INTERLOCKING": ("A set of limits", "interlocking limits North-Plant is 4L, 4RA, 4RB"),
    "TRACK": ("Track", "track West-Main = Main | normal T1 | Single = Quarry"),
    "SIGNAL": ("A signal", "signal 4L at Single | T1"),
    "HEAD": ("A head's list", "head 4L.upper"),
    "ASPECT": ("An aspect", "aspect Clear green or green over red proceed"),
    "ADDRESS": ("The address of a signal", "address 12 is 4L"),
    "NUMBERED": ("The number of an aspect", "number 4 is Approach"),
    "CONDITION": ("A named condition", "condition Ready is T1 normal and Switch, Main clear"),
    "LEVER": ("A lever", "lever 4 positions left, normal, right"),
    "BUTTON": ("A button", "button Clear-4L"),
    "PROVE": ("A property", 'prove "the yard lead stays red" never 6L proceeds and T1 lies normal'),
    "ASSUME": ("An assumption", 'assume "nobody throws T3" always T3 lies normal'),
    "WAIVE": ("A waiver", 'waive opposing-proceeds for 4L, 8R because "train orders"'),
    "EXPECT": ("An expectation", "expect broken opposing-proceeds for 4L, 4RA"),
    "SUPPLY": ("A supply", "supply Bus-1 12 V 3 A fuse 2 A` or `supply Track-A track power 15 V"),
    "BOOSTER": ("A booster", "booster Boost-1 fed by Track-A 15 V 5 A"),
    "DISTRICT": ("A district", "district North fed by Track-A over 30 ft of 16 AWG"),
    "COMMON": ("A common return", "common return Bus-1, Bus-2"),
    "DETECTOR": (
        "A detector",
        "detector D-Main current-sensing through m1, m2` or `detector D-Stage spot on Main at 0 mm",
    ),
    "DRIVER": ("A driver", "driver B1 drives 4L.upper, 4L.lower reads D-Main, T1 contacts"),
    "TRAINS": (
        "What runs",
        "trains 600 mm to 2200 mm, detectable throughout` or `trains obey signals",
    ),
    "SCALE": ("The scale", "scale HO` or `scale 1:87.1"),
    "STOPPING": ("The stopping distance", "stopping distance 3000 mm"),
    "RELAY": ("A relay", "relay 4L-route picks when Clear-4L pressed sticks while Switch clear"),
    "TIMER": ("A timer", "timer 4L-time 30 s runs while 4L at stop and Single occupied"),
    "ROUTE": (
        "A named route",
        "route 4L-to-Main from 4L to West-Main` or `route 4L-in from 4L to Yard via T1 reverse",
    ),
    "TRAFFIC": (
        "Direction of traffic",
        "traffic Single-way on Single rightward when East-button pressed leftward when "
        "West-button pressed",
    ),
}
STATEMENT_WORDS = frozenset(STATEMENTS)

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
        frozenset({"ON", "AT", "THROUGH", "TURNS", "SENSITIVITY", "HOLD", "POWERED", "OUTPUT",
                   "ISOLATED", "WITHOUT"}),
        "a clause of the detector (`through`, `powered by`, `output closed when clear` …)",
    ),
    (
        frozenset({"OUTPUTS", "POWERED", "READS", "WHEN", "LAMPS", "NEEDS"}),
        "a clause of the driver (`reads`, `powered by`, `when input missing shows red` …)",
    ),
    (
        frozenset({"THROWN", "MOTOR", "POWERED", "CONTACTS", "CONTACT", "NO", "FOULING", "GAPS",
                   "LOCKED", "ELECTRIC"}),
        "a clause of the turnout (`motor`, `thrown by`, `contacts`, `locked while` …)",
    ),
    (
        frozenset({"THROWN", "MOTOR", "LOCKED", "ELECTRIC"}),
        "a clause of the slip (`motor`, `thrown by`, `locked while` …)",
    ),
    (
        frozenset({"PICKS", "STICKS", "SLOW"}),
        "a clause of the relay (`picks when`, `sticks while`, `slow to release 2 s` …)",
    ),
    (
        frozenset({"RIGHTWARD", "LEFTWARD", "LOCKED"}),
        "a clause of the traffic (`rightward when`, `leftward when`, `locked while`)",
    ),
    (frozenset({"CONTACTS", "CONTACT", "NO"}), "`contacts` or `no contacts`"),
    (frozenset({"CURRENT_SENSING", "SPOT"}), "`current-sensing` or `spot`"),
    (frozenset({"SLOW", "SNAP"}), "`slow` or `snap`"),
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
    name, example = STATEMENTS.get(first, ("", ""))
    return f"{name} is written `{example}`." if name else SITUATION_SHAPE


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
