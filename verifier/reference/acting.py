"""How everything that acts does so in one step: relays, timers, directions of traffic, and what
moves.

Part of the reference: no expressions, and nothing that encodes. In: a moment, and what can be
observed at it. Out: what each comes to. Built of relays, they act in any order
(:mod:`verifier.reference.sights`). As one program relays, timers and traffic act in the order of
the file, each on the new values of those before it, and what moves starts from the moment itself.
"""

from collections import ChainMap
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from verifier.plan import observables
from verifier.plan.devices import Device
from verifier.plan.locking.locking_model import (
    Relay,
    Sight,
    Throw,
    Timer,
    Traffic,
    power_of,
)
from verifier.plan.observables import Choice, Condition, Observable
from verifier.plan.situation import Situation
from verifier.plan.wiring.faults import DISOBEYED, STOPPED, FaultKind
from verifier.reference.condition_eval import is_true, looking_at
from verifier.reference.equipment import EquipmentState
from verifier.reference.sights import in_some_order, may_matter
from verifier.reference.state_variables import StateVariables
from verifier.reference.transition import Transition, Valuation


@dataclass(frozen=True, slots=True)
class Acted:
    """What one comes to that acts: its next states; whether it waits on; the delay that ended."""

    states: Valuation
    waits: bool = False
    ended: tuple[tuple[str, str], ...] = ()


# One that acts, and the states that it sees not as they were, directly and by signals.
Seeing = tuple[str, frozenset[tuple[Observable, str]], frozenset[tuple[Observable, str]]]


@dataclass(slots=True)
class Alike:
    """What steps from one moment have in common where all that is left open is who sees whom:
    filled by the first for the others. ``mattering``: the sights that can make a difference;
    ``acted``: how each acts that sees such states; ``steps``: what all come to, and the step of
    that."""

    observed: Mapping[Observable, str] | None = None
    mattering: frozenset[Sight] | None = None
    acted: dict[Seeing, Acted] = field(default_factory=dict)
    steps: list[tuple[Mapping[str, Acted], Transition]] = field(default_factory=list)

    def step_of(self, acted: Mapping[str, Acted]) -> Transition | None:
        """The step in which each comes to the same."""
        return next((step for known, step in self.steps if known == acted), None)


class Acting:
    """All that acts at one moment ``now``, at which ``observed`` can be observed. ``look`` and
    ``situation``: as in :class:`~verifier.reference.step.Stepper`. ``made``: the choices made so
    far, where a choice is made when it is read. ``alike``: what is known of the same moment."""

    def __init__(
        self,
        variables: StateVariables,
        now: Valuation,
        observed: Mapping[Observable, str],
        look: Callable[[Valuation], Mapping[Observable, str]],
        situation: Callable[[Valuation], Situation],
        made: Valuation | None,
        alike: Alike,
    ):
        self.plan = variables.plan
        self.variables = variables
        self.now = now
        self._observed = observed
        self._look = look
        self._situation = situation
        self._made = made
        self._alike = alike
        # What one that acts sees.
        self._seen = observed

    def all_acted(self) -> Mapping[str, Acted]:
        """What each comes to, by name."""
        if self.plan.locking.building.of_relays:
            return self._in_any_order()
        return self._in_the_order_of_the_file()

    def _in_the_order_of_the_file(self) -> Mapping[str, Acted]:
        acted: dict[str, Acted] = {}
        by_now: dict[Observable, str] = {}
        for name in self.plan.locking.memory:
            acted[name] = self._act(name, by_now, {})
            by_now |= acted[name].states
        return acted | {d.name: self._act(d.name, {}, {}) for d in self.variables.moving}

    def _in_any_order(self) -> Mapping[str, Acted]:
        seen = self._sights_now()
        done: dict[str, Acted] = {}
        waiting = list(self.variables.acting)
        while waiting:
            name = waiting.pop()
            own = [sight for sight in seen if sight.reader == name]
            first = [sight.read for sight in own if sight.read not in done]
            if first:
                waiting += [name, *first]
            elif name not in done:
                views: tuple[dict[Observable, str], dict[Observable, str]] = ({}, {})
                for sight in own:
                    views[sight.by_signals].update(done[sight.read].states)
                done[name] = self._act(name, *views)
        return {name: done[name] for name in self.variables.acting}

    def _sights_now(self) -> frozenset[Sight]:
        """Who sees whom after it has acted."""
        sights = self.variables.sights
        if not sights:
            return frozenset()
        if self._made is None:
            chosen = [s for s in sights if self._is_made(s, self.now)]
            return in_some_order(chosen, sights, self.plan.locking.building.orders)
        if self._alike.mattering is None:
            before = {
                name: {what: self.now[what] for what in self.variables.seen_by(name)}
                for name in self.variables.acting
            }
            found = may_matter(self.variables.acting, before, sights, self._act)
            self._alike.mattering = frozenset(found)
        matter = self._alike.mattering
        choices = [(s, self.now if s in matter else self._made) for s in sights]
        chosen = [s for s, made in choices if self._is_made(s, made)]
        return in_some_order(chosen, sights, self.plan.locking.building.orders)

    def _is_made(self, sight: Sight, made: Valuation) -> bool:
        fixed = self.plan.locking.building.fixed(sight.reader, sight.read)
        return made.get(sight.choice) == "yes" if fixed is None else fixed

    def _act(self, name: str, direct: Valuation, by_signals: Valuation) -> Acted:
        """How one acts that sees some states not as they were."""
        seeing = name, frozenset(direct.items()), frozenset(by_signals.items())
        known = self._alike.acted
        if seeing not in known:
            changed = direct or by_signals
            seen = self._as_seen(direct, by_signals) if changed else self._observed
            known[seeing] = self._acted_on(name, seen)
        return known[seeing]

    def _acted_on(self, name: str, seen: Mapping[Observable, str]) -> Acted:
        self._seen = seen
        locking = self.plan.locking
        if name in locking.relays:
            return self._relay(locking.relays[name])
        if name in locking.timers:
            return self._timer(locking.timers[name])
        if name in locking.traffic:
            return self._traffic(locking.traffic[name])
        return self._device(self.variables.devices[name])

    def _as_seen(self, direct: Valuation, by_signals: Valuation) -> Valuation:
        """What is observed, where some states are seen not as they were: directly, and by the
        signals that depend on them."""
        near = {**self._observed, **direct}
        moved = any(what.kind in observables.LYING for what in direct)
        if not moved and not by_signals:
            return near
        if moved:
            near |= self._look(ChainMap({**direct}, self.now))  # type: ignore[arg-type]
        far: Mapping[Observable, str] = self._observed
        if by_signals:
            far = self._look(ChainMap({**by_signals}, self.now))  # type: ignore[arg-type]
        return {**near, **{w: far[w] for w in near if w.kind in ("aspect", "color")}}

    @cached_property
    def hurries(self) -> bool:
        """Whether no time passes: something that surely comes to rest has cause to move at once,
        as everything is."""
        seen, self._seen = self._seen, self._observed
        try:
            return any(self._has_cause(name) for name in self.plan.locking.memory
                       if name in self.variables.settling)  # fmt: skip
        finally:
            self._seen = seen

    def _has_cause(self, name: str) -> bool:
        locking = self.plan.locking
        if name in locking.traffic:
            return self._traffic(locking.traffic[name]).states != {
                observables.traffic(name): self.now[observables.traffic(name)]
            }
        if name in locking.timers:
            what, timer = observables.timer(name), locking.timers[name]
            runs = self._has_power(name) and self._holds(timer.runs)
            at_once = self.now[what] == "running" and not timer.seconds
            return at_once or runs == (self.now[what] == "idle")
        what = observables.relay(name)
        wanted = self._wanted_of(locking.relays[name])
        at_once = self._forgets(name) or self.variables.delay(name, wanted) is None
        return wanted != self.now[what] and at_once

    def _chosen(self, kind: Choice, name: str) -> bool:
        return self.now.get(observables.choice(kind, name), "no") == "yes"

    def _holds(self, condition: Condition | None) -> bool:
        """Whether a condition holds for one that acts, as it sees the others."""
        look = looking_at(self._seen)
        return condition is not None and is_true(condition, look, {}, self.plan)

    # -------------------------------------------------------------- memory

    def _has_power(self, name: str) -> bool:
        """Whether a relay, a timer or a direction of traffic has power."""
        power = power_of(name, self.plan.locking)
        if power is None:
            return True
        known = self.variables.faults
        broken = ((w, s) for w, s in self._situation(self.now) if w in known)
        return EquipmentState(self.plan, Situation.of(broken)).has_power(power.wire, power.supply)

    def _forgets(self, name: str) -> bool:
        """Whether it is kept by a program on a board that has no power: it is as at the start."""
        return self.plan.locking.building.board is not None and not self._has_power(name)

    def _relay(self, relay: Relay) -> Acted:
        what = observables.relay(relay.name)
        if self._forgets(relay.name):
            return Acted({what: what.usual})
        wanted = self._wanted_of(relay)
        if wanted == self.now[what]:
            return Acted({what: wanted})
        return self._delayed(relay.name, what, wanted)

    def _wanted_of(self, relay: Relay) -> str:
        """The state that the conditions of a relay call for."""
        stuck = self.now[observables.relay(relay.name)] == "up" and self._holds(relay.sticks)
        held = self._has_power(relay.name) and (stuck or self._holds(relay.picks))
        return "up" if held else "down"

    def _timer(self, timer: Timer) -> Acted:
        what = observables.timer(timer.name)
        now = self.now[what]
        if not self._has_power(timer.name) or not self._holds(timer.runs):
            return Acted({what: "idle"})
        if now != "running":
            return Acted({what: "running" if now == "idle" else "done"})
        return self._delayed(timer.name, what, "done")

    def _delayed(self, name: str, what: Observable, then: str) -> Acted:
        """The state of a relay or timer that waits to change, and whether it waits on. A delay is
        over when that is chosen, but not in the moment in which it begins."""
        if self.variables.delay(name, then) is None:
            return Acted({what: then})
        clock = self.variables.clock(name)
        may_end = clock is None or self.now[clock] == "running"
        ripe = self.variables.ripe(name)
        if may_end and ripe is not None and self.now[ripe] == "no":
            may_end = not self.hurries
        if not may_end or not self._chosen("expiry", name):
            return Acted({what: self.now[what]}, waits=True)
        return Acted({what: then}, ended=((name, then),))

    def _traffic(self, traffic: Traffic) -> Acted:
        what = observables.traffic(traffic.name)
        if self._forgets(traffic.name):
            return Acted({what: what.usual})
        rightward = self._holds(traffic.rightward)
        leftward = self._holds(traffic.leftward)
        turns = rightward != leftward and self._has_power(traffic.name)
        if not turns or self._holds(traffic.locked):
            return Acted({what: self.now[what]})
        return Acted({what: "rightward" if rightward else "leftward"})

    # -------------------------------------------------------------- what moves

    def _device(self, device: Device) -> Acted:
        """How something lies next, having been thrown if it is to be."""
        throw = self.plan.locking.throws.get(device.name)
        locked = throw is not None and self._holds(throw.locked)
        wanted = None if locked else self._wanted(device, throw)
        told = wanted or self.now[device.told]
        return Acted({device.told: told, device.lies: self._next_lie(device, told, throw)})

    def _wanted(self, device: Device, throw: Throw | None) -> str | None:
        """The position that is called for, None if it is left as it is."""
        normal, reverse = device.positions
        match throw.by if throw else "anyone":
            case "lever" if throw and throw.lever:
                levers = {what.name: what for what in self.plan.inputs if what.kind == "lever"}
                stands = self.now[levers[throw.lever]]
                return {"normal": normal, "reverse": reverse}.get(stands)
            case "buttons" if throw:
                back, away = (self.now[observables.button(b)] == "pressed" for b in throw.buttons)
                if back == away:
                    return None
                return normal if back else reverse
            case "rule" if throw and throw.away_when:
                return reverse if self._holds(throw.away_when) else normal
            case _:
                if not self._chosen("throw", device.name):
                    return None
                return reverse if self.now[device.told] == normal else normal

    def _next_lie(self, device: Device, told: str, throw: Throw | None) -> str:
        lies = self.now[device.lies]
        match self._stall(device.name):
            case "stays":
                return lies
            case "stops":
                return lies if lies == told else "open"
            case _:
                pass
        if (throw is not None and throw.snap) or lies == told:
            return told
        arrives = lies == "open" and self._chosen("arrival", device.name)
        return told if arrives else "open"

    def _stall(self, turnout: str) -> str:
        """Whether a fault leaves points as they are (``stays``), or open once they move
        (``stops``); empty if neither."""
        machine = self.plan.wiring.machines.get(turnout)
        if not self.variables.ways or machine is None or machine.motor is None:
            return ""
        wires = EquipmentState(self.plan, self._situation(self.now))
        way = wires.fault(FaultKind.MACHINE, turnout)
        if way == DISOBEYED or not wires.can_move(machine):
            return "stays"
        return "stops" if way == STOPPED else ""
