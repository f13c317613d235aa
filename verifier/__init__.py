"""clearproof: signals that can be trusted, from plan to last soldered feeder.

    >>> import verifier
    >>> plan = verifier.load("heron-falls.ixl")
    >>> report = verifier.prove(plan)

For model railroads, not for railways that carry people.
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from verifier.api import Seen, Session, diagnose, evaluate, load, load_text, prove, prove_file
    from verifier.diagnosis.diagnose import Diagnosis
    from verifier.engines.proof_store import ProofStore
    from verifier.language.diagnostics.diagnostic import Diagnostic, InputError
    from verifier.plan.situation import Situation
    from verifier.verdicts.causes import Cause
    from verifier.verdicts.exit_codes import ExitCode
    from verifier.verdicts.report import Finding, InternalError, Report, Verdict

__version__ = "0.4.0"

_HOMES = {
    "verifier.api": (
        "Seen", "Session", "diagnose", "evaluate", "load", "load_text", "prove", "prove_file",
    ),
    "verifier.diagnosis.diagnose": ("Diagnosis",),
    "verifier.verdicts.exit_codes": ("ExitCode",),
    "verifier.verdicts.causes": ("Cause",),
    "verifier.verdicts.report": ("Finding", "InternalError", "Report", "Verdict"),
    "verifier.engines.proof_store": ("ProofStore",),
    "verifier.language.diagnostics.diagnostic": ("Diagnostic", "InputError"),
    "verifier.plan.situation": ("Situation",),
}  # fmt: skip

__all__ = [
    "Cause", "Diagnosis", "Diagnostic", "ExitCode", "Finding", "InputError", "InternalError",
    "ProofStore", "Report", "Seen", "Session", "Situation", "Verdict", "diagnose", "evaluate",
    "load", "load_text", "prove", "prove_file",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    """Import on first use: `clearproof --help` must not wait for a solver to load."""
    from importlib import import_module

    for home, names in _HOMES.items():
        if name in names:
            return getattr(import_module(home), name)
    raise AttributeError(f"module 'verifier' has no attribute {name!r}")
