"""sim_hw.tank: nothing is lost, doses show with the mixing lag, and the water drifts as a reservoir does."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from config.chemistry import ChemistryError, Totals, strong_charge
from sim_hw.tank import Look, Tank
from sim_hw.tank_settings import TankSettings

MORNING_S = 8 * 3600.0
DAY_S = 86400.0
STILL = TankSettings(  # only mixing goes on in this one
    co2_exchange_per_h=0.0, plants=0, evaporation_l_per_day=0.0, temperature_swing_c=0.0
)


def tank_after(tank: Tank, seconds: float, every_s: float = 10.0, day_s: float = MORNING_S) -> Tank:
    """The same tank, later; time passes in steps of every_s."""
    steps = round(seconds / every_s)
    for step in range(steps):
        tank.advance(every_s, (day_s + step * every_s) % DAY_S)
    return tank


def still(**changes: object) -> Tank:
    """A tank in which only mixing goes on, with some settings changed."""
    return Tank(TankSettings.model_validate({**STILL.model_dump(exclude_unset=True), **changes}))


def test_the_demo_water_starts_as_just_mixed() -> None:
    """Quince Lane begins at pH 7.2, near 1.15 mS/cm at 25 °C, 20 °C, full."""
    look = Tank(TankSettings()).look()
    assert look.ph == pytest.approx(7.2, abs=0.01)
    assert look.ec25_ms_per_cm == pytest.approx(1.15, abs=0.03)
    assert look.ec_ms_per_cm < look.ec25_ms_per_cm
    assert (look.temperature_c, look.level_share) == (20.0, 1.0)


@pytest.mark.parametrize(
    ("share_of_time", "share_shown"), [(0.25, 0.527), (0.5, 0.776), (1.0, 0.95), (2.0, 0.9975)]
)
def test_a_dose_shows_at_the_probe_with_the_mixing_lag(share_of_time: float, share_shown: float) -> None:
    """Of a dose of stock, 95 % of the rise in EC shows after the mixing time, less before it."""
    tank = still(mixing_time_s=240.0)
    start = tank.look().ec25_ms_per_cm
    tank.deliver("stock_a", 200.0)
    end = tank.bulk().ec25_ms_per_cm
    seen = tank_after(tank, 240.0 * share_of_time, every_s=1.0).look().ec25_ms_per_cm
    assert (seen - start) / (end - start) == pytest.approx(share_shown, abs=0.02)


def test_a_dose_does_not_show_at_once() -> None:
    """Right after a dose the probes see the old water and the fully mixed truth has moved."""
    tank = Tank(TankSettings())
    tank.deliver("ph_down", 20.0)
    assert tank.look().ph == pytest.approx(7.2, abs=0.01)
    assert tank.bulk().ph < 7.0


def test_probe_and_bulk_meet_when_all_is_mixed() -> None:
    """After ten mixing times the probes see the whole tank."""
    tank = still()
    tank.deliver("ph_down", 20.0)
    tank_after(tank, 1200.0)
    assert tank.look().ph == pytest.approx(tank.bulk().ph, abs=1e-3)


DOSES = st.lists(
    st.tuples(
        st.sampled_from(["ph_down", "ph_up", "stock_a", "stock_b"]), st.floats(0.0, 50.0), st.floats(0.0, 900.0)
    ),
    max_size=6,
)


@settings(max_examples=40)
@given(doses=DOSES)
def test_what_goes_in_is_in_there(doses: list[tuple[str, float, float]]) -> None:
    """Whatever is dosed when, moles, litres and charge in the still tank are the start plus the doses."""
    tank = still()
    first, litres = tank.dissolved_mol(), tank.volume_l
    given_ml = dict.fromkeys(["ph_down", "ph_up", "stock_a", "stock_b"], 0.0)
    for role, ml, wait_s in doses:
        tank.deliver(role, ml)
        given_ml[role] += ml
        tank.advance(wait_s, MORNING_S)
    gain = {name: now - first[name] for name, now in tank.dissolved_mol().items()}
    assert tank.volume_l == pytest.approx(litres + sum(given_ml.values()) / 1000.0)
    assert gain["phosphate"] == pytest.approx((0.5 * given_ml["ph_down"] + 0.1 * given_ml["stock_b"]) / 1000.0)
    assert gain["calcium"] == pytest.approx(0.5 * given_ml["stock_a"] / 1000.0, abs=1e-12)
    assert gain["carbonate"] == pytest.approx(0.0, abs=1e-12)
    charge = strong_charge(Totals(**gain))
    expected = (0.5 * given_ml["ph_up"] + 0.1 * given_ml["stock_b"]) / 1000.0
    assert charge == pytest.approx(expected, abs=1e-9)


@settings(max_examples=40)
@given(ml=st.floats(0.01, 200.0), ph=st.floats(5.0, 8.0))
def test_acid_never_raises_and_base_never_lowers_the_tank(ml: float, ph: float) -> None:
    """Any dose of the default bottles moves the whole tank in its own direction, from any start."""
    down, up = still(start_ph=ph), still(start_ph=ph)
    before = down.bulk().ph
    down.deliver("ph_down", ml)
    up.deliver("ph_up", ml)
    assert 2.0 < down.bulk().ph <= before + 1e-4
    assert before - 1e-4 <= up.bulk().ph < 12.0


def test_both_stocks_make_the_recipe() -> None:
    """10 mL of each stock per litre of pure water make full solution 1 (Hoagland & Arnon 1950, in mmol/L)."""
    tank = still(nutrient_strength=0.0, alkalinity_mmol_per_l=0.0, start_ph=6.0, volume_l=10.0)
    tank.deliver("stock_a", 100.0)
    tank.deliver("stock_b", 100.0)
    per_l = {name: 1000.0 * mol / 10.0 for name, mol in tank.dissolved_mol().items() if name != "carbonate"}
    assert per_l == pytest.approx(
        {
            "calcium": 5.0,
            "magnesium": 2.0,
            "potassium": 6.0,
            "sodium": 0.0,
            "ammonium": 0.0,
            "nitrate": 15.0,
            "chloride": 0.0,
            "sulfate": 2.0,
            "phosphate": 1.0,
        }
    )


def test_acidified_water_rebounds_while_its_co2_leaves() -> None:
    """After acid brings it to about 6, no plant and no base, the pH climbs for hours and comes to rest."""
    tank = still(co2_exchange_per_h=0.2)
    tank.deliver("ph_down", 65.0)
    ph = [tank_after(tank, hours * 3600.0).look().ph for hours in (0.5, 6.0, 24.0, 24.0, 24.0)]
    assert ph[0] == pytest.approx(6.1, abs=0.2)
    assert ph[1] > ph[0] + 0.2
    assert ph == sorted(ph)
    assert ph[4] - ph[3] < 0.05


def test_evaporation_concentrates_the_salts() -> None:
    """A fifth of the water gone leaves all salts, and raises EC nearly by a quarter."""
    tank = still(evaporation_l_per_day=4.0)
    start, salts = tank.look(), tank.dissolved_mol()
    end = tank_after(tank, 3 * DAY_S, every_s=600.0).look()
    assert end.level_share == pytest.approx(0.8, abs=1e-3)
    assert tank.dissolved_mol() == pytest.approx(salts)
    assert end.ec25_ms_per_cm / start.ec25_ms_per_cm == pytest.approx(1.23, abs=0.02)


def test_plants_raise_ph_by_day_and_rest_at_night() -> None:
    """With air out of play, lit hours raise the pH through nitrate uptake and dark hours leave it alone."""
    tank = still(plants=18, start_ph=6.0)
    by_day = tank_after(tank, 8 * 3600.0, day_s=MORNING_S).look().ph
    at_night = tank_after(tank, 8 * 3600.0, day_s=21 * 3600.0).look().ph
    assert by_day > 6.02
    assert at_night == pytest.approx(by_day, abs=1e-4)


def test_nothing_is_drunk_in_the_dark_of_a_short_day() -> None:
    """With light from 10 to 14 h no water leaves before dawn, and a whole day takes the set amount."""
    tank = still(plants=18, light_on_h=10.0, light_off_h=14.0, transpiration_l_per_day=0.9)
    assert tank_after(tank, 9 * 3600.0, every_s=600.0, day_s=0.0).volume_l == 60.0
    tank_after(tank, 15 * 3600.0, every_s=600.0, day_s=9 * 3600.0)
    assert tank.volume_l == pytest.approx(59.1, abs=1e-3)


def test_a_corrected_reservoir_drifts_upwards_at_a_plausible_rate() -> None:
    """Once dosed to about 6 and degassed, the demo water rises by 0.1..0.4 pH a day (common practice to see)."""
    tank = Tank(TankSettings())
    tank.deliver("ph_down", 100.0)
    degassed = tank_after(tank, 2 * DAY_S, every_s=60.0).look().ph
    later = tank_after(tank, DAY_S, every_s=60.0).look().ph
    assert 5.7 < degassed < 6.6
    assert 0.1 < later - degassed < 0.4


def test_uptake_never_takes_more_than_there_is() -> None:
    """A crop far too big for its water empties it of nitrate and stops there."""
    tank = Tank(TankSettings(volume_l=2.0, plants=500, transpiration_l_per_day=50.0))
    tank.advance(2 * DAY_S, 0.0)
    left = tank.dissolved_mol()
    assert all(amount >= 0.0 for amount in left.values())
    assert left["nitrate"] < 1e-4
    assert tank.volume_l == pytest.approx(0.1)


def test_temperature_follows_the_day() -> None:
    """Warmest at 15 h, coldest twelve hours later, by the swing."""
    tank = Tank(TankSettings(temperature_c=20.0, temperature_swing_c=1.5))
    tank.advance(60.0, 15 * 3600.0 - 30.0)
    assert tank.look().temperature_c == pytest.approx(21.5, abs=1e-3)
    tank.advance(DAY_S / 2, 15 * 3600.0 + 30.0)
    assert tank.look().temperature_c == pytest.approx(18.5, abs=1e-3)


def test_the_first_moment_already_has_the_temperature_of_the_hour() -> None:
    """No jump ten seconds after the start: told the hour, even with no time passing, it has its temperature."""
    tank = Tank(TankSettings())
    tank.advance(0.0, 3 * 3600.0)
    assert tank.look().temperature_c == pytest.approx(18.5, abs=1e-3)


def test_added_water_dilutes_and_drained_water_does_not() -> None:
    """Draining leaves the concentrations; tap water then brings the EC down and the level back."""
    tank = still()
    start = tank.look()
    tank.drain(30.0)
    assert tank.look().level_share == pytest.approx(0.5)
    assert tank_after(tank, 60.0).look().ec25_ms_per_cm == pytest.approx(start.ec25_ms_per_cm)
    tank.add_water(30.0)
    end = tank_after(tank, 1200.0).look()
    assert end.level_share == pytest.approx(1.0)
    assert 0.53 * start.ec25_ms_per_cm < end.ec25_ms_per_cm < 0.65 * start.ec25_ms_per_cm
    assert tank.dissolved_mol()["calcium"] == pytest.approx(0.5 * 60.0 * 0.00285 + 30.0 * 0.0005, rel=1e-3)


def test_a_top_up_pump_pours_tap_water() -> None:
    """The role top_up adds as many mL of tap water as add_water adds litres of it."""
    pumped, poured = still(), still()
    pumped.deliver("top_up", 5000.0)
    poured.add_water(5.0)
    assert pumped.dissolved_mol() == poured.dissolved_mol()
    assert pumped.volume_l == pytest.approx(65.0)


def test_a_drain_leaves_the_last_of_the_water() -> None:
    """More than there is cannot be drained; what stays can still be looked at."""
    tank = still()
    tank.drain(1000.0)
    tank.advance(60.0, MORNING_S)
    assert tank.volume_l == pytest.approx(0.1)
    assert tank.look().ph == pytest.approx(7.2, abs=0.05)


MORE: list[dict[str, object]] = [
    {},
    {"system": {"kind": "ebb_and_flow"}, "recipe": "hoagland_2"},
    {"system": {"kind": "still"}, "water": "hard"},
    {
        "system": {"kind": "film"},
        "crop": {"age_days": 20.0},
        "spell": [{"from_day": 0.2, "until_day": 0.6, "by_c": 8.0}],
    },
]


@pytest.mark.parametrize("more", MORE)
def test_small_steps_and_one_large_step_agree(more: dict[str, object]) -> None:
    """A day in ticks of 10 s and a day at once end at the same water, within 0.005 pH and 0.1 % EC."""

    def dosed() -> Tank:
        tank = Tank(TankSettings.model_validate(more))
        tank.deliver("ph_down", 40.0)
        return tank

    fine, coarse = tank_after(dosed(), DAY_S), tank_after(dosed(), DAY_S, every_s=DAY_S)
    assert coarse.bulk().ph == pytest.approx(fine.bulk().ph, abs=0.005)
    assert coarse.bulk().ec25_ms_per_cm == pytest.approx(fine.bulk().ec25_ms_per_cm, rel=1e-3)
    assert coarse.volume_l == pytest.approx(fine.volume_l, rel=1e-4)


def test_milliseconds_add_up() -> None:
    """Ten seconds in ticks of 8 ms, as conversions make them, pass as ten seconds do."""
    ticks, whole = still(), still()
    for tank in (ticks, whole):
        tank.deliver("stock_a", 100.0)
    tank_after(ticks, 10.0, every_s=0.008)
    tank_after(whole, 10.0, every_s=1.0)
    assert ticks.bulk().ph == pytest.approx(whole.bulk().ph)  # both are now settled to the same instant
    assert ticks.look().ec_ms_per_cm == pytest.approx(whole.look().ec_ms_per_cm, rel=1e-6)


@pytest.mark.parametrize("more", MORE)
def test_the_same_calls_give_the_same_water(more: dict[str, object]) -> None:
    """There is no chance in the tank: equal calls, equal looks, to the last bit."""

    def played() -> list[Look]:
        tank, looks = Tank(TankSettings.model_validate(more)), []
        for step in range(200):
            if step % 40 == 0:
                tank.deliver("ph_down", 4.0)
            tank.advance(30.0, MORNING_S + step * 30.0)
            looks.append(tank.look())
        return looks

    assert played() == played()


def test_a_fortnight_of_small_permitted_doses_needs_only_acid() -> None:
    """Steps of 8 mL bring 7.2 into 5.5..6.5 within about an hour; a fortnight takes 100..250 mL and no base."""
    tank = Tank(TankSettings())
    seen, poured_ml = [], 0.0
    for gap in range(14 * 144):
        tank_after(tank, 600.0, every_s=60.0, day_s=MORNING_S + gap * 600.0)
        seen.append(tank.look().ph)
        if seen[-1] > 6.15:
            dose_ml = min(8.0, 20.0 * (seen[-1] - 6.0))
            tank.deliver("ph_down", dose_ml)
            poured_ml += dose_ml
    in_band = [5.5 <= ph <= 6.5 for ph in seen]
    assert in_band.index(True) <= 8  # gaps of 10 min
    assert all(in_band[36:])
    assert 100.0 <= poured_ml <= 250.0


@pytest.mark.parametrize("substance", ["phosphoric_acid", "nitric_acid", "sulfuric_acid"])
def test_every_acid_lowers_and_potassium_carbonate_raises(substance: str) -> None:
    """Each substance that a bottle may hold works in its direction, whatever the role says."""
    bottles = {
        "ph_up": {"substance": substance, "strength_mol_per_l": 0.5},
        "ph_down": {"substance": "potassium_carbonate", "strength_mol_per_l": 0.5},
    }
    acid, base = still(reagent=bottles), still(reagent=bottles)
    acid.deliver("ph_up", 10.0)
    base.deliver("ph_down", 10.0)
    assert acid.bulk().ph < 7.1
    assert base.bulk().ph > 7.3


def test_a_start_ph_out_of_reach_names_the_settings() -> None:
    """Soft water cannot start at pH 9; the message says which keys to change."""
    with pytest.raises(
        ChemistryError, match=r"start_ph with alkalinity_mmol_per_l = 0 and nutrient_strength = 0\.47"
    ):
        Tank(TankSettings(start_ph=9.0, alkalinity_mmol_per_l=0.0))


@pytest.mark.parametrize("amount", [-1.0, float("nan"), float("inf")])
def test_amounts_that_cannot_be_are_refused(amount: float) -> None:
    """Negative, infinite and not-a-number amounts of time and water raise, and change nothing."""
    tank = still()
    before = tank.dissolved_mol()
    acts: list[Callable[[], None]] = [
        lambda: tank.advance(amount, 0.0),
        lambda: tank.deliver("ph_down", amount),
        lambda: tank.add_water(amount),
        lambda: tank.drain(amount),
    ]
    for act in acts:
        with pytest.raises(ValueError, match="must be 0"):
            act()
    assert tank.dissolved_mol() == before


def test_a_role_without_a_bottle_is_refused() -> None:
    """The message lists the roles there are."""
    with pytest.raises(
        ValueError, match="role = 'vinegar': must be one of ph_down, ph_up, stock_a, stock_b, top_up"
    ):
        still().deliver("vinegar", 1.0)


# --- systems, waters, crops, warm days ----------------------------------------------------------------------


EBB = {
    "kind": "ebb_and_flow",
    "bed_l": 20.0,
    "held_l": 2.0,
    "flood_at_h": [12.0],
    "flood_min": 15.0,
    "pump_l_per_min": 3.0,
    "drain_min": 10.0,
}


def at(tank: Tank, hour: float, from_hour: float) -> Tank:
    """The same tank at this hour, coming from that hour of the same day."""
    return tank_after(tank, (hour - from_hour) * 3600.0, day_s=from_hour * 3600.0)


def test_the_reservoir_falls_while_its_bed_is_flooded() -> None:
    """By the bed's rise at its fullest, and comes back once drained; all water and salts stay."""
    tank = still(system=EBB)
    salts = tank.dissolved_mol()
    assert [at(tank, 11.9, 8.0).volume_l, tank.bed_l] == pytest.approx([60.0, 2.0])
    assert at(tank, 12.2, 11.9).volume_l == pytest.approx(42.0)
    assert tank.look().level_share == pytest.approx(0.7)
    assert at(tank, 13.0, 12.2).volume_l == pytest.approx(60.0)
    assert tank.dissolved_mol() == pytest.approx(salts)


def test_a_dose_reaches_the_bed_at_the_next_flood() -> None:
    """Before it the bed has the old water; the flood mixes it, and the probe feels the old water come back."""
    tank = still(system={**EBB, "held_l": 10.0})
    tank.deliver("ph_down", 60.0)
    before = at(tank, 11.9, 8.0).look().ph
    whole = tank.bulk().ph
    assert before < whole - 0.02
    after = at(tank, 13.0, 11.9).look().ph
    assert before < after < whole + 0.001


@pytest.mark.parametrize(
    "system",
    [
        {"kind": "film", "channel_l": 6.0},
        {"kind": "deep_water", "bed_l": 30.0, "flow_l_per_min": 0.5},
        {"kind": "still"},
        EBB,
        {**EBB, "probes_in": "bed", "mixing_time_at_rest_s": 3600.0},
    ],
)
def test_what_goes_in_is_in_there_in_every_system(system: dict[str, object]) -> None:
    """Doses and top-up add up over reservoir and bed, to the last mole and drop, over a day with floods."""
    tank = still(system=system)
    first, litres = tank.dissolved_mol(), tank.volume_l + tank.bed_l * (system["kind"] != "still")
    tank.deliver("ph_down", 20.0)
    tank.deliver("stock_a", 100.0)
    tank.deliver("top_up", 2000.0)
    tank_after(tank, DAY_S, every_s=60.0)
    gain = {name: now - first[name] for name, now in tank.dissolved_mol().items()}
    assert gain["phosphate"] == pytest.approx(0.010)
    assert gain["calcium"] == pytest.approx(0.050 + 2.0 * 0.0005)
    assert tank.volume_l + tank.bed_l * (system["kind"] != "still") == pytest.approx(litres + 2.12)


def test_a_slow_second_zone_pulls_the_probe_back() -> None:
    """With 30 L that 0.5 L/min go round with, the pH climbs back to the mean over hours."""
    tank = still(system={"kind": "deep_water", "bed_l": 30.0, "flow_l_per_min": 0.5})
    tank.deliver("ph_down", 30.0)
    soon = tank_after(tank, 600.0).look().ph
    later = tank_after(tank, 4 * 3600.0).look().ph
    assert soon + 0.05 < later
    assert later == pytest.approx(tank.bulk().ph, abs=0.01)


def test_probes_in_the_bed_see_the_bed() -> None:
    """A dose shows there only as the stream brings it."""
    near, far = (
        still(system={"kind": "film", "channel_l": 10.0, "flow_l_per_min": 0.5, "probes_in": where})
        for where in ("reservoir", "bed")
    )
    for tank in (near, far):
        tank.deliver("stock_a", 200.0)
        tank_after(tank, 300.0)
    assert far.look().ec25_ms_per_cm < near.look().ec25_ms_per_cm - 0.1
    assert far.bulk().ec25_ms_per_cm == pytest.approx(near.bulk().ec25_ms_per_cm)


def test_a_still_reservoir_takes_days_to_even_out() -> None:
    """What is poured in shows by less than two thirds after eight hours; a pumped tank has it in minutes."""
    tank = still(system={"kind": "still", "even_out_h": 12.0, "probes_in": "bed"})
    start = tank.look().ec25_ms_per_cm
    tank.deliver("stock_a", 200.0)
    end = tank.bulk().ec25_ms_per_cm
    shown = [
        (tank_after(tank, hours * 3600.0, every_s=600.0).look().ec25_ms_per_cm - start) / (end - start)
        for hours in (1, 23, 216)
    ]
    assert shown[0] < 0.01
    assert 0.05 < shown[1] < 0.6
    assert shown[2] == pytest.approx(1.0, abs=0.05)


def test_a_still_reservoir_falls_as_its_plants_drink() -> None:
    """Nothing refills it: nine days of 0.9 L transpired and 0.2 L evaporated leave 50.1 of 60 L."""
    tank = Tank(TankSettings.model_validate({"system": {"kind": "still"}}))
    tank_after(tank, 9 * DAY_S, every_s=60.0, day_s=0.0)
    assert tank.volume_l == pytest.approx(50.1, abs=0.01)
    assert tank.look().level_share == pytest.approx(0.835, abs=1e-3)
    assert tank.bed_l == pytest.approx(0.3 * 50.1, abs=0.05)


def test_a_change_out_leaves_the_beds_water() -> None:
    """Draining all of a reservoir leaves what the substrate holds; a still one has no such place."""
    ebb, layered = still(system=EBB), still(system={"kind": "still"})
    for tank in (ebb, layered):
        tank.drain(100.0)
    assert [ebb.volume_l, ebb.bed_l] == pytest.approx([0.1, 2.0])
    assert layered.volume_l == pytest.approx(0.1)


def test_roots_drink_the_bed_and_the_stream_makes_up_for_it() -> None:
    """In a film the channel keeps its litres while the reservoir falls."""
    tank = Tank(TankSettings.model_validate({"system": {"kind": "film", "channel_l": 6.0}}))
    tank_after(tank, 4 * DAY_S, every_s=60.0, day_s=0.0)
    assert tank.bed_l == pytest.approx(6.0, abs=0.01)
    assert tank.volume_l == pytest.approx(60.0 - 4.0 * 1.1, abs=0.02)


def test_between_floods_the_plants_drink_what_the_substrate_holds() -> None:
    """Its 3 L shrink and grow salty by day, while the reservoir keeps its litres until the next flood."""
    ebb = {**EBB, "held_l": 3.0, "flood_at_h": [6.0], "probes_in": "bed"}
    tank = still(plants=18, nitrate_uptake_mmol_per_plant_day=0.0, transpiration_l_per_day=1.5, system=ebb)
    start = at(tank, 7.0, 6.0).look().ec25_ms_per_cm
    at(tank, 19.0, 7.0)
    assert tank.volume_l == pytest.approx(60.0, abs=0.1)
    assert tank.bed_l < 2.0
    assert tank.look().ec25_ms_per_cm > 1.3 * start


def test_the_bottom_of_a_still_reservoir_does_not_breathe() -> None:
    """Water full of CO2 loses it above and keeps it below, for hours; in a pumped bed both lose it."""
    told = {"plants": 0, "start_ph": 6.0, "temperature_swing_c": 0.0, "co2_exchange_per_h": 1.0}
    layered = {"kind": "still", "even_out_h": 500.0}
    pumped = {"kind": "deep_water", "bed_l": 18.0, "flow_l_per_min": 0.001}
    rises = [
        tank_after(
            Tank(TankSettings.model_validate({**told, "system": {**system, "probes_in": where}})), 6 * 3600.0
        )
        .look()
        .ph
        - 6.0
        for system, where in ((layered, "bed"), (layered, "reservoir"), (pumped, "bed"), (pumped, "reservoir"))
    ]
    assert rises[0] > 0.5
    assert rises[1] < 0.1
    assert rises[2] == pytest.approx(rises[3], abs=0.05)


def test_ammonium_turns_the_drift_round() -> None:
    """With air out of play, plants on nitrate raise the pH; a seventh or more as ammonium, and they lower it."""
    nitrate, ammonium = (still(plants=18, start_ph=6.5, recipe=recipe) for recipe in ("hoagland_1", "hoagland_2"))
    for tank in (nitrate, ammonium):
        tank_after(tank, DAY_S, every_s=60.0)
    assert nitrate.look().ph > 6.52
    assert ammonium.look().ph < 6.48
    assert ammonium.dissolved_mol()["ammonium"] < 0.9 * 0.47e-3 * 60.0


def test_the_preference_for_ammonium_is_a_setting() -> None:
    """Without any, roots leave ammonium and the pH rises; with five, they take a quarter as ammonium."""
    none, usual = (still(plants=18, recipe="hoagland_2", ammonium_preference=much) for much in (0.0, 5.0))
    first = none.dissolved_mol()["ammonium"]
    for tank in (none, usual):
        tank_after(tank, DAY_S / 4, every_s=60.0)
    taken = {name: usual.dissolved_mol()[name] - none.dissolved_mol()[name] for name in ("ammonium", "nitrate")}
    assert none.dissolved_mol()["ammonium"] == first
    assert taken["ammonium"] == pytest.approx(-taken["nitrate"], rel=0.1)


def test_when_the_ammonium_is_gone_the_drift_is_up_again() -> None:
    """It falls first, reaches a lowest point, and rises from there."""
    tank = still(plants=18, start_ph=6.5, recipe="hoagland_2", volume_l=20.0)
    ph = [tank_after(tank, DAY_S, every_s=60.0).look().ph for _ in range(8)]
    lowest = ph.index(min(ph))
    assert 0 < lowest < 7
    assert ph[-1] > ph[lowest] + 0.02


@pytest.mark.parametrize(
    ("water", "ml"), [("soft", (5.0, 45.0)), ("typical", (60.0, 130.0)), ("hard", (250.0, 420.0))]
)
def test_hard_water_takes_the_acid(water: str, ml: tuple[float, float]) -> None:
    """mL of 0.5 mol/L phosphoric acid that bring 60 L to pH 6, in the order of the alkalinities."""
    tank, poured = still(water=water), 0.0
    while tank.bulk().ph > 6.0:
        tank.deliver("ph_down", 5.0)
        poured += 5.0
    assert ml[0] < poured < ml[1]


def test_an_analysis_fills_and_tops_up() -> None:
    """Calcium bicarbonate by analysis is the water of the same alkalinity; a hard top-up brings its hardness."""
    by_analysis = still(analysis={"mmol_per_l": {"calcium": 0.5}, "alkalinity_mmol_per_l": 1.0})
    assert by_analysis.dissolved_mol() == pytest.approx(still().dissolved_mol())
    assert by_analysis.source_charge_error_percent == 0.0
    assert still().source_charge_error_percent is None
    hard = still(water="hard")
    before = hard.dissolved_mol()["magnesium"]
    hard.add_water(10.0)
    assert hard.dissolved_mol()["magnesium"] - before == pytest.approx(10.0 * 0.018 / 24.305)


def test_a_heat_wave_warms_the_water_and_goes() -> None:
    """Nine degrees more from the third day to the fifth, on top of the hour's own temperature."""
    wave = {"from_day": 2.0, "until_day": 4.0, "by_c": 9.0, "ramp_h": 6.0}
    tank = Tank(TankSettings.model_validate({"spell": [wave], "temperature_swing_c": 0.0}))
    warmth = [tank_after(tank, DAY_S / 2, every_s=60.0).look().temperature_c for _ in range(10)]
    assert warmth == pytest.approx([20.0] * 4 + [29.0] * 4 + [20.0] * 2, abs=0.02)


def test_somebody_pours_in_water_on_a_day() -> None:
    """Five litres on the second day, once, whatever the order in the file."""
    pours = [{"day": 2.0, "litres": 1.0}, {"day": 1.5, "litres": 5.0}]
    tank = Tank(TankSettings.model_validate({"pour": pours, "plants": 0, "evaporation_l_per_day": 0.0}))
    levels = [tank_after(tank, DAY_S, every_s=60.0).volume_l for _ in range(3)]
    assert levels == pytest.approx([60.0, 66.0, 66.0])


def test_after_harvest_nobody_drinks() -> None:
    """From that day on the level stands, with or without a growing crop."""
    for crop in (None, {"age_days": 30.0}):
        tank = Tank(TankSettings.model_validate({"harvest_day": 2.0, "evaporation_l_per_day": 0.0, "crop": crop}))
        tank_after(tank, 2 * DAY_S, every_s=60.0)
        level_l = tank.volume_l
        assert level_l < 59.0
        assert tank_after(tank, DAY_S, every_s=60.0).volume_l == level_l


def test_a_growing_crop_drinks_more_from_week_to_week() -> None:
    """What the level loses in the third week is several times that of the first; heads are told in grams."""
    tank = Tank(TankSettings.model_validate({"crop": {}, "evaporation_l_per_day": 0.0}))
    levels = [tank_after(tank, 7 * DAY_S, every_s=60.0).volume_l for _ in range(3)]
    assert levels[1] - levels[2] > 2.0 * (60.0 - levels[0])
    assert 60.0 < (tank.fresh_g_per_plant() or 0.0) < 120.0
    assert Tank(TankSettings()).fresh_g_per_plant() is None


SYSTEMS = st.one_of(
    st.builds(
        lambda bed, held, hours, rest: {
            "kind": "ebb_and_flow",
            "bed_l": held + bed,
            "held_l": held,
            "flood_at_h": sorted(hours),
            "mixing_time_at_rest_s": rest,
        },
        st.floats(0.1, 1.8),
        st.floats(0.1, 2.0),
        st.sets(st.sampled_from([0.5, 6.5, 12.0, 23.8]), max_size=4),
        st.one_of(st.none(), st.floats(1.0, 86400.0)),
    ),
    st.builds(
        lambda litres, flow, probes: {
            "kind": "film",
            "channel_l": litres,
            "flow_l_per_min": flow,
            "probes_in": probes,
        },
        st.floats(0.1, 50.0),
        st.floats(0.001, 1000.0),
        st.sampled_from(["reservoir", "bed"]),
    ),
    st.builds(lambda litres: {"kind": "deep_water", "bed_l": litres}, st.just(0.0) | st.floats(0.1, 50.0)),
    st.builds(
        lambda share, hours: {"kind": "still", "root_layer_share": share, "even_out_h": hours},
        st.floats(0.05, 0.9),
        st.floats(0.5, 2000.0),
    ),
)


TANKS = st.fixed_dictionaries(
    {
        "system": SYSTEMS,
        "volume_l": st.floats(2.0, 60.0),
        "plants": st.integers(0, 300),
        "recipe": st.sampled_from(["hoagland_1", "hoagland_2", "sonneveld_lettuce"]),
        "crop": st.sampled_from([None, {"age_days": 0.0}, {"age_days": 10.0}]),
        "start_ph": st.just(6.5),
    }
)


@settings(max_examples=25)
@given(told=TANKS, ml=st.floats(0.0, 200.0), drained_l=st.floats(0.0, 100.0))
def test_no_system_and_no_crop_breaks_the_water(told: dict[str, object], ml: float, drained_l: float) -> None:
    """Small tanks, huge crops, any dose and drain: nothing turns negative, and the water can be looked at."""
    tank = Tank(TankSettings.model_validate(told))
    for _ in range(2):
        tank.deliver("stock_b", ml)
        tank_after(tank, DAY_S / 8, every_s=600.0)
        tank.drain(drained_l)
    assert all(amount >= 0.0 for amount in tank.dissolved_mol().values())
    assert tank.volume_l >= 0.1 - 1e-9
    assert tank.bed_l >= 0.0
    assert 0.0 < tank.look().ph < 14.0
    assert tank.look().ec_ms_per_cm >= 0.0
