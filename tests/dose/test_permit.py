"""Permit: each cap just under, at and just over, zero, negative, NaN and missing, and the right one named."""

from __future__ import annotations

from dataclasses import replace
from math import inf, isfinite, isnan, nan
from typing import Any

import pytest
from hypothesis import event, given, settings

from config.pump import (
    HARD_MAX_PER_DAY_ML,
    HARD_MAX_RUN_S,
    HARD_MAX_SHARE_PER_DAY,
    HARD_MAX_SHARE_PER_DOSE,
    HARD_MAX_WATER_PER_DAY_ML,
    HARD_MAX_WATER_SHARE_PER_DAY,
    HARD_MAX_WATER_SHARE_PER_DOSE,
    HARD_MIN_GAP_S,
    WATER_LIMITS,
    Pump,
)
from config.settings import Reservoir
from daemon.dose.permit import LEVEL_STOP_SHARE, Facts, PumpLimits, cap_use, limits_of, permit
from daemon.dose.usual import Usual
from daemon.dose.windows import SPENT, Totals
from daemon.values import Cap, Condition, DoseReason, DoseRequest, Permit, Quality, Refusal, Role
from tests.strategies import any_facts, any_limits, any_request, facts, limits, request, verdict


def spent(**changes: Any) -> Totals:
    """Ledger totals, nothing spent unless said."""
    usual: dict[str, Any] = {"hour_ml": 0.0, "day_ml": 0.0, "since_refill_ml": 0.0}
    return Totals(**(usual | changes))


def test_permits_what_is_asked_when_no_cap_binds() -> None:
    """A modest request under all caps runs as asked, for mL divided by the pump's rate."""
    got = permit(request(4.0), limits(ml_per_s=0.5), facts())
    assert isinstance(got, Permit)
    assert (got.ml, got.run_s, got.bound_by) == (4.0, 8.0, None)


AMOUNT_CAPS = [
    # cap, what of it is set to leave `room`, as (limits, facts)
    (Cap.PER_DOSE, lambda room: (limits(max_per_dose_ml=room), facts())),
    (Cap.PER_HOUR, lambda room: (limits(), facts(spent=spent(hour_ml=20.0 - room, day_ml=20.0 - room)))),
    (Cap.PER_DAY, lambda room: (limits(), facts(spent=spent(day_ml=50.0 - room)))),
    (Cap.SHARE, lambda room: (limits(), facts(volume_l=room))),  # 1 mL per litre
    (Cap.BOTTLE, lambda room: (limits(), facts(spent=spent(since_refill_ml=950.0 - room)))),  # 5 % stays
    (Cap.RUN_TIME, lambda room: (limits(ml_per_s=room / HARD_MAX_RUN_S), facts())),
]


@pytest.mark.parametrize(("cap", "leaving"), AMOUNT_CAPS, ids=[cap for cap, _ in AMOUNT_CAPS])
class TestAmountCap:
    """Every cap on an amount, with 4 mL left of it."""

    def test_just_under_passes_unbound(self, cap: Cap, leaving: Any) -> None:
        """Asking a little less than is left gets all of it."""
        got = permit(request(3.999), *leaving(4.0))
        assert isinstance(got, Permit)
        assert (got.ml, got.bound_by) == (3.999, None)

    def test_at_the_cap_passes_whole(self, cap: Cap, leaving: Any) -> None:
        """Asking exactly what is left gets it."""
        got = permit(request(4.0), *leaving(4.0))
        assert isinstance(got, Permit)
        assert got.ml == pytest.approx(4.0, abs=1e-9)

    def test_just_over_is_bound_and_named(self, cap: Cap, leaving: Any) -> None:
        """Asking a little more gets what is left, and the cap is named."""
        got = permit(request(4.001), *leaving(4.0))
        assert isinstance(got, Permit)
        assert got.ml == pytest.approx(4.0, abs=1e-9)
        assert got.bound_by is cap

    @pytest.mark.parametrize("room", [0.0, -1.0, nan])
    def test_nothing_left_refuses_by_name(self, cap: Cap, leaving: Any, room: float) -> None:
        """Zero, less than zero or no number left: refused in the cap's name."""
        got = permit(request(4.0), *leaving(room))
        assert isinstance(got, Refusal)
        # One broken number can feed two caps; the first in the documented order speaks.
        named = {Cap.PER_HOUR, Cap.PER_DAY} if cap is Cap.PER_HOUR else {cap}
        assert got.cap in ({*named, Cap.SHARE} if isnan(room) else named)

    def test_less_than_the_pump_can_deliver_refuses_by_name(self, cap: Cap, leaving: Any) -> None:
        """When a cap leaves less than the smallest true dose, that cap is the reason."""
        got = permit(request(4.0), *leaving(0.1))
        assert isinstance(got, Refusal)
        assert got.cap is cap


@pytest.mark.parametrize(
    ("back_ph", "most_ph", "passes"),
    [(0.4, 0.4, True), (-0.4, 0.3, True), (0.401, 0.4, False), (nan, 0.4, False), (0.4, nan, False)],
)
def test_ph_that_comes_back_further_than_usual_refuses(back_ph: float, most_ph: float, passes: bool) -> None:
    """Whatever the amount; asked last, so that a dose that still mixes is no reason."""
    unusual = facts(usual=Usual(back_ph, most_ph))
    got = permit(request(), limits(), unusual)
    if passes:
        assert isinstance(got, Permit)
        return
    assert isinstance(got, Refusal)
    assert got.cap is Cap.USUAL
    assert set(got.numbers) == {"back_ph", "most_ph", "hours"}
    mixing = permit(request(), limits(), replace(unusual, spent=spent(since_pump_s=1.0, since_any_s=1.0)))
    assert isinstance(mixing, Refusal)
    assert mixing.cap is not Cap.USUAL


@pytest.mark.parametrize("name", ["max_per_dose_ml", "max_per_hour_ml", "max_per_day_ml"])
def test_a_missing_cap_counts_as_zero(name: str) -> None:
    """A cap left out of the settings refuses everything and is named in the numbers."""
    got = permit(request(), limits(**{name: None}), facts())
    assert isinstance(got, Refusal)
    assert got.cap is Cap.NOT_SET
    assert list(got.numbers) == [name]


@pytest.mark.parametrize("name", ["max_per_dose_ml", "max_per_hour_ml", "max_per_day_ml"])
@pytest.mark.parametrize("cap_ml", [0.0, -5.0, nan])
def test_an_unsound_configured_cap_is_zero(name: str, cap_ml: float) -> None:
    """A cap of zero, below zero or NaN lets nothing through, in its own name."""
    got = permit(request(), limits(**{name: cap_ml}), facts())
    assert isinstance(got, Refusal)
    assert name == f"max_{got.cap}_ml"


@pytest.mark.parametrize("ml", [0.0, -0.0, -4.0, nan, inf, -inf])
def test_only_a_finite_amount_above_zero_can_be_asked(ml: float) -> None:
    """Nothing, less than nothing and no number are refused as requests."""
    got = permit(request(ml), limits(), facts())
    assert isinstance(got, Refusal)
    assert got.cap is Cap.REQUEST


@pytest.mark.parametrize(("ml", "passes"), [(0.199, False), (0.2, True), (0.201, True)])
def test_too_small_when_asked_so_little(ml: float, passes: bool) -> None:
    """Below the smallest true dose, with no cap to blame, the request itself is too small."""
    got = permit(request(ml), limits(smallest_dose_ml=0.2), facts())
    assert isinstance(got, Permit) is passes
    if isinstance(got, Refusal):
        assert got.cap is Cap.TOO_SMALL


def test_a_smallest_dose_that_is_no_number_refuses() -> None:
    """NaN as the smallest dose fails closed."""
    assert isinstance(permit(request(), limits(smallest_dose_ml=nan), facts()), Refusal)


@pytest.mark.parametrize(
    ("condition", "reason", "passes"),
    [
        (Condition.KEEPING, DoseReason.PH_HIGH, True),
        (Condition.WATCHING, DoseReason.PH_HIGH, False),
        (Condition.HELD, DoseReason.PH_HIGH, False),
        (Condition.LOCKED, DoseReason.PH_HIGH, False),
        (Condition.KEEPING, DoseReason.PRIME, False),
        (Condition.WATCHING, DoseReason.PRIME, True),
        (Condition.HELD, DoseReason.PRIME, True),
        (Condition.LOCKED, DoseReason.PRIME, False),
    ],
)
def test_only_a_keeping_reservoir_is_dosed(condition: Condition, reason: DoseReason, passes: bool) -> None:
    """Corrections run only in `keeping`; priming by a person only where it is held or watches."""
    got = permit(request(reason=reason), limits(), facts(condition=condition))
    assert isinstance(got, Permit) is passes
    if isinstance(got, Refusal):
        assert got.cap is Cap.CONDITION


@pytest.mark.parametrize(
    "bad",
    [
        None,
        verdict(6.4, quality=Quality.UNCERTAIN),
        verdict(6.4, quality=Quality.BAD),
        verdict(nan),
        verdict(inf),
    ],
)
def test_no_dose_without_a_usable_verdict(bad: Any) -> None:
    """No verdict, a doubtful or a bad one, or one on no number: refused."""
    got = permit(request(), limits(), facts(verdict=bad))
    assert isinstance(got, Refusal)
    assert got.cap is Cap.VERDICT


def test_priming_rests_on_no_reading_but_on_every_amount_cap() -> None:
    """A person who fills a tube needs no pH reading, and still meets the caps."""
    prime = request(20.0, reason=DoseReason.PRIME)
    got = permit(prime, limits(), facts(verdict=None, condition=Condition.HELD))
    assert isinstance(got, Permit)
    assert (got.ml, got.bound_by) == (8.0, Cap.PER_DOSE)


@pytest.mark.parametrize(
    ("reason", "passes"),
    [
        (DoseReason.PH_HIGH, False),
        (DoseReason.EC_LOW, False),
        (DoseReason.PRIME, True),
        (DoseReason.MEASURE, True),
    ],
)
def test_no_dose_by_an_expired_rate(reason: DoseReason, passes: bool) -> None:
    """But what goes into a cup may run, or it could never be measured again."""
    condition = Condition.HELD if passes else Condition.KEEPING
    got = permit(request(reason=reason), limits(), facts(condition=condition, rate_usable=False))
    assert isinstance(got, Permit) is passes
    if isinstance(got, Refusal):
        assert got.cap is Cap.RATE


@pytest.mark.parametrize(
    ("known", "cap"),
    [
        ({"spent": spent(since_pump_s=0.0, since_any_s=0.0)}, None),
        ({"since_refill_s": 0.0, "since_moved_s": 0.0}, None),
        ({"spent": spent(since_opposite_s=100.0)}, Cap.OPPOSITE),
        ({"spent": spent(hour_ml=20.0, day_ml=20.0)}, Cap.PER_HOUR),
        ({"spent": spent(day_ml=50.0)}, Cap.PER_DAY),
        ({"spent": spent(since_refill_ml=950.0)}, Cap.BOTTLE),
        ({"volume_l": 0.0}, Cap.SHARE),
        ({"condition": Condition.KEEPING}, Cap.CONDITION),
        ({"condition": Condition.LOCKED}, Cap.CONDITION),
    ],
)
def test_a_timed_run_waits_for_no_mixing_but_for_every_amount_cap(known: dict[str, Any], cap: Cap | None) -> None:
    """It goes into a cylinder; acid and base keep their hours, for they would meet there."""
    got = permit(request(reason=DoseReason.MEASURE), limits(), facts(**{"condition": Condition.HELD, **known}))
    assert (got.cap if isinstance(got, Refusal) else None) is cap


def test_an_unreliable_ledger_refuses() -> None:
    """When the ledger cannot be relied on, everything counts as spent."""
    got = permit(request(), limits(), facts(spent=SPENT))
    assert isinstance(got, Refusal)
    assert got.cap is Cap.LEDGER


@pytest.mark.parametrize(
    ("enough", "has_probe", "passes"),
    [
        (True, True, True),
        (False, True, False),
        (None, True, False),
        (None, False, True),
        (False, False, False),
    ],
)
def test_low_water_refuses(enough: bool | None, has_probe: bool, passes: bool) -> None:
    """Low is low; unknown is low where a probe should know."""
    got = permit(request(), limits(), facts(level_enough=enough, has_level_probe=has_probe))
    assert isinstance(got, Permit) is passes
    if isinstance(got, Refusal):
        assert got.cap is Cap.LEVEL


@pytest.mark.parametrize(
    ("share", "ml"), [(1.2, 4.0), (1.0, 4.0), (0.75, 3.0), (0.5, 2.0), (0.4999, 0.9998), (0.3, 0.6)]
)
def test_a_dose_is_scaled_to_the_measured_water(share: float, ml: float) -> None:
    """As much per litre as into the full reservoir, below half of the water half of that; never more."""
    got = permit(request(4.0), limits(), facts(level_share=share))
    assert isinstance(got, Permit)
    assert got.ml == pytest.approx(ml)
    assert got.bound_by is (Cap.LEVEL if share < 1.0 else None)
    assert got.ml / share <= 4.0 + 1e-9


def test_a_dose_that_a_cap_bounds_is_scaled_as_well() -> None:
    """8 mL are for the full reservoir."""
    got = permit(request(20.0), limits(max_per_dose_ml=8.0), facts(level_share=0.6))
    assert isinstance(got, Permit)
    assert got.ml == pytest.approx(4.8)


@pytest.mark.parametrize("share", [0.2999, 0.0, -1.0, nan])
def test_a_reservoir_nearly_empty_gets_nothing(share: float) -> None:
    """Below 30 %, or no number."""
    got = permit(request(), limits(), facts(level_share=share))
    assert isinstance(got, Refusal)
    assert got.cap is Cap.LEVEL


@pytest.mark.parametrize(
    ("turns", "has_contact", "passes"), [(True, True, True), (False, True, False), (False, False, True)]
)
def test_no_dose_into_still_water(turns: bool, has_contact: bool, passes: bool) -> None:
    """Where a contact should prove that the water is stirred, it must."""
    got = permit(request(), limits(), facts(circulation_on=turns, has_circulation=has_contact))
    assert isinstance(got, Permit) is passes
    if isinstance(got, Refusal):
        assert got.cap is Cap.CIRCULATION


@pytest.mark.parametrize(("name", "cap"), [("since_refill_s", Cap.REFILL), ("since_moved_s", Cap.HANDS_OFF)])
@pytest.mark.parametrize(
    ("since_s", "passes"), [(None, True), (0.0, False), (359.9, False), (360.0, True), (nan, False)]
)
def test_hands_off_for_three_mixing_times(name: str, cap: Cap, since_s: float | None, passes: bool) -> None:
    """After water was added, and after pH moved with no dose."""
    got = permit(request(), limits(), facts(**{name: since_s}))
    assert isinstance(got, Permit) is passes
    if isinstance(got, Refusal):
        assert (got.cap, got.numbers["wait_s"]) == (cap, 360.0)


WAITS = [
    (Cap.GAP, "since_pump_s", 600.0),
    (Cap.MIXING, "since_any_s", 360.0),  # three times 120 s
    (Cap.OPPOSITE, "since_opposite_s", 21600.0),
]


@pytest.mark.parametrize(("cap", "name", "wait_s"), WAITS, ids=[cap for cap, _, _ in WAITS])
class TestWait:
    """Every minimum time."""

    @pytest.mark.parametrize("short_s", [0.001, 1.0, 1e9])
    def test_too_soon_refuses_by_name(self, cap: Cap, name: str, wait_s: float, short_s: float) -> None:
        """A moment early is too early, and the numbers say how long to wait."""
        got = permit(request(), limits(), facts(spent=spent(**{name: wait_s - short_s})))
        assert isinstance(got, Refusal)
        assert (got.cap, got.numbers["wait_s"]) == (cap, wait_s)

    def test_on_time_passes(self, cap: Cap, name: str, wait_s: float) -> None:
        """Exactly on time and ever after is allowed; so is never having dosed."""
        assert isinstance(permit(request(), limits(), facts(spent=spent(**{name: wait_s}))), Permit)
        assert isinstance(permit(request(), limits(), facts(spent=spent(**{name: wait_s + 1}))), Permit)
        assert isinstance(permit(request(), limits(), facts(spent=spent(**{name: None}))), Permit)

    def test_no_number_refuses(self, cap: Cap, name: str, wait_s: float) -> None:
        """NaN for the time since fails closed."""
        got = permit(request(), limits(), facts(spent=spent(**{name: nan})))
        assert isinstance(got, Refusal)
        assert got.cap is cap


@pytest.mark.parametrize(
    ("cap", "changed_limits", "changed_facts"),
    [
        (Cap.GAP, {"min_gap_s": nan}, {}),
        (Cap.MIXING, {}, {"mixing_time_s": nan}),
        (Cap.MIXING, {}, {"mixing_time_s": -1.0}),
        (Cap.OPPOSITE, {"opposite_gap_s": nan}, {}),
        (Cap.SHARE, {}, {"volume_l": inf}),
        (Cap.RUN_TIME, {"ml_per_s": inf}, {}),
        (Cap.BOTTLE, {"bottle_ml": inf}, {}),
    ],
)
def test_settings_that_are_no_numbers_fail_closed(
    cap: Cap, changed_limits: dict[str, float], changed_facts: dict[str, float]
) -> None:
    """A wait, volume, rate or bottle that is not a sound number refuses in its own name."""
    got = permit(request(), limits(**changed_limits), facts(**changed_facts))
    assert isinstance(got, Refusal)
    assert got.cap is cap


def test_no_setting_lifts_a_limit_of_the_code() -> None:
    """Settings far above the built-in limits permit no more than those."""
    wild = limits(
        max_per_dose_ml=1e6,
        max_per_hour_ml=1e6,
        max_per_day_ml=1e6,
        bottle_ml=1e6,
        min_gap_s=0.0,
        ml_per_s=1000.0,
    )
    got = permit(request(1e6), wild, facts(volume_l=1e6))
    assert isinstance(got, Permit)
    assert (got.ml, got.bound_by) == (HARD_MAX_PER_DAY_ML, Cap.PER_DOSE)
    early = permit(request(), wild, facts(spent=spent(since_pump_s=HARD_MIN_GAP_S - 0.1)))
    assert isinstance(early, Refusal)
    assert early.cap is Cap.GAP
    shares = permit(request(), wild, facts(volume_l=2.0, spent=spent(day_ml=2000 * HARD_MAX_SHARE_PER_DAY)))
    assert isinstance(shares, Refusal)
    assert shares.cap is Cap.SHARE


def test_the_longest_run_is_not_made_longer_by_rounding() -> None:
    """At 0.27 mL/s what thirty seconds deliver takes a hair more than thirty seconds: the keeper would refuse."""
    assert 0.27 * HARD_MAX_RUN_S / 0.27 > HARD_MAX_RUN_S
    got = permit(request(100.0), limits(ml_per_s=0.27, max_per_dose_ml=100.0), facts())
    assert isinstance(got, Permit)
    assert (got.run_s, got.bound_by) == (HARD_MAX_RUN_S, Cap.RUN_TIME)


def test_the_smallest_of_several_caps_is_named() -> None:
    """Of a dose cap of 8, 3 mL left this hour and 5 mL left today, the hour binds."""
    got = permit(request(20.0), limits(), facts(spent=spent(hour_ml=17.0, day_ml=45.0)))
    assert isinstance(got, Permit)
    assert (got.ml, got.bound_by) == (3.0, Cap.PER_HOUR)
    assert got.numbers["per_hour_room_ml"] == 3.0
    assert got.numbers["per_day_room_ml"] == 5.0


def test_checks_come_in_the_documented_order() -> None:
    """With everything wrong, each reason shows only once those before it are put right."""
    ok: dict[str, Any] = {}
    wrong: dict[str, Any] = {
        "condition": Condition.HELD,
        "spent": SPENT,
        "verdict": None,
        "level_enough": False,
    }
    for cap, key in (
        (Cap.CONDITION, "condition"),
        (Cap.LEDGER, "spent"),
        (Cap.VERDICT, "verdict"),
        (Cap.LEVEL, "level_enough"),
    ):
        got = permit(request(), limits(), facts(**(wrong | ok)))
        assert isinstance(got, Refusal)
        assert got.cap is cap
        ok[key] = getattr(facts(), key)
        if key == "spent":
            ok[key] = spent(since_pump_s=1.0, since_any_s=1.0, since_opposite_s=1.0)
    last = permit(request(), limits(), facts(**ok))
    assert isinstance(last, Refusal)
    assert last.cap is Cap.GAP


@settings(max_examples=400)
@given(any_request, any_limits, any_facts)
def test_whatever_comes_no_cap_is_passed(asked: DoseRequest, allowed: PumpLimits, known: Facts) -> None:
    """For any numbers at all, a permit is finite, bounded by every cap, and rests on sound facts."""
    got = permit(asked, allowed, known)
    event(type(got).__name__)
    if isinstance(got, Refusal):
        return
    assert allowed.max_per_dose_ml is not None
    assert allowed.max_per_hour_ml is not None
    assert allowed.max_per_day_ml is not None
    assert isfinite(got.ml)
    assert 0.0 < got.ml <= asked.ml
    assert got.ml <= allowed.max_per_dose_ml
    assert known.spent.hour_ml + got.ml <= allowed.max_per_hour_ml + 1e-9
    assert known.spent.day_ml + got.ml <= min(allowed.max_per_day_ml, HARD_MAX_PER_DAY_ML) + 1e-9
    assert got.ml <= known.volume_l * 1000.0 * HARD_MAX_SHARE_PER_DOSE
    assert known.spent.since_refill_ml + got.ml <= allowed.bottle_ml
    assert 0.0 < got.run_s <= HARD_MAX_RUN_S
    assert got.run_s * allowed.ml_per_s == pytest.approx(got.ml)
    assert known.spent.ok
    assert known.circulation_on or not known.has_circulation
    if known.level_share is not None:
        assert known.level_share >= LEVEL_STOP_SHARE
        taken_up = 1.0 if asked.pump is Role.TOP_UP else known.level_share  # water is bound by the room instead
        assert got.ml <= asked.ml * taken_up + 1e-9
    assert known.condition is not Condition.LOCKED


@settings(max_examples=100)
@given(any_limits, any_facts)
def test_what_people_see_of_the_caps_is_never_more_than_the_hard_limits(
    allowed: PumpLimits, known: Facts
) -> None:
    """The caps shown are those that bind, whatever the settings say."""
    shown = cap_use(allowed, known.spent, known.volume_l)
    assert 0.0 <= shown.max_per_day_ml <= HARD_MAX_PER_DAY_ML
    assert 0.0 <= shown.max_per_hour_ml <= HARD_MAX_PER_DAY_ML
    assert shown.bottle_left_ml >= 0.0


def test_cap_use_shows_spent_and_left() -> None:
    """What was used of each cap and what the bottle still holds; all of it used when the ledger is out."""
    shown = cap_use(limits(), spent(hour_ml=5.0, day_ml=12.0, since_refill_ml=300.0), facts().volume_l)
    assert (shown.last_hour_ml, shown.last_day_ml, shown.bottle_left_ml) == (5.0, 12.0, 700.0)
    assert (shown.max_per_hour_ml, shown.max_per_day_ml) == (20.0, 50.0)
    broken = cap_use(limits(), SPENT, facts().volume_l)
    assert (broken.last_hour_ml, broken.last_day_ml, broken.bottle_left_ml) == (20.0, 50.0, 0.0)


def test_limits_come_from_the_settings() -> None:
    """Each figure of the settings reaches the limits, hours turned into seconds; left out stays left out."""
    pump = Pump(line=17, ml_per_s=1.5, bottle_ml=500.0, max_per_dose_ml=3.0, max_per_hour_ml=9.0, min_gap_s=700.0)
    bed = Reservoir(
        title="Bed", system="still", volume_l=20.0, mixing_time_s=60.0, opposite_gap_h=2.0, pump={"ph_up": pump}
    )
    assert limits_of(Role.PH_UP, bed) == PumpLimits(1.5, 500.0, 3.0, 9.0, None, 700.0, 0.2, 7200.0)


def water(ml: float = 400.0) -> DoseRequest:
    """Water to fill up with."""
    return request(ml, Role.TOP_UP, DoseReason.LEVEL_LOW)


WATER = {
    "max_per_dose_ml": 600.0,
    "max_per_hour_ml": 3000.0,
    "max_per_day_ml": 9000.0,
    "ml_per_s": 20.0,
    "bottle_ml": 20000.0,
    "hard": WATER_LIMITS,
}


def test_water_may_be_more_than_a_reagent() -> None:
    """Its built-in limits are its own, and it is not made less where water is missing."""
    got = permit(water(), limits(**WATER), facts(level_share=0.8, volume_l=48.0))
    assert isinstance(got, Permit)
    assert (got.ml, got.bound_by) == (400.0, None)


@pytest.mark.parametrize(
    ("share", "room_ml"), [(0.995, 300.0), (0.9999, 6.0), (1.0, None), (1.2, None), (nan, None), (None, None)]
)
def test_water_never_runs_over(share: float | None, room_ml: float | None) -> None:
    """No more than the reservoir has room for, and none where that is not measured."""
    asked = permit(water(), limits(**WATER), facts(level_share=share, volume_l=60.0 * min(1.0, share or 1.0)))
    if room_ml is None:
        assert isinstance(asked, Refusal)
        assert asked.cap is Cap.LEVEL
    else:
        assert isinstance(asked, Permit)
        assert asked.ml == pytest.approx(room_ml)
        assert asked.bound_by is Cap.LEVEL


@given(any_facts)
def test_water_has_hard_limits_too(known: Facts) -> None:
    """Whatever the settings say, at most 2 % of the reservoir in one run and 25 % in a day."""
    wild = limits(**WATER | {"max_per_dose_ml": 1e6, "max_per_hour_ml": 1e6, "max_per_day_ml": 1e6})
    got = permit(water(1e6), wild, known)
    if isinstance(got, Permit):
        assert got.ml <= known.volume_l * 1000.0 * HARD_MAX_WATER_SHARE_PER_DOSE + 1e-6
        share_ml = known.volume_l * 1000.0 * HARD_MAX_WATER_SHARE_PER_DAY
        assert got.ml + known.spent.day_ml <= min(HARD_MAX_WATER_PER_DAY_ML, share_ml) + 1e-6
