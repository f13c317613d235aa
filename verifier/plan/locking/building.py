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
    given = [ClauseReader(node.clauses, names).supply() for node in built]
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
    return Building(first.kind, True, _version(statements, names), first.span, given[0])


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
