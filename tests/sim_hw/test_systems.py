"""sim_hw.systems: what stands in the bed at which hour, and what goes round."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from sim_hw.systems import DeepWater, EbbAndFlow, Film, Flow, Still

BED = EbbAndFlow(
    kind="ebb_and_flow",
    bed_l=20.0,
    held_l=2.0,
    flood_at_h=(8.0, 20.0),
    flood_min=15.0,
    pump_l_per_min=3.0,
    drain_min=10.0,
)


@pytest.mark.parametrize(
    ("minute", "bed_l", "round_l_per_min"),
    [
        (-1.0, 2.0, 0.0),
        (0.0, 2.0, 0.0),
        (3.0, 11.0, 0.0),
        (6.0, 20.0, 3.0),
        (14.9, 20.0, 3.0),
        (15.0, 20.0, 0.0),
        (20.0, 11.0, 0.0),
        (25.0, 2.0, 0.0),
        (400.0, 2.0, 0.0),
        (12 * 60.0 + 3.0, 11.0, 0.0),
    ],
)
def test_a_bed_fills_overflows_and_drains(minute: float, bed_l: float, round_l_per_min: float) -> None:
    """18 L at 3 L/min take six minutes; the pump runs on till the fifteenth, and in ten more it is drained."""
    flow = BED.flow((8 * 60.0 + minute) * 60.0 % 86400.0, 60.0)
    assert flow.bed_l == pytest.approx(bed_l)
    assert flow.round_l_per_s * 60.0 == pytest.approx(round_l_per_min)


def test_a_weak_pump_fills_what_it_can() -> None:
    """15 minutes at 1 L/min raise the bed by 15 L, which then drain."""
    weak = BED.model_copy(update={"pump_l_per_min": 1.0})
    assert weak.flow(8.25 * 3600.0, 60.0).bed_l == pytest.approx(17.0)
    assert weak.flow((8 * 60.0 + 20.0) * 60.0, 60.0).bed_l == pytest.approx(9.5)


def test_a_flood_goes_on_over_midnight() -> None:
    """Begun at 23:54, it is full at midnight and drained by 00:19."""
    late = BED.model_copy(update={"flood_at_h": (23.9,)})
    assert late.flow(0.0, 60.0) == Flow(20.0, 3.0 / 60.0)
    assert late.flow(19 * 60.0, 60.0).bed_l == pytest.approx(2.0)


def test_never_flooded_is_allowed() -> None:
    """An empty timetable leaves the bed as it is."""
    assert BED.model_copy(update={"flood_at_h": ()}).flow(0.0, 60.0).bed_l == 2.0


def test_between_floods_mixing_may_be_slow() -> None:
    """With the pump off, its own mixing time holds; with it on, the tank's."""
    slow = BED.model_copy(update={"mixing_time_at_rest_s": 3600.0})
    assert slow.flow(12 * 3600.0, 60.0).mixing_time_s == 3600.0
    assert slow.flow(8.1 * 3600.0, 60.0).mixing_time_s is None


def test_film_and_deep_water_never_stop() -> None:
    """The same at noon and at night; without bed_l there is nothing to move."""
    film = Film(kind="film", channel_l=5.0, flow_l_per_min=1.2)
    assert film.flow(0.0, 60.0) == film.flow(43200.0, 60.0) == Flow(5.0, 0.02)
    assert DeepWater().flow(0.0, 60.0).bed_l == 0.0


def test_layers_of_a_still_reservoir_keep_their_shares() -> None:
    """As the level falls, both do."""
    still = Still(kind="still", root_layer_share=0.25)
    assert still.flow(0.0, 40.0).bed_l == pytest.approx(10.0)
    assert still.flow(0.0, 20.0).bed_l == pytest.approx(5.0)
    assert still.start_bed_l(40.0) == pytest.approx(10.0)


@pytest.mark.parametrize(
    ("model", "wrong", "says"),
    [
        (EbbAndFlow, {"kind": "ebb_and_flow", "held_l": 20.0}, r"held_l = 20: must be below bed_l = 20 L"),
        (
            EbbAndFlow,
            {"kind": "ebb_and_flow", "flood_at_h": [7.0, 7.2]},
            r"flood_at_h = 7 and 7.2: .* 0.42 h apart",
        ),
        (EbbAndFlow, {"kind": "ebb_and_flow", "flood_at_h": [0.1, 23.9]}, r"flood_at_h = 23.9 and 0.1"),
        (EbbAndFlow, {"kind": "ebb_and_flow", "flood_at_h": [24.0]}, "less than 24"),
        (EbbAndFlow, {"kind": "ebb_and_flow", "flood_at_h": [float("nan")]}, "flood_at_h"),
        (DeepWater, {"bed_l": 0.05}, r"must be 0, for no bed, or at least 0.1 L"),
        (DeepWater, {"probes_in": "bed"}, 'probes_in = "bed" with bed_l = 0'),
        (Still, {"kind": "still", "root_layer_share": 1.0}, "less than or equal to 0.9"),
    ],
)
def test_systems_that_cannot_be_are_refused(model: Any, wrong: dict[str, Any], says: str) -> None:
    """Beds that hold more than they hold, floods on top of each other, probes in the air."""
    with pytest.raises(ValidationError, match=says):
        model.model_validate(wrong)
