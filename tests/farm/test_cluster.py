"""A Dask cluster of two worker processes on this computer, and what it proves while they die."""

import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from tests.decide.layouts import BROKEN, SAFE
from tests.farm import requests
from tests.junction_files import ROOT, spec
from verifier.cli import main
from verifier.farm.absent import NoCluster
from verifier.farm.answers import Lost
from verifier.farm.cluster import answers, cluster_at
from verifier.farm.hands import end_all, request
from verifier.verdicts.exit_codes import ExitCode

pytest.importorskip(
    "distributed", reason="needs Dask: pip install 'clearproof[farm]'", exc_type=ImportError
)
pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL"),
    # Dask leaves sockets to the garbage collector.
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
    pytest.mark.filterwarnings("ignore::DeprecationWarning"),
]

# A scheduler and two workers, each with a nurse that starts it again when it dies.
CLUSTER = """
import sys
if __name__ == "__main__":
    from distributed import LocalCluster
    with LocalCluster(2, threads_per_worker=1, dashboard_address=None, host="127.0.0.1") as made:
        print(made.scheduler_address, flush=True)
        sys.stdin.read()
"""


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    folder = tmp_path_factory.mktemp("cluster")
    (folder / "cluster.py").write_text(CLUSTER)
    process = subprocess.Popen(
        [sys.executable, "cluster.py"], cwd=folder, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL, text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONWARNINGS": "ignore"},
    )  # fmt: skip
    assert process.stdin and process.stdout
    try:
        yield process.stdout.readline().strip()
    finally:
        process.stdin.close()
        process.wait(timeout=60)
        process.stdout.close()
        end_all()


def unheard(_done: int, _of: int) -> None:
    pass


def said(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str]:
    code = main(["prove", "--no-cache", *arguments])
    return code, capsys.readouterr().out


def test_a_worker_killed_while_it_works(address: str, tmp_path: Path) -> None:
    """Nothing is lost, and nothing is counted twice, though some of it is worked out twice."""
    noted = str(tmp_path / "noted")
    asked = [request(f"{requests.__name__}:squared", n, noted, 0.2) for n in range(12)]
    with cluster_at(address) as client:
        pids = client.run(os.getpid)
        assert len(pids) == 2
        came = []
        for number, answer in answers(client, asked, unheard):
            came.append((number, answer))
            if len(came) == 2:
                os.kill(next(iter(pids.values())), signal.SIGKILL)
    assert sorted(came) == [(n, {"answer": n * n}) for n in range(12)]


def test_what_its_process_dies_of_is_lost_and_nothing_else(address: str, tmp_path: Path) -> None:
    noted = str(tmp_path / "noted")
    asked = [request(f"{requests.__name__}:squared", n, noted) for n in range(4)]
    asked[1] = request(f"{requests.__name__}:dies", 1)
    with cluster_at(address) as client:
        found = dict(answers(client, asked, unheard))
    assert isinstance(found.pop(1), Lost)
    assert found == {n: {"answer": n * n} for n in (0, 2, 3)}


@pytest.fixture
def files(tmp_path: Path) -> list[str]:
    kept = spec("end-of-siding-broken").read_text("utf-8")
    for name, text in {"a": SAFE, "b": BROKEN, "c": kept, "d": "signal\n", "f": SAFE}.items():
        (tmp_path / f"{name}.ixl").write_text(text, "utf-8")
    return [*(str(tmp_path / f"{name}.ixl") for name in "abcdef"), str(spec("spur-mended"))]


@pytest.mark.parametrize("how", [("--all",), ("--json",)])
def test_the_report_is_the_same(
    how: Sequence[str], address: str, files: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Also while a worker is killed."""
    here = said(capsys, *how, *files)
    assert here[0] == ExitCode.BAD_INPUT and here[1]
    with cluster_at(address) as client:
        victim = next(iter(client.run(os.getpid).values()))
        killer = threading.Timer(1.0, os.kill, (victim, signal.SIGKILL))
        killer.start()
        there = said(capsys, "--cluster", address, *how, *files)
        killer.join()
    assert there == here


def test_sweeps_are_the_same(address: str, tmp_path: Path) -> None:
    (tmp_path / "a.ixl").write_text(SAFE, "utf-8")
    tables = [tmp_path / "here.csv", tmp_path / "there.csv"]
    for table, how in zip(tables, ((), ("--cluster", address)), strict=True):
        done = main(["farm", "mutants", str(tmp_path / "a.ixl"), "-o", str(table), *how])
        assert done == ExitCode.AS_EXPECTED
    assert tables[0].read_bytes() == tables[1].read_bytes()


def test_other_versions_are_refused(
    address: str, files: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    with cluster_at(address) as client:
        client.run(requests.pretend, {"z3-solver": "1.0"})
        try:
            # One that joins later is noticed too.
            with pytest.raises(NoCluster, match=r"z3-solver 1\.0 there"):
                dict(answers(client, [request("math:floor", 1)], unheard))
            code = main(["prove", "--no-cache", "--cluster", address, files[0]])
            out, err = capsys.readouterr()
            assert code == ExitCode.BAD_INPUT and not out
            [line] = err.splitlines()
            assert "z3-solver 1.0 there" in line and "Install the same" in line
        finally:
            client.run(requests.pretend, None)
        assert dict(answers(client, [request("math:floor", 1)], unheard)) == {0: {"answer": 1}}


@pytest.mark.parametrize("where", ["tcp://127.0.0.1:9", "nonsense", ""])
def test_a_cluster_that_is_not_there(
    where: str, files: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    code = main(["prove", "--no-cache", "--cluster", where, files[0]])
    out, err = capsys.readouterr()
    assert code == ExitCode.BAD_INPUT and not out
    [line] = err.splitlines()
    assert "There is no Dask cluster" in line and "dask scheduler" in line


@pytest.mark.parametrize(
    ("address", "told"),
    [
        (
            "tls://127.0.0.1:9",
            "Dask has no TLS certificates here: see `distributed.comm.tls` in the",
        ),
        ("nowhere", "There is no Dask cluster at `nowhere`: that is no address. Give"),
        ("tcp://nowhere:x", "There is no Dask cluster at `tcp://nowhere:x`: that is no address."),
    ],
)
def test_what_is_no_address_or_has_no_certificates(
    address: str, told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Also where the cache knows the file."""
    path = tmp_path / "x.ixl"
    path.write_text(SAFE, "utf-8")
    for more in ([], ["--cluster", address]):
        code = main(["prove", str(path), *more])
        assert code == (ExitCode.BAD_INPUT if more else ExitCode.AS_EXPECTED)
    assert capsys.readouterr().err.startswith(told)


def test_certificates_that_cannot_be_read() -> None:
    import dask

    with (
        dask.config.set(
            {f"distributed.comm.tls.{key}": "/nowhere" for key in ("ca-file", "client.cert")}
        ),
        pytest.raises(NoCluster) as refused,
        cluster_at("tls://127.0.0.1:9"),
    ):
        pass
    assert str(refused.value).startswith("Dask cannot use its TLS certificates")


def test_a_cluster_without_workers_or_that_does_not_speak(
    files: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Something listens there and never answers."""
    with socket.socket() as deaf:
        deaf.bind(("127.0.0.1", 0))
        deaf.listen()
        begun = time.monotonic()
        code = main(["prove", "--cluster", f"tcp://127.0.0.1:{deaf.getsockname()[1]}", files[0]])
        assert code == ExitCode.BAD_INPUT
        assert time.monotonic() - begun < 60
    [line] = capsys.readouterr().err.splitlines()
    assert "There is no Dask cluster" in line


@pytest.mark.parametrize("option", ["--watch", "--report=x.html", "--certificate=x"])
def test_what_needs_proofs_of_this_computer(
    option: str, files: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["prove", files[0], "--cluster", "x", option]) == ExitCode.BAD_INPUT
    [line] = capsys.readouterr().err.splitlines()
    assert "leave out `--cluster`" in line
