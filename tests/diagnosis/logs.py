"""Logs of a layout, made by the reference stepper with something wrong in its wiring."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from verifier.diagnosis.bench import Bench, faults_in
from verifier.diagnosis.suspects import Suspects
from verifier.plan import observables
from verifier.plan.devices import devices
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.reference.wired_step import WiredStepper

# What is done at a time: blocks that become occupied or clear, levers and buttons.
Deed = tuple[float, Mapping[str, str]]


@dataclass
class BuiltLayout:
    """A layout on which things are done, one after the other."""

    plan: Plan
    group: Suspects = ()
    stuck: str = ""

    def __post_init__(self) -> None:
        bench = Bench(self.plan)
        wired = bench.wired(self.group)
        self.stepper = WiredStepper(bench.given, wired)
        broken = faults_in(wired, self.group)
        self.held: dict[Observable, str] = dict(broken)
        self.moment = {**{w: w.usual for w in self.stepper.states}, **broken}
        self.bench = bench
        self.since: dict[str, float] = {}
        self.passing = {
            what: "yes" if what.kind == "arrival" else what.usual for what in self.stepper.choices
        }
        pieces = self.plan.track.pieces
        self.piece = {
            b: next(n for n, p in pieces.items() if p.block == b) for b in self.plan.blocks
        }
        self.commands = {w.name: w for w in self.stepper.choices if w.kind in ("lever", "button")}
        self.standing = {w.name: w for w in self.stepper.wiring_inputs if w.kind == "standing"}

    def reported(self) -> dict[str, str]:
        """What a logger has of it, by name."""
        seen = self.stepper.look({**self.passing, **self.moment, **self.held})
        found = {name: self.held.get(what, what.usual) for name, what in self.commands.items()}
        for name, detector in self.plan.wiring.detectors.items():
            found[name] = seen[observables.block_report(detector.block)]
        for block in self.plan.blocks.values():
            if block.detected and not self.plan.wiring.detectors_of(block.name):
                found[block.name] = seen[observables.block_report(block.name)]
        found |= {d.name: seen[d.report] for d in devices(self.plan).values()}
        for signal in self.plan.signals.values():
            found |= {head.name: seen[head.lens] for head in signal.heads}
        return found

    def moments(self, deeds: Sequence[Deed]) -> Iterator[tuple[float, dict[str, str]]]:
        """When something was done, or a timer ran out, and what was reported then."""
        self._rest(0.0)
        yield 0.0, self.reported()
        for time, deed in deeds:
            while self.since and (due := min(self._due(name) for name in self.since)) < time:
                name = min(self.since, key=self._due)
                self._step({observables.choice("expiry", name): "yes"})
                self._rest(due)
                yield due, self.reported()
            for name, state in deed.items():
                if name in self.piece:
                    train = observables.train(self.piece[name])
                    self.moment[train] = state
                    if name in self.standing:
                        places = self.bench.places(name)
                        standing = self.standing[name]
                        self.held[standing] = places[-1] if state == "occupied" else standing.usual
                else:
                    self.held[self.commands[name]] = state
            self._rest(time)
            yield time, self.reported()

    def _due(self, name: str) -> float:
        timer, relay = self.plan.locking.timers.get(name), self.plan.locking.relays.get(name)
        if timer is not None or relay is None:
            return self.since[name] + float(timer.seconds if timer else 0)
        is_up = self.moment[observables.relay(name)] == "up"
        return self.since[name] + float((relay.slow_release if is_up else relay.slow_pick) or 0)

    def _step(self, chosen: Mapping[Observable, str]) -> tuple[str, ...]:
        step = self.stepper.step({**self.passing, **self.moment, **self.held, **chosen})
        self.moment = dict(step.successor)
        return step.waiting

    def _rest(self, time: float) -> None:
        for _ in range(60):
            before = dict(self.moment)
            waiting = self._step({})
            if before == self.moment:
                break
        self.since = {name: self.since.get(name, time) for name in waiting}


def log_lines(moments: Sequence[tuple[float, dict[str, str]]]) -> Iterator[str]:
    """A log in CSV: everything at the start, then what changes, lamps a little later."""
    yield "time,what,state\n"
    known: dict[str, str] = {}
    for time, reported in moments:
        for name, state in reported.items():
            if known.get(name) != state:
                yield f"{time:g},{name},{state}\n"
        known = reported


def trips(count: int, pause: float = 10.0) -> list[Deed]:
    """Trains through the locked and wired end of siding, to the main track and to the siding."""
    deeds: list[Deed] = []
    time = 0.0
    for trip in range(count):
        track, way = (("Main", "normal"), ("Siding", "reverse"))[trip % 2]
        for deed in (
            {"T1-lever": way},
            {"Single": "occupied"},
            {"Set-4L": "pressed"},
            {"Set-4L": "released"},
            {"Switch": "occupied"},
            {"Single": "vacant"},
            {track: "occupied"},
            {"Switch": "vacant"},
            {}, {}, {}, {},
            {"Set-4R": "pressed"},
            {"Set-4R": "released"},
            {"Cancel": "pressed"},
            {"Cancel": "released"},
            {}, {}, {}, {},
            {"Set-4R": "pressed"},
            {"Set-4R": "released"},
            {"Switch": "occupied"},
            {track: "vacant"},
            {"Single": "occupied"},
            {"Switch": "vacant"},
            {"Single": "vacant"},
            {}, {}, {}, {},
        ):  # fmt: skip
            time += pause
            deeds.append((time, deed))
    return deeds
