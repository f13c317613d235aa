"""What the crew promises: rules that people keep where no lock does.

In: `crew promises …` statements and the plan without them. Out: a
:class:`~verifier.plan.locking.locking_model.Promise` for each; promises that nobody can keep, or
that say nothing, are noted in the names as errors.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import chain

from verifier.language.source import Span
from verifier.language.syntax import tree
from verifier.plan.clause_reader import at_most_one
from verifier.plan.devices import Device, devices, signaled_entries
from verifier.plan.locking.locking_model import THROWING, Locking, Promise, promise_text
from verifier.plan.model import Plan, Port, Route, Signal
from verifier.plan.names import KIND_WORDS, Names


def read_promises(
    statements: Sequence[tree.Statement], names: Names, plan: Plan
) -> tuple[Promise, ...]:
    """The promises of a file, in its order; errors are noted. ``plan`` is the file without them
    and without what follows from its wiring; where errors were noted before, as far as it was
    read."""
    reader = _Reader(names, plan)
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


def moves_before(device: Device, route: Route, signal: Signal) -> int | None:
    """How many pieces of a route a train runs over before it is at something that moves; of a
    derail that the route does not run over, before it is at what that protects. None where the
    route does not lead there. ``signal``: where the route begins."""
    if device.kind == "derail":
        passed = list(route.joints[:-1] if route.exit_kind == "signal" else route.joints)
        over = [k for k, j in enumerate((signal.joint, *passed)) if j in device.joints]
        toward = [k for k, piece in enumerate(route.pieces) if piece == device.guards]
        return next(iter((*over, *toward)), None)
    on = [k for k, piece in enumerate(route.pieces) if piece in device.pieces]
    return on[-1] if on else None


def stood_before(device: Device, plan: Plan) -> tuple[Port, ...]:
    """The ends by which trains that have no signal to go by leave the track before a derail. They
    stop short of it while it is set against them."""
    if device.kind != "derail":
        return ()
    pieces, signaled = plan.track.pieces, signaled_entries(plan)
    ports = (port for joint in device.joints for port in (joint.a, joint.b))
    return tuple(
        port
        for port in ports
        if pieces[port.piece].kind not in ("edge", "bumper")
        and plan.track.joint_at[port].other(port) not in signaled
    )


def may_lie_ahead(device: Device, plan: Plan) -> bool:
    """Whether a train can be on its way to something that moves and be seen to be."""
    led = led_to(device, plan.routes, plan.signals)
    return any(count for _, count in led) or bool(stood_before(device, plan))


def led_to(
    device: Device, routes: Iterable[Route], signals: Mapping[str, Signal]
) -> Iterator[tuple[Route, int]]:
    """The routes that lead to something that moves, and how many pieces they run over before."""
    for route in routes:
        count = moves_before(device, route, signals[route.signal])
        if count is not None:
            yield route, count


class _Reader:
    def __init__(self, names: Names, plan: Plan):
        self.names = names
        self._wrong = bool(names.errors)
        self._plan = plan
        self._locking = plan.locking
        self._devices = devices(plan)

    def about(self, node: tree.Crew) -> tuple[str, ...]:
        """What a promise is about; nothing where it is wrong."""
        at_most_one(node.about, "name" if node.rule in THROWING else "block", self.names)
        if node.rule in THROWING:
            return self._thrown(node)
        return self._blocks(node)

    # -------------------------------------------------------------- points

    def _thrown(self, node: tree.Crew) -> tuple[str, ...]:
        named = dict.fromkeys(chain.from_iterable(self._named(n, node) for n in node.about))
        if node.rule == "before a train can stop" and self._locking.running.to_stop is None:
            self.names.error("CP755", node.span, "to_stop")
            return ()
        return tuple(named) if node.about else self._points(node)

    def _points(self, node: tree.Crew) -> tuple[str, ...]:
        """All points that people throw and that the promise says something of."""
        thrown = {
            name: self._says_nothing(name, node)
            for name, device in self._devices.items()
            if device.has_points and may_be_thrown(name, self._locking)
        }
        found = tuple(name for name, variant in thrown.items() if not variant)
        if not thrown:
            self.names.error("CP752", node.span, "none")
        elif not found:
            variants = set(thrown.values())
            variant = "all_no_signal" if variants == {"no_signal"} else "all_not_ahead"
            self._says_no_more(node.span, variant)
        return found

    def _says_no_more(self, span: Span, variant: str, **words: str) -> None:
        """A promise that nothing could break. Where other statements are wrong, they may be why,
        and nothing is noted."""
        if not self._wrong:
            self.names.error("CP755", span, variant, **words)

    def _named(self, name: tree.Name, node: tree.Crew) -> Iterator[str]:
        """What moves by one name, a crossover being two."""
        declared = self.names.table.get(name.text)
        if declared is None:
            self.names.find(name, "turnout", "slip", "crossover", "derail", "gate")
            return
        if declared.kind == "crossover":
            ends = getattr(declared.node, "ends", ())
            named = [end.text for end in ends if end.text in self._devices]
        elif name.text in self._devices:
            named = [name.text]
        else:
            kind = KIND_WORDS[declared.kind]
            self.names.error("CP751", name.span, others=[declared.span], name=name.text, kind=kind)
            return
        for one in named:
            throw, pipe = self._locking.throws.get(one), self._devices[one].pipe
            if pipe is not None:
                self.names.error(
                    "CP752", name.span, "pipe", others=[pipe.span], name=one, points=pipe.points
                )
            elif throw is not None and not may_be_thrown(one, self._locking):
                self.names.error("CP752", name.span, others=[throw.span], name=name.text)
            elif variant := self._says_nothing(one, node):
                self._says_no_more(name.span, variant, name=name.text)
            else:
                yield one

    def _says_nothing(self, name: str, node: tree.Crew) -> str:
        """Why a promise about this says nothing; empty where it does."""
        led = [n for _, n in led_to(self._devices[name], self._plan.routes, self._plan.signals)]
        if node.rule in ("under clear signals", "before a train can stop"):
            return "" if led else "no_signal"
        if node.rule == "ahead of a train":
            return "" if may_lie_ahead(self._devices[name], self._plan) else "not_ahead"
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
                self._says_no_more(name.span, "elsewhere", name=name.text)
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
