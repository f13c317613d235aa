"""A junction file with all that it includes, to be proved where its disk is not."""

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from tempfile import TemporaryDirectory

from verifier.api import checked, read_file
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.files import UnreadableError, bytes_of, noting_reads, text_in
from verifier.language.modules.includes import included
from verifier.language.source import Source
from verifier.plan.model import Plan
from verifier.world.world import World


@dataclass(frozen=True, slots=True)
class Lent:
    """``name`` is its path as reports have it; ``others``: what it includes, by the path from its
    folder."""

    name: str
    raw: bytes
    others: tuple[tuple[str, bytes], ...] = ()

    def checked(self) -> tuple[Plan, World]:
        """Its plan, and the world of that. Raises InputError."""
        text = text_in(self.raw).replace("\r\n", "\n")
        if not self.others:
            return checked(text, self.name, None)
        with self._on_disk() as path:
            return checked(text, self.name, path, Path(self.name).parent)

    @contextmanager
    def _on_disk(self) -> Iterator[Path]:
        with TemporaryDirectory() as folder:
            path = Path(folder) / Path(self.name).name
            for name, raw in ((path.name, self.raw), *self.others):
                to = Path(folder, *PurePosixPath(name).parts)
                to.parent.mkdir(parents=True, exist_ok=True)
                to.write_bytes(raw)
            yield path


def lent(path: Path, *, checks: bool = True) -> Lent:
    """A file to be lent. Raises InputError where anything is wrong with it; without ``checks``,
    only where it cannot be read."""
    with noting_reads() as read:
        text, raw = read_file(path)
        if checks:
            checked(text, str(path), path)
        else:
            with suppress(InputError):
                included(Source(str(path), text), path)
    root = path.parent.resolve()
    others = []
    for other in read:
        if other != str(path):
            below = Path(other).relative_to(root).as_posix()
            try:
                others.append((below, bytes_of(Path(other))))
            except UnreadableError:  # it has just gone
                continue
    return Lent(str(path), raw, tuple(others))
