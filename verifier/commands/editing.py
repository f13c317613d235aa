"""The command that serves editors."""

import argparse

from verifier.commands.console import (
    Command,
    tell_aside,
    within_option,
)
from verifier.verdicts.exit_codes import ExitCode

# What to install for what an editor needs.
EXTRA = "pip install 'clearproof[editor]'"


def add(command: Command) -> None:
    lsp = command("lsp", _lsp, "serve an editor: errors, verdicts, completion, renaming and more")
    lsp.add_argument("--stdio", action="store_true", help="over standard input and output: always")
    within_option(lsp, "each proof")


def _lsp(options: argparse.Namespace) -> int:
    try:
        from verifier.editor.server import serve
    except ImportError as missing:
        if missing.name is None or missing.name.split(".")[0] not in ("pygls", "lsprotocol"):
            raise
        tell_aside(f"`clearproof lsp` needs pygls 2: {EXTRA}")
        return ExitCode.BAD_INPUT
    serve(options.within)
    return ExitCode.AS_EXPECTED
