"""A report as the page shows it: every verdict with its sentence, and each finding as a state of
play, with its history and its repairs.

In: a report. Out: JSON. It is made in the worker, which has the plan.
"""

from pathlib import Path

from verifier.plan.model import Plan
from verifier.reports.json_parts import Json, cause_json, event_json, place_with_offsets, text_at
from verifier.reports.reasons import reason_sentences, uses_sentences
from verifier.reports.remedies import remedies
from verifier.reports.scenes import situation_scene
from verifier.reports.words import (
    PROMISES_LEAD,
    covered_words,
    kind_words,
    outcome,
    promise_words,
    promises_to_make,
    sentence,
    situation_words,
    tallies,
    tally_words,
    title_of,
)
from verifier.verdicts.grade_words import NO_SIGNAL_CLEARS, beside_counts, headline, stamp
from verifier.verdicts.report import Finding, History, Report, Verdict
from verifier.workbench.quick_fixes import rule_fix, wiring_fix


def report_json(report: Report, name: str, path: Path | None) -> Json:
    """``name`` and ``path`` are those of the text that was proved."""
    plan = report.plan
    return {
        "title": plan.title,
        "exit_code": int(report.exit_code),
        "grade": report.grade.value,
        "stamp": stamp(report),
        "style": outcome(report),
        "headline": headline(report),
        "beside_counts": beside_counts(report),
        "nothing_clears": NO_SIGNAL_CLEARS if report.nothing_clears else "",
        "promises_lead": PROMISES_LEAD,
        "promises_to_make": promises_to_make(report),
        "words": tally_words(report.verdicts),
        "stopped": report.stopped.brief if report.stopped else "",
        "counts": tallies(report.verdicts),
        "verdicts": [_verdict(report, verdict, path) for verdict in report.verdicts],
        "failures": [
            {
                "faults": list(row.faults),
                "consequence": row.consequence,
                "why": row.why,
                "silent": list(row.silent),
            }
            for row in report.failures
        ],
        "assumed": [
            *(f"“{a.title}”: {a.text}" for a in plan.assumptions),
            *map(promise_words, plan.locking.promises),
            *report.assumed,
        ],
        "unmet": [text_at(u.text, u.span, place_with_offsets) for u in report.unmet],
    }


def _verdict(report: Report, verdict: Verdict, path: Path | None) -> Json:
    obligation, plan = verdict.obligation, report.plan
    said: Json = {
        "key": obligation.key,
        "property": obligation.property,
        "title": title_of(obligation.property),
        "subjects": list(obligation.subjects),
        "status": verdict.status,
        "advice": obligation.advice,
        "expected": verdict.expected,
        "fails": verdict.fails,
        "word": kind_words(verdict)[0],
        "sentence": _sentence(verdict, plan),
        "places": [place_with_offsets(span) for span in obligation.spans[:2]],
        "follows_from": report.follows.get(obligation.key),
    }
    if verdict.status == "broken":
        said["remedies"] = [
            {
                "lead": remedy.lead,
                "steps": [text_at(s.text, s.span, place_with_offsets) for s in remedy.steps],
            }
            for remedy in remedies(verdict)
        ]
    if verdict.finding is not None:
        said["finding"] = _finding(verdict, verdict.finding, report, path)
    elif verdict.story is not None:
        said["history"] = _history(verdict.story, verdict)
    elif verdict.witness is not None:
        said["witness"] = [[w.kind, w.name, state] for w, state in verdict.witness]
    return said


def _sentence(verdict: Verdict, plan: Plan) -> str:
    match verdict.status:
        case "broken":
            return sentence(verdict.obligation.trouble)
        case "undecided":
            return f"Not decided: {verdict.why}."
        case _:
            return " ".join((*reason_sentences(verdict, plan), *uses_sentences(verdict, plan)))


def _finding(verdict: Verdict, finding: Finding, report: Report, path: Path | None) -> Json:
    plan = report.plan
    scene = situation_scene(finding, verdict.obligation, plan)
    words = situation_words(plan, finding.situation, finding.relevant)
    return {
        "facts": [[w.kind, w.name, state] for w, state in finding.situation],
        "relevant": sorted([what.kind, what.name] for what in scene.telling),
        "around": list(scene.around),
        "situation": f"{sentence(words)} {covered_words(finding, report)}",
        "causes": [cause_json(cause, place_with_offsets) for cause in finding.causes],
        "edits": _edits(finding, plan, path),
        "history": _history(finding.story, verdict) if finding.story else None,
    }


def _history(story: History, verdict: Verdict) -> Json:
    """The events and the states of a history, by moment."""
    return {
        "lossy": verdict.obligation.over == "lossy",
        "events": [event_json(event, place_with_offsets) for event in story.events],
        "moments": [
            [[w.kind, w.name, state] for w, state in moment.items() if state != w.usual]
            for moment in story.moments
        ],
    }


def _edits(finding: Finding, plan: Plan, path: Path | None) -> list[Json]:
    """Repairs that the page can make in the text at the press of a button."""
    fixes = rule_fix(plan, finding.mending, path), wiring_fix(plan, finding.rewiring, path)
    return [fix._asdict() for fix in fixes if fix is not None]
