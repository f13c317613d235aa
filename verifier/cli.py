"""The command line: the commands, and what happens to the errors that they do not handle.

Nothing heavy is imported at the top: `clearproof --help` must not wait for a solver.
"""

import argparse
import os
import platform
import signal
import sys
import threading
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, NoReturn

from verifier import __version__
from verifier.commands import (
    draft,
    drawing,
    editing,
    exporting,
    farming,
    helping,
    looking,
    mend,
    packing,
    paging,
    printing,
    proving,
    writing,
)
from verifier.commands.console import (
    NotInstalled,
    OnlyOne,
    WrongWord,
    complain,
    discard,
    showable,
    tell_aside,
)
from verifier.commands.defaults import WrongDefaults, use_defaults
from verifier.engines.garbage import collect_seldom
from verifier.engines.stopping import heed_termination
from verifier.farm.absent import NoCluster
from verifier.language.diagnostics.diagnostic import InputError
from verifier.language.writing import NO_OUTPUT, NOT_GIVEN, UnwritableError, reason
from verifier.verdicts.exit_codes import ExitCode, table

_CAUTION = (
    "For model railroads, not for railways that carry people. Proofs hold on the assumptions "
    "printed with them."
)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; without any, open the page. Returns the exit code."""
    arguments = list(sys.argv[1:] if arguments is None else arguments)
    if arguments[:1] == ["--"]:  # no options before the command, which is what follows
        del arguments[0]
    if sys.stderr is None:  # closed: there is nobody to tell
        sys.stderr = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 - until the end
    if sys.stdout is None:
        print("The output cannot be written: standard output is closed.", file=sys.stderr)
        return ExitCode.BAD_INPUT
    parser, parsers = _parser()
    if arguments and arguments[0][:1] not in ("", "-") and arguments[0] not in parsers:
        helping.print_unknown(arguments[0], parsers)
        return ExitCode.BAD_INPUT
    try:
        if not arguments or arguments[0] not in ("help", "completion"):
            use_defaults(parsers.values(), Path.cwd())
    except WrongDefaults as error:
        tell_aside(str(error))
        return ExitCode.BAD_INPUT
    except OSError:  # the working folder is gone
        pass
    collect_seldom()
    heed_termination()
    before, sys.unraisablehook = sys.unraisablehook, _pressed_again
    try:
        options = _understood(parser, parsers, arguments or ["page"])
        helped = helping.run_with(parser, parsers, options)
        code = int(options.run(options)) if helped is None else helped
        sys.stdout.flush()
        return code
    except BrokenPipeError:
        # The reader of our output has closed the pipe (`| head`): print nothing more.
        discard(sys.stdout)
        return ExitCode.UNDECIDED
    except (Exception, KeyboardInterrupt) as error:
        unwritten = _unwritten()
        if os.environ.get("CLEARPROOF_TRACEBACK") and not isinstance(error, _FORESEEN):
            raise
        return _ended(error, unwritten, arguments)
    finally:
        sys.unraisablehook = before


# What ends a command without being a bug.
_FORESEEN = (
    UnwritableError, OnlyOne, WrongWord, NotInstalled, NoCluster, InputError, KeyboardInterrupt,
    OSError,
)  # fmt: skip


def _unwritten() -> OSError | None:
    """Why what was printed cannot be written, if so: then it is discarded, and what is told of
    the end of the command still goes to standard error."""
    try:
        sys.stdout.flush()
    except OSError as error:
        discard(sys.stdout)
        return error
    return None


def _ended(error: BaseException, unwritten: OSError | None, arguments: Sequence[str]) -> ExitCode:
    """Tell why a command ended before its end."""
    match error:
        case KeyboardInterrupt():
            tell_aside("\nInterrupted: nothing further was decided.")
            return ExitCode.UNDECIDED
        case UnwritableError() | OnlyOne() | WrongWord() | NotInstalled() | NoCluster():
            tell_aside(str(error))
        case InputError():
            complain(error)
        case OSError() if unwritten or (error.filename is None and error.errno in NO_OUTPUT):
            tell_aside(f"The output cannot be written: {reason(unwritten or error)}.")
        case OSError() if error.errno in NOT_GIVEN:
            what = f"{error.filename} cannot be used" if error.filename else "The system refuses"
            tell_aside(f"{what}: {reason(error)}. Nothing further was done.")
        case _:
            tell_aside(_our_bug(error, arguments))
            return ExitCode.OUR_BUG
    return ExitCode.BAD_INPUT


def _understood(
    parser: argparse.ArgumentParser,
    parsers: Mapping[str, argparse.ArgumentParser],
    arguments: Sequence[str],
) -> argparse.Namespace:
    """What the arguments ask for. Help that was printed is on its way before the program ends."""
    try:
        options, left = parser.parse_known_args(arguments)
        chosen = parsers.get(getattr(options, "chosen", ""), parser)
        if left:
            chosen.error(helping.not_taken(left, chosen))
        if chosen is parser:
            parser.error("no command is given")
        return options
    except SystemExit:
        sys.stdout.flush()
        raise


def _pressed_again(lost: "sys.UnraisableHookArgs") -> None:
    """Python loses a Ctrl-C that arrives during garbage collection: raise it again a moment
    later."""
    if isinstance(lost.exc_value, KeyboardInterrupt):
        threading.Timer(0.01, _press).start()
    else:
        sys.__unraisablehook__(lost)


def _press() -> None:
    main_thread = threading.main_thread().ident
    if sys.platform == "win32" or main_thread is None:
        signal.raise_signal(signal.SIGINT)
    else:
        signal.pthread_kill(main_thread, signal.SIGINT)


def _our_bug(error: BaseException, arguments: Sequence[str]) -> str:
    return (
        f"This is a bug in clearproof, not in your file: {type(error).__name__}: {error}\n"
        f"clearproof {__version__}, Python {platform.python_version()}, {platform.system()}; "
        f"arguments: {' '.join(arguments)}\n"
        "Please report it with the file. CLEARPROOF_TRACEBACK=1 shows where it happened."
    )


def _exit_codes() -> str:
    return "\n".join(["exit codes:", *(f"  {line}" for line in table())])


class _Parser(argparse.ArgumentParser):
    """Says what is wrong with a command line in one line. Argparse passes over it when help cannot
    be written: here the program ends as ever then."""

    def error(self, message: str) -> NoReturn:
        name = self.prog.partition(" ")[2]
        self.exit(
            ExitCode.BAD_INPUT,
            f"{self.prog}: {message}{'' if message.endswith(('?', '.')) else '.'} "
            f"`clearproof {f'help {name}' if name else '--help'}` tells more.\n",
        )

    def _check_value(self, action: argparse.Action, value: Any) -> None:
        if action.choices is not None and value not in action.choices:
            raise argparse.ArgumentError(action, helping.no_choice(value, action.choices))

    def _print_message(self, message: str, file: Any = None) -> None:
        if file is None or file is sys.stderr:
            tell_aside(message.removesuffix("\n"))
        else:
            file.write(showable(message, file))


def _parser() -> tuple[argparse.ArgumentParser, Mapping[str, argparse.ArgumentParser]]:
    """The parser of the command line, and that of each command."""
    parser = _Parser(
        prog="clearproof",
        description="Proves that the signals of a model railroad never show a false clear, "
        "or draws a situation in which they do. Without a command, opens a local page.",
        epilog=f"{_exit_codes()}\n\n{_CAUTION}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"clearproof {__version__}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")

    def command(
        name: str, run: Callable[[argparse.Namespace], int], text: str
    ) -> argparse.ArgumentParser:
        sub = commands.add_parser(
            name, help=text, description=text, epilog=_exit_codes(),
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )  # fmt: skip
        sub.set_defaults(run=run, chosen=name)
        return sub

    for group in (
        paging,
        packing,
        proving,
        looking,
        mend,
        draft,
        drawing,
        printing,
        exporting,
        farming,
        writing,
        editing,
        helping,
    ):
        group.add(command)
    return parser, commands.choices


if __name__ == "__main__":
    sys.exit(main())
