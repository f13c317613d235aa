"""Every diagnostic code there is: what it means, why it matters on a layout, what to do.

A code, once published, keeps its meaning. CP1xx: the text cannot be read; CP2xx: names and
what is said of them; CP3xx: track; CP4xx: signals and their rules; CP5xx: what is to be
proved; CP6xx: wiring, and what was seen of it on the bench; CP7xx: memory, time and locking,
included files and modules; CP8xx: what sheets are asked for.
"""

from verifier.language.diagnostics.code import Code
from verifier.language.diagnostics.codes_diagnose import DIAGNOSE
from verifier.language.diagnostics.codes_locking import LOCKING
from verifier.language.diagnostics.codes_modules import MODULES
from verifier.language.diagnostics.codes_names import NAMES
from verifier.language.diagnostics.codes_reading import READING
from verifier.language.diagnostics.codes_sheets import SHEETS
from verifier.language.diagnostics.codes_signals import SIGNALS
from verifier.language.diagnostics.codes_track import TRACK
from verifier.language.diagnostics.codes_wiring import WIRING

__all__ = ["CODES", "Code"]

CODES: dict[str, Code] = {
    code.code: code
    for code in (
        *READING,
        *NAMES,
        *TRACK,
        *SIGNALS,
        *WIRING,
        *DIAGNOSE,
        *LOCKING,
        *MODULES,
        *SHEETS,
    )
}
