"""Why a signal shows what it shows, as the report tells it."""

import verifier
from tests.decide.layouts import BROKEN
from verifier.explain.signal_causes import MAX_DEPTH, causes
from verifier.plan.model import Plan
from verifier.plan.situation import Situation
from verifier.reference.evaluator import Evaluator
from verifier.verdicts.causes import Cause


def told(cause: Cause, level: int = 0) -> list[str]:
    """The chain as indented lines."""
    lines = ["  " * level + cause.text]
    for reason in cause.because:
        lines += told(reason, level + 1)
    return lines


def why(plan: Plan, signal: str, **states: str) -> list[str]:
    by_name = {what.name: what for what in plan.inputs}
    situation = Situation.of((by_name[name], state) for name, state in states.items())
    (cause,) = causes(plan, Evaluator(plan), situation, (signal,))
    return told(cause)


def test_both_chains_of_a_finding() -> None:
    report = verifier.prove(verifier.load_text(BROKEN))
    finding = next(v.finding for v in report.verdicts if v.finding)
    assert finding is not None
    assert [told(cause) for cause in finding.causes] == [
        [
            "4L shows Clear (green over red)",
            "  T1 reports normal (it lies normal)",
            "  Switch reports clear (nothing stands there)",
            "  Main reports clear (nothing stands there)",
        ],
        [
            "4RA shows Clear (green)",
            "  T1 reports normal (it lies normal)",
            "  Switch reports clear (nothing stands there)",
            "  Single reports clear (nothing stands there)",
        ],
    ]
    line = finding.causes[0].span
    assert line is not None
    assert " ".join(line.text.split()) == "Clear when T1 normal and Switch, Main clear"


CHAIN = """
edge West, East
block A, B, C, Switch
turnout T1 in Switch
derail D1 on C toward T1
gate G1 on B
lever L positions left, right
button Call
track West = A | T1 normal | B = East
track T1 reverse | C = Bumper
bumper Bumper
condition Lined is T1 normal and D1 derailing
condition Ready is Lined and not (A occupied or T1 moving) and Lined
signal 1 at A | T1
  Clear when Ready and 2 at stop and (L right or Call pressed)
  Approach when not Ready and G1 open
  Stop otherwise
signal 2 at B | T1 heads up, low
head 2.up
  green when A clear and L left
  red otherwise
head 2.low
  yellow when 3 lunar
  red otherwise
signal 3 at C | T1
head 3
  lunar when 1 shows Stop and A occupied
  red otherwise
"""


def test_named_conditions_other_signals_and_levers() -> None:
    """Of what makes an `or` true one is enough; a named condition is explained once."""
    plan = verifier.load_text(CHAIN)
    assert why(plan, "1", L="right", Call="pressed") == [
        "1 shows Clear (green)",
        "  Ready holds",
        "    Lined holds",
        "      T1 reports normal (it lies normal)",
        "      D1 reports derailing (it lies derailing)",
        "    A reports clear (nothing stands there)",
        "    T1 reports normal (it lies normal)",
        "    Lined holds",
        "  2 shows Stop (red over red)",
        "    2.up is red",
        "      green is not shown",
        "        lever L stands right",
        "    2.low is red",
        "      yellow is not shown",
        "        3 shows Stop (red)",
        "          lunar is not shown",
        "            1 shows Clear (green)",
        "  lever L stands right",
    ]


def test_a_lone_head_with_a_name_has_the_lines_of_its_signal() -> None:
    """Also in a history, which names the line by which a signal let a train go."""
    named = CHAIN.replace("| T1\nhead 3\n", "| T1 heads top\nhead 3.top\n")
    assert named != CHAIN
    plan = verifier.load_text(named)
    assert why(plan, "3", T1="open", A="occupied") == [
        "3 shows Restricting (lunar)",
        "  1 shows Stop (red)",
        "    Clear is not shown",
        "      Ready does not hold",
        "        Lined does not hold",
        "          T1 reports moving (it lies open, between its ends)",
        "    Approach is not shown",
        "      G1 reports seated",
        "  A reports occupied (stock stands there)",
    ]
    assert why(plan, "3") == [
        "3 shows Stop (red)",
        "  lunar is not shown",
        "    A reports clear (nothing stands there)",
    ]
    text = """
edge West, East
block A, B
track West = A | B = East
signal 2 at A | B heads top
head 2.top
  green when B occupied
  red otherwise
trains obey signals
"""
    report = verifier.prove(verifier.load_text(text))
    finding = next(v.finding for v in report.verdicts if v.finding and v.finding.story)
    assert finding is not None
    assert finding.story is not None
    said = [event.text for event in finding.story.events]
    assert said[-1].endswith("`green when …` of 2 (line 7)")


def test_what_is_false_is_explained_by_what_makes_it_so() -> None:
    plan = verifier.load_text(CHAIN)
    assert why(plan, "1", T1="open", G1="open") == [
        "1 shows Approach (yellow)",
        "  Ready does not hold",
        "    Lined does not hold",
        "      T1 reports moving (it lies open, between its ends)",
        "  G1 reports open",
    ]


def test_otherwise_is_explained_by_the_lines_before() -> None:
    plan = verifier.load_text(CHAIN)
    assert why(plan, "1", A="occupied") == [
        "1 shows Stop (red)",
        "  Clear is not shown",
        "    Ready does not hold",
        "      A reports occupied (stock stands there)",
        "  Approach is not shown",
        "    G1 reports seated",
    ]


def test_long_chains_are_cut_and_doubled_ones_do_not_double() -> None:
    doubled = ["condition C0 is T1 normal"]
    doubled += [f"condition C{i} is C{i - 1} and (Main clear or C0) and C{i - 1}"
                for i in range(1, 60)]  # fmt: skip
    text = BROKEN.replace("T1 normal  and Switch, Main clear", "C59 and Switch, Main clear")
    plan = verifier.load_text(text + "\n".join(doubled))
    lines = why(plan, "4L")
    assert len(lines) < 40
    deepest = max(len(line) - len(line.lstrip()) for line in lines) // 2
    assert deepest <= MAX_DEPTH + 1


def test_signals_all_round_an_oval_are_told_once() -> None:
    count = 12
    text = ["block " + ", ".join(f"B{i}" for i in range(count))]
    text.append("track " + " ".join(f"B{i} |(g{i})" for i in range(count)) + " B0")
    for i in range(count):
        at, following = f"B{(i - 1) % count} |(g{(i - 1) % count}) B{i}", (i + 1) % count
        text.append(
            f"signal S{i} at {at} Clear when B{i} clear and S{following} proceeds "
            f"Approach when B{i} clear and S{following} at stop Stop otherwise"
        )
    plan = verifier.load_text("\n".join(text))
    lines = why(plan, "S0")
    assert lines[0] == "S0 shows Clear (green)"
    assert sum("shows" in line for line in lines) == MAX_DEPTH + 1
