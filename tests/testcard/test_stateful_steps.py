"""Cards of layouts that remember or lock: each step, done as its words say, moment by moment."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from random import Random

import pytest

import verifier
from tests.junction_files import SPEC_FILES, spec
from tests.sweep import NIGHTLY
from tests.testcard.cards import card
from tests.testcard.test_card import decides_by_itself, holds_what_it_shows
from verifier.diagnosis.bench import Bench
from verifier.plan import observables
from verifier.plan.observables import Observable
from verifier.reference.transition import Valuation
from verifier.reference.wired_step import WiredStepper
from verifier.sheets.test_card import test_card_sheet as sheet_of_plan
from verifier.testcard.card_model import Card, CardStep, Unseen
from verifier.testcard.fault_list import CardFault
from verifier.testcard.stateful_steps import has_definite_reports, is_stateful
from verifier.world.memory_abstraction import faults_reaching_memory
from verifier.world.world import World

WHOLE = "locked-and-wired-end-of-siding"
PLAYED = (
    "absolute-permissive-block", "electric-lock", "locked-end-of-siding", "loop-fills-up-mended",
    "single-track-traffic", "slow-track-relay-3-s", WHOLE,
)  # fmt: skip
# One process has it.
one_card = pytest.mark.xdist_group(WHOLE)


class Person:
    """Somebody who does what the words of a card say, and waits. What is worked out is what
    follows each moment, and nothing of where a card may lead."""

    def __init__(self, made: Card, wrong: CardFault | None = None):
        self.plan = made.plan
        group = wrong.group if wrong else ()
        wired = Bench(made.plan).wired(group)
        if wrong is not None and wrong.slip is not None:
            self.plan = replace(self.plan, locking=wrong.slip.locking)
            wired = replace(wired, locking=wrong.slip.locking)
        self.stepper = WiredStepper(self.plan, wired)
        self.wrong = {s.fault.what: s.states[0] for s in group if s.fault is not None}
        self.inputs = {(w.kind, w.name): w for w in self.stepper.choices}
        self.now: dict[Observable, str] = {}
        # How many seconds to wait, by the clock; None for as long as anything moves.
        self.pause: float | None = None
        # While somebody waits, the same moment comes again and again.
        self._followed: dict[frozenset[tuple[Observable, str]], Valuation] = {}
        self.switch_on()

    def switch_on(self) -> None:
        every = (*self.stepper.states, *self.stepper.choices, *self.stepper.wiring_inputs)
        self.now = {**{w: w.usual for w in every}, **self.wrong}
        self.wait()

    def wait(self, thrown: str | None = None) -> None:
        """Long enough for everything: moments in which nothing runs out, then one in which all
        does, many times over."""
        if self.pause is not None:
            if thrown is not None:
                throw = {observables.choice("throw", thrown): "yes"}
                usual = {w: "no" for w in self.stepper.choices if w.kind in ("throw", "expiry")}
                self.now = {**self.now, **self.follows({**self.now, **usual, **throw})}
            self.passes(self.pause)
            return
        for number in range(150):
            chosen = {w: "no" for w in self.stepper.choices if w.kind in ("throw", "expiry")}
            chosen |= {w: "yes" for w in self.stepper.choices if w.kind == "arrival"}
            if thrown is not None and number == 0:
                chosen[observables.choice("throw", thrown)] = "yes"
            if number % 8 == 7:
                chosen |= {w: "yes" for w in chosen if w.kind == "expiry"}
            before = self.now
            self.now = {**self.now, **self.follows({**self.now, **chosen})}
            if number > 20 and number % 8 == 7 and self.now == before:
                return

    def passes(self, seconds: float) -> None:
        """Just so much time: what runs longer runs on. Nothing runs when it begins."""
        chosen = {w: "no" for w in self.stepper.choices if w.kind in ("throw", "expiry")}
        chosen |= {w: "yes" for w in self.stepper.choices if w.kind == "arrival"}
        now, since = 0.0, dict[str, float]()
        while True:
            for _ in range(60):
                step = self.stepper.step({**self.now, **chosen})
                self.now = {**self.now, **step.successor}
            since = {name: since.get(name, now) for name in step.waiting}
            over = {name: begun + self.lasts(name) for name, begun in since.items()}
            first = min(over, key=over.__getitem__, default=None)
            if first is None or over[first] > seconds:
                return
            now = over[first]
            expiry = {observables.choice("expiry", first): "yes"}
            self.now |= self.stepper.step({**self.now, **chosen, **expiry}).successor
            del since[first]

    def lasts(self, name: str) -> float:
        timer, relays = self.plan.locking.timers.get(name), self.plan.locking.relays
        if timer is not None:
            return float(timer.seconds)
        is_up = self.now[observables.relay(name)] == "up"
        return float((relays[name].slow_release if is_up else relays[name].slow_pick) or 0)

    def in_turn(self, texts: Sequence[str]) -> Iterator[str]:
        """What to do in a step: before waiting by the clock a person waits for nothing else, and
        what comes after it is looked at before anything more has run out."""
        by_clock = next((n for n, text in enumerate(texts) if text.startswith("wait ")), None)
        for number, text in enumerate(texts):
            if by_clock is not None and number == by_clock - 1:
                self.pause = float(texts[by_clock].split()[1])
            elif by_clock is not None and number > by_clock:
                self.pause = 0.0
            if number != by_clock and text != "look at once":
                yield text
        self.pause = None

    def goes_through(self, steps: Sequence[CardStep]) -> None:
        for step in steps:
            for text in self.in_turn([act.text for act in step.instructions]):
                self.does(text)

    def departs(self, step: CardStep, look: str) -> bool:
        """Whether a signal, or points, are seen otherwise than a step has them."""
        seen, signal = self.sees(), self.plan.signals.get(look)
        if signal is None:
            return seen[observables.points(look)] != dict(step.lies)[look]
        return tuple(seen[head.lens] for head in signal.heads) not in dict(step.colors)[look]

    def follows(self, moment: Valuation) -> Valuation:
        known = frozenset(moment.items())
        if known not in self._followed:
            self._followed[known] = self.stepper.step(moment).successor
        return self._followed[known]

    def train(self, block: str) -> Observable:
        piece = next(n for n, p in self.plan.track.pieces.items() if p.block == block)
        return observables.train(piece)

    def does(self, text: str) -> None:
        match text.split():
            case ["press", "and", "hold", "button", name]:
                self.sets(self.inputs["button", name], "pressed")
            case ["let", "go", "of", "button", name]:
                self.sets(self.inputs["button", name], "released")
            case ["lever", name, "to", state]:
                self.sets(self.inputs["lever", name], state)
            case ["set", "derail", name, state]:
                self.sets(self.inputs["derail", name], state)
            case ["try", "to", "throw", name, "by", "hand"] | [
                "throw",
                name,
                "to",
                _,
                "by",
                "hand",
            ]:
                self.wait(name)
            case ["put", "a", "locomotive", "on", block, *at]:
                self.stands(block, at)
                self.sets(self.train(block), "occupied")
            case ["take", "the", "locomotive", "off", block]:
                self.sets(self.train(block), "vacant")
            case ["drive", "the", "locomotive", "from", one, "to", other, *at]:
                assert self.now[self.train(one)] == "occupied"
                self.stands(other, at)
                self.sets(self.train(other), "occupied")
                self.sets(self.train(one), "vacant")
            case ["move", "the", "locomotive", "along", block, "to", *at]:
                assert self.now[self.train(block)] == "occupied"
                self.stands(block, ["at", *at])
                self.wait()
            case ["switch", "the", "low-voltage", *_]:
                handled = [
                    w for w in self.stepper.choices if w.kind in ("lever", "button", "derail")
                ]
                assert all(self.now[w] == w.usual for w in handled)
                self.switch_on()
            case _:
                raise AssertionError(text)

    def stands(self, block: str, at: list[str]) -> None:
        """Where on a block the locomotive is to stand, where the card says so."""
        standing = next((w for w in self.stepper.wiring_inputs if w.name == block), None)
        assert bool(at) == (standing is not None)
        if standing is not None:
            self.now[standing] = " ".join(at).replace("feeder ", "")

    def sets(self, what: Observable, state: str) -> None:
        assert self.now[what] != state and state in what.values
        self.now[what] = state
        self.wait()

    def sees(self) -> dict[Observable, str]:
        return self.stepper.look(self.now)


@pytest.mark.parametrize("name", PLAYED)
def test_who_does_what_the_words_say_sees_what_the_card_says(name: str) -> None:
    made = card(name)
    person, shown = Person(made), set()
    for step in made.steps:
        for text in person.in_turn([act.text for act in step.instructions]):
            lies = _lies(person)
            stood = {p.block for n, p in made.plan.track.pieces.items()
                     if person.now.get(observables.train(n)) == "occupied"}  # fmt: skip
            person.does(text)
            moved = [n for n, state in _lies(person).items() if lies[n] != state]
            if "low-voltage" not in text:
                assert not stood.intersection(made.plan.track.pieces[n].block for n in moved)
        seen = person.sees()
        for signal, colors in step.colors.items():
            lit = tuple(seen[head.lens] for head in made.plan.signals[signal].heads)
            assert lit in colors, (step.number, signal)
            shown.add((signal, lit))
        for turnout, state in (*step.lies.items(), *step.setup.lies):
            assert seen[observables.points(turnout)] == state
    assert len(shown) > len(made.plan.signals)


@one_card
def test_what_relays_hear_of_shows_where_the_card_says() -> None:
    """Somebody does what the words of the card say on a layout with that wrong."""
    made = card(WHOLE)
    relays = {w for w in faults_reaching_memory(World(Bench(made.plan).plan)) if "T1" not in w.name}
    wired = (f for f in made.found if f.fault.slip is None)
    heard = [f for f in wired if ((fault := f.fault.group[0].fault) and fault.what in relays)
             or "D-Switch" in f.fault.text]  # fmt: skip
    assert len(heard) > 12
    for found in heard if NIGHTLY else Random("heard").sample(heard, 6):
        person, (number, look) = Person(made, found.fault), found.at[0]
        if found.fault.stuck is not None:
            continue
        person.goes_through(made.steps[:number])
        assert person.departs(made.steps[number - 1], look), found.fault.text


@one_card
def test_all_that_is_wired_and_locked_is_found_or_proved_to_be_out_of_sight() -> None:
    made = card(WHOLE)
    assert len(made.found) > 70
    assert all(unseen.proved for unseen in made.unseen if not is_slip(unseen))
    missing = {unseen.what.text for unseen in made.unseen}
    assert "feeder w1 is broken" in missing and "4L no Clear for want of Switch clear" in missing
    # Stock on the switch is remembered: that shows in steps which begin again.
    assert any("low-voltage" in act.text for step in made.steps for act in step.instructions)


def is_slip(unseen: Unseen) -> bool:
    """Whether it is about a lock or a relay: nothing is proved of these."""
    return isinstance(unseen.what, CardFault) and unseen.what.slip is not None


def _lies(person: Person) -> dict[str, str]:
    turnouts = person.stepper.variables.turnouts
    return {name: person.now[observables.points(name)] for name in turnouts}


@pytest.mark.parametrize("name", PLAYED)
def test_what_it_claims_holds_of_memory_too(name: str) -> None:
    assert is_stateful(card(name).plan)
    holds_what_it_shows(card(name))
    decides_by_itself(card(name))


@pytest.mark.xdist_group("locked-end-of-siding")  # one process has its card
def test_locks_and_timers_are_gone_through() -> None:
    """Birch Landing: a route is set, put back, timed, and passed."""
    made = card("locked-end-of-siding")
    missing = {unseen.what.text for unseen in made.unseen}
    cleared = {met.goal.text for met in made.routes if met.steps}
    assert cleared == {route.name for route in made.plan.routes}
    # A locomotive on the route picks the relay Entered as well: never for want of this alone.
    assert "4RA no Clear for want of Switch clear" in missing
    # Put back, the route is released once the time has run: at rest, both are never up together.
    assert "4RA no Clear for want of Put-Back down" in missing
    assert all(unseen.proved for unseen in made.unseen if not is_slip(unseen))


def files(pattern: str) -> Iterator[str]:
    for path in SPEC_FILES:
        if re.search(pattern, path.read_text("utf-8"), re.MULTILINE):
            yield path.stem


@pytest.mark.parametrize("name", list(files(r"^\s*(relay|timer|locked while) ")))
def test_whatever_remembers_is_played(name: str) -> None:
    assert is_stateful(verifier.load(spec(name)))


def test_rails_that_no_gap_keeps_apart_leave_memory_open() -> None:
    text = spec("locked-and-wired-end-of-siding").read_text("utf-8")
    joined = """block Out in East-End
  feeders o1
detector D-Out current-sensing
  through o1
track West-Main = Out = Main"""
    plan = verifier.load_text(text.replace("track West-Main   = Main", joined))
    assert is_stateful(plan) and not has_definite_reports(Bench(plan))
    sheet = sheet_of_plan(plan)
    assert not sheet.tables and "no card is made" in sheet.notes[0]
