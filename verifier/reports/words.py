"""Situations, counts and verdicts in words, shared by every report."""

from collections.abc import Iterable, Iterator, Sequence
from typing import Literal

from verifier.explain.state_text import fact_words
from verifier.language.listing import listing, several
from verifier.language.source import Span
from verifier.plan.locking.locking_model import Promise
from verifier.plan.minimality import count_situations
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation
from verifier.properties.catalog import BY_NAME, FAILURES
from verifier.properties.obligation import Obligation
from verifier.verdicts.exit_codes import ExitCode
from verifier.verdicts.grade import Grade
from verifier.verdicts.report import Finding, History, Report, SecondOpinion, Verdict

# How good something is, for whoever paints it: every word says the same without paint.
Style = Literal["good", "bad", "unsure", "quiet"]

STATUS_WORDS = {
    "proved": "proved",
    "broken": "BROKEN",
    "undecided": "undecided",
    "waived": "waived",
}

# Nobody reads a larger count.
MOST_COUNTED = 10_000_000

_STOCK = ("stock", "standing")


def inputs_of(plan: Plan) -> tuple[Observable, ...]:
    """All inputs of a situation: faults first, then truth and commands."""
    return (*(fault.what for fault in plan.equipment.faults), *plan.inputs)


def situation_words(plan: Plan, situation: Situation, relevant: Iterable[Observable]) -> str:
    """The facts that matter, the unusual ones first: ``T1 lies reverse; Main vacant``."""
    wanted = set(relevant)
    about = [what for what in inputs_of(plan) if what in wanted]
    unusual = [fact_words(plan, w, situation.state(w)) for w in about if w in situation.facts]
    vacant = [w.name for w in about if w.kind in _STOCK and w not in situation.facts]
    usual = [
        fact_words(plan, w, situation.state(w))
        for w in about
        if w.kind not in _STOCK and w not in situation.facts
    ]
    parts = unusual + usual
    if vacant:
        parts.append(f"{listing(vacant)} vacant")
    return "; ".join(parts) if parts else "any at all"


def covered_words(finding: Finding, report: Report) -> str:
    """How many situations one drawn situation stands for."""
    upto = "up to " if set(report.plan.assumptions).difference(report.always_true) else ""
    if finding.covered == 1:
        return "This is the only situation of its kind."
    return (
        f"Nothing else matters: this drawing stands for {upto}{count(finding.covered)} situations."
    )


def count(number: int) -> str:
    """A count for people: exact while it can be read."""
    return f"{number:,}" if number < MOST_COUNTED else f"more than {MOST_COUNTED:,}"


def tallies(verdicts: Iterable[Verdict]) -> dict[str, int]:
    """How many verdicts there are of each kind; expected and advice ones by themselves."""
    numbers = {
        "broken": 0, "undecided": 0, "known": 0, "expected": 0, "advice": 0, "waived": 0,
        "proved": 0,
    }  # fmt: skip
    for verdict in verdicts:
        if verdict.known:
            numbers["known"] += 1
        elif verdict.status == "broken" and verdict.expected:
            numbers["expected"] += 1
        elif verdict.obligation.advice and verdict.status == "broken":
            numbers["advice"] += 1
        else:
            numbers[verdict.status] += 1
    return numbers


_TALLY_WORDS = {
    "broken": "broken",
    "undecided": "undecided",
    "known": "broken as the baseline says",
    "expected": "broken as the file expects",
    "advice": "noted",
    "waived": "waived",
    "proved": "proved",
}


def tally_words(verdicts: Iterable[Verdict]) -> str:
    """``2 broken, 36 proved``."""
    numbers = tallies(verdicts)
    said = [f"{n} {_TALLY_WORDS[kind]}" for kind, n in numbers.items() if n]
    return ", ".join(said) or "no checks"


# ------------------------------------------------------------------ verdicts


def sentence(text: str) -> str:
    """``text`` as a sentence of its own. Names keep their letters: a single word is left alone."""
    return text[0].upper() + text[1:] + "." if text[0].islower() and " " in text else text + "."


def in_a_row(text: str) -> str:
    """A sentence that goes on after a colon."""
    return text[0].lower() + text[1:]


def kind_words(verdict: Verdict) -> tuple[str, Style]:
    """What a finding is: broken, expected, undecided, or a note."""
    if verdict.expected:
        return "expected", "good"
    if verdict.known:
        return "known", "unsure"
    if verdict.obligation.advice and verdict.status == "broken":
        return "note", "unsure"
    word = STATUS_WORDS[verdict.status]
    return word, "bad" if verdict.status == "broken" else "unsure"


def title_of(claim: str) -> str:
    """What a property proves, in a few words."""
    entry = BY_NAME.get(claim)
    return entry.title if entry else "your own property"


def by_property(verdicts: Iterable[Verdict]) -> dict[str, list[Verdict]]:
    """The verdicts of each property, in the order of the report."""
    groups: dict[str, list[Verdict]] = {}
    for verdict in verdicts:
        groups.setdefault(verdict.obligation.property, []).append(verdict)
    return groups


def status_of(verdicts: Sequence[Verdict]) -> tuple[str, Style]:
    """The worst status of a property's verdicts."""
    if any(v.fails for v in verdicts):
        return "BROKEN", "bad"
    if any(v.status == "undecided" for v in verdicts):
        return "undecided", "unsure"
    if any(v.known for v in verdicts):
        return "known", "unsure"
    if any(v.status == "broken" and v.expected for v in verdicts):
        return "expected", "good"
    if any(v.status == "broken" for v in verdicts):
        return "note", "unsure"
    if all(v.status == "waived" for v in verdicts):
        return "waived", "unsure"
    return "proved", "good"


def share_words(verdicts: Sequence[Verdict]) -> str:
    """``3`` when all are alike, else how many are not proved: ``2 of 7``."""
    odd = sum(1 for v in verdicts if v.status != "proved")
    return f"{odd} of {len(verdicts)}" if odd and odd < len(verdicts) else str(len(verdicts))


def checks_words(verdicts: Sequence[Verdict]) -> str:
    """``3 checks``, ``2 of 7 checks``."""
    plural = "s" if len(verdicts) != 1 else ""
    return f"{share_words(verdicts)} check{plural}"


def undecided_words(verdict: Verdict) -> str:
    return f"Not decided: {verdict.why}."


def routes_words(obligation: Obligation) -> str:
    """Two routes that conflict and where they meet; empty for anything else."""
    if len(obligation.routes) != 2 or obligation.mode != "never":
        return ""
    one, two = obligation.routes
    return f"Routes: {one.name}, and {two.name}; they meet at {obligation.place}."


def story_words(story: History) -> str:
    """``A history of 9 events, with 1 train``."""
    trains = several(story.trains, "train") if story.trains else "no train"
    return f"A history of {several(len(story.events), 'event')}, with {trains}"


def unfinished_words(finding: Finding) -> str:
    """That a situation, or a history, may not be the smallest; empty where it is."""
    if finding.smallest:
        return ""
    how = "small" if finding.story is None else "short"
    return f"(Time ran out: a {how}er one may exist.)"


# ------------------------------------------------------------------ the report as a whole


def told_findings(report: Report, *, lessons: bool, everything: bool) -> list[Verdict]:
    """The verdicts to show one by one: what is broken, then (``lessons``) what the file expects to
    be, then notes, then what is undecided. What is advice only is left to the failure table,
    unless ``everything`` is wanted; so is what follows from another finding."""
    wanted = [v for v in report.verdicts if v.fails]
    if lessons:
        wanted += [v for v in report.verdicts if v.status == "broken" and v.expected]
    wanted += [v for v in report.verdicts if v.status == "broken" and not (v.fails or v.expected)]
    wanted += [v for v in report.verdicts if v.status == "undecided" and not report.interrupted]
    if everything:
        return wanted
    told = {v.obligation.key for v in wanted}
    return [
        v for v in wanted
        if not _told_in_the_table(v) and report.follows.get(v.obligation.key) not in told
    ]  # fmt: skip


def follows_words(report: Report, verdict: Verdict) -> str:
    """What else the mistake behind a finding breaks; empty where that is nothing."""
    others = [key for key, root in report.follows.items() if root == verdict.obligation.key]
    return f"The same mistake also breaks {'; '.join(others)}." if others else ""


def _told_in_the_table(verdict: Verdict) -> bool:
    is_advice = verdict.obligation.advice and verdict.obligation.property in FAILURES
    return is_advice and verdict.status == "broken"


def outcome(report: Report) -> Style:
    """How a report ended, as a whole."""
    match report.exit_code:
        case ExitCode.BROKEN:
            return "bad"
        case ExitCode.AS_EXPECTED if report.grade is not Grade.NONE:
            return "good"
        case _:
            return "unsure"


def summary_words(report: Report) -> tuple[str, str]:
    """How many verdicts there are of each kind, and over what: ``36 proved``, ``, over all 64
    situations of this plan.``"""
    text = tally_words(report.verdicts)
    if report.stopped:
        return f"{text} ({report.stopped.brief})", "."
    situations = count_situations(report.plan.inputs)
    exact = f"all {situations:,} situations" if situations < MOST_COUNTED else "every situation"
    exact = "the only situation" if situations == 1 else exact
    histories = " and every history" if report.plan.locking.over_time else ""
    return text, f", over {exact}{histories} of this plan."


def promise_words(promise: Promise) -> str:
    """``Your crew promises not to throw T1 under a train.``"""
    return sentence(promise.title)


def second_words(second: SecondOpinion) -> str:
    """What a second solver said."""
    return f"{second.solver} confirmed {several(second.agreed, 'answer')} of z3."


# What stands before the promises that a crew could make.
PROMISES_LEAD = "Safe over time if your crew keeps these promises"


def promises_to_make(report: Report) -> list[str]:
    """With which everything over time is proved, of a file without locks that is broken: as a
    file writes them."""
    return [f"crew promises {promise.text}" for promise in report.promises]


def mend_words(file: str) -> str:
    """What stands below a report that has something broken in it."""
    return f"`clearproof mend {file}` looks for repairs."


def set_aside(report: Report) -> Iterator[str]:
    """What the file waives, all that has one reason together."""
    waived: dict[str, list[str]] = {}
    for verdict in report.verdicts:
        if verdict.status == "waived":
            about = f"{verdict.obligation.property} for {', '.join(verdict.obligation.subjects)}"
            about += " (proved: the waiver is not needed)" if verdict.needless else ""
            waived.setdefault(verdict.why, []).append(about)
    return (f"{'; '.join(abouts)}: {reason}" for reason, abouts in waived.items())


def assumptions_of(report: Report) -> Iterator[tuple[str, Span | None]]:
    """All that the verdicts assume, with the place where the file says so itself."""
    for assumption in report.plan.assumptions:
        vain = " (always true: it changes nothing)" if assumption in report.always_true else ""
        yield f'"{assumption.title}": {assumption.text}{vain}', assumption.span
    for promise in report.plan.locking.promises:
        yield promise_words(promise), promise.span
    for text in report.assumed:
        yield text, None
