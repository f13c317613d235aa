"""What the crew promises: rules that people keep where no lock does.

In: `crew promises …` statements, the track and how points are thrown. Out: a
:class:`~verifier.plan.locking.locking_model.Promise` for each; promises that nobody can keep, or
that say nothing, are noted in the names as errors.
"""

from collections.abc import Iterable, Iterator, Sequence
from itertools import chain

from verifier.language.syntax import tree
from verifier.plan.clause_reader import at_most_one
from verifier.plan.locking.locking_model import THROWING, Locking, Promise, promise_text
from verifier.plan.model import Route, Track
from verifier.plan.names import KIND_WORDS, Names

_POINTS = ("turnout", "slip")


def read_promises(
    statements: Sequence[tree.Statement],
    names: Names,
    track: Track,
    routes: Sequence[Route],
    locking: Locking,
) -> tuple[Promise, ...]:
    """The promises of a file, in its order; errors are noted."""
    reader = _Reader(names, track, routes, locking)
    promises: list[Promise] = []
    for node in tree.of_kind(statements, tree.Crew):
        about = reader.about(node)
        if about:
            listed = tuple(name.text for name in node.about)
            promises.append(Promise(node.rule, about, promise_text(node.rule, listed), node.span))
    _check_repeated(promises, statements, names)
    return tuple(promises)


def may_be_thrown(name: str, locking: Locking) -> bool:
    """Whether people throw some points: by hand, lever or buttons, or in a way left open."""
    throw = locking.throws.get(name)
    return throw is None or throw.by != "rule"


def led_over(points: str, routes: Iterable[Route]) -> bool:
    """Whether a signal leads trains over some points."""
    return any(need.points == points for route in routes for need in route.needs)


def lie_ahead(points: str, routes: Iterable[Route]) -> bool:
    """Whether a train can be inside a route and still before some points."""
    return any(route.pieces.index(n.points) > 0 for route in routes for n in route.needs
               if n.points == points)  # fmt: skip


class _Reader:
    def __init__(self, names: Names, track: Track, routes: Sequence[Route], locking: Locking):
        self.names = names
        self._routes = routes
        self._locking = locking
        self._points = [n for n, piece in track.pieces.items() if piece.kind in _POINTS]

    def about(self, node: tree.Crew) -> tuple[str, ...]:
        """What a promise is about; nothing where it is wrong."""
        at_most_one(node.about, "turnout" if node.rule in THROWING else "block", self.names)
        if node.rule in THROWING:
            return self._thrown(node)
        return self._blocks(node)

    # -------------------------------------------------------------- points

    def _thrown(self, node: tree.Crew) -> tuple[str, ...]:
        if node.rule == "before a train can stop" and self._locking.running.to_stop is None:
            self.names.error("CP755", node.span, "to_stop")
            return ()
        if not node.about:
            found = tuple(
                n
                for n in self._points
                if may_be_thrown(n, self._locking) and not self._says_nothing(n, node)
            )
            if not found:
                self.names.error("CP752", node.span, "none")
            return found
        return tuple(dict.fromkeys(chain.from_iterable(self._named(n, node) for n in node.about)))

    def _named(self, name: tree.Name, node: tree.Crew) -> Iterator[str]:
        """The turnouts and slips of one name, a crossover being two."""
        declared = self.names.table.get(name.text)
        if declared is None:
            self.names.find(name, "turnout", "slip", "crossover")
            return
        if declared.kind == "crossover":
            ends = getattr(declared.node, "ends", ())
            points = [end.text for end in ends if end.text in self._points]
        elif declared.kind in _POINTS:
            points = [name.text]
        else:
            kind = KIND_WORDS[declared.kind]
            self.names.error("CP751", name.span, others=[declared.span], name=name.text, kind=kind)
            return
        for one in points:
            throw = self._locking.throws.get(one)
            if throw is not None and not may_be_thrown(one, self._locking):
                self.names.error("CP752", name.span, others=[throw.span], name=name.text)
            elif variant := self._says_nothing(one, node):
                self.names.error("CP755", name.span, variant, name=name.text)
            else:
                yield one

    def _says_nothing(self, points: str, node: tree.Crew) -> str:
        """Why a promise about these points says nothing; empty where it does."""
        if node.rule in ("under clear signals", "before a train can stop"):
            return "" if led_over(points, self._routes) else "no_signal"
        if node.rule == "ahead of a train":
            return "" if lie_ahead(points, self._routes) else "not_ahead"
        return ""

    # -------------------------------------------------------------- blocks

    def _blocks(self, node: tree.Crew) -> tuple[str, ...]:
        found = [name for name in node.about if self.names.find(name, "block")]
        if node.rule != "to reverse":
            return tuple(dict.fromkeys(name.text for name in found))
        only = self._locking.running.reverse_on
        if only == ():
            return ()  # noted with what is said twice
        for name in found:
            if only is not None and name.text not in only:
                self.names.error("CP755", name.span, "elsewhere", name=name.text)
        if node.about:
            return tuple(dict.fromkeys(name.text for name in found))
        return tuple(self.names.of_kind("block"))


def _check_repeated(
    promises: Sequence[Promise], statements: Sequence[tree.Statement], names: Names
) -> None:
    """No promise is made twice, or contradicts how the file says that trains run."""
    for i, promise in enumerate(promises):
        for earlier in promises[:i]:
            both = _said_by_both(earlier, promise)
            if both:
                names.error("CP753", promise.span, others=[earlier.span], text=promise.text,
                            about=both, earlier=earlier.text)  # fmt: skip
    said = {s.kind: s for s in tree.of_kind(statements, tree.Running)}
    for node in tree.of_kind(statements, tree.Crew):
        if node.rule != "to reverse":
            continue
        if "never reverse" in said:
            names.error("CP753", node.span, "never", others=[said["never reverse"].span])
        elif "reverse on" in said:
            where = said["reverse on"]
            named = {name.text for name in node.about} or {name.text for name in where.blocks}
            both = [name.text for name in where.blocks if name.text in named]
            if both:
                names.error("CP754", node.span, others=[where.span], blocks=both)


def _said_by_both(one: Promise, other: Promise) -> list[str]:
    """What two promises say the same of. One train at a time is one direction at a time, too."""
    if one.rule in ("one train at a time", "one direction at a time"):
        implied = {one.rule, "one direction at a time"}
        if other.rule in implied and set(other.about) <= set(one.about):
            return list(other.about)
        if other.rule == "one train at a time" and one.rule == "one direction at a time":
            return list(one.about) if set(one.about) <= set(other.about) else []
        return []
    return [name for name in other.about if name in one.about] if one.rule == other.rule else []
