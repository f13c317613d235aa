"""What boards drive besides heads, and how the panel is wired, from their statements.

In: statements of drivers, levers and buttons, and the names that they may use. Out: parts of
a :class:`~verifier.plan.wiring.wiring_model.Wiring`; errors are noted in the names.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Literal

from verifier.language.syntax import tree
from verifier.plan.clause_reader import ClauseReader, at_most_one
from verifier.plan.locking.points_control import Moving
from verifier.plan.names import Names
from verifier.plan.wiring.wiring_model import HEARD, Driver, DriverInput, Machine, Panel

_MOVED = ("turnout", "slip", "derail", "gate")


# ------------------------------------------------------------------ what a board drives


def driven(
    kind: Literal["throws", "unlocks"], node: tree.Driver, taken: dict[str, tree.Name], names: Names
) -> tuple[str, ...]:
    """The points, derails and gates that a board throws or unlocks. ``taken``: by name, where an
    earlier board does."""
    clauses = [clause for clause in node.clauses if clause.kind == kind]
    if not clauses:
        return ()
    found = []
    at_most_one(clauses[0].names, "machine" if kind == "throws" else "lock", names)
    for name in {name.text: name for name in reversed(clauses[0].names)}.values():
        if not names.find(name, *_MOVED):
            continue
        if name.text in taken:
            first = taken[name.text].span
            names.error("CP611", name.span, kind, others=[first], name=name.text)
            continue
        taken[name.text] = name
        found.append(name.text)
    return tuple(found)


def check_boards(
    drivers: Mapping[str, Driver], statements: Sequence[tree.Statement], names: Names
) -> None:
    """Every board does something, and can do what it says; errors are noted."""
    program = _board_of_program(statements)
    movers = {name.text: s for s in statements if isinstance(s, Moving) for name in s.names}
    nodes = {s.name.text: s for s in tree.of_kind(statements, tree.Driver)}
    for driver in drivers.values():
        node = nodes[driver.name]
        # Which board was meant is not known where there is none of its name, which is told already.
        runs = program == driver.name or (program is not None and program not in drivers)
        idle = not (node.heads or driver.throws or driver.unlocks)
        if idle and not runs and not _has(node.clauses, "throws", "unlocks"):
            names.error("CP670", node.name.span, name=driver.name)
        for what in driver.throws:
            _check_thrown(what, node, movers[what], runs, names)
        for what in driver.unlocks:
            _check_unlocked(what, node, movers[what], runs, names)


def _check_thrown(what: str, node: tree.Driver, mover: Moving, runs: bool, names: Names) -> None:
    clause = next(clause for clause in node.clauses if clause.kind == "throws")
    others, board = [mover.span], node.name.text
    if not _has(mover.clauses, "motor"):
        names.error("CP671", clause.span, others=others, name=what, board=board)
    elif _has(mover.clauses, "locked while", "thrown when") and not runs:
        names.error("CP671", clause.span, "program", others=others, name=what, board=board)


def _check_unlocked(what: str, node: tree.Driver, mover: Moving, runs: bool, names: Names) -> None:
    clause = next(clause for clause in node.clauses if clause.kind == "unlocks")
    others, board = [mover.span], node.name.text
    if not _has(mover.clauses, "electric lock"):
        names.error("CP671", clause.span, "lock", others=others, name=what, board=board)
    elif not runs:
        names.error("CP671", clause.span, "program", others=others, name=what, board=board)


def _board_of_program(statements: Iterable[tree.Statement]) -> str | None:
    for built in tree.of_kind(statements, tree.Built):
        for clause in built.clauses:
            if clause.kind == "on":
                return clause.names[0].text
    return None


def _has(clauses: Iterable[tree.Clause], *kinds: tree.ClauseKind) -> bool:
    return any(clause.kind in kinds for clause in clauses)


def thrown_by_boards(
    machines: Mapping[str, Machine], drivers: Mapping[str, Driver]
) -> dict[str, Machine]:
    """The machines, each with the board that throws it."""
    boards = {what: driver for driver in drivers.values() for what in driver.throws}
    return {
        name: replace(machine, board=board.name, board_supply=board.supply)
        if (board := boards.get(name)) else machine
        for name, machine in machines.items()
    }  # fmt: skip


# ------------------------------------------------------------------ what a board reads


def reading(name: tree.Name, node: tree.Driver, names: Names) -> DriverInput | None:
    """What a board reads of the panel, of memory or of signals; None where it is none of these. A
    board that reads what it lights or keeps itself is noted."""
    declared = names.table.get(name.text)
    for heard in HEARD:
        if declared is not None and declared.kind == heard:
            own = heard == "signal" and any(
                head.text.partition(".")[0] == name.text for head in node.heads
            )
            if own:
                names.error("CP672", name.span, others=[node.name.span], name=name.text)
            return DriverInput(name.text, False, name.span, heard)
    return None


# ------------------------------------------------------------------ the panel


def read_panel(
    statements: Sequence[tree.Statement], drivers: Mapping[str, Driver], names: Names
) -> dict[str, Panel]:
    """How each lever and button is wired that says so, or that a board reads."""
    read = {one.name for driver in drivers.values() for one in driver.reads or ()}
    found: dict[str, Panel] = {}
    for node in statements:
        if not isinstance(node, tree.Lever | tree.Button):
            continue
        given = ClauseReader(node.clauses, names)
        supply = given.supply()
        kind: Literal["lever", "button"] = "lever" if isinstance(node, tree.Lever) else "button"
        contacts = tuple(_contacts(node, given, names))
        for name in node.names:
            if node.clauses or name.text in read:
                found[name.text] = Panel(name.text, kind, contacts, supply, node.span)
    return found


def _contacts(node: tree.Lever | tree.Button, given: ClauseReader, names: Names) -> Iterator[str]:
    """The positions that have a contact: all but one at least, else two are alike."""
    if isinstance(node, tree.Button):
        yield given.word("button contact") or "pressed"
        return
    positions = [position.text for position in node.positions]
    clause = given.get("lever contacts")
    if clause is None:
        yield from positions
        return
    named = at_most_one(clause.words, "position", names)
    for word in clause.words:
        if word.text not in positions:
            names.error("CP673", word.span, others=[node.span], position=word.text, known=positions)
            return
    without = [position for position in positions if position not in named]
    if len(without) > 1:
        names.error("CP673", clause.span, "alike", others=[node.span], without=without)
    yield from (position for position in positions if position in named)
