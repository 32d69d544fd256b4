"""The colours of the page are read in sunlight and in the dark.

The ratio of contrast is that of WCAG 2.2 (W3C, 2023), "relative luminance" and "contrast ratio"; 7 : 1 is its
level AAA for text (1.4.6), 3 : 1 its least for what is no text (1.4.11).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from importlib.resources import files

import pytest

STYLE = (files("daemon.page") / "static" / "page.css").read_text(encoding="utf-8")
LIGHT, DARK = 0, 1
TEXT, SHAPE = 7.0, 3.0


def colours(scheme: int) -> Mapping[str, str]:
    """Names and values of one of the two sets."""
    (light, dark) = re.findall(r":root \{(.*?)\}", STYLE, re.DOTALL)
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", (light, dark)[scheme]))


def luminance(colour: str) -> float:
    """Relative luminance, 0 for black to 1 for white."""
    parts = [int(colour[place : place + 2], 16) / 255.0 for place in (1, 3, 5)]
    red, green, blue = (each / 12.92 if each <= 0.04045 else ((each + 0.055) / 1.055) ** 2.4 for each in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """1 for the same, 21 for black on white."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_ratio_is_that_of_the_standard() -> None:
    """Black on white, and a grey whose ratio is well known: #767676 is the lightest at 4.5 on white."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("scheme", [LIGHT, DARK])
@pytest.mark.parametrize(
    ("front", "back", "least"),
    [
        *(("ink", "paper", TEXT), ("faint", "paper", TEXT), ("accent", "paper", TEXT)),
        *(("paper", "ink", TEXT), ("alert", "alert-wash", TEXT), ("alert", "paper", TEXT)),
        *(("rule", "paper", SHAPE), ("accent", "wash", SHAPE)),
    ],
)
def test_each_pair_stands_out(scheme: int, front: str, back: str, least: float) -> None:
    """Text at the highest level, shapes at the level that is asked for."""
    of = colours(scheme)
    assert contrast(of[front], of[back]) >= least
