"""Locks between levers: a mechanical frame, as a locking sheet has it.

In: `lever 3 reverse locks 5 normal` and the like. Out: what each lock makes of the positions that
the levers can be in together. A lock works both ways (while 5 is reverse, 3 cannot be reversed),
as the bars of a frame do; levers may stand in whatever positions the locks allow, at every moment.

49 CFR 236.304 (mechanical locking, or the same protection by circuits).
"""

from collections.abc import Iterable, Iterator

from verifier.language.syntax import tree
from verifier.plan.conditions import resolve
from verifier.plan.model import Assumption, LeverLock
from verifier.plan.observables import All, AnyOne, Condition, Not
from verifier.plan.vocabulary import Vocabulary


def lever_locks(statements: Iterable[tree.Statement], words: Vocabulary) -> Iterator[Assumption]:
    """Every lock between levers; errors are noted in ``words.names``."""
    for s in tree.of_kind(statements, tree.LeverLock):
        for held in s.locks:
            if held.name.text == s.by.name.text:
                words.names.error("CP217", held.span, name=held.name.text)
        by = _stands(s.by, words)
        stands = [_stands(state, words) for state in s.locks]
        when = resolve(s.when, words, in_rule=True) if s.when else None
        good = tuple(condition for condition in stands if condition is not None)
        if by is None or len(good) < len(stands) or (s.when and when is None):
            continue
        free = (Not(by, s.by.span), *([Not(when, when.span)] if when else []))
        condition = AnyOne((*free, All(good, s.span)), s.span)
        holds = tuple((state.name.text, state.position.text) for state in s.locks)
        said = s.when.span.one_line if s.when else ""
        lock = LeverLock(s.by.name.text, s.by.position.text, holds, said)
        yield Assumption(lock_words(lock), condition, "a lock of the frame", s.span, lock)


def lock_words(lock: LeverLock) -> str:
    """``lever 3 reverse locks 5 normal and 7 normal``."""
    held = " and ".join(" ".join(state) for state in lock.holds)
    when = f" when {lock.when}" if lock.when else ""
    return f"lever {lock.lever} {lock.position} locks {held}{when}"


def _stands(state: tree.LeverState, words: Vocabulary) -> Condition | None:
    """That a lever stands in a position."""
    if not words.names.find(state.name, "lever"):
        return None
    text = state.position.text
    kind = text if text in ("normal", "reverse") else "name"
    fact = tree.FactState(kind, "" if kind == text else text, state.position.span)
    return resolve(tree.Fact("", (state.name,), fact, state.span), words, in_rule=True)
