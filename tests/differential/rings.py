"""Generated rings of signals that read one another, to find out what is a circle.

In: a random source. Out: the text of a file with few situations and much dependence.
"""

from random import Random

from hypothesis import strategies as st

ASPECTS = {
    1: ("Clear", "Approach", "Restricting", "Stop"),
    2: ("Clear", "Approach", "Diverging-Clear", "Diverging-Approach", "Restricting", "Stop"),
}
COLORS = ("green", "yellow", "red", "lunar", "dark", "flashing green")


def rings() -> st.SearchStrategy[str]:
    return st.randoms(use_true_random=False).map(write_ring)


def _another(r: Random, own: int, count: int) -> int:
    """Whom a signal reads. Mostly the next one: that is what makes rings."""
    other = (own + 1) % count if r.random() < 0.6 else r.randrange(count)
    if other == own and r.random() < 0.9:
        other = (own + 1) % count
    return other


def _shown(r: Random, signal: str, heads: int) -> str:
    """A fact about what a signal with so many heads shows."""
    match r.randrange(5):
        case 0 | 1:
            return f"{signal} {r.choice(['at stop', 'proceeds'])}"
        case 2 | 3:
            return f"{signal} shows {r.choice(ASPECTS[heads])}"
        case _:
            head = signal if heads == 1 else f"{signal}.{r.choice(['up', 'low'])}"
            return f"{head} {r.choice(COLORS)}"


def write_ring(r: Random) -> str:
    """Two to five signals on a line of blocks, two at each gap; who reads whom is up to chance."""
    count = r.randint(2, 5)
    blocks = [f"B{i}" for i in range((count + 1) // 2 + 1)]
    lines = [
        "edge West, East",
        f"block {', '.join(blocks)}",
        f"track West = {' | '.join(blocks)} = East",
        "lever L positions left, normal, right",
    ]
    heads = [r.choice([1, 1, 2]) for _ in range(count)]
    names: list[str] = []

    def condition(own: int, depth: int) -> str:
        if depth == 0 or r.random() < 0.35:
            return fact(own)
        parts = [condition(own, depth - 1) for _ in range(r.choice([1, 2, 2, 3]))]
        if len(parts) == 1:
            return f"not ({parts[0]})"
        return "(" + r.choice([" and ", " or "]).join(parts) + ")"

    def fact(own: int) -> str:
        kind = r.random()
        if kind < 0.12:
            return f"{r.choice(blocks[:2])} {r.choice(['clear', 'occupied'])}"
        if kind < 0.25:
            return f"L {r.choice(['left', 'normal', 'right'])}"
        if names and kind < 0.3:
            return r.choice(names)
        other = _another(r, own, count)
        return _shown(r, f"S{other}", heads[other])

    held = [
        f"L {r.choice(['left', 'right'])} and " if r.random() < 0.4 else "" for _ in range(count)
    ]
    if r.random() < 0.3:
        for i in range(2):
            lines.append(f"condition C{i} is {condition(r.randrange(count), 2)}")
            names.append(f"C{i}")
    for i in range(count):
        here, beyond = blocks[i // 2 : i // 2 + 2][:: -1 if i % 2 else 1]
        place = f"signal S{i} at {here} | {beyond}"
        lines.append(place + (" heads up, low" if heads[i] == 2 else ""))
        if r.random() < 0.3:
            for head in ["up", "low"] if heads[i] == 2 else [""]:
                lines.append(f"head S{i}.{head}" if head else f"head S{i}")
                for _ in range(r.randint(0, 2)):
                    lines.append(f"  {r.choice(COLORS[:5])} when ({held[i]}{condition(i, 2)})")
                lines.append("  red otherwise")
        else:
            for _ in range(r.randint(1, 3)):
                lines.append(f"  {r.choice(ASPECTS[heads[i]])} when {held[i]}{condition(i, 2)}")
            lines.append("  Stop otherwise")
    return "\n".join(lines) + "\n"
