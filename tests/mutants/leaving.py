"""What lets a tank be called fit to be left alone when it is not."""

from __future__ import annotations

from tests.mutants.mutant import mutants_of

LASTS = "test_a_bottle_lasts_by_the_busiest_day_of_the_last_week"
GOOD = "test_a_calibration_has_to_be_good_until_you_are_back"
MEASURED = "test_a_pump_has_to_dose_by_what_was_measured_of_it"
WATER = "test_water_that_no_pump_adds_is_reckoned_by_its_thirstiest_day"

LEAVING = mutants_of(
    "daemon/away/items.py",
    "tests/away/test_items.py",
    (
        ("away a bottle lasts", "if cap.bottle_left_ml >= needs_ml", "if True", LASTS),
        ("away use of a day or two", "if use.days < FEWEST_DAYS:", "if False:", LASTS),
        ("away the mean day", "_Use(max(per_day_ml, default=0.0),", "_Use(sum(per_day_ml) / 7.0,", LASTS),
        (
            "away the first day of fresh water",
            "(utc - first) / DAY, fresh_days)",
            "(utc - first) / DAY)",
            "test_the_first_day_of_fresh_water_is_unlike_the_others",
        ),
        (
            "away one probe is enough",
            "for quantity in bed.of.verdicts) == 1:",
            "for quantity in bed.of.verdicts) == 0:",
            "test_one_probe_for_ph_cannot_be_known_to_be_right",
        ),
        ("away a calibration ends", "    if bed.home > over:", "    if False:", GOOD),
        ("away a rate ends", "    if left_days < bed.days:", "    if False:", MEASURED),
        ("away a rate of another tube", "    if pump.standing in _NO_LONGER:", "    if False:", MEASURED),
        (
            "away a tube is worn",
            "    if pump.tube_h + more_h > pump.tube_lasts_h:",
            "    if False:",
            "test_a_tube_has_to_last_what_its_pump_will_run",
        ),
        ("away a float switch tells", "now is None or now in (0.0, 1.0) or", "now is None or", WATER),
        ("away the water lasts", "if then > LEVEL_ENOUGH else", "if True else", WATER),
        (
            "away the last day's fall",
            "*(before - after for before, after in pairwise(means))",
            "means[-2] - means[-1]",
            WATER,
        ),
        (
            "away water grows old",
            "    if due_in_days >= bed.days:",
            "    if True:",
            "test_water_must_not_grow_old_meanwhile",
        ),
        (
            "away one that is held keeps itself",
            "if bed.of.condition is Condition.KEEPING or not bed.of.pumps:",
            "if True:",
            "test_what_does_not_correct_itself_is_told",
        ),
        (
            "away nobody is called",
            "if way.works]",
            "]",
            "test_somebody_has_to_be_called",
        ),
        (
            "away a barrier that is missing",
            "Mark.SEE_TO if one.standing is Standing.MISSING else Mark.UNKNOWN",
            "Mark.LASTS",
            "test_barriers_are_told_one_by_one_where_they_are_not_set_up",
        ),
        (
            "away a task that cannot wait",
            "        if task.until < home:",
            "        if False:",
            "test_what_cannot_wait_until_you_are_back_is_told",
        ),
    ),
)
