"""Connections that leave a request unfinished, and the file that leads the browser to the page."""

import asyncio
import stat
from pathlib import Path
from urllib.parse import urlsplit
from urllib.request import url2pathname

import pytest
import uvicorn

from verifier.workbench import serving


@pytest.mark.parametrize(
    "sent",
    [
        b"",
        b"GET / HTTP/1.1\r\nHost: 127",
        b"POST /x HTTP/1.1\r\nHost: a\r\nContent-Length: 9\r\n\r\nab",
    ],
)
def test_a_request_that_is_left_unfinished_is_closed(
    sent: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serving, "PATIENCE", 0.2)
    ended = asyncio.run(asyncio.wait_for(_until_closed(sent), 30))
    assert ended


async def _until_closed(sent: bytes) -> bool:
    async def reads_all(scope: object, receive: object, send: object) -> None:
        while (await receive())["type"] != "http.disconnect":  # type: ignore[operator]
            pass

    config = uvicorn.Config(reads_all, http=serving.Impatient, log_level="critical", lifespan="off")
    config.load()
    server_state = uvicorn.server.ServerState()
    made = await asyncio.get_running_loop().create_server(
        lambda: serving.Impatient(config=config, server_state=server_state, app_state={}),
        "127.0.0.1",
        0,
    )
    reader, writer = await asyncio.open_connection(*made.sockets[0].getsockname())
    writer.write(sent)
    await reader.read()
    writer.close()
    made.close()
    return True


def test_the_key_is_in_a_file_for_its_owner_alone() -> None:
    address = "http://127.0.0.1:8236/#key-of-this-start"
    with serving.redirect_to(address) as told:
        path = Path(url2pathname(urlsplit(told).path))
        assert "key-of-this-start" not in told
        assert f"url={address}" in path.read_text("utf-8")
        assert not stat.S_IMODE(path.stat().st_mode) & 0o077
        assert not stat.S_IMODE(path.parent.stat().st_mode) & 0o077
    assert not path.exists()
