"""The live view: what a person must see at a glance is there."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
from rich.console import Console

from daemon.cli.view import BAR_CELLS, GAUGE_CELLS, TREND_POINTS, Trends, gauge, render, sparkline
from daemon.values import CapUse, Condition, Priority, Quality, Quantity, Role, State
from tests.link.states import alarm, reservoir, state, unknown, with_ph, with_unknown_ph
from tests.strategies import verdict


def drawn(of: State, trends: Trends | None = None, footer: str = "", width: int = 120) -> str:
    """The picture as plain text."""
    console = Console(file=io.StringIO(), width=width, color_system=None)
    console.print(render(of, trends or Trends(3600.0), "Evenwater · Invented", footer))
    assert isinstance(console.file, io.StringIO)
    return console.file.getvalue()


def test_values_bands_doses_and_caps_are_shown() -> None:
    """With title, condition, what it waits for, and the rig, so that a simulated one is plain to see."""
    picture = drawn(state())
    for text in (
        "Evenwater · Invented",
        "2026-03-01 06:30:00 UTC",
        "sim_hw.bench:open_rig",
        "Bed1",
        "keeping (corrects by itself)",
        "mixing",
        "6.02",
        "1.20 mS/cm",
        "20.0 °C",
        "enough",
        "2.5 mL pH down, pH 6.80",
        "2.5 of 60 mL",
        "no alarm",
    ):
        assert text in picture, text


def test_a_bad_probe_is_a_dash_with_its_reason() -> None:
    """The value that cannot be trusted is not shown as the water's."""
    picture = drawn(with_unknown_ph(1))
    assert "–" in picture
    assert "the probe's converter does not answer" in picture
    jumped = replace(reservoir(), verdicts={Quantity.PH: verdict(9.87, quality=Quality.BAD)})
    assert "9.87" not in drawn(state(1, jumped))


@pytest.mark.parametrize("condition", Condition)
def test_every_condition_is_said_with_its_reason(condition: Condition) -> None:
    """In words, so that nothing hangs on colour."""
    picture = drawn(state(1, reservoir(condition=condition, condition_reason="split tube")))
    assert condition.value in picture
    assert "split tube" in picture


@pytest.mark.parametrize("priority", Priority)
def test_alarms_are_shown_with_key_and_text(priority: Priority) -> None:
    """The graver, the more marks."""
    picture = drawn(state(1, alarms=(alarm(priority=priority),)))
    marks = {Priority.HIGH: "!!!", Priority.MEDIUM: "!!", Priority.LOW: "!"}[priority]
    assert f"{marks} bed1-ph-probe (unacknowledged): pH probe gone" in picture


def test_every_reservoir_and_the_footer_are_there() -> None:
    """In the order of the settings."""
    picture = drawn(state(1, reservoir("bed1"), reservoir("bed2")), footer="grower: calibrating")
    assert picture.index("Bed1") < picture.index("Bed2") < picture.index("grower: calibrating")


def test_a_bare_reservoir_can_be_drawn() -> None:
    """Without probes, pumps or doses, and with caps of zero."""
    bare = reservoir(verdicts={}, bands={}, last_doses=(), caps={Role.PH_DOWN: CapUse(0.0, 0.0, 0.0, 0.0, 0.0)})
    picture = drawn(state(1, bare))
    assert "no dose yet" in picture
    assert "0.0 of 0 mL" in picture
    assert "▰" not in picture


def test_a_spent_cap_is_a_full_bar_and_no_fuller() -> None:
    """Also where more was counted than the cap, as after it was lowered."""
    spent = reservoir(caps={Role.PH_DOWN: CapUse(90.0, 60.0, 75.0, 150.0, 1.0)})
    picture = drawn(state(1, spent))
    assert "▰" * BAR_CELLS + " 90.0 of 60 mL" in picture
    assert "▰" * (BAR_CELLS // 2) + "▱" * (BAR_CELLS // 2) + " 75.0 of 150 mL" in picture


# the gauge


@pytest.mark.parametrize(
    ("value", "mark"), [(5.5, "◆"), (6.0, "◆"), (6.5, "◆"), (5.49, "◇"), (6.51, "◇"), (0.0, "◇"), (14.0, "◇")]
)
def test_the_mark_is_solid_inside_the_band_and_hollow_outside(value: float, mark: str) -> None:
    """However far outside, it stays on the gauge."""
    text = gauge(value, 5.5, 6.5).plain
    assert text.count("◆") + text.count("◇") == 1
    assert mark in text
    assert text.startswith("5.5 ")
    assert text.endswith(" 6.5")
    assert len(text) == len("5.5 ") + GAUGE_CELLS + len(" 6.5")


def test_a_higher_value_never_stands_further_left() -> None:
    """From far below to far above."""
    marks = [gauge(3.0 + step / 10, 5.5, 6.5).plain for step in range(60)]
    places = [max(text.find("◆"), text.find("◇")) for text in marks]
    assert places == sorted(places)
    assert places[0] < places[-1]


def test_without_a_value_there_is_only_the_band() -> None:
    """No mark to be misread."""
    text = gauge(None, 5.5, 6.5).plain
    assert "◆" not in text
    assert "◇" not in text
    assert "━" in text


# trend lines


def test_a_trend_rises_with_its_values_and_leaves_gaps() -> None:
    """A missing value is a space, not a zero."""
    assert sparkline([1.0, 2.0, None, 8.0], 1.0) == "▁▂ █"


def test_noise_looks_flat() -> None:
    """Scaled no finer than the smallest span."""
    line = sparkline([6.00, 6.01, 6.00, 6.02], 1.0)
    assert len(set(line)) == 1
    assert sparkline([6.0] * 3, 0.25) == line[:3]


def test_nothing_known_is_no_line() -> None:
    """Also where there were only gaps."""
    assert sparkline([], 1.0) == ""
    assert sparkline([None, None], 1.0) == ""


def test_trends_keep_one_value_a_step_and_the_newest_span() -> None:
    """A line of fixed length, however many passes there are."""
    trends = Trends(span_s=TREND_POINTS * 100.0)
    for second in range(0, 200 * TREND_POINTS, 10):
        trends.see(replace(with_ph(1, 6.0), at_s=float(second)))
    assert len(trends.line("bed1", Quantity.PH, 0.5)) == TREND_POINTS
    trends.see(replace(with_unknown_ph(1), at_s=1e6))
    assert trends.line("bed1", Quantity.PH, 0.5).endswith(" ")
    assert trends.line("bed9", Quantity.PH, 0.5) == ""


def test_a_value_that_may_not_be_trusted_is_a_gap_in_the_trend() -> None:
    """As one that is not there."""
    trends = Trends(span_s=TREND_POINTS)
    bad = replace(reservoir(), verdicts={Quantity.PH: verdict(9.9, quality=Quality.BAD)})
    trends.see(replace(with_ph(1, 6.0), at_s=0.0))
    trends.see(replace(state(1, bad), at_s=2.0))
    trends.see(replace(state(1, replace(bad, verdicts={Quantity.PH: unknown(Quantity.PH)})), at_s=4.0))
    assert trends.line("bed1", Quantity.PH, 0.5)[1:] == "  "
