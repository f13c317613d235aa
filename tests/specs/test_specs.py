"""Every junction of specs/ behaves exactly as its file says, and says what it teaches."""

import re
from collections.abc import Iterable
from itertools import product
from pathlib import Path

import pytest

import verifier
from tests.differential.agreement import failures_agree
from tests.differential.truth import Truth, single_faults
from tests.junction_files import SPEC_FILES, SPECS, TIMED_SPECS
from tests.proofs import decided, proved, proved_edited, store_of
from tests.sweep import NIGHTLY, sample
from verifier.decide.claims import matches
from verifier.decide.histories import MISHAPS
from verifier.language.format.formatter import format_text
from verifier.language.source import Span
from verifier.logic.expr import holds, support
from verifier.plan.minimality import count_situations
from verifier.plan.situation import Situation
from verifier.properties.catalog import FAILURES
from verifier.reference.evaluator import Evaluator
from verifier.reference.explicit_situations import tally
from verifier.verdicts.report import Report

FILES = SPEC_FILES
# Those of one thing in two ways are called so; those with one thing wrong of a junction that
# stands beside them are called after it.
EXPECTING = [path for path in FILES if re.search(r"^expect ", path.read_text("utf-8"), re.M)]
BROKEN = [path for path in FILES if path.stem.endswith("-broken")]
ENUMERABLE = 20_000
# Those with more situations than that, over truth and commands.
TOO_MANY = {
    "crossovers-both-ways", "double-track-junction", "passing-siding", "single-track-by-lever",
    "two-of-each", "two-of-each-part", "wired-passing-siding", "wye", "wye-broken", "wye-mended",
    "yard-throat",
}  # fmt: skip
ENUMERATED = [p for p in FILES if p not in TIMED_SPECS and p.stem not in TOO_MANY]
# With each fault in turn: all that is wired, but for those with too many situations then.
ENUMERATED_WITH_FAULTS = [
    path
    for path in FILES
    if path.parent.name in ("wiring", "failures")
    and path not in TIMED_SPECS
    and path.stem not in TOO_MANY | {"wired-end-of-siding", "live-frog-broken", "live-frog-mended"}
]

every_spec = pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
every_broken_spec = pytest.mark.parametrize("path", BROKEN, ids=lambda path: path.stem)
every_expecting_spec = pytest.mark.parametrize("path", EXPECTING, ids=lambda path: path.stem)


def without(text: str, span: Span) -> str:
    return text[: span.start] + text[span.end :]


def proved_without(path: Path, *leaving_out: Iterable[Span]) -> list[Report]:
    """The same file without some of its statements, in one or several ways."""
    return [proved_edited(path, text) for text in texts_without(path, *leaving_out)]


def texts_without(path: Path, *leaving_out: Iterable[Span]) -> list[str]:
    texts: dict[str, None] = {}
    for spans in leaving_out:
        text = path.read_text("utf-8")
        for span in sorted(spans, key=lambda span: span.start, reverse=True):
            text = without(text, span)
        texts[text] = None
    return [*texts]


def head_comment(path: Path) -> list[str]:
    lines = []
    for line in path.read_text("utf-8").splitlines():
        if not line.startswith("#"):
            break
        lines.append(line.removeprefix("#").strip())
    return [line for line in lines if line]


def test_there_are_junctions_enough() -> None:
    assert len(FILES) >= 16
    assert BROKEN


@every_spec
def test_it_behaves_as_it_says(path: Path) -> None:
    report = proved(path)
    assert report.exit_code == 0, [v.obligation.key for v in report.verdicts if v.fails]


@every_spec
def test_its_head_comment_says_what_it_teaches(path: Path) -> None:
    lines = head_comment(path)
    assert 3 <= len(lines) <= 9
    assert lines[0].endswith(".") and len(" ".join(lines).split()) > 30


@every_spec
def test_lines_fit_the_page(path: Path) -> None:
    assert all(len(line) <= 100 for line in path.read_text("utf-8").splitlines())


@every_spec
def test_it_is_laid_out_as_the_formatter_does(path: Path) -> None:
    text = path.read_text("utf-8")
    assert format_text(text) == text


@every_spec
def test_the_files_it_speaks_of_exist(path: Path) -> None:
    """Beside it, or in another folder of specs/ that it names."""
    for name in re.findall(r"[\w/-]+\.ixl", path.read_text("utf-8")):
        assert ((SPECS if "/" in name else path.parent) / name).exists(), name


@every_broken_spec
def test_a_broken_one_says_so_and_stands_beside_its_mending(path: Path) -> None:
    mended = path.with_stem(path.stem.replace("-broken", "-mended"))
    assert verifier.load(path).expectations
    assert mended.name in path.read_text("utf-8")
    assert not verifier.load(mended).expectations


@every_expecting_spec
def test_one_with_one_thing_wrong_stands_beside_a_safe_one(path: Path) -> None:
    others = re.findall(r"[\w-]+(?=\.ixl)", "\n".join(head_comment(path)))
    beside = [path.with_stem(stem) for stem in others if path.with_stem(stem) in FILES]
    safe = [other for other in beside if other not in EXPECTING]
    assert safe, others
    if path not in BROKEN:
        assert any(path.stem.startswith(other.stem[:12]) for other in safe), others


@every_expecting_spec
def test_every_expectation_is_needed(path: Path) -> None:
    """What each speaks of is broken, and no other expectation speaks of it."""
    expectations = verifier.load(path).expectations
    broken = [v.obligation for v in proved(path).verdicts if v.status == "broken"]
    for expectation in expectations:
        met = [o for o in broken if matches(expectation, o)]
        others = [e for e in expectations if e is not expectation]
        assert any(not any(matches(e, o) for e in others) for o in met), expectation.span.text


@pytest.mark.parametrize("path", EXPECTING[:: 1 if NIGHTLY else 9], ids=lambda path: path.stem)
def test_without_expectations_what_is_broken_fails(path: Path) -> None:
    """All that was expected fails, and nothing else does. (What can be done again is decided of
    all histories once mishaps are expected.)"""
    expectations = verifier.load(path).expectations
    reports = proved_without(
        path,
        (e.span for e in expectations),
        (e.span for e in expectations if e.claim not in MISHAPS),
    )
    verdicts = [verdict for report in reports for verdict in report.verdicts]
    failing = [verdict.obligation for verdict in verdicts if verdict.fails]
    for expectation in expectations:
        assert any(matches(expectation, o) for o in failing), expectation.span.text
    for obligation in failing:
        assert any(matches(e, obligation) for e in expectations), obligation


@every_spec
def test_every_waiver_is_needed(path: Path) -> None:
    waivers = verifier.load(path).waivers
    if not waivers:
        return
    claims = {waiver.claim for waiver in waivers}
    texts = texts_without(
        path, (w.span for w in waivers), (w.span for w in waivers if w.claim not in MISHAPS)
    )
    store = store_of(path)
    verdicts = [v for text in texts for v in decided(verifier.load_text(text), claims, store)]
    for waiver in waivers:
        assert any(v.fails and matches(waiver, v.obligation) for v in verdicts), waiver


@every_spec
def test_every_assumption_is_needed(path: Path) -> None:
    if path.stem == "two-of-each":
        pytest.skip("it shows how each statement is written, needed or not")
    if path.stem == "lever-frame-broken":
        pytest.skip("a frame has its locks, even those that rules with `T1 normal` can do without")
    for claim in verifier.load(path).assumptions:
        (report,) = proved_without(path, [claim.span])
        assert report.exit_code == 1, claim.span.text


def test_the_enumerator_goes_through_all_that_it_can() -> None:
    """What is left to tests/differential: files over time, and those with too many situations."""
    for path in FILES:
        plan = verifier.load(path)
        assert (path in TIMED_SPECS) == plan.locking.over_time, path
        count, faults = count_situations(plan.inputs), len(single_faults(plan))
        if path not in TIMED_SPECS:
            assert (path in ENUMERATED) == (count <= ENUMERABLE), path
            few = 0 < count * faults <= ENUMERABLE
            assert (path in ENUMERATED_WITH_FAULTS) == few, path


@pytest.mark.parametrize("path", ENUMERATED, ids=lambda path: path.stem)
def test_every_verdict_agrees_with_the_enumerator(path: Path) -> None:
    """Verdicts, and the smallest situation of each finding, obligation by obligation, with
    nothing broken."""
    plan = verifier.load(path)
    sound = [v for v in proved(path).verdicts if v.obligation.property not in FAILURES]
    verdicts = [v for v in sound if v.status != "waived"]
    counted = tally(plan, [v.obligation.holds_in for v in verdicts])
    for verdict, found in zip(verdicts, counted, strict=True):
        can_happen = found.count > 0
        wanted = can_happen == (verdict.obligation.mode == "possible")
        assert (verdict.status == "proved") == wanted, verdict.obligation.key
        assert (verdict.status == "broken") != wanted, verdict.obligation.key
        if verdict.finding is not None:
            assert verdict.finding.situation == found.smallest, verdict.obligation.key


@pytest.mark.parametrize("path", ENUMERATED_WITH_FAULTS, ids=lambda path: path.stem)
def test_every_single_fault_agrees_with_the_enumerator(path: Path) -> None:
    """With each thing broken in turn (by day, with one of each kind at least), in every situation:
    what it does at worst, and the smallest situation in which it does."""
    plan = verifier.load(path)
    faults = sample(plan.equipment.faults, 3, f"faults of {path.stem}", lambda fault: fault.kind)
    whats = {fault.what for fault in faults}
    failures_agree(Truth(plan, [b for b in single_faults(plan) if b[0][0] in whats]), proved(path))


@every_broken_spec
def test_what_a_finding_calls_irrelevant_changes_nothing(path: Path) -> None:
    """However everything else is, the obligation stays broken: as many times as it says."""
    plan = verifier.load(path)
    evaluator = Evaluator(plan)
    for verdict in proved(path).verdicts:
        if verdict.finding is None or verdict.finding.story is not None:
            continue
        situation, relevant = verdict.finding.situation, verdict.finding.relevant
        read = support(verdict.obligation.formula)
        free = [what for what in plan.inputs if what not in relevant]
        fixed = [(what, situation.state(what)) for what in relevant]
        count = 0
        for states in product(*(what.values for what in free)):
            other = Situation.of([*fixed, *zip(free, states, strict=True)])
            assert holds(verdict.obligation.formula, evaluator.states(other, read))
            count += 1
        assert count == verdict.finding.covered


def titles(paths: Iterable[Path]) -> list[str]:
    return [verifier.load(path).title for path in paths]


def test_every_junction_has_a_title_of_its_own() -> None:
    assert len(set(titles(FILES))) == len(FILES)
