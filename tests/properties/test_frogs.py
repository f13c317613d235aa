"""Live frogs (common practice, no source: feed a power-routing turnout from the points and cut
both rails beyond its frog; the leg that is not lined is dead)."""

import pytest

import verifier
from verifier.api import situation_of
from verifier.plan import observables

FILE = """
edge West
edge Main-East, Siding-East leaving only
trains 300 mm to 2 m
block A feeders a1
block Main feeders m1
block Siding feeders s1
block Switch {length} feeders {feeders}
lever T1-lever positions normal, reverse
turnout T1 in Switch
  {clauses}
  frog {frog}
{other}
track West = A | {track}
detector D current-sensing on Switch through {feeders}
prove "something" never train on A and A vacant
"""
ONE = "T1 normal {} Main = Main-East\ntrack T1 reverse {} Siding = Siding-East"
# A second turnout thrown by the same lever, its points turned toward those of T1.
BEYOND = (
    "T1 normal || Main = Main-East\n"
    "track T1 reverse | reverse T3 | Siding = Siding-East\ntrack Team-End = Team | normal T3"
)
OTHER = "edge Team-End\nblock Team\nblock Far feeders f1\nturnout T3 in Far {}"
SLOW = "thrown by T1-lever motor slow contacts normal, reverse"


def found(name: str, **parts: str) -> dict[str, str]:
    """Verdicts by subjects; proving compares the census too."""
    usual = {
        "length": "", "feeders": "w1", "clauses": "", "frog": "live by points", "other": "",
        "track": ONE.format("||", "||"),
    }  # fmt: skip
    plan = verifier.load_text(FILE.format(**{**usual, **parts}))
    verdicts = verifier.prove(plan, only=[name]).verdicts
    return {", ".join(v.obligation.subjects): v.status for v in verdicts}


@pytest.mark.parametrize(
    ("frog", "clauses", "other", "expected"),
    [
        ("dead", "", "", None),
        ("live by points", "", "", "proved"),
        ("live by contacts", "", "", "proved"),
        # A lever says nothing of points that a person may move; with a machine it does, at rest.
        ("live by lever T1-lever", "", "", "broken"),
        ("live by lever T1-lever", SLOW, "", "proved"),
        # … but not while they are locked.
        ("live by lever T1-lever", SLOW + " locked while Switch occupied", "", "broken"),
        # The other turnout may still be on its way.
        ("live by contacts of T3", SLOW, SLOW, "broken"),
    ],
)
def test_what_sets_a_frog_stands_as_its_points_lie(
    frog: str, clauses: str, other: str, expected: str | None
) -> None:
    more = OTHER.format(other) if other else ""
    track = BEYOND if other else ONE.format("||", "||")
    status = found("frog-shorts", frog=frog, clauses=clauses, other=more, track=track)
    assert status.get("T1") == expected


@pytest.mark.parametrize(
    ("track", "expected"),
    [
        (ONE.format("||", "||"), ("proved", "proved")),
        (ONE.format("|", "||"), ("broken", "proved")),
        (ONE.format("||", "|"), ("proved", "broken")),
        # More track of its own block, whose only feeder is on the side of the points.
        (ONE.format("= Switch ||", "||"), ("proved", "proved")),
        (ONE.format("= Switch |", "||"), ("broken", "proved")),
    ],
)
def test_both_rails_are_cut_before_any_feeder(track: str, expected: tuple[str, str]) -> None:
    status = found("frog-shorts", track=track)
    assert (status["T1, normal leg"], status["T1, reverse leg"]) == expected


def test_one_of_two_feeders_of_its_own_block_may_be_beyond_the_frog() -> None:
    status = found("frog-shorts", track=ONE.format("= Switch ||", "||"), feeders="w1, w2")
    assert (status["T1, normal leg"], status["T1, reverse leg"]) == ("broken", "proved")


def test_rails_that_lead_to_the_feeder_of_a_block_behind_another_turnout() -> None:
    status = found("frog-shorts", other=OTHER.format(""), track=BEYOND)
    assert (status["T1, normal leg"], status["T1, reverse leg"]) == ("proved", "broken")


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        ({}, ("broken", "broken")),
        ({"length": "299 mm"}, ("proved", "proved")),
        ({"length": "300 mm"}, ("broken", "broken")),
        ({"clauses": "gap normal 299 mm, reverse 300 mm"}, ("proved", "broken")),
        # More track of the block beyond the frog: its gap is not that beside the points.
        ({"clauses": "gap normal 100 mm, reverse 100 mm", "track": ONE.format("= Switch ||", "||")},
         ("broken", "proved")),
        ({"frog": "dead"}, (None, None)),
    ],
)  # fmt: skip
def test_dead_rails_are_shorter_than_the_shortest_train(
    parts: dict[str, str], expected: tuple[str | None, str | None]
) -> None:
    status = found("rail-dead", **parts)
    assert (status.get("T1, normal leg"), status.get("T1, reverse leg")) == expected


def test_gates_and_derails_with_contacts_have_no_frogs() -> None:
    text = (
        "edge West, East\nblock A, B\ntrack West = A | B = East\n"
        "gate G on B contacts seated\nderail D on A toward B contacts derailing\n"
        'prove "something" never train on A and A vacant\n'
    )
    for name in ("frog-shorts", "rail-dead"):
        assert not verifier.prove(verifier.load_text(text), only=[name]).verdicts


# ------------------------------------------------------------------ trains on dead rails

SEEN = """
edge West
edge Main-East, Siding-East leaving only
trains 300 mm to 2 m
block A feeders a1
block Main feeders m1
block Siding feeders s1
block Switch feeders w1, w2
turnout T1 in Switch
  contacts normal, reverse
  gap normal 150 mm, reverse 150 mm
  frog {frog}
track West = A | T1 normal || {stub} Main = Main-East
track T1 reverse || {other} Siding = Siding-East
detector D-Switch current-sensing on Switch through w1, w2
detector D-Main current-sensing through m1
detector D-Siding current-sensing through s1
signal 2 at A | T1
  heads upper, lower
  Clear            when T1 normal and Switch, Main clear
  Diverging-Clear  when T1 reverse and Switch, Siding clear {and_main}
  Stop             otherwise
"""


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        ({"frog": "dead"}, "proved"),
        # A train may foul the other leg with its wheels on dead rails, the rest of it on Main.
        ({"frog": "live by points"}, "broken"),
        ({"frog": "live by contacts"}, "broken"),
        # What reaches over the gap is seen there.
        ({"and_main": "and Main clear", "other": "Switch |"}, "proved"),
        ({"stub": "Switch |", "other": ""}, "broken"),
    ],
)
def test_a_train_on_dead_rails_is_not_seen(parts: dict[str, str], expected: str) -> None:
    usual = {"frog": "live by points", "stub": "", "other": "", "and_main": ""}
    plan = verifier.load_text(SEEN.format(**{**usual, **parts}))
    verdicts = verifier.prove(plan, only=["proceed-into-occupied"]).verdicts
    (found,) = [v for v in verdicts if v.obligation.subjects == ("2", "Switch")]
    assert found.status == expected
    if found.finding is not None:
        places = [state for what, state in found.finding.situation if what.kind == "standing"]
        assert any(place.startswith("beyond the frog of T1 on its ") for place in places)


def test_dead_rails_go_on_up_to_the_gap() -> None:
    """Not only to the joint beside the points, where their block goes on as dead."""
    text = (
        SEEN.format(frog="live by points", stub="", other="", and_main="")
        .replace("normal || ", "normal = Switch || ")
        .replace("reverse || ", "reverse = Switch || ")
        .replace("  gap normal 150 mm, reverse 150 mm\n", "")
        .replace("feeders w1, w2", "290 mm feeders w1")
        .replace("through w1, w2", "through w1")
    )
    verdicts = verifier.prove(verifier.load_text(text), only=["proceed-into-occupied"]).verdicts
    (found,) = [v for v in verdicts if v.obligation.subjects == ("2", "Switch")]
    assert found.finding is not None
    places = {what.name: state for what, state in found.finding.situation}
    assert places["Switch"].startswith("beyond the frog of T1") and "Siding" in places


def test_a_situation_may_say_that_a_train_is_on_dead_rails() -> None:
    plan = verifier.load_text(SEEN.format(frog="live by points", stub="", other="", and_main=""))
    for lies, reports in (("normal", "clear"), ("reverse", "occupied")):
        said = f"train on Switch beyond the frog of T1 on its reverse leg; T1 lies {lies}"
        seen = verifier.evaluate(plan, situation_of(plan, said))
        assert seen.states[observables.block_report("Switch")] == reports


def test_beyond_a_frog_without_power_a_train_is_not_seen_on_either_leg() -> None:
    plan = verifier.load_text(SEEN.format(frog="live by points", stub="", other="", and_main=""))
    for leg in ("normal", "reverse"):
        said = f"frog of T1 without power; train on Switch beyond the frog of T1 on its {leg}"
        seen = verifier.evaluate(plan, situation_of(plan, f"{said} leg; T1 lies {leg}"))
        assert seen.states[observables.block_report("Switch")] == "clear"
