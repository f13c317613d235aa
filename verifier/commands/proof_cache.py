"""What was proved of files that have not changed since: kept on disk by content.

An entry answers one question: the same file (by place and content), with all that it includes,
asked with the same options of the same program, by its own source and the versions of what it
rests on. It is only believed where it was signed (HMAC-SHA-256) with a key that lies outside the
cache and that nobody else may read. Whatever is damaged, of another question, or signed otherwise
is as if it were not there: the file is proved again. Only what was decided as a whole is kept.

Two runs may share a cache: an entry is written at once, and read whole or not at all.
"""

import hmac
import json
import os
import stat
import sys
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import cached_property
from hashlib import sha256
from importlib import resources
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from secrets import token_bytes
from typing import Any

from verifier import __version__
from verifier.commands.proved_files import Asked, Outcome
from verifier.language.writing import UnwritableError, write_file
from verifier.verdicts.exit_codes import ExitCode
from verifier.verdicts.grade import Grade

# Megabytes that all entries may take together, unless something else is asked for.
SIZE = 200
# Once there is more, the oldest go until so much of it is left.
_LEFT = 0.8
_KEY_BYTES = 32
_ENDING = ".proof"
# What a verdict rests on beside our own source.
_RESTS_ON = ("z3-solver", "python-sat", "lark", "networkx")


def cache_folder() -> Path | None:
    """Where entries lie; None for a user without a home folder."""
    return _folder("XDG_CACHE_HOME", ".cache", "LOCALAPPDATA", "Cache")


def key_file() -> Path | None:
    """Where the key lies that entries are signed with: apart from them."""
    folder = _folder("XDG_DATA_HOME", ".local/share", "APPDATA", "Keys")
    return folder / "cache.key" if folder else None


def _folder(variable: str, usual: str, windows: str, part: str) -> Path | None:
    base = os.environ.get(variable)
    if base and Path(base).is_absolute():
        return Path(base) / "clearproof"
    if sys.platform == "win32":
        base = os.environ.get(windows)
        return Path(base) / "clearproof" / part if base else None
    with suppress(RuntimeError):
        return Path.home() / usual / "clearproof"
    return None


@dataclass(frozen=True)
class ProofCache:
    """A cache in a folder, whose entries are signed with a ``key``; at most ``size`` bytes."""

    folder: Path
    key: bytes
    size: int = SIZE * 1_000_000

    def get(self, path: Path, asked: Asked) -> Outcome | None:
        """What was told of a file that has not changed since; None where that is not known."""
        content = _digest(path)
        if content is None:
            return None
        name = self._name(path, content, asked)
        file = self.folder / name
        try:
            signed, _, body = file.read_bytes().partition(b"\n")
        except OSError:
            return None
        if not hmac.compare_digest(signed, self._signature(name, body)):
            return None
        entry = json.loads(body)
        if len(entry["read"]) > 1 and _read_now(path) != entry["read"]:
            return None
        with suppress(OSError):
            os.utime(file)  # what is used stays
        return outcome_of(entry)

    def put(self, path: Path, asked: Asked, outcome: Outcome) -> None:
        """Keep what was told of a file, if all of it was decided. A cache that cannot be written
        keeps nothing."""
        content = dict(outcome.read).get(str(path))
        if not outcome.lasts or content is None:
            return
        name = self._name(path, content, asked)
        body = json.dumps(entry_of(outcome), separators=(",", ":")).encode()
        with suppress(OSError, UnwritableError):
            self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            write_file(self.folder / name, self._signature(name, body) + b"\n" + body)

    def trim(self) -> None:
        """Remove the entries used longest ago until the rest is small enough."""
        found = []
        with suppress(OSError):
            for entry in os.scandir(self.folder):
                if entry.name.endswith(_ENDING):
                    with suppress(OSError):
                        found.append((entry.stat().st_mtime, entry.stat().st_size, entry.path))
        total = sum(size for _, size, _ in found)
        if total <= self.size:
            return
        for _, size, file in sorted(found):
            if total <= self.size * _LEFT:
                break
            with suppress(OSError):
                os.unlink(file)
            total -= size

    def _name(self, path: Path, content: str, asked: Asked) -> str:
        """The name of the entry for a question: a digest of all that the answer depends on."""
        place = str(path), os.path.realpath(path)
        question = repr((self._program, place, content, asked.question))
        return sha256(question.encode()).hexdigest() + _ENDING

    @cached_property
    def _program(self) -> str:
        return program()

    def _signature(self, name: str, body: bytes) -> bytes:
        said = name.encode() + b"\n" + body
        return hmac.new(self.key, said, sha256).hexdigest().encode()


def open_cache(size: int | None = None) -> ProofCache | None:
    """The user's cache, of at most ``size`` megabytes; None where there can be none."""
    folder, file = cache_folder(), key_file()
    if folder is None or file is None or os.environ.get("CLEARPROOF_NO_CACHE"):
        return None
    if not any(True for _ in _own_files()):  # packed: what decides cannot be told from its source
        return None
    key = signing_key()
    if key is None:
        return None
    return ProofCache(folder / "proofs", key, (SIZE if size is None else size) * 1_000_000)


def signing_key() -> bytes | None:
    """The user's key, made on first use; None where it cannot be kept from others."""
    file = key_file()
    if file is None:
        return None
    with suppress(OSError):
        file.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        with suppress(UnwritableError):  # another run may do the same: the first one counts
            if not file.exists():
                write_file(file, token_bytes(_KEY_BYTES), new=True, private=True)
        found = file.stat()
        if sys.platform != "win32":
            mine = found.st_uid == os.getuid() and not stat.S_IMODE(found.st_mode) & 0o077
            if not mine or not stat.S_ISREG(found.st_mode):
                return None
        key = file.read_bytes()
        return key if len(key) == _KEY_BYTES else None
    return None


def program() -> str:
    """What decides, to the letter: our source, the versions of what it rests on, and of Python."""
    found = sha256(repr((__version__, sys.version, *map(_version, _RESTS_ON))).encode())
    for file in sorted(_own_files()):
        found.update(f"{file}\n".encode() + file.read_bytes())
    return found.hexdigest()


def _own_files() -> Iterable[Path]:
    package = Path(__file__).parents[1]
    grammar = Path(str(resources.files("verifier.grammar")))
    for folder in (package, grammar):
        for kind in ("*.py", "*.toml", "*.lark", "*.ixl"):
            yield from folder.rglob(kind)


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return ""


def _digest(path: Path) -> str | None:
    """What a file holds, as a digest; None where it cannot be read."""
    from verifier.language.files import UnreadableError, bytes_of

    try:
        return sha256(bytes_of(path)).hexdigest()
    except UnreadableError:
        return None


def _read_now(path: Path) -> Mapping[str, str]:
    """Every file that is read for one, and what each holds now."""
    from verifier.language.diagnostics.diagnostic import InputError
    from verifier.language.files import UnreadableError, noting_reads, text_of
    from verifier.language.modules.includes import included
    from verifier.language.source import Source

    with noting_reads() as read, suppress(InputError, UnreadableError):
        included(Source(str(path), text_of(path)), path)
    return read


# ------------------------------------------------------------------ entries


def entry_of(outcome: Outcome) -> Mapping[str, Any]:
    """What was told of a file, as JSON."""
    result = outcome.result
    return {
        "code": int(outcome.code),
        "grade": outcome.grade.value,
        "lines": outcome.lines,
        "errors": outcome.errors,
        "is_brief": outcome.is_brief,
        "document": result.document,
        "repairs": [
            [number, [[e.label, e.start, e.end, e.text] for e in edits]]
            for number, edits in result.repairs.items()
        ],
        "drawings": list(result.drawings.items()),
        "read": dict(outcome.read),
    }


def outcome_of(entry: Mapping[str, Any]) -> Outcome:
    """The same again."""
    from verifier.reports.formats.cases import Edit, FileResult

    repairs = {
        number: tuple(Edit(label, tuple(start), tuple(end), text) for label, start, end, text in of)
        for number, of in entry["repairs"]
    }
    return Outcome(
        ExitCode(entry["code"]),
        Grade(entry["grade"]),
        FileResult(entry["document"], repairs, dict(entry["drawings"])),
        tuple(entry["lines"]),
        tuple(entry["errors"]),
        is_brief=entry["is_brief"],
    )
