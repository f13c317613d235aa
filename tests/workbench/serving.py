"""The page's server as a process of its own, and a client that sends what it likes."""

import http.client
import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

KEY = "X-Clearproof-Key"
PATIENCE = 30


class Server:
    """``address`` is what the terminal was told, with the key of this start. ``prefix``: the
    command that starts it, if it is not started directly."""

    def __init__(self, folder: Path, *arguments: str, prefix: Sequence[str] = ()):
        self.folder = folder
        self.process = subprocess.Popen(
            [*prefix, sys.executable, "-m", "verifier.cli", "page", *arguments, "--no-browser"],
            cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert self.process.stdout is not None
        first = self.process.stdout.readline()
        found = re.search(r"http://127\.0\.0\.1:(\d+)/#(\S+)", first)
        assert found, first
        self.address, self.port, self.key = found[0], int(found[1]), found[2]

    def ask(
        self,
        question: str,
        body: object = None,
        *,
        method: str = "POST",
        headers: Mapping[str, str | None] | None = None,
        raw: bytes | None = None,
    ) -> tuple[int, Any]:
        """Status and answer. ``headers`` replace those that our page sends; None leaves one out."""
        sent: dict[str, str | None] = {
            "Host": f"127.0.0.1:{self.port}",
            "Origin": f"http://127.0.0.1:{self.port}",
            "Content-Type": "application/json",
            KEY: self.key,
            **(headers or {}),
        }
        data = raw if raw is not None else json.dumps(body if body is not None else {}).encode()
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE)
        try:
            connection.putrequest(method, question, skip_host=True, skip_accept_encoding=True)
            for name, value in sent.items():
                if value is not None:
                    connection.putheader(name, value)
            if method == "POST":
                connection.putheader("Content-Length", str(len(data)))
            connection.endheaders(data if method == "POST" else None)
            answer = connection.getresponse()
            text = answer.read().decode()
            self.headers = dict(answer.getheaders())
        finally:
            connection.close()
        try:
            return answer.status, json.loads(text)
        except ValueError:
            return answer.status, text

    def prove(
        self,
        text: str,
        tab: str = "a",
        name: str = "",
        *,
        mend: bool = False,
        promise: bool = False,
    ) -> Iterator[dict[str, Any]]:
        """The lines of one proof, or of a search for repairs or promises, as they come."""
        return self.lines(
            "/api/prove",
            {"name": name, "text": text, "tab": tab, "mend": mend, "promise": promise},
        )

    def lines(self, question: str, body: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
        """The lines of an answer that takes a while, as they come."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE)
        try:
            connection.request(
                "POST", question, json.dumps(body),
                {KEY: self.key, "Origin": f"http://127.0.0.1:{self.port}",
                 "Content-Type": "application/json"},
            )  # fmt: skip
            answer = connection.getresponse()
            while line := answer.readline():
                yield json.loads(line)
        finally:
            connection.close()

    def workers(self) -> list[int]:
        """The processes that prove."""
        found = []
        for entry in Path("/proc").glob("[0-9]*"):
            try:
                parent = re.search(r"\nPPid:\s+(\d+)", (entry / "status").read_text())
            except OSError:
                continue
            if parent and int(parent[1]) == self.process.pid:
                found.append(int(entry.name))
        return found

    def end(self) -> int:
        """Ctrl-C, as in the terminal."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
        try:
            return self.process.wait(PATIENCE)
        finally:
            self.process.kill()
            assert self.process.stdout and self.process.stderr
            self.process.stdout.close()
            self.process.stderr.close()


@contextmanager
def server(folder: Path, *arguments: str, prefix: Sequence[str] = ()) -> Iterator[Server]:
    started = Server(folder, *arguments, prefix=prefix)
    try:
        yield started
    finally:
        started.end()


def is_gone(pid: int) -> bool:
    """Whether a process ends soon."""
    until = time.monotonic() + 10
    while time.monotonic() < until:
        try:
            os.kill(pid, 0)
        except ProcessLookupError:
            return True
        time.sleep(0.05)
    return False
