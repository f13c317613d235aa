"""Who is called what: the names a file declares, and what each may be asked for."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from verifier.language.diagnostics.diagnostic import Diagnostic, did_you_mean
from verifier.language.source import Span
from verifier.language.syntax import tree
from verifier.language.syntax.token_names import one_of

# How each kind of thing is called in a message.
KIND_WORDS = {
    "edge": "an edge",
    "bumper": "a bumper",
    "block": "a block",
    "turnout": "a turnout",
    "crossing": "a crossing",
    "slip": "a slip",
    "derail": "a derail",
    "gate": "a gate",
    "crossover": "a crossover",
    "limits": "interlocking limits",
    "signal": "a signal",
    "condition": "a condition",
    "lever": "a lever",
    "button": "a button",
    "supply": "a supply",
    "district": "a district",
    "feeder": "a feeder",
    "detector": "a detector",
    "driver": "a driver",
    "relay": "a relay",
    "timer": "a timer",
    "traffic": "direction of traffic",
    "route": "a named route",
}

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

    def error(
        self,
        code: str,
        message: str,
        span: Span,
        hint: str = "",
        others: tuple[tuple[Span, str], ...] = (),
    ) -> None:
        # A name may be looked up more than once, and a module used more than once.
        place = (code, span.source.name, span.start, span.end)
        if place not in self._noted:
            self._noted.add(place)
            self.errors.append(Diagnostic(code, message, span, hint, others))

    def declare(self, name: tree.Name, kind: str, node: tree.Statement) -> None:
        earlier = self.table.get(name.text)
        if "." in name.span.text:  # as written: the names of a module's inside have dots
            self.error(
                "CP208",
                f"`{name.text}` has a dot in it",
                name.span,
                "Only heads have one, between the signal's name and their own: `4L.upper`.",
            )
        if earlier is None:
            self.table[name.text] = Declared(kind, name.span, node)
            return
        if kind == earlier.kind == "feeder":
            same = node is earlier.node
            self.error(
                "CP608",
                f"feeder `{name.text}` is listed twice"
                if same
                else f"feeder `{name.text}` goes to two blocks",
                name.span,
                "Leave one of them out."
                if same
                else "A wire that feeds two blocks joins them to one: give each block a feeder of "
                "its own, and each feeder a name of its own.",
                ((earlier.span, "it is listed here" if same else "it goes to another block here"),),
            )
            return
        self.error(
            "CP202",
            f"`{name.text}` is declared twice",
            name.span,
            "Every thing needs a name of its own, whatever its kind.",
            ((earlier.span, f"it is already {KIND_WORDS[earlier.kind]} here"),),
        )

    def of_kind(self, *kinds: str) -> list[str]:
        return [name for name, declared in self.table.items() if declared.kind in kinds]

    def find(self, name: tree.Name, *kinds: str) -> Declared | None:
        """The declaration of a name that must be of one of ``kinds``; errors are noted."""
        declared = self.table.get(name.text)
        if declared is None:
            self.unknown(name, KIND_WORDS[kinds[0]] if len(kinds) == 1 else "", kinds)
            return None
        if declared.kind in kinds:
            return declared
        wanted = one_of([KIND_WORDS[kind] for kind in kinds])
        self.error(
            "CP203",
            f"`{name.text}` is {KIND_WORDS[declared.kind]}, and here must stand {wanted}",
            name.span,
            did_you_mean(name.text, self.of_kind(*kinds)) or _lies_in(declared, kinds),
            ((declared.span, "it is declared here"),),
        )
        return None

    def unknown(self, name: tree.Name, wanted: str, kinds: Iterable[str]) -> None:
        if name.text in self._reported:
            return
        self._reported.add(name.text)
        kinds = tuple(kinds)
        what = f"no {wanted.split(' ', 1)[1]} is" if wanted else "nothing is"
        hint = ""
        if len(self._reported) <= MAX_GUESSES:
            hint = did_you_mean(name.text, self.of_kind(*kinds)) or did_you_mean(
                name.text, self.table
            )
        if not hint and kinds == ("feeder",):
            hint = "If the name is right, the `feeders` list of its block must have it."
        elif not hint and kinds:
            statements = one_of([f"`{_STATEMENT_OF.get(kind, kind)}`" for kind in kinds])
            hint = f"If the name is right, a {statements} statement must declare it."
        self.error("CP201", f"{what} called `{name.text}`", name.span, hint)


_STATEMENT_OF = {"limits": "interlocking limits"}


def _lies_in(declared: Declared, kinds: tuple[str, ...]) -> str:
    block = getattr(declared.node, "block", None)
    return f"It lies in block `{block.text}`." if block and kinds == ("block",) else ""


def declare_all(statements: Iterable[tree.Statement]) -> Names:
    """All names a file declares. Names used twice are noted as errors."""
    names = Names()
    for statement in statements:
        match statement:
            case tree.Edge():
                _declare(names, statement.names, "edge", statement)
            case tree.Bumper():
                _declare(names, statement.names, "bumper", statement)
            case tree.Block():
                _declare(names, statement.names, "block", statement)
                for feeders in statement.feeders:
                    _declare(names, feeders.names, "feeder", statement)
            case tree.Turnout():
                _declare(names, statement.names, "turnout", statement)
            case tree.Crossing():
                _declare(names, statement.names, "crossing", statement)
            case tree.Slip():
                _declare(names, statement.names, "slip", statement)
            case tree.Gate():
                _declare(names, statement.names, "gate", statement)
            case tree.Lever():
                _declare(names, statement.names, "lever", statement)
            case tree.Button():
                _declare(names, statement.names, "button", statement)
            case tree.Derail():
                names.declare(statement.name, "derail", statement)
            case tree.Crossover():
                names.declare(statement.name, "crossover", statement)
            case tree.Limits():
                names.declare(statement.name, "limits", statement)
            case tree.Signal():
                names.declare(statement.name, "signal", statement)
            case tree.Supply():
                names.declare(statement.name, "supply", statement)
            case tree.District():
                names.declare(statement.name, "district", statement)
            case tree.Detector():
                names.declare(statement.name, "detector", statement)
            case tree.Driver():
                names.declare(statement.name, "driver", statement)
            case tree.NamedCondition():
                names.declare(statement.name, "condition", statement)
            case tree.Relay():
                names.declare(statement.name, "relay", statement)
            case tree.Timer():
                names.declare(statement.name, "timer", statement)
            case tree.Traffic():
                names.declare(statement.name, "traffic", statement)
            case tree.Route():
                names.declare(statement.name, "route", statement)
            case _:
                pass
    return names


def _declare(names: Names, declared: Iterable[tree.Name], kind: str, node: tree.Statement) -> None:
    for name in declared:
        names.declare(name, kind, node)
