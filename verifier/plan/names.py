"""The names a file declares, and looking them up."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from verifier.language.diagnostics.diagnostic import Diagnostic, nearest
from verifier.language.diagnostics.registry import diagnostic
from verifier.language.modules.rename import declared_names
from verifier.language.source import Span
from verifier.language.statements.kind import KINDS
from verifier.language.syntax import tree

# How each kind of thing is called in a message.
KIND_WORDS = {
    **{
        kind: f"a {kind}"
        for kind in (
            "bumper", "block", "turnout", "crossing", "slip", "derail", "gate", "crossover",
            "signal", "condition", "lever", "button", "bell", "supply", "district", "feeder",
            "detector", "driver", "relay", "timer",
        )
    },
    "edge": "an edge",
    "indicator": "an indicator",
    "limits": "interlocking limits",
    "traffic": "direction of traffic",
    "route": "a named route",
    "sub_bus": "a sub-bus",
}  # fmt: skip

# Looking for the nearest name takes time; a file with more errors than this has other worries.
MAX_GUESSES = 25


@dataclass(frozen=True, slots=True)
class Declared:
    """One declared name: its kind, where, and the statement that declares it."""

    kind: str
    span: Span
    node: tree.Statement


@dataclass(slots=True)
class Names:
    """The names of one file, and the errors met while looking them up.

    A name that was reported once as unknown is not reported again.
    """

    table: dict[str, Declared] = field(default_factory=dict)
    errors: list[Diagnostic] = field(default_factory=list)
    _reported: set[str] = field(default_factory=set)
    _noted: set[tuple[str, str, int, int]] = field(default_factory=set)

    def error(self, code: str, span: Span, variant: str = "", /, **words: Any) -> None:
        """Note an error; the arguments are those of :func:`diagnostic`."""
        # A name may be looked up more than once, and a module used more than once.
        place = (code, span.source.name, span.start, span.end)
        if place not in self._noted:
            self._noted.add(place)
            self.errors.append(diagnostic(code, span, variant, **words))

    def declare(self, name: tree.Name, kind: str, node: tree.Statement) -> None:
        earlier = self.table.get(name.text)
        if "." in name.span.text:  # as written: the names of a module's inside have dots
            self.error("CP208", name.span, name=name.text)
        if earlier is None:
            self.table[name.text] = Declared(kind, name.span, node)
            return
        if kind == earlier.kind == "feeder":
            self.error(
                "CP608",
                name.span,
                "twice" if node is earlier.node else "",
                others=[earlier.span],
                name=name.text,
            )
            return
        self.error(
            "CP202", name.span, others=[earlier.span], name=name.text, kind=KIND_WORDS[earlier.kind]
        )

    def of_kind(self, *kinds: str) -> list[str]:
        return [name for name, declared in self.table.items() if declared.kind in kinds]

    def find(self, name: tree.Name, *kinds: str) -> Declared | None:
        """The declaration of a name that must be of one of ``kinds``; errors are noted."""
        declared = self.table.get(name.text)
        if declared is None:
            self.unknown(name, kinds, kinds[0] if len(kinds) == 1 else "")
            return None
        if declared.kind in kinds:
            return declared
        node_block = getattr(declared.node, "block", None)
        block = node_block.text if node_block and kinds == ("block",) else ""
        self.error(
            "CP203",
            name.span,
            "in_block" if block else "",
            near=nearest(name.text, self.of_kind(*kinds)),
            others=[declared.span],
            name=name.text,
            kind=KIND_WORDS[declared.kind],
            wanted=[KIND_WORDS[kind] for kind in kinds],
            block=block,
        )
        return None

    def unknown(self, name: tree.Name, kinds: Sequence[str], called: str = "") -> None:
        """Note that nothing has this name, or nothing of the kind that it is ``called``."""
        if name.text in self._reported:
            return
        self._reported.add(name.text)
        near = None
        if len(self._reported) <= MAX_GUESSES:
            near = nearest(name.text, self.of_kind(*kinds)) or nearest(name.text, self.table)
        hints = ("feeder",) if kinds == ("feeder",) else ("statement",) if kinds else ()
        self.error(
            "CP201",
            name.span,
            "kind" if called else "",
            near=near,
            hints=() if near else hints,
            name=name.text,
            kind=called,
            statements=[_STATEMENT_OF.get(kind, kind) for kind in kinds],
        )


_STATEMENT_OF = {"limits": "interlocking limits", "sub_bus": "sub-bus"}


# The kind of thing that each kind of statement declares. (Only drawings and wiring name the gaps
# that `track` declares.)
_KIND_OF: dict[type[tree.Statement], str] = {
    **{kind.node: kind.rule for kind in KINDS if kind.rule in KIND_WORDS},
    tree.NamedCondition: "condition",
    tree.Booster: "supply",
    tree.Reverser: "supply",
}


def declare_all(statements: Iterable[tree.Statement]) -> Names:
    """All names a file declares. Names used twice are noted as errors."""
    names = Names()
    for statement in statements:
        kind = kind_declared(statement)
        feeders = statement.feeders if isinstance(statement, tree.Block) else ()
        at = {feeder.name.span.start for group in feeders for feeder in group.feeders}
        for name in declared_names(statement) if kind else ():
            names.declare(name, "feeder" if name.span.start in at else kind, statement)
    return names


def kind_declared(statement: tree.Statement) -> str:
    """The kind of thing that a statement declares; empty where it declares none."""
    return _KIND_OF.get(type(statement), "")
