"""Track plans made from a seed: single and double track, sidings, junctions, yards, terminals,
crossings, slips, crossovers, wyes, ovals, loops. Track alone: no signal, lever or lock.
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
