"""The clauses of one wiring statement: each is given once."""

from collections.abc import Iterable, Sequence

from verifier.language.syntax import tree
from verifier.plan.names import Names


def given_once(clauses: Iterable[tree.Clause], names: Names) -> dict[tree.ClauseKind, tree.Clause]:
    """The clauses by what they are; one that is given twice is noted."""
    found: dict[tree.ClauseKind, tree.Clause] = {}
    for clause in clauses:
        if clause.kind not in found:
            found[clause.kind] = clause
            continue
        names.error(
            "CP606",
            clause.span,
            "contacts" if clause.kind == "contacts" else "",
            others=[found[clause.kind].span],
            kind=clause.kind,
        )
    return found


def at_most_one(listed: Sequence[tree.Word], what: str, names: Names) -> tuple[str, ...]:
    """The names of a list, each once; repeated ones are noted."""
    seen: dict[str, tree.Word] = {}
    for name in listed:
        if name.text in seen:
            names.error(
                "CP606",
                name.span,
                "feeder" if what == "feeder" else "listed",
                others=[seen[name.text].span],
                what=what,
                name=name.text,
            )
        seen.setdefault(name.text, name)
    return tuple(seen)


def no_run(clause: tree.Clause | None, names: Names) -> None:
    """A run of wire is given only where it is looked at."""
    if clause and clause.run:
        names.error("CP619", clause.run.span, "run")
