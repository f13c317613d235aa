"""What an editor can ask for that takes a while: what a text lacks drafted into it, and repairs.

In: the text it is asked of. Out: an edit that the editor is asked to make, of what was proved
alone; of several repairs the user chooses one. A text that has changed meanwhile stays as it is.
"""

from collections.abc import AsyncGenerator, Callable
from contextlib import aclosing
from typing import Any

from lsprotocol import types as t
from pygls.lsp.server import LanguageServer

from verifier.editor.checking import Begin, Checking
from verifier.editor.open_texts import OpenText, OpenTexts, job_of

Json = dict[str, Any]

DRAFT, MEND = "clearproof.draft", "clearproof.mend"
# What is drafted; the command line and the page have more to choose from.
USUAL = {"aspects": "three", "panel": "dispatcher", "by_hand": False}
DRAFTED = "Draft what is missing: signals, rules, panel and locks, proved"
LOOKED_FOR = "Look for repairs that are proved"
CHANGED = "The text has changed meanwhile: ask again."
# So many repairs are put to the user.
MOST_SHOWN = 5

Replaced = Callable[[OpenText, int, int, str], t.TextEdit]


def actions(uri: str, is_broken: bool, can_be_drafted: bool) -> list[t.CodeAction]:
    """What can be asked for at a place of a text: repairs where something is broken there; a draft
    of any text that can be read."""
    found = []
    if is_broken:
        mend = t.Command(LOOKED_FOR, MEND, arguments=[uri])
        found.append(t.CodeAction(LOOKED_FOR, kind=t.CodeActionKind.QuickFix, command=mend))
    if can_be_drafted:
        draft = t.Command(DRAFTED, DRAFT, arguments=[uri])
        found.append(t.CodeAction(DRAFTED, kind=t.CodeActionKind.Source, command=draft))
    return found


class Commands:
    """The commands of one server. ``begin`` shows the progress of work on a text; ``replaced``
    makes an edit of the protocol."""

    def __init__(
        self,
        server: LanguageServer,
        texts: OpenTexts,
        checking: Checking,
        begin: Begin,
        replaced: Replaced,
        within: float | None,
    ):
        self._server, self._texts, self._checking = server, texts, checking
        self._begin, self._replaced, self._within = begin, replaced, within

    async def draft(self, uri: str) -> None:
        """Write what a text lacks into it."""
        opened = self._texts.get(uri)
        if opened is None:
            return
        answer = await self._work(opened, {"draft": USUAL})
        text = opened.text.text
        if answer.get("draft") == text:
            self._say("Nothing is missing.")
        elif "draft" in answer:
            await self._edit(opened, 0, len(text), answer["draft"], "Draft")
        elif "undrafted" in answer:
            self._say("\n".join(answer["undrafted"]))
        elif answer.get("errors"):
            self._say("\n".join(error["message"] for error in answer["errors"]))
        else:
            self._say(_why(answer))

    async def mend(self, uri: str) -> None:
        """Let the user choose one of the repairs of a text, and make it."""
        opened = self._texts.get(uri)
        if opened is None:
            return
        answer = await self._work(opened, {"mend": True})
        found = answer.get("repairs", [])[:MOST_SHOWN]
        if not found:
            self._say(_why(answer) if "repairs" not in answer else "No repair was found.")
            return
        choices = [t.MessageActionItem(repair["sentence"]) for repair in found]
        chosen = await self._server.window_show_message_request_async(
            t.ShowMessageRequestParams(t.MessageType.Info, "Repairs, each proved:", choices)
        )
        for repair in found:
            if chosen is not None and chosen.title == repair["sentence"]:
                await self._edit(opened, repair["start"], repair["end"], repair["text"], "Repair")
                return

    async def _work(self, opened: OpenText, asked: Json) -> Json:
        """The last line of a worker that was given a text, with what is asked of it."""
        job = job_of(opened, self._within) | asked
        show, end = await self._begin(opened)
        last: Json = {}
        try:
            # A proof of the same text goes on meanwhile.
            lines: AsyncGenerator[Json, None] = self._checking.proofs.prove(
                f"{opened.uri} {sorted(asked)}", job
            )
            async with aclosing(lines):
                async for last in lines:
                    if last.get("of"):
                        await show(last["done"], last["of"])
        finally:
            end("ended")
        return last

    async def _edit(self, opened: OpenText, start: int, end: int, text: str, what: str) -> None:
        now = self._texts.get(opened.uri)
        if now is None or now.version != opened.version:
            self._say(CHANGED)
            return
        edit = self._replaced(opened, start, end, text)
        document = t.OptionalVersionedTextDocumentIdentifier(opened.uri, opened.version)
        changes = t.WorkspaceEdit(document_changes=[t.TextDocumentEdit(document, [edit])])
        client = self._server.client_capabilities.workspace
        if not (client and client.workspace_edit and client.workspace_edit.document_changes):
            changes = t.WorkspaceEdit(changes={opened.uri: [edit]})
        await self._server.workspace_apply_edit_async(t.ApplyWorkspaceEditParams(changes, what))

    def _say(self, words: str) -> None:
        self._server.window_show_message(t.ShowMessageParams(t.MessageType.Warning, words))


def _why(answer: Json) -> str:
    """Why there is no answer."""
    if "bug" in answer:
        return f"A bug of clearproof's own: {answer['bug']}"
    if answer.get("errors"):
        return "The text has errors: mend them first."
    return f"Undecided: {answer.get('undecided', 'it ended early')}."
