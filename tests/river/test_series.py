"""How labels are sorted, and which samples count, on a series of our own."""

from __future__ import annotations

import pytest

from daemon.values import Quantity
from tests.river.replay import judged, plainly
from tests.river.report import Replay, scores
from tests.river.series import DAY_S, STEP_S, Event, Kind, Series, Site, departs, events, good

DAY = round(DAY_S / STEP_S)
LOOKS = 3 * DAY


def series(level: float, changes: dict[int, float] | None = None, labels: tuple[int, ...] = ()) -> Series:
    """Samples that wobble about a level; some changed, some labelled, corrected to the level."""
    raw = [level * (1.0 + 0.001 * (at % 7)) for at in range(LOOKS)]
    corrected = tuple(raw)
    for at, value in (changes or {}).items():
        raw[at] = value
    return Series(tuple(raw), corrected, tuple(at in labels for at in range(LOOKS)))


def site(ph: Series | None = None, ec: Series | None = None, temperature: Series | None = None) -> Site:
    return Site(
        "brook",
        tuple(STEP_S * at for at in range(LOOKS)),
        {
            Quantity.TEMPERATURE: temperature or series(12.0),
            Quantity.EC: ec or series(0.4),
            Quantity.PH: ph or series(8.0),
        },
    )


@pytest.mark.parametrize(
    ("raw", "kind"),
    [(-9999.0, Kind.GROSS), (0.0, Kind.GROSS), (12.5, Kind.GROSS), (8.3, Kind.SUBTLE), (8.1, Kind.UNSEEN)],
)
def test_an_event_is_sorted_by_the_sample_that_shows_most(raw: float, kind: Kind) -> None:
    """Sentinel, zero, out of span; or far from the corrected; or neither."""
    labelled = site(series(8.0, {50: raw}, (48, 49, 50, 51)))
    shows = 48 if kind is Kind.UNSEEN else 50
    assert events(labelled, Quantity.PH) == [Event(kind, 48, 52, shows)]


def test_a_logger_that_writes_its_other_sentinel_is_gross() -> None:
    """7999 µS/cm, which the series give as they came."""
    labelled = site(ec=series(0.4, {50: 7.999}, (50,)))
    assert events(labelled, Quantity.EC)[0].kind is Kind.GROSS


def test_frozen_is_gross_only_after_a_day_of_it() -> None:
    """Counted from the sample by which the day is full."""
    whole = range(20, 20 + DAY + 5)
    assert events(site(series(8.0, dict.fromkeys(whole, 8.0), tuple(whole))), Quantity.PH) == [
        Event(Kind.GROSS, 20, 20 + DAY + 5, 20 + DAY)
    ]
    short = range(20, 20 + DAY)
    (event,) = events(site(series(8.0, dict.fromkeys(short, 8.0), tuple(short))), Quantity.PH)
    assert event.kind is Kind.UNSEEN


@pytest.mark.parametrize(
    ("quantity", "near", "far"),
    [(Quantity.PH, 8.19, 8.21), (Quantity.EC, 8.39, 8.41), (Quantity.TEMPERATURE, 8.49, 8.51)],
)
def test_what_matters_is_a_fifth_a_twentieth_and_half_a_degree(
    quantity: Quantity, near: float, far: float
) -> None:
    """Just under and just over, both ways."""
    assert not departs(quantity, near, 8.0)
    assert departs(quantity, far, 8.0)
    assert departs(quantity, 16.0 - far, 8.0)


def test_an_hour_around_each_label_is_neither_good_nor_bad() -> None:
    """Of the quantity itself, and of the temperature it leans on."""
    both = site(series(8.0, labels=(100,)), temperature=series(12.0, labels=(200,)))
    left_out = [at for at, is_good in enumerate(good(both, Quantity.PH)) if not is_good]
    assert left_out == [*range(96, 105), *range(196, 205)]
    own = [at for at, is_good in enumerate(good(both, Quantity.PH, own_labels_only=True)) if not is_good]
    assert own == [*range(96, 105)]
    assert all(good(both, Quantity.EC)[96:105])


def test_a_dead_temperature_takes_ec_and_ph_with_it_at_once() -> None:
    """From its first sentinel to its last, and no longer."""
    refused = judged(site(temperature=series(12.0, dict.fromkeys(range(100, 110), -9999.0))))
    for quantity in Quantity.TEMPERATURE, Quantity.EC, Quantity.PH:
        assert [at for at, is_refused in enumerate(refused[quantity]) if is_refused] == [*range(100, 110)]


def test_scores_count_events_delays_and_false_alarms() -> None:
    """One event refused two samples late, and one false alarm of two samples."""
    brook = site(series(8.0, {50: 0.0}, (50, 51, 52)))
    refused = [at in (52, 150, 151) for at in range(LOOKS)]
    none = [False] * LOOKS
    by = {Quantity.PH: refused, Quantity.EC: none, Quantity.TEMPERATURE: none}
    (score,) = (one for one in scores(Replay(brook, {"judge": by})) if one.quantity is Quantity.PH)
    gross = score.caught[Kind.GROSS]
    assert (gross.events, gross.caught, gross.longest_delay) == (1, 1, 2)
    assert score.alarms == pytest.approx(1 / brook.months)
    assert score.refused == pytest.approx(2 / (LOOKS - 11))


def test_plain_rules_know_a_range_a_rate_and_a_day() -> None:
    """Out of span, too far from the last, the same for a day."""
    changes = {50: 13.0, 60: 8.5, **dict.fromkeys(range(100, 100 + DAY + 1), 8.0)}
    refused = plainly(site(series(8.0, changes)))[Quantity.PH]
    assert [at for at, is_refused in enumerate(refused) if is_refused] == [50, 51, 60, 61, 100 + DAY]
