"""`clearproof lsp`, asked by a real client over standard input and output."""

import builtins
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import verifier
from tests.editor.client import Editor, editor
from verifier.cli import main
from verifier.verdicts.grade import Grade

from lsprotocol import types as t  # isort: skip  (after the client, which says what is missing)
from pygls.exceptions import JsonRpcException  # isort: skip
from verifier.editor.commands import DRAFT, DRAFTED, LOOKED_FOR, MEND  # isort: skip

ROOT = Path(__file__).resolve().parents[2]
BROKEN = (ROOT / "specs/first-steps/both-green-broken.ixl").read_text("utf-8")
# A character that editors count as two.
SIDING = "# 🚂🚃\n" + (ROOT / "specs/first-steps/end-of-siding-mended.ixl").read_text("utf-8")


class Opened:
    """A text that is open in the editor."""

    def __init__(self, asked: Editor, path: Path, text: str):
        self.asked, self.uri, self.text, self.version = asked, path.as_uri(), text, 1
        path.write_text(text, "utf-8")
        item = t.TextDocumentItem(self.uri, "ixl", 1, text)
        asked.tell("text_document_did_open", t.DidOpenTextDocumentParams(item))

    @property
    def there(self) -> t.TextDocumentIdentifier:
        return t.TextDocumentIdentifier(self.uri)

    def place(self, words: str, further: int = 0) -> t.Position:
        """The place of some words, as the protocol counts: UTF-16."""
        before = self.text[: self.text.index(words) + further]
        line = before.rpartition("\n")[2]
        return t.Position(before.count("\n"), len(line.encode("utf-16-le")) // 2)

    def at(self, position: t.Position) -> str:
        """The rest of the line at a place."""
        line = self.text.split("\n")[position.line].encode("utf-16-le")
        return line[2 * position.character :].decode("utf-16-le")

    def change(self, old: str, new: str) -> None:
        """Type something in place of some words."""
        place = t.Range(self.place(old), self.place(old, len(old)))
        self.text = self.text.replace(old, new, 1)
        self.version += 1
        document = t.VersionedTextDocumentIdentifier(self.version, self.uri)
        change = t.TextDocumentContentChangePartial(place, new)
        self.asked.tell(
            "text_document_did_change", t.DidChangeTextDocumentParams(document, [change])
        )

    def edited(self, edits: Any) -> str:
        """The text after edits of the protocol."""
        text = self.text
        lines = text.split("\n")

        def offset(at: t.Position) -> int:
            line = lines[at.line].encode("utf-16-le")[: 2 * at.character].decode("utf-16-le")
            return sum(len(one) + 1 for one in lines[: at.line]) + len(line)

        for edit in sorted(edits, key=lambda e: offset(e.range.start), reverse=True):
            start, end = offset(edit.range.start), offset(edit.range.end)
            text = text[:start] + edit.new_text + text[end:]
        return text


pytestmark = pytest.mark.xdist_group(__name__)  # one process makes what all need


@pytest.fixture(scope="module")
def session() -> Iterator[tuple[Editor, t.InitializeResult]]:
    with editor() as begun:
        yield begun


@pytest.fixture(scope="module")
def asked(session: tuple[Editor, t.InitializeResult]) -> Editor:
    return session[0]


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("otter valley")  # an address with a space in it


@pytest.fixture(scope="module")
def siding(asked: Editor, home: Path) -> Opened:
    return Opened(asked, home / "siding.ixl", SIDING)


def test_it_offers_what_it_can_do(session: tuple[Editor, t.InitializeResult]) -> None:
    can = session[1].capabilities
    assert can.hover_provider and can.completion_provider and can.definition_provider
    assert can.references_provider and can.rename_provider and can.code_action_provider
    assert can.document_formatting_provider and can.folding_range_provider
    assert can.document_symbol_provider and can.semantic_tokens_provider


def test_verdicts_come_with_progress_and_proved_repairs(asked: Editor, home: Path) -> None:
    broken = Opened(asked, home / "broken.ixl", BROKEN.replace("expect broken", "# expect broken"))
    found = asked.found(broken.uri, lambda told: any(d.code == "converging-proceeds" for d in told))
    wrong = next(d for d in found if d.code == "converging-proceeds")
    assert "both let trains onto tracks that converge" in wrong.message
    assert wrong.severity == t.DiagnosticSeverity.Error
    assert wrong.related_information, "the causes, each at its line"
    assert asked.ended()
    context = t.CodeActionContext([wrong])
    actions = asked.ask(
        "text_document_code_action", t.CodeActionParams(broken.there, wrong.range, context)
    )
    proved = [action for action in actions if "proved" in action.title]
    assert proved
    mended = Opened(asked, home / "mended.ixl", broken.edited(proved[0].edit.changes[broken.uri]))
    asked.progress.clear()
    assert asked.ended()
    told = asked.found(mended.uri, lambda told: True)
    assert not any(d.code == "converging-proceeds" for d in told)
    # Once the text has changed, what was proved of the old one is offered no more.
    broken.change("layout", "lay0ut")
    asked.found(broken.uri, lambda told: any(d.code == "CP103" for d in told))
    again = asked.ask(
        "text_document_code_action", t.CodeActionParams(broken.there, wrong.range, context)
    )
    assert not [action for action in again if "proved" in action.title]


TRACK = """\
edge West, East
block Main, Switch, Single, Siding
turnout T1 in Switch
bumper End
track West = Single | T1 normal | Main = East
track T1 reverse | Siding = End
"""


def _offered(asked: Editor, opened: Opened, wrong: list[t.Diagnostic]) -> set[str]:
    """The titles of what is offered for a whole text. (lsprotocol reads an action that has a
    command as if it were that command, so that nothing but its title is left.)"""
    everything = t.Range(t.Position(0, 0), t.Position(opened.text.count("\n"), 0))
    params = t.CodeActionParams(opened.there, everything, t.CodeActionContext(wrong))
    return {action.title for action in asked.ask("text_document_code_action", params)}


def _done(asked: Editor, opened: Opened, command: str) -> str:
    """The text after what a command had changed in it."""
    asked.edits.clear()
    asked.ask("workspace_execute_command", t.ExecuteCommandParams(command, [opened.uri]))
    (edit,) = asked.edits
    assert edit.changes
    return opened.edited(edit.changes[opened.uri])


def test_a_draft_and_a_repair_are_made_in_the_text(asked: Editor, home: Path) -> None:
    bare = Opened(asked, home / "bare.ixl", TRACK)
    assert DRAFTED in _offered(asked, bare, [])
    drafted = _done(asked, bare, DRAFT)
    assert all(line in drafted for line in TRACK.splitlines())
    assert verifier.prove(verifier.load_text(drafted)).grade is Grade.OPERATION

    wrong = Opened(asked, home / "wrong.ixl", BROKEN.replace("expect broken", "# expect broken"))
    found = asked.found(wrong.uri, lambda told: any(d.code == "converging-proceeds" for d in told))
    errors = [d for d in found if d.code == "converging-proceeds"]
    assert LOOKED_FOR in _offered(asked, wrong, errors)
    mended = verifier.prove(verifier.load_text(_done(asked, wrong, MEND)))
    assert not any(v.fails for v in mended.verdicts)
    # What has errors can neither be drafted nor mended.
    bare.change("turnout T1 in Switch", "turnout T1 in Swich")
    assert not {DRAFTED, LOOKED_FOR} & _offered(asked, bare, errors)


def test_errors_come_as_one_types_and_go(asked: Editor, siding: Opened) -> None:
    asked.found(siding.uri, lambda told: told == [], 1)
    siding.change("turnout T1 in Switch", "turnout T1 in Swich")
    (wrong,) = asked.found(siding.uri, lambda told: len(told) == 1, siding.version)
    assert wrong.code == "CP201" and siding.at(wrong.range.start).startswith("Swich")
    (fix,) = asked.ask(
        "text_document_code_action",
        t.CodeActionParams(siding.there, wrong.range, t.CodeActionContext([wrong])),
    )
    assert siding.edited(fix.edit.changes[siding.uri]) == SIDING
    siding.change("Swich", "Switch")
    assert asked.found(siding.uri, lambda told: told == [], siding.version) == []
    # Errors of the plan, which only its process finds.
    siding.change("edge ", "edge Nowhere, ")
    (wrong,) = asked.found(siding.uri, lambda told: len(told) == 1, siding.version)
    assert siding.at(wrong.range.start).startswith("Nowhere")
    siding.change("Nowhere, ", "")
    asked.found(siding.uri, lambda told: told == [], siding.version)


def test_words_and_names_are_told_and_proposed(asked: Editor, siding: Opened) -> None:
    told = asked.ask("text_document_hover", t.HoverParams(siding.there, siding.place("4RA at")))
    assert "- **Clear** (green: proceed) when" in told.contents.value
    siding.change("# 🚂🚃\n", "# 🚂🚃\nturnout T2 in S\n")
    place = siding.place("turnout T2 in S", 15)
    found = asked.ask("text_document_completion", t.CompletionParams(siding.there, place))
    assert [item.label for item in found.items] == ["Siding", "Switch", "Single"]
    assert siding.edited([found.items[1].text_edit]).startswith("# 🚂🚃\nturnout T2 in Switch\n")
    siding.change("turnout T2 in S\n", "")


def test_names_are_found_and_renamed(asked: Editor, siding: Opened, home: Path) -> None:
    use = siding.place("T1 normal")
    found = asked.ask("text_document_definition", t.DefinitionParams(siding.there, use))
    assert siding.at(found.range.start).startswith("T1 in Switch")
    context = t.ReferenceContext(include_declaration=False)
    places = asked.ask("text_document_references", t.ReferenceParams(context, siding.there, use))
    assert len(places) >= 6 and all(siding.at(p.range.start).startswith("T1") for p in places)
    edit = asked.ask("text_document_rename", t.RenameParams(siding.there, use, "T9"))
    assert siding.edited(edit.changes[siding.uri]) == SIDING.replace("T1", "T9")
    with pytest.raises(JsonRpcException, match="already the name of a signal"):
        asked.ask("text_document_rename", t.RenameParams(siding.there, use, "4L"))


def test_names_are_renamed_in_the_files_that_belong_together(asked: Editor, home: Path) -> None:
    (home / "parts").mkdir()
    inner = Opened(asked, home / "parts" / "track.ixl", "block Main, Far\nedge West\n")
    outer = home / "whole.ixl"
    outer.write_text('include "parts/track.ixl"\ntrack West = Main | Far\n', "utf-8")
    edit = asked.ask(
        "text_document_rename", t.RenameParams(inner.there, inner.place("Far"), "Near")
    )
    assert set(edit.changes) == {inner.uri, outer.as_uri()}
    opened = Opened(asked, outer, outer.read_text("utf-8"))
    found = asked.ask(
        "text_document_definition", t.DefinitionParams(opened.there, opened.place("Far"))
    )
    assert found.uri == inner.uri and inner.at(found.range.start) == "Far"


def test_the_whole_text_is_laid_out(asked: Editor, siding: Opened) -> None:
    options = t.FormattingOptions(2, True)
    assert not asked.ask(
        "text_document_formatting", t.DocumentFormattingParams(siding.there, options)
    )
    siding.change("turnout T1 in", "turnout   T1    in")
    edits = asked.ask("text_document_formatting", t.DocumentFormattingParams(siding.there, options))
    assert siding.edited(edits) == SIDING
    siding.change("turnout   T1    in", "turnout T1 in")
    ranges = asked.ask("text_document_folding_range", t.FoldingRangeParams(siding.there))
    starts = [siding.text.split("\n")[fold.start_line] for fold in ranges]
    assert any(line.startswith("signal 4RA") for line in starts)
    listed = asked.ask("text_document_document_symbol", t.DocumentSymbolParams(siding.there))
    assert {"T1", "4L", "Main"} <= {symbol.name for symbol in listed}


def test_words_are_tinted_where_they_stand(asked: Editor, siding: Opened) -> None:
    whole = asked.ask("text_document_semantic_tokens_full", t.SemanticTokensParams(siding.there))
    line = character = 0
    words = []
    for at in range(0, len(whole.data), 5):
        down, right, size, *_ = whole.data[at : at + 5]
        line, character = line + down, right if down else character + right
        words.append(siding.at(t.Position(line, character)).encode("utf-16-le")[: 2 * size])
    assert words[0].decode("utf-16-le") == "# 🚂🚃"
    assert "otherwise".encode("utf-16-le") in words and "4RA".encode("utf-16-le") in words


def test_without_pygls_one_line_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    real = builtins.__import__

    def without(name: str, *others: Any) -> Any:
        if name.startswith("verifier.editor"):
            raise ImportError("No module named 'pygls'", name="pygls")
        return real(name, *others)

    monkeypatch.setattr(builtins, "__import__", without)
    assert main(["lsp"]) == 2
    said = capsys.readouterr().err
    assert said == "`clearproof lsp` needs pygls 2: pip install 'clearproof[editor]'\n"
