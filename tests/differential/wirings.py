"""Random wiring for generated junctions: every clause by chance, right and wrong alike.

In: a random source, the text of a junction without wiring, and how many situations it may
have in the end. Out: the same text with its wiring. Nothing here is meant to work: feeders
miss their detectors, drivers do not read what they need, supplies share no return.
"""

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from random import Random

from tests.differential.indicators import with_indicators
from tests.differential.junctions import built, write_junction
from verifier.language.diagnostics.diagnostic import InputError
from verifier.plan.minimality import count_situations
from verifier.plan.wiring.rail_places import Chain, chains_of, is_plain

# Spots and trains meet at awkward numbers: the same ones come up again and again.
LENGTHS = (300, 600, 900, 1200, 1250)
TRAINS = ((300, 300), (300, 900), (600, 600), (600, 2200), (450, 1250), (1300, 1300))
MISSING = ("red", "red", "red", "dark", "yellow", "green")


def write_wired(r: Random, room: int) -> str:
    """The text of a wired junction. What does not fit into ``room`` is tried again with less
    of everything."""
    while True:
        text = write_junction(r, room // r.choice([3, 6, 12, 48]))
        try:
            plan = built(text)
        except InputError:  # rules with nothing to ask: every block is undetected
            continue
        heads = {s.name: [head.name for head in s.heads] for s in plan.signals.values()}
        for much in (1.0, 0.8, 0.6, 0.4, 0.3, 0.2):
            plain = {block for block in plan.blocks if is_plain(block, plan.track)}
            chains = {b: chains_of(b, plan.track, plan.wiring) for b in plan.blocks}
            wired = Electrician(r, text, heads, much, plain, chains).everything()
            try:
                if count_situations(built(wired).inputs) <= room:
                    return wired
            except InputError as error:
                # Rails joined where another line of the track says there is a gap, or that
                # bring a train back to where it was; nothing else may be wrong.
                codes = {d.code for d in error.diagnostics}
                assert codes <= {"CP301", "CP310", "CP314"}, f"{error}\n{wired}"


MAKES = ("two-color", "three-color", "target", "position-light", "semaphore")
MADE = re.compile(r" (?:two-color|three-color|target|position-light|semaphore) (?:\S+, )*\S+")
LIT = re.compile(r" (?:approach-lit|tested-unlit) (?:\S+, )*\S+")
NOTICES = re.compile(r" when input missing shows \w+")


def refused(text: str) -> set[str]:
    """The codes of the errors of a file."""
    try:
        built(text)
    except InputError as error:
        return {d.code for d in error.diagnostics}
    return set()


@dataclass
class Electrician:
    """Wires one junction. ``much`` is how much of everything there is."""

    r: Random
    text: str
    heads: Mapping[str, Sequence[str]]
    much: float
    plain: Collection[str] = ()  # blocks that are one stretch of plain track
    chains: Mapping[str, Sequence[Chain]] = field(default_factory=dict)  # by block
    shortest: int = 0
    supplies: list[str] = field(default_factory=list)
    districts: list[str] = field(default_factory=list)
    feeders: dict[str, list[str]] = field(default_factory=dict)  # by block
    lengths: dict[str, int] = field(default_factory=dict)  # by block
    sub_buses: dict[str, str] = field(default_factory=dict)  # by block
    detected: list[str] = field(default_factory=list)
    detectors: list[str] = field(default_factory=list)
    contacts: list[str] = field(default_factory=list)  # turnouts whose contacts can be read
    levers: dict[str, str] = field(default_factory=dict)  # by turnout
    turnouts: dict[str, list[str]] = field(default_factory=dict)  # by block
    added: list[str] = field(default_factory=list)

    def chance(self, p: float) -> bool:
        return self.r.random() < p

    def everything(self) -> str:
        self._trains()
        self._power()
        given = self.text.splitlines()
        if self.chance(0.6):  # in so few situations assumptions often contradict each other
            given = [line for line in given if not line.startswith("assume")]
        lines = [self._line(line) for line in given]
        lines = [self._rule(line) for line in self._joined(lines)]
        for block, feeders in self.feeders.items():
            if len(feeders) > 1 and self.chance(0.3):
                fuse = self.r.choice(["", " over 1 m of 22 AWG", " fuse 2 A"])
                self.added.append(f"sub-bus SB-{block} feeds {', '.join(feeders[:2])}{fuse}")
                self.sub_buses[block] = f"SB-{block}"
        for block in self.detected:
            self._detectors(block)
        self._drivers()
        lines = [self._through_points(line) for line in lines]
        text = "\n".join([*lines, *self.added]) + "\n"
        # A color that no LEDs make is refused, and then what a driver cannot notice.
        if "CP674" in refused(text):
            text = text.replace(" two-color ", " three-color ")
        text = MADE.sub("", text) if "CP674" in refused(text) else text
        # Nothing lights a head where nothing reports a train; all of a signal or none are lit so.
        text = LIT.sub("", text) if refused(text) & {"CP675", "CP677"} else text
        text = NOTICES.sub("", text) if "CP650" in refused(text) else text
        # (All else stays as it is.)
        r = Random(f"indicators {text}")
        return with_indicators(text, r) if r.random() < 0.4 and not refused(text) else text

    # -------------------------------------------------------------- power and trains

    def _trains(self) -> None:
        if self.chance(0.25):
            return
        rail = ["", "rail code 83", "rail code 70 soldered", "rail code 100 soldered",
                "rail code 9 of 1 ohm to 2 ohm per m soldered"]  # fmt: skip
        self.added += filter(None, [self.r.choice(rail)])
        shortest, longest = self.r.choice(TRAINS)
        self.shortest = shortest
        how = self.r.choice(["throughout", "at the locomotive only", "at both ends", ""])
        words = f", detectable {how}" if how else ""
        words += self.r.choice(["", ", wheelsets 2 kohm", ", wheelsets 10 kohm"])
        words += self.r.choice(["", "", ", load 2 mA", ", load 5 mA to 7 mA"])
        self.added.append(f"trains {shortest} mm to {longest} mm{words}")

    def _power(self) -> None:
        r = self.r
        self.supplies = ["Bus-1", "Bus-2"][: r.randint(0, 2)]
        fuses = ["", " fuse 2 A", " fuse 1 A UL", " fuse 1 A resettable trips at 2 A"]
        self.added += [
            f"supply {name}{r.choice(['', '', ' DC', ' AC'])} 12 V 3 A{r.choice(fuses)}"
            for name in self.supplies
        ]
        self.added += ["wire 22 AWG carries 2 A"] * self.chance(0.5)
        if len(self.supplies) == 2 and self.chance(0.3):
            self.added.append("common return Bus-1, Bus-2")
        if self.chance(0.6):
            kind = r.choice(["", "", "", " DCC", " AC", " DC"])
            self.added.append(f"supply Track-A track power{kind}{r.choice(['', ' 14 V 5 A'])}")
            run = r.choice(["", " over 3 m of 22 AWG", " over 3 m of 18 AWG"])
            run += r.choice(["", "", " fuse 1 A UL"])
            self.added.append(f"district North fed by Track-A{run}")
            self.districts.append("North")
            self.supplies += ["Track-A"] * self.chance(0.2)
            if self.chance(0.5):
                kind = r.choice(["", "", " DCC", " DC"])
                self.added.append(f"booster Boost fed by Track-A{kind} 15 V")
                self.added.append("district South fed by Boost")
                self.districts.append("South")
            if self.chance(0.3):
                self.added.append("reverser Turn fed by Track-A draws 2 A")
                self.added.append("district Around fed by Turn")
                self.districts.append("Around")

    def _powered(self) -> str:
        if self.supplies and self.chance(0.6):
            return f" powered by {self.r.choice(self.supplies)}"
        return ""

    # -------------------------------------------------------------- blocks and turnouts

    def _line(self, line: str) -> str:
        match line.split():
            case ["block", name, *rest]:
                return self._block(name, rest)
            case ["turnout", name, "in", block]:
                self.turnouts.setdefault(block, []).append(name)
                return self._turnout(name, line)
            case ["slip", name, "in", *_]:
                return self._contacts_alone(name, line, ("normal", "reverse"))
            case ["derail", name, "on", *_]:
                return self._contacts_alone(name, line, ("derailing", "non-derailing"))
            case ["gate", name, "on", _]:
                return self._contacts_alone(name, line, ("seated", "open"))
            case _:
                return line

    def _block(self, name: str, rest: Sequence[str]) -> str:
        line = f"block {name}"
        if self.chance(0.7):
            self.lengths[name] = self.r.choice(LENGTHS)
            line += f" {self.lengths[name]} mm"
        if self.districts and self.chance(0.8):
            line += f" in {self.r.choice(self.districts)}"
        if rest:
            line += f" {' '.join(rest)}"
        count = self.r.choice([0, 1, 1, 2, 2, 3]) if self.chance(self.much) else 0
        if count:
            self.feeders[name] = [f"f{name}-{i}" for i in range(1, count + 1)]
            line += f" feeders {', '.join(map(self._placed(name), self.feeders[name]))}"
            line += " over 300 mm of 22 AWG" * self.chance(0.8)
        if "undetected" not in rest:
            self.detected.append(name)
        return line

    def _placed(self, block: str) -> Callable[[str], str]:
        """A feeder, perhaps with its place: near another or far from it."""
        length = self.lengths.get(block)
        if length is None or block not in self.plain or not self.chance(0.7):
            return str
        return lambda name: f"{name} at {self.r.choice([0, length // 3, length // 2, length])} mm"

    def _through_points(self, line: str) -> str:
        """Feeders with places from points, the points with distances and jumpers. (All else stays
        as it is.)"""
        r = Random(f"points {line} {self.supplies}")
        match line.split():
            case ["block", name, *_] if (
                self.chains.get(name) and name in self.turnouts and r.random() < 0.8
            ):
                ends = [end for chain in self.chains[name] for end in (chain.a, chain.b) if end]
                for feeder in self.feeders.get(name, ()):
                    at, (turnout, end) = r.choice([0, 40, 120]), r.choice(ends)
                    side = "before" if end == "points" else f"beyond {end}"
                    line = re.sub(rf"\b{feeder}\b", f"{feeder} at {at} mm {side} {turnout}", line)
            case ["turnout", name, "in", block, *_]:
                line += " fouling point 40 mm" * (r.random() < 0.3)
                line += " bonded over 30 mm of 22 AWG" * ("live" not in line and r.random() < 0.6)
                far = [(c.a, c.b) for c in self.chains.get(block, ()) if c.b and c.b.piece == name]
                said = [
                    f"250 mm {'before' if a.end == 'points' else f'beyond {a.end}'} {a.piece}"
                    for a, _ in far if a.piece != name
                ]  # fmt: skip
                line += f" points at {', '.join(said)}" * (bool(said) and r.random() < 0.8)
        return line

    def _contacts_alone(self, name: str, line: str, positions: tuple[str, str]) -> str:
        """Contacts of what is not a turnout: both, one or none."""
        first, second = positions
        said = ["", f"contacts {first}, {second}", f"contact {first}", f"contact {second}"]
        contacts = self.r.choice(said)
        if contacts:
            self.contacts.append(name)
        return f"{line} {contacts}".rstrip() + self._moved(name)

    def _moved(self, name: str) -> str:
        """The machine of what is not a turnout, and its supply. (All else stays as it is.)"""
        r = Random(f"{name} {self.supplies}")
        motor = r.choice(["", "", " motor slow 3 s"])
        return motor + (f" powered by {r.choice(self.supplies)}" if motor and self.supplies else "")

    def _turnout(self, name: str, line: str) -> str:
        r = self.r
        contacts = r.choice(["", "", "contacts normal, reverse", "contacts normal, reverse",
                             "contact normal", "contact reverse", "no contacts"])  # fmt: skip
        if contacts != "no contacts":
            self.contacts.append(name)
        if self.chance(0.4):
            line += f" motor {r.choice(['slow 3 s', 'snap'])}"
            line += self._powered()
        if self.chance(0.4):
            # Now and then one lever throws two turnouts.
            one_more = list(self.levers.values()) if self.chance(0.3) else []
            lever = r.choice(one_more or [f"Throw-{name}"])
            if lever not in self.levers.values():
                self.added.append(f"lever {lever} positions normal, reverse")
            self.levers[name] = lever
            line += f" thrown by {lever}"
        return f"{line} {contacts}".rstrip() + self._frog(name)

    def _frog(self, name: str) -> str:
        """A live frog now and then, with rails beyond it that are short or not. (All else stays as
        it is.)"""
        r = Random(f"frog {name} {self.supplies}")
        by = [f"lever {self.levers[name]}"] if name in self.levers else ["points"]
        frog = r.choice(["", " frog live by points", f" frog live by {by[0]}"])
        return frog + (" gap normal 100 mm, reverse 250 mm" if frog and r.random() < 0.7 else "")

    def _joined(self, lines: Sequence[str]) -> list[str]:
        """Some gaps at which no signal stands are left out."""
        at = {
            m for line in lines if line.startswith("signal") for m in re.findall(r"\(g\d+\)", line)
        }
        found = []
        for line in lines:
            if line.startswith("track"):
                for gap in re.findall(r"\|+\(g\d+\)", line):
                    if gap.lstrip("|") not in at and self.feeders and self.chance(0.35):
                        line = line.replace(gap, "=")
            found.append(line)
        return found

    def _rule(self, line: str) -> str:
        """Some rules ask for the lever as well as for the turnout."""
        if line.startswith("  "):
            for turnout, lever in self.levers.items():
                for leg in ("normal", "reverse"):
                    if self.chance(0.4):
                        said = f"(?<![\\w.-]){turnout} {leg}\\b"
                        line = re.sub(said, f"({turnout} {leg} and {lever} {leg})", line)
        return line

    # -------------------------------------------------------------- detectors

    def _detectors(self, block: str) -> None:
        kinds = [""]
        if self.feeders.get(block):
            kinds += ["current-sensing"] * 4
        if block in self.lengths:
            kinds += ["spot"] * 3
        if not self.chance(self.much):
            return
        for _ in range(self.r.choice([1, 1, 1, 2])):
            kind = self.r.choice(kinds)
            if kind:
                self._detector(f"D{len(self.detectors) + 1}-{block}", block, kind)

    def _detector(self, name: str, block: str, kind: str) -> None:
        r = self.r
        self.detectors.append(name)
        if kind == "spot":
            marks = [0, self.lengths[block], r.randint(0, self.lengths[block])]
            marks += [self.shortest] * (0 < self.shortest <= self.lengths[block])
            count = r.choice([1, 1, 2, 3]) if self.much > 0.5 else 1
            some = ", ".join(
                f"{at} mm{self._over(block)}" for at in r.sample(marks, min(count, len(marks)))
            )
            line = f"detector {name} spot on {block} at {some}"
        else:
            through = [f for f in self.feeders[block] if self.chance(0.8)]
            others = [f for b, some in self.feeders.items() if b != block for f in some]
            if others and (not through or self.chance(0.15)):
                through.append(r.choice(others))
            if not through:
                through = [self.feeders[block][0]]
            if block in self.sub_buses and self.chance(0.5):
                left = [f for f in through if f not in self.feeders[block][:2]]
                through = [self.sub_buses[block], *left]
            r.shuffle(through)
            line = f"detector {name} current-sensing on {block} through {', '.join(through)}"
            by = r.choice(["", "", " by coil", " by diodes", " by biased diodes"])
            line += by + r.choice(["", " turns 2", " turns 10"] if "diodes" not in by else [""])
            line += r.choice(["", " sensitivity 1 mA", " sensitivity 5 mA"])
            line += " without track power reads occupied" * self.chance(0.4)
        line += self._powered()
        closed = ["", " output closed when clear", " output closed when occupied"]
        # Without track power such a detector on the same supply could not report a thing.
        dies = "without track power" in line and "powered by Track-A" in line
        line += r.choice(closed[: 2 if dies else 3])
        line += " isolated output" * self.chance(0.2)
        line += " draws 10 mA" * self.chance(0.3)
        self.added.append(line)

    def _over(self, block: str) -> str:
        """The legs over which a spot is measured, mostly those of all turnouts of its block."""
        named = [name for name in self.turnouts.get(block, ()) if self.chance(0.9)]
        legs = (f"{self.r.choice(['normal', 'reverse', ''])} {name}".strip() for name in named)
        return f" over {' and '.join(legs)}" if named and self.chance(0.8) else ""

    # -------------------------------------------------------------- drivers

    def _drivers(self) -> None:
        r, left = self.r, [head for heads in self.heads.values() for head in heads]
        if self.chance(0.3):
            return
        if self.chance(0.5):
            r.shuffle(left)
        while left:
            count = min(len(left), r.choice([1, 1, 2, 3]))
            heads, left = left[:count], left[count:]
            if self.chance(0.1):
                continue
            line = f"driver Board-{len(left)} drives {', '.join(heads)}{self._powered()}"
            line += self._reads()
            line += r.choice(["", " draws 30 mA", " lamps 15 mA", " draws 3 A lamps 15 mA"])
            if self.chance(0.4):
                made = r.choice(MAKES)
                line += f" {made} {', '.join(heads[:2])}"
            if "semaphore" not in line and self.chance(0.25):
                line += f" approach-lit {', '.join(heads)}"
                line += f" tested-unlit {heads[0]}" if self.chance(0.4) else ""
            if "semaphore" not in line and self.chance(0.3):
                side = r.choice(["common-anode", "common-cathode"])
                line += f" {side} {', '.join(heads)}"
            # A driver cannot tell a missing input from one that says clear.
            told = not any("closed when occupied" in other for other in self.added)
            if self.chance(0.4) and told:
                line += f" when input missing shows {r.choice(MISSING)}"
            if self.chance(0.4):
                line += f" when lamp out shows {r.choice(MISSING)}"
            self.added.append(line)

    def _reads(self) -> str:
        wires = [*self.detectors, *(f"{name} contacts" for name in self.contacts)]
        kept = wires if self.chance(0.4) else [w for w in wires if self.chance(0.75)]
        return f" reads {', '.join(kept)}" if kept and self.chance(0.6) else ""
