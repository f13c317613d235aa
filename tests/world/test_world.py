"""What observables mean in terms of where stock and points truly are, by hand."""

from itertools import combinations

import pytest

import verifier
from tests.differential.junctions import built
from verifier.language.diagnostics.diagnostic import InputError
from verifier.logic.expr import FALSE, TRUE, Expr, atom, conjunction, disjunction, negation, support
from verifier.logic.settle import same
from verifier.plan import observables
from verifier.plan.observables import UNLISTED
from verifier.world import cyclic_signals
from verifier.world.world import World, check_circles

TEXT = """
edge West, East
block A, B, Switch
turnout T1 in Switch
gate G1 on B
bumper End
block C
track West = A | T1 normal | B = East
track T1 reverse | C = End
derail D1 on C toward T1
lever L positions left, normal, right
button Call
condition Lined is T1 normal and D1 derailing
signal 1 at A | T1 heads up, low
  Clear when Lined and Switch, B clear
  Diverging-Clear when T1 reverse and C clear
  Stop otherwise
signal 2 at B | T1
head 2
  green when 1 at stop and L left
  yellow when 1.low green or Call pressed
  red otherwise
signal 3 at C | T1 heads up, low
head 3.up
  green when L left
  red otherwise
head 3.low
  green when L left or L right
  red otherwise
"""

A, B, C, SWITCH = (observables.stock(name) for name in ("A", "B", "C", "Switch"))
T1, D1, G1 = observables.points("T1"), observables.derail("D1"), observables.gate("G1")
L, CALL = observables.lever("L", ("left", "normal", "right")), observables.button("Call")


def vacant(*blocks: observables.Observable) -> Expr:
    return conjunction(*(atom(block, "vacant") for block in blocks))


@pytest.fixture(scope="module")
def world() -> World:
    return World(verifier.load_text(TEXT))


def means(world: World, what: observables.Observable, *values: str) -> Expr:
    return world.expand(atom(what, *values))


def test_reports_are_the_truth(world: World) -> None:
    assert means(world, observables.block_report("A"), "clear") is vacant(A)
    assert means(world, observables.points_report("T1"), "moving") is atom(T1, "open")
    assert means(world, observables.points_report("T1"), "normal", "moving") is atom(
        T1, "normal", "open"
    )
    assert means(world, observables.derail_report("D1"), "moving") is atom(D1, "open")
    assert means(world, observables.gate_report("G1"), "open") is atom(G1, "open")


def test_inputs_mean_themselves(world: World) -> None:
    for what in world.plan.inputs:
        for value in what.values:
            assert means(world, what, value) is atom(what, value)


def test_conditions_and_lines(world: World) -> None:
    lined = conjunction(atom(T1, "normal"), atom(D1, "derailing"))
    assert means(world, observables.condition("Lined"), "true") is lined
    assert means(world, observables.condition("Lined"), "false") is negation(lined)
    first = conjunction(lined, vacant(SWITCH, B))
    assert means(world, observables.line("1", 0), "acts") is first
    assert means(world, observables.line("1", 0), "idle") is negation(first)
    acts = [means(world, observables.line("2", i), "acts") for i in range(3)]
    assert same(disjunction(*acts), TRUE)
    assert all(same(conjunction(a, b), FALSE) for a, b in combinations(acts, 2))


def test_colors_by_aspect_and_by_head(world: World) -> None:
    one = world.plan.signals["1"]
    up, low = (head.color for head in one.heads)
    assert up.values == ("green", "red")
    assert means(world, up, "green") is means(world, one.aspect, "Clear")
    assert means(world, low, "green") is means(world, one.aspect, "Diverging-Clear")
    two = world.plan.signals["2"]
    at_stop = means(world, one.aspect, "Stop")
    assert means(world, two.heads[0].color, "green") is conjunction(at_stop, atom(L, "left"))


def test_what_two_heads_show_together_is_read_as_one_aspect(world: World) -> None:
    three = world.plan.signals["3"]
    assert three.aspect.values == ("Clear", "Diverging-Clear", "Stop", UNLISTED)
    assert means(world, three.aspect, "Clear") is FALSE
    assert means(world, three.aspect, UNLISTED) is atom(L, "left")
    assert means(world, three.aspect, "Diverging-Clear") is atom(L, "right")
    assert means(world, three.aspect, "Stop") is atom(L, "normal")
    assert means(world, three.aspect, *three.aspect.values) is TRUE


def test_an_order_of_lines_matters() -> None:
    text = TEXT.replace("  Diverging-Clear when T1 reverse and C clear\n", "").replace(
        "  Clear when Lined", "  Diverging-Clear when C clear\n  Clear when Lined"
    )
    plan = verifier.load_text(text)
    clear = World(plan).expand(atom(plan.signals["1"].aspect, "Clear"))
    lined = conjunction(atom(T1, "normal"), atom(D1, "derailing"))
    assert clear is conjunction(atom(C, "occupied"), lined, vacant(SWITCH, B))


# ------------------------------------------------------------------ circles

PAIR = """
edge West, East
block A, B, C
track West = A | B | C = East
lever L positions left, normal, right
signal 1 at A | B  Clear when {}  Stop otherwise
signal 2 at C | B  Clear when {}  Stop otherwise
"""


def refused(text: str) -> InputError:
    with pytest.raises(InputError) as caught:
        check_circles(World(built(text)))
    return caught.value


def test_a_circle_names_everyone_in_it_once() -> None:
    (diagnostic,) = refused(PAIR.format("2 at stop and B clear", "1 at stop")).diagnostics
    assert diagnostic.code == "CP409"
    assert diagnostic.message == "these signals wait for each other: 1 needs 2 needs 1"
    assert [span.text.split()[1] for span, _ in diagnostic.others] == ["2"]


def test_who_only_looks_on_is_not_part_of_the_circle() -> None:
    text = PAIR.format("2 at stop", "1 at stop").replace(
        "signal 1", "signal 0 at B | A  Clear when 1 at stop  Stop otherwise\nsignal 1"
    )
    (diagnostic,) = refused(text).diagnostics
    assert "0" not in diagnostic.message


def test_a_condition_cannot_be_written_in_terms_of_itself() -> None:
    text = PAIR.format("Ready", "B clear") + "condition Ready is Set\ncondition Set is not Ready\n"
    (diagnostic,) = refused(text).diagnostics
    assert diagnostic.message in (
        "this condition depends on itself: Ready needs Set needs Ready",
        "this condition depends on itself: Set needs Ready needs Set",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("one", "two"),
    [
        # What it asks makes no difference.
        ("B clear and (2 at stop or 2 proceeds)", "1 at stop"),
        ("B clear and 2 at stop or B clear and not 2 at stop", "1 at stop"),
        ("2 shows Restricting or B clear", "1 at stop"),
        # The other can only be in that state when the question does not come up.
        ("L left and 2 at stop", "L right and 1 at stop"),
        ("A clear and B clear and 2 at stop", "A occupied and 1 at stop"),
        ("L left and (2 at stop or A clear)", "not L left and 1 at stop or L left and B clear"),
    ],
)
def test_no_circle(one: str, two: str) -> None:
    plan = verifier.load_text(PAIR.format(one, two))
    expanded = World(plan).expand(atom(plan.signals["1"].aspect, "Clear"))
    assert all(what in plan.inputs for what in support(expanded))


def test_settled_by_the_lever_means_what_it_says() -> None:
    plan = verifier.load_text(PAIR.format("L left and 2 at stop", "L right and 1 at stop"))
    world = World(plan)
    clear = {n: world.expand(atom(s.aspect, "Clear")) for n, s in plan.signals.items()}
    assert clear == {"1": atom(L, "left"), "2": atom(L, "right")}
    assert (
        world.expand(disjunction(*(atom(s.aspect, "Stop") for s in plan.signals.values()))) is TRUE
    )


def test_what_a_circle_settles_is_not_taken_for_more() -> None:
    """The circle tells only whether 1 proceeds; whether it shows Clear or Stop is asked too."""
    text = PAIR.format(
        "L left and A clear and 2 at stop\n  Approach when L left and 2 at stop\n"
        "  Restricting when L normal",
        "L right and not 1 proceeds",
    )
    plan = verifier.load_text(text)
    world = World(plan)
    one = plan.signals["1"].aspect
    left = atom(L, "left")
    assert world.expand(atom(one, "Clear", "Approach")) is left
    assert world.expand(atom(one, "Clear", "Stop")) is disjunction(
        conjunction(left, vacant(A)), atom(L, "right")
    )
    assert world.expand(atom(one, "Restricting")) is atom(L, "normal")


def test_many_signals_that_exclude_one_another() -> None:
    """Each of twenty asks that all others are at stop; the levers of pairs decide."""
    count = 20
    blocks = [f"B{i}" for i in range(count + 1)]
    text = [
        "edge West, East",
        f"block {', '.join(blocks)}",
        f"track West = {' | '.join(blocks)} = East",
        f"lever L positions {', '.join(f'p{i}' for i in range(count))}",
    ]
    for i in range(count):
        others = ", ".join(f"S{j}" for j in range(count) if j != i)
        text.append(
            f"signal S{i} at B{i} | B{i + 1}  Clear when L p{i} and {others} at stop Stop otherwise"
        )
    plan = verifier.load_text("\n".join(text))
    lever = plan.inputs[-1]
    for i, signal in enumerate(plan.signals.values()):
        assert World(plan).expand(atom(signal.aspect, "Clear")) is atom(lever, f"p{i}")


@pytest.mark.parametrize("limit", ["MAX_WORK", "MAX_DEPTH", "MAX_COMPARING"])
def test_beyond_its_limits_a_circle_stays_an_error(
    limit: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """To refuse what could be settled is safe; to let through what is not would not be."""
    text = PAIR.format("L left and (2 at stop or A clear)", "L right and (1 at stop or C clear)")
    check_circles(World(built(text)))
    monkeypatch.setattr(cyclic_signals, limit, 0)
    (diagnostic,) = refused(text).diagnostics
    assert diagnostic.code == "CP409"
