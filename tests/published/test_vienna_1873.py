"""A double-track junction with a flat crossing: the locking table printed in 1873.

Source: Reports of the Commissioners of the United States to the International Exhibition
held at Vienna, 1873 (Washington), pp. 494-495, "complete locking table" [V]; read at
forschung.tmw.at/library/content/pagetext/16591 and 16592. The split of the printed cells
by rows, the home and distance labels of the levers, the conflict matrix and the number of
admissible sets are ours [C]. That a distance signal follows its home signal is from T. C.
Clarke and others, The American Railway (1889) [V-cut].
"""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations, product

import pytest

import verifier
from tests.published.junctions import (
    admissible,
    aspects,
    assert_broken,
    broken,
    conflict_pairs,
    verdict,
)
from verifier import Report
from verifier.plan.model import Plan

# Up runs from right to left, down from left to right; the branch lies on the down side, so
# branch up crosses main down. Levers 7 and 8 work the two arms of one post, Home-78.
JUNCTION = """
layout "Fernhook junction"
edge Main-Up-In, Branch-Up-In, Down-In entering only
edge Up-Out, Main-Down-Out, Branch-Down-Out leaving only
block Main-Up-Far, Main-Up, Branch-Up-Far, Branch-Up, Down-Far, Down
block Points-5, Points-6, Diamond, Up, Main-Down, Branch-Down
turnout Switch-5 in Points-5
turnout Switch-6 in Points-6
crossing X in Diamond
track Up-Out = Up | Switch-5 normal  | Main-Up | Main-Up-Far = Main-Up-In
track             Switch-5 reverse | across X | Branch-Up | Branch-Up-Far = Branch-Up-In
track Down-In = Down-Far | Down | Switch-6 normal | Branch-Down = Branch-Down-Out
track             Switch-6 reverse | along X | Main-Down = Main-Down-Out
interlocking limits Plant is Distance-1, Distance-2, Distance-9
lever 1, 2, 3, 4, 5, 6, 7, 8, 9 positions normal, pulled

signal Distance-2 at Main-Up-Far   | Main-Up    Clear when 2 pulled  Stop otherwise
signal Distance-1 at Branch-Up-Far | Branch-Up  Clear when 1 pulled  Stop otherwise
signal Distance-9 at Down-Far      | Down       Clear when 9 pulled  Stop otherwise
signal Home-3  at Main-Up   | Switch-5          Clear when 3 pulled  Stop otherwise
signal Home-4  at Branch-Up | X                 Clear when 4 pulled  Stop otherwise
signal Home-78 at Down | Switch-6  heads seven, eight
head Home-78.seven  green when 7 pulled  red otherwise
head Home-78.eight  green when 8 pulled  red otherwise

assume "rods: switch 5 lies as its lever stands"
  always (5 normal and Switch-5 lies normal) or (5 pulled and Switch-5 lies reverse)
assume "rods: switch 6 lies as its lever stands"
  always (6 normal and Switch-6 lies normal) or (6 pulled and Switch-6 lies reverse)
waive proceed-into-occupied because "1873: the telegraph keeps trains apart, not this machine"
"""

ROUTES = {
    "MU": "Home-3 to Up-Out",
    "MD": "Home-78 to Main-Down-Out",
    "BU": "Home-4 to Up-Out",
    "BD": "Home-78 to Branch-Down-Out",
}


@dataclass(frozen=True)
class Lock:
    """One printed entry: with ``home`` pulled, ``lever`` cannot come to ``position``."""

    row: str
    home: int
    lever: int
    position: str = "pulled"

    @property
    def name(self) -> str:
        return f"{self.row}: {self.lever} cannot be {self.position}"

    @property
    def text(self) -> str:
        condition = f"{self.home} pulled and {self.lever} {self.position}"
        return f'assume "locking, {self.name}" never {condition}'


# The printed table, one entry each.
TABLE = (
    Lock("MU", 3, 5), Lock("MU", 3, 1), Lock("MU", 3, 4),
    Lock("MD", 8, 1), Lock("MD", 8, 4), Lock("MD", 8, 7), Lock("MD", 8, 5),
    Lock("MD", 8, 6, "normal"),
    Lock("BU", 4, 2), Lock("BU", 4, 3), Lock("BU", 4, 8), Lock("BU", 4, 5, "normal"),
    Lock("BU", 4, 6),
    Lock("BD", 7, 6),
)  # fmt: skip
# Clarke, 1889: "lever 2 when normal locks lever 1 normal": the home first, then the distance.
DISTANCE_AFTER_HOME = """
assume "distance 2 after home 3" never 2 pulled and 3 normal
assume "distance 1 after home 4" never 1 pulled and 4 normal
assume "distance 9 after home 7 or 8" never 9 pulled and 7 normal and 8 normal
"""
# "All Main Down / Branch Up locking": levers 6 and 8 against 1, 4 and 5.
DOWN_AGAINST_BRANCH_UP = tuple(
    lock
    for lock in TABLE
    if (lock.row, lock.lever) in {("MD", 1), ("MD", 4), ("MD", 5), ("BU", 8), ("BU", 6)}
)
LOCKED_BY_THE_MACHINE = {
    "converging-proceeds", "crossing-proceeds", "proceed-over-open-points",
    "aspect-against-route", "approach-untruthful", "aspect-not-listed",
}  # fmt: skip


def machine(
    locks: Iterable[Lock] = TABLE, extra: str = DISTANCE_AFTER_HOME, junction: str = JUNCTION
) -> Plan:
    text = "\n".join([junction, *(lock.text for lock in locks), extra])
    return verifier.load_text(text)


def without(*gone: Lock) -> Report:
    """What the machine answers for, with some entries of the table deleted."""
    plan = machine(lock for lock in TABLE if lock not in gone)
    return verifier.prove(plan, only=LOCKED_BY_THE_MACHINE)


@pytest.fixture(scope="module")
def whole_table() -> Report:
    return verifier.prove(machine())


# ------------------------------------------------------------------ from geometry alone


def test_vienna_1873_pp494_495_V_C_conflicts_from_geometry() -> None:
    """pp. 494-495 [V], matrix [C]: exactly three conflicting pairs, none of them opposing;
    the locking is not looked at."""
    plan = machine(locks=(), extra="")
    mu, md, bu, bd = ROUTES.values()
    assert conflict_pairs(plan) == {
        frozenset((mu, bu)): {"converging"},
        frozenset((md, bu)): {"crossing"},
        frozenset((md, bd)): {"diverging"},
    }
    places = {frozenset((c.first.name, c.second.name)): c.place for c in plan.conflicts}
    assert places[frozenset((mu, bu))] == "Switch-5"
    assert places[frozenset((md, bu))] == "X"
    assert set(ROUTES.values()) | {
        "Distance-1 to Home-4", "Distance-2 to Home-3", "Distance-9 to Home-78"
    } == {route.name for route in plan.routes}  # fmt: skip


def test_vienna_1873_pp494_495_C_eight_of_sixteen_sets_admissible() -> None:
    """pp. 494-495, count [C]: none, four singles, MU+MD, MU+BD, BU+BD."""
    assert admissible(ROUTES, machine(locks=(), extra="")) == {
        frozenset(group)
        for group in ((), ("MU",), ("MD",), ("BU",), ("BD",), ("MU", "MD"), ("MU", "BD"),
                      ("BU", "BD"))
    }  # fmt: skip


# ------------------------------------------------------------------ the machine


def test_vienna_1873_pp494_495_V_whole_table_safe(whole_table: Report) -> None:
    """pp. 494-495 [V]: with the whole printed table everything that the machine answers for
    is proved, and every signal can be lowered."""
    report = whole_table
    assert broken(report) == set()
    assert not any(v.status == "undecided" for v in report.verdicts)
    assert report.exit_code == verifier.ExitCode.AS_EXPECTED
    asked = {v.obligation.property for v in report.verdicts}
    assert asked >= LOCKED_BY_THE_MACHINE
    assert "opposing-proceeds" not in asked  # double track: a current of traffic each way
    assert {v.obligation.key for v in report.verdicts if v.status == "waived"} == {
        v.obligation.key
        for v in report.verdicts
        if v.obligation.property == "proceed-into-occupied"
    }


def test_vienna_1873_pp494_495_V_proof_rests_on_the_table(whole_table: Report) -> None:
    """pp. 494-495 [V]: the crossing is guarded by main down against branch up, and by nothing
    else; the verdict names entries of the table as what it rests on."""
    found = verdict(whole_table, "crossing-proceeds: Home-4, Home-78")
    rows = {title.removeprefix("locking, ") for title in found.rests_on if "locking" in title}
    assert rows & {lock.name for lock in DOWN_AGAINST_BRANCH_UP}


def test_vienna_1873_pp494_495_C_lever_positions_allow_the_eight_sets() -> None:
    """pp. 494-495, count [C]: of all 512 positions of the nine levers, those the table allows
    lower the signals for exactly the eight admissible sets, each of them in some position."""
    plan = machine()
    sets = set()
    for positions in product(("normal", "pulled"), repeat=9):
        levers = dict(zip(range(1, 10), positions, strict=True))
        if any(levers[lk.home] == "pulled" and levers[lk.lever] == lk.position for lk in TABLE):
            continue
        facts = {str(n): state for n, state in levers.items()}
        facts |= {f"Switch-{n}": "reverse" for n in (5, 6) if levers[n] == "pulled"}
        shown = aspects(plan, facts, "Home-3", "Home-4", "Home-78")
        down = {"Clear": "BD", "Diverging-Clear": "MD"}.get(shown["Home-78"], "")
        up = [s for s, home in (("MU", "Home-3"), ("BU", "Home-4")) if shown[home] == "Clear"]
        sets.add(frozenset([*up, *([down] if down else [])]))
    assert sets == admissible(ROUTES, plan)


def test_vienna_1873_pp494_495_V_all_main_down_branch_up_locking_deleted_unsafe() -> None:
    """pp. 494-495 [V]: without the locking of levers 6 and 8 against 1, 4 and 5, main down
    and branch up meet at the crossing."""
    report = without(*DOWN_AGAINST_BRANCH_UP)
    assert broken(report) == {"crossing-proceeds: Home-4, Home-78"}
    assert_broken(
        report,
        "crossing-proceeds: Home-4, Home-78",
        {"Switch-5": "reverse", "Switch-6": "reverse"}
        | dict.fromkeys(("4", "5", "6", "8"), "pulled"),
        {"Home-4": "Clear", "Home-78": "Diverging-Clear", "Home-3": "Stop"},
    )
    obligation = verdict(report, "crossing-proceeds: Home-4, Home-78").obligation
    assert obligation.place == "X"
    assert {route.name for route in obligation.routes} == {ROUTES["MD"], ROUTES["BU"]}


# What keeps main down and branch up apart: 8 against 4 (printed in both rows), 8 against 5
# pulled, 4 against 6 pulled. Entry 8 against 1 is about a distance signal.
_GROUPS = {
    "8-4": tuple(lk for lk in TABLE if {lk.home, lk.lever} == {8, 4}),
    "8-5": tuple(lk for lk in TABLE if (lk.home, lk.lever, lk.position) == (8, 5, "pulled")),
    "4-6": tuple(lk for lk in TABLE if (lk.home, lk.lever, lk.position) == (4, 6, "pulled")),
}


@pytest.mark.parametrize(
    "gone",
    [names for n in range(4) for names in combinations(_GROUPS, n)],
    ids=lambda names: " and ".join(names) or "none",
)
def test_vienna_1873_pp494_495_C_redundant_locks_deleted(gone: tuple[str, ...]) -> None:
    """pp. 494-495 [V] table, verdicts [C]: any one of the three kinds of lock is enough, since
    4 needs 5 pulled and 8 needs 6 pulled; only with all three gone is the crossing unsafe."""
    locks = [lock for name in gone for lock in _GROUPS[name]]
    plan = machine(lock for lock in TABLE if lock not in locks)
    report = verifier.prove(plan, only=("crossing-proceeds",))
    expected = "broken" if len(gone) == 3 else "proved"
    assert verdict(report, "crossing-proceeds: Home-4, Home-78").status == expected


# Deleting one printed entry alone. Four matter: those that hold the switches for a home
# signal. The ten others are redundant: two rows print the same lock (3 and 4, 8 and 4), the
# switch levers already keep the homes apart, or a distance lever is held by its home lever.
MATTERS = {
    "MU: 5 cannot be pulled": {"proceed-over-open-points: Home-3, Switch-5"},
    "MD: 6 cannot be normal": {"aspect-against-route: Home-78"},
    "BU: 5 cannot be normal": {"proceed-over-open-points: Home-4, Switch-5"},
    "BD: 6 cannot be pulled": {"aspect-against-route: Home-78"},
}


@pytest.mark.parametrize("gone", TABLE, ids=lambda lock: lock.name)
def test_vienna_1873_pp494_495_V_C_one_entry_deleted(gone: Lock) -> None:
    """pp. 494-495 [V] table, verdicts [C]: what really follows from deleting one entry."""
    assert broken(without(gone)) == MATTERS.get(gone.name, set())


def _blocked(report: Report) -> set[frozenset[str]]:
    """The pairs of routes that advice says can never be clear together."""
    return {
        frozenset(v.obligation.subjects)
        for v in report.verdicts
        if v.obligation.property == "compatible-routes-blocked" and v.status == "broken"
    }


def test_vienna_1873_pp494_495_V_C_printed_table_loses_no_move(whole_table: Report) -> None:
    """pp. 494-495 [V]: the printed table blocks no two routes that share no track."""
    assert _blocked(whole_table) == set()


def test_vienna_1873_pp494_495_V_footnote_lever_9_over_locked_safe_but_useless() -> None:
    """pp. 494-495, footnote [V]: "one would think that lever 9 in this case ought to be
    locked". Locked under branch up it is still safe, and branch up + branch down is lost.
    Arm 7 answers here to both levers that the table says to pull for branch down, 9 and 7."""
    both_levers = JUNCTION.replace("green when 7 pulled", "green when 7 pulled and 9 pulled")
    assert both_levers != JUNCTION
    right = verifier.prove(machine(junction=both_levers))
    over_locked = verifier.prove(machine((*TABLE, Lock("BU", 4, 9)), junction=both_levers))
    for report in (right, over_locked):
        assert broken(report) == set()
        assert report.exit_code == verifier.ExitCode.AS_EXPECTED
    assert _blocked(right) == set()
    assert _blocked(over_locked) == {frozenset((ROUTES["BU"], ROUTES["BD"]))}


# The printed column "pull forward": a train passes on a route with both its levers pulled.
PULL_FORWARD = {"MU": (2, 3), "MD": (9, 8), "BU": (1, 4), "BD": (9, 7)}


@pytest.mark.parametrize(
    "pair", list(combinations(PULL_FORWARD, 2)), ids=lambda pair: "+".join(pair)
)
@pytest.mark.parametrize("lever_9_locked", [False, True])
def test_vienna_1873_pp494_495_V_footnote_moves_possible_together(
    pair: tuple[str, str], lever_9_locked: bool
) -> None:
    """pp. 494-495 [V]: by the printed table two trains may pass on MU+MD, MU+BD and BU+BD,
    and on no other two routes; with lever 9 locked under branch up BU+BD is the one lost."""
    pulled = [f"{n} pulled" for row in pair for n in PULL_FORWARD[row]]
    homes = {"MU": "Home-3 proceeds", "BU": "Home-4 proceeds", "BD": "Home-78.seven green",
             "MD": "Home-78.eight green"}  # fmt: skip
    together = " and ".join([*pulled, *(homes[row] for row in pair)])
    locks = (*TABLE, Lock("BU", 4, 9)) if lever_9_locked else TABLE
    plan = machine(locks, DISTANCE_AFTER_HOME + f'prove "both at once" possible {together}')
    (found,) = verifier.prove(plan, only=("both at once",)).verdicts
    may = {("MU", "MD"), ("MU", "BD")} | (set() if lever_9_locked else {("BU", "BD")})
    assert found.status == ("proved" if pair in may else "broken")


def test_clarke_1889_V_cut_distance_before_home_unsafe() -> None:
    """T. C. Clarke and others, The American Railway (1889), interlocking [V-cut]: a distance
    signal is not lowered before its home signal. The table of 1873 alone prints no such
    lock; without it each distance signal can tell an untruth."""
    report = verifier.prove(machine(extra=""), only=LOCKED_BY_THE_MACHINE)
    assert broken(report) == {
        "approach-untruthful: Distance-1, Home-4",
        "approach-untruthful: Distance-2, Home-3",
        "approach-untruthful: Distance-9, Home-78",
    }
    assert_broken(
        report,
        "approach-untruthful: Distance-2, Home-3",
        {"2": "pulled"},
        {"Distance-2": "Clear", "Home-3": "Stop"},
    )


def test_clarke_1889_V_cut_distance_after_home_safe() -> None:
    """The same [V-cut] with "lever 2 when normal locks lever 1 normal" for each distance."""
    report = verifier.prove(machine(), only=("approach-untruthful",))
    assert [v.status for v in report.verdicts] == ["proved"] * 3
