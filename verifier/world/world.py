"""Any expression about a layout as an expression about truth and commands alone."""

from collections.abc import Collection, Iterable
from copy import copy
from graphlib import CycleError, TopologicalSorter

from verifier.language.diagnostics.diagnostic import Diagnostic, InputError
from verifier.language.diagnostics.registry import diagnostic
from verifier.logic.expr import (
    Atom,
    Expr,
    atom,
    conjunction,
    constant,
    disjunction,
    negation,
    nodes,
    substitute,
)
from verifier.logic.settle import settle
from verifier.plan.model import Line, Plan, Signal
from verifier.plan.observables import Assumed, Observable, conditions_in
from verifier.plan.signals.heads import signal_of
from verifier.world.circuits import Circuits
from verifier.world.cyclic_signals import May, settle_together
from verifier.world.lenses import Lenses
from verifier.world.rules import Reader, line_meaning, lower

_SHOWN = ("color", "aspect")
# What is never taken over from the sound world.
_EVERYWHERE = ("condition", "fault", "sound reading", "indicator")


class World:
    """The meaning of every observable of a plan, expanded on demand.

    ``faults`` may be present, and are then inputs too; ``sound`` is the world of the same plan
    without faults. With ``touched``, only things of these names can differ from it, and the
    rest is reused (:mod:`verifier.world.fault_cone`).

    ``memory_facts`` are invariants of relays, timers, direction of traffic and points, proved
    over time: no situation that contradicts one of them is reachable. A world with faults has
    those of ``sound``.

    Raises :class:`InputError` (``CP409``) on expanding something that depends on itself in
    some situation; :func:`check_circles` expands everything. Raises
    :class:`~verifier.plan.wiring.faults.UnknownFault` for a fault that the plan does not have.
    """

    def __init__(
        self,
        plan: Plan,
        sound: "World | None" = None,
        faults: Iterable[Observable] = (),
        touched: frozenset[str] | None = None,
        memory_facts: Iterable[Expr] = (),
    ):
        self.plan = plan
        self.sound = sound
        self.faults = tuple(faults)
        self.touched = touched
        self.memory_facts: tuple[Expr, ...] = sound.memory_facts if sound else tuple(memory_facts)
        self.inputs = plan.inputs + self.faults
        self.is_input = frozenset(self.inputs)
        self._one_step: dict[Atom, Expr] = {}
        self._expanded: dict[Atom, Expr] = {}
        # What expressions were expanded to; unlike the above, not taken over by other worlds.
        self._meanings: dict[Expr, Expr] = {}
        # Signals that a meaning does not depend on are eliminated unless the sound world did so
        # already; in a cone only once a cycle is found.
        self._settles = touched is None
        self._settled: dict[Observable, list[May]] = {}
        # Rule semantics do not depend on faults.
        shared = sound is not None and sound.plan is plan
        self._readers: dict[str, Reader] = (
            sound._readers if sound and shared else {"": Reader("", lower_named(plan, ""))}
        )
        self._circuits = Circuits(plan, self.faults)
        self._lenses = Lenses(plan, self._circuits, self._reader_of)

    def with_other_rules(self, plan: Plan, changed: str, depending: Collection[str]) -> "World":
        """The world of a plan that differs from this one's in the rules of one signal.

        ``depending`` names the signals that read it, directly or through others, and the
        signal itself. Meanings that do not depend on it are reused."""
        sound = self.sound.with_other_rules(plan, changed, depending) if self.sound else None
        touched = None if self.touched is None else self.touched.union(depending)
        new = World(plan, sound, self.faults, touched, self.memory_facts)
        owner = self._owner
        new._one_step = {a: e for a, e in self._one_step.items() if owner(a.what) != changed}
        new._expanded = {
            a: e
            for a, e in self._expanded.items()
            if a.what.kind != "condition" and owner(a.what) not in depending
        }
        new._settled = {w: m for w, m in self._settled.items() if owner(w) not in depending}
        return new

    def _owner(self, what: Observable) -> str:
        return signal_of(what.name, self.plan.signals)

    def with_memory_facts(self, facts: Iterable[Expr]) -> "World":
        """The same world with other memory facts."""
        new = copy(self)
        new.memory_facts = tuple(facts)
        return new

    def lower(self, condition: Assumed) -> Expr:
        """A condition of the file as an expression over observables."""
        return lower(condition, self._readers[""])

    def _reader_of(self, head: str) -> Reader:
        """Who reads the rules of a head."""
        driver = self.plan.wiring.driver_of(head)
        name = driver.name if driver else ""
        if name not in self._readers:
            self._readers[name] = Reader(name, lower_named(self.plan, name))
        return self._readers[name]

    def expand(self, expr: Expr) -> Expr:
        """The same as an expression over inputs (truth and commands) only."""
        known = self._meanings.get(expr)
        if known is None:
            self._prepare(expr)
            known = substitute(expr, self._meaning_of, self._meanings)
        return known

    def one_step(self, part: Atom) -> Expr:
        """What an observable that is not an input means in terms of reports, commands and
        those aspects and colors that it depends on."""
        known = self._one_step.get(part)
        if known is None:
            meaning = self._raw(part)
            shown = [o for o in _observables(meaning) if o.kind in _SHOWN] if self._settles else []
            known = self._one_step[part] = settle(meaning, shown) if shown else meaning
        return known

    def _raw(self, part: Atom) -> Expr:
        what = part.what
        match what.kind:
            case "aspect":
                return self._lenses.aspect(part)
            case "color":
                return self._lenses.color(part)
            case "line":
                owner, _, index = what.name.rpartition("/")
                head, lines = self._lines_of(owner)
                return line_meaning(part, lines, int(index), self._reader_of(head))
            case "condition":
                meaning = self._readers[""].named[what.name]
                return meaning if part.values == ("true",) else negation(meaning)
            case "lens":
                return self._lenses.lens(part)
            case "reading" | "worst reading":
                return self._lenses.reading(part, at_best=what.kind == "reading")
            case "indicator":
                on = self._indicator(what.name)
                return on if part.values == ("on",) else negation(on)
            case "sound reading":
                read = atom(self.plan.signals[what.name].reading, *part.values)
                return self.sound.expand(read) if self.sound else read
            case "stock" | "points" | "derail":
                return self._circuits.truth(part)
            case "fault":
                return constant("sound" in part.values)
            case _:
                return self._circuits.report(part)

    def _indicator(self, name: str) -> Expr:
        """That an indicator or a bell of the panel is on: its board hears that it is to be, and
        has power, and its wire is whole."""
        asked = lower(self.plan.indicators[name].when, self._reader_of(name))
        return conjunction(asked, self._circuits.turns_on(name))

    def _lines_of(self, owner: str) -> tuple[str, tuple[Line, ...]]:
        """The lines of a signal or head, and the head whose driver reads them."""
        signal = self.plan.signals.get(owner)
        if signal is not None and signal.lines:
            return signal.heads[0].name, signal.lines
        heads = self.plan.signals[signal_of(owner, self.plan.signals)].heads
        return owner, next(head.lines for head in heads if head.name == owner)

    def _known(self, part: Atom) -> Expr | None:
        """The meaning of an atom over inputs, where it has been expanded already."""
        if part.what in self.is_input:
            return part
        if self._is_taken_over(part.what):
            assert self.sound is not None
            return self.sound.expand(part)
        if part not in self._expanded:
            for may in self._settled.get(part.what, ()):
                chosen = [states for states in may if set(states) <= set(part.values)]
                if sum(map(len, chosen)) == len(part.values):
                    self._expanded[part] = disjunction(*(may[states] for states in chosen))
        return self._expanded.get(part)

    def _is_taken_over(self, what: Observable) -> bool:
        if self.touched is None or what.kind in _EVERYWHERE:
            return False
        return self._owner(what) not in self.touched

    def _meaning_of(self, part: Atom) -> Expr:
        meaning = self._known(part)
        assert meaning is not None, part
        return meaning

    def _waiting(self, expr: Expr) -> list[Atom]:
        return [n for n in nodes(expr) if isinstance(n, Atom) and self._known(n) is None]

    def _prepare(self, expr: Expr) -> None:
        """Expand every atom below ``expr``, deepest first, on an explicit stack."""
        stack = self._waiting(expr)
        begun: dict[Atom, None] = {}
        while stack:
            part = stack[-1]
            if self._known(part) is not None:
                stack.pop()
                continue
            meaning = self.one_step(part)
            waiting = self._waiting(meaning)
            if not waiting:
                self._expanded[part] = substitute(meaning, self._meaning_of, self._meanings)
                begun.pop(part, None)
                stack.pop()
                continue
            begun[part] = None
            back = next((a for a in waiting if a in begun), None)
            if back is None:
                stack.extend(waiting)
            elif not self._settles:
                self._settles, self._one_step = True, {}
                stack, begun = self._waiting(expr), {}
            else:
                path = list(begun)
                self._settle_circle(path[path.index(back) :])
                stack, begun = self._waiting(expr), {}

    def _settle_circle(self, circle: list[Atom]) -> None:
        """Each of ``circle`` waits for the next, the last one for the first. Raises
        :class:`InputError` when some situation settles none of them."""

        def known(part: Atom) -> Expr | None:
            if part.what.kind not in _SHOWN and part.what not in self.is_input:
                return self._raw(part)
            return self._known(part)

        for what, may in settle_together(circle, self.one_step, known).items():
            self._settled.setdefault(what, []).append(may)
        if not any(self._known(part) for part in circle):
            raise InputError([_circle(circle, self.plan)])


def check_circles(world: World, signals: Iterable[Signal] | None = None) -> None:
    """Check that every color of every head (of ``signals``, of all when not given) is
    determined in every situation.

    Raises :class:`InputError` (``CP409``) otherwise."""
    for signal in world.plan.signals.values() if signals is None else signals:
        for head in signal.heads:
            for color in head.color.values:
                world.expand(atom(head.color, color))


def _observables(expr: Expr) -> list[Observable]:
    return list(dict.fromkeys(n.what for n in nodes(expr) if isinstance(n, Atom)))


def _circle(circle: list[Atom], plan: Plan) -> Diagnostic:
    shown = [a for a in circle if a.what.kind in _SHOWN]
    order = list(plan.signals)
    first = min(range(len(shown)), key=lambda i: order.index(signal_of(shown[i].what.name, order)))
    shown = shown[first:] + shown[:first]
    owners = list(dict.fromkeys(signal_of(a.what.name, plan.signals) for a in shown))
    signals = [plan.signals[name] for name in owners]
    return diagnostic(
        "CP409",
        signals[0].span,
        others=[(s.span, s.name) for s in signals[1:]],
        chain=[*owners, owners[0]],
        steps=[_says(a) for a in [*shown, shown[0]]],
    )


def _says(part: Atom) -> str:
    return f"{part.what.name} {' or '.join(part.values)}"


def lower_named(plan: Plan, reader: str) -> dict[str, Expr]:
    """What the named conditions mean to a reader, those first that others are written in
    terms of."""
    uses = {
        name: set(conditions_in(condition.condition)) for name, condition in plan.conditions.items()
    }
    try:
        order = list(TopologicalSorter(uses).static_order())
    except CycleError as error:
        circle: list[str] = error.args[1][:0:-1]
        spans = [plan.conditions[name].span for name in circle]
        raise InputError(
            [
                diagnostic(
                    "CP409", spans[0], "conditions", others=spans[1:], chain=[*circle, circle[0]]
                )
            ]
        ) from None
    named: dict[str, Expr] = {}
    for name in order:
        named[name] = lower(plan.conditions[name].condition, Reader(reader, named))
    return named
