"""Finding what is wrong on the bench: whatever is put wrong is found, and no more is claimed
than was seen."""

import re
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from itertools import combinations, product
from pathlib import Path
from random import Random
from typing import get_args

import pytest

import verifier
from tests.junction_files import SPEC_FILES, spec
from tests.sweep import sample
from verifier.diagnosis.bench import Bench, Moment, Setup
from verifier.diagnosis.diagnose import diagnosis, explains, explanations
from verifier.diagnosis.equivalence import indistinguishable
from verifier.diagnosis.observations import Observation, Sight, observations
from verifier.diagnosis.suspects import LIKELY, Suspect, Suspects, can_be_together
from verifier.diagnosis.test_selection import fault_dictionary, suite_of
from verifier.plan import observables
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation
from verifier.plan.wiring.derive_equipment import with_wiring
from verifier.plan.wiring.faults import FaultKind
from verifier.plan.wiring.miswiring import MistakeKind, miswired
from verifier.reference.evaluator import Evaluator
from verifier.reference.standing import can_be
from verifier.reports.diagnosis import setup_words

HERE = Path(__file__).resolve().parent
SIDING = HERE / "wired-siding.ixl"
SPECS = [
    path for path in SPEC_FILES if re.search(r"^detector ", path.read_text("utf-8"), re.MULTILINE)
]
SMALL = [path for path in SPECS if path.stem in ("broken-wire-mended", "two-supplies-mended")]
# As many tests times suspects are gone through for one file.
ENOUGH = 1_200

MACHINE = (
    SIDING.read_text("utf-8")
    .replace("contacts normal, reverse", "no contacts")
    .replace(", T1 contacts", "")
)


@cache
def bench_of(path: Path) -> Bench:
    return Bench(verifier.load(path))


@cache
def all_looks(path: Path) -> tuple[Setup, ...]:
    """All tests with one locomotive."""
    bench = bench_of(path)
    return suite_of(bench, [], [(suspect,) for suspect in bench.suspects]).setups


def looks_of(path: Path) -> tuple[Setup, ...]:
    """The same, or, of a large file, a fixed set of them, for it to be done in time."""
    setups = all_looks(path)
    return setups[:: 1 + len(setups) * len(bench_of(path).suspects) // ENOUGH]


# ------------------------------------------------------------------ putting things wrong


def put_wrong(plan: Plan, group: Suspects) -> tuple[Plan, list[tuple[Observable, str]]]:
    """The plan with mistakes made, and the faults to put into its situations; by what the file
    says, not by what the bench makes of it."""
    wiring = plan.wiring
    broken = []
    for suspect in group:
        if suspect.mistake is not None:
            wiring = miswired(wiring, suspect.mistake)
        elif suspect.trouble is not None:
            turnout, does = suspect.trouble
            what = plan.equipment.fault(FaultKind.MACHINE, turnout).what
            broken.append((what, {"stops": what.values[1], "other way": what.values[2]}[does]))
        else:
            assert suspect.fault is not None
            broken.append((suspect.fault.what, suspect.states[-1]))
    return with_wiring(plan, wiring), broken


def look(plan: Plan, group: Suspects, setups: Sequence[Setup]) -> list[Observation]:
    """What is really seen in each test with these things wrong."""
    wrong, broken = put_wrong(plan, group)
    evaluator = Evaluator(wrong)
    inputs = {(what.kind, what.name): what for what in plan.inputs}
    seen = []
    for setup in setups:
        said = list(setup.facts)
        said += [(inputs.get(("standing", block)) or observables.stock(block), places[0])
                 for block, places in setup.stands]  # fmt: skip
        said += [(observables.points(name), state) for name, state in setup.lies]
        for name, state in setup.told:
            lever = plan.wiring.machines[name].lever
            said.append((inputs["lever", lever] if lever else inputs["thrown", name], state))
        states = evaluator.see(Situation.of((*said, *broken))).states
        lies = [(name, states[observables.points(name)]) for name, _ in setup.told]
        sights = [
            Sight(s.name, frozenset([tuple(lit(head.lens, states) for head in s.heads)]))
            for s in plan.signals.values()
        ]
        now = Setup(setup.stands, setup.told, (*setup.lies, *lies), setup.facts)
        seen.append(Observation(setup_words(setup, plan), now, tuple(sights)))
    return seen


def lit(lens: Observable, states: Mapping[Observable, str]) -> str:
    """What a lens shows: dark where it is lit in a color that it has no lamp for."""
    return states[lens] if states[lens] in lens.values else "dark"


def can_be_put_in(suspect: Suspect) -> bool:
    """Points that stay put are no one fault of the file: they obey half of the time."""
    return suspect.trouble is None or suspect.trouble[1] in ("stops", "other way")


@pytest.mark.parametrize("path", [SIDING, *SPECS], ids=lambda path: path.stem)
def test_every_single_fault_and_mistake_is_recovered(path: Path) -> None:
    bench = bench_of(path)
    suspects = filter(can_be_put_in, bench.suspects)
    for suspect in sample(suspects, 3, f"suspects of {path.stem}", lambda s: s.kind):
        seen = look(bench.given, (suspect,), looks_of(path))
        found, cut_short = explanations(bench, seen)
        assert not cut_short
        if found == ((),):
            # Nothing of it shows in any test: nor is it said not to be there.
            assert explains(bench, (suspect,), seen), suspect.text
        else:
            assert all(len(group) == 1 for group in found), suspect.text
            assert (suspect,) in found or any(
                indistinguishable(bench, group, (suspect,)) for group in found
            ), suspect.text


def sticks(suspect: Suspect) -> bool:
    return suspect.fault is not None and suspect.fault.kind is FaultKind.CONTACT


def test_what_else_is_found_is_proved_equal() -> None:
    bench, everything = bench_of(SIDING), all_looks(SIDING)
    for suspect in [s for s in bench.suspects if can_be_put_in(s)][::7]:
        found, _ = explanations(bench, look(bench.given, (suspect,), everything))
        # A feeder that misses its detector may be seen like any other that does.
        groups = [g for g in found if g and not (g[0].divides_current or suspect.divides_current)]
        # Looks are taken at rest: one stuck contact may differ from another while points move only.
        groups = [g for g in groups if not (sticks(suspect) and sticks(g[0]))]
        for group in groups:
            assert indistinguishable(bench, group, (suspect,)), (suspect.text, group[0].text)


PAIRS = [
    ("feeder m2 does not pass through D-Main", "wire from D-Single to B2 is broken"),
    ("the contact wires of T1 are swapped", "lamp 4RA green is out"),
    ("feeders s1 and g3 are swapped between D-Siding and D-Single", "head 4L.lower is dark"),
    ("the wires of heads 4L.upper and 4L.lower are swapped",
     "feeder g2 does not pass through D-Single"),
]  # fmt: skip


@pytest.mark.parametrize("texts", PAIRS, ids=" + ".join)
def test_two_things_wrong_together_are_recovered(texts: tuple[str, str]) -> None:
    bench = bench_of(SIDING)
    pair = tuple(s for s in bench.suspects if s.text in texts)
    assert len(pair) == 2
    found, cut_short = explanations(bench, look(bench.given, pair, all_looks(SIDING)))
    assert not cut_short and all(len(group) == 2 for group in found)
    assert pair in found


# ------------------------------------------------------------------ the engine by itself


@pytest.mark.parametrize("path", [SIDING, *SMALL], ids=lambda path: path.stem)
def test_nothing_is_looked_up_that_would_come_out_otherwise(path: Path) -> None:
    """What no suspect bears on is not worked out again: it would come out the same."""
    bench, random = bench_of(path), Random(236)
    for _ in range(400):
        group = tuple(random.sample(bench.suspects, random.randint(1, 3)))
        if not can_be_together(group):
            continue
        setup = random.choice(looks_of(path))
        another = random.choice(looks_of(path))
        if random.random() < 0.3 and dict(setup.stands).keys().isdisjoint(dict(another.stands)):
            stands = (*setup.stands, *another.stands)
            setup = Setup(stands, setup.told, setup.lies, setup.facts)
        for moment in bench.moments(setup, group):
            for signal in bench.plan.signals:
                found = bench._look(moment.group, moment.truth, signal)
                assert bench.shows(moment, signal) == found, [s.text for s in group]


@pytest.mark.parametrize("path", SMALL, ids=lambda path: path.stem)
def test_the_search_finds_what_trying_every_group_finds(path: Path) -> None:
    bench, random = bench_of(path), Random(49)
    for _ in range(30):
        wrong = tuple(random.sample(bench.suspects, random.randint(0, 3)))
        if not can_be_together(wrong) or not all(map(can_be_put_in, wrong)):
            continue
        seen = look(bench.given, wrong, random.sample(looks_of(path), 3))
        every = [
            [g for g in combinations(bench.suspects, size)
             if can_be_together(g) and explains(bench, g, seen)]
            for size in range(4)
        ]  # fmt: skip
        smallest = next((groups for groups in every if groups), [])
        assert set(explanations(bench, seen)[0]) == set(smallest)


def every_situation(plan: Plan) -> Iterator[Situation]:
    for values in product(*(what.values for what in plan.inputs)):
        situation = Situation.of(zip(plan.inputs, values, strict=True))
        if can_be(plan, situation):
            yield situation


@pytest.mark.parametrize("path", SMALL, ids=lambda path: path.stem)
def test_equal_is_what_comes_out_equal_in_every_situation(path: Path) -> None:
    bench = bench_of(path)
    signals = list(bench.plan.signals)
    table: dict[Suspect, list[object]] = {suspect: [] for suspect in bench.suspects}
    for situation in every_situation(bench.plan):
        truth = bench._truth(situation, ())
        assert truth is not None
        for suspect in bench.suspects:
            ways = [Moment(truth, (one,)) for one in bench._one_by_one(suspect)]
            table[suspect].append([[bench.shows(way, s) for s in signals] for way in ways])
    equal = 0
    for one, other in combinations(bench.suspects, 2):
        known = table[one] == table[other]
        assert indistinguishable(bench, (one,), (other,)) == known, (one.text, other.text)
        equal += known
    assert 0 < equal < len(bench.suspects)


# ------------------------------------------------------------------ answers


def texts_of(found: Sequence[Suspects]) -> list[str]:
    return ["; ".join(suspect.text for suspect in group) for group in found]


def test_a_missed_feeder_comes_before_less_likely_explanations() -> None:
    found = diagnosis_of("locomotive at m2, lever 4 left: 4L Clear")
    assert found.verdict == "explained"
    texts = [texts_of(group.members) for group in found.groups]
    # Current divides: with any of the three missed, it may be too little.
    assert texts[0] == [f"feeder m{n} does not pass through D-Main" for n in (1, 2, 3)]
    assert "detector D-Main is stuck at clear" in texts[4]
    assert found.explanations == sum(map(len, texts))


def diagnosis_of(*texts: str) -> "verifier.Diagnosis":
    bench = bench_of(SIDING)
    return diagnosis(bench, observations(bench, texts))


def test_each_further_look_leaves_only_what_explains_it_too() -> None:
    looks = ["locomotive at m2, 4 left: 4L Clear", "locomotive at m1, 4 left: 4L Stop",
             "locomotive at s1, T1 reverse, 4 left: 4L Stop"]  # fmt: skip
    every = [
        {t for g in diagnosis_of(*looks[:count]).groups for t in texts_of(g.members)}
        for count in range(1, len(looks) + 1)
    ]
    assert every[0] > every[1] >= every[2]
    # A locomotive seen at m1 clears no feeder: of current that divides, enough may pass there.
    missed = {f"feeder m{n} does not pass through D-Main" for n in (1, 2, 3)}
    assert missed <= every[1]
    assert all("feeder m2 does not pass through D-Main" in found for found in every)


def test_the_next_test_tells_explanations_apart_as_it_says() -> None:
    found = diagnosis_of("locomotive at m2, lever 4 left: 4L Clear")
    test, bench = found.next_test, bench_of(SIDING)
    assert test is not None and len(test.outcomes) > 1
    assert sorted(n for o in test.outcomes for n in o.groups if n is not None) == list(
        range(len(found.groups))
    )
    for outcome in test.outcomes:
        for number in outcome.groups:
            assert number is not None
            (group, *_) = found.groups[number].members
            shown = {bench.shows(m, test.look) for m in bench.moments(test.setup, group)}
            assert shown == outcome.shows


def test_with_nothing_wrong_the_next_test_is_the_one_that_catches_most() -> None:
    found = diagnosis_of("lever 4 left: 4L Clear", "4 left, T1 reverse: 4L red over green")
    assert found.verdict == "nothing wrong" and found.next_test is not None
    usual = next(o for o in found.next_test.outcomes if None in o.groups)
    caught = sum(len(o.groups) for o in found.next_test.outcomes if o is not usual)
    assert caught > 10
    # A broken feeder among others of its block never shows.
    hidden = [t for g in found.groups for t in texts_of(g.members)]
    assert "feeder m2 is broken" in hidden and "lamp 4L.upper green is out" not in hidden


def test_what_nothing_explains_is_said() -> None:
    found = diagnosis_of("lever 4 left: 4L Clear", "lever 4 left: 4L Stop")
    assert (found.verdict, found.groups, found.next_test) == ("unexplained", (), None)
    assert not found.cut_short


def test_a_train_somewhere_on_a_block_is_explained_by_any_place_on_it() -> None:
    found = diagnosis_of("train on Main, lever 4 left: 4L Clear")
    texts = {t for g in found.groups for t in texts_of(g.members)}
    assert {f"feeder m{n} does not pass through D-Main" for n in (1, 2, 3)} <= texts


def test_points_that_do_not_do_as_told_need_no_signal_to_show_it() -> None:
    found = diagnosis_of("T1 thrown reverse, T1 normal", "T1 thrown normal, T1 normal")
    texts = [t for g in found.groups for t in texts_of(g.members)]
    assert "the machine of T1 leaves it normal, whatever it is told" in texts
    assert "the motor wires of T1 are swapped: it goes the other way" not in texts


def test_without_contacts_a_machine_is_found_out_by_looking_at_the_points() -> None:
    bench = Bench(verifier.load_text(MACHINE))
    seen = observations(bench, ["T1 thrown reverse, 4 left: 4L Diverging-Clear"])
    found = diagnosis(bench, seen)
    stuck = [s for s in bench.suspects if s.trouble == ("T1", "stays normal")]
    assert found.verdict == "nothing wrong" and explains(bench, tuple(stuck), seen)
    seen = observations(bench, ["T1 thrown reverse, T1 normal, 4 left: 4L Diverging-Clear"])
    found = diagnosis(bench, seen)
    assert found.verdict == "explained"
    assert tuple(stuck) in [group for g in found.groups for group in g.members]


def test_a_missing_return_is_named_beside_a_broken_wire() -> None:
    found = diagnosis_of("4 right: 4RA red", "4 left, T1 reverse: 4L red over green",
                         "4 right, T1 reverse: 4RB red")  # fmt: skip
    wires = [s for g in found.groups for m in g.members for s in m if s.kind == "wire-broken"]
    assert any(s.also == ("D-Single and B2 have no common return",) for s in wires)


def test_tests_stop_where_they_would_take_too_long(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("verifier.diagnosis.test_selection.MAX_TEST_LOOKS", 300)
    bench = Bench(verifier.load(SIDING))
    groups = [(), *((suspect,) for suspect in bench.suspects)]
    suite = suite_of(bench, [], groups)
    tables, tried = fault_dictionary(bench, groups, suite)
    assert 0 < len(tried.setups) < len(suite.setups)
    assert {len(table) for table in tables.values()} == {len(tried.setups)}


def test_every_kind_of_suspect_has_its_rank() -> None:
    kinds = {kind.property_name for kind in FaultKind} | {*get_args(MistakeKind)}
    kinds.discard("plate-missing")  # is seen, and never suspected
    assert kinds <= {*LIKELY}


def test_a_flasher_that_stopped_is_found() -> None:
    path = spec("flasher-stopped-mended")
    stopped = next(s for s in bench_of(path).suspects if s.kind == "flasher-stopped")
    seen = look(bench_of(path).given, (stopped,), all_looks(path))
    found, cut_short = explanations(bench_of(path), seen)
    assert not cut_short and (stopped,) in found
