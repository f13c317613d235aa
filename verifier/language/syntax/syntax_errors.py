"""Syntax errors: from the word at which parsing stopped, and what was accepted there, to a
:class:`Diagnostic` in trade words.

``tokens`` are the words of one statement, ``at`` the index of the unexpected one, ``accepted``
the terminals the parser would accept there.
"""

import unicodedata
from collections.abc import Sequence, Set
from dataclasses import replace

from lark import Token

from verifier.language.diagnostics.diagnostic import Diagnostic, nearest
from verifier.language.diagnostics.registry import Hint, diagnostic
from verifier.language.source import LINE_END, Source, Span
from verifier.language.syntax.number_typos import below_zero, block_order_hint, number_hint
from verifier.language.syntax.token_names import expectation, shape, word
from verifier.language.syntax.tree import LAMP_CLAUSES, STATEMENT_WORDS

# How many words after an error are searched for misspelt statement words.
MAX_SEARCHED = 2_000
STARTERS = {w.lower() for w in STATEMENT_WORDS}
STATES = {
    "CLEAR", "OCCUPIED", "VACANT", "NORMAL", "REVERSE", "MOVING", "LIES", "PROCEED", "PROCEEDS",
    "PRESSED", "DERAILING", "NON_DERAILING", "SEATED", "OPEN", "COLOR",
}  # fmt: skip
# Terminals that are not words of the language.
NOT_WORDS = {
    "NAME", "RULE_NAME", "STRING", "JOINED", "GAP", "DOUBLE_GAP", "OPEN_PAREN", "CLOSE_PAREN",
    "COMMA", "INDICATION", "NUMBER", "UNIT", "COLON",
}  # fmt: skip
# The first two words of clauses about what is thrown and locked.
CLAUSES_OF_MOVING = {
    "thrown": ("by", "reverse", "open", "non-derailing"),
    "locked": ("while",),
    "electric": ("lock",),
    "motor": ("slow", "snap"),
    "pipe-connected": ("to",),
}
# The first words of clauses, and the statement each belongs to.
BELONGS_TO = {
    **dict.fromkeys(("feeders",), "block"),
    **dict.fromkeys(("thrown", "motor", "contacts", "contact", "fouling"), "turnout"),
    **dict.fromkeys(("stands",), "signal"),
    **dict.fromkeys(("through", "turns", "sensitivity", "hold", "output", "isolated", "without"),
                    "detector"),
    **dict.fromkeys(("outputs", "inputs", "throws", "unlocks", *LAMP_CLAUSES, "reads", "lamps",
                     "needs"), "driver"),
    **dict.fromkeys(("locked", "electric", "starts"), "turnout"),
    **dict.fromkeys(("picks", "sticks", "slow"), "relay"),
    **dict.fromkeys(("rightward", "leftward"), "traffic"),
}  # fmt: skip
# Words of the language that people write as two.
HYPHENATED = {
    w for w in (*BELONGS_TO, "current-sensing", "non-derailing", "pipe-connected") if "-" in w
}
# What the language calls things that the trade has other words for, too.
CALLED_HERE = {"switch": "turnout", "points": "turnout", "board": "driver", "decoder": "driver"}
# Words that follow the declared name in a statement: one right after the statement word shows
# that the name is missing.
NAMELESS = {"AT", "IN", "ON", "IS", "POSITIONS", "TOWARD", "NEVER", "WHEN", "FOR", "BECAUSE"}
INDICATION_WORDS = {"prepared", "at", "slow", "medium", "limited", "restricted", "diverging"}
# Words of earlier versions, and what is written today.
FORMER_WORDS = {"slow-motion": "slow"}
INSTEAD_OF_WHEN = {"if": "when", "while": "when", "else": "otherwise", "unless": "when not"}

# Hints about signs that the language does not use.
_SIGNS = (
    ("“”„«»", "straight_quotes"),
    ("'‘’`", "double_quotes"),
    ("–—−‐‑‒", "plain_hyphen"),
    ("¦│┃", "gap"),
    (";:", "no_end_sign"),
    ("&+", "and"),
    ("!~", "not"),
    ("/", "comment"),
    ("-", "hyphen"),
    (".", "dot"),
    ("_", "first_letter"),
    (">→", "joins"),
    ("[]{}<", "brackets"),
)


def unexpected(source: Source, tokens: Sequence[Token], at: int, accepted: Set[str]) -> Diagnostic:
    """The word at ``at`` cannot stand there."""
    token = tokens[at]
    span = span_of(source, token)
    slip = number_hint(tokens, at, accepted)
    if token.type == "UNCLOSED_STRING":
        return diagnostic("CP102", span, hints=[slip] if slip else ())
    if token.type == "STRAY":
        if below_zero(tokens, at, accepted):
            span = span.to(span_of(source, tokens[at + 1]))
            return diagnostic("CP603", span, "below_zero", number=tokens[at + 1])
        return stray(source, token, accepted, slip)
    return (
        _two_words(source, tokens, at)
        or _does_not_move(source, tokens, at)
        or _misspelt_start(source, tokens, at, accepted)
        or _indication(tokens, at, span)
        or _no_positions(source, tokens, at, accepted)
        or _reserved(source, tokens, at, accepted)
        or _plate(tokens, at, span, accepted)
        or _line_without_when(source, tokens, at, accepted)
        or _not_expected(source, tokens, at, accepted, slip)
    )


def _not_expected(
    source: Source, tokens: Sequence[Token], at: int, accepted: Set[str], slip: Hint | None
) -> Diagnostic:
    if str(tokens[at]).lower() in CALLED_HERE and _first_on_line(source, tokens, at):
        return no_statement(source, tokens[at])
    hint = (
        slip
        or _at_most_hint(tokens, at)
        or block_order_hint(tokens, at)
        or _condition_hint(tokens, at, accepted)
        or _list_hint(tokens, at, accepted)
        or _word_hint(tokens, at, accepted)
    )
    token = tokens[at]
    return diagnostic("CP104", span_of(source, token), hints=[hint], word=shown(token))


def stops_short(source: Source, tokens: Sequence[Token], accepted: Set[str]) -> Diagnostic:
    """The statement ends where more must come."""
    first, last = tokens[0], tokens[-1]
    return diagnostic(
        "CP105",
        span_of(source, last),
        "" if first.type in STATEMENT_WORDS else "situation",
        hints=[_expected(tokens, len(tokens), accepted)],
        statement=first,
        word=shown(last),
    )


def no_statement(source: Source, token: Token) -> Diagnostic:
    """A file, or what follows a complete statement, begins with something else."""
    if token.type == "STRAY":
        return stray(source, token, set())
    text, small = str(token), str(token).lower()
    near, hint = nearest(text, STARTERS), None
    if small in STARTERS:
        hint = Hint("small_letters", near=small)
    elif token.type == "LIMITS":
        hint = Hint("limits")
    elif text in BELONGS_TO:
        hint = Hint("belongs", word=text, statement=BELONGS_TO[text])
    elif small in CALLED_HERE:
        hint = Hint("called_here", statement=CALLED_HERE[small])
    return diagnostic(
        "CP103",
        span_of(source, token),
        near=None if hint else near,
        hints=[hint] if hint else (),
        word=shown(token),
    )


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


def stray(source: Source, token: Token, accepted: Set[str], slip: Hint | None = None) -> Diagnostic:
    """A character that the language does not use."""
    character, span = str(token), span_of(source, token)
    variant = ""
    if unicodedata.category(character) in ("Mn", "Me", "Mc"):
        variant = "accent"
    elif not character.isprintable():
        variant = "invisible"
    if variant and not slip:
        return diagnostic("CP101", span, variant, character=ord(character))
    hint = slip or next((Hint(hint) for signs, hint in _SIGNS if character in signs), None)
    if not slip and character in "-/" and "JOINED" in accepted:
        hint = Hint("joins" if character == "-" else "gap")
    if not hint and accepted:
        hint = Hint("expected_only", expected=expectation(accepted))
    run = len(source.text[span.start :]) - len(source.text[span.start :].lstrip(character))
    whole = replace(span, end=span.start + run)  # `&&`
    return diagnostic(
        "CP101", span, instead_of=whole, hints=[hint] if hint else (), character=character
    )


# ------------------------------------------------------------------ one mistake each


def _two_words(source: Source, tokens: Sequence[Token], at: int) -> Diagnostic | None:
    """A word with a hyphen, written as two."""
    for index in (at, at - 1):
        both = tokens[max(index, 0) : index + 2]
        joined = "-".join(both)
        if len(both) == 2 and joined in HYPHENATED:
            span = span_of(source, both[0]).to(span_of(source, both[1]))
            hint = Hint("one_word", joined=joined)
            return diagnostic("CP104", span, hints=[hint], word=" ".join(both))
    return None


def _does_not_move(source: Source, tokens: Sequence[Token], at: int) -> Diagnostic | None:
    """A clause about throwing or locking, below what is not thrown."""
    for index in (at, at - 1):
        first, second = (str(*tokens[i : i + 1]) for i in (index, index + 1))
        if index < 1 or second not in CLAUSES_OF_MOVING.get(first, ()):
            continue
        kind = tokens[0].type
        piped = first == "pipe-connected"
        if kind in ("TURNOUT", "SLIP", "DERAIL", "GATE", "TRAFFIC") and not piped:
            return None
        span = span_of(source, tokens[index]).to(span_of(source, tokens[index + 1]))
        hint = "pipe" if piped else _LOCKED_INSTEAD.get(kind, "other")
        variant = "pipe" if piped else ""
        statement = str(tokens[0])
        said = f"{first} {second}"
        return diagnostic("CP764", span, variant, hints=[hint], statement=statement, clause=said)
    return None


# What to do instead of locking something that does not move.
_LOCKED_INSTEAD = {
    **dict.fromkeys(("SIGNAL", "HEAD"), "signal"),
    **dict.fromkeys(("LEVER", "BUTTON"), "lever"),
    "CROSSING": "crossing",
    "CROSSOVER": "crossover",
}


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
            known = nearest(str(token), STARTERS)
            complete = index == at and "$END" in accepted and not {"AND", "RULE_NAME"} & accepted
            if complete and not known and _near_word(token, accepted):
                continue  # a clause of this statement
            if known or complete:
                return no_statement(source, token)
        if token.type == "LIMITS" and index == at:
            return no_statement(source, token)
    return None


def _no_positions(
    source: Source, tokens: Sequence[Token], at: int, accepted: Set[str]
) -> Diagnostic | None:
    """A lever without the word `positions`, so that the word after its name was read as the
    position in which it locks others."""
    if tokens[0].type != "LEVER" or accepted != {"LOCKS"} or at != 3:
        return None
    word = tokens[2]
    if near := nearest(str(word), ("positions",)):
        hint = Hint("near", near=near, shape=shape("LEVER", False))
    elif near := nearest(str(tokens[at]), ("locks",)):
        word, hint = tokens[at], Hint("near", near=near, shape=shape("LEVER", False))
    else:
        hint = Hint("expected", expected=expectation({"POSITIONS"}), shape=shape("LEVER", False))
    return diagnostic("CP104", span_of(source, word), hints=[hint], word=shown(word))


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
    return diagnostic(
        "CP106",
        span_of(source, token),
        word=token,
        capital=token.capitalize(),
        shape=shape(tokens[0].type, _after_rule(tokens, at)),
    )


def _plate(tokens: Sequence[Token], at: int, span: Span, accepted: Set[str]) -> Diagnostic | None:
    """A plate that is not named, that has no `with`, or that stands in the wrong place."""
    token, before = tokens[at], {token.type for token in tokens[:at]}
    if tokens[0].type not in ("SIGNAL", "ASPECT"):
        return None
    if "PLATE" in accepted:
        hint = Hint("plate")
    elif token.type == "PLATE" and "WITH" in accepted:
        hint = Hint("with_plate", plate=token)
    elif token == "over" and tokens[at - 1].type == "PLATE":
        hint = Hint("plate_after_colors")
    elif token == "with" and tokens[0].type == "SIGNAL":
        hint = Hint("one_plate" if "PLATE" in before else "plate_first")
    else:
        return None
    return diagnostic("CP104", span, hints=[hint], word=shown(token))


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
            hint = Hint("instead", instead=instead, before=shown(token))
            return diagnostic("CP104", span_of(source, after), hints=[hint], word=shown(after))
        if "AND" in accepted and kind in STATES | {"COMMA", "AT", "SHOWS"}:
            return None  # a condition without `and` before it
    if "AND" in accepted and not _first_on_line(source, tokens, at):
        return None
    if tokens[at - 1].type in ("HEADS", "COMMA") or "HEADS" in {
        t.type for t in tokens[at - 2 : at]
    }:
        return None
    hint = Hint("stands") if token == "stands" else Hint("shape", shape=shape("", True))
    return diagnostic("CP104", span_of(source, token), "no_when", hints=[hint], word=shown(token))


def _at_most_hint(tokens: Sequence[Token], at: int) -> Hint | None:
    """`at most` inside another statement, or with more than a number of trains."""
    inside = tokens[at].type == "AT_MOST" and tokens[0].type in STATEMENT_WORDS
    more = tokens[0].type == "AT_MOST" and at > 2
    return Hint("at_most") if inside or more else None


def _condition_hint(tokens: Sequence[Token], at: int, accepted: Set[str]) -> Hint | None:
    """Common mistakes in a condition."""
    if at == 0:
        return None
    token, before = tokens[at], tokens[at - 1]
    after = str(tokens[at + 1]) if at + 1 < len(tokens) else ""
    kind = token.type
    if kind == "ON" and nearest(before, ("train",)):
        return Hint("train_on", block=after or "Main")
    if "CLEAR" in accepted and after:
        if kind in ("IS", "JOINED"):
            return Hint("no_verb", name=before, state=after)
        if kind == "NOT":
            return Hint("not_first", name=before, state=after)
    if "NOT" in accepted and kind in STATES and tokens[at + 1 : at + 2] and after[0].isalnum():
        return Hint("name_first", name=after, state=token)
    if before.type == "SHOWS":
        if kind in ("COLOR", "FLASHING"):
            return Hint("no_shows", name=tokens[at - 2], color=token)
        if kind not in NOT_WORDS:
            return Hint("shows_aspect", aspect=token.capitalize())
    if before.type == "AT" and kind == "COLOR" and at > 1:
        return Hint("no_at", name=tokens[at - 2], color=token)
    if "AND" not in accepted:
        return None
    if kind in ("GAP", "DOUBLE_GAP"):
        return Hint("or_sign")
    if kind == "CLOSE_PAREN":
        return Hint("no_open_parenthesis")
    if kind == "COMMA":
        return Hint("comma_in_condition")
    if kind in ("NAME", "TRAIN", "NOT", "OPEN_PAREN", "ANY", "ALL") and not _near_word(
        token, accepted
    ):
        return Hint("and_or")
    return None


def _list_hint(tokens: Sequence[Token], at: int, accepted: Set[str]) -> Hint | None:
    """Common mistakes in lists and in the order of words."""
    if tokens[at].type == "STRING" and "NAME" in accepted and "STRING" not in accepted:
        bare = "-".join(str(tokens[at]).strip('"').split())
        return Hint("no_quotes", name=bare or "Main")
    if at < 2:
        return None
    before, kind = tokens[at - 1].type, tokens[at].type
    plain = tokens[0].type in ("EDGE", "BUMPER", "BLOCK") and not _near_word(tokens[at], accepted)
    if plain and before == kind == "NAME":
        name = f"{tokens[at - 1]}-{tokens[at]}"
        return Hint("no_spaces", name=name, shape=shape(tokens[0].type, False))
    if "COMMA" in accepted and "AND" not in accepted and kind == "AND":
        return Hint("comma_of_names" if before == "NAME" else "comma")
    if before == "COLOR" and kind in ("AND", "COMMA"):
        return Hint("over")
    if before == "STRING" and kind in ("UNDETECTED", "SWITCHING"):
        return Hint("text_last", word=tokens[at], text=shown(tokens[at - 1]))
    if tokens[0].type == "HEAD" and kind == "COMMA" and "." not in tokens[at - 1]:
        return Hint("heads")
    if kind == "COMMA" and tokens[at - 2].type in (
        "SIGNAL", "HEAD", "DERAIL", "CROSSOVER", "LIMITS", "CONDITION", "ASPECT", "RELAY",
        "TIMER", "ROUTE", "TRAFFIC",
    ):  # fmt: skip
        return Hint("one_each")
    if kind == "COMMA" and "FEEDERS" in accepted:
        return Hint("wire_of_all")
    return None


def _word_hint(tokens: Sequence[Token], at: int, accepted: Set[str]) -> Hint:
    """The word probably meant, or else what was expected."""
    near = _near_word(tokens[at], accepted)
    if near and near == tokens[at].lower():
        return Hint("small_letters", near=near)
    if near:
        return Hint("near", near=near, shape=shape(tokens[0].type, _after_rule(tokens, at)))
    return _expected(tokens, at, accepted)


def _near_word(token: Token, accepted: Set[str]) -> str | None:
    """The word of the language that a name looks like, among those that may come."""
    words = {w.lower().replace("_", "-") for w in accepted - NOT_WORDS - {"$END", "COLOR"}}
    words |= {word(w).strip("`") for w in accepted & {"GAPS", "TRACK_POWER"}}
    words -= {"gaps", "track-power"}
    return nearest(token, words) if token.type in ("NAME", "RULE_NAME") else None


# ------------------------------------------------------------------ small things


def _expected(tokens: Sequence[Token], at: int, accepted: Set[str]) -> Hint:
    if tokens[0].type not in STATEMENT_WORDS:  # a situation: no statement follows it
        accepted = accepted - {"$END"}
    usual = shape(tokens[0].type, _after_rule(tokens, at))
    return Hint("expected", expected=expectation(accepted), shape=usual)


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
