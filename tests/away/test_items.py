"""What lasts while nobody is there: each thing on both sides of its limit, and what nobody can know."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon import words
from daemon.away.items import BOX, Item, Mark, Seen, days_of, items, summed, worst
from daemon.crop.tasks import Task
from daemon.desk.reach import Reach
from daemon.values import (
    AlarmState,
    CapUse,
    Condition,
    DoseReason,
    Entry,
    PumpState,
    Quantity,
    RateStanding,
    ReservoirState,
    Role,
    Verdict,
    WaterUse,
)
from drivers.barriers import Barrier, Standing
from tests.at_the_tank import one_bed, two_beds
from tests.link.states import MORNING, alarm, entry, good, reservoir, state, unknown

TODAY, DAYS = MORNING.date(), 14
SETTINGS = one_bed(calibration_warn_days=30.0, calibration_expire_days=60.0, pump_rate_expire_days=90.0)
FRESH = PumpState(1.0, RateStanding.DATED, "2026-02-27", 2)
WORKS = Reach("MQTT at b:8883", True, "connected")


def dose(days_ago: float, ml: float, **changes: Any) -> Entry:
    """One of pH down, so long ago."""
    return replace(entry(1, ml), utc=MORNING - timedelta(days=days_ago), **changes)


def calibrated(days_ago: int, quantity: Quantity = Quantity.PH) -> Verdict:
    """A trusted reading by a calibration of so long ago."""
    verdict = good(quantity, 6.0)
    assert verdict.reading is not None
    day = (TODAY - timedelta(days=days_ago)).isoformat()
    return replace(verdict, reading=replace(verdict.reading, calibration=day))


def found(
    bed: ReservoirState | None = None,
    days: int = DAYS,
    *,
    alarms: Sequence[Any] = (),
    entries: Sequence[Entry] = (),
    ways: Sequence[Reach] = (WORKS,),
    barriers: Sequence[Barrier] = (),
    levels: Mapping[str, Sequence[float]] | None = None,
    tasks: Sequence[Task] = (),
) -> tuple[Item, ...]:
    """What is told of that."""
    now = replace(state(1, bed or reservoir()), alarms=tuple(alarms))
    return items(Seen(now, SETTINGS, entries, ways, barriers, levels or {}, tasks), days)


def told(word: str, of: Sequence[Item]) -> Item:
    """The one thing that is told of it."""
    (item,) = (each for each in of if word in each.said)
    return item


def pumped(left_ml: float = 200.0, day_cap_ml: float = 150.0, **changes: Any) -> ReservoirState:
    """A reservoir with one pump of pH down."""
    caps = {Role.PH_DOWN: CapUse(0.0, 60.0, 0.0, day_cap_ml, left_ml)}
    return reservoir(caps=caps, pumps={Role.PH_DOWN: replace(FRESH, **changes)})


LONG_KNOWN = dose(7.5, 1.0)
A_CAP = {Role.STOCK_A: CapUse(0.0, 60.0, 0.0, 150.0, 100.0)}
PRIMED, POURED = (dose(1.5, 50.0, reason=reason) for reason in (DoseReason.PRIME, DoseReason.BY_HAND))
OTHERS, ANOTHERS = dose(1.5, 50.0, pump=Role.PH_UP), dose(1.5, 50.0, reservoir="bed2")
THREE_DAYS = (dose(0.2, 6.0), dose(0.9, 4.0), dose(1.1, 9.0))


@pytest.mark.parametrize(
    ("left_ml", "entries", "mark"),
    [
        (DAYS * 150.0, (), Mark.LASTS),  # even at its cap
        (DAYS * 150.0 - 1.0, (), Mark.UNKNOWN),
        (200.0, (dose(0.5, 9.0), dose(2.9, 1.0)), Mark.UNKNOWN),  # known for less than three days
        (140.0, (*THREE_DAYS, LONG_KNOWN), Mark.LASTS),
        (139.9, (*THREE_DAYS, LONG_KNOWN), Mark.SEE_TO),
        (140.0, (dose(1.5, 10.0), dose(7.1, 50.0), dose(30.0, 50.0)), Mark.LASTS),  # of the last week alone
        (140.0, (dose(1.5, 10.0), dose(3.6, 50.0)), Mark.LASTS),  # of full days alone
        (140.0, (PRIMED, POURED, LONG_KNOWN), Mark.LASTS),  # a person's
        (140.0, (OTHERS, ANOTHERS, LONG_KNOWN), Mark.LASTS),
    ],
)
def test_a_bottle_lasts_by_the_busiest_day_of_the_last_week(
    left_ml: float, entries: Sequence[Entry], mark: Mark
) -> None:
    """Of doses of its own; nobody knows it by a day or two."""
    item = told(f"pH down: {left_ml:.0f} mL left", found(pumped(left_ml), entries=entries))
    assert (item.where, item.mark) == ("Bed1", mark)
    assert bool(item.todo) is (mark is not Mark.LASTS)


@pytest.mark.parametrize(("age_days", "mark"), [(3.9, Mark.UNKNOWN), (4.0, Mark.LASTS), (5.0, Mark.SEE_TO)])
def test_the_first_day_of_fresh_water_is_unlike_the_others(age_days: float, mark: Mark) -> None:
    """What was given on it tells nothing of those to come: 90 mL three and a half days ago."""
    bed = replace(pumped(140.0), water=WaterUse(age_days, 0.0))
    entries = (dose(1.5, 5.0), dose(3.5, 90.0), LONG_KNOWN)
    assert told("mL left", found(bed, entries=entries)).mark is mark


@given(
    ml=st.lists(st.floats(0.1, 50.0), min_size=1, max_size=30),
    left_ml=st.floats(1.0, 5000.0),
    days=st.integers(1, 60),
)
def test_what_is_told_to_last_would_last(ml: list[float], left_ml: float, days: int) -> None:
    """By a reckoning of its own: one dose a day of those, the largest each day."""
    entries = [*(dose((number + 0.5) * 7.0 / len(ml), each) for number, each in enumerate(ml)), LONG_KNOWN]
    item = told("mL left", found(pumped(left_ml, 1e6), days, entries=entries))
    if item.mark is Mark.LASTS:
        assert left_ml >= max(ml) * days


@pytest.mark.parametrize(
    ("days_ago", "mark", "said"),
    [
        (0, Mark.LASTS, "good until 2026-04-30"),
        (17, Mark.LASTS, "due again on 2026-03-14, good until 2026-04-13"),
        (46, Mark.LASTS, "good until 2026-03-15"),
        (47, Mark.SEE_TO, "nothing is dosed by it after 2026-03-14"),
    ],
)
def test_a_calibration_has_to_be_good_until_you_are_back(days_ago: int, mark: Mark, said: str) -> None:
    """On the last day, too."""
    item = told("pH probe, calibrated", found(reservoir(verdicts={Quantity.PH: calibrated(days_ago)})))
    assert item.mark is mark
    assert said in item.said
    assert item.todo == ("`evenwater calibrate ph`" if mark is Mark.SEE_TO else "")


def test_a_probe_that_is_out_is_told_once() -> None:
    """By its alarm where there is one, with its text."""
    bed = reservoir(verdicts={Quantity.PH: unknown(Quantity.PH)})
    assert told("pH probe", found(bed)).said.endswith("does not answer (no chip at 0x48)")
    assert told("pH probe", found(bed, alarms=[alarm()])).said == "alarm bed1-ph-probe: pH probe gone"
    explained = replace(alarm(), state=AlarmState.SUPPRESSED)
    assert not [item for item in found(bed, alarms=[explained]) if "pH probe" in item.said]


def test_one_probe_for_ph_cannot_be_known_to_be_right() -> None:
    """Two can; nor does it matter where nothing is dosed by it."""
    two = {Quantity.PH: good(Quantity.PH, 6.0), Quantity.PH_2: good(Quantity.PH_2, 6.0)}
    assert told("one probe alone", found(pumped())).mark is Mark.UNKNOWN
    for bed in (replace(pumped(), verdicts=two), reservoir(), reservoir(pumps={Role.STOCK_A: FRESH}, caps=A_CAP)):
        assert not [item for item in found(bed) if "one probe alone" in item.said]


@pytest.mark.parametrize(
    ("changes", "mark"),
    [
        ({"age_days": 76}, Mark.LASTS),
        ({"age_days": 77}, Mark.SEE_TO),
        ({"standing": RateStanding.OLD, "age_days": 70}, Mark.LASTS),
        ({"standing": RateStanding.EXPIRED, "age_days": 100}, Mark.SEE_TO),
        ({"standing": RateStanding.OTHER_TUBE}, Mark.SEE_TO),
        ({"standing": RateStanding.UNDATED, "age_days": None}, Mark.UNKNOWN),
    ],
)
def test_a_pump_has_to_dose_by_what_was_measured_of_it(changes: dict[str, Any], mark: Mark) -> None:
    """Until you are back; said once, also where an alarm says it."""
    assert told("mL/s", found(pumped(**changes))).mark is mark
    old = replace(alarm("bed1-ph-down-rate-old"), text="1 mL/s is of long ago")
    assert told("mL/s", found(pumped(**changes), alarms=[old])).said.startswith("alarm bed1-ph-down-rate-old")


@pytest.mark.parametrize(("tube_h", "there"), [(99.9, False), (99.97, True)])
def test_a_tube_has_to_last_what_its_pump_will_run(tube_h: float, there: bool) -> None:
    """10 mL a day at 1 mL/s are 0.04 h in a fortnight."""
    bed = pumped(tube_h=tube_h, tube_lasts_h=100.0)
    said = [item.mark for item in found(bed, entries=(dose(0.5, 10.0), LONG_KNOWN)) if "tube run" in item.said]
    assert said == ([Mark.SEE_TO] if there else [])


@pytest.mark.parametrize(
    ("condition", "pumps", "mark"),
    [
        (Condition.KEEPING, {Role.PH_DOWN: FRESH}, Mark.LASTS),
        (Condition.HELD, {Role.PH_DOWN: FRESH}, Mark.SEE_TO),
        (Condition.LOCKED, {Role.PH_DOWN: FRESH}, Mark.SEE_TO),
        (Condition.WATCHING, {Role.PH_DOWN: FRESH}, Mark.SEE_TO),
        (Condition.WATCHING, {}, Mark.LASTS),
    ],
)
def test_what_does_not_correct_itself_is_told(
    condition: Condition, pumps: dict[Role, PumpState], mark: Mark
) -> None:
    """One without pumps never does."""
    said = words.condition(condition)
    assert told(said, found(reservoir(condition=condition, pumps=pumps))).mark is mark


@pytest.mark.parametrize(
    ("now", "means", "mark"),
    [
        (1.0, (0.9, 0.9, 0.9), Mark.UNKNOWN),  # a float switch
        (0.9, (0.92, 0.91), Mark.UNKNOWN),  # two days
        (0.9, (0.94, 0.92, 0.90), Mark.LASTS),
        (0.9, (0.98, 0.94, 0.95, 0.93), Mark.SEE_TO),  # by its thirstiest day, though it was filled up after it
        (0.9, (0.80, 0.85, 0.90), Mark.LASTS),
    ],
)
def test_water_that_no_pump_adds_is_reckoned_by_its_thirstiest_day(
    now: float, means: Sequence[float], mark: Mark
) -> None:
    """Where the probe shows more than enough or not."""
    bed = reservoir(verdicts={Quantity.LEVEL: good(Quantity.LEVEL, now)})
    bed = replace(bed, water=WaterUse(1.0, 0.0))
    (item,) = (
        item
        for item in found(bed, levels={"bed1": means})
        if "water: " in item.said and "in for" not in item.said
    )
    assert item.mark is mark


@pytest.mark.parametrize(
    ("days", "fills", "mark", "said"),
    [
        (7.0, 0.1, Mark.LASTS, "in for 7 days, fed 0.1 fillings' worth of stock"),
        (7.1, 0.1, Mark.LASTS, "in for 7 days"),
        (8.0, 0.1, Mark.SEE_TO, "new water is advised in 13 days"),
        (22.0, 0.1, Mark.SEE_TO, "new water is advised now"),
        (1.0, 2.0, Mark.SEE_TO, "new water is advised now"),
    ],
)
def test_water_must_not_grow_old_meanwhile(days: float, fills: float, mark: Mark, said: str) -> None:
    """By the settings' days and fillings' worth of stock."""
    item = told("water: in for", found(reservoir(water=WaterUse(days, fills))))
    assert item.mark is mark
    assert said in item.said
    assert told("since when", found()).mark is Mark.UNKNOWN


def test_with_a_pump_for_water_its_store_counts_and_not_the_level() -> None:
    """As any bottle."""
    caps = {Role.TOP_UP: CapUse(0.0, 1e4, 0.0, 1e4, 5000.0)}
    bed = reservoir(caps=caps, pumps={Role.TOP_UP: FRESH})
    assert [item.said for item in found(bed) if "mL left" in item.said] == [
        "top-up water: 5000 mL left; what it takes of this water is known for 0 days, too few to tell for 14"
    ]


@pytest.mark.parametrize(
    ("ways", "mark"),
    [
        ((), Mark.SEE_TO),
        ((WORKS, Reach("way 1 (json)", False, "asleep")), Mark.LASTS),
        ((Reach("way 1 (json)", None, "nothing sent"), Reach("MQTT", False, "refused")), Mark.UNKNOWN),
        ((Reach("MQTT", False, "refused"),), Mark.SEE_TO),
    ],
)
def test_somebody_has_to_be_called(ways: Sequence[Reach], mark: Mark) -> None:
    """One way that works is enough."""
    assert told("call", found(ways=ways)).mark is mark


def test_barriers_are_told_one_by_one_where_they_are_not_set_up() -> None:
    """With what to do; alarms of the box with them."""
    three = (
        Barrier("watchdog", Standing.OK, "on"),
        Barrier("pull", Standing.MISSING, "none", "set it"),
        Barrier("clock", Standing.UNKNOWN, "not seen", "look"),
    )
    full = replace(alarm("backup"), reservoir="", text="the disk is full")
    of_box = [item for item in found(barriers=three, alarms=[full]) if item.where == BOX]
    assert of_box[0] == Item(BOX, Mark.SEE_TO, "alarm backup: the disk is full")
    assert of_box[1:3] == [
        Item(BOX, Mark.SEE_TO, "pull: none", "set it"),
        Item(BOX, Mark.UNKNOWN, "clock: not seen", "look"),
    ]
    assert Item(BOX, Mark.LASTS, "set up, though not tried: watchdog") in of_box


def test_of_several_reservoirs_each_command_names_its_own() -> None:
    """Whatever is to be done."""
    beds = [replace(pumped(tube_h=101.0, tube_lasts_h=100.0), name=name, title=name) for name in ("bed1", "bed2")]
    held = [replace(bed, condition=Condition.HELD, verdicts={Quantity.PH: calibrated(59)}) for bed in beds]
    settings = two_beds()
    seen = Seen(state(1, *held), settings, (), (WORKS,), (), {}, ())
    todo = [item.todo for item in items(seen, 40) if item.where == "bed2" and "`" in item.todo]
    assert len(todo) >= 5
    assert all(each.endswith(" --reservoir bed2`") for each in todo)


@pytest.mark.parametrize(("text", "days"), [("1", 1), ("60", 60), ("61", None), ("0", None), ("9" * 5000, None)])
def test_days_are_counted_up_to_sixty(text: str, days: int | None) -> None:
    """Whatever is typed."""
    assert days_of(text) == days


def test_the_gravest_comes_first_place_by_place() -> None:
    """And gives its mark to the whole."""
    bed = replace(pumped(), condition=Condition.HELD)
    everything = found(bed, alarms=[replace(alarm("backup"), reservoir="")])
    order = (Mark.SEE_TO, Mark.UNKNOWN, Mark.LASTS)
    keys = [(item.where == BOX, order.index(item.mark)) for item in everything]
    assert keys == sorted(keys)
    assert (worst(everything), worst(everything[-1:]), worst(())) == (Mark.SEE_TO, Mark.LASTS, Mark.LASTS)
    assert summed(everything) == "2 to see to, 4 not known; 2 last"


@pytest.mark.parametrize(
    ("until", "said"),
    [
        (date(2026, 2, 28), "garden, before you go or by somebody else: thin (by 2026-02-28, late already)"),
        (date(2026, 3, 14), "garden, before you go or by somebody else: thin (by 2026-03-14)"),
        (date(2026, 3, 15), None),
    ],
)
def test_what_cannot_wait_until_you_are_back_is_told(until: date, said: str | None) -> None:
    """What can is not."""
    task = Task("thin-a", "thin", TODAY - timedelta(days=5), until, "thin", ())
    assert [item.said for item in found(tasks=[task]) if "garden" in item.said] == ([said] if said else [])
