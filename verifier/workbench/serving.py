"""Serving the page: a port on this machine, a key, a browser, and an orderly end.

In: the file or folder to open. The server runs until the page is closed by its button, or until
Ctrl-C.
"""

import secrets
import socket
import webbrowser
from collections.abc import Callable
from pathlib import Path

import uvicorn

from verifier.workbench.folder import Folder
from verifier.workbench.server import Workbench

# Tried first, so that a page finds its server, and the drafts of its address, after a restart.
USUAL_PORT = 8236
# Lets the system choose a free port.
ANY = 0


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
        http="h11",
    )

    class Told(uvicorn.Server):
        """A server that reports when it answers."""

        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets)
            opened(address)
            if browser:
                webbrowser.open(address)

    server = Told(config)
    try:
        server.run(sockets=[sock])
    except KeyboardInterrupt:
        pass
    finally:
        sock.close()
