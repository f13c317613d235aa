"""Generated junctions with memory and locks that hear through wires.

In: a random source and room. Out: the text of a file: a locked junction
(:mod:`tests.differential.locked`) with feeders, detectors, supplies and drivers added at random
(:mod:`tests.differential.wirings`).
"""

from random import Random

from tests.differential.junctions import built
from tests.differential.locked import write_locked
from tests.differential.wirings import Electrician, refused
from verifier.language.diagnostics.diagnostic import InputError


class Fitter(Electrician):
    """Leaves turnouts as the locked junction throws them."""

    def _turnout(self, name: str, line: str) -> str:
        if "no contacts" not in self.text:
            self.contacts.append(name)
        return line

    def _moved(self, name: str) -> str:
        """The locked junction says how it moves."""
        r = Random(f"{name} {self.supplies}")
        return f" powered by {r.choice(self.supplies)}" if self.supplies else ""


def with_releases(r: Random, text: str) -> str:
    """Some relays release in sequence, in an order that a train can run."""
    watched = [b.name for b in built(text).blocks.values() if b.detected]
    lines = text.splitlines()
    for at in [k for k, line in enumerate(lines) if line.startswith("relay ")][::-1]:
        for _ in range(3) if r.random() < 0.4 and watched else ():
            steps = [f"{r.choice(watched)} {r.choice(['occupied', 'clear'])}" for _ in range(3)]
            clause = f"  releases after {' then '.join(steps[: r.randint(2, 3)])}"
            released = [*lines[: at + 1], clause, *lines[at + 1 :]]
            if "CP775" not in refused("\n".join(released) + "\n"):
                lines = released
                break
    return "\n".join(lines) + "\n"


def write_locked_and_wired(r: Random, room: int) -> str:
    """A locked junction with wiring; rails joined where they must not be are tried again."""
    while True:
        text = with_releases(r, write_locked(r, room))
        heads = {s.name: [h.name for h in s.heads] for s in built(text).signals.values()}
        wired = Fitter(r, text, heads, r.choice([1.0, 0.7, 0.4])).everything()
        try:
            built(wired)
        except InputError as error:
            codes = {d.code for d in error.diagnostics}
            assert codes <= {"CP301", "CP310", "CP314", "CP409", "CP775", "CP776"}, (
                f"{error}\n{wired}"
            )
        else:
            return wired
