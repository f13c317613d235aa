"""Relays, timers, traffic, points control and indicators of the panel as C.

In: the interface. Out: lines of C. Relays, timers and traffic act in the order of the file, one of
the orders in which relays may act, each seeing what those before it did; how points may be moved is
as it was before any of them acted.
"""

from collections.abc import Iterable, Mapping

from verifier.exports.c_text import CWriter, NegatedTest, SimpleTest, Test, all_tests, test_text
from verifier.exports.condition_to_c import ConditionWriter
from verifier.exports.interface import Clock, Field, Interface
from verifier.exports.names import CNames
from verifier.exports.rules import SignalRules, by_use, place_of
from verifier.plan import observables
from verifier.plan.locking.locking_model import Relay, Throw, Timer, Traffic
from verifier.plan.model import Plan
from verifier.plan.observables import Condition, conditions_in, facts_in


class MemoryRules:
    """Writes what acts after the signals. ``needed`` afterwards: the named conditions it reads
    with the values that the signals saw."""

    def __init__(self, face: Interface, rules: SignalRules, names: CNames):
        self._face = face
        self._plan = face.plan
        self._rules = rules
        self._names = names
        self.needed: dict[str, None] = {}
        self._order = by_use(self._plan, list(self._plan.conditions))
        self._remembers = _what_they_remember(self._plan, self._order)
        # Memory that has acted already, and named conditions worked out again since.
        self._acted: dict[str, None] = {}
        self._again: dict[tuple[str, frozenset[str]], str] = {}

    # -------------------------------------------------------------- points

    def points(self) -> CWriter:
        """Whether points may be moved, and how they are to be thrown."""
        code = CWriter(indent=1)
        words = ConditionWriter(self._face, self._as_before)
        for out in self._face.points:
            throw = self._plan.locking.throws[out.device.name]
            code.say(f"{out.device.control}, {place_of(throw.span)}")
            if out.unlocked:
                assert throw.locked is not None
                code.say(f"locked while: {_text(throw.locked)}")
                code.test(f"out->{out.unlocked} = ", NegatedTest(words.of(throw.locked)), ";")
            if out.throw:
                normal, reverse = self._thrown(throw, words)
                guard = f"out->{out.unlocked} && " if out.unlocked else ""
                said = f"thrown by {throw.by}" if throw.by != "rule" else (
                    f"thrown {out.device.positions[1]} when: {_text(throw.away_when)}"
                )  # fmt: skip
                code.say(said)
                for word, test, state in (
                    ("if (", normal, "THROW_NORMAL"),
                    ("else if (", reverse, "THROW_REVERSE"),
                ):
                    code.test(f"{word}{guard}", _inside(test, guard), ") {")
                    code.put(f"    out->{out.throw} = {state};", "}")
            code.put("")
        return code

    def _thrown(self, throw: Throw, words: ConditionWriter) -> tuple[Test, Test]:
        """When it is to lie normal, and when reverse."""
        if throw.by == "lever":
            lever = next(
                f.what for f in self._face.inputs
                if f.what.kind == "lever" and f.what.name == throw.lever
            )  # fmt: skip
            return words.says(lever, ("normal",)), words.says(lever, ("reverse",))
        if throw.by == "buttons":
            pressed = [words.says(observables.button(b), ("pressed",)) for b in throw.buttons]
            released = [words.says(observables.button(b), ("released",)) for b in throw.buttons]
            return all_tests(pressed[0], released[1]), all_tests(pressed[1], released[0])
        assert throw.away_when is not None
        reverse = words.of(throw.away_when)
        return NegatedTest(reverse), reverse

    # -------------------------------------------------------------- the panel

    def panel(self) -> CWriter:
        """Whether each indicator and bell is on."""
        code = CWriter(indent=1)
        words = ConditionWriter(self._face, self._as_before)
        for out in self._face.panel:
            indicator = out.indicator
            code.say(f"{indicator.kind} {indicator.name}, {place_of(indicator.span)}")
            code.say(f"on when {_text(indicator.when)}")
            code.test(f"out->{out.name} = ", words.of(indicator.when), ";")
            code.put("")
        return code

    def _as_before(self, name: str) -> str:
        self.needed[name] = None
        return self._rules.named[name]

    # -------------------------------------------------------------- memory

    def memory(self) -> CWriter:
        """Every memory in its turn."""
        code = CWriter(indent=1)
        locking = self._plan.locking
        for field in self._face.memory:
            name = field.what.name
            clock = self._face.clock_of(name)
            if name in locking.relays:
                self._relay(locking.relays[name], field, clock, code)
            elif name in locking.timers:
                assert clock is not None
                self._timer(locking.timers[name], field, clock, code)
            else:
                self._traffic(locking.traffic[name], field, code)
            self._acted[name] = None
            code.put("")
        return code

    def _now(self, condition: Condition, code: CWriter) -> Test:
        """A condition to one that acts after the memory that has acted already. Named ones
        that depend on it are evaluated again."""
        inside = _opened(condition, self._plan)
        for name in self._order:
            if name in inside and self._stale(name) and self._key(name) not in self._again:
                variable = self._names.give("again", name)
                words = ConditionWriter(self._face, self._named_now)
                self._rules.condition(name, variable, words, code)
                self._again[self._key(name)] = variable
        return ConditionWriter(self._face, self._named_now).of(condition)

    def _named_now(self, name: str) -> str:
        return self._again[self._key(name)] if self._stale(name) else self._as_before(name)

    def _stale(self, name: str) -> frozenset[str]:
        return self._remembers[name].intersection(self._acted)

    def _key(self, name: str) -> tuple[str, frozenset[str]]:
        return name, self._stale(name)

    def _relay(self, relay: Relay, field: Field, clock: Clock | None, code: CWriter) -> None:
        code.say(f"relay {relay.name}, {place_of(relay.span)}")
        picks = self._now(relay.picks, code)
        sticks = None if relay.sticks is None else self._now(relay.sticks, code)
        memory, up, down = self._memory(field)
        code.open()
        code.say(f"picks when {_text(relay.picks)}")
        code.test("const bool picks = ", picks, ";")
        wants = "picks"
        if sticks is not None:
            code.say(f"sticks while {_text(relay.sticks)}")
            code.test("const bool sticks = ", sticks, ";")
            wants = f"picks || (({memory} == {up}) && sticks)"
        if clock is None:
            code.put(f"if ({wants}) {{", f"    {memory} = {up};", "}",
                     "else {", f"    {memory} = {down};", "}")  # fmt: skip
        else:
            code.put(f"const bool wants_up = {wants};")
            self._slow(memory, clock, {"up": up, "down": down}, code)
        code.close()

    def _slow(self, memory: str, clock: Clock, states: Mapping[str, str], code: CWriter) -> None:
        """A relay that moves only when what moves it has lasted."""
        word = "if ("
        for to, other, test in (("up", "down", "wants_up"), ("down", "up", "!wants_up")):
            code.put(f"{word}{test} && ({memory} == {states[other]})) {{")
            code.indent += 1
            if to not in clock.limits:
                code.put(f"{memory} = {states[to]};", f"memory->{clock.name} = 0u;")
            else:
                self._counts(clock, to, [f"{memory} = {states[to]};"], code)
            code.close()
            word = "else if ("
        code.put("else {", f"    memory->{clock.name} = 0u;", "}")

    def _counts(self, clock: Clock, to: str, then: Iterable[str], code: CWriter) -> None:
        """``then``, once the clock is full; until then it counts on, from the call at which it
        began: the time before that call is not known to count."""
        name, full = f"memory->{clock.name}", clock.limits[to]
        code.say(f"over after {clock.lasts(to)} ms: at {full}, since it begins at 1 and a "
                 "difference of two readings may be rounded up")  # fmt: skip
        code.put(f"if ({name} >= {full}u) {{", *(f"    {line}" for line in then),
                 f"    {name} = 0u;", "}")  # fmt: skip
        code.put(f"else if ({name} == 0u) {{", f"    {name} = 1u;", "}")
        code.put(f"else if ({name} + elapsed >= {full}u) {{", f"    {name} = {full}u;", "}")
        code.put("else {", f"    {name} = (uint{clock.bits}_t)({name} + elapsed);", "}")

    def _timer(self, timer: Timer, field: Field, clock: Clock, code: CWriter) -> None:
        memory = f"memory->{field.name}"
        idle, running, done = (state.enumerator for state in field.states)
        code.say(f"timer {timer.name}, {place_of(timer.span)}")
        runs = self._now(timer.runs, code)
        code.open()
        code.say(f"runs while {_text(timer.runs)}")
        code.test("const bool runs = ", runs, ";")
        zero = f"memory->{clock.name} = 0u;"
        code.put("if (!runs) {", f"    {memory} = {idle};", f"    {zero}", "}")
        code.put(f"else if ({memory} == {idle}) {{", f"    {memory} = {running};",
                 f"    memory->{clock.name} = 1u;", "}")  # fmt: skip
        code.put(f"else if ({memory} == {running}) {{")
        code.indent += 1
        self._counts(clock, "done", [f"{memory} = {done};"], code)
        code.close()
        code.put("else {", f"    {zero}", "}")
        code.close()

    def _traffic(self, traffic: Traffic, field: Field, code: CWriter) -> None:
        memory = f"memory->{field.name}"
        code.say(f"traffic {traffic.name}, {place_of(traffic.span)}")
        tests = [self._now(traffic.rightward, code), self._now(traffic.leftward, code)]
        locked = None if traffic.locked is None else self._now(traffic.locked, code)
        code.open()
        for way, test, condition in zip(
            ("rightward", "leftward"), tests, (traffic.rightward, traffic.leftward), strict=True
        ):
            code.say(f"{way} when {_text(condition)}")
            code.test(f"const bool {way} = ", test, ";")
        guard = ""
        if locked is not None:
            code.say(f"locked while {_text(traffic.locked)}")
            code.test("const bool locked = ", locked, ";")
            guard = "!locked && "
        for word, way, other in (
            ("if", "rightward", "leftward"),
            ("else if", "leftward", "rightward"),
        ):
            state = field.state(way).enumerator
            code.put(f"{word} ({guard}{way} && !{other}) {{", f"    {memory} = {state};", "}")
        code.close()

    def _memory(self, field: Field) -> tuple[str, str, str]:
        up, down = field.state("up").enumerator, field.state("down").enumerator
        return f"memory->{field.name}", up, down


def _text(condition: Condition | None) -> str:
    return condition.span.text if condition else ""


def _inside(test: Test, guard: str) -> Test:
    """In parentheses where it stands beside something."""
    return SimpleTest(test_text(test, inside=True)) if guard else test


def _opened(condition: Condition, plan: Plan) -> set[str]:
    """The named conditions that one is written in terms of, directly or through others."""
    found: set[str] = set()
    waiting = list(conditions_in(condition))
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            waiting += conditions_in(plan.conditions[name].condition)
    return found


def _what_they_remember(plan: Plan, order: Iterable[str]) -> dict[str, frozenset[str]]:
    """The memory that each named condition asks for, directly or through others."""
    found: dict[str, frozenset[str]] = {}
    for name in order:
        condition = plan.conditions[name].condition
        own = {
            s.what.name for s in facts_in(condition) if s.what.kind in ("relay", "timer", "traffic")
        }
        found[name] = frozenset(own).union(*(found[c] for c in conditions_in(condition)))
    return found
