"""What `import verifier` offers: load, prove, evaluate. The command line uses nothing else.

The solver is loaded by the first :func:`prove`, not before: reading a file and evaluating its
signals must not wait for it.
"""

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from verifier.engines.proof_store import NO_STORE, ProofStore
from verifier.language.diagnostics.diagnostic import InputError, nearest
from verifier.language.diagnostics.registry import diagnostic
from verifier.language.files import UnreadableError, text_and_bytes
from verifier.language.modules.expand import read
from verifier.language.source import Source, Span
from verifier.language.syntax.parse import parse_situation
from verifier.plan.build import build, standing_alone
from verifier.plan.model import Plan
from verifier.plan.situation import Situation
from verifier.reference.evaluator import Seen, evaluate
from verifier.verdicts.progress import OnVerdict, Progress, silent, unheard
from verifier.verdicts.report import Report, Verdict
from verifier.world.situation_parser import named_situation
from verifier.world.wiring_parser import wired_facts
from verifier.world.world import World, check_circles

if TYPE_CHECKING:
    from verifier.diagnosis.diagnose import Diagnosis
    from verifier.drafting.wanted import Aspects, Panel, Release, SingleTrack
    from verifier.mending.mend import Mended
    from verifier.repair.fewest_promises import Fewest

__all__ = ["Seen", "Session", "diagnose", "evaluate", "load", "load_text", "prove", "prove_file"]


def load(path: str | Path) -> Plan:
    """The checked plan of a junction file.

    Raises :class:`InputError` with everything that is wrong with it, a file that cannot be
    read included."""
    return checked(read_text(path), str(path), Path(path))[0]


def load_text(text: str, name: str = "(text)") -> Plan:
    """The checked plan of a junction written in ``text``; ``name`` is used in messages. Such a
    junction cannot include files.

    Raises :class:`InputError`."""
    return checked(text, name, None)[0]


def prove_file(
    path: str | Path,
    *,
    timeout: float | None = None,
    within: float | None = None,
    only: Iterable[str] = (),
    pairs: bool = False,
    recheck: bool = False,
    progress: Progress = silent,
    on_verdict: OnVerdict = unheard,
) -> Report:
    """The same as ``prove(load(path), …)``, but builds the world of the plan only once. Reading
    the file counts in the time ``within``."""
    from verifier.engines.stopping import time_limit
    from verifier.pipeline import prove as decide_all

    with time_limit(within):
        plan, world = checked(read_text(path), str(path), Path(path))
        return decide_all(
            plan,
            timeout=timeout,
            only=only,
            pairs=pairs,
            recheck=recheck,
            progress=progress,
            on_verdict=on_verdict,
            world=world,
        )


def reasons_file(
    path: str | Path,
    claim: str,
    subjects: Iterable[str] = (),
    *,
    timeout: float | None = None,
    within: float | None = None,
    progress: Progress = silent,
) -> "tuple[Report, tuple[Verdict, ...]]":
    """The report on one property of a file alone, and its verdicts that are about all these
    subjects (all, when empty).

    Raises :class:`InputError` where there is no such property, or none about these subjects."""
    from verifier.pipeline import prove as decide_all
    from verifier.properties.catalog import BY_NAME

    plan, world = checked(read_text(path), str(path), Path(path))
    known = [*BY_NAME, *(proof.title for proof in plan.proofs)]
    if claim not in known:
        raise unknown_word(claim, known, "property", "`clearproof explain properties`")
    report = decide_all(
        plan, timeout=timeout, within=within, only=[claim], progress=progress, world=world
    )
    wanted = set(subjects)
    found = tuple(v for v in report.verdicts if wanted.issubset(v.obligation.subjects))
    if not found:
        asked = [", ".join(v.obligation.subjects) for v in report.verdicts]
        words = ", ".join(wanted) or claim
        raise unknown_word(words, asked, f"subject of {claim}", f"`clearproof prove {path}`")
    return report, found


def promises_file(
    path: str | Path,
    *,
    timeout: float | None = None,
    within: float | None = None,
    progress: Progress = silent,
) -> "tuple[Fewest, Report]":
    """The fewest promises of the crew that make a file safe in operation, and the report on the
    file with these promises in place of its own.

    Raises :class:`InputError`."""
    from verifier.engines.stopping import checkpoint, stoppable, time_limit
    from verifier.pipeline import prove as decide_all
    from verifier.repair.fewest_promises import fewest_promises

    with stoppable(), time_limit(within):
        plan, _ = checked(read_text(path), str(path), Path(path))
        found = fewest_promises(plan, timeout, checkpoint)
        report = decide_all(found.promised, timeout=timeout, repairs=False, progress=progress)
    return found, report


def draft_file(
    path: str | Path,
    aspects: "Aspects" = 3,
    *,
    by_hand: bool = False,
    panel: "Panel" = "dispatcher",
    single_track: "SingleTrack" = "signals",
    release: "Release" = "sectional",
    wiring: bool = False,
    within: float | None = None,
    progress: Progress = silent,
) -> tuple[str, Report]:
    """A junction file with signals, rules, panel and locks written into it as far as they were
    missing, and the report on that text. A draft that is not *proved in operation* is not worth
    showing. ``aspects``: 2, 3, 4, ``route`` or ``speed``. ``by_hand``: switches are thrown by hand,
    and the crew promises when they are not. ``panel``: what clears signals, the levers of a
    ``dispatcher``, entrance-exit ``buttons``, the levers of a frame (``levers``) or track and
    trains alone (``automatic``; switches are thrown by hand then). ``single_track``: what keeps
    opposing trains apart there, their ``signals``, one ``lever`` or a locked direction of
    ``traffic``. ``release``: of points, behind a train one by one (``sectional``), all at once
    (``route``), or after a ``time`` as well. ``wiring``: feeders, detectors, machines, boards and
    supplies are written, too.

    Raises :class:`InputError` with each place that cannot be signaled."""
    from verifier.drafting.draft import drafted, drafted_and_proved
    from verifier.drafting.wanted import Wanted
    from verifier.engines.stopping import time_limit
    from verifier.pipeline import prove as decide_all

    wanted = Wanted(aspects, by_hand, panel, single_track, release, wiring)
    with time_limit(within):
        source = Source(str(path), read_text(path))
        statements = read(source, Path(path))

        def proof(text: str) -> Report:
            plan, world = checked(text, str(path), Path(path))
            return decide_all(plan, repairs=False, brief=True, progress=progress, world=world)

        return drafted_and_proved(lambda never: drafted(source, statements, wanted, never), proof)


def mend_file(
    path: str | Path,
    *,
    timeout: float | None = None,
    within: float | None = None,
    step: Progress = silent,
) -> "Mended":
    """What is wrong with a file, mistake by mistake, and the repairs of it, as whole texts; each is
    proved. ``timeout`` in seconds for each obligation, ``within`` for the search; ``step`` is told
    how many findings of how many were looked at.

    Raises :class:`InputError`."""
    return mend_text(read_text(path), str(path), Path(path), timeout, within, step)


def mend_text(
    text: str,
    name: str,
    path: Path | None,
    timeout: float | None = None,
    within: float | None = None,
    step: Progress = silent,
) -> "Mended":
    """The same of a text; ``path`` as for :func:`checked`."""
    from verifier.mending.mend import mend

    return mend(
        lambda other: checked(other, name, path), text, timeout=timeout, within=within, step=step
    )


def checked(
    text: str, name: str, path: Path | None, shown: Path | None = None
) -> tuple[Plan, World]:
    """The plan of a text and its world. ``path`` is the file it was read from, if any; only then
    can it include others. ``shown``: the folder that messages name instead of that file's.

    Raises :class:`InputError`."""
    source = Source(name, text)
    try:
        statements = read(source, path, shown)
    except InputError as error:
        further = standing_alone(source, error.left)
        raise InputError([*error.diagnostics, *further]) from None
    plan = build(source, statements)
    world = World(plan)
    check_circles(world)
    return plan, world


def prove(
    plan: Plan,
    *,
    timeout: float | None = None,
    within: float | None = None,
    only: Iterable[str] = (),
    pairs: bool = False,
    recheck: bool = False,
    progress: Progress = silent,
    on_verdict: OnVerdict = unheard,
    store: ProofStore = NO_STORE,
) -> Report:
    """Decide everything that must hold of a plan.

    A verdict *proved* means: no situation that the file's assumptions allow breaks the
    obligation (for a usefulness property: some situation fulfils it, and was replayed).
    *Broken* means that a situation which breaks it was replayed without the solver.

    ``timeout`` in seconds for each obligation, ``within`` in seconds for all of them (``prove``
    then takes about a second longer at most); what they cut short is *undecided*. ``only``
    names the properties wanted, all when empty; ``pairs`` looks at every two faults together
    as well; with ``recheck`` each answer that a proof rests on is asked of a second solver too, and
    is undecided without its answer; ``store`` is not used then. ``progress`` is called before every
    question with how many obligations are decided, of how many; ``on_verdict`` with each verdict as
    soon as it is known, and once more when repairs of it were found. Ctrl-C ends it:
    what was decided stays, the rest is undecided.
    ``store``: one :class:`ProofStore` for one file after each edit of it; the report is the same
    as without, sooner.

    Raises :class:`InputError` when the file's assumptions contradict each other or a
    waiver or expectation matches nothing; :class:`InternalError` on a bug of our own, such as two
    solvers that differ; ImportError where the second solver is not installed.
    """
    from verifier.pipeline import prove as decide_all

    return decide_all(
        plan,
        timeout=timeout,
        within=within,
        only=only,
        pairs=pairs,
        recheck=recheck,
        progress=progress,
        on_verdict=on_verdict,
        store=store,
    )


class Session:
    """One text while it is edited: what was found of it before makes the next proof shorter.

    ``name`` is used in messages; ``path`` is the file it was read from, if any: only then can it
    include others.

    Raises :class:`InputError`, as :meth:`edit` does."""

    def __init__(self, text: str, name: str = "(text)", path: Path | None = None):
        self._name = name
        self._path = path
        self._store = ProofStore()
        self.edit(text)

    def edit(self, text: str) -> None:
        """From now on, this text is proved.

        Raises :class:`InputError` with what is wrong with it; the text before then stays."""
        self._plan, self._world = checked(text, self._name, self._path)

    def verdicts(self) -> Report:
        """The verdict on all that must never be, sooner than the report. Of what is broken over
        time, the reference replayed some history, and none is told: the smallest one is in the
        report, as is what must be possible, what two faults do, and repairs. ``stopped`` says so.

        Raises as :func:`prove` does."""
        from verifier.pipeline import prove as decide_all

        return decide_all(self._plan, world=self._world, store=self._store, quick=True)

    def report(self) -> Report:
        """The same report as that of a proof that knows of no text before, byte for byte.

        Raises as :func:`prove` does."""
        from verifier.pipeline import prove as decide_all

        return decide_all(self._plan, world=self._world, store=self._store)


def situation_of(plan: Plan, text: str) -> Situation:
    """The situation that ``T1 reverse, train on Main, lever 4 left`` describes, or in a wired
    layout ``train at m2, feeder m3 broken``; what it does not mention is in its usual state.

    Raises :class:`InputError` for names and states the plan does not know."""
    wired = wired_facts(plan, text)
    happenings = parse_situation(wired.rest)
    if wired.errors:
        raise InputError(wired.errors)
    return named_situation(plan, happenings, wired.facts)


def diagnose(
    plan: Plan,
    observations: Iterable[str],
    results: str | Path | None = None,
    progress: Progress = silent,
) -> "Diagnosis":
    """Which faults and wiring mistakes explain what was seen on the bench, the fewest first,
    and the next test that best tells them apart.

    Each observation is one look at the layout: ``locomotive at m2, T1 reverse, lever 4 left:
    4L Stop``. Track not mentioned is vacant, points lie normal, levers stand as usual.

    ``results`` is the CSV file of a test card whose last column was filled in; ``progress`` is
    called as the work on that card proceeds.

    Raises :class:`InputError` for names and states the plan does not know."""
    from verifier.diagnosis.diagnose import diagnose as look_for

    if results is None:
        return look_for(plan, observations)
    from verifier.diagnosis.bench import Bench
    from verifier.testcard.results import diagnose_results

    return diagnose_results(Bench(plan), Path(results), observations, progress)


def no_junctions(folder: str) -> InputError:
    """The error for a folder without junction files."""
    return _unreadable(folder, "no_files")


def no_name() -> InputError:
    """The error for the name of a file that is empty."""
    return _unreadable("(no name)", "empty")


def unknown_word(word: str, known: Iterable[str], kind: str, where: str) -> InputError:
    """The error for a word of the command line that is not in the list of its kind."""
    source = Source("command line", word)
    span = Span(source, 0, len(word))
    return InputError(
        [diagnostic("CP211", span, near=nearest(word, known), kind=kind, word=word, where=where)]
    )


def read_text(path: str | Path) -> str:
    """The text of a junction file. Raises :class:`InputError` when it cannot be read."""
    return read_file(path)[0]


def read_file(path: str | Path) -> tuple[str, bytes]:
    """The same, and the bytes on disk. Raises :class:`InputError`."""
    try:
        return text_and_bytes(Path(path))
    except UnreadableError as error:
        near = _file_like(Path(path)) if error.reason == "missing" else None
        raise _unreadable(str(path), error.reason, near, **error.fields) from None


def _file_like(path: Path) -> str | None:
    """A junction file beside the one that is missing whose name is like its own."""
    try:
        names = [other.name for other in path.parent.glob("*.ixl")]
    except (OSError, ValueError):
        return None
    near = nearest(path.name, names) or nearest(f"{path.name}.ixl", names)
    return str(path.with_name(near)) if near else None


def _unreadable(name: str, reason: str, near: str | None = None, **fields: Any) -> InputError:
    source = Source(name, "")
    return InputError([diagnostic("CP100", Span(source, 0, 0), reason, near=near, **fields)])
