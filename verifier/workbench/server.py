"""The server of the page: its static files, and answers to its requests.

In: the folder whose junction files may be opened, and requests that :mod:`verifier.workbench.guard`
accepts. Out: JSON. Each request contains the text and the state of play of its tab, so that the
server has no state of its own: it can be killed and started again, and tabs are independent.
"""

import json
import os
import traceback
from asyncio import ensure_future
from collections.abc import AsyncGenerator, Awaitable, Callable
from contextlib import aclosing, asynccontextmanager
from functools import partial
from importlib import resources
from secrets import token_hex
from typing import Any

from anyio import CapacityLimiter
from anyio.to_thread import run_sync
from starlette.applications import Starlette
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp, Receive, Scope, Send

from verifier import __version__
from verifier.drawing.overlay import Overlay
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.syntax.parse import keywords
from verifier.patterns import PATTERNS, pattern_text
from verifier.sketching.drawing_hand import drawn
from verifier.sketching.hand import Refused
from verifier.sketching.reading import NotDrawn, drawing_of
from verifier.workbench.analysis import analyze, change_time, diagnostics_json, wiring_json
from verifier.workbench.document import Document, Documents
from verifier.workbench.drafts import ASKED, wanted_of
from verifier.workbench.folder import ChangedOnDisk, Folder, FolderError, Opened
from verifier.workbench.guard import TOO_LONG, BodyTooLarge, Guard, refused
from verifier.workbench.proofs import Proofs
from verifier.workbench.situation_play import ACTION_KINDS, Action, Play
from verifier.workbench.strokes_json import drawing_json, drawn_json, stroke_of
from verifier.workbench.writing_help import meaning_json, proposals_json

Json = dict[str, Any]
Answer = Callable[[Json], Awaitable[Response]]

_TYPES = {
    "html": "text/html; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "css": "text/css; charset=utf-8",
    "svg": "image/svg+xml",
}
# The length of a list in a request, such as the facts of a state of play.
MAX_LIST = 20_000
# Of a test card: step, do, look at, must show, aspect, seen.
CARD_COLUMNS = 6


class BadRequest(Exception):
    """A request that our page does not send."""


class Workbench:
    """One server. ``first``: the file to open at the start, if there is one; ``within``: seconds
    for each proof."""

    def __init__(
        self,
        folder: Folder,
        *,
        port: int,
        key: str,
        close: Callable[[], None],
        first: str = "",
        within: float | None = None,
    ):
        self.folder = folder
        self.proofs = Proofs()
        self._first = first
        self._within = within
        self._close = close
        self._documents = Documents(folder)
        # All documents share their expressions, which one thread at a time may use.
        self._one_at_a_time = CapacityLimiter(1)
        # What helps with writing does not wait for a drawing.
        self._writing = CapacityLimiter(1)
        # A stroke does not wait for what is computed of the text before it.
        self._drawing = CapacityLimiter(1)
        self._start = token_hex(8)
        answers: dict[str, Answer] = {
            "start": self._begin,
            "files": self._files,
            "open": self._open,
            "save": self._save,
            "card-file": self._card_file,
            "card-save": self._card_save,
            "pattern": self._pattern,
            "look": self._look,
            "time": self._time,
            "wiring": self._wiring,
            "propose": self._propose,
            "mean": self._mean,
            "stroke": self._stroke,
            "stop": self._stop,
            "close": self._end,
        }
        routes = [Route(f"/api/{name}", _json(answer), methods=["POST"])
                  for name, answer in answers.items()]  # fmt: skip
        routes += [
            Route("/api/prove", partial(self._work, drafts=False), methods=["POST"]),
            Route("/api/draft", partial(self._work, drafts=True), methods=["POST"]),
            Route("/api/alive", self._alive, methods=["GET"]),
            Route("/", _static, methods=["GET"]),
            Route("/{name}", _static, methods=["GET"]),
        ]
        self.app: ASGIApp = Guard(
            Starlette(
                routes=routes, lifespan=self._lifespan, exception_handlers={BodyTooLarge: _too_long}
            ),
            port=port,
            key=key,
        )

    @asynccontextmanager
    async def _lifespan(self, app: Starlette) -> AsyncGenerator[None, None]:
        self.proofs.warm_up()
        warming = ensure_future(run_sync(self._warm_up, limiter=self._one_at_a_time))
        yield
        await self.proofs.close()
        await warming

    def _warm_up(self) -> None:
        """Load what parsing and drawing need before the first request."""
        analyze(self._documents.of("", pattern_text("end-of-siding")), Play())

    # -------------------------------------------------------------- files

    async def _alive(self, request: Request) -> Response:
        """An identifier of this start of the server, so that a page notices a restart."""
        return JSONResponse({"start": self._start})

    async def _begin(self, asked: Json) -> Response:
        return JSONResponse(
            {
                "version": __version__,
                "start": self._start,
                "folder": str(self.folder.root),
                "first": self._first,
                "patterns": [{"name": name, "text": text} for name, text in PATTERNS.items()],
                "words": sorted(keywords()),
            }
        )

    async def _files(self, asked: Json) -> Response:
        return JSONResponse({"files": await run_sync(self.folder.names)})

    async def _open(self, asked: Json) -> Response:
        opened = await run_sync(self.folder.read, _text(asked, "name"))
        return JSONResponse({"name": opened.name, "text": opened.text, "stamp": opened.stamp})

    async def _save(self, asked: Json) -> Response:
        name, text, stamp = (_text(asked, word) for word in ("name", "text", "stamp"))
        return await self._written(partial(self.folder.write, name, text, stamp))

    async def _card_file(self, asked: Json) -> Response:
        """The test card that lies beside a junction file; empty if there is none."""
        opened = await run_sync(self.folder.read_card, _text(asked, "name"))
        return JSONResponse({"name": opened.name, "text": opened.text, "stamp": opened.stamp})

    async def _card_save(self, asked: Json) -> Response:
        from verifier.workbench.cards import card_csv

        name, title, stamp = (_text(asked, word) for word in ("name", "title", "stamp"))
        text = card_csv(title, _rows(asked.get("rows"), CARD_COLUMNS))
        return await self._written(partial(self.folder.write_card, name, text, stamp))

    async def _written(self, write: Callable[[], Opened]) -> Response:
        """What was written; what is on disk, where that has changed."""
        try:
            saved = await run_sync(write)
        except ChangedOnDisk as changed:
            now = changed.now
            return JSONResponse(
                {
                    "changed": str(changed),
                    "text": now.text if now else None,
                    "stamp": now.stamp if now else "",
                },
                409,
            )
        return JSONResponse({"name": saved.name, "stamp": saved.stamp})

    async def _pattern(self, asked: Json) -> Response:
        name = _text(asked, "name")
        if name not in PATTERNS:
            raise BadRequest(f"no pattern is called {name[:80]}")
        return JSONResponse({"text": await run_sync(pattern_text, name)})

    async def _end(self, asked: Json) -> Response:
        self._close()
        return JSONResponse({"closed": True})

    # -------------------------------------------------------------- drawing and playing

    async def _look(self, asked: Json) -> Response:
        has_wiring = asked.get("wiring") is True
        view = partial(
            analyze,
            play=_play(asked.get("play")),
            action=_action(asked.get("act")),
            before=None if asked.get("before") is None else _play(asked["before"]),
            relevant=None if asked.get("relevant") is None else {*_rows(asked["relevant"], 2)},
            around=[str(piece) for piece in _list(asked.get("around") or [])],
            overlay=Overlay(asked.get("gaps") is True, has_wiring, has_wiring),
        )
        return await self._about_text(asked, view)

    async def _time(self, asked: Json) -> Response:
        """Change from a situation to a moment of a history, or back."""
        return await self._about_text(asked, partial(change_time, play=_play(asked.get("play"))))

    async def _stroke(self, asked: Json) -> Response:
        """The drawing of a text, after a stroke if there is one, and the edit that it makes."""
        name, text = _text(asked, "name"), _text(asked, "text")
        path = self.folder.path(name) if name else None
        try:
            stroke = None if asked.get("stroke") is None else stroke_of(asked["stroke"])
        except ValueError as error:
            raise BadRequest(str(error)) from None

        def answered() -> Json:
            if stroke is None:
                return {"drawing": drawing_json(drawing_of(text, name, path))}
            return drawn_json(text, drawn(text, stroke, name, path))

        try:
            return JSONResponse(await run_sync(answered, limiter=self._drawing))
        except NotDrawn as error:
            return JSONResponse({"errors": diagnostics_json(error.diagnostics, name)})
        except Refused as refusal:
            return JSONResponse({"no": str(refusal)})

    async def _wiring(self, asked: Json) -> Response:
        return await self._about_text(asked, wiring_json)

    async def _about_text(self, asked: Json, answer: Callable[[Document], Json]) -> Response:
        """An answer about a text, or the errors in it."""
        name, text = _text(asked, "name"), _text(asked, "text")

        def answered() -> Json:
            return answer(self._documents.of(name, text))

        try:
            return JSONResponse(await run_sync(answered, limiter=self._one_at_a_time))
        except InputError as error:
            return JSONResponse({"errors": diagnostics_json(error.diagnostics, name)})

    # -------------------------------------------------------------- writing

    async def _propose(self, asked: Json) -> Response:
        """What can be written at a place of a text."""
        answer = partial(proposals_json, _text(asked, "text"), _number(asked, "offset"))
        return JSONResponse(await run_sync(answer, limiter=self._writing))

    async def _mean(self, asked: Json) -> Response:
        """What the word at a place of a text means."""
        answer = partial(meaning_json, _text(asked, "text"), _number(asked, "offset"))
        return JSONResponse(await run_sync(answer, limiter=self._writing))

    # -------------------------------------------------------------- proving

    async def _work(self, request: Request, drafts: bool) -> Response:
        """Prove a text, or draft what it lacks: lines of JSON."""
        try:
            asked = await _asked(request)
            name, text, tab = (_text(asked, word) for word in ("name", "text", "tab"))
            path = str(self.folder.path(name)) if name else ""
            job: Json = {"name": name, "text": text, "path": path, "within": self._within}
            job |= {word: asked.get(word) is True for word in ("mend", "promise", "card")}
            if "rows" in asked:
                job |= {"title": _text(asked, "title"), "rows": _rows(asked["rows"], CARD_COLUMNS)}
            elif "filled" in asked:
                job["filled"] = _text(asked, "filled")
            if drafts:
                wanted_of(asked)
                job["draft"] = {word: asked[word] for word in ASKED if word in asked}
        except (BadRequest, FolderError, ValueError) as error:
            return JSONResponse({"refused": str(error)}, 400)
        return _JsonLines(self.proofs.prove(tab, job))

    async def _stop(self, asked: Json) -> Response:
        self.proofs.stop(_text(asked, "tab"))
        return JSONResponse({"stopping": True})


class _JsonLines(StreamingResponse):
    """A response of JSON lines, each sent as soon as it exists. If the page disconnects, the
    generator of the lines is closed."""

    def __init__(self, lines: AsyncGenerator[Json, None]):
        self._lines = lines
        text = (json.dumps(line) + "\n" async for line in lines)
        super().__init__(text, media_type="application/x-ndjson")

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        async with aclosing(self._lines):
            await super().__call__(scope, receive, send)


# ------------------------------------------------------------------ requests


def _json(answer: Answer) -> Callable[[Request], Awaitable[Response]]:
    """A request and its answer, both JSON, with errors as JSON too."""

    async def endpoint(request: Request) -> Response:
        try:
            return await answer(await _asked(request))
        except (BadRequest, FolderError) as error:
            return JSONResponse({"refused": str(error)}, 400)
        except (BodyTooLarge, ClientDisconnect):
            raise
        except Exception as error:
            if os.environ.get("CLEARPROOF_TRACEBACK"):
                traceback.print_exc()
            return JSONResponse({"bug": f"{type(error).__name__}: {error}"}, 500)

    return endpoint


async def _too_long(request: Request, error: Exception) -> Response:
    return refused(413, TOO_LONG)


async def _asked(request: Request) -> Json:
    try:
        asked = json.loads(await request.body())
    except (ValueError, RecursionError):
        raise BadRequest("the request is not JSON") from None
    if not isinstance(asked, dict):
        raise BadRequest("the request is not an object")
    return asked


def _text(asked: Json, word: str) -> str:
    value = asked.get(word)
    if not isinstance(value, str):
        raise BadRequest(f"`{word}` is missing")
    return value


def _number(asked: Json, word: str) -> int:
    value = asked.get(word)
    if type(value) is not int or value < 0:
        raise BadRequest(f"`{word}` is missing")
    return value


def _list(value: object) -> list[Any]:
    if not isinstance(value, list) or len(value) > MAX_LIST:
        raise BadRequest("a list is missing or too long")
    return value


def _rows(value: object, width: int) -> list[tuple[str, ...]]:
    rows = _list(value)
    for row in rows:
        is_row = isinstance(row, list) and len(row) == width
        if not is_row or not all(isinstance(word, str) for word in row):
            raise BadRequest(f"a list of {width} strings is missing")
    return [tuple(row) for row in rows]


def _play(value: object) -> Play:
    if value is None:
        return Play()
    if not isinstance(value, dict):
        raise BadRequest("a state of play is missing")
    return Play(
        {(kind, name): state for kind, name, state in _rows(value.get("facts", []), 3)},
        over_time=value.get("over_time") is True,
        lossy=value.get("lossy") is True,
    )


def _action(value: object) -> Action | None:
    if value is None:
        return None
    if not isinstance(value, dict) or value.get("do") not in ACTION_KINDS:
        raise BadRequest("an action is missing")
    kind, name, state = (str(value.get(word, "")) for word in ("kind", "name", "state"))
    return Action(value["do"], kind, name, state, runs=value.get("runs") is True)


# ------------------------------------------------------------------ static files


async def _static(request: Request) -> Response:
    """A file of the page."""
    name = request.path_params.get("name") or "index.html"
    files = resources.files("verifier.workbench").joinpath("static")
    ending = name.rpartition(".")[2]
    if ending not in _TYPES or name not in {file.name for file in files.iterdir()}:
        return JSONResponse({"refused": "there is no such page"}, 404)
    return Response(files.joinpath(name).read_bytes(), media_type=_TYPES[ending])
