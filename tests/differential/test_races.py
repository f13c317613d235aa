"""Relays race: clearproof against a program of its own for files of two to four relays.

The program below knows nothing of clearproof but the file. It is written from the words of the
language reference on `built of relays`: in each step every relay acts once, at a moment of its own;
of two that act in the same step one sees the other as it was, or as it is after acting; no two see
each other after acting, nor three in a circle; who sees one after acting sees all that this one saw
after acting. It goes through all orders, all that act at once included, and through every button at
every step.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import permutations, product
from random import Random

import pytest

import verifier
from verifier.plan.model import Plan

HEAD = """\
edge West, East
block Main, Single
track West = Main | Single = East
signal 2 at Main | Single
  Stop otherwise
trains obey signals
"""
BUTTONS = ("P", "Q")
SEEDS = range(12)

# A condition: any of these lists of facts, all of which hold; a fact is a name and whether it is
# up (a relay) or pressed (a button).
Facts = tuple[tuple[str, bool], ...]
Condition = tuple[Facts, ...]
State = Mapping[str, bool]


@dataclass(frozen=True)
class Relay:
    picks: Condition
    sticks: Condition


def holds(condition: Condition, state: State) -> bool:
    return any(all(state[name] == wanted for name, wanted in facts) for facts in condition)


# ------------------------------------------------------------------ all interleavings


def views(names: tuple[str, ...]) -> Iterator[Mapping[str, frozenset[str]]]:
    """Whom each relay sees after acting: any of those that come before it in some order, with all
    that these see."""
    found = set()
    for order in permutations(names):
        before = [frozenset(order[:i]) for i in range(len(order))]
        for seen in product(*(subsets(some) for some in before)):
            sees = dict(zip(order, seen, strict=True))
            if all(sees[other] <= some for some in seen for other in some):
                found.add(frozenset(sees.items()))
    yield from map(dict, found)


def subsets(some: frozenset[str]) -> list[frozenset[str]]:
    listed = sorted(some)
    return [
        frozenset(name for name, taken in zip(listed, chosen, strict=True) if taken)
        for chosen in product((False, True), repeat=len(listed))
    ]


def acted(relays: Mapping[str, Relay], up: State, pressed: State,
          seen: Mapping[str, frozenset[str]]) -> State:  # fmt: skip
    """The relays after one step."""
    new: dict[str, bool] = {}
    while len(new) < len(relays):
        for name, relay in relays.items():
            if name in new or not seen[name] <= new.keys():
                continue
            sees = {**pressed, **{r: new[r] if r in seen[name] else up[r] for r in relays}}
            new[name] = holds(relay.picks, sees) or (up[name] and holds(relay.sticks, sees))
    return new


def reachable(relays: Mapping[str, Relay], *, program: bool) -> set[tuple[bool, ...]]:
    """Every state of the relays that there can be, in the order of the file."""
    names = tuple(relays)
    one_order = {name: frozenset(names[:i]) for i, name in enumerate(names)}
    orders = [one_order] if program else list(views(names))
    start = (False,) * len(names)
    reached, waiting = {start}, [start]
    while waiting:
        up = dict(zip(names, waiting.pop(), strict=True))
        for values in product((False, True), repeat=len(BUTTONS)):
            pressed = dict(zip(BUTTONS, values, strict=True))
            for seen in orders:
                new = acted(relays, up, pressed, seen)
                state = tuple(new[name] for name in names)
                if state not in reached:
                    reached.add(state)
                    waiting.append(state)
    return reached


# ------------------------------------------------------------------ files


def generated(r: Random) -> dict[str, Relay]:
    """Two to four relays that ask about each other and about the buttons."""
    names = [f"R{i}" for i in range(r.randint(2, 4))]

    def condition(about: list[str]) -> Condition:
        return tuple(
            tuple((name, r.random() < 0.5) for name in r.sample(about, r.randint(1, 2)))
            for _ in range(r.randint(1, 2))
        )

    return {
        name: Relay(condition([*names, *BUTTONS]), condition([*names, *BUTTONS])) for name in names
    }


def written(condition: Condition) -> str:
    def fact(name: str, wanted: bool) -> str:
        if name in BUTTONS:
            return f"{name} pressed" if wanted else f"not {name} pressed"
        return f"{name} {'up' if wanted else 'down'}"

    return " or ".join(
        "(" + " and ".join(fact(name, wanted) for name, wanted in facts) + ")"
        for facts in condition
    )


def plan_of(relays: Mapping[str, Relay], built: str) -> Plan:
    """A file that asks of each state of the relays whether it is ever reached."""
    lines = [HEAD, built, f"button {', '.join(BUTTONS)}", *lines_of(relays, written)]
    return verifier.load_text("\n".join(lines) + "\n")


def lines_of(relays: Mapping[str, Relay], written: Callable[[Condition], str]) -> Iterator[str]:
    """The relays, and that none of their states is ever reached."""
    for name, relay in relays.items():
        yield f"relay {name}"
        yield f"  picks when {written(relay.picks)}"
        yield f"  sticks while {written(relay.sticks)}"
    for state in product((False, True), repeat=len(relays)):
        facts = " and ".join(
            f"{name} {'up' if up else 'down'}" for name, up in zip(relays, state, strict=True)
        )
        yield f'prove "{said(state)}" never {facts}'


def said(state: tuple[bool, ...]) -> str:
    return " ".join("up" if up else "down" for up in state)


def found_reachable(plan: Plan) -> set[str]:
    """The states that clearproof finds a history for; it proves all others unreachable."""
    report = verifier.prove(plan)
    titles = {proof.title for proof in plan.proofs}
    found = {v.obligation.property: v.status for v in report.verdicts}
    assert titles and all(found[title] in ("proved", "broken") for title in titles)
    return {title for title in titles if found[title] == "broken"}


# ------------------------------------------------------------------ agreement


@pytest.mark.parametrize("seed", SEEDS)
def test_the_same_states_are_reached_in_any_order(seed: int) -> None:
    relays = generated(Random(seed))
    wanted = {said(state) for state in reachable(relays, program=False)}
    assert found_reachable(plan_of(relays, "built of relays")) == wanted


@pytest.mark.parametrize("seed", SEEDS[::4])
def test_the_same_states_are_reached_by_one_program(seed: int) -> None:
    relays = generated(Random(seed))
    wanted = {said(state) for state in reachable(relays, program=True)}
    assert found_reachable(plan_of(relays, "built as one program")) == wanted


def test_orders_matter_to_the_files() -> None:
    """Some of the files reach states with relays that no program in their order reaches; what a
    program reaches, relays reach."""
    more = 0
    for seed in SEEDS:
        relays = generated(Random(seed))
        one, any_order = (reachable(relays, program=program) for program in (True, False))
        assert one <= any_order
        more += one < any_order
    assert more > 3
