"""`clearproof pack`: a folder with clearproof and all that it needs, for computers without Python.

In: a folder that is not there yet. Out: a program in it that takes the same commands, and opens
the page when it is started without any. It runs on the kind of system that it was made on.
"""

import argparse
import ast
import compileall
import os
import shutil
from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from py_compile import PycInvalidationMode
from secrets import token_hex
from tempfile import TemporaryDirectory

from verifier.commands.console import (
    Command,
    NotInstalled,
    tell_aside,
)
from verifier.verdicts.exit_codes import ExitCode

# What to install for it.
EXTRA = "pip install 'clearproof[pack]'"
# Libraries that come with files which no import names.
WHOLE = ("z3", "pysat", "lark")

# Left out, though a library asks for it, or we do: it draws windows, tests, or is for farms, which
# have Python.
NOT_NEEDED = ("tkinter", "hypothesis", "pytest", "IPython", "distributed", "dask", "pyarrow")

# The program. A worker is started as `python -P -m MODULE`, so that is understood too.
PROGRAM = """\
import multiprocessing
import runpy
import sys

if __name__ == "__main__":
    multiprocessing.freeze_support()
    if sys.argv[1:3] == ["-P", "-m"]:
        del sys.argv[1:3]
        runpy.run_module(sys.argv.pop(1), run_name="__main__", alter_sys=True)
    else:
        from verifier.cli import main

        sys.exit(main())
"""

READ_ME = """\
clearproof
==========

Start the program `clearproof` in this folder: its page opens in your browser. Close its window, or
press Ctrl-C in it, to end it. From a command line it takes commands: `clearproof help`.

Nothing has to be installed. For model railroads, not for railways that carry people.
"""


def add(command: Command) -> None:
    pack = command("pack", _pack, "make a folder that runs clearproof where there is no Python")
    pack.add_argument("folder", metavar="FOLDER", help="a folder that is not there yet")


def _pack(options: argparse.Namespace) -> int:
    from verifier.language.writing import UnwritableError, write_file

    folder = Path(options.folder).absolute()
    try:
        from PyInstaller.__main__ import run
    except ImportError:
        raise NotInstalled(f"`clearproof pack` needs PyInstaller: {EXTRA}") from None
    if os.path.lexists(folder) or not folder.parent.is_dir():
        why = (
            "it is there already"
            if os.path.lexists(folder)
            else "the folder around it does not exist"
        )
        raise UnwritableError(f"{options.folder} cannot be made: {why}.")
    with TemporaryDirectory() as scratch:
        at = Path(scratch)
        source = _staged(at / "staged")
        program = at / "clearproof.py"
        program.write_text(PROGRAM, "utf-8")
        run(
            [
                "--onedir", "--noconfirm", "--console", "--log-level", "ERROR",
                "--name", "clearproof", "--contents-directory", "parts",
                "--distpath", str(at / "made"), "--workpath", str(at / "work"),
                "--specpath", str(at),
                "--add-data", f"{source}:verifier",
                *(word for name in _needed(source) for word in ("--hidden-import", name)),
                *(word for name in WHOLE for word in ("--collect-all", name)),
                *(word for name in NOT_NEEDED for word in ("--exclude-module", name)),
                str(program),
            ]
        )  # fmt: skip
        write_file(at / "made" / "clearproof" / "README.txt", READ_ME)
        _put(at / "made" / "clearproof", folder)
    tell_aside(f"{folder} is made: start `clearproof` in it, or give the folder away.")
    return ExitCode.AS_EXPECTED


def _put(made: Path, folder: Path) -> None:
    """Move a folder to its place, whole or not at all. Raises :class:`UnwritableError`."""
    from verifier.language.writing import UnwritableError, reason

    beside = folder.with_name(f".clearproof-{token_hex(8)}.tmp")
    try:
        shutil.copytree(made, beside, symlinks=True)
        os.rename(beside, folder)
    except shutil.Error as error:  # one line for each of its files: the first says why
        raise UnwritableError(f"{folder} cannot be made: {error.args[0][0][2]}.") from None
    except OSError as error:
        raise UnwritableError(f"{folder} cannot be made: {reason(error)}.") from None
    finally:
        shutil.rmtree(beside, ignore_errors=True)


def _staged(to: Path) -> Path:
    """A copy of our own source with the grammar in it, compiled: it is run as it is here."""
    left_out = shutil.ignore_patterns("__pycache__")
    shutil.copytree(Path(__file__).parents[1], to, ignore=left_out)
    grammar = Path(str(resources.files("verifier.grammar")))
    shutil.copytree(grammar, to / "grammar", ignore=left_out, dirs_exist_ok=True)
    compileall.compile_dir(to, quiet=1, invalidation_mode=PycInvalidationMode.UNCHECKED_HASH)
    return to


def _needed(source: Path) -> list[str]:
    """All modules of others that our source imports and that are installed here."""
    return sorted({name for path in source.rglob("*.py") for name in _imported(path)})


def _imported(path: Path) -> Iterator[str]:
    from importlib.util import find_spec

    for node in ast.walk(ast.parse(path.read_bytes())):
        names = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module]
        for name in names:
            first = name.split(".")[0]
            left_out = ("verifier", "PyInstaller", *NOT_NEEDED)
            if first not in left_out and find_spec(first) is not None:
                yield name
