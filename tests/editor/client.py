"""An editor: pygls's own client, over standard input and output of `clearproof lsp`. Every wait has
a time limit."""

import asyncio
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from typing import Any

import pytest

pytest.importorskip(
    "pygls.lsp.client", reason="pygls 2 is not installed: pip install 'clearproof[editor]'"
)

from lsprotocol import types as t
from pygls.lsp.client import LanguageClient

# Seconds for any answer: the machine may be busy.
LIMIT = 60.0


class Editor:
    """One connection. It runs in a thread of its own, so that tests just ask."""

    def __init__(self) -> None:
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, daemon=True)
        self._thread.start()
        self._client = LanguageClient("editor-of-a-test", "1")
        self._heard = threading.Condition()
        self._found: list[t.PublishDiagnosticsParams] = []
        self.progress: list[Any] = []
        self._client.feature(t.TEXT_DOCUMENT_PUBLISH_DIAGNOSTICS)(partial(self._published))
        self._client.feature(t.WINDOW_WORK_DONE_PROGRESS_CREATE)(lambda asked: None)
        self._client.feature(t.PROGRESS)(partial(self._went_on))
        # What the server asked the editor to change, and to say.
        self.edits: list[t.WorkspaceEdit] = []
        self.said: list[str] = []
        self._client.feature(t.WORKSPACE_APPLY_EDIT)(partial(self._edited))
        self._client.feature(t.WINDOW_SHOW_MESSAGE)(partial(self._told))
        self._client.feature(t.WINDOW_SHOW_MESSAGE_REQUEST)(partial(self._chose))

    def _published(self, told: t.PublishDiagnosticsParams) -> None:
        with self._heard:
            self._found.append(told)
            self._heard.notify_all()

    def _went_on(self, told: t.ProgressParams) -> None:
        with self._heard:
            self.progress.append(told.value)
            self._heard.notify_all()

    def _edited(self, asked: t.ApplyWorkspaceEditParams) -> t.ApplyWorkspaceEditResult:
        self.edits.append(asked.edit)
        return t.ApplyWorkspaceEditResult(applied=True)

    def _told(self, told: t.ShowMessageParams) -> None:
        self.said.append(told.message)

    def _chose(self, asked: t.ShowMessageRequestParams) -> t.MessageActionItem:
        """A user who takes the first."""
        self.said.append(asked.message)
        assert asked.actions
        return asked.actions[0]

    def run(self, work: Any) -> Any:
        return asyncio.run_coroutine_threadsafe(work, self._loop).result(LIMIT)

    def begin(self) -> t.InitializeResult:
        self.run(
            self._client.start_io(
                sys.executable, "-m", "verifier.cli", "lsp", "--stdio", "--within", "60"
            )
        )
        shows = t.ClientCapabilities(window=t.WindowClientCapabilities(work_done_progress=True))
        begun: t.InitializeResult = self.ask("initialize", t.InitializeParams(shows))
        self.tell("initialized", t.InitializedParams())
        return begun

    def ask(self, name: str, asked: Any) -> Any:
        """The answer to a request."""
        return self.run(self._asked(name, asked))

    async def _asked(self, name: str, asked: Any) -> Any:
        return await getattr(self._client, f"{name}_async")(asked)

    def tell(self, name: str, told: Any) -> None:
        async def send() -> None:
            getattr(self._client, name)(told)

        self.run(send())

    def found(
        self, uri: str, wanted: Callable[[list[t.Diagnostic]], bool], version: int | None = None
    ) -> list[t.Diagnostic]:
        """What was found in a text, once it is as ``wanted``."""

        def there() -> list[t.Diagnostic] | None:
            for told in reversed(self._found):
                fits = version is None or told.version == version
                if told.uri == uri and fits and wanted(list(told.diagnostics)):
                    return list(told.diagnostics)
            return None

        with self._heard:
            self._heard.wait_for(lambda: there() is not None, LIMIT)
            found = there()
        last = [d.message for told in self._found[-1:] for d in told.diagnostics]
        assert found is not None, f"never found; last: {last}"
        return found

    def ended(self) -> bool:
        """Whether the progress of a proof has come to its end."""
        with self._heard:
            return self._heard.wait_for(
                lambda: any(_kind(told) == "end" for told in self.progress), LIMIT
            )

    def end(self) -> None:
        self.ask("shutdown", None)
        self.tell("exit", None)
        self.run(self._client.stop())  # type: ignore[no-untyped-call]
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(LIMIT)
        self._loop.close()


def _kind(told: Any) -> str:
    return str(told["kind"] if isinstance(told, dict) else told.kind)


@contextmanager
def editor() -> Iterator[tuple[Editor, t.InitializeResult]]:
    made = Editor()
    begun = made.begin()
    try:
        yield made, begun
    finally:
        made.end()
