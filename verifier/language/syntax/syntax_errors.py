"""What to tell about a statement that does not read: from where the reading stopped, and
what could have come there, to a :class:`Diagnostic` in trade words.

``tokens`` are the words of one statement, ``at`` the index of the one that does not fit,
``accepted`` the terminals that would.
"""

import unicodedata
from collections.abc import Sequence, Set
from dataclasses import replace

from lark import Token

from verifier.language.diagnostics.diagnostic import Diagnostic, nearest
from verifier.language.diagnostics.registry import diagnostic
from verifier.language.source import LINE_END, Source, Span
from verifier.language.syntax.number_typos import below_zero, block_order_hint, number_hint
from verifier.language.syntax.token_names import expectation, shape, word
from verifier.language.syntax.tree import STATEMENT_WORDS

# How far beyond an error misspelt statement words are looked for.
MAX_SEARCHED = 2_000
STARTERS = {w.lower() for w in STATEMENT_WORDS}
STATES = {
    "CLEAR", "OCCUPIED", "VACANT", "NORMAL", "REVERSE", "MOVING", "LIES", "PROCEED", "PROCEEDS",
    "PRESSED", "DERAILING", "NON_DERAILING", "SEATED", "OPEN", "COLOR",
}  # fmt: skip
# Tokens that are no word of the language.
NOT_WORDS = {
    "NAME", "RULE_NAME", "STRING", "JOINED", "GAP", "DOUBLE_GAP", "OPEN_PAREN", "CLOSE_PAREN",
    "COMMA", "INDICATION", "NUMBER", "UNIT", "COLON",
}  # fmt: skip
# What people write who expect statements the language does not have yet.
NOT_YET = {"wire"}
# Clauses, and the statement each of them stands below.
BELONGS_TO = {
    **dict.fromkeys(("feeders",), "block"),
    **dict.fromkeys(("thrown", "motor", "contacts", "contact", "fouling"), "turnout"),
    **dict.fromkeys(("stands",), "signal"),
    **dict.fromkeys(("through", "turns", "sensitivity", "hold", "output", "isolated", "without"),
                    "detector"),
    **dict.fromkeys(("outputs", "reads", "lamps", "needs"), "driver"),
    **dict.fromkeys(("locked", "electric"), "turnout"),
    **dict.fromkeys(("picks", "sticks", "slow"), "relay"),
    **dict.fromkeys(("rightward", "leftward"), "traffic"),
}  # fmt: skip
# Words that follow the name of what a statement declares, and so show that it was left out.
NAMELESS = {"AT", "IN", "ON", "IS", "POSITIONS", "TOWARD", "NEVER", "WHEN", "FOR", "BECAUSE"}
INDICATION_WORDS = {"prepared", "at", "slow", "medium", "limited", "restricted", "diverging"}
# Words of earlier versions, and what is written today.
FORMER_WORDS = {"slow-motion": "slow"}
INSTEAD_OF_WHEN = {"if": "when", "while": "when", "else": "otherwise", "unless": "when not"}

_HINTS = (
    ("“”„«»", 'Write straight quotes, "like this".'),
    ("'‘’`", 'A text stands in double quotes, "like this".'),
    ("–—−‐‑‒", "Write a plain hyphen, `-`."),
    ("¦│┃", "Write a gap as `|`."),
    (";:", "Leave it out: statements need no sign at their end."),
    ("&+", "Write `and`."),
    ("!~", "Write `not`."),
    ("/", "A comment starts with `#`."),
    ("-", "A hyphen stands inside a name, without spaces: `West-Main`."),
    (".", "A dot stands inside the name of a head, without spaces: `4L.upper`."),
    ("_", "A name starts with a letter or a digit."),
    (">→", "Pieces of track are joined with `=`, `|` or `||`."),
    ("[]{}<", "The only brackets are `(` and `)`."),
)


def unexpected(source: Source, tokens: Sequence[Token], at: int, accepted: Set[str]) -> Diagnostic:
    """The word at ``at`` cannot stand there."""
    token = tokens[at]
    span = span_of(source, token)
    slip = number_hint(tokens, at, accepted)
    if token.type == "UNCLOSED_STRING":
        close = 'Close it with `"` on the same line.'
        return Diagnostic("CP102", "this text has no closing quote", span, slip or close)
    if token.type == "STRAY":
        if below_zero(tokens, at, accepted):
            return Diagnostic(
                "CP603",
                f"`-{tokens[at + 1]}` is less than nothing",
                span.to(span_of(source, tokens[at + 1])),
                "Lengths, voltages, currents and times are measured from 0 upward.",
            )
        found = stray(source, token, accepted)
        return replace(found, hint=slip) if slip else found
    return (
        _misspelt_start(source, tokens, at, accepted)
        or _indication(tokens, at, span)
        or _reserved(source, tokens, at, accepted)
        or _line_without_when(source, tokens, at, accepted)
        or Diagnostic(
            "CP104",
            f"`{shown(token)}` was not expected here",
            span,
            slip
            or block_order_hint(tokens, at)
            or _condition_hint(tokens, at, accepted)
            or _list_hint(tokens, at, accepted)
            or _word_hint(tokens, at, accepted),
        )
    )


def stops_short(source: Source, tokens: Sequence[Token], accepted: Set[str]) -> Diagnostic:
    """The statement ends where more must come."""
    last = tokens[-1]
    start = tokens[0] if tokens[0].type in STATEMENT_WORDS else ""
    return Diagnostic(
        "CP105",
        (f"this `{start}` statement stops" if start else "this stops")
        + f" short after `{shown(last)}`",
        span_of(source, last),
        _expected(tokens, len(tokens), accepted),
    )


def no_statement(source: Source, token: Token) -> Diagnostic:
    """A file, or what follows a complete statement, begins with something else."""
    if token.type == "STRAY":
        return stray(source, token, set())
    text, small = str(token), str(token).lower()
    near = nearest(text, STARTERS)
    if small in STARTERS:
        hint = f"Write `{small}`: the words of the language are written in small letters."
    elif token.type == "LIMITS":
        hint = "Write `interlocking limits`."
    elif text in BELONGS_TO:
        hint = f"`{text}` belongs to a `{BELONGS_TO[text]}` statement, below its first line."
    elif near:
        hint = f"Did you mean `{near}`?"
    elif small in NOT_YET:
        hint = f"The language has no `{small}` statement yet."
    else:
        hint = "A statement starts with a word such as `layout`, `block`, `track` or `signal`."
    message = f"`{shown(token)}` does not start a statement"
    return Diagnostic("CP103", message, span_of(source, token), hint)


def misspelt_starts(source: Source, tokens: Sequence[Token], start: int) -> list[Diagnostic]:
    """In a statement that went wrong before ``start``: further lines that seem to start a
    statement, with a word that is misspelt."""
    return [
        no_statement(source, tokens[i])
        for i in range(start, min(len(tokens), start + MAX_SEARCHED))
        if tokens[i].type == "NAME"
        and tokens[i - 1].type not in ("COMMA", "AND", "OR", "JOINED", "GAP", "DOUBLE_GAP")
        and _first_on_line(source, tokens, i)
        and nearest(tokens[i], STARTERS)
        and str(*tokens[i + 1 : i + 2]) not in ("when", "otherwise")
    ]


def stray(source: Source, token: Token, accepted: Set[str]) -> Diagnostic:
    """A character that the language does not use."""
    character = str(token)
    named = f"`{character}`"
    hint = next((hint for signs, hint in _HINTS if character in signs), "")
    if character == "-" and "JOINED" in accepted:
        hint = "Pieces of track are joined with `=`, `|` or `||`."
    if unicodedata.category(character) in ("Mn", "Me", "Mc"):
        named = f"U+{ord(character):04X}"
        hint = "It is an accent that stands by itself: type the letter with its accent again."
    elif not character.isprintable():
        named = f"U+{ord(character):04X}"
        hint = "It cannot be seen. Delete it, or type the line again."
    if not hint and accepted:
        hint = f"Expected {expectation(accepted)}."
    return Diagnostic(
        "CP101", f"the character {named} has no meaning here", span_of(source, token), hint
    )


# ------------------------------------------------------------------ one mistake each


def _misspelt_start(
    source: Source, tokens: Sequence[Token], at: int, accepted: Set[str]
) -> Diagnostic | None:
    """A statement word misspelt, so that the statement before it seemed to go on."""
    if tokens[0].type not in STATEMENT_WORDS:
        return None
    for index in (at, at - 1):
        token = tokens[index]
        if index == 0 or not _first_on_line(source, tokens, index):
            continue
        # `is Foo` + `singal 4L`: the misspelt word was read as the state of Foo.
        if index < at and tokens[index - 1].type != "NAME":
            continue
        if token.type == "NAME" and str(*tokens[index + 1 : index + 2]) not in (
            "when",
            "otherwise",
        ):
            known = nearest(str(token), STARTERS) or str(token).lower() in NOT_YET
            complete = index == at and "$END" in accepted and not {"AND", "RULE_NAME"} & accepted
            if complete and not known and _near_word(token, accepted):
                continue  # a clause of this statement
            if known or complete:
                return no_statement(source, token)
        if token.type == "LIMITS" and index == at:
            return no_statement(source, token)
    return None


def _indication(tokens: Sequence[Token], at: int, span: Span) -> Diagnostic | None:
    """An indication that is not in the list, or goes on where a known one ends."""
    if tokens[0].type != "ASPECT":
        return None
    before, text = tokens[at - 1].type, str(tokens[at])
    if before in ("PROCEED", "STOP", "INDICATION") or (
        before == "COLOR" and text in INDICATION_WORDS
    ):
        return diagnostic("CP107", span, word=shown(tokens[at]))
    return None


def _reserved(
    source: Source, tokens: Sequence[Token], at: int, accepted: Set[str]
) -> Diagnostic | None:
    """A word of the language where a name is meant."""
    token, before = tokens[at], tokens[at - 1]
    if "NAME" not in accepted or token.type in NOT_WORDS or "CLEAR" in accepted:
        return None
    following = tokens[at + 1].type if at + 1 < len(tokens) else ""
    if before.type in STATEMENT_WORDS | {"LIMITS"} and token.type in NAMELESS:
        return None
    if "NOT" in accepted and following not in STATES | {"COMMA", "AT", "SHOWS"}:
        return None
    if before.type == "SHOWS":
        return None
    return Diagnostic(
        "CP106",
        f"`{token}` is a word of the language, so it cannot be a name",
        span_of(source, token),
        f"Another spelling will do, such as `{str(token).capitalize()}`. "
        + shape(tokens[0].type, _after_rule(tokens, at)),
    )


def _line_without_when(
    source: Source, tokens: Sequence[Token], at: int, accepted: Set[str]
) -> Diagnostic | None:
    """What a signal or head shows, without a `when` or `otherwise` that can be read."""
    token = tokens[at]
    if "RULE_NAME" not in accepted or token.type not in ("NAME", "COLOR", "STOP", "CLEAR"):
        return None
    if at + 1 < len(tokens):
        after, kind = tokens[at + 1], tokens[at + 1].type
        instead = INSTEAD_OF_WHEN.get(after.lower()) or nearest(after, ("when", "otherwise"))
        if instead and kind == "NAME":
            message = f"`{shown(after)}` was not expected here"
            hint = f"Write `{instead}` after `{shown(token)}`."
            return Diagnostic("CP104", message, span_of(source, after), hint)
        if "AND" in accepted and kind in STATES | {"COMMA", "AT", "SHOWS"}:
            return None  # a condition without `and` before it
    if "AND" in accepted and not _first_on_line(source, tokens, at):
        return None
    if tokens[at - 1].type in ("HEADS", "COMMA") or "HEADS" in {
        t.type for t in tokens[at - 2 : at]
    }:
        return None
    late = token == "stands" and "`stands … before gap` comes before `heads` and the lines."
    return Diagnostic(
        "CP104",
        f"`{shown(token)}` has no `when` or `otherwise` after it",
        span_of(source, token),
        late or shape("", True),
    )


def _condition_hint(tokens: Sequence[Token], at: int, accepted: Set[str]) -> str:
    """The usual slips in a condition."""
    if at == 0:
        return ""
    token, before = tokens[at], tokens[at - 1]
    after = str(tokens[at + 1]) if at + 1 < len(tokens) else ""
    kind = token.type
    if kind == "ON" and nearest(before, ("train",)):
        return f"Did you mean `train on`? Write `train on {after or 'Main'}`."
    if "CLEAR" in accepted and after:
        if kind in ("IS", "JOINED"):
            return f"Leave it out: write `{before} {after}`."
        if kind == "NOT":
            return f"Write `not` first: `not {before} {after}`."
    if "NOT" in accepted and kind in STATES and tokens[at + 1 : at + 2] and after[0].isalnum():
        return f"The name comes first: write `{after} {token}`."
    if before.type == "SHOWS":
        if kind in ("COLOR", "FLASHING"):
            return f"For a color leave out `shows`: write `{tokens[at - 2]} {token}`."
        if kind not in NOT_WORDS:
            return f"After `shows` comes the name of an aspect, such as `{token.capitalize()}`."
    if before.type == "AT" and kind == "COLOR" and at > 1:
        return f"For a color leave out `at`: write `{tokens[at - 2]} {token}`."
    if "AND" not in accepted:
        return ""
    if kind == "CLOSE_PAREN":
        return "No `(` before it is still open."
    if kind == "COMMA":
        return "Join two conditions with `and` or `or`."
    if kind in ("NAME", "TRAIN", "NOT", "OPEN_PAREN", "ANY", "ALL") and not _near_word(
        token, accepted
    ):
        return "Put `and` or `or` between two conditions."
    return ""


def _list_hint(tokens: Sequence[Token], at: int, accepted: Set[str]) -> str:
    """The usual slips in lists and in the order of words."""
    if tokens[at].type == "STRING" and "NAME" in accepted and "STRING" not in accepted:
        bare = "-".join(str(tokens[at]).strip('"').split())
        return f"A name stands without quotes and has no spaces: write `{bare or 'Main'}`."
    if at < 2:
        return ""
    before, kind = tokens[at - 1].type, tokens[at].type
    plain = tokens[0].type in ("EDGE", "BUMPER", "BLOCK") and not _near_word(tokens[at], accepted)
    if plain and before == kind == "NAME":
        return (
            f"A name has no spaces: write `{tokens[at - 1]}-{tokens[at]}`; between two names "
            f"stands a comma. {shape(tokens[0].type, False)}"
        )
    if "COMMA" in accepted and "AND" not in accepted and kind == "AND":
        return f"In a list {'of names ' * (before == 'NAME')}write a comma."
    if before == "COLOR" and kind in ("AND", "COMMA"):
        return "Write `over` between the heads of one signal, `or` between two ways to show it."
    if before == "STRING" and kind in ("UNDETECTED", "SWITCHING"):
        return f"The text comes last: `block Lead {tokens[at]} … {shown(tokens[at - 1])}`."
    if tokens[0].type == "HEAD" and kind == "COMMA" and "." not in tokens[at - 1]:
        return "To name the heads of a signal write `heads`."
    if kind == "COMMA" and tokens[at - 2].type in (
        "SIGNAL", "HEAD", "DERAIL", "CROSSOVER", "LIMITS", "CONDITION", "ASPECT", "RELAY",
        "TIMER", "ROUTE", "TRAFFIC",
    ):  # fmt: skip
        return "Each of them has a statement of its own."
    return ""


def _word_hint(tokens: Sequence[Token], at: int, accepted: Set[str]) -> str:
    """What was expected; the word that was perhaps meant."""
    now = FORMER_WORDS.get(str(tokens[at]))
    if now and now.upper() in accepted:
        return f"Write `{tokens[at - 1]} {now}`: the word has changed."
    near = _near_word(tokens[at], accepted)
    if near and near == tokens[at].lower():
        return f"Write `{near}`: the words of the language are written in small letters."
    if near:
        return f"Did you mean `{near}`? {shape(tokens[0].type, _after_rule(tokens, at))}"
    return _expected(tokens, at, accepted)


def _near_word(token: Token, accepted: Set[str]) -> str | None:
    """The word of the language that a name looks like, among those that may come."""
    words = {w.lower().replace("_", "-") for w in accepted - NOT_WORDS - {"$END", "COLOR"}}
    words |= {word(w).strip("`") for w in accepted & {"GAPS", "TRACK_POWER"}}
    words -= {"gaps", "track-power"}
    return nearest(token, words) if token.type in ("NAME", "RULE_NAME") else None


# ------------------------------------------------------------------ small things


def _expected(tokens: Sequence[Token], at: int, accepted: Set[str]) -> str:
    if tokens[0].type not in STATEMENT_WORDS:  # a situation: no statement follows it
        accepted = accepted - {"$END"}
    return f"Expected {expectation(accepted)}. {shape(tokens[0].type, _after_rule(tokens, at))}"


def _after_rule(tokens: Sequence[Token], at: int) -> bool:
    return any(token.type == "RULE_NAME" for token in tokens[:at])


def _first_on_line(source: Source, tokens: Sequence[Token], at: int) -> bool:
    if at == 0:
        return True
    before, token = span_of(source, tokens[at - 1]), span_of(source, tokens[at])
    return LINE_END.search(source.text, before.end, token.start) is not None


def shown(token: Token) -> str:
    """A word of the file as quoted in a message; a very long one is cut."""
    text = str(token)
    return text if len(text) <= 40 else text[:40] + "…"


def span_of(source: Source, token: Token) -> Span:
    assert token.start_pos is not None and token.end_pos is not None
    return Span(source, token.start_pos, token.end_pos)
