"""`clearproof explain`: properties, error codes, and the lists everything is drawn from."""

from collections.abc import Iterator
from textwrap import wrap

from verifier.language.diagnostics.registry import DiagnosticKind, kinds
from verifier.language.syntax.parse import terminal_words
from verifier.language.syntax.tree import KIND_BY_TERMINAL
from verifier.language.words import Meaning, meanings
from verifier.plan.signals.aspects import INDICATIONS, chart
from verifier.properties.catalog import BY_NAME, CATALOG, Property
from verifier.properties.examples import example
from verifier.verdicts.exit_codes import table

# The widest line of a source, in characters.
WIDTH = 96
LISTS = {
    "properties": "what is proved",
    "codes": "what can be wrong with a file",
    "indications": "what an aspect can tell the engineer, and what it promises",
    "aspects": "the built-in aspect chart",
    "words": "the words of junction files and of reports, and what they mean",
    "exit-codes": "what the commands return",
}


def topics() -> list[str]:
    return [*LISTS, *BY_NAME, *kinds(), *meanings()]


def overview() -> Iterator[str]:
    yield "clearproof explain NAME explains a property, an error code, a word of junction files or"
    yield "reports, or one of these lists:"
    yield from (f"  {name:<14}{text}" for name, text in LISTS.items())


def explain(name: str) -> Iterator[str] | None:
    """The explanation of a topic as lines; None when there is none of that name."""
    if name in BY_NAME:
        return _property(BY_NAME[name])
    if name.upper() in kinds():
        return _code(kinds()[name.upper()])
    match name:
        case "properties":
            return _properties()
        case "codes":
            return (f"{kind.code}  {kind.title}" for kind in kinds().values())
        case "indications":
            return _indications()
        case "aspects":
            return _aspects()
        case "words":
            return _words()
        case "exit-codes":
            return iter(table())
        case _:
            return _word(name)


def _words() -> Iterator[str]:
    for of_language, title in ((True, "Junction files:"), (False, "Reports:")):
        yield title
        for meaning in meanings().values():
            if meaning.of_language == of_language:
                yield f"  {meaning.word:<16}  {meaning.text}"


def _word(name: str) -> Iterator[str] | None:
    """What a word means, be it in other capitals."""
    by_lower = {word.lower(): meaning for word, meaning in meanings().items()}
    meaning = meanings().get(name) or by_lower.get(name.lower())
    return None if meaning is None else _meaning(meaning)


def _meaning(meaning: Meaning) -> Iterator[str]:
    where = "a word of junction files" if meaning.of_language else "a word of reports"
    yield f"{meaning.word} ({where})"
    yield ""
    yield from wrap(f"{meaning.text[0].upper()}{meaning.text[1:]}.", WIDTH)
    for terminal, kind in KIND_BY_TERMINAL.items() if meaning.of_language else ():
        if terminal_words().get(terminal) != meaning.word:
            continue
        yield ""
        yield f"{kind.title} is written:"
        yield ""
        yield from _indented("\n".join(kind.example.split("` or `")))


def _property(entry: Property) -> Iterator[str]:
    yield f"{entry.name} ({entry.group}): {entry.title}"
    yield ""
    yield from entry.explanation.splitlines()
    yield ""
    yield from wrap(f"Source: {entry.source}.", WIDTH)
    for kind, words in (("broken", "A file in which it is broken"), ("mended", "The same, mended")):
        yield ""
        yield f"{words}:"
        yield ""
        yield from _indented(example(entry.name, kind))


def _code(kind: DiagnosticKind) -> Iterator[str]:
    yield f"{kind.code}: {kind.title}"
    yield ""
    yield from kind.explanation.splitlines()
    yield ""
    yield "Wrong:"
    yield ""
    yield from _indented(kind.bad)
    yield ""
    yield "Right:"
    yield ""
    yield from _indented(kind.good)


def _indented(text: str) -> Iterator[str]:
    return (f"    {line}".rstrip() for line in text.strip("\n").splitlines())


def _properties() -> Iterator[str]:
    group = ""
    for entry in CATALOG:
        if entry.group != group:
            group = entry.group
            yield f"{group[0].upper()}{group[1:]}:"
        yield f"  {entry.name:<26}  {entry.title}"


def _indications() -> Iterator[str]:
    yield "Indications, least restrictive first, and what each promises:"
    for indication in sorted(INDICATIONS.values(), key=lambda i: -i.rank):
        promises = []
        if indication.way != "any":
            promises.append(f"a {indication.way} route")
        if indication.next_at_least:
            least = indication.next_at_least
            speed = "" if least == "slow" else f", and at least {least} speed there"
            promises.append(f"a next signal that is not at stop{speed}")
        yield f"  {indication.text:<60} {' and '.join(promises) or '-'}"


def _aspects() -> Iterator[str]:
    yield "The built-in chart (an `aspect` statement replaces or adds to it):"
    for aspect in chart(()).aspects:
        colors = " or ".join(" over ".join(c) for c in aspect.combinations)
        yield f"  {aspect.name:<19} {colors}"
        yield f"  {'':<19} {aspect.indication.text}"
