"""`prove --watch`: files proved again whenever a save changes them or what they include.

In: the files and folders of the command line. Out: after each save, the files that have changed. It
ends with Ctrl-C.
"""

import os
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from pathlib import Path

from verifier.commands.console import NotInstalled
from verifier.language.files import UnreadableError, noting_reads, text_of

# What to install for it.
EXTRA = "pip install 'clearproof[editor]'"


def saves(paths: Sequence[str]) -> Iterator[set[Path]]:
    """The junction files that each save has changed, until Ctrl-C. Raises
    :class:`~verifier.commands.console.NotInstalled`."""
    try:
        import watchfiles
    except ImportError:
        raise NotInstalled(f"`--watch` needs watchfiles: {EXTRA}") from None
    # An editor may replace a file by a new one: its folder is watched.
    folders = sorted({path if path.is_dir() else path.parent for path in map(Path, paths)})
    changes = watchfiles.watch(*folders, debounce=300, step=50, raise_interrupt=False)
    found = ({real(p) for _, p in some if p.endswith(".ixl")} for some in changes)
    return (changed for changed in found if changed)


def touched(files: Iterable[Path], changed: set[Path]) -> list[Path]:
    """Those of the files that are changed, or that include one that is."""
    return [file for file in files if _read_for(file) & changed]


def _read_for(file: Path) -> set[Path]:
    """Every file that is read for one."""
    from verifier.language.diagnostics.diagnostic import InputError
    from verifier.language.modules.includes import included
    from verifier.language.source import Source

    with noting_reads() as read, suppress(InputError, UnreadableError):
        included(Source(str(file), text_of(file)), file)
    return {real(file), *map(real, read)}


def real(path: str | Path) -> Path:
    """Where a file lies, links followed; one that leads round in a circle stays as it is."""
    return Path(os.path.realpath(path))
