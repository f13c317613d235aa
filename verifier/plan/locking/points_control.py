"""How turnouts, slips, derails and gates are thrown, and what locks them.

In: the clauses of their statements. Out: a :class:`~verifier.plan.locking.locking_model.Throw` for
each that says anything of it; errors are noted in the names.
"""

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from verifier.language.syntax import tree
from verifier.plan.clause_reader import ClauseReader
from verifier.plan.locking.locking_model import Mover, Throw
from verifier.plan.names import Names
from verifier.plan.observables import AnyOne, Condition, Not
from verifier.plan.vocabulary import Vocabulary
from verifier.plan.wiring import plausible_ranges

_KINDS: frozenset[tree.ClauseKind] = frozenset(
    ("thrown by", "thrown when", "locked while", "electric lock", "motor", "pulse")
)

# What moves, as statements, and the position that each is thrown to.
Moving = tree.Turnout | tree.Slip | tree.Derail | tree.Gate
_AWAY: Mapping[type[Moving], str] = {tree.Derail: "non-derailing", tree.Gate: "open"}


class _By(NamedTuple):
    """Who throws it, and with what."""

    by: Mover
    lever: str | None = None
    buttons: tuple[str, ...] = ()


def read_throws(statements: Iterable[tree.Statement], words: Vocabulary) -> dict[str, Throw]:
    """How each turnout, slip, derail and gate is thrown of which the file says so."""
    throws: dict[str, Throw] = {}
    for s in statements:
        if not isinstance(s, Moving):
            continue
        given = ClauseReader(s.clauses, words.names)
        if not given.has_any(_KINDS) or _moved_by_pipe(given, s, words.names):
            continue
        by = _thrown_by(given, s, words)
        away = _thrown_when(given, s, words)
        locked = _locked(given, by, s, words)
        snap = given.word("motor") == "snap"
        pulse, clause = given.amount("pulse", plausible_ranges.PULSE), given.get("pulse")
        if clause and not snap:
            words.names.error("CP619", clause.span, "pulse")
        for name in s.names:
            throws[name.text] = Throw(
                name.text, *by, away, locked, "electric lock" in given, snap, pulse, s.span
            )
    return throws


def lever_of(clause: tree.Clause | None) -> tree.Name | None:
    """The one lever of a `thrown by` clause, as far as its words tell."""
    return clause.names[0] if clause and len(clause.names) == 1 else None


def _thrown_by(given: ClauseReader, node: Moving, words: Vocabulary) -> _By:
    clause, rule = given.get("thrown by"), given.get("thrown when")
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
        return _buttons(clause, names.table[node.names[0].text].kind, names)
    declared = names.table.get(lever.text)
    if declared and declared.kind == "button":
        names.error("CP704", lever.span, name=node.names[0].text)
        return _By("anyone")
    _check_lever(lever, names.table[node.names[0].text].kind, words)
    return _By("lever", lever.text)


def _moved_by_pipe(given: ClauseReader, node: Moving, names: Names) -> bool:
    """Whether something pipe-connected is thrown or locked by itself, which is noted."""
    pipe = given.get("pipe-connected")
    if pipe is None:
        return False
    clause = next(c for kind, c in given.given.items() if kind in _KINDS)
    of = pipe.names[0].text
    names.error("CP763", clause.span, others=[pipe.span], name=node.names[0].text, of=of)
    return True


def _thrown_when(given: ClauseReader, node: Moving, words: Vocabulary) -> Condition | None:
    """While what it is thrown out of its normal position."""
    clause, away = given.get("thrown when"), _AWAY.get(type(node), "reverse")
    if clause is not None and clause.words[0].text != away:
        said = clause.words[0]
        kind = words.names.table[node.names[0].text].kind
        words.names.error("CP761", said.span, kind=kind, position=said.text, away=away)
        return None
    return given.condition("thrown when", words)


def _buttons(clause: tree.Clause, kind: str, names: Names) -> _By:
    buttons = tuple(name.text for name in clause.names if names.find(name, "button"))
    if len(clause.names) != 2:
        names.error("CP704", clause.span, "count", kind=kind, count=len(clause.names))
    elif len(set(buttons)) == 1 and len(buttons) == 2:
        names.error("CP704", clause.names[1].span, "same", name=buttons[0])
    return _By("buttons", None, buttons)


def _check_lever(name: tree.Name, kind: str, words: Vocabulary) -> None:
    declared = words.names.find(name, "lever")
    positions = words.levers.get(name.text)
    if declared and positions and set(positions) != {"normal", "reverse"}:
        words.names.error(
            "CP613",
            name.span,
            others=[declared.span],
            name=name.text,
            kind=kind,
            positions=positions,
        )


def _locked(given: ClauseReader, by: _By, node: Moving, words: Vocabulary) -> Condition | None:
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
