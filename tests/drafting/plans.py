"""Track plans made from a seed: rows of single and double track with sidings, junctions, yards,
crossings, slips and crossovers; and shapes that rows do not make. Track alone: no signal, lever or
lock.
"""

from dataclasses import dataclass, field
from random import Random


@dataclass
class Drawing:
    """A plan while it is drawn from left to right: the rows that still go on are ``open``."""

    random: Random
    blocks: list[str] = field(default_factory=list)
    pieces: list[str] = field(default_factory=list)
    edges: list[str] = field(default_factory=list)
    bumpers: list[str] = field(default_factory=list)
    rows: list[list[str]] = field(default_factory=list)
    open: list[list[str]] = field(default_factory=list)
    extra: list[str] = field(default_factory=list)

    def block(self, kind: str = "B") -> str:
        name = f"{kind}{len(self.blocks) + 1}"
        self.blocks.append(name)
        return name

    def piece(self, kind: str, letter: str) -> str:
        name = f"{letter}{len(self.pieces) + 1}"
        self.pieces.append(f"{kind} {name} in {self.block('S')}")
        return name

    def row(self, *words: str) -> list[str]:
        self.rows.append(list(words))
        return self.rows[-1]

    def start(self, tracks: int) -> None:
        for _ in range(tracks):
            self.open.append(self.row(*self.end_words()))

    def end_words(self) -> tuple[str, str, str]:
        if self.random.random() < 0.2 and self.edges:
            self.bumpers.append(f"End-{len(self.bumpers) + 1}")
            return self.bumpers[-1], "=", self.block()
        self.edges.append(f"Edge-{len(self.edges) + 1}")
        return self.edges[-1], "=", self.block()

    def track(self, row: list[str], often: float = 0.9) -> None:
        """Plain track at the end of a row, most of the time; now and then two blocks of it."""
        if self.random.random() < often:
            row += ["|", self.block()]
            if self.random.random() < 0.15:
                row += ["|", self.block()]

    def split(self) -> None:
        i = self.random.randrange(len(self.open))
        name = self.piece("turnout", "T")
        self.open[i] += ["|", f"{name} normal"]
        branch = self.row(f"{name} reverse")
        self.open.insert(i + 1, branch)
        self.track(self.open[i])
        self.track(branch)

    def join(self) -> None:
        if len(self.open) < 2:
            return self.split()
        i = self.random.randrange(len(self.open) - 1)
        name = self.piece("turnout", "T")
        self.open[i] += ["|", f"normal {name}"]
        self.open[i + 1] += ["|", f"reverse {name}"]
        del self.open[i + 1]
        return self.track(self.open[i])

    def crossover(self) -> None:
        if len(self.open) < 2:
            return self.split()
        i = self.random.randrange(len(self.open) - 1)
        one, two = self.piece("turnout", "T"), self.piece("turnout", "T")
        near, far = self.open[i : i + 2]
        if self.random.random() < 0.5:
            near, far = far, near
        near += ["|", f"{one} normal"]
        far += ["|", f"normal {two}"]
        self.row(f"{one} reverse", "|", f"reverse {two}")
        if self.random.random() < 0.7:
            self.extra.append(f"crossover K{len(self.extra) + 1} is {one}, {two}")
        self.track(near)
        return self.track(far)

    def cross(self, kind: str = "crossing", letter: str = "X") -> None:
        if len(self.open) < 2:
            return self.split()
        i = self.random.randrange(len(self.open) - 1)
        name = self.piece(kind, letter)
        self.open[i] += ["|", f"along {name}"]
        self.open[i + 1] += ["|", f"across {name}"]
        self.open[i], self.open[i + 1] = self.open[i + 1], self.open[i]
        self.track(self.open[i])
        return self.track(self.open[i + 1])

    def slip(self) -> None:
        self.cross("slip", "P")

    def finish(self) -> None:
        for row in self.open:
            self.track(row, 1.0 if "B" not in row[-1] else 0.0)
            end, join, _ = self.end_words()
            self.blocks.pop()
            row += [join, end]

    def text(self) -> str:
        lines = ['layout "a plan"', ""]
        if self.edges:
            lines.append(f"edge {', '.join(self.edges)}")
        if self.bumpers:
            lines.append(f"bumper {', '.join(self.bumpers)}")
        lines.append(f"block {', '.join(self.blocks)}")
        lines += [*self.pieces, *self.extra]
        lines += [f"track {' '.join(row)}" for row in self.rows]
        return "\n".join(lines) + "\n"


def random_plan(seed: int, size: int = 3) -> str:
    """A plan of about ``size`` pieces of special trackwork."""
    random = Random(seed)
    drawing = Drawing(random)
    drawing.start(random.choice((1, 1, 1, 2, 2, 3)))
    steps = [drawing.split, drawing.join, drawing.crossover, drawing.cross, drawing.slip]
    while len(drawing.pieces) < size:
        if len(drawing.open) > 4:
            drawing.join()
        else:
            random.choices(steps, (4, 4, 2, 1, 1))[0]()
    drawing.finish()
    return drawing.text()


# ------------------------------------------------------------------ shapes


def shaped_plan(seed: int, size: int = 2) -> str:
    """A plan of a shape that rows from left to right do not make: an oval, a wye, a balloon loop,
    a terminal, double track with a station; about ``size`` of what it repeats."""
    random = Random(seed)
    shapes = (_oval, _wye, _balloon, _terminal, _double_track)
    return shapes[seed % len(shapes)](random, size)


def _text(edges: str, bumpers: str, pieces: list[str], rows: list[str]) -> str:
    """A plan of these rows; what stands in them and is nothing else is a block."""
    known = {name.strip(",") for name in f"{edges} {bumpers}".split()}
    special = {piece.split()[1]: piece for piece in pieces}
    words = [word for row in rows for word in row.split()]
    legs = {"normal", "reverse", "along", "across", "=", "|"}
    plain = dict.fromkeys(w for w in words if w not in known | special.keys() | legs)
    blocks = [*plain, *(f"In-{name}" for name in special)]
    return "\n".join([
        'layout "a plan"',
        "",
        *([f"edge {edges}"] if edges else []),
        *([f"bumper {bumpers}"] if bumpers else []),
        f"block {', '.join(blocks)}",
        *(f"{piece} in In-{name}" for name, piece in special.items()),
        *(f"track {row}" for row in rows),
        "",
    ])  # fmt: skip


def _oval(random: Random, size: int) -> str:
    """A circle with sidings, spurs and branches."""
    pieces, ring, rows = [], "Ring-0", []
    edges: list[str] = []
    bumpers: list[str] = []
    for i in range(1, size + 1):
        kind = random.choice(("siding", "siding", "spur", "branch"))
        pieces.append(f"turnout T{i}")
        if kind == "siding":
            pieces.append(f"turnout U{i}")
            ring += f" | T{i} normal | Main-{i} | normal U{i} | Ring-{i}"
            rows.append(f"T{i} reverse | Siding-{i} | reverse U{i}")
            continue
        ring += f" | T{i} normal | Ring-{i}"
        ends = bumpers if kind == "spur" else edges
        ends.append(f"End-{i}")
        rows.append(f"T{i} reverse | Spur-{i} = End-{i}")
    if not edges:
        pieces.append("turnout T0")
        ring += " | T0 normal | Ring-Last"
        rows.append("T0 reverse | Lead = Way-Out")
        edges.append("Way-Out")
    return _text(", ".join(edges), ", ".join(bumpers), pieces, [f"{ring} | Ring-0", *rows])


def _wye(random: Random, size: int) -> str:
    """Three switches in a triangle, each with a way out; one of them may be a dead end."""
    dead = random.random() < 0.5
    top = " | ".join(f"Top-{i}" for i in range(1, size + 1))
    rows = [
        f"West = A | T1 normal | {top} | normal T2 | B = East",
        "T1 reverse | Left | reverse T3",
        "South = C | T3 normal | Right | reverse T2",
    ]
    edges, bumpers = ("West, East", "South") if dead else ("West, East, South", "")
    return _text(edges, bumpers, [f"turnout T{i}" for i in (1, 2, 3)], rows)


def _balloon(random: Random, size: int) -> str:
    """A way in to a loop that comes back turned, with a siding on the way."""
    loop = " | ".join(f"Loop-{i}" for i in range(1, size + 1))
    around = f"Throat | T3 normal | {loop} | reverse T3"
    rows = [f"West = {around}"]
    if random.random() < 0.5:
        siding = "West = Line | T1 normal | Main | normal T2"
        rows = [f"{siding} | {around}", "T1 reverse | Siding | reverse T2"]
    pieces = [f"turnout T{i}" for i in (1, 2, 3) if any(f"T{i} " in row for row in rows)]
    return _text("West", "", pieces, rows)


def _terminal(random: Random, size: int) -> str:
    """A ladder of dead ends off one or two tracks."""
    double = random.random() < 0.5
    pieces = [f"turnout T{i}" for i in range(1, size + 1)]
    neck = " | normal K1 | Neck" if double else ""
    rows = [f"In = Lead{neck} | T1 normal | Track-0 = Stop-0"]
    for i in range(1, size):
        rows.append(f"T{i} reverse | T{i + 1} normal | Track-{i} = Stop-{i}")
    rows.append(f"T{size} reverse | Track-{size} = Stop-{size}")
    bumpers = [f"Stop-{i}" for i in range(size + 1)]
    if double:
        pieces += ["turnout K1", "turnout K2"]
        rows += ["Out = Away | K2 normal | Bay = Stop-B", "K2 reverse | reverse K1"]
        bumpers.append("Stop-B")
    return _text("In, Out" if double else "In", ", ".join(bumpers), pieces, rows)


def _double_track(random: Random, size: int) -> str:
    """Two tracks, a direction each, with crossovers and a branch over a crossing."""
    one, two = "West-1 = A0", "West-2 = B0"
    pieces, rows = [], []
    for i in range(1, size + 1):
        pieces += [f"turnout T{i}", f"turnout U{i}"]
        if random.random() < 0.5:
            one += f" | T{i} normal | A{i}"
            two += f" | normal U{i} | B{i}"
            rows.append(f"T{i} reverse | reverse U{i}")
        else:
            one += f" | normal T{i} | A{i}"
            two += f" | U{i} normal | B{i}"
            rows.append(f"U{i} reverse | reverse T{i}")
    edges = "West-1, East-1, West-2, East-2"
    text = _text(edges, "", pieces, [f"{one} = East-1", f"{two} = East-2", *rows])
    ways = "edge West-1, East-2 entering only\nedge East-1, West-2 leaving only"
    return text.replace(f"edge {edges}", ways)
