"""What the rules give, as terms over the numbers that go in.

In: the list of fields, and a variable for each number that goes in. Out: for every signal, every
turnout and every memory, when it comes to what. Worked out from the world that everything else is
proved over, at what is reported (:class:`~verifier.world.report_abstraction.ReportedWorld`), not
from the C. What is built of relays may act in any order; the C acts in one of them, that of the
file.
"""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from verifier.engines.smt.equivalence import Terms
from verifier.exports.asked_for import RESTRICTIVE
from verifier.exports.c_semantics import CValue, Store
from verifier.exports.interface import Clock, Field, Interface
from verifier.logic.expr import Atom, Expr, atom, negation
from verifier.plan.devices import Device
from verifier.plan.observables import Observable
from verifier.plan.panel import Indicator
from verifier.world.acting import Values
from verifier.world.report_abstraction import ReportedWorld, missing


class ExpectedSemantics:
    """Answers for one export. ``before``: what goes in, by its name in the C text. With
    ``worked_out``, what a board is told of signals of others is what their rules give, whatever
    goes in at these boards."""

    def __init__(self, face: Interface, terms: Terms, before: Store, *, worked_out: bool = False):
        self._face = face
        self._terms = terms
        self._before = before
        self._elsewhere = worked_out
        self._world = ReportedWorld(face.whole, () if worked_out else face.told)
        self._memory = self._world.memory()
        # What has been worked out, by how points were told and whose delay is taken to be over.
        self._known: dict[tuple[str, str], dict[Expr, Any]] = {}

    # -------------------------------------------------------------- what comes out

    def shown(self, what: Observable) -> Mapping[str, Any]:
        """When an aspect or a color is each of its values."""
        return {v: self._rule(self._world.expand(atom(what, v))) for v in what.values}

    def indicated(self, indicator: Indicator) -> Any:
        """When an indicator or a bell is on."""
        return self._rule(self._world.expand(atom(indicator.what, "on")))

    def unlocked(self, turnout: str) -> Any:
        """When points may be moved."""
        return self._rule(negation(self._memory.is_locked(turnout)))

    def thrown(self, device: Device, told: str, leg: str) -> Any:
        """When what was told to lie one way is told to lie that way next."""
        return self._rule(self._memory.following[device.told][leg], told)

    def remembered(self, field: Field) -> Mapping[int, Any]:
        """When a memory comes to each of its states, by the number of the state."""
        following = self._following(field)
        return {s.number: self._rule(following[s.value]) for s in field.states}

    def begins(self, clock: Clock) -> Any:
        """When a timer begins to run."""
        running = self._rule(self._following(clock.of)["running"])
        return self._terms.both(self.reads(clock.of, ("idle",)), running)

    def waits(self, clock: Clock, to: str) -> Any:
        """When a relay or timer would go to a state, but its delay is not over."""
        following = self._following(clock.of)[to]
        wants = self._rule(following, over=clock.of.what.name)
        moves = self._terms.opposite(self._rule(following))
        return self._terms.all_of((self._is_before(clock, to), wants, moves))

    def _following(self, field: Field) -> Values:
        return self._memory.following[field.what]

    def as_told(self) -> Iterator[Any]:
        """That a board is told what the rules give."""
        for what in self._face.told:
            field = self._face.by_what[what]
            for value, when in self.shown(what).items():
                yield self._terms.same(self.reads(field, (value,)), when)

    # -------------------------------------------------------------- what goes in

    def is_in(self, value: CValue, numbers: Iterable[int]) -> Any:
        """When a number is one of some."""
        return self._terms.any_of(self.is_number(value, number) for number in numbers)

    def reads(self, field: Field, values: tuple[str, ...]) -> Any:
        """When what goes in by a field reads as one of some states."""
        numbers = [field.state(v).number for v in values]
        if field.missing and RESTRICTIVE[field.what.kind] in values:
            numbers.append(field.missing.number)
        return self.is_in(self._before[self._face.place(field)], numbers)

    def is_number(self, value: CValue, number: int) -> Any:
        """When it is one of them."""
        return self._terms.equal(value.word, self._terms.number(number, value.type.bits))

    def _rule(self, expr: Expr, told: str = "", over: str = "") -> Any:
        """An expression of the world, at what is given. ``told``: how points were last thrown;
        ``over``: of which relay or timer the delay is over, whatever its clock says."""

        def meaning(part: Atom) -> Any:
            what = part.what
            match what.kind:
                case "thrown":
                    return self._terms.truth(told in part.values)
                case "sees" | "sees by signals":
                    return self._terms.truth(self._memory.in_turn[what] in part.values)
                case "expiry" if what.name == over:
                    return self._terms.truth("yes" in part.values)
                case "expiry":
                    expired = self._is_over(what.name)
                    return expired if "yes" in part.values else self._terms.opposite(expired)
                case "fault":
                    return self._fault(what, part.values)
                case _ if self._elsewhere and what not in self._face.by_what:
                    return self._goes_in_elsewhere(what, part.values)
                case _:
                    return self.reads(self._face.by_what[what], part.values)

        return self._terms.expression(expr, meaning, self._known.setdefault((told, over), {}))

    def _fault(self, what: Observable, values: tuple[str, ...]) -> Any:
        """That an input is missing, or a lamp out; not where nobody notices."""
        field = self._face.by_what.get(what)
        if field is not None:
            return self.reads(field, values)
        noticed = any(f.missing and missing(f.what) == what for f in self._face.inputs)
        if self._elsewhere and not noticed:
            return self._goes_in_elsewhere(what, values)
        broken = self._terms.any_of(
            self.is_number(self._before[self._face.place(f)], f.missing.number)
            for f in self._face.inputs
            if f.missing and missing(f.what) == what
        )
        return broken if "sound" not in values else self._terms.opposite(broken)

    def _goes_in_elsewhere(self, what: Observable, values: tuple[str, ...]) -> Any:
        """That what no field of this board holds is in one of some states: anything, but always
        one of them."""
        terms = self._terms
        word = terms.variable(f"elsewhere {what.kind} {what.name}", 8)
        last = terms.number(len(what.values) - 1, 8)
        held = terms.choose(terms.less(last, word), last, word)
        return terms.any_of(
            terms.equal(held, terms.number(n, 8))
            for n, value in enumerate(what.values)
            if value in values
        )

    def _is_over(self, name: str) -> Any:
        """That the delay which a relay or a timer waits for has lasted long enough."""
        terms = self._terms
        clock = self._face.clock_of(name)
        assert clock is not None
        counted = self._before[f"memory->{clock.name}"]
        over = terms.truth(True)
        for to, limit in clock.limits.items():
            lasted = terms.opposite(terms.less(counted.word, terms.number(limit, clock.bits)))
            waits = self._is_before(clock, to)
            over = terms.both(over, terms.either(terms.opposite(waits), lasted))
        return over

    def _is_before(self, clock: Clock, to: str) -> Any:
        """That it is in the state from which it goes there."""
        origin = {"up": "down", "down": "up", "done": "running"}[to]
        return self.reads(clock.of, (origin,))
