"""The generated stations and lines of the benchmarks are what they are said to be: of their size,
and each control point another."""

import re

import pytest

import verifier
from tests.benchmarks.different_lines import different_line
from tests.benchmarks.stations import BLOCKS as OF_BLOCKS
from tests.benchmarks.stations import POINTS, RELAYS, size_of, station


@pytest.mark.parametrize("blocks", [8, 12, 16, 32, 64])
@pytest.mark.parametrize("seed", range(2))
def test_a_station_has_the_size_asked_for(blocks: int, seed: int) -> None:
    plan = verifier.load_text(station(blocks, seed))
    turnouts = sum(piece.kind == "turnout" for piece in plan.track.pieces.values())
    assert len(plan.blocks) == blocks
    assert len(plan.locking.relays) == round(RELAYS * blocks / OF_BLOCKS)
    # Both turnouts of a crossover count once.
    assert turnouts - size_of(blocks).crossovers == round(POINTS * blocks / OF_BLOCKS)


@pytest.mark.parametrize("sidings", [1, 4, 16, 64])
def test_a_line_has_the_size_asked_for(sidings: int) -> None:
    plan = verifier.load_text(different_line(sidings))
    assert len(plan.locking.timers) == 2 * sidings
    assert len(plan.locking.relays) >= 4 * sidings


def test_all_control_points_of_a_line_differ() -> None:
    for sidings in (1, 4, 16, 64):
        text = different_line(sidings)
        found = [_written(text, number) for number in range(1, 2 * sidings + 1)]
        assert len(set(found)) == len(found)
        assert all(found)


def _written(text: str, number: int) -> str:
    """What a line says of one control point, with the numbers that differ anyway left out."""
    own = rf"(?:[a-z]-{number}|T{number}[a-d])\b"
    lines = [line for line in text.splitlines() if re.search(own, line)]
    plain = re.sub(r"\b(Main|Siding|Single|Spur)(-Way)?-\d+", r"\1\2", "\n".join(lines))
    return re.sub(r"(?<=-|T)\d+", lambda found: str(int(found[0]) - number), plain)
