"""Slips in numbers: what people write where a file has `96 in`, `0.5`, `2400` or `1:87`."""

from collections.abc import Sequence, Set

from lark import Token

_MINUS = "-–−"
_FEET = "'’′‘`"
_INCHES = '"”″“'


def below_zero(tokens: Sequence[Token], at: int, accepted: Set[str]) -> bool:
    """A minus sign before a number."""
    if "TO" in accepted:  # `600 mm - 2200 mm`
        return False
    return str(tokens[at]) in _MINUS and "NUMBER" in accepted and _digit_next(tokens, at)


def number_hint(tokens: Sequence[Token], at: int, accepted: Set[str]) -> str:
    """What to write instead, where a number went wrong; empty where none did."""
    sign = str(tokens[at])[:1]
    before = tokens[at - 1] if at else None
    if sign == "." and "NUMBER" in accepted and _digit_next(tokens, at):
        return f"Write `0.{tokens[at + 1]}`."
    if sign in _MINUS and "TO" in accepted:
        return "Write `to`."
    if before is None or before.type != "NUMBER":
        return ""
    if sign in _FEET:
        return f"Feet are written `ft`: `{before} ft`."
    if sign in _INCHES and tokens[at].type != "STRING":
        return f"Inches are written `in`: `{before} in`."
    if sign == "/":
        if tokens[0].type == "SCALE":
            return "A ratio is written with a colon: `scale 1:87.1`."
        return "Write parts of one as a decimal: `0.5`, `8.25`."
    if sign == "," and _digit_next(tokens, at):
        return "No comma stands in a number: write `2400`, and `2.5` for two and a half."
    return ""


def block_order_hint(tokens: Sequence[Token], at: int) -> str:
    """A length or a district behind what it should stand before."""
    if tokens[0].type != "BLOCK" or at < 2:
        return ""
    if tokens[at].type == "NAME" and tokens[at][0].isdecimal() and _is_late(tokens, at):
        return f"The length comes right after the name: `block {tokens[1]} {tokens[at]} mm …`."
    if tokens[at].type == "IN" and any(token.type == "IN" for token in tokens[1:at]):
        return "A block takes its track power from one district."
    if tokens[at].type == "IN" and _is_late(tokens, at):
        return f"The district comes before that: `block {tokens[1]} 2400 mm in North …`."
    return ""


def _is_late(tokens: Sequence[Token], at: int) -> bool:
    """`in`, `undetected`, `switching only`, a note or feeders stand before it."""
    late = {"IN", "UNDETECTED", "SWITCHING", "STRING", "FEEDERS"}
    return any(token.type in late for token in tokens[1:at])


def _digit_next(tokens: Sequence[Token], at: int) -> bool:
    return at + 1 < len(tokens) and str(tokens[at + 1])[:1].isdecimal()
