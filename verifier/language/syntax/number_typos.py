"""Typing mistakes in numbers such as `96 in`, `0.5`, `2400` and `1:87`."""

from collections.abc import Sequence, Set

from lark import Token

from verifier.language.diagnostics.registry import Hint

_MINUS = "-–−"
_FEET = "'’′‘`"
_INCHES = '"”″“'


def below_zero(tokens: Sequence[Token], at: int, accepted: Set[str]) -> bool:
    """A minus sign before a number."""
    if "TO" in accepted:  # `600 mm - 2200 mm`
        return False
    return str(tokens[at]) in _MINUS and "NUMBER" in accepted and _digit_next(tokens, at)


def number_hint(tokens: Sequence[Token], at: int, accepted: Set[str]) -> Hint | None:
    """What to write instead, where a number went wrong."""
    sign = str(tokens[at])[:1]
    before = tokens[at - 1] if at else None
    if sign == "." and "NUMBER" in accepted and _digit_next(tokens, at):
        return Hint("leading_zero", digits=tokens[at + 1])
    if sign in _MINUS and "TO" in accepted:
        return Hint("to")
    if before is None or before.type != "NUMBER":
        return None
    if sign in _FEET:
        return Hint("feet", number=before)
    if sign in _INCHES and tokens[at].type != "STRING":
        return Hint("inches", number=before)
    if sign == "/":
        if tokens[0].type == "SCALE":
            return Hint("ratio")
        return Hint("decimal")
    if sign == "," and _digit_next(tokens, at):
        return Hint("comma_in_number")
    return None


def block_order_hint(tokens: Sequence[Token], at: int) -> Hint | None:
    """A length or a district that comes too late in a block statement."""
    if tokens[0].type != "BLOCK" or at < 2:
        return None
    if tokens[at].type == "NAME" and tokens[at][0].isdecimal() and _is_late(tokens, at):
        return Hint("length_first", name=tokens[1], number=tokens[at])
    if tokens[at].type == "IN" and any(token.type == "IN" for token in tokens[1:at]):
        return Hint("one_district")
    if tokens[at].type == "IN" and _is_late(tokens, at):
        return Hint("district_first", name=tokens[1])
    return None


def _is_late(tokens: Sequence[Token], at: int) -> bool:
    """`in`, `undetected`, `switching only`, a note or feeders stand before it."""
    late = {"IN", "UNDETECTED", "SWITCHING", "STRING", "FEEDERS"}
    return any(token.type in late for token in tokens[1:at])


def _digit_next(tokens: Sequence[Token], at: int) -> bool:
    return at + 1 < len(tokens) and str(tokens[at + 1])[:1].isdecimal()
