"""When a text is looked at: what can be told at once, with every change; the plan and the proofs in
another process, when the typing pauses.

In: texts as they change. Out: what was found, by a callback, and the progress of proofs by another.
"""

import asyncio
from collections.abc import AsyncGenerator, Awaitable, Callable
from contextlib import aclosing, suppress
from dataclasses import dataclass, field
from typing import Any, Protocol

from verifier.assist.fixes import Fix
from verifier.assist.problems import UNKNOWN, problems
from verifier.editor.findings import (
    Anchored,
    Found,
    anchored,
    in_text,
    repairs,
    told,
    told_by_worker,
    verdicts,
)
from verifier.editor.open_texts import OpenText, job_of
from verifier.language.diagnostics.diagnostic import Diagnostic
from verifier.workbench.proofs import Proofs

Json = dict[str, Any]

# Seconds without a change after which a text is proved.
PAUSE = 0.15


class Progress(Protocol):
    """Shows how far a proof is: decided, and of how many."""

    async def __call__(self, done: int, of: int) -> None: ...


Publish = Callable[[OpenText, list[Found]], None]
# Begins to show the progress of a proof of this text; ended with its last words.
Begin = Callable[[OpenText], Awaitable[tuple[Progress, Callable[[str], None]]]]


@dataclass(slots=True)
class _State:
    """What is known of one text."""

    opened: OpenText
    at_once: list[Diagnostic] = field(default_factory=list)
    # Errors of the plan, and verdicts, with the version they are of.
    plan: list[Anchored] = field(default_factory=list)
    verdicts: list[Anchored] = field(default_factory=list)
    repairs: list[tuple[Found, Fix]] = field(default_factory=list)
    proved: int | None = None
    work: asyncio.Task[None] | None = None


class Checking:
    """What is found in the texts that are open."""

    def __init__(self, publish: Publish, begin: Begin, within: float | None = None):
        self._publish = publish
        self._begin = begin
        self._within = within
        self._states: dict[str, _State] = {}
        self.proofs = Proofs()

    def changed(self, opened: OpenText) -> None:
        """A text was opened or has changed: tell what is wrong at once, and prove it soon."""
        state = self._states.setdefault(opened.uri, _State(opened))
        state.opened = opened
        state.at_once = problems(opened.text)
        self._tell(state)
        self.prove(opened.uri)

    def prove(self, uri: str) -> None:
        """Prove a text once nothing has changed for a while; an earlier proof of it ends."""
        state = self._states.get(uri)
        if state is None:
            return
        if state.work is not None:
            state.work.cancel()
        state.work = asyncio.ensure_future(self._prove(state))

    def closed(self, uri: str) -> None:
        state = self._states.pop(uri, None)
        if state is not None and state.work is not None:
            state.work.cancel()

    def errors(self, uri: str) -> list[Diagnostic]:
        """The errors of a text that can be told at once."""
        state = self._states.get(uri)
        return state.at_once if state else []

    def repairs(self, uri: str) -> list[tuple[Found, Fix]]:
        """The proved repairs of a text; none once it has changed since it was proved."""
        state = self._states.get(uri)
        return state.repairs if state and state.proved == state.opened.version else []

    def is_broken(self, uri: str, start: int, end: int) -> bool:
        """Whether a verdict of a text is broken that is told between these places."""
        state = self._states.get(uri)
        told = in_text(state.verdicts, state.opened.text) if state else ()
        return any(v.weight == "error" and v.start <= end and start <= v.end for v in told)

    async def close(self) -> None:
        for uri in list(self._states):
            self.closed(uri)
        await self.proofs.close()

    # -------------------------------------------------------------- what is told

    def _tell(self, state: _State) -> None:
        """Publish what is known of a text as it is now."""
        text = state.opened.text
        found = [told(error) for error in state.at_once]
        there = {(one.start, one.code) for one in found}
        later = [*in_text(state.plan, text), *in_text(state.verdicts, text)]
        if state.proved != state.opened.version:
            # Of names and of what cannot be read, what is told at once is newer.
            later = [one for one in later if not _told_at_once(one.code)]
        found += [one for one in later if (one.start, one.code) not in there]
        self._publish(state.opened, found)

    async def _prove(self, state: _State) -> None:
        await asyncio.sleep(PAUSE)
        opened = state.opened
        job = job_of(opened, self._within)
        show, end = await self._begin(opened)
        last = "ended early"
        try:
            lines: AsyncGenerator[Json, None] = self.proofs.prove(opened.uri, job)
            async with aclosing(lines):
                async for line in lines:
                    if line.get("of"):
                        await show(line["done"], line["of"])
                    last = self._heard(state, opened, line) or last
        finally:
            with suppress(RuntimeError):  # the connection may be gone
                end(last)

    def _heard(self, state: _State, opened: OpenText, line: Json) -> str:
        """Keep and tell what a line of a worker says; its last words, or nothing yet."""
        text = opened.text
        if "errors" in line:
            state.plan = [anchored(found, text) for found in told_by_worker(line["errors"], text)]
            state.verdicts, state.repairs, words = [], [], "errors in the file"
        elif "safety" in line or "report" in line:
            report = line.get("report") or line["safety"]
            state.plan = []
            state.verdicts = [anchored(found, text) for found in verdicts(report, text)]
            state.repairs, words = list(repairs(report)), report["headline"]
        elif "bug" in line:
            words = f"a bug of clearproof's own: {line['bug']}"
        else:
            return str(line.get("undecided", ""))
        state.proved = opened.version
        self._tell(state)
        return words


def _told_at_once(code: str) -> bool:
    """Whether errors of this code are found without a plan."""
    return code == UNKNOWN or code.startswith("CP10")
