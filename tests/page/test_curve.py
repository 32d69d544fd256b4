"""How a probe comes to rest, as a picture."""

from __future__ import annotations

from xml.etree import ElementTree

from hypothesis import given
from hypothesis import strategies as st

from daemon.page.curve import BOTTOM, LEFT, RIGHT, TOP, curve

SIGNALS = st.lists(st.floats(-500.0, 500.0), min_size=1, max_size=64)


@given(SIGNALS, st.floats(0.001, 10.0))
def test_the_curve_and_its_box_lie_within_the_picture(signals: list[float], allowed: float) -> None:
    """Whatever the probe does; the box is as high as the signal may move."""
    seen = [(10.0 * (n + 1 - len(signals)), signal) for n, signal in enumerate(signals)]
    picture = ElementTree.fromstring(curve(seen, sum(signals) / len(signals), allowed, "mV", "moved <3"))
    (box,) = [each for each in picture.iter() if each.get("class") == "band"]
    assert float(box.attrib["y"]) >= TOP - 1.0
    assert float(box.attrib["y"]) + float(box.attrib["height"]) <= BOTTOM + 1.0
    assert float(box.attrib["x"]) >= LEFT - 1.0
    for point in picture.findall("path")[1].attrib["d"].removeprefix("M").replace("h1", "").split("L"):
        x, y = map(float, point.split())
        assert LEFT - 1.0 <= x <= RIGHT + 1.0
        assert TOP - 1.0 <= y <= BOTTOM + 1.0
