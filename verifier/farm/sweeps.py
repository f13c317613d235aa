"""The sweeps of ``clearproof farm``: their cases, and what becomes of each.

In: junction files, or sizes. Out: a row of words for each case, the same whoever works it out.
"""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache
from hashlib import sha256
from typing import Any

from verifier.decide.claims import matches
from verifier.engines.proof_store import ProofStore
from verifier.farm.evidence import NOT_SO, Json, decided, prove_lent, replays, shown_by
from verifier.farm.lent import Lent
from verifier.farm.lines import line, wired_line
from verifier.farm.mutants import mutants
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.diagnostics.registry import kinds
from verifier.plan.model import Plan
from verifier.properties.catalog import BY_NAME, obligations
from verifier.verdicts.report import Report, Verdict
from verifier.world.world import World, check_circles

# So many situations at most are gone through one by one.
MOST_SITUATIONS = 20_000
# So many broken properties are named in one row.
_NAMED = 3

Row = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Case:
    """One case: a name that no other has, the function that works it out (``module:name``), what it
    is given, and the function that says whether the answer is found here too."""

    name: str
    work: str
    given: tuple[object, ...]
    check: str

    @property
    def digest(self) -> str:
        return sha256(repr((self.name, self.work, self.given)).encode()).hexdigest()


def _case(name: str, kind: str, *given: object) -> Case:
    return Case(name, f"{__name__}:{kind}", given, f"{__name__}:{kind}_found_too")


# ------------------------------------------------------------------ mutants

MUTANT_COLUMNS = ("file", "left out", "result", "breaks")


def mutant_cases(files: Sequence[Lent]) -> Iterator[Case]:
    """Each condition of each rule of each file, left out."""
    for file in files:
        plan, _ = file.checked()
        for number, _ in enumerate(mutants(plan)):
            yield _case(f"{file.name}, mutant {number}", "mutant", file, number)


def mutant(file: Lent, number: int) -> Json:
    """What a file is without one condition."""
    plan, said, before = _mutant_of(file, number)
    store = ProofStore()
    report = _safety_of(plan, store)
    if isinstance(report, str):
        return {"row": _mutant_row(file, said, report, ())}
    new = _newly_broken(report, before)
    result = _result(report, new)
    shown = _shown(plan, new)
    row = _mutant_row(file, said, result, [one["key"] for one in shown])
    if result == "harmless":
        from verifier.decide.sent_proofs import sent

        return {"row": row, "proofs": sent(store)}
    return {"row": row, "shown": shown}


def mutant_found_too(told: Json, file: Lent, number: int) -> bool:
    """Whether what is broken replays here, and what is harmless is proved here. What is undecided
    or refused claims nothing else."""
    row, (plan, said, before) = told["row"], _mutant_of(file, number)
    claimed = row["result"]
    try:
        match claimed:
            case "unsafe":
                keys = [one["key"] for one in told["shown"]]
                row_here = _mutant_row(file, said, claimed, keys)
                return dict(row) == row_here and _all_broken(plan, told["shown"], before)
            case "harmless":
                row_here = _mutant_row(file, said, claimed, ())
                return dict(row) == row_here and _is_harmless(plan, told["proofs"], before)
            case _:
                known = claimed == "undecided" or claimed in map(_refused, kinds())
                return known and dict(row) == _mutant_row(file, said, claimed, ())
    except NOT_SO:
        return False


def _is_harmless(plan: Plan, proofs: Json, before: frozenset[str]) -> bool:
    from verifier.decide.sent_proofs import received

    report = _safety_of(plan, received(proofs))
    if isinstance(report, str):
        return False
    return _result(report, _newly_broken(report, before)) == "harmless"


def _all_broken(plan: Plan, shown: Sequence[Json], before: frozenset[str]) -> bool:
    """Whether each of some situations and histories breaks what it says, which the file as it
    stands does not."""
    asked = _asked_of(plan)
    found = {
        o.key: o
        for o in obligations(plan, World(plan).lower)
        if o.mode == "never" and o.property in asked
        and not any(matches(waiver, o) for waiver in plan.waivers)
    }  # fmt: skip
    keys = [one["key"] for one in shown]
    new = 0 < len(set(keys)) == len(keys) <= _NAMED and before.isdisjoint(keys)
    return new and all(replays(plan, found[key], one) for key, one in zip(keys, shown, strict=True))


def _newly_broken(report: Report, before: frozenset[str]) -> list[Verdict]:
    return [
        v for v in report.verdicts if v.status == "broken" and v.obligation.key not in before
    ]  # fmt: skip


def _result(report: Report, new: Sequence[Verdict]) -> str:
    if new:
        return "unsafe"
    unknown = any(v.status == "undecided" and v.obligation.mode == "never" for v in report.verdicts)
    return "undecided" if unknown else "harmless"


def _mutant_row(file: Lent, said: str, result: str, keys: Sequence[str]) -> dict[str, str]:
    """``keys``: what it is shown to break."""
    return {"file": file.name, "left out": said, "result": result, "breaks": "; ".join(keys)}


@lru_cache(maxsize=2)
def _safe_part(file: Lent) -> tuple[Plan, frozenset[str]]:
    """The plan of a file, and what is broken in it already."""
    plan, _ = file.checked()
    report = _safety_of(plan, ProofStore())
    broken = () if isinstance(report, str) else report.verdicts
    return plan, frozenset(v.obligation.key for v in broken if v.status == "broken")


def _mutant_of(file: Lent, number: int) -> tuple[Plan, str, frozenset[str]]:
    plan, before = _safe_part(file)
    one = list(mutants(plan))[number]
    return one.plan, one.said, before


def _safety_of(plan: Plan, store: ProofStore) -> Report | str:
    """What must never be; why not, where that cannot be asked."""
    from verifier.pipeline import prove

    try:
        check_circles(World(plan))
        return prove(plan, store=store, only=_asked_of(plan), quick=True)
    except InputError as error:
        return _refused(error.diagnostics[0].code)


def _refused(code: str) -> str:
    return f"refused: {code}"


def _asked_of(plan: Plan) -> list[str]:
    safety = [name for name, entry in BY_NAME.items() if entry.group == "track and signals"]
    return safety + [proof.title for proof in plan.proofs if proof.mode != "possible"]


def _shown(plan: Plan, new: Sequence[Verdict]) -> list[Json]:
    """Situations of the first that are broken; where none has one, a history of the first."""
    from verifier.pipeline import prove

    found = [v for v in new if v.finding is not None][:_NAMED]
    if new and not found:
        wanted = new[0].obligation
        report = prove(plan, only=[wanted.property], repairs=False, brief=True)
        found = [v for v in report.verdicts if v.obligation.key == wanted.key]
    return [shown for v in found if (shown := shown_by(v)) is not None]


# ------------------------------------------------------------------ lines

LINE_COLUMNS = ("control points", "wiring", "signals", "result")


def line_cases(sizes: Sequence[int]) -> Iterator[Case]:
    """Lines of so many control points, bare and wired."""
    for size in sizes:
        for wiring in ("none", "complete"):
            yield _case(f"{size} control points, wiring {wiring}", "sized", size, wiring)


def _line_of(size: int, wiring: str) -> Lent:
    text = line(size) if wiring == "none" else wired_line(size)
    return Lent(f"line-{size}.ixl", text.encode())


def sized(size: int, wiring: str) -> Json:
    """What is proved of a generated line."""
    from verifier.decide.sent_proofs import sent

    store = ProofStore()
    report = prove_lent(_line_of(size, wiring), store, repairs=False)
    return {
        "row": _line_row(size, wiring, report), "decided": decided(report), "proofs": sent(store),
    }  # fmt: skip


def sized_found_too(told: Json, size: int, wiring: str) -> bool:
    """Whether all of it is decided alike here."""
    from verifier.decide.sent_proofs import received

    try:
        claimed, store = told["decided"], received(told["proofs"])
    except NOT_SO:
        return False
    report = prove_lent(_line_of(size, wiring), store, repairs=False)
    return bool(claimed == decided(report) and told["row"] == _line_row(size, wiring, report))


def _line_row(size: int, wiring: str, report: Report) -> dict[str, str]:
    known = report.interrupted or any(v.status == "undecided" for v in report.verdicts)
    return {
        "control points": str(size),
        "wiring": wiring,
        "signals": str(len(report.plan.signals)),
        "result": "undecided" if known else report.grade.value,
    }


# ------------------------------------------------------------------ junctions

JUNCTION_COLUMNS = ("file", "result", "situations", "properties", "broken", "differing")


def junction_cases(files: Sequence[Lent]) -> Iterator[Case]:
    """Each file."""
    for file in files:
        yield _case(file.name, "junction", file)


def junction(file: Lent) -> Json:
    """Whether the solver and the reference, which goes through every situation, say the same."""
    from verifier.plan.minimality import count_situations
    from verifier.reference.evaluator import Unsettled

    row = dict.fromkeys(JUNCTION_COLUMNS, "")
    row["file"] = file.name
    try:
        plan, world = file.checked()
        number = count_situations(plan.inputs)
        row["situations"] = str(number)
        if plan.locking.over_time or number > MOST_SITUATIONS:
            row["result"] = "over time" if plan.locking.over_time else "too many situations"
            return {"row": row}
        found = _compared(plan, world)
    except InputError as error:
        return {"row": {**row, "result": f"refused: {error.diagnostics[0].code}"}}
    except Unsettled:
        return {"row": {**row, "result": "differs", "differing": "a circle was not refused"}}
    return {"row": {**row, **found}}


def junction_found_too(told: Json, file: Lent) -> bool:
    """A difference is looked for here again; all else claims nothing of a layout."""
    row = told["row"]
    if row["file"] != file.name:
        return False
    return bool(row["result"] in _CLAIM_NOTHING or junction(file)["row"] == row)


# What a row says that claims nothing of a layout.
_CLAIM_NOTHING = ("agrees", "undecided", "over time", "too many situations")


def _compared(plan: Plan, world: World) -> dict[str, str]:
    from verifier.pipeline import prove
    from verifier.properties.catalog import FAILURES
    from verifier.reference.explicit_situations import Tally, tally

    report = prove(plan, world=world, repairs=False)
    asked = [
        v for v in report.verdicts
        if v.obligation.property not in FAILURES and v.status in ("proved", "broken", "undecided")
    ]  # fmt: skip
    counted = tally(plan, [v.obligation.holds_in for v in asked])

    def agrees(verdict: Verdict, tally: Tally) -> bool:
        if (verdict.obligation.mode == "never") == (verdict.status == "proved"):
            return tally.count == 0
        shown = verdict.finding.situation if verdict.finding else None
        return tally.count > 0 and shown in (None, tally.smallest)

    unknown = any(v.status == "undecided" for v in asked)
    differing = [v for v, t in zip(asked, counted, strict=True)
                 if v.status != "undecided" and not agrees(v, t)]  # fmt: skip
    result = "differs" if differing else "undecided" if unknown else "agrees"
    return {
        "result": result,
        "properties": str(len(asked)),
        "broken": str(sum(v.status == "broken" for v in asked)),
        "differing": "; ".join(v.obligation.key for v in differing[:_NAMED]),
    }


def row_in(answer: Any, columns: Sequence[str]) -> Row | None:
    """The row of an answer; None where there is none in it."""
    with suppress(TypeError, KeyError):
        row = answer["row"]
        if list(row) == list(columns) and all(isinstance(word, str) for word in row.values()):
            return {str(name): word for name, word in row.items()}
    return None
