"""The command that opens the local page."""

import argparse
import sys
from pathlib import Path

from verifier.commands.console import (
    Command,
    say,
    tell_aside,
    within_option,
)


def add(command: Command) -> None:
    page = command("page", _page, "open a local page to write, prove and operate junctions")
    page.add_argument("file", nargs="?", metavar="FILE", help="a junction file or a folder to open")
    page.add_argument("--port", type=_port, metavar="N", help="use this port only")
    within_option(page, "each proof")
    page.add_argument("--no-browser", action="store_true", help="only print the address")


def _port(text: str) -> int:
    if not (text.isdecimal() and 0 < int(text) < 65536):
        raise argparse.ArgumentTypeError(f"`{text}` is not a port from 1 to 65535")
    return int(text)


def _page(options: argparse.Namespace) -> int:
    path = Path(options.file or ".")
    folder, first = (path, "") if path.is_dir() else (path.parent, path.name)
    if first and not path.is_file():
        tell_aside(f"{path} does not exist; nothing was opened.")
        return 2
    if first and path.suffix != ".ixl":
        tell_aside(f"{path} is not a junction file: its name does not end in .ixl.")
        return 2

    from verifier.workbench.serving import PortTaken, listening, serve

    try:
        sock = listening(options.port)
    except PortTaken:
        tell_aside(f"Port {options.port} is not available: try another one.")
        return 2

    def opened(address: str) -> None:
        say(
            [
                f"The page is at  {address}",
                f"It opens and saves the junction files of {folder.resolve()} and nothing else; "
                "only this machine can reach it.",
                "Close it with its button, or with Ctrl-C here.",
            ]
        )
        sys.stdout.flush()

    serve(folder, first, sock, opened, browser=not options.no_browser, within=options.within)
    say(["Closed."])
    return 0
