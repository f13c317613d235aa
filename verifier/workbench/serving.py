"""Serving the page: a port on this machine, a key, a browser, and an orderly end.

In: the file or folder to open. The server runs until the page is closed by its button, or until
Ctrl-C.
"""

import asyncio
import secrets
import socket
import webbrowser
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from html import escape
from pathlib import Path
from tempfile import TemporaryDirectory

import h11
import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from verifier.language.writing import write_file
from verifier.workbench.folder import Folder
from verifier.workbench.server import Workbench

# Tried first, so that a page finds its server, and the drafts of its address, after a restart.
USUAL_PORT = 8236
# Lets the system choose a free port.
ANY = 0
# Seconds that a client may take to send more of a request that it has not finished.
PATIENCE = 10.0


class PortTaken(Exception):
    """The port is in use."""


def listening(port: int | None) -> socket.socket:
    """A socket on the loopback address: at ``port``, or else at the usual port or any free one.

    Raises :class:`PortTaken`."""
    for wanted in (USUAL_PORT, ANY) if port is None else (port,):
        sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        # Except on Windows, this only skips the wait after a server that has just ended.
        if not hasattr(socket, "SO_EXCLUSIVEADDRUSE"):
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            sock.bind(("127.0.0.1", wanted))
            sock.listen(64)
        except OSError:
            sock.close()
            continue
        return sock
    raise PortTaken


class Impatient(H11Protocol):
    """A connection that is closed once its client leaves a request unfinished, or never begins
    one."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self._heard = self.loop.time()
        self._look()

    def data_received(self, data: bytes) -> None:
        self._heard = self.loop.time()
        super().data_received(data)

    def _look(self) -> None:
        if self.transport.is_closing():
            return
        waiting = self.conn.their_state in (h11.IDLE, h11.SEND_BODY)
        if waiting and self.loop.time() - self._heard >= PATIENCE:
            self.transport.close()
        else:
            self.loop.call_later(PATIENCE / 4, self._look)


@contextmanager
def redirect_to(address: str) -> Iterator[str]:
    """The address of a file that leads a browser to ``address``. Only its owner can read the file,
    so that the key stands on no command line, where others on this machine would see it."""
    with TemporaryDirectory(prefix="clearproof-") as folder:
        page = Path(folder) / "page.html"
        write_file(
            page,
            f'<!doctype html><meta charset="utf-8"><title>clearproof</title>'
            f'<meta http-equiv="refresh" content="0;url={escape(address)}">'
            f'<a href="{escape(address)}">Open the page</a>\n',
            private=True,
        )
        yield page.as_uri()


def serve(
    folder: Path,
    first: str,
    sock: socket.socket,
    opened: Callable[[str], None],
    *,
    browser: bool,
    within: float | None = None,
) -> None:
    """Serve until closed. ``opened`` is called with the address once the server answers;
    ``within``: seconds for each proof."""
    port = sock.getsockname()[1]
    key = secrets.token_urlsafe(32)
    address = f"http://127.0.0.1:{port}/#{key}"

    def close() -> None:
        server.should_exit = True

    bench = Workbench(Folder(folder), port=port, key=key, close=close, first=first, within=within)
    config = uvicorn.Config(
        bench.app,
        log_level="critical",
        access_log=False,
        server_header=False,
        date_header=False,
        ws="none",
        timeout_graceful_shutdown=1,
        http=Impatient,
    )

    class Told(uvicorn.Server):
        """A server that reports when it answers."""

        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets)
            opened(address)
            if browser:
                webbrowser.open(redirect)

    server = Told(config)
    with redirect_to(address) if browser else nullcontext("") as redirect:
        try:
            server.run(sockets=[sock])
        except KeyboardInterrupt:
            pass
        finally:
            sock.close()
