"""What `import verifier` offers: load, prove, evaluate. The command line uses nothing else."""

from pathlib import Path

from verifier.engines.evaluator import Seen, evaluate
from verifier.findings.prove import prove
from verifier.language.diagnostics import Diagnostic, InputError
from verifier.language.parse import MAX_CHARACTERS, parse
from verifier.language.source import Source, Span
from verifier.plan.build import build
from verifier.plan.model import Plan
from verifier.world.world import World, check_circles

__all__ = ["Seen", "evaluate", "load", "load_text", "prove"]


def load(path: str | Path) -> Plan:
    """The checked plan of a junction file.

    Raises :class:`InputError` with everything that is wrong with it, a file that cannot be
    read included."""
    return load_text(_read(Path(path)), str(path))


def load_text(text: str, name: str = "(text)") -> Plan:
    """The checked plan of a junction written in ``text``; ``name`` is used in messages.

    Raises :class:`InputError`."""
    source = Source(name, text)
    plan = build(source, parse(source))
    check_circles(World(plan))
    return plan


def _read(path: Path) -> str:
    name = str(path)
    try:
        if path.stat().st_size > MAX_CHARACTERS:
            raise _unreadable(name, f"is larger than {MAX_CHARACTERS:,} characters")
        text = path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise _unreadable(name, "does not exist") from None
    except IsADirectoryError:
        raise _unreadable(name, "is a folder") from None
    except UnicodeDecodeError as error:
        raise _unreadable(name, f"is not UTF-8 text (byte {error.start + 1})") from None
    except OSError as error:
        raise _unreadable(name, f"cannot be read: {error.strerror}") from None
    return text.replace("\r\n", "\n")


def _unreadable(name: str, what: str) -> InputError:
    source = Source(name, "")
    return InputError([Diagnostic("CP100", f"this file {what}", Span(source, 0, 0))])
