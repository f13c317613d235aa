"""The page opened: a port on this machine, a key, a browser, and an orderly end.

In: the file or folder asked for. Out: nothing but what the terminal is told. Returns when the page
is closed, by its button or by Ctrl-C.
"""

import secrets
import socket
import webbrowser
from collections.abc import Callable
from pathlib import Path

import uvicorn

from verifier.workbench.folder import Folder
from verifier.workbench.server import Workbench

# Tried first, so that a page started again is found where it was, with all that was typed in it.
USUAL_PORT = 8236
# A port that must be free, or any.
ANY = 0


class PortTaken(Exception):
    """The port asked for is in use."""


def listening(port: int | None) -> socket.socket:
    """A socket on this machine alone. Without a wish the usual port, or else any.

    Raises :class:`PortTaken`."""
    for wanted in (USUAL_PORT, ANY) if port is None else (port,):
        sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        # Elsewhere than on Windows this only skips the wait after a server that has just ended.
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
) -> None:
    """Serve until closed. ``opened`` is told the address as soon as it answers."""
    port = sock.getsockname()[1]
    key = secrets.token_urlsafe(32)
    address = f"http://127.0.0.1:{port}/#{key}"

    def close() -> None:
        server.should_exit = True

    bench = Workbench(Folder(folder), port=port, key=key, close=close, first=first)
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
        """A server that says when it answers."""

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
