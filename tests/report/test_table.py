"""The report as rows and as JSON."""

from __future__ import annotations

import json

from daemon.report.facts import Facts
from daemon.report.table import as_json, rows


def test_a_row_has_units_in_its_names_and_nothing_for_what_is_not_known(facts: Facts) -> None:
    """None, never 0."""
    (row,) = rows(facts)
    assert (row["batch"], row["heads_set_out"], row["heads_picked"], row["grams_picked"]) == (
        "spring-1",
        6,
        5,
        600.0,
    )
    assert row["emerged_plugs"] is None
    assert row["share_eaten"] is None
    assert row["ph_down_ml"] == 20.0
    assert {"water_l", "stock_a_ml", "electricity_kwh", "plugs"} <= row.keys()


def test_all_of_it_can_be_said_in_json(facts: Facts) -> None:
    """With shares in band and doses of each stay."""
    told = json.loads(json.dumps(as_json(facts), allow_nan=False))
    (stay,) = told["batches"][0]["stays"]
    assert stay["doses"] == {"ph_down": {"count": 5, "ml": 20.0}}
    assert 0.9 < stay["in_band"]["ph"] < 1.0
    assert [one["key"] for one in stay["called"]] == ["bed1-ph-probe", "held"]
    assert told["season"]["picked"] == 5
