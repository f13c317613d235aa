"""The rule of the British Board of Trade, its first line: not over-locked.

Source: quoted in Reports of the Commissioners of the United States to the International
Exhibition held at Vienna, 1873, p. 492 [V] (forschung.tmw.at/library/content/pagetext/16589):
"while the signals are at danger, the points shall be free to move". The junctions are ours
[C]: a machine that locks everything is safe, and fails.
"""

import pytest

from tests.published.junctions import END_OF_SIDING, assert_proved, broken, verdict
from verifier import ExitCode

# One lever for the points, one for each signal, as in a mechanical machine.
LEVERS = """
lever 1, 2, 3, 4 positions normal, pulled
assume "rods: the switch lies as its lever stands"
  always (1 normal and T lies normal) or (1 pulled and T lies reverse)
"""
RULES = {
    "2E": "Clear when 2 pulled and T normal and OS, M clear\n"
    "Diverging-Clear when 2 pulled and T reverse and OS, S clear",
    "4W-M": "Clear when 3 pulled and OS, Single clear",
    "4W-S": "Clear when 4 pulled and OS, Single clear",
}
LOCKING = """
assume "locking: one signal lever at a time, 2 or 3"  never 2 pulled and 3 pulled
assume "locking: one signal lever at a time, 2 or 4"  never 2 pulled and 4 pulled
assume "locking: 3 locks 1 normal"                    never 3 pulled and 1 pulled
assume "locking: 4 locks 1 pulled"                    never 4 pulled and 1 normal
"""
ROUTES = ("2E to Main-East", "2E to Siding-East", "4W-M to Quarry", "4W-S to Quarry")
AT_DANGER = "2E, 4W-M, 4W-S at stop"
FREE = "\n".join(
    f'prove "points free to lie {position}" possible {AT_DANGER} and T lies {position}'
    for position in ("normal", "reverse")
)


def test_board_of_trade_p492_V_points_free_while_signals_at_danger_safe() -> None:
    """p. 492, line 1 [V]: with just the locking needed all is proved, the points are free
    while the signals are at danger, and every route can be used."""
    assert_proved(END_OF_SIDING.prove(RULES, LEVERS + LOCKING + FREE))


@pytest.mark.parametrize(
    ("lock", "lost_routes", "lost_aspects", "free"),
    [
        (
            'assume "locking: the switch lever for good" never 1 pulled',
            {"2E to Siding-East", "4W-S to Quarry"},
            {"2E, Diverging-Clear", "4W-S, Clear"},
            {"normal"},
        ),
        (
            'assume "locking: 2 locks 1 normal" never 2 pulled and 1 pulled',
            {"2E to Siding-East"},
            {"2E, Diverging-Clear"},
            {"normal", "reverse"},
        ),
        (
            'assume "locking: every signal lever" always 2, 3, 4 normal',
            set(ROUTES),
            {"2E, Clear", "2E, Diverging-Clear", "4W-M, Clear", "4W-S, Clear"},
            {"normal", "reverse"},
        ),
    ],
    ids=["switch-locked-for-good", "one-route-locked-out", "every-signal-locked"],
)
def test_board_of_trade_p492_V_over_locked_fails(
    lock: str, lost_routes: set[str], lost_aspects: set[str], free: set[str]
) -> None:
    """p. 492, line 1 [V]: over-locked. Nothing dangerous is left, and yet the file fails:
    exactly the routes and aspects that the lock takes away are found."""
    report = END_OF_SIDING.prove(RULES, LEVERS + LOCKING + FREE + "\n" + lock)
    own = {
        f"points free to lie {position}: 2E, 4W-M, 4W-S, T"
        for position in {"normal", "reverse"} - free
    }
    assert broken(report) == {
        *(f"route-never-clears: {route}" for route in lost_routes),
        *(f"never-shown: {shown}" for shown in lost_aspects),
        *own,
    }
    assert report.exit_code == ExitCode.BROKEN
    for route in lost_routes:
        found = verdict(report, f"route-never-clears: {route}")
        assert found.finding is None  # no situation to draw: that there is none is the trouble
        title = lock.split('"')[1]
        assert title in found.rests_on


def test_board_of_trade_p492_V_signals_that_never_clear_fail() -> None:
    """p. 492, line 1 [V]: a junction without levers whose rules lock every signal at stop."""
    over_locked = {
        signal: lines.replace("2 pulled", "T moving").replace("3 pulled", "T reverse and T normal")
        .replace("4 pulled", "OS occupied")
        for signal, lines in RULES.items()
    }  # fmt: skip
    report = END_OF_SIDING.prove(over_locked)
    assert {key for key in broken(report) if key.startswith("route-never-clears")} == {
        f"route-never-clears: {route}" for route in ROUTES
    }
    kinds = {key.split(":")[0] for key in broken(report)}
    assert kinds == {"route-never-clears", "never-shown"}
