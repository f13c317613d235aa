"""Slips that once passed every test, and what finds each now: ``python -m tests.mutation.seeds``.

Printed: for each slip the file and what finds it, or SURVIVES.
"""

from tests.junction_files import ROOT
from tests.mutation.campaign import accepted, all_read, what_finds
from tests.mutation.source_mutants import SourceMutant

# A file, a text in it that stands there, and the slip.
SEEDS = (
    ("properties/phrases.py", 'need.position == "reverse"', 'need.position != "reverse"'),
    ("plan/model.py", 'need.facing and need.position == "reverse"',
     'need.facing and need.position != "reverse"'),
    ("properties/devices.py", "if not over and not past:\n                continue",
     "if not over and not past:\n                break"),
    ("properties/devices.py", "            if not over:\n                continue",
     "            if not over:\n                break"),
    ("properties/packets.py", "if any(address.head is None", "if any(address.head is not None"),
    ("properties/packets.py", "if any(address.head is not None", "if any(address.head is None"),
    ("properties/locking.py", "if not released and not clears:\n            continue",
     "if not released and not clears:\n            return"),
    ("properties/locking.py", "        yield signal, routes, disjunction(*released, *clears), text",
     "        yield signal, routes, disjunction(*released, *clears), text\n        return"),
)  # fmt: skip


def main() -> None:
    """Print what finds each slip."""
    files = accepted(all_read())
    for name, old, new in SEEDS:
        path = ROOT / "verifier" / name
        text = path.read_text("utf-8")
        found = "is not there" if old not in text else what_finds(
            files, path, SourceMutant(0, new, text.replace(old, new))
        )  # fmt: skip
        print(f"{name}: {new.split(chr(10))[0].strip()}: {found or 'SURVIVES'}", flush=True)


if __name__ == "__main__":
    main()
