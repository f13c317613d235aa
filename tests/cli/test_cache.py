"""Proofs kept between runs: believed only where they answer the same question and are signed."""

import os
import stat
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from verifier.cli import main
from verifier.commands import proof_cache, proved_files
from verifier.commands.proof_cache import ProofCache, key_file, open_cache
from verifier.commands.proved_files import Asked, Outcome
from verifier.reports.formats.cases import FileResult
from verifier.reports.ink import Ink
from verifier.verdicts.exit_codes import ExitCode
from verifier.verdicts.grade import Grade

TRACK = "block A, B\nedge West, East\ntrack West = A | B = East\n"
FILE = "signal 2 at A | B\n  Clear when B clear\n  Stop otherwise\n"
ASKED = Asked(Ink(), alone=True)


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.delenv("CLEARPROOF_NO_CACHE")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(proof_cache, "program", lambda: "this program")
    Path("a.ixl").write_text(TRACK + FILE)
    return tmp_path


@pytest.fixture
def proofs(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[str]]:
    """The files that are really proved."""
    found: list[str] = []
    real = proved_files.proved

    def noted(asked: Asked, path: Path, *, shows: bool = False) -> Outcome:
        found.append(path.name)
        return real(asked, path, shows=shows)

    monkeypatch.setattr(proved_files, "proved", noted)
    yield found


def cache() -> ProofCache:
    found = open_cache()
    assert found is not None
    return found


def entries() -> list[Path]:
    return sorted((Path("cache") / "clearproof" / "proofs").glob("*.proof"))


def kept(lines: tuple[str, ...] = ("proved",)) -> Outcome:
    read = (("a.ixl", str(proof_cache._digest(Path("a.ixl")))),)
    result = FileResult({"x": 1}, {0: ()}, {2: "drawn"})
    return Outcome(
        ExitCode.AS_EXPECTED, Grade.OPERATION, result, lines, ("e",), lasts=True, read=read
    )


def test_a_second_run_says_the_same_without_a_proof(
    proofs: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    said = []
    for _ in range(2):
        main(["prove", "a.ixl"])
        said.append(capsys.readouterr().out)
    assert proofs == ["a.ixl"] and said[0] == said[1] and "a.ixl" in said[0]
    main(["prove", "a.ixl", "--no-cache"])
    assert proofs == ["a.ixl"] * 2 and capsys.readouterr().out == said[0]
    main(["prove", "a.ixl", "--json"])
    assert len(proofs) == 3, "another question"
    Path("a.ixl").write_text(f"{TRACK}{FILE}\n# changed\n")
    main(["prove", "a.ixl"])
    assert len(proofs) == 4, "another file"


def test_a_changed_include_is_proved_again(proofs: list[str]) -> None:
    Path("track.ixl").write_text(TRACK)
    Path("a.ixl").write_text(f'include "track.ixl"\n{FILE}')
    for _ in range(2):
        main(["prove", "--quiet", "a.ixl"])
    assert proofs == ["a.ixl"]
    Path("track.ixl").write_text(TRACK.replace("edge West", "edge  West"))
    main(["prove", "--quiet", "a.ixl"])
    assert proofs == ["a.ixl"] * 2
    # The same words in another folder include another file.
    Path("other").mkdir()
    for name in ("a.ixl", "track.ixl"):
        Path("other", name).write_text(Path(name).read_text())
    os.chdir("other")
    main(["prove", "--quiet", "a.ixl"])
    assert proofs == ["a.ixl"] * 3


def test_what_is_kept_comes_back_as_it_was() -> None:
    cache().put(Path("a.ixl"), ASKED, kept())
    found = cache().get(Path("a.ixl"), ASKED)
    assert found is not None
    assert replace(kept(), lasts=False, read=()) == found
    assert cache().get(Path("a.ixl"), replace(ASKED, pairs=True)) is None
    assert cache().get(Path("missing.ixl"), ASKED) is None


@pytest.mark.parametrize(
    "damage",
    [
        lambda raw: raw.replace(b"proved", b"PROVED"),
        lambda raw: raw[:-1],
        lambda raw: raw[:10],
        lambda raw: b"",
        lambda raw: b"\n" + raw.partition(b"\n")[2],
        lambda raw: b"0" * 64 + b"\n" + raw.partition(b"\n")[2],
        lambda raw: b"\xff\n\xff",
    ],
    ids=["changed", "cut", "cut short", "empty", "unsigned", "signed by a guess", "noise"],
)
def test_a_damaged_entry_is_as_if_it_were_not_there(damage: "object") -> None:
    cache().put(Path("a.ixl"), ASKED, kept())
    (entry,) = entries()
    entry.write_bytes(damage(entry.read_bytes()))  # type: ignore[operator]
    assert cache().get(Path("a.ixl"), ASKED) is None


def test_an_entry_of_another_question_is_not_believed() -> None:
    """Signed, but put in the place of another."""
    cache().put(Path("a.ixl"), ASKED, kept(("of one",)))
    (one,) = entries()
    asked = replace(ASKED, pairs=True)
    cache().put(Path("a.ixl"), asked, kept(("of two",)))
    (two,) = set(entries()) - {one}
    two.write_bytes(one.read_bytes())
    assert cache().get(Path("a.ixl"), asked) is None
    assert cache().get(Path("a.ixl"), ASKED) is not None


def test_an_entry_of_another_version_or_key_is_not_believed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    cache().put(Path("a.ixl"), ASKED, kept())
    assert replace(cache(), key=b"x" * 32).get(Path("a.ixl"), ASKED) is None
    monkeypatch.setattr(proof_cache, "program", lambda: "another program")
    assert cache().get(Path("a.ixl"), ASKED) is None


def test_the_program_is_known_by_its_source(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.undo()
    before = proof_cache.program()
    monkeypatch.setattr(proof_cache, "_version", lambda package: "another")
    assert proof_cache.program() != before
    own = {str(file) for file in proof_cache._own_files()}
    for part in ("api.py", "engines/session.py", "clearproof.lark", "words.toml"):
        assert any(name.endswith(part) for name in own)


def test_a_program_without_its_source_keeps_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(proof_cache, "_own_files", lambda: iter(()))
    assert open_cache() is None


def test_the_key_is_nobody_elses() -> None:
    cache()
    file = key_file()
    assert file is not None and stat.S_IMODE(file.stat().st_mode) == 0o600
    assert not file.is_relative_to(cache().folder)
    os.chmod(file, 0o644)
    assert open_cache() is None, "a key that others can read signs nothing"


def test_only_what_was_decided_is_kept(proofs: list[str]) -> None:
    cache().put(Path("a.ixl"), ASKED, replace(kept(), lasts=False))
    assert entries() == []
    for _ in range(2):
        main(["prove", "--quiet", "a.ixl", "--timeout", "0.000001"])
    assert len(proofs) == 2, "the time was over"


def test_two_runs_may_share_a_cache() -> None:
    wrong: list[object] = []

    def run(number: int) -> None:
        mine = open_cache()  # each makes the key, or finds that of the other
        for _ in range(60):
            if mine is None:
                wrong.append("no cache")
                return
            mine.put(Path("a.ixl"), ASKED, kept((str(number) * 5_000,)))
            found = mine.get(Path("a.ixl"), ASKED)
            if found is None or found.lines[0] not in ("0" * 5_000, "1" * 5_000):
                wrong.append(found)

    threads = [threading.Thread(target=run, args=(number,)) for number in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert wrong == [] and len(entries()) == 1


def test_a_full_cache_loses_what_was_used_longest_ago() -> None:
    small = replace(cache(), size=6_000)
    for number in range(5):
        asked = replace(ASKED, timeout=float(number + 1))
        small.put(Path("a.ixl"), asked, kept(("x" * 1_500,)))
        for entry in entries():
            os.utime(entry, (number, number)) if entry.stat().st_mtime > 1e6 else None
    small.trim()
    assert sum(entry.stat().st_size for entry in entries()) <= 6_000
    assert small.get(Path("a.ixl"), replace(ASKED, timeout=5.0)) is not None
    assert small.get(Path("a.ixl"), replace(ASKED, timeout=1.0)) is None


def test_without_a_place_for_it_all_goes_on_without(
    proofs: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    Path("cache").write_text("a file")
    for _ in range(2):
        main(["prove", "--quiet", "a.ixl"])
    assert len(proofs) == 2
    monkeypatch.setenv("XDG_DATA_HOME", str(Path("a.ixl").absolute()))
    assert open_cache() is None
