"""How turnouts and slips are thrown, and what locks them.

In: the clauses of their statements. Out: a :class:`~verifier.plan.locking.locking_model.Throw` for
each that says anything of it; errors are noted in the names.
"""

from collections.abc import Iterable
from typing import NamedTuple

from verifier.language.syntax import tree
from verifier.plan.clause_reader import ClauseReader
from verifier.plan.locking.locking_model import Mover, Throw
from verifier.plan.names import Names
from verifier.plan.observables import AnyOne, Condition, Not
from verifier.plan.vocabulary import Vocabulary

_KINDS: frozenset[tree.ClauseKind] = frozenset(
    ("thrown by", "thrown reverse when", "locked while", "electric lock", "motor")
)


class _By(NamedTuple):
    """Who throws it, and with what."""

    by: Mover
    lever: str | None = None
    buttons: tuple[str, ...] = ()


def read_throws(statements: Iterable[tree.Statement], words: Vocabulary) -> dict[str, Throw]:
    """How each turnout and slip is thrown of which the file says so."""
    throws: dict[str, Throw] = {}
    for s in statements:
        if not isinstance(s, tree.Turnout | tree.Slip):
            continue
        given = ClauseReader(s.clauses, words.names)
        if not given.has_any(_KINDS):
            continue
        by = _thrown_by(given, s, words)
        reverse = given.condition("thrown reverse when", words)
        locked = _locked(given, by, s, words)
        snap = given.word("motor") == "snap"
        for name in s.names:
            throws[name.text] = Throw(
                name.text, *by, reverse, locked, "electric lock" in given, snap, s.span
            )
    return throws


def lever_of(clause: tree.Clause | None) -> tree.Name | None:
    """The one lever of a `thrown by` clause, as far as its words tell."""
    return clause.names[0] if clause and len(clause.names) == 1 else None


def _thrown_by(given: ClauseReader, node: tree.Turnout | tree.Slip, words: Vocabulary) -> _By:
    clause, rule = given.get("thrown by"), given.get("thrown reverse when")
    names = words.names
    if clause and rule:
        names.error("CP703", rule.span, others=[clause.span], name=node.names[0].text)
    if rule:
        return _By("rule")
    if clause is None:
        return _By("anyone")
    if clause.words:
        return _By("hand")
    lever = lever_of(clause)
    if lever is None:
        return _buttons(clause, names)
    declared = names.table.get(lever.text)
    if declared and declared.kind == "button":
        names.error("CP704", lever.span, name=node.names[0].text)
        return _By("anyone")
    _check_lever(lever, words)
    return _By("lever", lever.text)


def _buttons(clause: tree.Clause, names: Names) -> _By:
    buttons = tuple(name.text for name in clause.names if names.find(name, "button"))
    if len(clause.names) != 2:
        names.error("CP704", clause.span, "count", count=len(clause.names))
    elif len(set(buttons)) == 1 and len(buttons) == 2:
        names.error("CP704", clause.names[1].span, "same", name=buttons[0])
    return _By("buttons", None, buttons)


def _check_lever(name: tree.Name, words: Vocabulary) -> None:
    declared = words.names.find(name, "lever")
    positions = words.levers.get(name.text)
    if declared and positions and set(positions) != {"normal", "reverse"}:
        words.names.error(
            "CP613", name.span, others=[declared.span], name=name.text, positions=positions
        )


def _locked(
    given: ClauseReader, by: _By, node: tree.Turnout | tree.Slip, words: Vocabulary
) -> Condition | None:
    """While what the points are not moved: what locks them, or an electric lock that is not
    released."""
    held = given.condition("locked while", words)
    electric = given.get("electric lock")
    if electric is None:
        return held
    if by.by != "hand":
        words.names.error("CP702", electric.span, name=node.names[0].text)
    released = given.condition("electric lock", words)
    if released is None:
        return held
    shut = Not(released, electric.span)
    return shut if held is None else AnyOne((held, shut), electric.span)
