"""The JSON report. Its schema is published beside this file, ``report.schema.json``."""

from verifier import __version__
from verifier.explain.invariant_text import sentences
from verifier.explain.state_text import fact_words
from verifier.language.diagnostics.diagnostic import Diagnostic
from verifier.plan.model import Plan
from verifier.plan.observables import Observable
from verifier.plan.situation import Situation
from verifier.properties.catalog import BY_NAME
from verifier.reports.failures import is_advice
from verifier.reports.json_parts import Json, cause_json, event_json, place_with_end, text_at
from verifier.reports.words import count, tallies
from verifier.verdicts.exit_codes import ExitCode
from verifier.verdicts.grade import Grade, Shortfall, exit_code_of
from verifier.verdicts.grade_words import headline, line_to_add, shortfall_words
from verifier.verdicts.report import (
    Failure,
    Finding,
    History,
    InductiveProof,
    Race,
    Report,
    SecondOpinion,
    Tangle,
    Verdict,
    grade_of_verdict,
)

SCHEMA_VERSION = 1


def document(files: list[Json], exit_code: ExitCode) -> Json:
    """One JSON report of several files."""
    grades = [file["grade"] for file in files]
    return {
        "schema_version": SCHEMA_VERSION,
        "tool": {"name": "clearproof", "version": __version__},
        "exit_code": int(exit_code),
        "grades": {grade.value: grades.count(grade.value) for grade in Grade},
        "files": files,
    }


def file_with_errors(
    name: str,
    diagnostics: tuple[Diagnostic, ...],
    exit_code: ExitCode = ExitCode.BAD_INPUT,
    grade: Grade = Grade.NONE,
) -> Json:
    return {
        "file": name,
        "exit_code": int(exit_code),
        "grade": grade.value,
        "errors": [diagnostic_json(d) for d in diagnostics],
    }


def file_not_reached(name: str, why: str) -> Json:
    return {
        "file": name,
        "exit_code": int(ExitCode.UNDECIDED),
        "grade": Grade.NONE.value,
        "stopped": why,
    }


def diagnostic_json(diagnostic: Diagnostic) -> Json:
    return {
        "code": diagnostic.code,
        "message": diagnostic.message,
        "hint": diagnostic.hint,
        "place": place_with_end(diagnostic.span),
        "others": [text_at(text, span, place_with_end) for span, text in diagnostic.others],
    }


def file_report(report: Report, required: Grade | None = None) -> Json:
    """``required``: the grade asked for."""
    plan = report.plan
    return {
        "file": plan.source.name,
        "title": plan.title,
        "exit_code": int(exit_code_of(report.shortfalls, required)),
        "grade": report.grade.value,
        "headline": headline(report, required),
        "short_of": [_shortfall(shortfall, report) for shortfall in report.shortfalls],
        "line_to_add": line_to_add(plan),
        "only": list(report.only),
        "nothing_clears": report.nothing_clears,
        "kept_out": [
            {"assumptions": list(k.titles), "kind": k.kind, "name": k.name, "sure": k.sure}
            for k in report.kept_out
        ],
        "interrupted": report.interrupted,
        "stopped": report.stopped.why if report.stopped else "",
        **_second(report.second),
        "counts": _counts(report),
        "assumed": list(report.assumed),
        "assumptions": [
            {
                "title": a.title,
                "text": a.text,
                "always_true": a in report.always_true,
                "place": place_with_end(a.span),
            }
            for a in plan.assumptions
        ],
        "promises": [
            {"text": p.text, "place": place_with_end(p.span)} for p in plan.locking.promises
        ],
        "promises_to_make": [promise.text for promise in report.promises],
        "not_as_expected": [text_at(u.text, u.span, place_with_end) for u in report.unmet],
        "verdicts": [
            {**_verdict(plan, v), "follows_from": report.follows.get(v.obligation.key)}
            for v in report.verdicts
        ],
        "failures": [_failure(row) for row in report.failures],
    }


def _second(second: SecondOpinion | None) -> Json:
    """What a second solver said, where it was asked."""
    return {"second_solver": {"name": second.solver, "agreed": second.agreed}} if second else {}


def _counts(report: Report) -> Json:
    """How many verdicts there are of each kind. What a baseline knows is counted where there is
    one."""
    counts = tallies(report.verdicts)
    return {kind: number for kind, number in counts.items() if number or kind != "known"}


def _shortfall(shortfall: Shortfall, report: Report) -> Json:
    return {
        "kind": shortfall.kind.value,
        "number": shortfall.number,
        "names": list(shortfall.names),
        "text": shortfall_words(shortfall, report),
    }


def _verdict(plan: Plan, verdict: Verdict) -> Json:
    obligation = verdict.obligation
    entry = BY_NAME.get(obligation.property)
    return {
        "property": obligation.property,
        "group": entry.group if entry else "your own",
        "subjects": list(obligation.subjects),
        "status": verdict.status,
        "grade": grade_of_verdict(verdict, plan).value,
        "expected": verdict.expected,
        **({"known": True} if verdict.known else {}),
        "advice": obligation.advice,
        "trouble": obligation.trouble if verdict.status == "broken" else "",
        "hint": obligation.hint if verdict.status == "broken" else "",
        "why": verdict.why,
        **_count(verdict.covered),
        "rests_on": list(verdict.rests_on),
        "before_mishaps": verdict.before_mishaps,
        "places": [place_with_end(span) for span in obligation.spans],
        "routes": [r.name for r in obligation.routes],
        "meeting_place": obligation.place,
        "finding": _finding(plan, verdict.finding) if verdict.finding else None,
        "witness": _situation(plan, verdict.witness) if verdict.witness else None,
        "history": _history(verdict.story) if verdict.story else None,
        "lasting": _lasting(plan, verdict.lasting) if verdict.lasting else None,
    }


def _failure(row: Failure) -> Json:
    return {
        "faults": list(row.faults),
        "silent": list(row.silent),
        "kind": row.kind,
        "consequence": row.consequence,
        "advice": is_advice(row),
        "why": row.why,
    }


def _count(number: int) -> Json:
    """A number of situations: exact where every reader of JSON can hold it, and in words."""
    return {"situations": number if number < 2**53 else None, "situations_text": count(number)}


def _finding(plan: Plan, finding: Finding) -> Json:
    return {
        "situation": _situation(plan, finding.situation),
        "relevant": [_fact(plan, what, finding.situation.state(what)) for what in finding.relevant],
        **_count(finding.covered),
        "smallest": finding.smallest,
        "causes": [cause_json(cause, place_with_end) for cause in finding.causes],
        "mending": [
            {
                "of": a.owner,
                "line_showing": a.shows,
                "add": a.condition,
                "place": place_with_end(a.span),
            }
            for a in finding.mending
        ],
        "rewiring": [
            {
                "text": step.text,
                "write": step.write,
                "how": step.how,
                "cost": step.cost,
                "place": place_with_end(step.span),
            }
            for step in finding.rewiring
        ],
        "history": _history(finding.story) if finding.story else None,
        "hint_proved": finding.hint_proved,
        "race": _race(finding.race) if finding.race else None,
        "tangle": _tangle(finding.tangle) if finding.tangle else None,
    }


def _race(race: Race) -> Json:
    return {
        "between": [race.waits, race.other],
        "safe_orders": [list(order) for order in race.orders],
    }


def _tangle(tangle: Tangle) -> Json:
    return {
        "safe_orders_together": [list(order) for order in tangle.orders],
        "circle": list(tangle.circle),
    }


def _history(story: History) -> Json:
    return {
        "trains": story.trains,
        "events": [event_json(event, place_with_end) for event in story.events],
        "moments": [
            [
                {"kind": what.kind, "name": what.name, "state": state}
                for what, state in moment.items()
                if state != what.usual
            ]
            for moment in story.moments
        ],
    }


def _lasting(plan: Plan, lasting: InductiveProof) -> Json:
    return {
        "moments": 1,
        "facts": len(lasting.clauses),
        "sentences": list(sentences(plan, lasting.clauses)),
    }


def _situation(plan: Plan, situation: Situation) -> list[Json]:
    return [_fact(plan, what, state) for what, state in situation]


def _fact(plan: Plan, what: Observable, state: str) -> Json:
    return {
        "kind": what.kind,
        "name": what.name,
        "state": state,
        "text": fact_words(plan, what, state),
    }
