"""The page's server, asked by a client that keeps to no rules."""

import os
import socket
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.drawing.samples import END_OF_SIDING
from tests.junction_files import spec
from tests.workbench.serving import KEY, Server, is_gone, server
from verifier import load_text, prove
from verifier.cli import main
from verifier.farm.lines import line
from verifier.patterns import pattern_text

# Root may write anywhere, unless it gives up these capabilities.
WITHOUT_OVERRIDE = [
    "setpriv", "--bounding-set=-dac_override,-dac_read_search",
    "--inh-caps=-dac_override,-dac_read_search",
]  # fmt: skip
LONG = pattern_text("locked-end-of-siding")


pytestmark = pytest.mark.xdist_group(__name__)  # one process makes what all need


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("otter-valley")
    (folder / "alder-creek.ixl").write_text(END_OF_SIDING, encoding="utf-8")
    (folder / "east").mkdir()
    (folder / "east" / "quarry.ixl").write_text(END_OF_SIDING, encoding="utf-8")
    (folder / "notes.txt").write_text("not for the page", encoding="utf-8")
    outside = tmp_path_factory.mktemp("elsewhere") / "secret.ixl"
    outside.write_text("block Secret\n", encoding="utf-8")
    (folder / "link.ixl").symlink_to(outside)
    return folder


@pytest.fixture(scope="module")
def bench(home: Path) -> Iterator[Server]:
    with server(home, "alder-creek.ixl") as started:
        yield started


def test_the_page_begins_with_the_file_named(bench: Server) -> None:
    status, begun = bench.ask("/api/start")
    assert status == 200 and begun["first"] == "alder-creek.ixl"
    status, files = bench.ask("/api/files")
    assert {"alder-creek.ixl", "east/quarry.ixl"} <= set(files["files"])
    assert not any(name.endswith(".txt") for name in files["files"])


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({KEY: None}, 401),
        ({KEY: "guessed"}, 401),
        ({"Host": "railroad.example"}, 403),
        ({"Host": "127.0.0.1"}, 403),
        ({"Origin": "http://railroad.example"}, 403),
        ({"Origin": "null"}, 403),
        ({"Origin": None}, 403),
        ({"Sec-Fetch-Site": "cross-site"}, 403),
        ({"Content-Type": "text/plain"}, 415),
    ],
)
@pytest.mark.parametrize("question", ["/api/files", "/api/open", "/api/prove", "/api/close"])
def test_others_are_turned_away(
    bench: Server, question: str, headers: dict[str, str | None], status: int
) -> None:
    assert bench.ask(question, {"name": "alder-creek.ixl"}, headers=headers)[0] == status
    assert bench.ask("/api/files")[0] == 200, "and the server goes on"


def test_the_page_itself_is_only_for_its_own_address(bench: Server) -> None:
    assert bench.ask("/", method="GET", headers={KEY: None, "Origin": None})[0] == 200
    policy = bench.headers["content-security-policy"]
    assert "default-src 'none'" in policy and "unsafe" not in policy
    assert bench.ask("/", method="GET", headers={"Host": "railroad.example"})[0] == 403


@pytest.mark.parametrize(
    "name",
    [
        "../secret.ixl", "/etc/passwd", "/etc/passwd.ixl", "east/../../secret.ixl", "link.ixl",
        "notes.txt", "east", "", ".hidden.ixl", "east\\quarry.ixl", "%2e%2e/secret.ixl",
        "alder-creek.ixl\0.txt", "./alder-creek.ixl", "C:alder-creek.ixl", "a" * 400 + ".ixl",
    ],
)  # fmt: skip
def test_nothing_else_can_be_read_or_written(bench: Server, name: str) -> None:
    before = sorted(path.name for path in bench.folder.rglob("*"))
    for question in ("/api/open", "/api/save"):
        status, said = bench.ask(question, {"name": name, "text": "x", "stamp": ""})
        assert status == 400 and said["refused"]
        assert "Secret" not in str(said)
    _, said = bench.ask("/api/look", {"name": "x.ixl", "text": 'include "../secret.ixl"'})
    assert said["errors"] and "Secret" not in str(said)
    assert sorted(path.name for path in bench.folder.rglob("*")) == before


@pytest.mark.parametrize("name", ["/../serving.py", "/..%2fserver.py", "/static/main.js", "/x.js"])
def test_only_files_of_the_page_are_served(bench: Server, name: str) -> None:
    status, _ = bench.ask(name, method="GET", headers={KEY: None})
    assert status == 404


@pytest.mark.parametrize(
    "raw", [b"", b"{", b"[]", b"null", b'{"name": 5}', b"\xff\xfe", b"[" * 100_000]
)
def test_malformed_questions_are_refused(bench: Server, raw: bytes) -> None:
    for question in ("/api/open", "/api/look", "/api/prove"):
        status, said = bench.ask(question, raw=raw)
        assert status == 400 and said["refused"]


@pytest.mark.parametrize(
    "play", [5, {"facts": [["a"]]}, {"facts": [[1, 2, 3]]}, {"facts": "x"}, {"facts": [["a"] * 3]}]
)
def test_odd_states_of_play_do_no_harm(bench: Server, play: object) -> None:
    status, said = bench.ask("/api/look", {"name": "", "text": END_OF_SIDING, "play": play})
    assert status in (200, 400) and "bug" not in said


@pytest.mark.parametrize("chunked", [False, True])
def test_too_long_a_body_is_not_read(bench: Server, chunked: bool) -> None:
    """Said before or in the middle: who is turned away need not send the rest."""
    size = "Transfer-Encoding: chunked" if chunked else "Content-Length: 6000000"
    with socket.create_connection(("127.0.0.1", bench.port), timeout=10) as sock:
        sock.sendall(
            f"POST /api/look HTTP/1.1\r\nHost: 127.0.0.1:{bench.port}\r\n"
            f"Origin: http://127.0.0.1:{bench.port}\r\n{KEY}: {bench.key}\r\n"
            f"Content-Type: application/json\r\n{size}\r\n\r\n".encode()
        )
        # Five million bytes and a few more, where no length was said.
        for _ in range(39 if chunked else 0):
            sock.sendall(b"20000\r\n" + b"#" * 0x20000 + b"\r\n")
        answer = sock.recv(200)
    assert b" 413 " in answer


# ------------------------------------------------------------------ looking


def test_errors_come_with_their_places(bench: Server) -> None:
    text = END_OF_SIDING.replace("turnout T1", "turnuot T1").replace("signal 4L", "signl 4L")
    status, said = bench.ask("/api/look", {"name": "", "text": text})
    assert status == 200 and len(said["errors"]) >= 2
    for error in said["errors"]:
        place = error["place"]
        assert error["message"] and 0 <= place["start"] <= place["end"] <= len(text)
    first = said["errors"][0]["place"]
    assert text[first["start"] : first["end"]] == "turnuot"


def test_a_situation_is_played(bench: Server) -> None:
    look: dict[str, Any] = {"name": "", "text": END_OF_SIDING}
    _, bare = bench.ask("/api/look", look)
    shows = {signal["name"]: signal for signal in bare["signals"]}
    assert shows["4RA"]["aspect"] == "Clear" and "<svg" in bare["picture"]["svg"]
    act = {"do": "put", "kind": "stock", "name": "Single", "state": "occupied"}
    for do in ("turn", "put", "set", "toggle"):
        status, said = bench.ask("/api/look", {**look, "act": {**act, "do": do}})
        if status == 200:
            break
    shows = {signal["name"]: signal for signal in said["signals"]}
    assert shows["4RA"]["aspect"] == "Stop", "with stock on Single"
    assert said["play"]["facts"], "and the page is told what is set"


def test_the_wiring_diagram_comes_page_by_page(bench: Server) -> None:
    _, said = bench.ask("/api/wiring", {"name": "", "text": pattern_text("wired-end-of-siding")})
    assert said["pages"][0]["title"] == "Power plan" and len(said["pages"]) == 2
    assert all(page["svg"].startswith("<svg") for page in said["pages"])
    assert bench.ask("/api/wiring", {"name": "", "text": END_OF_SIDING})[1] == {"pages": []}


# ------------------------------------------------------------------ saving


def test_a_file_is_saved_whole_and_not_over_what_changed(bench: Server) -> None:
    path = bench.folder / "loon-cove.ixl"
    _, saved = bench.ask("/api/save", {"name": path.name, "text": "block A\n", "stamp": ""})
    assert path.read_text() == "block A\n"
    path.write_bytes(b"block B\r\nblock C\r\n")
    status, said = bench.ask(
        "/api/save", {"name": path.name, "text": "block D\n", "stamp": saved["stamp"]}
    )
    assert status == 409 and said["text"] == "block B\nblock C\n"
    assert path.read_bytes() == b"block B\r\nblock C\r\n", "nothing was written"
    status, _ = bench.ask(
        "/api/save", {"name": path.name, "text": "block D\nblock E\n", "stamp": said["stamp"]}
    )
    assert status == 200 and path.read_bytes() == b"block D\r\nblock E\r\n"
    path.unlink()
    status, said = bench.ask("/api/save", {"name": path.name, "text": "x", "stamp": "old"})
    assert status == 409 and said["text"] is None


def test_two_tabs_see_each_others_writes(bench: Server) -> None:
    name = "fernhook.ixl"
    _, one = bench.ask("/api/save", {"name": name, "text": "block A\n", "stamp": ""})
    _, two = bench.ask("/api/open", {"name": name})
    assert one["stamp"] == two["stamp"]
    assert (
        bench.ask("/api/save", {"name": name, "text": "block B\n", "stamp": one["stamp"]})[0] == 200
    )
    assert (
        bench.ask("/api/save", {"name": name, "text": "block C\n", "stamp": two["stamp"]})[0] == 409
    )


def test_a_folder_that_cannot_be_written() -> None:
    prefix = WITHOUT_OVERRIDE if os.geteuid() == 0 else []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        (folder / "east").mkdir(mode=0o555)
        with server(folder, prefix=prefix) as bench:
            status, said = bench.ask(
                "/api/save", {"name": "east/new.ixl", "text": "x", "stamp": ""}
            )
    assert status == 400 and "cannot be written" in said["refused"]


# ------------------------------------------------------------------ proving


def test_a_proof_ends_with_its_verdicts(bench: Server) -> None:
    *_, last = bench.prove(END_OF_SIDING)
    verdicts = last["report"]["verdicts"]
    assert {verdict["status"] for verdict in verdicts} >= {"proved", "broken"}


def test_a_draft_is_as_it_was_asked_for(bench: Server) -> None:
    """A line of two blocks, with each choice of the page that says something of it."""
    text = "edge West, East\nblock A, B\ntrack West = A | B = East\n"
    asked = {"name": "", "text": text, "tab": "d", "aspects": "two", "panel": "levers"}
    *_, plain = bench.lines("/api/draft", asked)
    assert "lever 2, 4 positions normal, reverse" in plain["draft"]
    *_, timed = bench.lines("/api/draft", asked | {"release": "time", "wiring": True})
    assert "timer 2R-time" in timed["draft"] and "detector D-A" in timed["draft"]
    *_, refused = bench.lines("/api/draft", asked | {"single_track": "lever"})
    assert [error["code"] for error in refused["errors"]] == ["CP907"]
    assert bench.ask("/api/draft", asked | {"single_track": "none"})[0] == 400


def test_a_worker_that_is_killed_has_proved_nothing(bench: Server) -> None:
    lines = bench.prove(LONG, tab="killed")
    next(lines)
    killed = bench.workers()
    for pid in killed:
        os.kill(pid, 9)
    *_, last = lines
    assert "undecided" in last and "report" not in last
    # The one that was waiting for work was killed too: the server notices that in its own time.
    assert all(is_gone(pid) for pid in killed)
    *_, last = bench.prove(END_OF_SIDING, tab="killed")
    assert "report" in last, "and the next one is another"


def test_a_new_text_ends_the_proof_of_the_old_one(bench: Server) -> None:
    old = bench.prove(LONG, tab="typing")
    next(old)
    *_, new = bench.prove(END_OF_SIDING, tab="typing")
    *_, last = old
    assert "report" in new
    assert last.get("report", {"stopped": "undecided" in last})["stopped"]


def test_a_changed_text_is_proved_by_the_process_that_knows_the_one_before(bench: Server) -> None:
    *_, before = bench.prove(END_OF_SIDING, tab="edits")
    workers = bench.workers()
    lines = [*bench.prove(f"# a remark\n{END_OF_SIDING}", tab="edits")]
    assert before["report"]["verdicts"] and set(bench.workers()) <= set(workers)
    safety = [line["safety"] for line in lines if "safety" in line]
    assert len(safety) == 2 and all("follow" in said["stopped"] for said in safety)
    status = {v["key"]: v["status"] for v in lines[-1]["report"]["verdicts"]}
    for said in safety:
        early = {v["key"]: v["status"] for v in said["verdicts"] if v["status"] != "undecided"}
        assert early and early.items() <= status.items()


def test_repairs_are_one_stretch_each(bench: Server) -> None:
    text = spec("diamond-broken").read_text("utf-8")
    *_, last = bench.prove(text, tab="repairs", mend=True)
    first, *_ = last["repairs"]
    assert first["mends"] == ["crossing-proceeds: 2R, 4R"] and first["mends_all"]
    mended = text[: first["start"]] + first["text"] + text[first["end"] :]
    assert not [v for v in prove(load_text(mended)).verdicts if v.fails or v.expected]
    *_, last = bench.prove(mended, tab="repairs", mend=True)
    assert last["repairs"] == []


def test_each_promise_comes_with_its_history_and_what_replaces_it(bench: Server) -> None:
    text = spec("hand-thrown-switch-broken").read_text("utf-8")
    *_, last = bench.prove(text, tab="promises", promise=True)
    assert not last["stopped"] and last["promises"]
    for needed in last["promises"]:
        assert needed["promise"].startswith("crew promises ")
        assert needed["trouble"] and needed["events"] and needed["instead"]


def test_a_proof_that_is_stopped_ends_with_what_was_decided(bench: Server) -> None:
    lines = bench.prove(line(80), tab="stopped")
    assert bench.ask("/api/stop", {"tab": "another"})[0] == 200
    said = next(said for said in lines if said.get("of"))
    assert said.keys() >= {"done", "of", "broken"}
    while "report" not in said:
        assert bench.ask("/api/stop", {"tab": "stopped"}) == (200, {"stopping": True})
        said = next(lines)
    report = said["report"]
    assert report["stopped"] == "interrupted" and report["exit_code"] == 3
    undecided = [v for v in report["verdicts"] if v["status"] == "undecided"]
    assert undecided and report["grade"] == "not proved"
    *_, last = bench.prove(END_OF_SIDING, tab="stopped")
    assert last["report"]["stopped"] == ""


def test_each_proof_takes_no_longer_than_the_page_was_told(home: Path) -> None:
    started = Server(home, "--within", "0.2")
    *_, last = started.prove(line(80))
    assert started.end() == 0
    assert last["report"]["stopped"] == "stopped when its time was over"
    assert last["report"]["exit_code"] == 3


# ------------------------------------------------------------------ the end


def test_ctrl_c_leaves_nothing_running(home: Path) -> None:
    started = Server(home)
    lines = started.prove(LONG)
    next(lines)
    workers = started.workers()
    assert workers
    assert started.end() == 0
    assert all(is_gone(pid) for pid in workers)


def test_a_killed_server_takes_its_workers_along_and_another_start_has_another_key(
    home: Path,
) -> None:
    started = Server(home)
    next(started.prove(LONG))
    workers, key, port = started.workers(), started.key, started.port
    started.process.kill()
    started.end()
    assert all(is_gone(pid) for pid in workers)
    with server(home, "--port", str(port)) as again:
        assert again.key != key
        assert again.ask("/api/files", headers={KEY: key})[0] == 401


def test_the_button_closes_it(home: Path) -> None:
    started = Server(home)
    assert started.ask("/api/close")[0] == 200
    assert started.process.wait(20) == 0
    started.end()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [(["page", "nowhere.ixl"], "does not exist"), (["page", __file__], "not a junction file")],
)
def test_what_cannot_be_opened_is_told(
    arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(arguments) == 2
    assert said in capsys.readouterr().err


def test_a_port_in_use_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        assert main(["page", "--no-browser", "--port", str(taken.getsockname()[1])]) == 2
    assert "is not available" in capsys.readouterr().err
