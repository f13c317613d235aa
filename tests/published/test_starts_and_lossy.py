"""Published interlockings over time: starting positions, assumptions and lossy detection.

Tables, routes and release rules are the published ones, each with its mark beside its test; the
encodings over time and every verdict here are ours [C]. Only the histories are asked for.
"""

from functools import cache

import pytest

import verifier
from tests.published.test_vienna_1873 import MATTERS, TABLE, Lock
from verifier.decide.histories import HistoryProver
from verifier.properties.catalog import obligations
from verifier.world.world import World

STARTS = ("", "starts normal", "starts reverse")
start = pytest.mark.parametrize("starts", STARTS, ids=lambda text: text or "either way")


@cache
def told(text: str, *names: str) -> dict[str, str]:
    """Verdicts over time on ``names``: properties, or single checks."""
    plan = verifier.load_text(text)
    asked = [
        check
        for check in obligations(plan, World(plan).lower)
        if check.over != "situations" and {check.key, check.property} & set(names)
    ]
    verdicts = HistoryProver(plan, None, lambda: None).verdicts(asked)
    return {v.obligation.key: v.status for v in verdicts}


# ------------------------------------------------------------------ Vienna, 1873

VIENNA = """
edge Main-Up-In, Branch-Up-In, Down-In entering only
edge Up-Out, Main-Down-Out, Branch-Down-Out leaving only
block Main-Up-Far, Main-Up, Branch-Up-Far, Branch-Up, Down-Far, Down
block Points-5, Points-6, Diamond, Up, Main-Down, Branch-Down
lever 1, 2, 3, 4, 5, 6, 7, 8, 9 positions normal, reverse
turnout Switch-5 in Points-5
  thrown by 5
  motor snap
turnout Switch-6 in Points-6
  thrown by 6
  motor snap
crossing X in Diamond
track Up-Out = Up | Switch-5 normal  | Main-Up | Main-Up-Far = Main-Up-In
track             Switch-5 reverse | across X | Branch-Up | Branch-Up-Far = Branch-Up-In
track Down-In = Down-Far | Down | Switch-6 normal | Branch-Down = Branch-Down-Out
track             Switch-6 reverse | along X | Main-Down = Main-Down-Out
interlocking limits Plant is Distance-1, Distance-2, Distance-9
trains never reverse
signal Distance-2 at Main-Up-Far   | Main-Up    Clear when 2 reverse  Stop otherwise
signal Distance-1 at Branch-Up-Far | Branch-Up  Clear when 1 reverse  Stop otherwise
signal Distance-9 at Down-Far      | Down       Clear when 9 reverse  Stop otherwise
signal Home-3  at Main-Up   | Switch-5  Clear when 3 reverse{five normal}  Stop otherwise
signal Home-4  at Branch-Up | X         Clear when 4 reverse{five reverse}  Stop otherwise
signal Home-78 at Down | Switch-6  heads seven, eight
head Home-78.seven  green when 7 reverse{six normal}  red otherwise
head Home-78.eight  green when 8 reverse{six reverse}  red otherwise
"""
UNDER_SIGNAL = "points-move-under-signal"
HELD = ("crew promises not to throw points under a train",
        "crew promises not to throw points ahead of a train")  # fmt: skip


def printed(*gone: Lock) -> list[str]:
    """The printed table as locks of a frame, without some entries."""
    states = {"normal": "reverse", "pulled": "normal"}  # what a pulled home lever holds
    return [
        f"lever {lock.home} reverse locks {lock.lever} {states[lock.position]}"
        for lock in TABLE
        if lock not in gone
    ]


def vienna(*lines: str, starts: str = "", points: bool = True) -> str:
    """``points``: arms ask for the points that their levers need, as rigid rods made sure of."""
    text = VIENNA
    for number, name in ((5, "five"), (6, "six")):
        for lies in ("normal", "reverse"):
            asked = f" and Switch-{number} {lies}" if points else ""
            text = text.replace(f"{{{name} {lies}}}", asked)
    text = text.replace("  motor snap", f"  motor snap\n  {starts}" if starts else "  motor snap")
    return "\n".join([text, *lines, ""])


@start
def test_vienna_1873_pp494_495_V_table_C_points_stay_under_signals(starts: str) -> None:
    """pp. 494-495 [V] table: from any start no points move under a signal while arms hang on
    points, and from every start they do where arms answer to levers alone: a power machine
    follows its lever, which the rods of 1873 did not have to."""
    for points, status in ((True, "proved"), (False, "broken")):
        found = told(vienna(*printed(), starts=starts, points=points), UNDER_SIGNAL)
        assert len(found) == 3 and set(found.values()) == {status}


@pytest.mark.parametrize("gone", TABLE, ids=lambda lock: lock.name)
def test_vienna_1873_pp494_495_V_C_one_entry_deleted_over_time(gone: Lock) -> None:
    """pp. 494-495 [V] table: the four entries that matter at a single moment are those that hold
    points under a signal over time, and the ten others still are not missed."""
    found = told(vienna(*printed(gone)), UNDER_SIGNAL)
    assert len(found) == 3
    assert set(found.values()) == {"proved"} | ({"broken"} if gone.name in MATTERS else set())


def test_vienna_1873_pp494_495_C_no_detection_and_no_bars() -> None:
    """pp. 494-495 [V] table: nothing of 1873 hears of a train. Points move under one once its
    signal is put back, unless men do not throw them; to lose a train from detection changes
    nothing of that, since no lock asks for detection. The telegraph is what keeps trains apart on
    the crossing, not this machine."""
    asked = ("points-move-under-train", "derailment", "route-locking", "loss-of-shunt: Switch-5",
             "loss-of-shunt: Switch-6", "loss-of-shunt: Home-4, Home-78")  # fmt: skip
    bare = told(vienna(*printed()), *asked)
    assert set(bare.values()) == {"broken"}
    held = told(vienna(*printed(), *HELD), *asked)
    assert held == dict.fromkeys(bare, "proved") | {"loss-of-shunt: Home-4, Home-78": "broken"}


@start
def test_vienna_1873_pp494_495_C_branch_closed(starts: str) -> None:
    """pp. 494-495 [V] table, and an assumption over time: lever 5 is never pulled. If Switch-5
    starts the other way it moves once, and lever 3 may be pulled already; it never moves if it
    starts as lever 5 has it."""
    closed = 'assume "the branch is closed" always 5 normal'
    text = vienna(*printed(), closed, starts=starts, points=False)
    found = told(text, "points-move-under-signal: Home-3, Switch-5")
    status = "proved" if starts == "starts normal" else "broken"
    assert found == {"points-move-under-signal: Home-3, Switch-5": status}


# ------------------------------------------------------------------ the tram, at its entrance 3

# The rules of relays 1 and 2 that speak of this entrance; beyond 12 the plan ends.
TRAM = """
built as one program
edge V1 entering only
edge V3, Onward leaving only
block b3, b4, b5, b12
button C3, C4
turnout SW3 in b4
  thrown reverse when V1Q1 down
  motor snap
track V1 = b3 | SW3 normal | b5 = V3
track SW3 reverse | b12 = Onward
trains never reverse
relay V1Q1
  picks when C4 pressed and not C3 pressed and V1Q2 down and b4, b5 clear
  sticks while b5 clear
relay V1Q2
  picks when C3 pressed and not C4 pressed and V1Q1 down and b4, b12 clear
  sticks while b12 clear
signal S3 at b3 | SW3
  heads upper, lower
  Clear            when V1Q1 up and SW3 normal and b4, b5 clear
  Diverging-Clear  when V1Q2 up and SW3 reverse and b4, b12 clear
  Stop             otherwise
"""
CLEARED = TRAM.replace("while b5 clear", "while b5 clear or b4 occupied")
UNDER_TRAIN = "points-move-under-train: SW3"
NOBODY = 'assume "nobody asks for V1Q1" never C4 pressed\n'


@pytest.mark.parametrize("starts", ["", "starts reverse"], ids=lambda text: text or "by rule")
@pytest.mark.parametrize(
    ("text", "status"),
    [(TRAM, "broken"), (CLEARED, "proved"), (TRAM + NOBODY, "proved")],
    ids=["as published", "released once 4 is clear", "never set"],
)
def test_w2_V_rules_R_sw3_moves_under_a_train(text: str, status: str, starts: str) -> None:
    """W2 [V] rules; [R]: "V1Q1 is released when 5 is occupied, SW3 then moves under a train
    standing on 4-5". Trains of clearproof have any length. Where it is released only once 4 is
    clear, too, or an assumption keeps it from being set, it is safe [C]."""
    text = text.replace("  motor snap", f"  motor snap\n  {starts}") if starts else text
    assert told(text, UNDER_TRAIN) == {UNDER_TRAIN: status}


def test_w2_V_published_start_is_refused() -> None:
    """W2 [V]: "Start: all clear, relays off, points straight". Yet SW3 is straight only while
    relay 1 is up: the first cycle turns it. Machines start at rest, so this start is an error."""
    with pytest.raises(verifier.InputError, match="SW3"):
        verifier.load_text(TRAM.replace("  motor snap", "  motor snap\n  starts normal"))


RELEASED = CLEARED.replace("or b4 occupied", "or b4 occupied or b4-track down")
ROUTES_TOO = RELEASED.replace("down and b4, b", "down and b4-track up and b4, b")
ALONE = ROUTES_TOO.replace("b4 occupied or ", "").replace("up and b4, b", "up and b")


def repeated(seconds: int, *blocks: str) -> str:
    """A slow relay repeats each block."""
    return "".join(
        f"relay {b}-track\n  picks when {b} clear\n  slow to pick {seconds} s\n" for b in blocks
    )


@pytest.mark.parametrize(
    ("text", "status"),
    [
        (CLEARED, "broken"),
        (RELEASED + repeated(6, "b4"), "broken"),
        (ALONE + repeated(6, "b4"), "broken"),
        (ROUTES_TOO + repeated(4, "b4"), "broken"),
        (ROUTES_TOO + repeated(6, "b4"), "proved"),
    ],
    ids=["no delay", "6 s in releases", "in place of 4", "4 s", "6 s beside 4"],
)
def test_w2_V_rules_C_sw3_under_a_train_that_is_lost(text: str, status: str) -> None:
    """W2 [V] rules, and 49 CFR 236.309 [V]: "a loss of shunt of 5 seconds or less shall not
    release". Relays that read section 4 let go, or set the other route, when the train on it is
    not seen; unless all of them ask a slow repeater, too. In place of 4 it is not enough: it
    drops a moment after a second train came, which S3 lets in behind one not seen on 5."""
    assert told(text, "loss-of-shunt: SW3") == {"loss-of-shunt: SW3": status}


# ------------------------------------------------------------------ the yard, at its block B

# R1 L A B C, R6 C B A L, R2 and R7 as far as D.
YARD = """
built as one program
edge West entering when R1 up or R2 up
edge C-end entering when R6 up
edge D-end entering when R7 up
block L, A, B, C, D
button Ask-1, Ask-2, Ask-6, Ask-7
lever B-lever positions normal, reverse
turnout Points-B in B
  thrown by B-lever
  locked while {lock}
track West = L | A | Points-B normal | C = C-end
track Points-B reverse | D = D-end
trains never reverse
relay R1
  picks when Ask-1 pressed and R2, R6, R7 down and L, A, B, C clear
  releases after A occupied then B occupied then L, A, B clear
relay R2
  picks when Ask-2 pressed and R1, R6, R7 down and L, A, B, D clear
  releases after A occupied then B occupied then L, A, B clear
relay R6
  picks when Ask-6 pressed and R1, R2, R7 down and L, A, B, C clear
  releases after B occupied then A occupied then C, B, A clear
relay R7
  picks when Ask-7 pressed and R1, R2, R6 down and L, A, B, D clear
  releases after B occupied then A occupied then D, B, A clear
signal From-L at L | A
  heads upper, lower
  Clear            when R1 up and Points-B normal and A, B, C clear
  Diverging-Clear  when R2 up and Points-B reverse and A, B, D clear
  Stop             otherwise
signal From-C at C | Points-B
  Clear  when R6 up and Points-B normal and B, A, L clear
  Stop   otherwise
signal From-D at D | Points-B
  Clear  when R7 up and Points-B reverse and B, A, L clear
  Stop   otherwise
"""
FORMED = "not all of From-L, From-C, From-D at stop or any of A, B occupied"


def yard(starts: str = "", lock: str = FORMED) -> str:
    return YARD.replace("{lock}", f"{lock}\n  {starts}" if starts else lock)


@start
def test_w1_V_events_C_formed_routes_keep_their_points(starts: str) -> None:
    """W1 [V] events: points of a route are set before it is formed, and [R] unsafe where "points
    of a route may be re-set after it is formed"; from every start."""
    key = "points-move-under-train: Points-B"
    assert told(yard(starts), key) == {key: "proved"}
    assert told(yard(starts, "A occupied"), key) == {key: "broken"}


@pytest.mark.parametrize(("slow", "status"), [(0, "broken"), (6, "proved")])
def test_w1_V_events_C_points_under_a_train_that_is_lost(slow: int, status: str) -> None:
    """W1 [V] events, in which every train is seen; and 49 CFR 236.309 [V], as above."""
    text = yard()
    if slow:
        text = yard(lock=f"{FORMED} or A-track down or B-track down") + repeated(slow, "A", "B")
    assert told(text, "loss-of-shunt: Points-B") == {"loss-of-shunt: Points-B": status}
