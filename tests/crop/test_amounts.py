"""Tests of daemon/crop/amounts.py: what the box kept, as what each batch used."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, time
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.load import load, raw_tables
from config.settings import Settings
from daemon.crop.amounts import Kept, Levels, of_batch, uses
from daemon.crop.costs import Missing, Thing, shared
from daemon.crop.diary import Event
from daemon.crop.harvest_book import book, heads_standing
from daemon.values import DoseReason, Entry, Outcome, Role
from tests.crop.diaries import day, diary, picked, sown, transplanted

FED = Path(__file__).parents[2] / "config" / "rigs" / "quince-lane-fed.toml"
SETTINGS = load(FED)
LINES = diary(
    (0, sown("a", 12)),
    (0, sown("b", 4)),
    (20, transplanted("a", 12)),
    (20, transplanted("b", 4)),
    (49, picked("a", 12)),
    (49, picked("b", 4)),
)
END = day(60)
NOT_MEASURED, NO_APPLIANCE, NO_SETTINGS = Missing.NOT_MEASURED, Missing.NO_APPLIANCE, Missing.NO_SETTINGS


def dose(ml: float, *, role: Role = Role.STOCK_A, on: date | None = None, **others: Any) -> Entry:
    """Into bed 1 on the 25th day, for low strength, done; or otherwise."""
    utc = datetime.combine(on or day(25), time(12), UTC)
    plain = Entry(1, "bed1", role, ml, ml, DoseReason.EC_LOW, {}, utc, True, "boot", 0.0, Outcome.DONE)
    return replace(plain, **others)


def used(kept: Kept, settings: Settings | None = SETTINGS) -> dict[str, Mapping[Thing, float | Missing]]:
    """What each batch of LINES used."""
    standing = heads_standing(LINES, END)
    among = shared(uses(kept, settings, standing, END), standing)
    return {name: of_batch(record.batch, among, kept, settings) for name, record in book(LINES).items()}


def changed(**reservoir: Any) -> Settings:
    """Quince Lane with other keys of its bed; None takes one out."""
    raw = raw_tables(FED)
    bed = {**raw["reservoir"]["bed1"], **reservoir}
    raw["reservoir"]["bed1"] = {key: value for key, value in bed.items() if value is not None}
    return Settings.model_validate(raw)


def without(role: str) -> dict[str, Any]:
    """The bed's pumps but one."""
    return {name: pump for name, pump in raw_tables(FED)["reservoir"]["bed1"]["pump"].items() if name != role}


def test_the_ledger_is_shared_by_heads() -> None:
    """12 heads and 4: three quarters of each bottle, and of the water."""
    kept = Kept(doses=(dose(80.0), dose(80.0, role=Role.STOCK_B), dose(8.0, role=Role.PH_DOWN)))
    of_a, of_b = used(kept).values()
    assert (of_a[Thing.STOCK_A], of_a[Thing.STOCK_B], of_a[Thing.PH_DOWN]) == (60.0, 60.0, 6.0)
    assert (of_b[Thing.STOCK_A], of_b[Thing.PH_UP], of_b[Thing.PLUGS]) == (20.0, 0.0, 4.0)


@pytest.mark.parametrize("reason", [DoseReason.BY_HAND, DoseReason.PRIME, DoseReason.MEASURE])
def test_what_left_the_bottle_counts(reason: DoseReason) -> None:
    """Poured by hand, or run into a cup: it is gone. So is what a run cut short was charged at."""
    kept = Kept(doses=(dose(80.0, reason=reason, outcome=Outcome.CUT_SHORT),))
    assert used(kept)["a"][Thing.STOCK_A] == 60.0


@pytest.mark.parametrize("what", [{"reason": DoseReason.REPAIR}, {"outcome": Outcome.FAILED}])
def test_a_charge_for_what_was_not_given_does_not_count(what: Mapping[str, Any]) -> None:
    """A ledger made anew charges a whole day; a pump that never turned gave nothing."""
    assert used(Kept(doses=(dose(80.0, **what),)))["a"][Thing.STOCK_A] == 0.0


def test_water_is_the_pumps_and_a_filling_for_each_change() -> None:
    """8 L by the pump; the 60 L that stood there at first and 60 L of new water: 128 L, three quarters of it."""
    kept = Kept(doses=(dose(8000.0, role=Role.TOP_UP),), changed={"bed1": (day(35),)})
    assert used(kept)["a"][Thing.WATER] == pytest.approx(0.75 * 128.0)


def test_water_changed_before_planting_is_the_filling_that_served() -> None:
    """Not a second one; and what was changed before that, or after the crop, was for somebody else."""
    kept = Kept(changed={"bed1": (day(1), day(15))})
    assert used(kept)["a"][Thing.WATER] == pytest.approx(0.75 * 60.0)


def test_without_a_pump_the_level_tells() -> None:
    """A sender's rise of a fifth of 60 L is 12 L; on a bed that floods, or with a float, nothing is known."""
    levels: Levels = tuple((day(25), share) for share in (0.8, 0.9, 1.0, 0.97))
    kept = Kept(levels={"bed1": levels})
    by_hand = changed(pump=without("top_up"))
    assert used(kept, by_hand)["a"][Thing.WATER] == pytest.approx(0.75 * 12.0)
    assert used(kept, changed(pump=without("top_up"), system="ebb_and_flow"))["a"][Thing.WATER] is NOT_MEASURED
    floats = Kept(levels={"bed1": ((day(25), 0.0), (day(25), 1.0))})
    assert used(floats, by_hand)["a"][Thing.WATER] is NOT_MEASURED
    assert used(Kept(), by_hand)["a"][Thing.WATER] is NOT_MEASURED


def test_what_nothing_tells_of_is_not_known() -> None:
    """No stock pump, and nobody told of pouring: not 0. Base where there is no pump for it is no question."""
    bare = changed(pump={"ph_down": without("")["ph_down"]})
    of_a = used(Kept(), bare)["a"]
    assert (of_a[Thing.STOCK_A], of_a[Thing.STOCK_B]) == (NOT_MEASURED, NOT_MEASURED)
    assert (of_a[Thing.PH_DOWN], Thing.PH_UP in of_a) == (0.0, False)
    assert used(Kept(doses=(dose(80.0, reason=DoseReason.BY_HAND),)), bare)["a"][Thing.STOCK_A] == 60.0


def test_without_settings_only_the_ledger_speaks() -> None:
    """No volume, no appliance: not known, and told."""
    of_a = used(Kept(doses=(dose(80.0), dose(8000.0, role=Role.TOP_UP))), None)["a"]
    assert (of_a[Thing.STOCK_A], of_a[Thing.WATER], of_a[Thing.ELECTRICITY]) == (60.0, NO_SETTINGS, NO_SETTINGS)


def test_current_is_by_the_label() -> None:
    """Lamp and air pump of Quince Lane on 30 days with heads: 12 of 16 heads bear three quarters."""
    kwh = 0.060 * 14.0 + 0.004 * 24.0
    assert used(Kept())["a"][Thing.ELECTRICITY] == pytest.approx(30 * kwh * 0.75)
    only_bed2 = Settings.model_validate(
        {
            **raw_tables(FED),
            "reservoir": {name: raw_tables(FED)["reservoir"]["bed1"] for name in ("bed1", "bed2")},
            "appliance": {"lamp": {"rated_w": 60.0, "hours_per_day": 14.0, "reservoir": ["bed2"]}},
        }
    )
    assert used(Kept(), only_bed2)["a"][Thing.ELECTRICITY] is NO_APPLIANCE


def test_a_batch_in_the_nursery_has_used_its_plugs_only() -> None:
    """Nothing of a reservoir's, not even as unknown."""
    lines = diary((0, sown("c", 6)))
    among = shared((), {})
    assert of_batch(book(lines)["c"].batch, among, Kept(), SETTINGS) == {Thing.PLUGS: 6.0}


@st.composite
def gardens(draw: st.DrawFn) -> list[tuple[str, int, list[int]]]:
    """Up to four batches: name, the day each was set out, and for each of its heads the day it was cut."""
    return [
        (f"batch-{number}", begins, draw(st.lists(st.integers(begins, 40), min_size=1, max_size=5)))
        for number, begins in enumerate(draw(st.lists(st.integers(5, 30), min_size=1, max_size=4)))
    ]


@given(gardens(), st.lists(st.tuples(st.integers(0, 45), st.floats(0.1, 500.0)), max_size=10))
def test_it_is_what_one_would_count_head_by_head(
    garden: list[tuple[str, int, list[int]]], doses: list[tuple[int, float]]
) -> None:
    """Each dose is split among single heads, one by one in fractions: another way to the same."""
    entries: list[tuple[int, Event]] = [(0, sown(name, 20)) for name, _, _ in garden]
    entries += [(begins, transplanted(name, len(cut))) for name, begins, cut in garden]
    entries += [(after, picked(name, 1)) for name, _, cut in garden for after in cut]
    lines = diary(*sorted(entries, key=lambda entry: entry[0]))
    standing = heads_standing(lines, END)
    kept = Kept(doses=tuple(dose(ml, on=day(after)) for after, ml in doses))
    found = shared(uses(kept, None, standing, END), standing)

    by_head: dict[str, Fraction] = defaultdict(Fraction)
    for after, ml in doses:
        there = [name for name, begins, cut in garden for gone in cut if begins <= after <= gone]
        for name in there or ["nobody"]:
            by_head[name] += Fraction(ml) / max(1, len(there))
    for name, _, _ in garden:
        told = found.by_batch.get(name, {}).get(Thing.STOCK_A, 0.0)
        assert told == pytest.approx(float(by_head[name]))
    assert found.nobodys.get(Thing.STOCK_A, 0.0) == pytest.approx(float(by_head["nobody"]))
