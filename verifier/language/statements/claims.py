"""Statements about proofs: what to prove, assume, waive and expect."""

from typing import Literal

from verifier.language.statements.kind import statement
from verifier.language.statements.nodes import Amount, Condition, Statement, Word

_MODES = ("NEVER", "ALWAYS", "POSSIBLE")


@statement(
    "PROVE",
    "A property",
    'prove "the yard lead stays red" never 6L proceeds and T1 lies normal',
    tail=_MODES,
)
class Prove(Statement):
    title: str
    mode: Literal["never", "always", "possible"]
    condition: Condition


@statement(
    "ASSUME", "An assumption", 'assume "nobody throws T3" always T3 lies normal', tail=_MODES
)
class Assume(Statement):
    title: str
    mode: Literal["never", "always"]
    condition: Condition


@statement("AT_MOST", "The number of trains", "at most 2 trains", once="at most")
class AtMost(Statement):
    """How many trains there ever are on the plan at once, as its owner says."""

    trains: Amount


@statement(
    "WAIVE",
    "A waiver",
    'waive opposing-proceeds for 4L, 8R because "train orders"',
    tail=["BECAUSE"],
)
class Waive(Statement):
    claim: Word
    subjects: tuple[Word, ...]
    reason: str


@statement("EXPECT", "An expectation", "expect broken opposing-proceeds for 4L, 4RA")
class Expect(Statement):
    claim: Word
    subjects: tuple[Word, ...]
