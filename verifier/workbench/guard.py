"""Access control of the page's server, and the headers of every response.

In: requests from anyone who can reach the port, such as other programs and other pages in the same
browser. Out: only requests of our own page with the key of this start are passed on.

- *Host*: names that another site has pointed at this machine are refused (DNS rebinding).
- *Origin* and fetch metadata: requests from other pages are refused.
- *The key*: new at each start and passed in the fragment of the address, which browsers never send;
  our page then sends it as a header. There is no cookie, so the browser sends nothing on its own,
  and no other port of this machine sees the key.
- *Size*: a body longer than a junction can be is not read.
"""

import hmac
from collections.abc import Mapping

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

MAX_BODY = 5_000_000
KEY_HEADER = "x-clearproof-key"
API = "/api/"
TOO_LONG = "That is more than a junction can be."
# For a page that has lost its server and no longer has a valid key.
OPEN_TO_ALL = "/api/alive"

_HEADERS: Mapping[str, str] = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
        "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}


_OWN_SITES = frozenset(("same-origin", "none"))
_OWN_PAGE = "This server answers its own page only."


class BodyTooLarge(Exception):
    """The body of a request is longer than :data:`MAX_BODY`."""


def refused(status: int, why: str) -> JSONResponse:
    """Refuse a request. The connection is closed, so that a body that was not read is not taken
    for the next request."""
    return JSONResponse({"refused": why}, status, {"connection": "close"})


class Guard:
    """A wrapper of the application. ``key`` is that of this start."""

    def __init__(self, app: ASGIApp, port: int, key: str):
        self._app = app
        self._hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}
        self._origins = {f"http://{host}" for host in self._hosts}
        self._key = key.encode("ascii")

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        app, refusal = self._app, self._refusal(scope, Headers(scope=scope))
        if refusal is not None:
            app = refused(*refusal)
        await app(scope, _limited(receive), _with_headers(send))

    def _refusal(self, scope: Scope, headers: Headers) -> tuple[int, str] | None:
        """Status and reason; None for a request that is accepted."""
        hosts = headers.getlist("host")
        if len(hosts) != 1 or hosts[0].lower() not in self._hosts:
            return 403, "This server answers at its own address only."
        origins = headers.getlist("origin")
        sites = headers.getlist("sec-fetch-site")
        if not (self._origins.issuperset(origins) and _OWN_SITES.issuperset(sites)):
            return 403, _OWN_PAGE
        path = scope["path"]
        if not path.startswith(API):
            return None if scope["method"] in ("GET", "HEAD") else (405, "Nothing to send here.")
        if path == OPEN_TO_ALL and scope["method"] == "GET":
            return None
        keys = headers.getlist(KEY_HEADER)
        if len(keys) != 1 or not hmac.compare_digest(keys[0].encode("latin-1"), self._key):
            return 401, "The key of this start is missing: open the address the terminal shows."
        if scope["method"] == "POST":
            if not origins:
                return 403, _OWN_PAGE
            if headers.get("content-type", "").split(";")[0].strip() != "application/json":
                return 415, "This server reads JSON."
        length = headers.get("content-length", "0")
        if not length.isdecimal():
            return 400, "The content length is not a number."
        if int(length) > MAX_BODY:
            return 413, TOO_LONG
        return None


def _limited(receive: Receive) -> Receive:
    """The body, up to the limit: a request need not state its length."""
    read = 0

    async def limited() -> Message:
        nonlocal read
        message = await receive()
        read += len(message.get("body", b""))
        if read > MAX_BODY:
            raise BodyTooLarge
        return message

    return limited


def _with_headers(send: Send) -> Send:
    async def with_headers(message: Message) -> None:
        if message["type"] == "http.response.start":
            MutableHeaders(scope=message).update(_HEADERS)
        await send(message)

    return with_headers
