"""Changes of the wiring written into the file: what a person does with what is offered."""

from collections.abc import Iterable

from verifier.verdicts.report import Rewiring

# Clauses of which two belong to different kinds though they begin alike.
_TWO_WORDS = {"when", "output"}


def rewired(text: str, steps: Iterable[Rewiring]) -> str:
    """The text with every change made, in order. Spans speak of the text as it was, so each
    statement is found again by its first words, which no change touches but `instead`."""
    for step in steps:
        head = _line_at(step.span.source.text, step.span.start)
        lines = text.splitlines()
        first = next(i for i, line in enumerate(lines) if _same(line, head))
        last = first + 1
        while last < len(lines) and lines[last].startswith("  "):
            last += 1
        lines[first:last] = _statement(lines[first:last], step)
        text = "\n".join(lines) + "\n"
    return text


def _statement(old: list[str], step: Rewiring) -> list[str]:
    match step.how:
        case "instead":
            return step.write.splitlines()
        case "after":
            return [*old, *step.write.splitlines()]
        case "further clause":
            return [*old, f"  {step.write}"]
        case "clause":
            kept = [line for line in old[1:] if _begin(line) != _begin(step.write)]
            # A clause may stand at the end of the first line.
            head, _, _ = old[0].partition(f" {step.write.split()[0]} ")
            return [head, *kept, f"  {step.write}"]


def _begin(clause: str) -> tuple[str, ...]:
    words = ["contacts" if w == "contact" else w for w in clause.split() if w != "no"]
    return tuple(words[:2] if words[0] in _TWO_WORDS else words[:1])


def _line_at(text: str, offset: int) -> str:
    start = text.rfind("\n", 0, offset) + 1
    return text[start : text.find("\n", offset)]


def _same(line: str, head: str) -> bool:
    return bool(line) and line.split()[:2] == head.split()[:2]
