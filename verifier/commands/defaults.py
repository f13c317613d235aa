"""A club's own defaults for options: `clearproof.toml`, or `[tool.clearproof]` of `pyproject.toml`.

The nearest one counts, from the working folder upward. What the command line says goes before it.
"""

import argparse
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from verifier.language.diagnostics.diagnostic import did_you_mean

OWN, SHARED = "clearproof.toml", "pyproject.toml"
# The options that a file may give, as they are written there.
KEYS = (
    "all", "ascii", "cache", "cache-size", "color", "jobs", "pairs", "quiet", "require", "timeout",
    "within",
)  # fmt: skip


class WrongDefaults(Exception):
    """The file cannot be used; the text is one line that names it and says why."""


def defaults(folder: Path) -> tuple[Path, Mapping[str, Any]] | None:
    """The file that counts in a folder, and what it says; None where there is none.

    Raises :class:`WrongDefaults`."""
    for place in (folder, *folder.parents):
        if (own := place / OWN).is_file():
            return own, _table(own)
        if (shared := place / SHARED).is_file():
            tool = _table(shared).get("tool")
            found = tool.get("clearproof") if isinstance(tool, dict) else None
            if isinstance(found, dict):
                return shared, found
    return None


def _table(file: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(file.read_text("utf-8"))
    except OSError as error:
        raise WrongDefaults(f"{file} cannot be read: {error.strerror}.") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise WrongDefaults(f"{file} is not TOML: {error}.") from None


def use_defaults(parsers: Iterable[argparse.ArgumentParser], folder: Path) -> None:
    """Give the commands the defaults of a folder. Raises :class:`WrongDefaults`."""
    found = defaults(folder)
    if found is None:
        return
    file, table = found
    for key in table:
        if key not in KEYS:
            near = did_you_mean(key, KEYS) or f"It may have {', '.join(KEYS)}."
            raise WrongDefaults(f"{file}: there is no `{key}`. {near}")
    for parser in parsers:
        for action in parser._actions:
            for key in table:
                if f"--{key}" in action.option_strings or f"--no-{key}" in action.option_strings:
                    parser.set_defaults(**{action.dest: _value(action, key, table[key], file)})


def _value(action: argparse.Action, key: str, value: Any, file: Path) -> Any:
    """The value of an option. Raises :class:`WrongDefaults` unless it can have it."""
    if action.nargs == 0:
        if isinstance(value, bool):
            return value
        raise WrongDefaults(f"{file}: `{key}` is true or false.")
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise WrongDefaults(f'{file}: `{key}` has one value, such as 30 or "always".')
    try:
        read = action.type(str(value)) if callable(action.type) else str(value)
    except argparse.ArgumentTypeError as error:
        raise WrongDefaults(f"{file}: {key}: {error}.") from None
    if action.choices is not None and read not in action.choices:
        raise WrongDefaults(f"{file}: `{key}` is one of {', '.join(map(str, action.choices))}.")
    return read
