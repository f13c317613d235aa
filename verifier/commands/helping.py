"""The commands about commands: help, and completion for shells, both from their options."""

import argparse
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence

from verifier.commands.console import (
    Command,
    say,
    tell_aside,
)
from verifier.language.diagnostics.diagnostic import did_you_mean, nearest
from verifier.verdicts.exit_codes import ExitCode

SHELLS = ("bash", "zsh", "fish")


def add(command: Command) -> None:
    shown = command("help", lambda options: ExitCode.AS_EXPECTED, "say how a command is used")
    shown.add_argument("command", nargs="?", metavar="COMMAND", help="leave out to list them all")
    shell = command(
        "completion", lambda options: ExitCode.AS_EXPECTED,
        "print what completes commands, options and words in a shell",
    )  # fmt: skip
    shell.add_argument("shell", choices=SHELLS, metavar="SHELL", help="bash, zsh or fish")


def run_with(
    parser: argparse.ArgumentParser,
    parsers: Mapping[str, argparse.ArgumentParser],
    options: argparse.Namespace,
) -> int | None:
    """Run the command if it is one of these; None of any other."""
    if options.chosen == "help":
        if options.command is None:
            say(parser.format_help().splitlines())
            return ExitCode.AS_EXPECTED
        if options.command not in parsers:
            print_unknown(options.command, parsers)
            return ExitCode.BAD_INPUT
        say(parsers[options.command].format_help().splitlines())
        return ExitCode.AS_EXPECTED
    if options.chosen == "completion":
        made = {"bash": _bash, "zsh": _zsh, "fish": _fish}[options.shell]
        say(made(parsers))
        return ExitCode.AS_EXPECTED
    return None


def print_unknown(word: str, parsers: Mapping[str, argparse.ArgumentParser]) -> None:
    """Say on the error output that there is no such command."""

    near = did_you_mean(word, parsers) or "`clearproof help` lists them all."
    tell_aside(f"`{word}` is no command. {near}")


def not_taken(words: Sequence[str], parser: argparse.ArgumentParser) -> str:
    """That a command does not take these words, and the option that the first may mean."""
    option, equals, given = words[0].partition("=")
    if words[0].startswith("-"):
        near = nearest(option, (name for name, _ in _options(parser)))
        hint = f". Did you mean `{near}{equals}{given}`?" if near else ""
        return f"there is no option `{option}`{hint}"
    return f"nothing is expected at `{' '.join(words)}`"


def no_choice(word: object, choices: Iterable[object]) -> str:
    """That a word is none of those that are known, and which may be meant."""
    known = [str(choice) for choice in choices]
    near = did_you_mean(str(word), known)
    hint = f". {near}" if near else ""
    return f"`{word}` is none of {', '.join(known)}{hint}"


# ------------------------------------------------------------------ shells


def _options(parser: argparse.ArgumentParser) -> Iterator[tuple[str, argparse.Action]]:
    """The long options of a command."""
    for action in parser._actions:
        for option in action.option_strings:
            if option.startswith("--") and action.help != argparse.SUPPRESS:
                yield option, action


def _words(parser: argparse.ArgumentParser) -> list[str]:
    """The words that can stand in place of a file: of `sheet` and `explain` those they know."""
    found: list[str] = []
    for action in parser._actions:
        if not action.option_strings and action.choices:
            found += map(str, action.choices)
    if parser.prog.endswith(" explain"):
        from verifier.reports.explanations import topics

        found += (topic for topic in topics() if " " not in topic)
    return found


def _bash(parsers: Mapping[str, argparse.ArgumentParser]) -> Iterator[str]:
    yield '# clearproof: eval "$(clearproof completion bash)"'
    yield "_clearproof() {"
    yield "  local cur=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD-1]} options= words="
    yield "  COMPREPLY=()"
    yield '  if [ "$COMP_CWORD" -eq 1 ]; then'
    yield f"    COMPREPLY=($(compgen -W '{' '.join(parsers)}' -- \"$cur\")); return"
    yield "  fi"
    yield "  case ${COMP_WORDS[1]} in"
    for name, parser in parsers.items():
        options = " ".join(option for option, _ in _options(parser))
        words = list(parsers) if name == "help" else _words(parser)
        yield f"    {name}) options='{options}' words='{' '.join(words)}' ;;"
    yield "  esac"
    yield "  case ${COMP_WORDS[1]}:$before in"
    for name, parser in parsers.items():
        for option, action in _options(parser):
            if action.choices:
                chosen = (
                    f"COMPREPLY=($(compgen -W '{' '.join(map(str, action.choices))}' -- \"$cur\"))"
                )
                yield f"    {name}:{option}) {chosen}; return ;;"
    yield "  esac"
    yield "  case $cur in"
    yield '    -*) COMPREPLY=($(compgen -W "$options" -- "$cur")) ;;'
    yield '    *) COMPREPLY=($(compgen -W "$words" -- "$cur") $(compgen -d -- "$cur")'
    yield "         $(compgen -f -X '!*.ixl' -- \"$cur\")) ;;"
    yield "  esac"
    yield "}"
    yield "complete -o filenames -F _clearproof clearproof"


def _zsh(parsers: Mapping[str, argparse.ArgumentParser]) -> Iterator[str]:
    """The same words as for bash, which zsh can read."""
    yield "#compdef clearproof"
    yield "autoload -U +X bashcompinit && bashcompinit"
    yield from _bash(parsers)


def _fish(parsers: Mapping[str, argparse.ArgumentParser]) -> Iterator[str]:
    yield "# clearproof: clearproof completion fish | source"
    yield "complete -c clearproof -n __fish_use_subcommand -f"
    for name, parser in parsers.items():
        about = _quoted(parser.description or "")
        yield f"complete -c clearproof -n __fish_use_subcommand -a {name} -d {about}"
    for name, parser in parsers.items():
        here = f"-n '__fish_seen_subcommand_from {name}'"
        for option, action in _options(parser):
            chosen = f" -xa {_quoted(' '.join(map(str, action.choices)))}" if action.choices else ""
            takes = "" if action.nargs == 0 else " -r"
            about = _quoted(action.help or "")
            yield f"complete -c clearproof {here} -l {option[2:]}{chosen or takes} -d {about}"
        if words := (list(parsers) if name == "help" else _words(parser)):
            yield f"complete -c clearproof {here} -a {_quoted(' '.join(words))}"


def _quoted(text: str) -> str:
    short = re.sub(r"\s+", " ", text.replace("%(prog)s", "clearproof"))
    return "'" + short.replace("\\", "\\\\").replace("'", "\\'") + "'"
