"""What a user reads is spelled in one way, the American one: sentences in the program's strings,
what `explain` prints, the documents, the junction files and the page.

Names in code keep their own spelling, and so do keywords and options that are read either way:
a string without a space in it is taken for one of these.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from verifier.properties.catalog import CATALOG

ROOT = Path(__file__).resolve().parents[2]
_IZED = (
    "author|capital|central|character|custom|emphas|energ|equal|final|general|ideal|initial|local|"
    "maxim|minim|modern|neutral|normal|optim|organ|penal|priorit|random|real|recogn|serial|special|"
    "stabil|standard|summar|symbol|synchron|util|visual"
)
BRITISH = re.compile(
    r"(?<!\.)\b(?:un|re|dis|mis|pre)?(?:"
    r"(?:behavi|col|endeav|fav|flav|harb|hon|hum|lab|neighb|rig|vap)our\w*|"
    r"(?:centi|kilo|milli)?metres?|centr(?:e|es|ed|ing)|fibres?|litres?|theatres?|manoeuv\w+|"
    r"grey(?:ed|s|ish)?|aluminium|artefacts?|draughts?|kerbs?|mould\w*|plough\w*|storeys?|tyres?|"
    r"(?:cancel|channel|dial|equal|fuel|initial|label|level|marshal|model|panel|pencil|signal|"
    r"stencil|total|travel)l(?:ed|er|ers|ing)|fulfil|fulfils|fulfilment|skilful\w*|"
    r"(?:defen|licen|offen)ces?|practis(?:e|ed|es|ing)|programmes?|catalogues?|judgements?|"
    rf"(?:{_IZED})is(?:e|ed|er|ers|es|ing|ation|ations)|analys(?:e|ed|ing)|"
    r"amongst|burnt|cosy|enquir\w+|for ever|learnt|spelt|spoilt|towards|whilst"
    r")\b",
    re.IGNORECASE,
)

# Strings and comments of a script, one after the other, so that no quote is taken for another.
SCRIPT = re.compile(r"""'(?:[^'\\\n]|\\.)*'|"(?:[^"\\\n]|\\.)*"|`(?:[^`\\]|\\.)*`|//[^\n]*""")


def british(text: str) -> list[str]:
    return [found[0] for found in BRITISH.finditer(text)]


def sentences(path: Path) -> Iterator[str]:
    """The strings of a module that hold a space, without what describes it to its readers."""
    tree = ast.parse(path.read_text("utf-8"))
    described = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    for node in ast.walk(tree):
        match node:
            case ast.Constant(value=str(text)) if " " in text and id(node) not in described:
                yield text


def of_documents() -> Iterator[tuple[str, str]]:
    """Names and texts: documents and pages without what stands in them as code."""
    for path in (ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "grammar" / "reference.md"):
        yield path.name, re.sub(r"`[^`\n]+`", "", path.read_text("utf-8"))
    for folder in ("specs", "verifier"):
        for path in sorted((ROOT / folder).rglob("*.ixl")):
            yield path.name, path.read_text("utf-8")
    for path in sorted((ROOT / "verifier").rglob("*.html")):
        yield path.name, re.sub(r"<[^>]*>", " ", path.read_text("utf-8"))
    for path in sorted((ROOT / "verifier").rglob("*.js")):
        code = re.sub(r"\$\{[^}]*\}", "", path.read_text("utf-8"))
        yield path.name, "\n".join(text for text in SCRIPT.findall(code) if " " in text)


def test_sentences_of_the_program_are_spelled_the_american_way() -> None:
    wrong = {
        str(path.relative_to(ROOT)): words
        for path in sorted((ROOT / "verifier").rglob("*.py"))
        if (words := [word for text in sentences(path) for word in british(text)])
    }
    assert not wrong


def test_what_explain_prints_is_spelled_the_american_way() -> None:
    told = {p.name: f"{p.title} {p.explanation}" for p in CATALOG}
    assert not {name: words for name, text in told.items() if (words := british(text))}


def test_documents_and_pages_are_spelled_the_american_way() -> None:
    assert not {name: words for name, text in of_documents() if (words := british(text))}


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("A misspelt colour, labelled, cancelled.",
         ["misspelt", "colour", "labelled", "cancelled"]),
        ("It is grey; the neighbours analyse it in metres.",
         ["grey", "neighbours", "analyse", "metres"]),
        ("Unsignalled ways, recognised for ever.", ["Unsignalled", "recognised", "for ever"]),
        ("Colors, gray, labeled, canceled, meters, signaler: for every exercise.", []),
        ("The signal is at the center of the catalog, realistic, whose diameter is wise.", []),
    ],
)  # fmt: skip
def test_which_words_are_british(text: str, found: list[str]) -> None:
    assert british(text) == found
