"""What stands between a wrong reading and a dose: judge, convert, calibrate, settling, the book, the converter."""

# ruff: noqa: E501 - the code as it stands, in one piece

from __future__ import annotations

from daemon.measure.calibrate import FitReason
from daemon.values import VerdictReason
from tests.mutants.mutant import mutants_of

VOTE = mutants_of(
    "daemon/measure/vote.py",
    "tests/measure/test_vote.py",
    (
        (
            "vote never apart",
            "together=off <= most)",
            "together=True)",
            "test_how_far_apart_they_may_be",
            (VerdictReason.DISAGREE,),
        ),
        (
            "vote open to NaN",
            "together=off <= most)",
            "together=not off > most)",
            "test_how_far_apart_they_may_be",
        ),
        (
            "vote together at one look",
            "apart.agreed + 1 >= TOGETHER_AGAIN",
            "True",
            "test_disagreement_is_uncertain_then_bad_and_over_after_some_looks",
        ),
        (
            "vote out of a disagreement",
            "(one if apart.since_s is None else _disagree(one, apart.since_s, now_s))",
            "one",
            "test_one_that_goes_out_while_they_disagree_leaves_nobody_to_believe",
        ),
        (
            "vote for the one that is out",
            "(first, second) if first.usable else (second, first)",
            "(second, first)",
            "test_where_one_is_out_the_other_goes_on_alone",
            (VerdictReason.ONE_LEFT,),
        ),
        (
            "vote while one is in a standard",
            "if calibrating is not None:",
            "if False:",
            "test_one_in_a_standard_says_nothing_of_the_water",
        ),
        (
            "vote one that is left agrees with nobody",
            "return both.usable and both.reason is not VerdictReason.ONE_LEFT",
            "return both.usable",
            "test_two_agree_only_where_both_are_believed_and_together",
        ),
        (
            "vote two apart do not agree",
            "return both.usable and both.reason is not VerdictReason.ONE_LEFT",
            "return both.reason is not VerdictReason.ONE_LEFT",
            "test_two_agree_only_where_both_are_believed_and_together",
        ),
    ),
)

PLUGS = mutants_of(
    "daemon/measure/plugs.py",
    "tests/measure/test_plugs.py",
    (
        (
            "plugs exchanged",
            "return self.crossed >= LOOKS",
            "return False",
            "test_each_shows_what_the_other_showed",
        ),
        (
            "plugs of inputs near each other",
            "    if not abs(before[0] - before[1]) > APART_V:\n        return False\n",
            "",
            "test_inputs_near_each_other_tell_nothing",
        ),
    ),
)

JUDGE = mutants_of(
    "daemon/measure/judge.py",
    "tests/measure/test_judge.py",
    (
        (
            "judge no reading",
            "return shown or _Finding(Quality.BAD, look.reason, look.numbers)",
            "return _FINE",
            "test_no_reading_is_bad_for_its_own_reason",
            (VerdictReason.NO_ANSWER,),
        ),
        (
            "judge stale",
            "if not (_EARLIEST_S <= age_s <= limits.stale_s):",
            "if False:",
            "test_an_old_sample_is_stale",
            (VerdictReason.STALE,),
        ),
        (
            "judge stale open to NaN",
            "if not (_EARLIEST_S <= age_s <= limits.stale_s):",
            "if age_s > limits.stale_s:",
            "test_an_old_sample_is_stale test_a_reading_that_lacks_something_is_bad",
        ),
        (
            "judge clipped",
            "if sample.clipped:",
            "if False:",
            "test_a_bad_sample_makes_a_bad_verdict_and_keeps_the_value",
            (VerdictReason.CLIPPED,),
        ),
        (
            "judge noisy",
            "if sample.spread_v is not None and not (0.0 <= sample.spread_v <= limits.max_spread_v):",
            "if False:",
            "test_a_bad_sample_makes_a_bad_verdict_and_keeps_the_value",
            (VerdictReason.NOISY,),
        ),
        (
            "judge noisy open to NaN",
            "not (0.0 <= sample.spread_v <= limits.max_spread_v):",
            "sample.spread_v > limits.max_spread_v:",
            "test_a_bad_sample_makes_a_bad_verdict_and_keeps_the_value",
        ),
        (
            "judge out of span",
            "if not (limits.lowest <= reading.value <= limits.highest and _all_finite(sample)):",
            "if not _all_finite(sample):",
            "test_both_ends_of_the_span_belong_to_it",
            (VerdictReason.OUT_OF_SPAN,),
        ),
        (
            "judge volts of no number",
            "<= limits.highest and _all_finite(sample)):",
            "<= limits.highest):",
            "test_a_bad_sample_makes_a_bad_verdict_and_keeps_the_value",
        ),
        (
            "judge not calibrated on any day",
            "    if age_days is None:\n        return _bad(VerdictReason.NOT_CALIBRATED)\n",
            "    if age_days is None:\n        return None\n",
            "test_a_reading_that_lacks_something_is_bad",
            (VerdictReason.NOT_CALIBRATED,),
        ),
        (
            "judge no temperature",
            "if reading.temperature_c is None or not isfinite(reading.temperature_c):",
            "if False:",
            "test_a_reading_that_lacks_something_is_bad",
            (VerdictReason.NO_TEMPERATURE,),
        ),
        (
            "judge stuck",
            "finding = _alone(look, limits, now_s) or _stuck(look.sample, still, limits)",
            "finding = _alone(look, limits, now_s)",
            "test_a_voltage_that_does_not_move_for_half_an_hour_is_stuck",
            (VerdictReason.STUCK,),
        ),
        (
            "judge a bare signal without a temperature",
            "if look.reason is VerdictReason.NO_TEMPERATURE and look.sample is not None:",
            "if False:",
            "test_without_a_temperature_the_bare_signal_still_tells",
        ),
        (
            "judge unlike this water",
            "        finding = unusual or finding\n",
            "        finding = finding\n",
            "test_a_move_that_this_water_never_made_is_uncertain",
            (VerdictReason.UNUSUAL,),
        ),
        (
            "judge a value that stands for a day",
            "Quality.BAD if in_no_water else Quality.UNCERTAIN, VerdictReason.STUCK",
            "Quality.UNCERTAIN, VerdictReason.STUCK",
            "test_a_value_of_no_voltage_that_stands_for_a_day_is_stuck",
        ),
        (
            "judge bad looks teach nothing",
            "(finding is None or _carries_a_dose(finding)):",
            "(finding is None or finding.quality is Quality.UNCERTAIN):",
            "test_a_bad_look_and_a_warm_up_teach_nothing",
        ),
        (
            "judge stuck within one code",
            "still_v=0.000130,",
            "",
            "test_one_code_to_and_fro_is_still_stuck",
        ),
        (
            "judge jumped",
            "    return history.trusted, trial, _jumped(reading, level, steady_s, limits)",
            "    return trial, None, None",
            "test_one_pass_may_move_ph_by_a_fifth",
            (VerdictReason.JUMPED,),
        ),
        (
            "judge a step faster than water",
            "if abs(value - level.value) <= limits.step + reach and abs(value",
            "if abs(value",
            "test_one_pass_may_move_ph_by_a_fifth",
        ),
        (
            "judge a creep faster than water",
            " and abs(value - slowed) <= limits.swing:",
            ":",
            "test_a_creep_faster_than_water_is_found",
        ),
        (
            "judge a long silence",
            "gap_s = min(max(reading.at_s - level.at_s, 0.0), _LONGEST_GAP_S)",
            "gap_s = max(reading.at_s - level.at_s, 0.0)",
            "test_a_long_silence_does_not_make_a_jump_plausible",
        ),
        (
            "judge a new level must hold",
            "if steady_s >= _hold_off_s(reading, limits):",
            "if True:",
            "test_one_pass_may_move_ph_by_a_fifth",
        ),
        (
            "judge an unplugged probe is not pH seven",
            "return limits.no_probe_hold_s if _like_no_probe(reading, limits) else limits.hold_off_s",
            "return limits.hold_off_s",
            "test_an_input_at_rest_near_zero_is_not_taken_for_ph_seven "
            "test_hum_that_falls_silent_near_zero_is_not_taken_for_ph_seven",
        ),
        (
            "judge a bad look throws back to the trusted level",
            "level, new_level = history.trusted or history.level, None",
            "level, new_level = history.level, None",
            "test_a_dry_probe_does_not_take_the_level_with_it",
        ),
        (
            "judge warming up",
            "return _warming_up(fine, limits) if fine < limits.samples_needed else old",
            "return old",
            "test_warming_up_tells_how_far_it_is",
            (VerdictReason.WARMING_UP,),
        ),
        (
            "judge one sample counts once",
            "return history.fine_in_a_row if again else history.fine_in_a_row + 1",
            "return history.fine_in_a_row + 1",
            "test_the_same_sample_twice_counts_once",
        ),
        (
            "judge a bad look begins the warm-up again",
            "fine = _fine_in_a_row(look, history) if finding is None else 0",
            "fine = _fine_in_a_row(look, history) if finding is None else history.fine_in_a_row",
            "test_no_reading_is_bad_for_its_own_reason",
        ),
        (
            "judge calibration expired",
            "quality = Quality.UNCERTAIN if age_days <= expire_days else Quality.BAD",
            "quality = Quality.UNCERTAIN",
            "test_a_calibration_ages",
            (VerdictReason.CALIBRATION_OLD,),
        ),
        (
            "judge a calibration of the future",
            "if _EARLIEST_DAYS <= age_days <= limits.warn_days and",
            "if age_days <= limits.warn_days and",
            "test_a_calibration_ages",
        ),
        (
            "judge a stop-gap carries no dose",
            "    if reading.stop_gap:\n        return _Finding(Quality.UNCERTAIN",
            "    if False:\n        return _Finding(Quality.UNCERTAIN",
            "test_no_dose_rests_on_a_stop_gap tests/desk/test_probes.py::test_a_stop_gap_shows_and_doses_nothing",
            (VerdictReason.STOP_GAP,),
        ),
        (
            "judge a stop-gap is void after a week",
            "expire_days = min(limits.expire_days, STOP_GAP_DAYS) if reading.stop_gap else limits.expire_days",
            "expire_days = limits.expire_days",
            "test_no_dose_rests_on_a_stop_gap",
        ),
        (
            "judge probe worn",
            "if slope_percent is not None and not (slope_percent >= limits.least_slope_percent):",
            "if False:",
            "test_no_dose_rests_on_a_worn_electrode",
            (VerdictReason.PROBE_WORN,),
        ),
    ),
)

VALUES = mutants_of(
    "daemon/values.py",
    "tests/measure/test_judge.py",
    (
        (
            "verdict uncertain carries no dose",
            "and self.reason in (VerdictReason.CALIBRATION_OLD, VerdictReason.ONE_LEFT)",
            "",
            "test_no_dose_rests_on_a_worn_electrode",
        ),
        (
            "verdict bad carries no dose",
            "return self.quality is Quality.GOOD or (",
            "return self.quality is Quality.BAD or self.quality is Quality.GOOD or (",
            "test_nothing_that_is_no_number_is_ever_good tests/dose/test_permit.py::test_no_dose_without_a_usable_verdict",
        ),
    ),
)

NORMAL_FILE = mutants_of(
    "daemon/measure/normal_file.py",
    "tests/measure/test_normal_file.py",
    (
        (
            "normal_file only what can have been learned",
            "if not (isfinite(number) and number >= 0.0):",
            "if False:",
            "test_a_damaged_file_is_left_with_a_note",
        ),
    ),
)

NORMAL = mutants_of(
    "daemon/measure/normal.py",
    "tests/measure/test_normal.py",
    (
        (
            "normal a move as never before",
            "    if not abs(move) <= allowed + _ROUNDING:\n",
            "    if False:\n",
            "test_what_calm_water_never_did_is_found_at_once",
        ),
        (
            "normal three times the largest",
            "    return TIMES * wider * max(",
            "    return 2.0 * TIMES * wider * max(",
            "test_allowed_is_a_multiple_of_the_largest_seen",
        ),
        (
            "normal doubts widen to twice at most",
            "wider = min(MOST_WIDER, 1.0 + WIDER_PER_DOUBT * normal.doubts)",
            "wider = 1.0 + WIDER_PER_DOUBT * normal.doubts",
            "test_each_doubt_widens_what_is_allowed_for_weeks_but_never_beyond_twice",
        ),
        (
            "normal each way by itself",
            "largest = max(normal.largest) if way is Way.BACK else normal.largest[way]",
            "largest = max(normal.largest)",
            "test_water_that_jumps_every_day_teaches_its_jumps_but_not_their_opposite",
        ),
        (
            "normal a level on trial must live",
            "HOLD_S and value != trial.first):",
            "HOLD_S):",
            "test_an_unusual_level_that_stands_still_is_never_believed",
        ),
        (
            "normal a level on trial must hold",
            "if not (at_s - trial.since_s >= HOLD_S and value",
            "if not (value",
            "test_an_unusual_level_that_holds_and_lives_becomes_usual",
        ),
        (
            "normal stood longer than ever",
            "    if (still := _stood_too_long(normal, bounds)) is not None:\n",
            "    if (still := _stood_too_long(normal, bounds)) is not None and False:\n",
            "test_a_value_that_stands_longer_than_ever_is_found test_a_day_without_change_is_unusual_in_any_water",
        ),
        (
            "normal a doubt that stands does not widen",
            "unseen_s = after_s if normal.trial is None else normal.trial.since_s - kept.at_s",
            "unseen_s = after_s",
            "test_each_doubt_widens_what_is_allowed_for_weeks_but_never_beyond_twice",
        ),
        (
            "normal what is learned counts later",
            "if normal.untaught_s >= TAUGHT_AFTER_S else normal",
            "if normal.untaught_s >= 0.0 else normal",
            "test_a_fault_that_begins_slowly_does_not_teach_its_own_pace",
        ),
        (
            "normal what was seen fades",
            "fade = 0.5 ** (watched_s / HALF_LIFE_S)",
            "fade = 1.0",
            "test_what_was_seen_fades_by_half_in_two_weeks",
        ),
        (
            "normal a break teaches nothing",
            "    teaches = after_s <= BREAK_S\n",
            "    teaches = True\n",
            "test_a_break_allows_more_and_teaches_nothing",
        ),
        (
            "normal other water teaches nothing",
            "way if teaches and not by.other_water else None)",
            "way if teaches else None)",
            "test_other_water_allows_more_for_an_hour_and_teaches_nothing",
        ),
    ),
)

SAYS_WHY = "test_what_cannot_be_converted_says_why"

CONVERT = mutants_of(
    "daemon/measure/convert.py",
    "tests/measure/test_convert.py",
    (
        (
            "convert a temperature that is none",
            "if temperature_c is None or not math.isfinite(temperature_c):\n        return VerdictReason.NO_TEMPERATURE",
            "if temperature_c is None or not math.isfinite(temperature_c):\n        return 25.0",
            SAYS_WHY,
        ),
        (
            "convert a temperature beyond the range",
            "return temperature_c if low_c <= temperature_c <= high_c else VerdictReason.OUT_OF_SPAN",
            "return temperature_c",
            f"{SAYS_WHY} test_a_temperature_beyond_the_range_is_told_with_the_range",
        ),
        (
            "convert no number",
            "return value if math.isfinite(value) else VerdictReason.OUT_OF_SPAN",
            "return value",
            f"{SAYS_WHY} test_a_signal_that_is_no_number_is_not_read",
        ),
        (
            "convert a coefficient that could lose its sign",
            "if percent is not None and not (0.0 <= percent <= LARGEST_PERCENT_PER_K):",
            "if False:",
            "test_a_linear_coefficient_has_limits",
        ),
    ),
)

CALIBRATE = mutants_of(
    "daemon/measure/calibrate.py",
    "tests/measure/test_calibrate.py",
    (
        (
            "calibrate number of points",
            "if not (fewest <= len(points) <= most):",
            "if not len(points) >= fewest:",
            "test_ph_takes_two_or_three_points test_ec_takes_one_or_two_points",
            (FitReason.POINT_COUNT,),
        ),
        (
            "calibrate no number",
            "if not all(math.isfinite(n) for p in points for n in (p.reference, p.signal, p.spread, p.temperature_c)):",
            "if False:",
            "test_a_point_that_is_no_number_is_refused",
            (FitReason.NOT_A_NUMBER,),
        ),
        (
            "calibrate same pH buffer",
            "        yield FitReason.SAME_STANDARD, {}\n        return\n    references = sorted(p.reference for p in points)",
            "        pass\n    references = sorted(p.reference for p in points)",
            "test_the_same_buffer_twice_is_refused",
            (FitReason.SAME_STANDARD,),
        ),
        (
            "calibrate pH buffers too close",
            "if not (round(apart, _DECIMALS) >= CLOSEST_PH):",
            "if False:",
            "test_buffers_must_lie_two_ph_apart",
            (FitReason.TOO_CLOSE,),
        ),
        (
            "calibrate unstable",
            "if not (0.0 <= point.spread <= most):",
            "if False:",
            "test_a_restless_signal_is_refused test_a_restless_cell_is_refused",
            (FitReason.UNSTABLE,),
        ),
        (
            "calibrate temperatures differ",
            "if not (apart_k <= TEMPERATURE_STEP_K):",
            "if False:",
            "test_buffers_must_be_equally_warm",
            (FitReason.TEMPERATURES_DIFFER,),
        ),
        (
            "calibrate temperature range",
            "if not (lowest_c <= point.temperature_c <= highest_c):",
            "if False:",
            "test_buffers_must_be_neither_cold_nor_hot",
            (FitReason.TEMPERATURE_RANGE,),
        ),
        (
            "calibrate no response in pH",
            "    if abs(slope_percent) < NO_RESPONSE_PERCENT:\n        yield FitReason.NO_RESPONSE, {}\n    elif _rises",
            "    if _rises",
            "test_the_same_cup_twice_is_no_response",
            (FitReason.NO_RESPONSE,),
        ),
        (
            "calibrate swapped buffers",
            "    elif _rises_with_ph(points):\n        yield FitReason.SWAPPED, {}\n",
            "",
            "test_swapped_buffers_are_always_refused test_three_buffers_in_any_wrong_order_are_refused",
            (FitReason.SWAPPED,),
        ),
        (
            "calibrate slope low",
            "elif not (slope_percent >= lowest):",
            "elif False:",
            "test_slope_is_accepted_exactly_within_its_limits",
            (FitReason.SLOPE_LOW,),
        ),
        (
            "calibrate slope high",
            "elif not (slope_percent <= highest):",
            "elif False:",
            "test_slope_is_accepted_exactly_within_its_limits",
            (FitReason.SLOPE_HIGH,),
        ),
        (
            "calibrate slope worn",
            "if slope_percent < SLOPE_WORN_BELOW_PERCENT:",
            "if False:",
            "test_a_worn_electrode_is_accepted_with_a_warning",
            (FitReason.SLOPE_WORN,),
        ),
        (
            "calibrate offset",
            "if not (OFFSET_MV[0] <= offset_mv <= OFFSET_MV[1]):",
            "if False:",
            "test_offset_is_accepted_exactly_within_its_limits",
            (FitReason.OFFSET,),
        ),
        (
            "calibrate off the line",
            "if not (off_ph <= OFF_THE_LINE_PH):",
            "if False:",
            "test_an_old_third_buffer_is_found",
            (FitReason.OFF_THE_LINE,),
        ),
        (
            "calibrate no response in EC",
            "if not (point.reference > 0.0) or not (point.signal * most * THOUSAND >= point.reference):",
            "if not (point.reference > 0.0):",
            "test_a_dry_cell_is_no_response",
        ),
        (
            "calibrate thousandfold",
            "    if least <= ratio / THOUSAND <= most or least <= ratio * THOUSAND <= most:\n",
            "    if False:\n",
            "test_microsiemens_for_millisiemens_is_named",
            (FitReason.THOUSANDFOLD,),
        ),
        (
            "calibrate swapped EC standards",
            "    if constant < 0.0:\n        yield FitReason.SWAPPED, {}\n    elif not (lowest",
            "    if not (lowest",
            "test_swapped_standards_are_always_refused",
        ),
        (
            "calibrate cell constant",
            "elif not (lowest <= constant <= highest):",
            "elif False:",
            "test_cell_constant_is_accepted_exactly_within_its_limits",
            (FitReason.CELL_CONSTANT,),
        ),
        (
            "calibrate cell odd",
            "if abs(constant / CELL_NOMINAL_PER_CM - 1.0) > CELL_ODD_SHARE:",
            "if False:",
            "test_an_odd_cell_constant_is_accepted_with_a_warning",
            (FitReason.CELL_ODD,),
        ),
        (
            "calibrate EC offset",
            "elif not (EC_OFFSET_MS[0] <= offset_ms <= EC_OFFSET_MS[1]):",
            "elif False:",
            "test_an_ec_offset_has_limits",
        ),
    ),
)

CALIBRATE_ODD = mutants_of(
    "daemon/measure/calibrate.py",
    "tests/measure/test_calibrate.py",
    (
        (
            "calibrate a stop-gap says so",
            "accepted(calibration, [(FitReason.STOP_GAP, {}), *_mixed_up(points, before)], numbers)",
            "accepted(calibration, [*_mixed_up(points, before)], numbers)",
            "test_one_buffer_gives_a_stop_gap",
            (FitReason.STOP_GAP,),
        ),
        (
            "calibrate a stop-gap's offset",
            "    if against := list(_against_offset(offset_mv)):\n",
            "    if against := []:\n",
            "test_a_stop_gaps_offset_has_the_usual_limits",
        ),
        (
            "calibrate a stop-gap is marked",
            "day=day_of(points), stop_gap=True",
            "day=day_of(points), stop_gap=False",
            "test_one_buffer_gives_a_stop_gap",
        ),
        (
            "calibrate 6.86 taken for 7.00",
            '_EXCHANGE = (("7.00", "6.86", FitReason.PERHAPS_686), (',
            "_EXCHANGE = ((",
            "test_a_mislabelled_neutral_buffer_is_named",
            (FitReason.PERHAPS_686,),
        ),
        (
            "calibrate 7.00 taken for 6.86",
            ', ("6.86", "7.00", FitReason.PERHAPS_700))',
            ",)",
            "test_a_mislabelled_neutral_buffer_is_named",
            (FitReason.PERHAPS_700,),
        ),
        (
            "calibrate cell changed",
            "abs(constant / before.cell_constant_per_cm - 1.0) > CELL_CHANGED_SHARE:",
            "False:",
            "test_a_cell_that_changed_much_is_kept_only_by_a_persons_word",
            (FitReason.CELL_CHANGED,),
        ),
        (
            "calibrate a weak standard alone",
            "if not (high >= WEAK_MS_PER_CM) and",
            "if False and",
            "test_a_weak_standard_alone_is_refused",
            (FitReason.TOO_WEAK,),
        ),
    ),
)

BY_REFERENCE = mutants_of(
    "daemon/measure/by_reference.py",
    "tests/measure/test_by_reference.py",
    (
        (
            "thermometer far off",
            "if not (lowest_k <= offset_k <= highest_k):",
            "if False:",
            "test_an_offset_of_three_kelvin_is_the_most",
        ),
        (
            "level far from the settings",
            "elif not (LEVEL_SCALE[0] <= scale <= LEVEL_SCALE[1]):",
            "elif False:",
            "test_what_tells_no_level_is_refused",
            (FitReason.LEVEL_SCALE,),
        ),
        (
            "level offset far from the settings",
            "elif not (LEVEL_OFFSET_SHARE[0] <= offset_share <= LEVEL_OFFSET_SHARE[1]):",
            "elif False:",
            "test_what_tells_no_level_is_refused",
        ),
        (
            "level moves the wrong way",
            "    if scale < 0.0:\n        yield FitReason.SWAPPED, {}\n    elif",
            "    if",
            "test_what_tells_no_level_is_refused",
        ),
        (
            "level two amounts alike",
            "if not (round(apart, _DECIMALS) >= CLOSEST_SHARE):",
            "if False:",
            "test_what_tells_no_level_is_refused",
        ),
    ),
)

LABEL = mutants_of(
    "config/label.py",
    "tests/config/test_label.py",
    (
        (
            "label as many values as temperatures",
            "if len(values) != len(temperature_c):",
            "if False:",
            "test_a_slip_in_a_buffers_table_is_named",
        ),
        (
            "label temperatures that rise",
            "if not inside or not all(low_c < high_c for low_c, high_c in pairwise(temperature_c)):",
            "if not inside:",
            "test_a_slip_in_a_buffers_table_is_named",
        ),
        (
            "label values within their span",
            "if not all(span[0] <= value <= span[1] for value in values):",
            "if False:",
            "test_a_slip_in_a_buffers_table_is_named test_a_slip_in_a_conductivity_table_is_named",
        ),
        (
            "label a buffer too steep",
            "if not abs(step.per_k) <= STEEPEST_PH_PER_K]",
            "if False]",
            "test_a_slip_in_a_buffers_table_is_named",
        ),
        (
            "label values brought to 25 °C",
            "if not RISE_PER_K[0] <= step.per_k / ((step.above + step.below) / 2.0) <= RISE_PER_K[1]:",
            "if False:",
            "test_a_slip_in_a_conductivity_table_is_named",
        ),
    ),
)

STANDARDS = mutants_of(
    "daemon/measure/standards.py",
    "tests/measure/test_standards.py",
    (
        (
            "standards outside the table",
            "    if not _covers(of, temperature_c):\n",
            "    if False:\n",
            "test_outside_the_table_is_an_error_with_the_range",
        ),
        (
            "standards molar or molal",
            'if quantity is Quantity.EC and plain.split(" ")[0].rstrip("mn") in EITHER_MOL:',
            "if False:",
            "test_a_label_that_may_mean_two_things_is_asked_back",
        ),
    ),
)

SETTLING = mutants_of(
    "daemon/desk/calibrating.py",
    "tests/desk/test_calibrating.py",
    (
        (
            "calibrating an unsettled signal",
            "if not rest.settled or rest.mean",
            "if rest.mean",
            "test_an_unsettled_signal_is_no_point",
        ),
        (
            "calibrating a signal of its own for each point",
            "+ [point]\n        self.afresh()\n",
            "+ [point]\n",
            "test_each_point_needs_a_signal_of_its_own",
        ),
        (
            "calibrating which of two buffers",
            "            if len(candidates) != 1:\n                raise WhichStandardError(candidates)\n            (standard,) = candidates\n",
            "            standard = candidates[0]\n",
            "test_a_standard_that_is_not_named_is_known_by_the_signal",
        ),
        (
            "calibrating a buffer named twice",
            "        return kept.standard == taken.standard or alike\n",
            "        return kept.standard == taken.standard\n",
            "test_a_buffer_told_under_its_right_name_replaces_the_wrong_one",
        ),
    ),
)

REST = mutants_of(
    "daemon/measure/settling.py",
    "tests/measure/test_settling.py",
    (
        (
            "settling a drift",
            " and drift is not None and abs(drift) <= may.per_min",
            "",
            "test_a_drift_just_within_settles_and_just_beyond_does_not",
        ),
        (
            "settling a short window",
            " and span_s >= WINDOW_S\n",
            "\n",
            "test_a_window_spans_three_quarters_of_a_minute_at_any_pace",
        ),
    ),
)

BOOK = mutants_of(
    "daemon/measure/book.py",
    "tests/measure/test_book.py",
    (
        (
            "book a slope beyond its limits",
            'slope_percent=table.number("slope_percent", *SLOPE_PERCENT),',
            'slope_percent=table.number("slope_percent"),',
            "test_a_damaged_file_is_refused_and_left_alone",
        ),
        (
            "book an offset beyond its limits",
            'offset_mv=table.number("offset_mv", *OFFSET_MV),',
            'offset_mv=table.number("offset_mv"),',
            "test_a_damaged_file_is_refused_and_left_alone",
        ),
        (
            "book a cell constant beyond its limits",
            'table.number("cell_constant_per_cm", *CELL_CONSTANT_PER_CM),',
            'table.number("cell_constant_per_cm"),',
            "test_a_damaged_file_is_refused_and_left_alone",
        ),
        (
            "book an EC offset beyond its limits",
            'table.number("offset_ms", *EC_OFFSET_MS) if',
            'table.number("offset_ms") if',
            "test_a_damaged_file_is_refused_and_left_alone",
        ),
        (
            "book an unknown key",
            "            if key not in keys:\n",
            "            if False:\n",
            "test_a_damaged_file_is_refused_and_left_alone",
        ),
        (
            "book no number",
            "not isinstance(value, int | float) or not (-_HUGE < value < _HUGE):",
            "not isinstance(value, int | float):",
            "test_a_damaged_file_is_refused_and_left_alone",
        ),
    ),
)

WIRING = (
    *mutants_of(
        "daemon/keeping/instruments.py",
        "tests/hazards/test_h27_settings_mutations.py",
        (
            (
                "instruments a calibration behind another wiring",
                "if changed := wiring_changes(self._book.wiring(self._name, quantity), wiring):",
                "if False:",
                "test_a_calibration_made_behind_another_wiring_does_not_count",
            ),
        ),
    ),
    *mutants_of(
        "drivers/registry.py",
        "tests/drivers/test_registry.py",
        (
            (
                "registry a wiring that changed",
                "if part not in parts)",
                "if not parts)",
                "test_a_wiring_names_what_changed",
            ),
        ),
    ),
    *mutants_of(
        "daemon/keeping/instruments.py",
        "tests/hazards/test_h27_settings_mutations.py",
        (
            (
                "instruments the wiring kept beside a calibration",
                "calibration, points, self._wirings[quantity])",
                "calibration, points, self._book.wiring(self._name, quantity))",
                "test_a_new_calibration_counts_behind_the_new_wiring",
            ),
        ),
    ),
)

CONVERTER = mutants_of(
    "drivers/ads1115.py",
    "tests/drivers/test_ads1115.py",
    (
        (
            "converter read-back",
            "if config != expected:",
            "if False:",
            "test_a_data_line_held_high_is_no_zero_volts test_a_brown_out_in_mid_conversion_is_no_zero_volts",
        ),
        (
            "converter read-back tells ours from a fresh chip's",
            "                comparator_latch=Comp_Latch.LATCHING,\n",
            "",
            "test_a_brown_out_in_mid_conversion_is_no_zero_volts",
        ),
        (
            "converter a reference that is off",
            "        self._verify()\n",
            "",
            "test_a_reference_that_is_off_makes_every_probe_unknown test_a_reference_vouches_only_for_its_own_chip "
            "tests/hazards/test_measurement.py::test_h20_a_converter_whose_reference_drifted_carries_no_dose",
        ),
        (
            "converter a reference that is clipped or not a number",
            "if look.clipped or not low_v <= look.volts <= high_v:",
            "if look.volts < low_v or look.volts > high_v:",
            "test_a_reference_at_the_end_of_the_range_is_off test_a_reference_that_is_not_a_number_is_off",
        ),
        (
            "converter how far a reference may be off",
            "REFERENCE_OFF_SHARE: Final = 0.01",
            "REFERENCE_OFF_SHARE: Final = 0.015",
            "test_a_reference_that_is_off_makes_every_probe_unknown",
        ),
        (
            "converter how long a look at the reference holds",
            "REFERENCE_HOLDS_S: Final = 0.5",
            "REFERENCE_HOLDS_S: Final = 60.0",
            "test_all_probes_of_a_pass_share_one_look_at_the_reference",
        ),
        (
            "converter a look at the reference from before the clock went back",
            "if not 0.0 <= self._clock.monotonic_s() - self._verified_s <= REFERENCE_HOLDS_S:",
            "if self._clock.monotonic_s() - self._verified_s > REFERENCE_HOLDS_S:",
            "test_a_clock_that_went_back_lets_no_old_look_count",
        ),
        (
            "converter clipped above",
            "clipped=max(codes) >= CLIPPED_CODE or min(codes) <= -CLIPPED_CODE,",
            "clipped=min(codes) <= -CLIPPED_CODE,",
            "test_tells_clipping_at_either_end",
        ),
        (
            "converter clipped below",
            "clipped=max(codes) >= CLIPPED_CODE or min(codes) <= -CLIPPED_CODE,",
            "clipped=max(codes) >= CLIPPED_CODE,",
            "test_tells_clipping_at_either_end",
        ),
        (
            "converter outliers left out",
            "    mean, spread = settled(codes, NEVER_AN_OUTLIER_CODES)\n",
            "    mean, spread = sum(codes) / len(codes), max(codes) - min(codes)\n",
            "test_gives_the_mean_and_the_spread_of_what_belongs_together",
        ),
        (
            "converter waits for its moment",
            "                self._clock.sleep(early_s)\n",
            "                pass\n",
            "test_conversions_start_at_the_moments_at_which_hum_cancels",
        ),
        (
            "converter no answer is an error",
            '            self._fail(Fault.NO_ANSWER, "does not answer", error)\n',
            "            return Look(0.0, 0.0, False)\n",
            "test_a_missing_chip_is_told_at_the_first_look_with_what_to_do",
        ),
    ),
)

AIR = mutants_of(
    "drivers/air.py",
    "tests/drivers/test_air.py",
    (
        (
            "air checksum",
            "            if crc8(pair[:2]) != pair[2]:\n",
            "            if False:\n",
            "test_a_byte_that_is_wrong_is_no_reading test_a_data_line_held_high_is_no_reading",
        ),
        (
            "air both checksums",
            "        for pair in (answer[:3], answer[3:]):\n",
            "        for pair in (answer[:3],):\n",
            "test_a_byte_that_is_wrong_is_no_reading",
        ),
    ),
)

EXCITATION = mutants_of(
    "drivers/excitation.py",
    "tests/drivers/test_excitation.py",
    (
        (
            "excitation off after a look",
            "        finally:\n            self._switch.off()\n",
            "        finally:\n            pass\n",
            "test_is_off_before_and_after_each_look_and_on_during_it test_is_off_after_a_look_that_failed",
        ),
        (
            "excitation settles",
            "            self._clock.sleep(self._settle_s)\n",
            "",
            "test_is_off_before_and_after_each_look_and_on_during_it",
        ),
    ),
)

BUS = mutants_of(
    "drivers/bus.py",
    "tests/drivers/test_bus.py",
    (
        (
            "bus deadline",
            "if not self._clock.monotonic_s() <= self._until_s:",
            "if False:",
            "test_ends_at_the_deadline tests/drivers/test_ads1115.py::test_a_conversion_that_never_ends_is_given_up",
        ),
        (
            "bus number of transactions",
            "if self._transactions_left < 0:",
            "if False:",
            "test_counts_transactions_where_time_stands_still",
        ),
    ),
)

CONTACTS = (
    *mutants_of(
        "drivers/float_switch.py",
        "tests/drivers/test_float_switch.py",
        (
            (
                "float switch a broken wire reads low",
                "float(closed is self._closed_is_enough)",
                "float(closed is not self._closed_is_enough)",
                "",
            ),
        ),
    ),
    *mutants_of(
        "drivers/contact.py",
        "tests/drivers/test_contact.py",
        (
            (
                "contact a broken wire reads open",
                "pull_up=True",
                "pull_up=False",
                "",
            ),
        ),
    ),
)

MEASURING = (
    *VOTE,
    *PLUGS,
    *JUDGE,
    *NORMAL,
    *NORMAL_FILE,
    *VALUES,
    *CONVERT,
    *CALIBRATE,
    *CALIBRATE_ODD,
    *BY_REFERENCE,
    *LABEL,
    *STANDARDS,
    *SETTLING,
    *REST,
    *BOOK,
    *WIRING,
    *CONVERTER,
    *AIR,
    *EXCITATION,
    *BUS,
    *CONTACTS,
)
