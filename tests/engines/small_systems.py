"""Small transition systems whose answers can be seen by hand, for the tests of the engines."""

from verifier.logic.expr import FALSE, TRUE, Expr, atom, conjunction, disjunction, negation
from verifier.logic.transition_system import System
from verifier.plan import observables
from verifier.plan.observables import Observable


def two(what: Observable, comes: Expr) -> dict[str, Expr]:
    """A thing with two states, the second of which comes when ``comes`` holds."""
    return {what.values[0]: negation(comes), what.values[1]: comes}


# ------------------------------------------------------------------ one line, two ends

WAY = observables.traffic("Line")
EAST, WEST = observables.train("Eastbound"), observables.train("Westbound")
TURN = observables.button("Turn")
LET_EAST, LET_WEST = (
    observables.choice("entry", "West end"),
    observables.choice("entry", "East end"),
)
OUT = observables.choice("advance", "Far end")

RIGHT = atom(WAY, "rightward")
ON_EAST, ON_WEST = atom(EAST, "occupied"), atom(WEST, "occupied")
MEET = conjunction(ON_EAST, ON_WEST)
EAST_NEEDS, WEST_NEEDS = (
    disjunction(negation(ON_EAST), RIGHT),
    disjunction(negation(ON_WEST), negation(RIGHT)),
)


def single_track(*, locked: bool = True) -> System:
    """Traffic turns only with the line vacant (if ``locked``); trains enter with it."""
    vacant = conjunction(negation(ON_EAST), negation(ON_WEST)) if locked else TRUE
    turns = conjunction(atom(TURN, "pressed"), vacant)
    right = disjunction(conjunction(RIGHT, negation(turns)), conjunction(negation(RIGHT), turns))
    stays = negation(atom(OUT, "yes"))
    east = disjunction(
        conjunction(ON_EAST, stays), conjunction(RIGHT, atom(LET_EAST, "yes"), negation(turns))
    )
    west = disjunction(
        conjunction(ON_WEST, stays),
        conjunction(negation(RIGHT), atom(LET_WEST, "yes"), negation(turns)),
    )
    return System(
        (WAY, EAST, WEST),
        (TURN, LET_EAST, LET_WEST, OUT),
        {WAY: ("rightward", "leftward"), EAST: ("vacant",), WEST: ("vacant",)},
        {WAY: {"rightward": right, "leftward": negation(right)}, EAST: two(EAST, east),
         WEST: two(WEST, west)},
    )  # fmt: skip


# ------------------------------------------------------------------ a chain of repeaters

FIRST, SECOND, THIRD = (observables.relay(name) for name in ("1R", "2R", "3R"))
THIRD_UP = atom(THIRD, "up")


def repeaters() -> System:
    """The first relay has no wire to it, and each other repeats the one before: the third
    never picks, which only three moments in a row can tell."""
    return System(
        (FIRST, SECOND, THIRD),
        (),
        {FIRST: ("down",), SECOND: ("down",), THIRD: ("down",)},
        {FIRST: two(FIRST, FALSE), SECOND: two(SECOND, atom(FIRST, "up")),
         THIRD: two(THIRD, atom(SECOND, "up"))},
    )  # fmt: skip


# ------------------------------------------------------------------ a timer with three states

CLOCK = observables.timer("Time")
RUN, EXPIRE = observables.button("Run"), observables.choice("expiry", "Time")
DONE = atom(CLOCK, "done")


def timer(start: tuple[str, ...] = ("idle",), always: tuple[Expr, ...] = ()) -> System:
    """It runs while the button is pressed, and is done when its time is up."""
    run, idle, running = atom(RUN, "pressed"), atom(CLOCK, "idle"), atom(CLOCK, "running")
    done = conjunction(run, disjunction(DONE, conjunction(running, atom(EXPIRE, "yes"))))
    goes = conjunction(run, disjunction(idle, conjunction(running, atom(EXPIRE, "no"))))
    return System(
        (CLOCK,),
        (RUN, EXPIRE),
        {CLOCK: start},
        {CLOCK: {"idle": negation(run), "running": goes, "done": done}},
        always,
    )
