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
            f"`{clause.kind}` is given twice",
            clause.span,
            "`contacts normal, reverse` says that there are both."
            if clause.kind == "contacts"
            else "Leave one of them out, or put all of it into one.",
            ((found[clause.kind].span, "the first time is here"),),
        )
    return found


def at_most_one(listed: Sequence[tree.Name], what: str, names: Names) -> tuple[str, ...]:
    """The names of a list, each once; repeated ones are noted."""
    seen: dict[str, tree.Name] = {}
    for name in listed:
        if name.text in seen:
            names.error(
                "CP606",
                f"{what} `{name.text}` is listed twice",
                name.span,
                "A feeder that passes through more than once is given with `turns 2`."
                if what == "feeder"
                else "Leave one of them out.",
                ((seen[name.text].span, "the first time is here"),),
            )
        seen.setdefault(name.text, name)
    return tuple(seen)


def no_run(clause: tree.Clause | None, names: Names) -> None:
    """A run of wire is given only where it is looked at."""
    if clause and clause.run:
        names.error(
            "CP619",
            "the wires to this are not looked at",
            clause.run.span,
            "`over …` belongs to districts, feeders and drivers, where the drop in voltage is "
            "worked out. Leave it out here.",
        )
