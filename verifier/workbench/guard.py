"""Who may talk to the page's server, and what every answer carries.

In: the requests of anyone who can reach the port: other programs, other people's pages in the
same browser. Out: only what comes from our own page, with the key of this start, goes on.

- *Host*: a name that another site had pointed at this machine is turned away.
- *Origin* (and what the browser says of where a request comes from): other pages are.
- *The key*: new at each start, handed over in the part of the address that browsers never send
  (after ``#``), then sent by our page as a header. No cookie, so that nothing is sent by itself
  and no other port of this machine ever sees it.
- *Size*: what is longer than a junction can be is not read.
"""

import hmac
import json
from collections.abc import Mapping

from starlette.types import ASGIApp, Message, Receive, Scope, Send

MAX_BODY = 5_000_000
KEY_HEADER = "x-clearproof-key"
API = "/api/"
TOO_LONG = "That is more than a junction can be."
# Asked by a page that has lost its server, when it no longer has a key that counts.
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


class BodyTooLarge(Exception):
    """The body of a request is longer than :data:`MAX_BODY`."""


class Guard:
    """Stands before the application. ``key`` is that of this start."""

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
        headers = _by_name(scope)
        refusal = self._refusal(scope, headers)
        if refusal:
            await _refuse(_with_headers(send), *refusal)
            return
        await self._app(scope, _limited(receive), _with_headers(send))

    def _refusal(self, scope: Scope, headers: Mapping[str, list[str]]) -> tuple[int, str] | None:
        """Status and reason; None for what may pass."""
        hosts = headers.get("host", [])
        if len(hosts) != 1 or hosts[0].lower() not in self._hosts:
            return 403, "This server answers to its own address only."
        origins = headers.get("origin", [])
        if any(origin not in self._origins for origin in origins):
            return 403, "This server answers to its own page only."
        sites = headers.get("sec-fetch-site", [])
        if any(site not in ("same-origin", "none") for site in sites):
            return 403, "This server answers to its own page only."
        path = scope["path"]
        if not path.startswith(API):
            return None if scope["method"] in ("GET", "HEAD") else (405, "Nothing to send here.")
        if path == OPEN_TO_ALL and scope["method"] == "GET":
            return None
        keys = headers.get(KEY_HEADER, [])
        if len(keys) != 1 or not hmac.compare_digest(keys[0].encode("latin-1"), self._key):
            return 401, "The key of this start is missing: open the address the terminal shows."
        if scope["method"] == "POST":
            if not origins:
                return 403, "This server answers to its own page only."
            if headers.get("content-type", [""])[0].split(";")[0].strip() != "application/json":
                return 415, "This server reads JSON."
        length = headers.get("content-length", ["0"])[0]
        if not length.isdecimal():
            return 400, "How long is it?"
        if int(length) > MAX_BODY:
            return 413, TOO_LONG
        return None


def _by_name(scope: Scope) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for name, value in scope["headers"]:
        found.setdefault(name.decode("latin-1").lower(), []).append(value.decode("latin-1"))
    return found


def _limited(receive: Receive) -> Receive:
    """What comes in, as long as it stays within the limit: a length may be left unsaid."""
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
    extra = [(name.encode(), value.encode()) for name, value in _HEADERS.items()]
    ours = set(_HEADERS)

    async def with_headers(message: Message) -> None:
        if message["type"] == "http.response.start":
            kept = [h for h in message.get("headers", ()) if h[0].decode().lower() not in ours]
            message = {**message, "headers": [*kept, *extra]}
        await send(message)

    return with_headers


async def _refuse(send: Send, status: int, why: str) -> None:
    body = json.dumps({"refused": why}).encode()
    await send(
        {
            "type": "http.response.start",
            "status": status,
            "headers": [
                (b"content-type", b"application/json"),
                (b"content-length", str(len(body)).encode()),
                # What was not read of the request must not be taken for the next one.
                (b"connection", b"close"),
            ],
        }
    )
    await send({"type": "http.response.body", "body": body})
