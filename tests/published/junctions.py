"""Junctions of the Otter Valley (an invented railroad) for the checks against published
sources: track and signal places here, the rules in each test, beside the source they follow.

Input: rules for each signal. Output: junction text. Also the assertions these tests share.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import verifier
from verifier import ExitCode, Report, Situation, Verdict
from verifier.plan.model import Plan


@dataclass(frozen=True)
class Junction:
    """``track``: all statements but the signals. ``signals``: where each stands."""

    track: str
    signals: Mapping[str, str] = field(default_factory=dict)

    def text(self, rules: Mapping[str, str] | None = None, extra: str = "") -> str:
        """The junction with the lines of each signal above ``Stop otherwise``."""
        rules = rules or {}
        assert set(rules) <= set(self.signals), "rules for a signal that is not there"
        written = [
            f"signal {name} {place}\n{rules.get(name, '')}\nStop otherwise"
            for name, place in self.signals.items()
        ]
        return "\n".join([self.track, *written, extra])

    def plan(self, rules: Mapping[str, str] | None = None, extra: str = "") -> Plan:
        return verifier.load_text(self.text(rules, extra))

    def prove(self, rules: Mapping[str, str] | None = None, extra: str = "") -> Report:
        return verifier.prove(self.plan(rules, extra))


# ------------------------------------------------------------------ assertions


def verdict(report: Report, key: str) -> Verdict:
    found = [v for v in report.verdicts if v.obligation.key == key]
    assert len(found) == 1, f"{key} is not among {[v.obligation.key for v in report.verdicts]}"
    return found[0]


def broken(report: Report) -> set[str]:
    """Keys of everything broken but advice."""
    return {
        v.obligation.key
        for v in report.verdicts
        if v.status == "broken" and not v.obligation.advice
    }


def assert_proved(report: Report) -> None:
    """Everything, advice included, is proved: no waiver, nothing undecided."""
    left = [(v.status, v.obligation.key) for v in report.verdicts if v.status != "proved"]
    assert left == []
    assert report.exit_code == ExitCode.AS_EXPECTED


def assert_broken(
    report: Report,
    key: str,
    facts: Mapping[str, str],
    shows: Mapping[str, str],
    matters: set[str] | None = None,
) -> None:
    """``key`` is broken, and the smallest situation is ``facts`` (all else as usual), in
    which the signals show ``shows``. ``matters``: exactly these things matter."""
    found = verdict(report, key)
    assert found.status == "broken" and found.fails
    assert report.exit_code == ExitCode.BROKEN
    finding = found.finding
    assert finding is not None and finding.smallest
    assert {what.name: state for what, state in finding.situation} == dict(facts)
    assert aspects(report.plan, facts, *shows) == dict(shows)
    if matters is not None:
        assert {what.name for what in finding.relevant} == matters


def aspects(plan: Plan, facts: Mapping[str, str], *signals: str) -> dict[str, str]:
    """What the signals show in a situation, by the evaluator."""
    by_name = {what.name: what for what in plan.inputs}
    situation = Situation.of((by_name[name], state) for name, state in facts.items())
    seen = verifier.evaluate(plan, situation)
    return {name: seen.aspect(plan.signals[name]) for name in signals or plan.signals}


def conflict_pairs(plan: Plan) -> dict[frozenset[str], set[str]]:
    """Pairs of conflicting routes, by name, and the ways in which they conflict."""
    pairs: dict[frozenset[str], set[str]] = {}
    for conflict in plan.conflicts:
        pair = frozenset((conflict.first.name, conflict.second.name))
        assert len(pair) == 2
        pairs.setdefault(pair, set()).add(conflict.kind)
    return pairs


def admissible(routes: Mapping[str, str], plan: Plan) -> set[frozenset[str]]:
    """Every set of routes in which no two conflict. ``routes``: our name for each route."""
    pairs = conflict_pairs(plan)
    sets: set[frozenset[str]] = {frozenset()}
    for short, name in routes.items():
        sets |= {
            group | {short}
            for group in sets
            if not any(frozenset((name, routes[other])) in pairs for other in group)
        }
    return sets


# ------------------------------------------------------------------ plain track, one way

# One long block of three sections (236.201).
THREE_SECTIONS = Junction(
    """
    edge West entering only
    edge East leaving only
    block Approach, A, B, C
    track West = Approach | A | B | C = East
    """,
    {"1R": "at Approach | A"},
)

# An approach signal and a home signal (236.310).
APPROACH_AND_HOME = Junction(
    """
    edge West entering only
    edge East leaving only
    block Far, Near, Station
    track West = Far | Near | Station = East
    """,
    {"2R": "at Far | Near", "4R": "at Near | Station"},
)

# Three automatic blocks in a row, the signal of each at its entrance.
AUTOMATIC_BLOCKS = Junction(
    """
    edge West entering only
    edge East leaving only
    block b0, b1, b2, b3
    track West = b0 | b1 | b2 | b3 = East
    """,
    {"S1": "at b0 | b1", "S2": "at b1 | b2", "S3": "at b2 | b3"},
)

# A lift-out section across the aisle (236.312).
LIFT_OUT = Junction(
    """
    edge West entering only
    edge East leaving only
    block Approach, Bridge, Beyond
    gate G1 on Bridge
    track West = Approach | Bridge | Beyond = East
    """,
    {"1R": "at Approach | Bridge"},
)

# Two signals that face each other over one track; what kind of track is said later.
_LEAD = """
    edge West, East
    block West-Yard, East-Yard
    {lead}
    track West = West-Yard | Lead | East-Yard = East
    """
_LEAD_SIGNALS = {"2R": "at West-Yard | Lead", "2L": "at East-Yard | Lead"}
SWITCHING_LEAD = Junction(_LEAD.format(lead="block Lead switching only"), _LEAD_SIGNALS)
MAIN_LEAD = Junction(_LEAD.format(lead="block Lead"), _LEAD_SIGNALS)

# ------------------------------------------------------------------ one turnout

# Facing points, both ways signaled (236.6, .13).
FACING = Junction(
    """
    edge West entering only
    edge East, Siding-Out leaving only
    block Approach, Switch, Main, Siding
    turnout T1 in Switch
    track West = Approach | T1 normal | Main = East
    track T1 reverse | Siding = Siding-Out
    """,
    {"2R": "at Approach | T1 heads upper, lower"},
)

# Facing points toward track without signals for it (236.13, .202).
FACING_DARK_SIDING = Junction(
    """
    edge West entering only
    edge East, Siding-Out leaving only
    block Approach, Switch, Main
    block Siding undetected
    turnout T1 in Switch
    track West = Approach | T1 normal | Main = East
    track T1 reverse | Siding = Siding-Out
    """,
    {"2R": "at Approach | T1"},
)

# An industry spur, its switch trailing, in the middle of a block (236.202, .205).
INDUSTRY_SPUR = Junction(
    """
    edge West entering only
    edge East leaving only
    bumper Spur-End
    block Approach, Head, Switch, Tail
    block Spur undetected
    turnout T1 in Switch
    derail D1 on Spur toward T1
    track West = Approach | Head | normal T1 | Tail = East
    track Spur-End = Spur | reverse T1
    """,
    {"1R": "at Approach | Head"},
)

# The end of siding of section 4.3 of the sources file.
_END_OF_SIDING = """
    edge Quarry, Main-East, Siding-East
    block Single, OS, M, S
    turnout T in OS
    {more}
    track Quarry = Single | T normal | M = Main-East
    track T reverse | S = Siding-East
    """
END_OF_SIDING = Junction(
    _END_OF_SIDING.format(more=""),
    {"2E": "at Single | T heads upper, lower", "4W-M": "at M | T", "4W-S": "at S | T"},
)
# The same with one entrance left without a signal (236.301).
UNSIGNALED_SIDING = Junction(
    END_OF_SIDING.track,
    {"2E": "at Single | T heads upper, lower", "4W-M": "at M | T"},
)
DERAIL_ON_SIDING = Junction(
    _END_OF_SIDING.format(more="derail D1 on S toward T").replace("M, S", "M\nblock S undetected"),
    {"2E": "at Single | T", "4W-M": "at M | T"},
)

# ------------------------------------------------------------------ more trackwork

# A trailing switch, then a facing one (236.303).
TWO_SWITCHES = Junction(
    """
    edge West entering only
    edge East, Branch-Out leaving only
    bumper Spur-End
    block Approach, First, Middle, Third, Main, Branch
    block Spur undetected
    turnout T1 in First
    turnout T3 in Third
    derail D1 on Spur toward T1
    track West = Approach | normal T1 | Middle | T3 normal | Main = East
    track Spur-End = Spur | reverse T1
    track T3 reverse | Branch = Branch-Out
    """,
    {"1R": "at Approach | T1 heads upper, lower"},
)

# A hand-operated trailing crossover between two main tracks (236.203).
HAND_CROSSOVER = Junction(
    """
    edge One-West, Two-East entering only
    edge One-East, Two-West leaving only
    block W1, OS-1, E1, W2, OS-2, E2, Between
    turnout T1 in OS-1
    turnout T2 in OS-2
    crossover K1 is T1, T2
    track One-West = W1 | normal T1 | E1 = One-East
    track Two-West = W2 | T2 normal | E2 = Two-East
    track T2 reverse | Between | reverse T1
    """,
    {"1R": "at W1 | T1", "2L": "at E2 | T2"},
)

# The crossover of section 4.3, both mains signaled both ways.
CROSSOVER = Junction(
    """
    edge One-West, One-East, Two-West, Two-East
    block W1, OS-1, E1, W2, OS-2, E2
    turnout X1 in OS-1
    turnout X2 in OS-2
    crossover X is X1, X2
    track One-West = W1 | X1 normal | E1 = One-East
    track Two-West = W2 | normal X2 | E2 = Two-East
    track X1 reverse | reverse X2
    """,
    {
        "1E": "at W1 | X1 heads upper, lower",
        "1W": "at E1 | X1",
        "2E": "at W2 | X2",
        "2W": "at E2 | X2 heads upper, lower",
    },
)

# The diamond of section 4.3, both tracks signaled both ways.
DIAMOND = Junction(
    """
    edge P-West, P-East, Q-North, Q-South
    block PW-Track, PE-Track, QN-Track, QS-Track, Diamond
    crossing X in Diamond
    track P-West = PW-Track | along X | PE-Track = P-East
    track Q-North = QN-Track | across X | QS-Track = Q-South
    """,
    {
        "PE": "at PW-Track | along X",
        "PW": "at PE-Track | along X",
        "QS": "at QN-Track | across X",
        "QN": "at QS-Track | across X",
    },
)

# An automatic diamond, each track with a current of traffic (236.311).
AUTOMATIC_DIAMOND = Junction(
    """
    edge West, North entering only
    edge East, South leaving only
    block X-Approach, Y-Approach, Diamond, X-Beyond, Y-Beyond
    crossing X1 in Diamond
    track West  = X-Approach | along X1  | X-Beyond = East
    track North = Y-Approach | across X1 | Y-Beyond = South
    """,
    {"X": "at X-Approach | X1", "Y": "at Y-Approach | X1"},
)

# Two tracks side by side that never meet (236.796).
PARALLEL = Junction(
    """
    edge One-West, Two-West entering only
    edge One-East, Two-East leaving only
    block W1, E1, W2, E2
    track One-West = W1 | E1 = One-East
    track Two-West = W2 | E2 = Two-East
    """,
    {"1R": "at W1 | E1", "2R": "at W2 | E2"},
)

# Two tracks that run together, nothing else (236.796).
CONVERGING = Junction(
    """
    edge Main-In, Branch-In entering only
    edge East leaving only
    block Main, Branch, Switch, Single
    turnout T1 in Switch
    track Main-In   = Main   | normal  T1 | Single = East
    track Branch-In = Branch | reverse T1
    """,
    {"2R": "at Main | T1", "4R": "at Branch | T1"},
)

# Two control points with single track between (236.404).
TWO_CONTROL_POINTS = Junction(
    """
    edge A-Main, A-Siding, B-Main, B-Siding
    block A1, A2, A-OS, Single, B-OS, B1, B2
    turnout TA in A-OS
    turnout TB in B-OS
    track A-Main   = A1 | normal  TA | Single | TB normal | B1 = B-Main
    track A-Siding = A2 | reverse TA
    track TB reverse | B2 = B-Siding
    """,
    {
        "AE1": "at A1 | TA",
        "AE2": "at A2 | TA",
        "AW": "at Single | TA heads upper, lower",
        "BE": "at Single | TB heads upper, lower",
        "BW1": "at B1 | TB",
        "BW2": "at B2 | TB",
    },
)

# A single-track crossing loop (W7.7).
CROSSING_LOOP = Junction(
    """
    edge West, East
    block W, One, A, B, Two, E
    turnout P1 in One
    turnout P2 in Two
    track West = W | P1 normal | A | normal P2 | E = East
    track P1 reverse | B | reverse P2
    """,
    {
        "Home-W": "at W | P1 heads upper, lower",
        "Home-E": "at E | P2 heads upper, lower",
        "AE": "at A | P2",
        "BE": "at B | P2",
        "AW": "at A | P1",
        "BW": "at B | P1",
    },
)

ALL = {name: value for name, value in globals().items() if isinstance(value, Junction)}
