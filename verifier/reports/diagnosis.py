"""What is wrong on the bench, for people (terminal lines) and for programs (JSON).

In: a :class:`~verifier.diagnosis.diagnose.Diagnosis`. The JSON's schema is published beside
this file, ``diagnosis.schema.json``.
"""

from collections.abc import Iterable, Iterator, Sequence
from string import ascii_uppercase
from textwrap import wrap

from verifier import __version__
from verifier.diagnosis.bench import Colors, Setup
from verifier.diagnosis.diagnose import MOST_TOGETHER, AmbiguityGroup, Diagnosis
from verifier.diagnosis.observations import Observation, Sight
from verifier.diagnosis.suspects import Suspect, Suspects
from verifier.diagnosis.test_selection import NextTest, TestOutcome
from verifier.language.listing import several
from verifier.plan.model import Plan, Signal
from verifier.plan.observables import UNLISTED
from verifier.reports.ink import Ink
from verifier.reports.json_parts import Json, place_json
from verifier.verdicts.exit_codes import ExitCode

SCHEMA_VERSION = 1
SHOWN_EXPLANATIONS = 10
# Of more looks than these, those as with nothing wrong are only counted.
ALL_SEEN = 8
SHOWN_NAMES = 6


_SURE = (
    "Current divides between the feeders of a block, so that a locomotive may be seen, or not, "
    "with one of them past its detector. The sure test: track power off, open the leads that pass "
    "through the detector, power on. The rails of its block must be dead at every feeder."
)


def exit_code(found: Diagnosis) -> ExitCode:
    """Nothing wrong, something wrong, or given up."""
    if found.verdict == "nothing wrong":
        return ExitCode.AS_EXPECTED
    given_up = found.verdict == "unexplained" and found.cut_short
    return ExitCode.UNDECIDED if given_up else ExitCode.BROKEN


# ------------------------------------------------------------------ for people


def diagnosis_lines(found: Diagnosis, ink: Ink) -> Iterator[str]:
    """What was seen, what explains it, and the next test."""
    yield ink.paint(found.plan.title, "strong") + ink.paint(f"   {found.plan.source.name}", "quiet")
    yield from _seen(found, ink)
    yield ""
    match found.verdict:
        case "nothing wrong":
            yield from _nothing_wrong(found, ink)
        case "explained":
            yield from _explained(found, ink)
        case _:
            yield from _unexplained(found, ink)


def _seen(found: Diagnosis, ink: Ink) -> Iterator[str]:
    pairs = list(zip(found.observations, found.expected, strict=True))
    shown = pairs
    if len(pairs) > ALL_SEEN:
        shown = [pair for pair in pairs if not _as_due(*pair)]
        yield f"   {len(pairs)} looks; {len(pairs) - len(shown)} of them as with nothing wrong."
    for number, (observation, expected) in enumerate(shown, start=1):
        yield f"   {number}. {observation.text}"
        for seen, due in zip(observation.sights, expected, strict=True):
            if not due.colors:
                what = _lying(observation, found.plan)
                yield "      " + ink.paint(f"with nothing wrong {what} could not lie so", "bad")
                break
            if not seen.colors & due.colors:
                said = _any_of(due.signal, due.colors, found.plan)
                yield "      " + ink.paint(f"with nothing wrong: {due.signal} {said}", "bad")
    if found.followed:
        return  # the card says what else is so
    yield from _paragraph(
        f"Track not mentioned is taken as vacant, {_usually(found.plan)}, levers and "
        "buttons as left in their usual position.", ink,
    )  # fmt: skip
    memory = [w for w in found.plan.inputs if w.kind in ("relay", "timer", "traffic")]
    if memory:
        usual = dict.fromkeys(f"{_KINDS[w.kind]} as {w.usual}" for w in memory)
        yield from _paragraph(
            f"Memory does not follow from that: {', '.join(usual)} unless you say so. Give their "
            f"states (`{memory[0].kind} {memory[0].name} "
            f"{memory[0].values[1]}`), or go by the test card (`clearproof sheet "
            f"{found.plan.source.name} test-card`), which is followed step by step.", ink,
        )  # fmt: skip


_KINDS = {"relay": "relays", "timer": "timers", "traffic": "directions of traffic"}


def _as_due(observation: Observation, expected: Iterable[Sight]) -> bool:
    """Whether all that was seen can be seen with nothing wrong."""
    return all(
        seen.colors & due.colors
        for seen, due in zip(observation.sights, expected, strict=True)
    ) and not any(
        dict(observation.setup.told).get(turnout, state) != state
        for turnout, state in observation.setup.lies
    )  # fmt: skip


def _lying(observation: Observation, plan: Plan) -> str:
    """What was seen to lie, in general: ``points``, ``derails and gates``."""
    seen = dict(observation.setup.lies)
    kinds = {"points": seen.keys() - plan.derails.keys() - plan.gates.keys(),
             "derails": seen.keys() & plan.derails.keys(),
             "gates": seen.keys() & plan.gates.keys()}  # fmt: skip
    return " and ".join(kind for kind, names in kinds.items() if names) or "points"


def _usually(plan: Plan) -> str:
    """How what is not mentioned is taken to lie."""
    derails = ", derails as derailing" if plan.derails else ""
    gates = ", gates as seated" if plan.gates else ""
    return f"points not mentioned as normal{derails}{gates}"


def _explained(found: Diagnosis, ink: Ink) -> Iterator[str]:
    size = len(found.groups[0].members[0])
    together = "one thing wrong" if size == 1 else f"{_number(size)} things wrong together"
    count = found.explanations
    yield ink.paint(
        f"{several(count, 'explanation')}, of {together}, the likelier first "
        f"({found.looked_at} single faults and wiring mistakes were tried):", "strong",
    )  # fmt: skip
    for letter, group in zip(ascii_uppercase, found.groups[:SHOWN_EXPLANATIONS], strict=False):
        yield from _explanation(f"{letter}.", group, found.tests, ink)
    rest = count - sum(len(group.members) for group in found.groups[:SHOWN_EXPLANATIONS])
    if rest:
        yield f"   … and {rest} further."
    if found.cut_short:
        yield from _paragraph("There may be more: not everything was tried.", ink)
    named = [m for group in found.groups[:SHOWN_EXPLANATIONS] for m in group.members]
    if any(suspect.divides_current for members in named for suspect in members):
        yield from _paragraph(_SURE, ink)
    yield ""
    if found.next_test is None:
        alone = (
            "There is no other explanation among those tried."
            if found.explanations == 1
            else _no_test(found)
        )
        yield from _paragraph(alone, ink)
        return
    yield from _test(found, found.next_test, ink)


def _explanation(letter: str, group: AmbiguityGroup, tests: int, ink: Ink) -> Iterator[str]:
    lead = f"   {letter:<3}"
    for number, members in enumerate(group.members[:SHOWN_NAMES]):
        text = "; and ".join(_with_other_names(members))
        places = ", ".join(dict.fromkeys(suspect.span.where for suspect in members))
        yield f"{lead}{'or: ' if number else ''}{text}{ink.paint(f'   {places}', 'quiet')}"
        lead = "      "
    if len(group.members) > SHOWN_NAMES:
        yield f"      or {several(len(group.members) - SHOWN_NAMES, 'other')}"
    if len(group.members) > 1:
        why = (
            "These cannot be told apart by looking at signals (proved)."
            if group.proved
            else f"None of the {tests} tests tried, with one locomotive or none, tells these apart."
            if tests
            else "No test is left that tells these apart."
        )
        yield f"      {ink.paint(why, 'quiet')}"


def _with_other_names(members: Suspects) -> Iterator[str]:
    for suspect in members:
        yield suspect.text + "".join(f" (or: {other})" for other in suspect.also)


def _test(found: Diagnosis, test: NextTest, ink: Ink) -> Iterator[str]:
    yield from _paragraph(f"The next test: {_test_words(test, found.plan)}.", ink)
    for outcome in test.outcomes:
        said = _any_of(test.look, outcome.shows, found.plan)
        yield f"      {said}: {_letters(outcome, found)}"


def _letters(outcome: TestOutcome, found: Diagnosis) -> str:
    named = [n for n in outcome.groups if n is not None and n < SHOWN_EXPLANATIONS]
    more = len(outcome.groups) - len(named)
    letters = ", ".join(ascii_uppercase[n] for n in named)
    if not more:
        return letters
    return f"{letters} and {more} more" if letters else f"{more} of those not listed"


def _nothing_wrong(found: Diagnosis, ink: Ink) -> Iterator[str]:
    yield ink.paint("Nothing is wrong as far as seen: all of it is as the file says.", "good")
    if not found.looked_at:
        yield from _paragraph(_NO_WIRING, ink)
        return
    yield from _paragraph(
        f"Of {found.looked_at} single faults and wiring mistakes, {found.explanations} would not "
        "have shown in this.", ink,
    )  # fmt: skip
    test = found.next_test
    if test is None:
        yield from _paragraph(_no_test(found), ink)
        return
    usual = next((o for o in test.outcomes if None in o.groups), None)
    yield from _paragraph(
        f"The test that catches most of them: {_test_words(test, found.plan)}.", ink
    )
    if usual is not None:
        yield f"      {_any_of(test.look, usual.shows, found.plan)}: as it should be"
    for outcome in test.outcomes:
        if outcome is not usual:
            names = [
                _together(members)
                for n in outcome.groups
                if n is not None
                for members in found.groups[n].members
            ]
            said = _any_of(test.look, outcome.shows, found.plan)
            yield from _paragraph(f"{said}: {_some(names)}", ink, "      ")


def _unexplained(found: Diagnosis, ink: Ink) -> Iterator[str]:
    if found.followed:
        yield ink.paint(
            f"No one thing wrong explains this ({found.looked_at} were tried). Several together "
            "are not considered in a file with relays.", "unsure",
        )  # fmt: skip
    elif found.cut_short:
        yield ink.paint("No explanation was found before the search was cut short.", "unsure")
    else:
        yield ink.paint(
            f"Nothing of up to {_number(MOST_TOGETHER)} things wrong together explains this "
            f"({found.looked_at} single faults and wiring mistakes were tried).", "bad",
        )  # fmt: skip
    if not found.plan.wiring.given:
        yield from _paragraph(_NO_WIRING, ink)
    yield from _paragraph(
        "Look again at what contradicts the file, one observation at a time; see whether other "
        "stock stood on the track; and whether the file says what was really built.", ink,
    )  # fmt: skip


_NO_WIRING = (
    "The file says nothing of its wiring, so hardly anything can be wrong with it: write down "
    "feeders, detectors, contacts and drivers."
)


def _no_test(found: Diagnosis) -> str:
    if not found.tests:
        return "No test is left that has not been done."
    what = "shows any of these" if found.verdict == "nothing wrong" else "tells them apart"
    return f"None of the {found.tests} tests tried, with one locomotive or none, {what}."


def _some(names: Sequence[str]) -> str:
    shown = "; ".join(names[:SHOWN_NAMES])
    more = len(names) - SHOWN_NAMES
    return f"{shown}; or {several(more, 'other')}" if more > 0 else shown


def _together(members: Suspects) -> str:
    return "; and ".join(suspect.text for suspect in members)


def _number(number: int) -> str:
    return ("no", "one", "two", "three")[number]


def _paragraph(text: str, ink: Ink, indent: str = "   ") -> Iterator[str]:
    yield from wrap(
        text, width=ink.width, initial_indent=indent, subsequent_indent=indent,
        break_long_words=False, break_on_hyphens=False,
    )  # fmt: skip


# ------------------------------------------------------------------ words


def setup_words(setup: Setup, plan: Plan) -> str:
    """A setup as it could be typed: ``locomotive at m1, T1 thrown reverse, lever 4 left``."""
    said = [_stands(block, places, plan) for block, places in setup.stands]
    said += [f"{name} thrown {state}" for name, state in setup.told]
    said += [f"{name} {state}" for name, state in setup.lies]
    said += [
        f"{what.kind} {what.name} {state}" for what, state in setup.facts if state != what.usual
    ]
    return ", ".join(said) or "everything as usual"


def _stands(block: str, places: Sequence[str], plan: Plan) -> str:
    every = plan.equipment.places.get(block, ())
    if len(places) > 1 or not every:
        return f"train on {block}"
    place = next(p for p in every if p.name == places[0])
    who = "locomotive" if place.draws or place.feeder is None else "cars"
    plain = place.name == f"at {place.feeder}"
    return f"{who} {place.name}" if plain else f"{who} on {block} {place.name}"


def _test_words(test: NextTest, plan: Plan) -> str:
    look = f"look at {test.look}" if test.look in plan.signals else f"look how {test.look} lies"
    return f"{test.words or setup_words(test.setup, plan)}; then {look}"


def _any_of(look: str, shows: Iterable[Colors], plan: Plan) -> str:
    """``green over red (Clear)``; for a turnout, how it lies."""
    if look not in plan.signals:
        return " or ".join(f"lies {state}" for (state,) in sorted(shows))
    signal = plan.signals[look]
    return " or ".join(_colors(colors, signal, plan) for colors in sorted(shows))


def _colors(colors: Colors, signal: Signal, plan: Plan) -> str:
    if set(colors) == {"dark"}:
        return "dark"
    name = plan.chart_of(signal).reading(colors)
    said = " over ".join(colors)
    return said if name == UNLISTED else f"{said} ({name})"


# ------------------------------------------------------------------ for programs


def diagnosis_json(found: Diagnosis) -> Json:
    """Everything found, all explanations that were told apart included."""
    return {
        "schema_version": SCHEMA_VERSION,
        "tool": {"name": "clearproof", "version": __version__},
        "exit_code": int(exit_code(found)),
        "file": found.plan.source.name,
        "title": found.plan.title,
        "verdict": found.verdict,
        "observations": [
            {
                "text": observation.text,
                "expected": [_shown(due.signal, due.colors) for due in expected],
            }
            for observation, expected in zip(found.observations, found.expected, strict=True)
        ],
        "tried": found.looked_at,
        "tests": found.tests,
        "cut_short": found.cut_short,
        "count": found.explanations,
        "explanations": [
            {
                "proved_alike": group.proved,
                "alternatives": [[_suspect(s) for s in members] for members in group.members],
            }
            for group in found.groups
        ],
        "next_test": _test_json(found.next_test, found.plan) if found.next_test else None,
    }


def _suspect(suspect: Suspect) -> Json:
    return {
        "kind": suspect.kind,
        "text": suspect.text,
        "also": list(suspect.also),
        "place": place_json(suspect.span),
    }


def _shown(look: str, colors: Iterable[Colors]) -> Json:
    return {"look": look, "shows": [list(shown) for shown in sorted(colors)]}


def _test_json(test: NextTest, plan: Plan) -> Json:
    return {
        "setup": test.words or setup_words(test.setup, plan),
        "look": test.look,
        "outcomes": [
            {
                **_shown(test.look, outcome.shows),
                "nothing_wrong": None in outcome.groups,
                "explanations": [number for number in outcome.groups if number is not None],
            }
            for outcome in test.outcomes
        ],
    }
