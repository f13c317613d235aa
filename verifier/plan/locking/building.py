"""How a layout is built, of relays or as one program, and for which version of the language its
file is written.

In: the statements of a file. Out: a :class:`~verifier.plan.locking.locking_model.Building`; errors
are noted in the names.
"""

from collections.abc import Sequence

from verifier.language.syntax import tree
from verifier.plan.clause_reader import ClauseReader
from verifier.plan.locking.locking_model import Building
from verifier.plan.names import Names

# The versions of the language, oldest first.
VERSIONS = ("0.1", "0.2", "0.3", "0.4")


def read_building(statements: Sequence[tree.Statement], names: Names) -> Building:
    """What a file says of how it is built and of its version; errors are noted."""
    built = list(tree.of_kind(statements, tree.Built))
    given = [ClauseReader(node.clauses, names) for node in built]
    supplies = [each.supply() for each in given]
    first: tree.Built | None = None
    for node in built:
        if first is None:
            first = node
        elif node.kind == first.kind:
            names.error("CP720", node.span, "again", others=[first.span], kind=node.kind)
        else:
            names.error("CP720", node.span, others=[first.span])
    if first is None:
        return Building(version=_version(statements, names))
    board = _board(first, given[0], names)
    supply = _supply_of(board, statements) if board else supplies[0]
    version = _version(statements, names)
    return Building(first.kind, True, version, first.span, supply, board=board)


def _board(built: tree.Built, given: ClauseReader, names: Names) -> str | None:
    """The driver that the one program runs on."""
    on, powered = given.get("on"), given.get("powered by")
    if on is None or not names.find(on.names[0], "driver"):
        return None
    if built.kind != "as one program":
        names.error("CP619", on.span, "program", others=[built.span])
        return None
    if powered is not None:
        names.error("CP619", powered.span, "board", others=[on.span], board=on.names[0].text)
    return on.names[0].text


def _supply_of(board: str, statements: Sequence[tree.Statement]) -> str | None:
    """What powers a driver, as its statement says; where that is wrong, it is noted there."""
    return next(
        (
            clause.names[0].text
            for driver in tree.of_kind(statements, tree.Driver)
            for clause in driver.clauses
            if driver.name.text == board and clause.kind == "powered by"
        ),
        None,
    )


def _version(statements: Sequence[tree.Statement], names: Names) -> str:
    found = ""
    earlier: tree.Written | None = None
    for node in tree.of_kind(statements, tree.Written):
        if earlier is not None:
            names.error("CP721", node.span, "again", others=[earlier.span])
            continue
        earlier, found = node, _shortened(node.version.number)
        if found not in VERSIONS:
            newer = _numbers(found) > _numbers(VERSIONS[-1])
            names.error(
                "CP722" if newer else "CP721", node.version.span,
                version=node.version.number, last=VERSIONS[-1], versions=VERSIONS,
            )  # fmt: skip
    return found


def _shortened(version: str) -> str:
    """``0.4`` for ``00.4`` too."""
    whole, dot, part = version.partition(".")
    return f"{int(whole)}{dot}{part}"


def _numbers(version: str) -> tuple[int, ...]:
    return tuple(map(int, version.split(".")))
