"""The language server: each request of the protocol, answered from the library for editors.

In: the messages of an editor. Out: answers, and what was found in each open text. Texts are kept
here as the editor counts their lines, which is not how Python splits them.
"""

import asyncio
from collections.abc import Callable, Iterable, Iterator
from functools import partial
from typing import Any

from lsprotocol import types as t
from pygls.exceptions import JsonRpcException
from pygls.lsp.server import LanguageServer

from verifier import __version__
from verifier.assist.completion import Sort, proposals
from verifier.assist.fixes import Fix, error_fixes
from verifier.assist.hover import hover
from verifier.assist.layout import formatted
from verifier.assist.navigation import CannotRename, Family, Place, renamed
from verifier.assist.outline import TINTS, Symbol, Tint, folds, symbols, tints
from verifier.assist.places import from_editor, length, to_editor
from verifier.editor.checking import Checking, Progress
from verifier.editor.commands import DRAFT, MEND, Commands, actions
from verifier.editor.findings import Found, Weight
from verifier.editor.open_texts import OpenText, OpenTexts
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.source import Source

# Seconds that an editor has to say whether it shows progress.
ANSWERS_WITHIN = 2.0

_WEIGHTS: dict[Weight, t.DiagnosticSeverity] = {
    "error": t.DiagnosticSeverity.Error,
    "warning": t.DiagnosticSeverity.Warning,
    "note": t.DiagnosticSeverity.Information,
    "hint": t.DiagnosticSeverity.Hint,
}
_SORTS: dict[Sort, t.CompletionItemKind] = {
    "statement": t.CompletionItemKind.Keyword,
    "word": t.CompletionItemKind.Keyword,
    "state": t.CompletionItemKind.EnumMember,
    "aspect": t.CompletionItemKind.Value,
    "property": t.CompletionItemKind.Constant,
    "name": t.CompletionItemKind.Variable,
}
# The kinds of words as editors know them.
_TINTED: dict[Tint, str] = {
    "comment": "comment", "string": "string", "statement": "keyword", "keyword": "modifier",
    "number": "number", "name": "variable", "aspect": "enumMember", "operator": "operator",
}  # fmt: skip
_SYMBOLS = {
    "module": t.SymbolKind.Module, "use": t.SymbolKind.Object, "signal": t.SymbolKind.Event,
    "head": t.SymbolKind.Field, "block": t.SymbolKind.Array, "turnout": t.SymbolKind.Method,
    "relay": t.SymbolKind.Variable, "timer": t.SymbolKind.Variable,
    "lever": t.SymbolKind.Property, "button": t.SymbolKind.Property,
    "condition": t.SymbolKind.Boolean, "detector": t.SymbolKind.Interface,
    "driver": t.SymbolKind.Interface, "supply": t.SymbolKind.Constant,
}  # fmt: skip


def serve(within: float | None = None) -> None:
    """Serve one editor over standard input and output until it ends; ``within``: seconds for each
    proof."""
    server(within).start_io()


def server(within: float | None = None) -> LanguageServer:
    """A server that has not been started."""
    made = LanguageServer(
        "clearproof", __version__, text_document_sync_kind=t.TextDocumentSyncKind.Incremental
    )
    answers = _Answers(made, within)
    for method, answer, options in answers.all():
        made.feature(method, options)(partial(answer))  # marked: a method cannot be
    for name, work in answers.commands():
        made.command(name)(work)
    return made


class _Answers:
    """The answers of one server."""

    def __init__(self, made: LanguageServer, within: float | None):
        self._server = made
        self._texts = OpenTexts()
        self._checking = Checking(self._publish, self._begin, within)
        self._proofs_begun = 0
        self._commands = Commands(made, self._texts, self._checking, self._begin, _replaced, within)

    def all(self) -> Iterator[tuple[str, Callable[..., Any], Any]]:
        """Method, answer and options of each request."""
        legend = t.SemanticTokensLegend([_TINTED[tint] for tint in TINTS], ["declaration"])
        yield t.TEXT_DOCUMENT_DID_OPEN, self.opened, None
        yield t.TEXT_DOCUMENT_DID_CHANGE, self.changed, None
        yield t.TEXT_DOCUMENT_DID_SAVE, self.saved, None
        yield t.TEXT_DOCUMENT_DID_CLOSE, self.closed, None
        yield t.SHUTDOWN, self.ended, None
        yield t.TEXT_DOCUMENT_HOVER, self.hover, None
        yield (
            t.TEXT_DOCUMENT_COMPLETION,
            self.completion,
            t.CompletionOptions(trigger_characters=[" ", "."]),
        )
        yield t.TEXT_DOCUMENT_DEFINITION, self.definition, None
        yield t.TEXT_DOCUMENT_REFERENCES, self.references, None
        yield t.TEXT_DOCUMENT_DOCUMENT_HIGHLIGHT, self.highlights, None
        yield t.TEXT_DOCUMENT_PREPARE_RENAME, self.prepare_rename, None
        yield t.TEXT_DOCUMENT_RENAME, self.rename, t.RenameOptions(prepare_provider=True)
        yield t.TEXT_DOCUMENT_FORMATTING, self.formatting, None
        yield t.TEXT_DOCUMENT_FOLDING_RANGE, self.folding, None
        yield t.TEXT_DOCUMENT_DOCUMENT_SYMBOL, self.symbols, None
        yield t.TEXT_DOCUMENT_SEMANTIC_TOKENS_FULL, self.tokens, legend
        yield t.TEXT_DOCUMENT_SEMANTIC_TOKENS_RANGE, self.tokens_in_range, legend
        yield (
            t.TEXT_DOCUMENT_CODE_ACTION,
            self.actions,
            t.CodeActionOptions(
                code_action_kinds=[t.CodeActionKind.QuickFix, t.CodeActionKind.Source]
            ),
        )

    def commands(self) -> Iterator[tuple[str, Callable[..., Any]]]:
        """The name of each command, and what it does."""
        work = self._commands

        async def draft(uri: str) -> None:
            await work.draft(uri)

        async def mend(uri: str) -> None:
            await work.mend(uri)

        yield DRAFT, draft
        yield MEND, mend

    # -------------------------------------------------------------- texts

    def opened(self, asked: t.DidOpenTextDocumentParams) -> None:
        document = asked.text_document
        self._checking.proofs.warm_up()
        self._checking.changed(self._texts.put(document.uri, document.version, document.text))

    def changed(self, asked: t.DidChangeTextDocumentParams) -> None:
        uri, version = asked.text_document.uri, asked.text_document.version
        known = self._texts.get(uri)
        if known is None:
            return
        written = known.text.text
        for change in asked.content_changes:
            written = _changed(written, change)
        self._checking.changed(self._texts.put(uri, version, written))

    def saved(self, asked: t.DidSaveTextDocumentParams) -> None:
        """Files that include the one saved are proved again."""
        saved = asked.text_document.uri
        for opened in self._texts:
            if opened.uri != saved and saved in self._texts.family(opened)[1]:
                self._checking.prove(opened.uri)

    def closed(self, asked: t.DidCloseTextDocumentParams) -> None:
        uri = asked.text_document.uri
        self._texts.close(uri)
        self._checking.closed(uri)
        self._server.text_document_publish_diagnostics(t.PublishDiagnosticsParams(uri, []))

    async def ended(self, asked: None) -> None:
        await self._checking.close()

    # -------------------------------------------------------------- what was found

    def _publish(self, opened: OpenText, found: list[Found]) -> None:
        shown = [_diagnostic(one, opened, self._uri_of) for one in found]
        self._server.text_document_publish_diagnostics(
            t.PublishDiagnosticsParams(opened.uri, shown, opened.version)
        )

    def _uri_of(self, file: str) -> OpenText | None:
        return next((o for o in self._texts if o.source.name == file), None)

    async def _begin(self, opened: OpenText) -> tuple[Progress, Callable[[str], None]]:
        """Show in the editor how far a proof is, if it can."""
        window = self._server.client_capabilities.window
        bar = self._server.work_done_progress
        self._proofs_begun += 1
        token = f"clearproof-{self._proofs_begun}"
        shows = bool(window and window.work_done_progress)
        if shows:
            try:
                async with asyncio.timeout(ANSWERS_WITHIN):
                    await bar.create_async(token)
                bar.begin(token, t.WorkDoneProgressBegin("Proving", percentage=0))
            except (TimeoutError, JsonRpcException):
                shows = False

        async def show(done: int, of: int) -> None:
            if shows:
                part = t.WorkDoneProgressReport(
                    message=f"{done} of {of} decided", percentage=100 * done // of
                )
                bar.report(token, part)

        def end(words: str) -> None:
            if shows:
                bar.end(token, t.WorkDoneProgressEnd(message=words))

        return show, end

    # -------------------------------------------------------------- places

    def _at(self, asked: Any) -> tuple[OpenText, int] | None:
        """The text that is asked about, and the place in it."""
        opened = self._texts.get(asked.text_document.uri)
        return None if opened is None else (opened, _offset(opened.source, asked.position))

    def hover(self, asked: t.HoverParams) -> t.Hover | None:
        if (at := self._at(asked)) is None:
            return None
        opened, offset = at
        found = hover(self._texts.family(opened)[0], 0, offset)
        if found is None:
            return None
        return t.Hover(
            t.MarkupContent(t.MarkupKind.Markdown, found.markdown),
            _range(opened.source, found.start, found.end),
        )

    def completion(self, asked: t.CompletionParams) -> t.CompletionList:
        items: list[t.CompletionItem] = []
        if (at := self._at(asked)) is not None:
            opened, offset = at
            family = self._texts.family(opened)[0]
            for number, one in enumerate(proposals(family, 0, offset)):
                place = _range(opened.source, one.start, one.end)
                items.append(
                    t.CompletionItem(
                        one.text,
                        kind=_SORTS[one.sort],
                        detail=one.about or None,
                        sort_text=f"{number:04}",
                        text_edit=t.TextEdit(place, one.text),
                    )
                )
        return t.CompletionList(is_incomplete=False, items=items)

    def definition(self, asked: t.DefinitionParams) -> t.Location | None:
        if (at := self._at(asked)) is None:
            return None
        family, uris = self._texts.family(at[0])
        meant = family.meant_at(0, at[1])
        if meant is None:
            return None
        name = meant.declared.name
        return _location(family, uris, Place(meant.file, name.start, name.end))

    def references(self, asked: t.ReferenceParams) -> list[t.Location]:
        found: dict[tuple[str, int, int], t.Location] = {}
        for family, uris, offset in self._meant_in(asked):
            meant = family.meant_at(uris.index(asked.text_document.uri), offset)
            if meant is None:
                continue
            for part in family.meaning(meant.declared):
                declares = (part.place.start, part.file) == (meant.declared.name.start, meant.file)
                if asked.context.include_declaration or not declares:
                    key = uris[part.place.file], part.place.start, part.place.end
                    found[key] = _location(family, uris, part.place)
        return list(found.values())

    def highlights(self, asked: t.DocumentHighlightParams) -> list[t.DocumentHighlight]:
        if (at := self._at(asked)) is None:
            return []
        family = Family((at[0].names,))
        meant = family.meant_at(0, at[1])
        parts = family.meaning(meant.declared) if meant else ()
        source = at[0].source
        return [
            t.DocumentHighlight(_range(source, part.place.start, part.place.end)) for part in parts
        ]

    def _meant_in(self, asked: Any) -> Iterator[tuple[Family, list[str], int]]:
        """Every family that the text asked about is in."""
        if (at := self._at(asked)) is not None:
            for family, uris in self._texts.families(at[0]):
                yield family, uris, at[1]

    # -------------------------------------------------------------- other names

    def prepare_rename(self, asked: t.PrepareRenameParams) -> t.PrepareRenameResult | None:
        if (at := self._at(asked)) is None:
            return None
        meant = self._texts.family(at[0])[0].meant_at(0, at[1])
        if meant is None:
            return None
        start, end = meant.place.start, meant.place.end
        old = at[0].text.text[start:end]
        return t.PrepareRenamePlaceholder(_range(at[0].source, start, end), old)

    def rename(self, asked: t.RenameParams) -> t.WorkspaceEdit:
        changes: dict[str, dict[tuple[int, int], t.TextEdit]] = {}
        for family, uris, offset in self._meant_in(asked):
            file = uris.index(asked.text_document.uri)
            try:
                places = renamed(family, file, offset, asked.new_name)
            except CannotRename as why:
                raise JsonRpcException(str(why), t.LSPErrorCodes.RequestFailed) from None
            for place in places:
                source = family.names[place.file].text.source
                edit = t.TextEdit(_range(source, place.start, place.end), asked.new_name)
                changes.setdefault(uris[place.file], {})[place.start, place.end] = edit
        return t.WorkspaceEdit({uri: list(edits.values()) for uri, edits in changes.items()})

    # -------------------------------------------------------------- the whole text

    def formatting(self, asked: t.DocumentFormattingParams) -> list[t.TextEdit]:
        opened = self._texts.get(asked.text_document.uri)
        if opened is None:
            return []
        before = opened.text.text
        try:
            after = formatted(opened.text)
        except InputError:
            return []
        return [_edit(opened.source, before, after)] if after != before else []

    def folding(self, asked: t.FoldingRangeParams) -> list[t.FoldingRange]:
        opened = self._texts.get(asked.text_document.uri)
        return [
            t.FoldingRange(
                fold.first - 1,
                fold.last - 1,
                kind=t.FoldingRangeKind.Comment if fold.comment else t.FoldingRangeKind.Region,
            )
            for fold in (folds(opened.text) if opened else ())
        ]

    def symbols(self, asked: t.DocumentSymbolParams) -> list[t.DocumentSymbol]:
        opened = self._texts.get(asked.text_document.uri)
        return [_symbol(opened.source, one) for one in symbols(opened.names)] if opened else []

    def tokens(self, asked: t.SemanticTokensParams) -> t.SemanticTokens:
        opened = self._texts.get(asked.text_document.uri)
        return t.SemanticTokens(_encoded(opened, 0, len(opened.text.text)) if opened else [])

    def tokens_in_range(self, asked: t.SemanticTokensRangeParams) -> t.SemanticTokens:
        opened = self._texts.get(asked.text_document.uri)
        if opened is None:
            return t.SemanticTokens([])
        start, end = (_offset(opened.source, at) for at in (asked.range.start, asked.range.end))
        return t.SemanticTokens(_encoded(opened, start, end))

    # -------------------------------------------------------------- changes that mend

    def actions(self, asked: t.CodeActionParams) -> list[t.CodeAction]:
        opened = self._texts.get(asked.text_document.uri)
        if opened is None:
            return []
        start, end = (_offset(opened.source, at) for at in (asked.range.start, asked.range.end))
        uri = opened.uri
        wrong = self._checking.errors(uri)
        near = [d for d in wrong if d.span.start <= end and start <= d.span.end]
        proved = self._checking.repairs(uri)
        fixes = [
            *error_fixes(opened.source, near),
            *(fix for about, fix in proved if about.start <= end and start <= about.end),
        ]
        unique = {(fix.start, fix.end, fix.text): fix for fix in fixes}
        found = [_action(opened, fix, asked.context.diagnostics) for fix in unique.values()]
        broken = self._checking.is_broken(uri, start, end)
        return found + actions(uri, broken and not wrong, can_be_drafted=not wrong)


# ------------------------------------------------------------------ from ours to theirs


def _offset(source: Source, at: t.Position) -> int:
    return from_editor(source, at.line, at.character)


def _range(source: Source, start: int, end: int) -> t.Range:
    return t.Range(t.Position(*to_editor(source, start)), t.Position(*to_editor(source, end)))


def _changed(written: str, change: t.TextDocumentContentChangeEvent) -> str:
    """A text after one change of it."""
    if isinstance(change, t.TextDocumentContentChangePartial):
        source = Source("", written)
        start, end = (_offset(source, at) for at in (change.range.start, change.range.end))
        return written[:start] + change.text + written[end:]
    return change.text


def _diagnostic(
    found: Found, opened: OpenText, open_at: Callable[[str], OpenText | None]
) -> t.Diagnostic:
    further = []
    for one in found.further:
        other = open_at(one.file)
        if other is not None:
            place = t.Location(other.uri, _range(other.source, one.start, one.end))
            further.append(t.DiagnosticRelatedInformation(place, one.text))
    return t.Diagnostic(
        _range(opened.source, found.start, found.end),
        found.text,
        severity=_WEIGHTS[found.weight],
        code=found.code,
        source="clearproof",
        related_information=further or None,
    )


def _location(family: Family, uris: list[str], place: Place) -> t.Location:
    source = family.names[place.file].text.source
    return t.Location(uris[place.file], _range(source, place.start, place.end))


def _edit(source: Source, before: str, after: str) -> t.TextEdit:
    """The change from one text to another, without what both begin and end with."""
    start = next(
        (i for i, (a, b) in enumerate(zip(before, after, strict=False)) if a != b),
        min(len(before), len(after)),
    )
    most = min(len(before), len(after)) - start
    same = next((i for i in range(most) if before[-1 - i] != after[-1 - i]), most)
    return t.TextEdit(_range(source, start, len(before) - same), after[start : len(after) - same])


def _replaced(opened: OpenText, start: int, end: int, text: str) -> t.TextEdit:
    """One stretch of a text replaced, of which what stays the same is left out."""
    before = opened.text.text
    return _edit(opened.source, before, before[:start] + text + before[end:])


def _symbol(source: Source, one: Symbol) -> t.DocumentSymbol:
    name = _range(source, one.name_start, one.name_end)
    around = _range(source, min(one.start, one.name_start), max(one.end, one.name_end))
    inside = [_symbol(source, symbol) for symbol in one.inside]
    kind = _SYMBOLS.get(one.kind, t.SymbolKind.Object)
    return t.DocumentSymbol(one.name, kind, around, name, detail=one.kind, children=inside)


def _encoded(opened: OpenText, start: int, end: int) -> list[int]:
    """The words of a stretch as the protocol counts them: each from the one before it."""
    source = opened.source
    found: list[int] = []
    line = character = 0
    for one in tints(opened.names):
        if one.end <= start or one.start >= end:
            continue
        at_line, at_character = to_editor(source, one.start)
        found += (
            at_line - line,
            at_character - (character if at_line == line else 0),
            length(source.text[one.start : one.end]),
            TINTS.index(one.tint),
            int(one.declares),
        )
        line, character = at_line, at_character
    return found


def _action(opened: OpenText, fix: Fix, wrong: Iterable[t.Diagnostic]) -> t.CodeAction:
    edit = t.TextEdit(_range(opened.source, fix.start, fix.end), fix.text)
    about = [one for one in wrong if one.code == fix.mends or fix.mends.startswith(str(one.code))]
    return t.CodeAction(
        fix.title,
        kind=t.CodeActionKind.QuickFix,
        diagnostics=about,
        is_preferred=True,
        edit=t.WorkspaceEdit({opened.uri: [edit]}),
    )
