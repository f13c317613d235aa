"""Feeders beyond points are drawn on their leg, on the rail, in the order of their distances."""

import re

import pytest

import verifier
from tests.junction_files import spec
from verifier.drawing.overlay import Overlay
from verifier.drawing.svg.picture import picture

LEFT = """
edge West-1, West-2, East
block Throat
  feeders a at 10 in before T1, b at 20 in beyond reverse T1, c at 30 in beyond reverse T1,
      d at 9 in beyond normal T1
turnout T1 in Throat
block M, S, Q
track West-1 = M | normal T1 | Q = East
track West-2 = S | reverse T1
"""


def feet(text: str, overlay: Overlay) -> dict[str, tuple[float, float]]:
    """Where each feeder meets the rail, found in the drawing alone."""
    drawn = picture(verifier.load_text(text), overlay=overlay).content
    groups = re.findall(r'data-kind="feeder" data-name="(\w+)"(.*?)</g>', drawn, re.S)
    feet = {}
    for name, body in groups:
        circle = re.search(r"<circle[^>]*?>", body)
        assert circle
        x, y = (re.search(rf'{at}="([\d.-]+)"', circle[0]) for at in ("cx", "cy"))
        assert x and y
        feet[name] = float(x[1]), float(y[1])
    assert len(feet) == len(groups)
    return feet


@pytest.mark.parametrize("detectors", [False, True])
def test_feeders_stand_on_their_legs(detectors: bool) -> None:
    text = spec("feeder-beyond-points-mended").read_text("utf-8")
    at = feet(text, Overlay(feeders=True, detectors=detectors))
    assert sorted(at) == ["t1", "t2", "t3", "t4"]
    assert at["t1"][0] < at["t2"][0] and at["t1"][1] == at["t2"][1]
    assert at["t2"][1] < at["t3"][1] < at["t4"][1] and at["t3"][0] < at["t4"][0]


def test_several_on_one_leg_stand_in_their_order() -> None:
    at = feet(LEFT, Overlay(feeders=True))
    assert at["a"][1] == at["d"][1] < at["b"][1] <= at["c"][1]
    assert at["c"][0] < at["b"][0] < at["a"][0] and at["d"][0] < at["a"][0]
