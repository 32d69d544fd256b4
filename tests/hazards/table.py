"""The hazards of unattended dosing, each with what stands in its way. `python -m tests.hazards` makes the page.

The tests of a hazard are those named by its number in this folder (a file `test_h05_...`, or a function of that
name); what a row lists are more of them elsewhere. Figures come from the tests (figures.json).
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Hazard:
    """One row. elsewhere: tests, `file` or `file::name`, below tests/. by_hand: what a person does with a meter.

    not_built: which part of it nothing stands in the way of yet. figure: measured elsewhere, with its command.
    """

    number: int
    what: str
    mechanism: str
    claim: str
    elsewhere: tuple[str, ...] = ()
    by_hand: str = ""
    not_built: str = ""
    figure: str = ""


SECTIONS = {
    "Too much delivered": range(1, 12),
    "Wrong substance": range(12, 16),
    "Bad measurement": range(16, 24),
    "Machine and storage": range(24, 31),
    "Network": range(31, 35),
    "Water and plants": range(35, 42),
    "The page": range(42, 43),
}

EFFECTS = "keeping/test_reservoir_effects.py"

HAZARDS: tuple[Hazard, ...] = (
    Hazard(
        number=1,
        what="A relay's contact welds or a transistor shorts: the pump never stops.",
        mechanism="pH moving far beyond what was dosed, or steadily with no dose, locks "
        "(daemon/dose/response.py); a line that cannot be driven low locks at once; with `[cut_out]` a relay in "
        "series with the supply of all pumps is on around each run and at no other time (drivers/keeper.py)",
        claim="locked within 3 min, no dose against it; with a cut-out, a welded pump gives no more than in the "
        "seconds of runs, its own and other pumps', and a lease; without one, what is in the bottle can run out",
        elsewhere=(
            f"{EFFECTS}::test_a_pump_that_goes_on_after_its_dose_locks_within_minutes",
            "dose/test_response.py::test_a_pump_stuck_on_is_found_though_no_reading_can_be_used",
            "test_loop.py::test_a_pump_line_that_cannot_be_driven_low_locks",
            "drivers/test_keeper.py::test_a_cut_out_is_on_around_each_run_and_at_no_other_time",
            "drivers/test_keeper_process.py::test_the_cut_out_goes_off_on_every_way_out",
            "keeping/test_pump_lines.py::test_a_start_writes_the_cut_out_last",
        ),
        by_hand="The cut-out relay: bridge a pump's driver, tube in a cup; nothing flows but while a run of any "
        "pump goes on, nor with the Pi off. Better still a hardware one-shot that cuts the pumps' supply: bridge "
        "the driver's output, look for the supply to drop within 2 s of the longest run. Without one, dilute "
        "until a whole bottle is survivable.",
        not_built="no current sense: a cut-out relay that has itself welded is not noticed",
    ),
    Hazard(
        number=2,
        what="The daemon is killed while a pump runs, and the kernel leaves the pin high.",
        mechanism="pump keeper in a process of its own (drivers/keeper_process.py), the unit's stop program "
        "(systemd/pumps-off), lines low before anything else at start; `keeping` is refused on a Pi where a "
        "barrier is missing (drivers/barriers.py)",
        claim="line low within 1 s of the daemon's death in each of 200 kills at any instant; the keeper's "
        "death is noticed within a pass, the line driven low, a dose charged in full, the reservoir locked",
        elsewhere=(
            "drivers/test_keeper_process.py::test_a_killed_parent_leaves_every_line_low",
            "drivers/test_keeper_process.py::test_a_killed_child_is_noticed_and_its_line_driven_low",
            "drivers/test_keeper_process.py::test_a_child_that_died_idle_is_found_and_replaced_between_runs",
            "test_loop.py::test_a_keeper_that_ended_between_doses_locks_within_a_pass",
            "test_service.py::test_every_pump_line_is_driven_low_before_the_first_look",
            "systemd/test_pumps_off.py",
            "drivers/test_barriers.py",
            "scenarios/test_killed.py",
        ),
        by_hand="On the Pi, meter on each pump line, tubes in a cup: boot, reboot, kill -9, SIGTERM, a pulled "
        "plug, 20 times each. Low within 1 s each time; at boot never above 0.8 V.",
    ),
    Hazard(
        number=3,
        what="A crash between pumping and recording: the same dose is given again.",
        mechanism="intent on disk before the pump turns; one without outcome is charged in full, with its "
        "waiting times (daemon/dose/ledger.py)",
        claim="killed at every step of a day, the ledger never says less than the tank got, no window over its "
        "cap",
        elsewhere=(
            "test_loop.py::test_an_intent_left_open_is_noted_and_counted_at_the_next_start",
            "dose/test_never_over_cap.py",
        ),
    ),
    Hazard(
        number=4,
        what="A dose is far too large: arithmetic, NaN, a sign, a gain.",
        mechanism="the smallest of all caps binds, comparisons fail on NaN (daemon/dose/permit.py); the keeper "
        "bounds each run again by its own constants (drivers/keeper.py)",
        claim="whatever is asked, no run is longer than its cap, nor than 30 s",
        elsewhere=(
            "dose/test_permit.py::test_whatever_comes_no_cap_is_passed",
            "drivers/test_keeper.py::test_no_time_asked_for_is_ever_too_long",
            "dose/test_control.py::test_whatever_the_readings_the_direction_is_right",
        ),
    ),
    Hazard(
        number=5,
        what="No dose shows, so it doses again and again: empty bottle, air, dead pump, stuck probe.",
        mechanism="each dose is held against the shift it should have made, less a drift that was seen in the "
        "last half hour only (daemon/dose/response.py); before the lock a quarter of an hour's rest with no "
        "dose, and a second look (daemon/dose/second_look.py)",
        claim="locked after 3 doses at most, none larger than the one before; where pH had just risen by a "
        "little water and doses come back to back, within an hour; half strength, or water buffered "
        "four times as well as the settings say and asked for in doses of 0.15 pH, is not taken for dead",
        elsewhere=(
            f"{EFFECTS}::test_doses_without_effect_lock_after_three",
            "dose/test_response.py::test_a_dead_pump_is_found_after_three_doses_at_most",
            "dose/test_response.py::test_a_dead_pump_is_found_though_a_little_water_had_come_in",
            "dose/test_response.py::test_a_pump_that_holds_against_a_steady_drift_is_not_taken_for_dead",
            "dose/test_response.py::test_a_working_pump_is_never_taken_for_dead",
            "dose/test_second_look.py::test_no_dead_pump_is_missed",
            "dose/test_second_look.py::test_buffering_that_misses_the_settings_is_no_dead_pump",
        ),
        not_built="where pH already falls by 0.3 an hour when the program starts, that passes for the effect of "
        "a dead acid pump: more than 3 doses, until the fall ends or the caps are reached",
    ),
    Hazard(
        number=6,
        what="The last dose has not mixed when the next is reckoned, and pH overshoots.",
        mechanism="three mixing times between doses (daemon/dose/permit.py), new readings after them and a "
        "third of the need at a time (daemon/dose/control.py)",
        claim="no more than 0.2 pH below the target, also where water mixes three times slower than believed",
        elsewhere=(
            "dose/test_control.py::test_waits_three_mixing_times_and_for_readings_in_which_the_dose_shows",
            f"{EFFECTS}::test_nothing_is_dosed_into_still_water",
        ),
    ),
    Hazard(
        number=7,
        what="Acid and base fight each other.",
        mechanism="dead band, turning round only where pH would stay off (daemon/dose/control.py), hours between "
        "opposites (daemon/dose/permit.py), a lock at the third turn of a day (daemon/dose/reversals.py), one "
        "pump at a time (drivers/keeper.py)",
        claim="never closer than 6 h, never both on, locked at the third turn within 24 h",
        elsewhere=(
            "drivers/test_keeper.py::test_never_two_lines_high",
            "dose/test_reversals.py::test_the_third_reversal_of_a_day_is_found",
            f"{EFFECTS}::test_acid_and_base_in_turns_lock",
        ),
    ),
    Hazard(
        number=8,
        what="Liquid runs through a pump that stands: a siphon, worn rollers, an open head.",
        mechanism="steady movement with no dose locks and says to close the bottle (daemon/dose/moved_alone.py); "
        "software cannot stop a siphon",
        claim="1 mL/min into 60 L is found within 10 min",
        elsewhere=(
            f"{EFFECTS}::test_a_siphon_locks_within_ten_minutes",
            "dose/test_response.py::test_a_slow_siphon_is_found_within_half_an_hour",
            "dose/test_response.py::test_water_by_itself_is_never_a_siphon",
            "keeping/test_feed.py::test_a_stock_that_runs_in_by_itself_locks",
        ),
        by_hand="Outlet above the water with an air gap, bottle below the outlet, check valve. Pump idle for "
        "24 h with its outlet in a measuring cylinder: at most 0.1 mL.",
    ),
    Hazard(
        number=9,
        what="The clock steps or the box restarts, and a window of a cap seems to be over.",
        mechanism="age counts only time that is proven: monotonic within a boot, wall time where both ends "
        "were synchronised (daemon/dose/windows.py)",
        claim="steps of 10 years and of 1 h either way, 100 restarts a day: no real hour or day over its cap",
        elsewhere=(
            "dose/test_windows.py",
            "test_loop.py::test_a_wall_clock_that_jumps_frees_no_allowance",
            "test_service.py::test_a_restart_loop_gives_no_fresh_allowance",
        ),
        figure="8 kinds of step and 2 x 100 restarts: 0 windows over a cap",
    ),
    Hazard(
        number=10,
        what="Two programs drive the same pumps.",
        mechanism="a lock on the state folder before any line is touched (daemon/lock.py); the kernel gives a "
        "line to one process only; a part of the need at a time bounds what two could add up to",
        claim="the second ends with an error before it touches a line, the first goes on unchanged",
        elsewhere=(
            "test_service.py::test_a_second_start_on_the_same_folder_touches_no_line",
            "test_lock.py",
            "scenarios/test_bad_input.py::test_a_second_daemon_on_the_same_state_folder",
        ),
    ),
    Hazard(
        number=11,
        what="A pump gives more per second than was measured: new tube, other voltage.",
        mechanism="doses that do much more than this tank showed before are halved and told "
        "(daemon/dose/response.py); a third of the need at a time; a measured rate is due again after 60 days "
        "and not dosed by beyond 90, nor once another tube is in (daemon/measure/rate.py, daemon/dose/permit.py)",
        claim="no more than 0.2 pH below the target at twice and four times the rate; no dose by a rate older "
        "than 90 days or of another tube; measured with a cylinder, it is right for the next dose",
        elsewhere=(
            f"{EFFECTS}::test_a_pump_that_became_twice_as_fast_calls_and_its_doses_are_halved",
            "dose/test_response.py::test_a_pump_twice_as_fast_is_found_and_its_steps_halved",
            "measure/test_rate.py::test_a_rate_grows_old",
            "dose/test_permit.py::test_no_dose_by_an_expired_rate",
            "keeping/test_rates.py::test_the_next_dose_is_as_long_as_the_new_rate_makes_it",
        ),
    ),
    Hazard(
        number=12,
        what="Bottles are swapped or refilled wrongly, tubes crossed.",
        mechanism="an effect of the wrong sign locks (daemon/dose/response.py)",
        claim="exactly one dose, at most a third of the need, then locked",
        elsewhere=(
            f"{EFFECTS}::test_swapped_bottles_lock_after_one_dose",
            "dose/test_response.py::test_only_a_clear_wrong_way_counts",
        ),
    ),
    Hazard(
        number=13,
        what="Two concentrates meet undiluted: calcium drops out with sulfate and phosphate.",
        mechanism="one pump at a time (drivers/keeper.py), three mixing times after any dose "
        "(daemon/dose/permit.py), a line of its own for each pump (config/plausible.py)",
        claim="in any order of any two bottles, never sooner than three mixing times",
        elsewhere=(
            "drivers/test_keeper.py::test_one_pump_at_a_time",
            "config/test_plausible.py::test_a_wire_used_twice_names_both_tables",
            "keeping/test_feed.py::test_no_two_doses_meet",
        ),
    ),
    Hazard(
        number=14,
        what="Acid meets a chlorine cleaner: toxic gas.",
        mechanism="the settings know no bottle for a cleaner (config/settings.py); `hold` before work at the "
        "tank",
        claim="no setting can name a pump for a cleaner",
        by_hand="Before cleaning: `evenwater hold`, acid bottles closed and out of the room, lines rinsed with "
        "water. Label every bottle. Never chlorine on a dosing line. Read the safety data sheets.",
        figure="5 names tried, 5 refused",
    ),
    Hazard(
        number=15,
        what="One of stock A and B is missing, so the solution goes out of balance.",
        mechanism="one stock without the other stops the start (config/plausible.py), A only where its B could "
        "follow (daemon/keeping/reservoir.py), the B that is owed by the ledger comes first "
        "(daemon/dose/strength.py), a stock without effect locks (daemon/dose/strength_response.py)",
        claim="A and B differ by one dose at most; three where B's bottle is empty and its pump seems to run",
        elsewhere=(
            "config/test_plausible.py::test_one_stock_without_the_other_is_refused",
            "keeping/test_feed.py::test_a_restart_between_the_halves_leaves_none_out",
            "keeping/test_feed.py::test_without_its_b_no_a_is_given",
            "dose/test_strength_response.py::test_a_stock_without_effect_is_found_after_three_doses_at_most",
        ),
    ),
    Hazard(
        number=16,
        what="A probe is unplugged or dry: its input floats, hums or rails.",
        mechanism="clipped, noisy or out of span is bad, and carries no dose (daemon/measure/judge.py)",
        claim="unknown within 3 looks, no dose on it",
        elsewhere=(
            "test_loop.py::test_an_unplugged_probe_stops_dosing_and_calls_then_all_is_well_again",
            "measure/test_judge.py::test_a_dry_probe_does_not_take_the_level_with_it",
        ),
    ),
    Hazard(
        number=17,
        what="A cracked bulb gives near 0 mV, which looks like pH 7; or a reading freezes.",
        mechanism="a sudden 0 mV is doubted for half an hour, a voltage that stands still is bad after it "
        "(daemon/measure/judge.py); one that stands still through a dose locks (daemon/dose/response.py)",
        claim="no dose in the half hour of doubt, 3 at most after it, then locked; frozen: 1 dose, then locked",
        elsewhere=(
            "measure/test_judge.py::test_an_input_at_rest_near_zero_is_not_taken_for_ph_seven",
            "measure/test_judge.py::test_a_voltage_that_does_not_move_for_half_an_hour_is_stuck",
            "dose/test_response.py::test_a_voltage_that_stands_still_through_a_dose_is_found_after_one",
            "dose/test_response.py::test_a_quiet_probe_is_not_stuck",
        ),
    ),
    Hazard(
        number=18,
        what="An old or coated electrode: flat and slow.",
        mechanism="slope and offset have limits (daemon/measure/calibrate.py); below 90 % of theory no dose "
        "rests on it (daemon/measure/judge.py); one that drifts is found by how far pH comes back by itself, "
        "against what it did before (daemon/dose/usual.py), and then only a measurement or a calibration opens "
        "that lock (daemon/desk/probes.py); a second probe disagrees with it (daemon/measure/vote.py), and while "
        "two agree pH may come back further, yet not any way",
        claim="refused outside 85 to 105 % and beyond 30 mV, exactly; shown but not dosed by below 90 %; a drift "
        "that asks for acid locks before pH is 0.7 off from the fourth day of the water on, 0.95 on the third, "
        "1.2 on the second, and one of 6 pH a day before 1.0 on the first; not cleared by a word, nor with a "
        "measured pH more than 0.3 from the reading; with a second probe no dose on a reading more than 0.5 off, "
        "from the first hour on; two that drift alike, by 0.25 pH an hour, lock before pH is 1.8 off",
        elsewhere=(
            "measure/test_vote.py::test_two_agree_only_where_both_are_believed_and_together",
            "dose/test_usual.py::test_two_that_agree_have_a_wider_margin_and_not_any",
            "desk/test_probes.py::test_a_word_alone_does_not_clear_a_doubt_of_the_probe",
            "desk/test_probes.py::test_the_probe_must_agree_with_what_was_measured",
            "measure/test_calibrate.py::test_slope_is_accepted_exactly_within_its_limits",
            "measure/test_calibrate.py::test_offset_is_accepted_exactly_within_its_limits",
            "measure/test_calibrate.py::test_a_restless_signal_is_refused",
        ),
        figure="89 %: 0 doses, 91 %: 1",
    ),
    Hazard(
        number=19,
        what="Calibrated in swapped, spoiled or mistaken buffers, in one alone, or too long ago.",
        mechanism="swapped buffers are refused and the old calibration stays, 6.86 taken for 7.00 is told by a "
        "third buffer or by the calibration before (daemon/measure/calibrate.py), a bottle is never guessed "
        "(daemon/measure/recognise.py), age warns and expires, no dose rests on one buffer "
        "(daemon/measure/judge.py)",
        claim="swapped buffers are always refused; what is odd is kept only by a person's word; no dose by one "
        "buffer, nor after 60 days",
        elsewhere=(
            "measure/test_calibrate.py::test_swapped_buffers_are_always_refused",
            "desk/test_probes.py::test_swapped_buffers_are_refused_and_the_old_calibration_stays",
            "measure/test_calibrate.py::test_a_mislabelled_neutral_buffer_is_named",
            "measure/test_recognise.py::test_the_true_buffer_is_always_among_them",
            "desk/test_probes.py::test_what_is_odd_is_kept_only_when_a_person_accepts_it",
            "desk/test_probes.py::test_a_stop_gap_shows_and_doses_nothing",
            "measure/test_book.py::test_a_disk_that_fails_at_any_step_loses_nothing",
        ),
        figure="59 days: doses, 61 days: none",
    ),
    Hazard(
        number=20,
        what="The converter saturates, has the wrong range or lost its reference.",
        mechanism="a code at either end is clipped, the range is read back; a known voltage at a spare input is "
        "measured at each pass before the probes (drivers/ads1115.py, drivers/reference.py)",
        claim="codes 32767 and -32768 carry no dose; with a reference wired and off by more than 1 %, no probe "
        "of that converter is used",
        elsewhere=(
            "drivers/test_ads1115.py::test_tells_clipping_at_either_end",
            "drivers/test_ads1115.py::test_a_brown_out_in_mid_conversion_is_no_zero_volts",
            "drivers/test_ads1115.py::test_a_reference_that_is_off_makes_every_probe_unknown",
            "drivers/test_ads1115.py::test_all_probes_of_a_pass_share_one_look_at_the_reference",
        ),
        by_hand="Without a known voltage at a spare input a drift shows only at the next calibration: wire one. "
        "With it: measure it with a meter at each calibration; pull its wire off, look for the alarm `converter` "
        "at the next pass.",
    ),
    Hazard(
        number=21,
        what="The bus hangs, a chip does not answer or a bit is stuck.",
        mechanism="every look is given up in time (drivers/ads1115.py), no answer is no reading "
        "(daemon/measure/judge.py), the watchdog hears of ended passes only (daemon/notify.py)",
        claim="no pass takes longer than 5 s, no dose meanwhile, and it comes back by itself",
        elsewhere=(
            "drivers/test_ads1115.py::test_a_conversion_that_never_ends_is_given_up",
            "drivers/test_ads1115.py::test_a_bus_that_another_holds_is_given_up",
            "keeping/test_reservoir.py::test_a_bus_that_hangs_stops_all_on_it_and_nothing_else",
        ),
    ),
    Hazard(
        number=22,
        what="The temperature is wrong, and so is what is compensated by it.",
        mechanism="span, rate and jump of temperature (daemon/measure/judge.py); without it pH goes on with "
        "the assumed one, EC does not (daemon/keeping/reservoir.py)",
        claim="10 °C moves pH by at most 0.06; EC is unknown without a thermometer",
        elsewhere=(
            f"{EFFECTS}::test_without_a_thermometer_ph_goes_on_and_ec_does_not",
            "measure/test_judge.py::test_a_temperature_ten_kelvin_off_is_bad_for_half_an_hour",
            "drivers/test_thermometers.py::test_a_broken_wire_or_a_short_circuit_is_no_temperature",
        ),
    ),
    Hazard(
        number=23,
        what="A single outlier, a bubble on the bulb.",
        mechanism="conversions that stick out left out (drivers/hum.py), the median of five readings "
        "(daemon/dose/control.py), a largest step and rate (daemon/measure/judge.py)",
        claim="one look in fifty off by up to 3 pH causes no dose",
        elsewhere=(
            "dose/test_control.py::test_never_asks_on_few_readings_or_outliers",
            "measure/test_judge.py::test_outliers_of_one_in_a_hundred_are_never_used",
        ),
    ),
    Hazard(
        number=24,
        what="The disk is full, fails, is remounted read-only, or the ledger is damaged.",
        mechanism="no run without a durable intent; a ledger that cannot be read counts as spent and locks "
        "(daemon/dose/ledger.py, daemon/dose/ledger_file.py)",
        claim="no pump second without a durable intent, whichever write fails; no fresh allowance from a "
        "spoiled file",
        elsewhere=(
            "test_loop.py::test_a_ledger_that_cannot_be_written_means_no_pump_edge",
            "dose/test_repair.py",
            "scenarios/test_trouble.py::test_a_full_disk",
            "scenarios/test_bad_input.py::test_a_corrupt_ledger",
        ),
    ),
    Hazard(
        number=25,
        what="Power is cut in mid-dose or in mid-write.",
        mechanism="the ledger is synced at each commit (daemon/dose/ledger_file.py), an open intent is charged "
        "in full (daemon/dose/ledger.py)",
        claim="whatever of the unsynced writes is left: it opens, and no window is over its cap",
        elsewhere=("hazards/test_h03_crash_grid.py",),
        by_hand="500 random cuts on a Pi with a scrap SD card, pumps in a cup: the ledger opens or caps count "
        "as spent, 0 over a cap (`evenwater audit` on the edges).",
        figure="the ends without power are counted with H3",
    ),
    Hazard(
        number=26,
        what="The loop hangs or its thread dies with a pump on.",
        mechanism="the keeper's short lease (drivers/keeper.py); the watchdog is fed by ended passes only "
        "(daemon/notify.py, systemd/evenwater.service: 30 s, then the stop program and a restart)",
        claim="a pass that hangs anywhere gives no sign of life; pump off when its lease lapses",
        elsewhere=(
            "drivers/test_keeper_process.py::test_silence_turns_off",
            "drivers/test_keeper_process.py::test_a_hung_child_is_noticed_and_replaced",
            "systemd/test_unit.py::test_the_watchdog_outlasts_three_passes_of_the_default",
        ),
        by_hand="On the Pi in mid-dose, meter on the line: `kill -STOP` the daemon. Low within 2 s, restarted "
        "within 45 s.",
    ),
    Hazard(
        number=27,
        what="A slip in the settings: mL for L, seconds for minutes, pins swapped.",
        mechanism="units in keys, bounds on each number, unknown keys refused (config/settings.py), what "
        "contradicts itself refused (config/plausible.py); a calibration made behind another wiring does not "
        "count (daemon/keeping/instruments.py); a number that doses rest on, more than 3 times as much or as "
        "little as at the last run, only watches until a person clears it (daemon/altered.py, daemon/runs.py)",
        claim="every number times or by 1000, negated, NaN, infinite, null, text: refused, or no dose larger",
        elsewhere=(
            "test_altered.py",
            "test_runs.py::test_settings_far_from_those_of_the_last_run_only_watch",
            "config/test_load.py::test_a_number_off_by_a_unit_is_refused",
            "config/test_plausible.py::test_what_passes_is_within_every_built_in_limit",
        ),
    ),
    Hazard(
        number=28,
        what="An update changes behaviour.",
        mechanism="the first hour of another version only watches (daemon/runs.py); holds, locks and doses of "
        "the version before stay in force (daemon/dose/ledger.py)",
        claim="no dose in the first hour, nothing forgotten",
        elsewhere=(
            f"{EFFECTS}::test_a_new_version_only_watches_for_an_hour",
            "test_runs.py::test_a_new_version_watches_for_an_hour",
            "systemd/test_install.py::test_an_upgrade_keeps_settings_and_state",
        ),
    ),
    Hazard(
        number=29,
        what="pH and EC probes disturb each other through the water.",
        mechanism="EC is looked at last in a pass; with `excitation_line` its current flows only meanwhile "
        "(drivers/excitation.py); else boards with isolated inputs",
        claim="pH differs by at most 0.02 with the EC probe in the water and out of it",
        elsewhere=(
            "drivers/test_excitation.py::test_is_off_before_and_after_each_look_and_on_during_it",
            "drivers/test_excitation.py::test_is_off_after_a_look_that_failed",
        ),
        by_hand="Both probes in one beaker of pH 7 buffer, note pH for 5 min (`evenwater status`); take the EC "
        "probe out, 5 min more. More than 0.02 apart: switch the EC board's current by `excitation_line`, or an "
        "isolated board for one of them.",
    ),
    Hazard(
        number=30,
        what="Pump noise or a shared supply shows in the readings.",
        mechanism="one thread looks, then doses: no probe is read while a pump turns, nor until 5 s after it "
        "(daemon/loop.py)",
        claim="no conversion with a pump on, nor within 5 s after it",
        by_hand="Pump with its tube in a cup of its own, running by hand: pH moves by at most 0.02. Else a "
        "supply of their own for pumps.",
    ),
    Hazard(
        number=31,
        what="No broker, no name service, an expired certificate, a clock that is wrong, a cut cable.",
        mechanism="publishing never waits and keeps the newest snapshot only (daemon/link/mqtt.py); an alarm "
        "after five minutes (daemon/alarm/table.py) that says what to do (daemon/link/trust.py); another thirty "
        "days before the broker's certificate ends (daemon/link/causes.py)",
        claim="the same doses at the same moments with and without a broker for three days; memory grows by 5 MB "
        "at most",
        elsewhere=(
            "link/test_mqtt.py::test_publishing_does_not_wait_for_an_absent_broker",
            "link/test_mqtt.py::test_publishing_does_not_wait_for_a_frozen_broker",
            "test_service.py::test_no_broker_is_told_after_five_minutes_and_stops_no_dose",
            "scenarios/test_mqtt.py::test_no_broker_for_the_whole_run",
            "link/test_trust.py::test_a_broker_that_cannot_be_verified_gets_no_word_until_it_is_put_right",
            "link/test_cut_link.py::test_a_cut_link_is_noticed_told_and_outlived",
            "link/test_two_boxes.py::test_beside_a_twin_it_doses_as_it_would_alone",
            "link/test_causes.py",
        ),
        not_built="no warning before the box's own certificate ends",
    ),
    Hazard(
        number=32,
        what="A command is retained, repeated, delayed, forged, or comes in floods.",
        mechanism="anyone may pause; silencing takes the nonce of just now and a new id, releasing also the "
        "signature of a controller that the settings name, and nothing else can be asked for "
        "(daemon/link/gate.py); what makes it dose again needs a person at the tank (daemon/desk/methods.py)",
        claim="no request from afar moves a pump or ends a lock",
        elsewhere=(
            "link/test_mqtt.py::test_a_retained_hold_is_ignored_live_and_after_a_restart",
            "link/test_mqtt.py::test_a_hold_sent_while_the_device_was_away_does_not_arrive_later",
            "link/test_mqtt.py::test_a_flood_of_holds_is_one_request",
            "desk/test_methods.py::test_from_afar_nothing_can_make_it_dose_more",
            "link/test_gate.py",
            "link/test_mqtt.py::test_after_a_flood_a_valid_command_still_works",
            "link/test_mqtt.py::test_release_needs_the_signature_of_a_named_controller",
        ),
        not_built="who may write to the broker may pause dosing: that is the safe direction",
        figure="each request 100 times: 0 s of pumping",
    ),
    Hazard(
        number=33,
        what="An alarm never reaches a person.",
        mechanism="alarms stand in every snapshot and at the box (`evenwater alarms`), kept through restarts "
        "(daemon/alarm/life_file.py); a refused alert is told, the broker must take a test alert each day, "
        "a grave one unheard goes out again each hour (daemon/link/session.py); a lamp or buzzer at the box "
        "(drivers/signal_light.py); a watcher elsewhere (daemon/link/fleet.py), other services "
        "(daemon/ways/herald.py); a high alarm that nobody acknowledged for 24 h, restarts or not, locks "
        "(daemon/loop.py)",
        claim="a safety stop is there in the same pass and after a restart; silencing it frees nothing",
        elsewhere=(
            "link/test_mqtt.py::test_an_alert_that_the_broker_does_not_allow_is_told",
            "alarm/test_life.py",
            "alarm/test_life_file.py",
            "link/test_mqtt.py::test_the_way_is_tested_by_an_alert_that_the_broker_takes",
            "link/test_mqtt.py::test_a_grave_alert_that_nobody_heard_is_sent_again",
            "link/test_fleet.py",
            "test_service.py::test_a_lamp_is_on_while_a_grave_alarm_is_unheard",
            "ways/test_out.py::test_a_service_that_hangs_delays_no_pass_and_is_told",
        ),
        not_built="whether a phone shows what the broker took nobody can test from here",
    ),
    Hazard(
        number=34,
        what="Weak or shared passwords, open ports, unsafe defaults.",
        mechanism="no listening port, a control socket for owner and group only (daemon/link/control.py); the "
        "password, a certificate's key and other services' addresses from credentials, never a default and never "
        "shown (daemon/link/trust.py, daemon/ways/addresses.py); a broker for the box with users within their "
        "rights, proven (daemon/broker/prove.py)",
        claim="0 ports; a start without its password or key fails, with every pump line low",
        elsewhere=(
            "link/test_control.py::test_the_socket_is_for_owner_and_group",
            "link/test_trust.py::test_without_its_password_the_link_fails_closed",
            "link/test_trust.py::test_the_server_is_always_checked",
            "ways/test_addresses.py",
            "broker/test_prove.py",
        ),
        not_built="TLS is used only where the settings name the broker's certificate; without, a warning",
    ),
    Hazard(
        number=35,
        what="Less water: the same mL is too much, probe and pump run dry.",
        mechanism="doses shrink with the measured level, none below 30 % or where it is unknown "
        "(daemon/dose/permit.py)",
        claim="per litre never more than in the full reservoir, half of that below 50 %",
        elsewhere=(
            f"{EFFECTS}::test_a_dose_is_scaled_to_the_water_that_is_there",
            "dose/test_permit.py::test_a_dose_is_scaled_to_the_measured_water",
            "test_loop.py::test_low_water_stops_dosing",
        ),
    ),
    Hazard(
        number=36,
        what="A leak, a tube that came off, a flood.",
        mechanism="a wet tray locks (daemon/keeping/reservoir.py), a level that falls faster than plants drink "
        "locks (daemon/dose/level.py), low water stops dosing and calls (daemon/dose/permit.py)",
        claim="wet tray: locked at the second look; 0.5 L/h out of 60 L: locked within the hour, and where beds "
        "are flooded within an hour and the longest flood; no dose below 30 %",
        elsewhere=(
            f"{EFFECTS}::test_a_wet_tray_locks",
            "dose/test_level.py::test_a_leak_is_told_within_the_hour",
            "dose/test_level.py::test_drinking_is_no_leak",
        ),
        by_hand="Pour a cup of water into the tray: locked within two passes.",
    ),
    Hazard(
        number=37,
        what="A bottle runs empty and the pump draws air; a tube wears.",
        mechanism="what was delivered since the last refill, in the ledger (daemon/dose/ledger.py): warned at "
        "20 %, stopped at 5 % (daemon/dose/permit.py); likewise the seconds that a tube has run, told at "
        "its maker's hours",
        claim="stopped at 5 %, also after a restart, until a person at the tank says that it is full; "
        "no priming from afar; a tube's hours told also after a restart, a new one not dosed with unmeasured",
        elsewhere=(
            "desk/test_pumps.py::test_priming_is_for_people_at_the_tank",
            "keeping/test_reservoir.py::test_a_bottle_runs_low_then_empty_then_is_refilled",
            "desk/test_pumps.py::test_a_refilled_bottle_counts_from_full",
            "keeping/test_rates.py::test_a_new_tube_is_not_dosed_with_until_it_is_measured",
        ),
        by_hand="Replace each tube at its maker's hours (`tube_hours`), tell it with `evenwater tube`, then "
        "measure mL per second again: `evenwater calibrate pump`.",
    ),
    Hazard(
        number=38,
        what="An outlet blocks: the tube bursts at the pump, acid sprays.",
        mechanism="short runs, locked where no dose shows (daemon/dose/response.py)",
        claim="3 runs against it at most",
        elsewhere=("dose/test_response.py::test_a_pump_that_dies_later_is_found_as_soon",),
        by_hand="Shield over the pump heads, tray below heads and bottles with a water sensor "
        "(`[reservoir.NAME.tray]`). Goggles and gloves when a tube is opened.",
    ),
    Hazard(
        number=39,
        what="Water is being added, or has just been: diluted, unmixed, another volume.",
        mechanism="three mixing times after each rise of the level (daemon/dose/inflow.py, "
        "daemon/dose/permit.py)",
        claim="no dose for three mixing times after a rise of 3 % or more, whenever it comes",
        elsewhere=(
            f"{EFFECTS}::test_after_a_refill_nothing_is_dosed_for_three_mixing_times",
            "dose/test_inflow.py",
        ),
        by_hand="A refill valve needs its own high-level cut-out and, on a drinking-water line, an air gap or "
        "backflow preventer: local codes decide.",
    ),
    Hazard(
        number=40,
        what="A person doses by hand at the same time.",
        mechanism="a step of pH with no dose: hands off for three mixing times (daemon/dose/response.py, "
        "daemon/dose/permit.py); `evenwater poured` puts it into the ledger, with the waits of a dose "
        "(daemon/desk/pumps.py)",
        claim="no dose until the hand's has mixed, no lock, and it is told; one that is told counts against the "
        "caps, keeps the hours between acid and base, and is not taken for pH that moves by itself",
        elsewhere=(
            f"{EFFECTS}::test_a_dose_by_hand_means_hands_off_and_no_lock",
            "dose/test_response.py::test_a_hand_dose_is_a_step_and_never_latches",
            "desk/test_pumps.py::test_what_was_poured_counts_as_a_dose",
            "desk/test_pumps.py::test_whatever_was_poured_is_waited_for",
            "cli/test_poured.py",
        ),
    ),
    Hazard(
        number=41,
        what="pH or EC leave what the crop bears while nothing corrects them.",
        mechanism="alarms with delay (daemon/alarm/table.py), never a rescue dose (daemon/dose/permit.py)",
        claim="a person is called, nothing is dosed",
        elsewhere=(
            "keeping/test_reservoir.py::test_water_far_out_of_its_band_is_a_grave_alarm",
            "dose/test_permit.py::test_only_a_keeping_reservoir_is_dosed",
        ),
    ),
    Hazard(
        number=42,
        what="The page is flooded, crashes, or takes a stranger, a guest or another web site for the grower.",
        mechanism="a process and an account of its own that knows the control socket alone, with fewer shares of "
        "the processor than the daemon (systemd/evenwater-page.service); bounded connections and patience "
        "(daemon/page/server.py), four questions at once (daemon/page/glimpse.py); on loopback unless there are "
        "a password and TLS (daemon/page/place.py); what may make it dose is for the holder of the password, "
        "given again in the same form, and meets every cap as a person at the tank does (daemon/page/app.py, "
        "daemon/page/acts.py)",
        claim="the same doses at the same moments beside a page that is flooded and killed as without one; no "
        "form that lacks its session, its token, this page's name or the holder's password makes it dose",
        elsewhere=(
            "page/test_server.py::test_a_request_that_does_not_arrive_ends",
            "page/test_server.py::test_more_connections_than_there_is_room_for_are_told",
            "page/test_app.py::test_what_may_make_it_dose_is_refused_without_the_holders_password",
            "page/test_app.py::test_a_tube_is_filled_under_the_caps_alone",
            "page/test_by_hand.py::test_it_is_told_by_the_password_alone",
            "page/test_new_water.py::test_the_word_for_it_is_a_tick_and_the_password",
            "page/test_measuring.py::test_each_run_asks_for_the_password_and_a_cylinder",
            "page/test_measuring.py::test_the_same_form_sent_twice_is_no_second_run",
            "page/test_app.py::test_too_many_wrong_ones_have_to_wait",
            "page/test_place.py::test_the_network_needs_a_password",
            "page/test_http.py",
        ),
        not_built="whoever sits at the box may pause dosing while no password is set: that is the safe direction",
    ),
)
