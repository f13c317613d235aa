"""Mendings written into the file: what a person does with what the report offers."""

from verifier.plan.model import Plan
from verifier.verdicts.report import Addition


def written(plan: Plan, additions: tuple[Addition, ...]) -> str:
    """The text with every addition put at the end of the condition of its line."""
    by_line: dict[tuple[int, int], list[str]] = {}
    for addition in additions:
        by_line.setdefault((addition.span.start, addition.span.end), []).append(addition.condition)
    text = plan.source.text
    for (start, end), conditions in sorted(by_line.items(), reverse=True):
        # Of a line of a rule, what it shows comes first; of a clause, there is the condition alone.
        shows, word, when = text[start:end].rpartition("when")
        more = " and ".join(conditions)
        text = f"{text[:start]}{shows}{word} ({when.strip()}) and {more}{text[end:]}"
    return text
