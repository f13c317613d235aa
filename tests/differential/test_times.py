"""Verdicts that depend on times: proofs against all histories in exact time, exact limits, and
every history in exact time a trace of what is proved.

These fail where a delay is taken for longer than it is, a need for shorter, or a comparison is made
that only rounding justifies.
"""

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction
from itertools import permutations
from random import Random

import pytest

import verifier
from tests.differential.timed import TEXT, ExactSearch, write_timed
from tests.proofs import decided
from tests.sweep import NIGHTLY
from verifier.engines.proof_store import ProofStore
from verifier.engines.results import Conflict, Reachable
from verifier.engines.temporal.bmc import search
from verifier.engines.temporal.earlier_histories import EarlierHistories
from verifier.engines.temporal.scheduling import Scheduler, scheduled
from verifier.engines.temporal.simulation import Machine
from verifier.logic.expr import atom, conjunction
from verifier.logic.time_order import Order, Ordered
from verifier.logic.transition_system import System
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.properties.examples import example
from verifier.reference.step import Stepper
from verifier.reference.stopwatch import Stopwatch
from verifier.reference.transition import Valuation
from verifier.world.history import Histories

JUNCTIONS, HISTORIES = (1000, 2000) if NIGHTLY else (16, 40)
# So few states that a junction's histories in exact time can be gone through.
MOST = 3_000
SMALL = tuple(map(Fraction, (1, 2, 3)))
ODD = tuple(map(Fraction, ("1", "1.5", "2", "2.5")))


@pytest.mark.parametrize("seed", range(JUNCTIONS))
def test_verdicts_are_those_of_all_histories_in_exact_time(seed: int) -> None:
    r = Random(seed)
    sizes = ODD if seed % 3 == 0 else SMALL
    plan = verifier.load_text(write_timed(r, sizes=sizes))
    verdicts = decided(plan, ["time-locking", "approach-locking"])
    quantum = Fraction(1, 4) if sizes is ODD else Fraction(1, 2)
    bads = [verdict.obligation.holds_in for verdict in verdicts]
    happens = ExactSearch(Stepper(plan, prompt=True), quantum).find(bads, most=MOST)
    for verdict, found in zip(verdicts, happens, strict=True):
        assert verdict.status in ("proved", "broken"), verdict
        if found is not None:
            about = f"{verdict.obligation.key}\n{plan.source.text}"
            assert found == (verdict.status == "broken"), about


# ------------------------------------------------------------------ limits

TIMER = "timer T {0} s runs while 2R at stop"
PICK = "relay R picks when 2R at stop slow to pick {0} s"
RELEASE = "relay R picks when not 2R at stop slow to release {0} s"
SERIES = TIMER + "\nrelay R picks when T done slow to pick {1} s"
LONG = SERIES + "\nrelay Q picks when R down slow to release {2} s"
BESIDE = TIMER + "\ntimer U {1} s runs while 2R at stop"


@pytest.mark.parametrize(
    ("memory", "when", "delays", "need"),
    [
        (TIMER, "T done", ["20"], "20"),
        (TIMER, "T done", ["19.5"], "19.5"),
        (TIMER, "T done", ["121"], "121"),
        (PICK, "R up", ["20"], "20"),
        (RELEASE, "R down", ["2.3"], "2.3"),
        (SERIES, "R up", ["14", "6"], "20"),
        (SERIES, "R up", ["26", "6"], "32"),
        (SERIES, "R up", ["13.75", "5.75"], "19.5"),
        (LONG, "Q down", ["10", "6", "4"], "20"),
        (LONG, "Q down", ["3.1", "0.2", "0.1"], "3.4"),
        (BESIDE, "T done and U done", ["20", "3"], "20"),
        (BESIDE, "T done and U done", ["3", "20"], "20"),
        (BESIDE, "any of T, U done", ["20", "31"], "20"),
        (BESIDE, "any of T, U done", ["31", "20"], "20"),
    ],
)
def test_the_exact_limit(memory: str, when: str, delays: list[str], need: str) -> None:
    """What trains need is just covered; a little more is not, a little less is."""
    for more, status in (("-1", "proved"), ("-0.01", "proved"), ("0", "proved"),
                         ("0.01", "broken"), ("1", "broken")):  # fmt: skip
        wanted = f"{float(Fraction(need) + Fraction(more)):g}"
        text = TEXT.format(memory=memory.format(*delays), when=when, need=wanted)
        verdicts = decided(verifier.load_text(text), ["time-locking"])
        found = {v.obligation.subjects[0]: v.status for v in verdicts}
        assert found["2R"] == status, f"{wanted}\n{text}"


def everything(system: System) -> Order:
    """Comparisons of every window, and every two that last, with all delays in every order."""
    order, timing = Order(), system.timing
    assert timing is not None
    chains = [
        [(delay.clock, delay.longest) for delay in chain]
        for length in (1, 2, 3)
        for chain in permutations(timing.delays, length)
    ]
    for window in (*timing.windows, *timing.waits):
        for chain in chains:
            order = order.also([window], chain)
    for two in permutations(timing.waits, 2):
        for delay in timing.delays:
            order = order.also(two, [(delay.clock, delay.longest)])
    return order


def test_a_delay_that_the_last_moment_ends_too_soon_does_not_end() -> None:
    """With all comparisons it cannot be over while a train may still pass the signal; without
    them it would be, at a moment for which there is no time."""
    plan = verifier.load_text(TEXT.format(memory=TIMER.format(20), when="T done", need="20"))
    system = Histories(plan).system
    ordered = Ordered(system, everything(system))
    late = atom(observables.window("put back", "2R"), "yes")
    runs = atom(observables.clock("T"), "running")
    answer = search(ordered.system, ordered.within(conjunction(late, runs)), most=12)
    assert isinstance(answer, Reachable)
    *before, last = answer.trace
    ended = (*before, {**last, observables.choice("expiry", "T"): "yes"})
    assert not isinstance(Scheduler(ordered.system).schedule(ended), Conflict)
    assert isinstance(Scheduler(system).schedule(_only(system, ended)), Conflict)
    assert scheduled(system, ended) is not None


def test_of_two_delays_only_the_one_that_ends_too_soon_does_not_end() -> None:
    plan = verifier.load_text(TEXT.format(memory=BESIDE.format(20, 10), when="T done", need="20"))
    system = Histories(plan).system
    ordered = Ordered(system, everything(system))
    t, u = (observables.choice("expiry", name) for name in "TU")
    late = atom(observables.window("put back", "2R"), "yes")
    run = (atom(observables.clock(name), "running") for name in "TU")
    bad = conjunction(late, *run, atom(u, "yes"))
    answer = search(ordered.system, ordered.within(bad), most=12)
    assert isinstance(answer, Reachable)
    *before, last = answer.trace
    found = scheduled(system, (*before, {**last, t: "yes"}))
    assert found is not None
    assert (found.moments[-1][t], found.moments[-1][u]) == ("no", "yes")


def test_an_earlier_history_does_not_come_to_what_a_longer_delay_leaves_no_time_for() -> None:
    """That a timer is over while a train may still pass: with 10 s it may, with 20 s it may not."""
    store, text = ProofStore(), TEXT.replace("{memory}", TIMER)
    for seconds, number in ((10, 1), (20, 0)):
        plan = verifier.load_text(text.format(seconds, when="T done", need="20"))
        system = Histories(plan).system
        late = atom(observables.window("put back", "2R"), "yes")
        ends = atom(observables.choice("expiry", "T"), "yes")
        bad = conjunction(late, atom(observables.clock("T"), "running"), ends)
        histories = EarlierHistories(store, "kind")
        if not len(histories):
            found = search(system, bad, most=12)
            assert isinstance(found, Reachable)
            histories.learn("asked", found.trace)
        assert len([*histories.again(system, {0: bad})]) == number


def _only(system: System, trace: Sequence[Valuation]) -> list[Valuation]:
    known = {*system.states, *system.inputs}
    return [{what: moment[what] for what in moment if what in known} for moment in trace]


APART = """timer T 13 s runs while 2R at stop
relay R picks when T done slow to pick 6 s
timer U 14 s runs while 2R at stop
"""
OVERLAP = """relay R picks when not 2R at stop slow to release 6 s
relay Q picks when R up slow to release 6 s
timer T 12 s runs while 2R at stop
timer U 5 s runs while 2R at stop
relay W picks when T done slow to pick 5.01 s
"""


@pytest.mark.parametrize(
    ("memory", "when", "need", "happens"),
    [
        (APART, "R up", "19.01", True),  # 13 + 6
        (APART, "R up", "19", False),
        (APART, "U done and not R up", "18.99", True),
        (APART, "R up and not U done", "30", False),
        (OVERLAP, "T done and Q up", "12.01", True),  # 12 against 6 + 6, at once
        (OVERLAP, "W up and Q up", "30", False),
    ],
)
def test_no_comparison_rules_out_what_happens(
    memory: str, when: str, need: str, happens: bool
) -> None:
    """With all comparisons there are; what does not happen is ruled out, and what just happens is
    still found."""
    plan = verifier.load_text(TEXT.format(memory=memory, when=when, need=need))
    histories = Histories(plan)
    ordered = Ordered(histories.system, everything(histories.system))
    late = atom(observables.window("put back", "2R"), "yes")
    clears = atom(plan.signals["2L"].reading, "Approach")
    bad = ordered.within(histories.expand(conjunction(late, clears)))
    answer = search(ordered.system, bad, most=12)
    assert isinstance(answer, Reachable) == happens, answer
    if isinstance(answer, Reachable):
        played = scheduled(histories.system, answer.trace)
        assert played is not None


@pytest.mark.parametrize(("need", "found"), [("20", False), ("20.01", True), ("19.99", False)])
def test_a_trace_has_times_only_beyond_the_limit(need: str, found: bool) -> None:
    """Without any comparison: of traces only those count that have times."""
    plan = verifier.load_text(TEXT.format(memory=TIMER.format("20"), when="T done", need=need))
    histories = Histories(plan)
    late = atom(observables.window("put back", "2R"), "yes")
    clears = atom(plan.signals["2L"].reading, "Approach")
    answer = search(histories.system, histories.expand(conjunction(late, clears)), most=8)
    assert isinstance(answer, Reachable) == found
    assert isinstance(answer, Reachable) or answer.conflicts


@pytest.mark.parametrize(
    ("slow", "status"), [("4.99", "broken"), ("5", "proved"), ("5.01", "proved"), ("31", "proved")]
)
def test_the_exact_limit_of_a_loss_of_shunt(slow: str, status: str) -> None:
    text = example("loss-of-shunt", "mended").replace("pick 6 s", f"pick {slow} s")
    assert slow in text
    verdicts = decided(verifier.load_text(text), ["loss-of-shunt"])
    assert {v.status for v in verdicts} == {status}


# ------------------------------------------------------------------ every history is a trace


def compared(system: System, r: Random) -> Order:
    """Some comparisons of any windows with any delays."""
    order, timing = Order(), system.timing
    assert timing is not None
    windows = [*timing.windows, *timing.waits]
    for _ in range(r.randint(1, 5)):
        chain = [r.choice(timing.delays) for _ in range(r.randint(1, 3))]
        some = [r.choice(windows) for _ in range(r.choice([1, 1, 2]))]
        order = order.also(some, [(delay.clock, delay.longest) for delay in chain])
    return order


@pytest.mark.parametrize("first", range(0, HISTORIES, 10))
def test_every_history_in_exact_time_is_one_of_what_is_proved(first: int) -> None:
    """Ten at a time: delays end at their time, and windows last up to theirs."""
    happened: Counter[str] = Counter()
    for seed in range(first, first + 10):
        r = Random(seed)
        plan = verifier.load_text(write_timed(r, sizes=SMALL if seed % 2 else ODD))
        histories = Histories(plan, prompt=seed % 4 < 2)
        for order in (histories.order, compared(histories.system, r)):
            system = Ordered(histories.system, order).system
            happened.update(goes_along(plan, system, r, prompt=seed % 4 < 2))
    assert happened["ended"] and happened["late"] and happened["changes"], happened
    assert happened["ripe"] and happened["hurries"], happened


def goes_along(plan: Plan, system: System, r: Random, *, prompt: bool) -> list[str]:
    """Go along a history by chance, in the stepper and in a system with comparisons."""
    happened = []
    walk, machine = Walk(plan, r, prompt=prompt), Machine(system)
    values = machine.blank(1)
    machine.set(values, {what: what.usual for what in system.states})
    for _ in range(60):
        moment = walk.step()
        machine.set(values, {w: moment.get(w, w.usual) for w in system.inputs})
        machine.evaluate(values)
        machine.advance(values)
        here = machine.state(values)
        for what, state in walk.state.items():
            assert here[what] == state, f"{what}: {here[what]}, not {state}\n{plan.source.text}"
        happened += ["ended"] * len(walk.ended) + ["late"] * (walk.longest > 0)
        happened += ["ripe" for w, s in here.items() if w.kind == "ripe" and s == "yes"]
        happened += ["hurries"] * walk.hurried
        happened += ["changes" for w, s in here.items() if w.kind == "since" and s != w.usual]
    return happened


class Walk:
    """A history by chance in which no delay is late: by the stepper, and in exact time."""

    def __init__(self, plan: Plan, r: Random, *, prompt: bool):
        self._stepper, self._r = Stepper(plan, prompt=prompt), r
        self.hurried = False
        self.state = {what: what.usual for what in self._stepper.states}
        self._watch = Stopwatch(self._stepper.variables)
        self._lasted: dict[Observable, Fraction] = {}
        self.ended: tuple[tuple[str, str], ...] = ()
        # The longest that a window has been on.
        self.longest = Fraction(0)

    def step(self) -> Valuation:
        """A moment: what is chosen in it may be, with how long it lasts."""
        r, variables = self._r, self._stepper.variables
        while True:
            chosen = {w: r.choice(w.values) for w in self._stepper.choices}
            lasts = Fraction(r.choice(["0", "0.25", "0.5", "1", "2"]))
            moment = {**self.state, **chosen, **self._ripening(lasts)}
            step = self._stepper.step(moment)
            if not self._is_in_time(step.ended, step.successor, lasts):
                continue
            watch = self._watch.copy()
            if watch.passes(self.state, step.begun, step.ended, lasts, hurries=step.hurries):
                self._watch, self.hurried = watch, step.hurries
                break
        for name in variables.plan.locking.memory:
            clock = variables.clock(name)
            if clock is not None:
                at_rest = self.state[clock] == "at rest"
                self._lasted[clock] = Fraction(0) if at_rest else self._lasted[clock] + lasts
        on = [w for w, _ in variables.windows() if self.state[w] == "yes" and w not in step.begun]
        self.longest = lasts if on else Fraction(0)
        self.state, self.ended = dict(step.successor), step.ended
        return moment

    def _ripening(self, lasts: Fraction) -> Valuation:
        """Of each delay that runs, whether it could be over at the end of a moment that lasts so
        long."""
        variables = self._stepper.variables
        found: dict[Observable, str] = {}
        for name in variables.plan.locking.memory:
            clock = variables.clock(name)
            if clock is not None and variables.ripe(name) is not None:
                now = self.state[variables.memory(name)]
                seconds = variables.delay(name, {"down": "up", "up": "down"}.get(now, "done"))
                passed = self._lasted.get(clock, Fraction(0)) + lasts
                could = seconds is not None and passed >= seconds
                found[observables.choice("ripens", name)] = "yes" if could else "no"
        return found

    def _is_in_time(
        self, ended: tuple[tuple[str, str], ...], then: Valuation, lasts: Fraction
    ) -> bool:
        """Whether no delay is late."""
        variables = self._stepper.variables
        for name in variables.plan.locking.memory:
            clock = variables.clock(name)
            if clock is None or self.state[clock] == "at rest":
                continue
            now = self.state[variables.memory(name)]
            to = {"down": "up", "up": "down"}.get(now, "done")
            seconds = variables.delay(name, to)
            waits = then[clock] == "running" or (name, to) in ended
            if waits and seconds is not None and self._lasted[clock] + lasts > seconds:
                return False
        return True
