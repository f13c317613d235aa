"""The test card: what it claims, counted again by code that shares nothing with what made it."""

from collections.abc import Iterator
from itertools import product

import pytest

from tests.diagnosis.test_diagnose import can_be_put_in, put_wrong
from tests.testcard.cards import SMALL, WIRED, bench, by_chance, card
from verifier.diagnosis.bench import Bench, Setup
from verifier.plan import observables
from verifier.plan.model import Line, Plan
from verifier.plan.observables import All, AnyOne, Condition, Fact, Not, at_reader
from verifier.plan.situation import Situation
from verifier.reference.evaluator import Evaluator, Seen, Unsettled, evaluate
from verifier.testcard.card import card_on
from verifier.testcard.card_model import Card
from verifier.testcard.coverage_goals import Goal
from verifier.testcard.fault_list import shown_at, sound_colors


@pytest.mark.parametrize("name", [*SMALL, WIRED])
def test_each_step_shows_what_the_card_says(name: str) -> None:
    holds_what_it_shows(card(name))


def holds_what_it_shows(made: Card) -> None:
    evaluator = Evaluator(made.plan)
    for step in made.steps:
        seen = evaluator.see(step.situation)
        for signal, colors in step.colors.items():
            assert seen.colors(made.plan.signals[signal]) in colors, (step.number, signal)
        for turnout, state in (*step.lies.items(), *step.setup.lies):
            assert seen.state(observables.points(turnout)) == state
        for assumed in made.plan.assumptions:
            assert evaluator.allows(step.situation, assumed.condition)
        assert not any(
            state == "open" for what, state in step.situation if what.kind in ("points", "derail")
        )


# ------------------------------------------------------------------ every condition by itself


def leaves(condition: Condition, plan: Plan, upright: bool = True) -> Iterator[tuple[int, ...]]:
    """Every fact in a condition, by the way to it; named conditions are looked into."""
    match condition:
        case Fact(what=what) if what.kind == "condition":
            for way in leaves(plan.conditions[what.name].condition, plan):
                yield (0, *way)
        case Fact():
            yield ()
        case Not(part=part):
            for way in leaves(part, plan):
                yield (0, *way)
        case All(parts=parts) | AnyOne(parts=parts):
            for i, part in enumerate(parts):
                for way in leaves(part, plan):
                    yield (i, *way)


class Look:
    """One situation, as the driver of one signal hears it, worked out from the rules."""

    def __init__(self, plan: Plan, situation: Situation, reader: str):
        self.plan, self.situation, self.reader = plan, situation, reader
        self.evaluator = Evaluator(plan)
        self.seen: Seen = self.evaluator.see(situation)

    def is_so(self, says: Fact) -> bool:
        what = at_reader(says.what, self.reader)
        return self.evaluator.states(self.situation, [what])[what] in says.values

    def holds(self, condition: Condition, turned: tuple[int, ...] | None = None) -> bool:
        """Whether a condition holds, one fact of it (by the way to it) turned round."""
        match condition:
            case Fact(what=what, values=values) if what.kind == "condition":
                inner = self.plan.conditions[what.name].condition
                found = self.holds(inner, None if turned is None else turned[1:])
                return found == (values == ("true",))
            case Fact():
                return self.is_so(condition) == (turned is None)
            case Not(part=part):
                return not self.holds(part, None if turned is None else turned[1:])
            case All(parts=parts):
                return all(self._parts(parts, turned))
            case AnyOne(parts=parts):
                return any(self._parts(parts, turned))

    def _parts(self, parts: tuple[Condition, ...], turned: tuple[int, ...] | None) -> list[bool]:
        return [
            self.holds(part, turned[1:] if turned is not None and turned[0] == i else None)
            for i, part in enumerate(parts)
        ]

    def acting(self, lines: tuple[Line, ...]) -> Line:
        return next(line for line in lines if line.when is None or self.holds(line.when))


def rules(plan: Plan) -> Iterator[tuple[str, str, tuple[Line, ...], tuple[str, ...]]]:
    """By signal, or head with lines of its own: the lines, and the heads they light."""
    for signal in plan.signals.values():
        if signal.by_head:
            for head in signal.heads:
                yield head.name, head.name, head.lines, (head.name,)
        else:
            names = tuple(head.name for head in signal.heads)
            yield signal.name, signal.heads[0].name, signal.lines, names


def counted(made: Card) -> tuple[list[tuple[str, int, bool, bool]], int]:
    """Of every fact of every line, whether some step shows that the line acts by it, and
    another that it fails for want of it; and of how many lines none acts in any step."""
    plan, found, idle = made.plan, [], 0
    for owner, first, lines, heads in rules(plan):
        driver = plan.wiring.driver_of(first)
        views = [Look(plan, step.situation, driver.name if driver else "") for step in made.steps]
        lenses = [h.lens for s in plan.signals.values() for h in s.heads if h.name in heads]
        shown = [tuple(view.seen.state(lens) for lens in lenses) for view in views]
        for line in lines:
            acts = [view.acting(lines) is line for view in views]
            idle += not any(acts)
            if line.when is None:
                continue
            for way in leaves(line.when, plan):
                does = [
                    colors for view, on, colors in zip(views, acts, shown, strict=True)
                    if on and not view.holds(line.when, way)
                ]  # fmt: skip
                fails = [
                    colors for view, on, colors in zip(views, acts, shown, strict=True)
                    if not on and view.holds(line.when, way) and not view.holds(line.when)
                    and view.acting(lines).index > line.index
                ]  # fmt: skip
                by_itself = any(one != other for one in does for other in fails)
                found.append((owner, line.index, bool(does), by_itself))
    return found, idle


@pytest.mark.parametrize("name", [*SMALL, WIRED])
def test_every_condition_is_seen_to_decide_by_itself(name: str) -> None:
    decides_by_itself(card(name))


def decides_by_itself(made: Card) -> None:
    """What the card does not list as missing is there, by the counter; and all it says is there."""
    found, idle = counted(made)
    missing = [unseen.what for unseen in made.unseen if isinstance(unseen.what, Goal)]
    by_kind = {kind: sum(g.kind == kind for g in missing) for kind in ("with", "without", "line")}
    assert len(found) == len(made.facts)
    assert sum(not does for _, _, does, _ in found) == by_kind["with"]
    assert sum(not both for _, _, _, both in found) <= by_kind["with"] + by_kind["without"]
    assert idle <= by_kind["line"]
    for tried, acts, fails in made.facts:
        assert bool(acts) == (tried.acts not in missing)
        assert bool(fails) == (tried.fails not in missing)


@pytest.mark.parametrize("seed", range(12))
def test_chance_junctions(seed: int) -> None:
    plan = by_chance(seed, 400)
    assert plan is not None, "its rules go round in a circle: choose another seed"
    bench_ = Bench(plan)
    made = card_on(bench_)
    assert made.at_least <= len(made.steps)
    holds_what_it_shows(made)
    decides_by_itself(made)
    _unseen_is_unseen(bench_, made)


# ------------------------------------------------------------------ faults and mistakes


@pytest.mark.parametrize("name", [*SMALL, WIRED])
def test_each_fault_and_mistake_is_listed_once(name: str) -> None:
    made = card(name)
    listed = {found.fault.suspect.text for found in made.found}
    unseen = [u.what.suspect.text for u in made.unseen if not isinstance(u.what, Goal)]
    assert {s.text for s in bench(name).suspects} == listed | set(unseen)
    assert all(found.at for found in made.found)


@pytest.mark.parametrize("name", [*SMALL, WIRED])
def test_each_fault_and_mistake_is_seen_where_the_card_says(name: str) -> None:
    made = card(name)
    tried = 0
    for found in made.found:
        suspect = found.fault.suspect
        if not can_be_put_in(suspect) or found.fault.stuck:
            continue
        wrong, broken = put_wrong(made.plan, found.fault.group)
        for number, at in found.at:
            step = made.steps[number - 1]
            seen = evaluate(wrong, Situation.of((*step.situation, *broken)))
            if at in made.plan.signals:
                lit = tuple(seen.state(head.lens) for head in wrong.signals[at].heads)
                assert lit not in dict(step.colors)[at], (suspect.text, number)
            else:
                assert seen.state(observables.points(at)) != dict(step.lies)[at]
            tried += 1
    assert tried or not made.found


def _all_setups(bench_: Bench) -> Iterator[Setup]:
    """Every way in which a person can set up a small layout, worked out from its inputs alone."""
    plan = bench_.plan
    stock = [w for w in plan.inputs if w.kind in ("stock", "standing")]
    others = [w for w in plan.inputs if w.kind in ("lever", "button", "derail", "gate", "points")]
    thrown = list(bench_.thrown)
    for states in product(*(what.values for what in others)):
        set_so = dict(zip(others, states, strict=True))
        if any(v == "open" for w, v in set_so.items() if w.kind in ("points", "derail")):
            continue
        lies = {w.name: v for w, v in set_so.items() if w.kind == "points"}
        told = {name: lies.pop(name) for name in thrown}
        by_lever = {w.name: v for w, v in set_so.items() if w.kind == "lever"}
        if any(by_lever.get(bench_.lever_of(n) or "", state) != state for n, state in told.items()):
            continue
        facts_ = tuple((w, v) for w, v in set_so.items() if w.kind != "points" and not (
            w.kind == "lever" and bench_.thrown_by(w.name)))  # fmt: skip
        for places in product(*(what.values for what in stock)):
            stands = tuple(
                (w.name, (v,)) for w, v in zip(stock, places, strict=True) if v != w.usual
            )
            yield Setup(stands, tuple(told.items()), tuple(lies.items()), facts_)


def _unseen_is_unseen(bench_: Bench, made: Card) -> None:
    """What is proved to show in no step shows in none of all there are."""
    waiting = [u.what for u in made.unseen if u.proved and not isinstance(u.what, Goal)]
    if not waiting:
        return
    evaluator = Evaluator(bench_.plan)
    for setup in _all_setups(bench_):
        try:
            if not all(
                evaluator.allows(moment.truth.situation, assumed.condition)
                for moment in bench_.moments(setup, ())
                for assumed in bench_.plan.assumptions
                if evaluator.see(moment.truth.situation)
            ):
                continue
        except Unsettled:
            continue
        sound = sound_colors(bench_, setup)
        for wrong in waiting:
            assert shown_at(bench_, setup, wrong, sound) is None, wrong.text


@pytest.mark.parametrize("name", SMALL)
def test_what_no_step_can_show_none_shows(name: str) -> None:
    _unseen_is_unseen(bench(name), card(name))
