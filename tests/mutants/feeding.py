"""What holds strength and water back: pairs of A and B, room for water, stocks without effect."""

# ruff: noqa: E501 - the code as it stands, in one piece

from __future__ import annotations

from daemon.dose.finding import Surprise
from tests.mutants.mutant import mutants_of

FEED_TESTS = "tests/keeping/test_feed.py"
ALONE = "test_strength_that_rises_with_no_dose_is_found"

NEWEST = mutants_of(
    "daemon/dose/newest.py",
    "tests/dose/test_newest.py",
    (
        (
            "newest only what can be used",
            "if not (believed and verdict.reading is not None):",
            "if verdict.reading is None:",
            "test_what_cannot_be_used_ends_the_row",
        ),
        (
            "newest unusual looks are for watching only",
            "believed = verdict.shows_water if watching else verdict.usable",
            "believed = verdict.shows_water",
            "test_an_unusual_reading_may_be_watched_by_but_not_dosed_by",
        ),
        (
            "newest only what shows the last dose",
            "if not (at_s >= shows_s and isfinite(value)):",
            "if not isfinite(value):",
            "test_nothing_before_the_last_dose_shows",
        ),
        (
            "newest the last of them from when the dose has mixed",
            "if len(newest) < READINGS or not newest[-1][0] >= mixed_s:",
            "if len(newest) < READINGS:",
            "test_the_newest_must_be_from_when_the_last_dose_has_mixed",
        ),
        (
            "newest only numbers",
            "if not (at_s >= shows_s and isfinite(value)):",
            "if not at_s >= shows_s:",
            "test_what_is_no_number_is_not_kept",
        ),
        (
            "newest nothing across a break",
            "0.0 < at_s - newest[-1][0] <= BREAK_S and",
            "0.0 < at_s - newest[-1][0] and",
            "test_after_a_break_or_a_step_back_it_begins_anew",
        ),
        (
            "newest never on one sample",
            "if len(newest) < READINGS or not newest[-1][0] >= mixed_s:",
            "if not (newest and newest[-1][0] >= mixed_s):",
            "test_the_middle_of_five_and_of_no_fewer",
        ),
    ),
)

STRENGTH = mutants_of(
    "daemon/dose/strength.py",
    "tests/dose/test_strength.py",
    (
        (
            "strength waits for mixing",
            "ec = middle(newest, mixed_s)",
            "ec = middle(newest)",
            "test_nothing_before_the_last_dose_has_mixed",
        ),
        (
            "strength only looks in which the last dose shows",
            "newest = gather(newest, look.ec, shows_s)",
            "newest = gather(newest, look.ec, -inf)",
            "test_a_reading_of_the_mixing_looked_at_later_does_not_count",
        ),
        (
            "strength a B that is owed",
            "    if aim.has_stocks and look.owed_b_ml > OWED_LEAST_ML:\n        return _rest_of_pair(reservoir, look, numbers)\n",
            "",
            f"test_a_b_that_is_owed_comes_first {FEED_TESTS}::test_a_and_b_come_in_turns_as_much_of_each",
        ),
        (
            "strength a B ahead",
            " + min(0.0, look.owed_b_ml) / aim.b_per_a",
            "",
            "test_a_b_that_is_ahead_makes_the_next_a_larger_by_nothing",
        ),
        (
            "strength dead band",
            "ec < aim.target - aim.dead_band:",
            "ec < aim.target:",
            "test_within_the_dead_band_nothing_is_asked",
        ),
        (
            "strength room for water",
            "if share is None or not aim.fill_to - share >= LEAST_WATER_SHARE:\n        return None",
            "if share is None:\n        return None",
            "test_no_water_where_there_is_no_room_or_none_is_known",
        ),
        (
            "strength only so much water",
            "min(need_ml * aim.share_of_need, room_ml)",
            "need_ml * aim.share_of_need",
            "test_too_strong_asks_for_water_as_far_as_there_is_room",
        ),
        (
            "strength only part of the need",
            "ml = need_ml * aim.share_of_need + min",
            "ml = need_ml + min",
            "test_too_weak_asks_for_a_by_half_of_the_need",
        ),
    ),
)

WATER = mutants_of(
    "daemon/dose/water.py",
    "tests/dose/test_water.py",
    (
        (
            "water only a level that is known",
            "if not aim.has_water or rest_share is None:",
            "if not aim.has_water:",
            "test_a_level_that_is_not_known_asks_for_nothing",
        ),
        (
            "water stops at the upper mark",
            "goes_on = filling and aim.fill_to - rest_share >= LEAST_WATER_SHARE",
            "goes_on = filling",
            "test_once_begun_it_goes_on_to_the_upper_mark",
        ),
    ),
)

LEVEL = mutants_of(
    "daemon/dose/level.py",
    "tests/dose/test_level.py",
    (
        (
            "level waits for a flood's end",
            "for at_s, share in self._seen if",
            "for at_s, share in reversed(self._seen) if",
            f"test_a_flood_that_is_short_enough_does_not_show {FEED_TESTS}::test_a_flooded_bed_is_no_missing_water",
        ),
        (
            "level watched long enough",
            "or not now_s - self._since_s >= self.rest_s:",
            "or False:",
            "test_nothing_is_known_before_it_was_watched_for_as_long_as_a_flood",
        ),
        (
            "level a leak",
            "        if fallen > LEAK_TIMES * most + margin:\n",
            "        if False:\n",
            "test_a_leak_is_told_within_the_hour tests/hazards/test_water.py::test_h36_a_leak_is_told_from_drinking",
        ),
        ("level drinking is no leak", "LEAK_TIMES * most + margin", "margin", "test_drinking_is_no_leak"),
    ),
)

STRENGTH_RESPONSE = mutants_of(
    "daemon/dose/strength_response.py",
    "tests/dose/test_strength_response.py",
    (
        (
            "strength_response no effect",
            "    finding = _no_effect(dose.pump, tries)\n",
            "    finding = None\n",
            "test_a_stock_without_effect_is_found_after_three_doses_at_most",
            (Surprise.EC_NO_EFFECT,),
        ),
        (
            "strength_response runaway",
            "        return Finding(Surprise.EC_RUNAWAY, dose.pump, numbers), rested\n",
            "        pass\n",
            "test_far_too_much_is_a_pump_that_did_not_stop",
            (Surprise.EC_RUNAWAY,),
        ),
        (
            "strength_response moved alone",
            "        if rise > 0.0:\n",
            "        if False:\n",
            ALONE,
            (Surprise.EC_MOVED_ALONE,),
        ),
        (
            "strength_response a step is no siphon",
            "return rise if min(steps) >= STEADY_SHARE * rise else 0.0",
            "return rise",
            "test_a_hand_that_feeds_is_no_siphon",
        ),
        (
            "strength_response also of looks that moved as never before",
            "gather(feeding.newest, ec, mixing.shows_s, watching=True)",
            "gather(feeding.newest, ec, mixing.shows_s)",
            "test_a_stock_that_runs_in_is_found_by_strength_that_moves_as_never_before",
        ),
        (
            "strength_response judged when the next may be asked for",
            "mixing_after(end_s, mixing_time_s))",
            "mixing_after(end_s + 60.0, mixing_time_s))",
            "test_a_dose_is_judged_as_soon_as_the_next_may_be_asked_for",
        ),
        (
            "strength_response too late to judge",
            "if dose.before is None or not now_s <= dose.mixing.mixed_s + LATEST_S:",
            "if dose.before is None:",
            "test_a_dose_before_which_strength_was_not_known_is_not_judged",
        ),
    ),
)

STAGES = mutants_of(
    "daemon/dose/stages.py",
    "tests/dose/test_stages.py",
    (
        (
            "stages never step",
            "return to if abs(to - at) <= limit else at + (limit if to > at else -limit)",
            "return to",
            "test_a_wall_clock_that_jumps_makes_no_step",
        ),
        (
            "stages by a clock to trust",
            "if not (self._reservoir.stage and stamp.utc_trusted):",
            "if not self._reservoir.stage:",
            "test_without_a_clock_to_trust_nothing_moves",
        ),
    ),
)

FEED = mutants_of(
    "daemon/keeping/feed.py",
    FEED_TESTS,
    (
        (
            "feed the other half first",
            "wanted = [strength, water] if _is_owed(strength) else [water, strength]",
            "wanted = [water]",
            "test_a_and_b_come_in_turns_as_much_of_each",
        ),
        (
            "feed follows its doses",
            "        self._feeding = fed(self._feeding, pump, allowed.ml, rise, end_s, self._aim.mixing_time_s)\n",
            "",
            "test_a_stock_without_effect_locks",
        ),
    ),
)

RESERVOIR = mutants_of(
    "daemon/keeping/reservoir.py",
    FEED_TESTS,
    (
        (
            "reservoir strength that moves by itself locks",
            "for finding in (ph, self._feed.watch()):",
            "for finding in (ph,):",
            "test_a_stock_that_runs_in_by_itself_locks",
        ),
    ),
)

PERMITS = mutants_of(
    "daemon/keeping/permits.py",
    FEED_TESTS,
    (
        (
            "permits A only with its B",
            "            return self._with_its_b(allowed, stamp)\n",
            "            return allowed\n",
            "test_without_its_b_no_a_is_given",
        ),
    ),
)

PAIRS = mutants_of(
    "daemon/dose/pairs.py",
    "tests/dose/test_pairs.py",
    (
        (
            "pairs no A without its B",
            "    if isinstance(b, Refusal):\n        return b\n",
            "    if isinstance(b, Refusal):\n        return a\n",
            "test_where_b_is_refused_so_is_a",
        ),
        (
            "pairs A cut to its B",
            "    if b.ml >= b.request.ml:",
            "    if b.ml >= 0.0:",
            "test_a_is_cut_as_far_as_its_b_is",
        ),
    ),
)

ACIDITY = mutants_of(
    "daemon/keeping/acidity.py",
    FEED_TESTS,
    (
        (
            "acidity stocks that mix say nothing of acid",
            " or self._others_mix(now_s, since_any_s):\n",
            ":\n",
            "test_what_a_stock_does_to_ph_is_no_hand",
        ),
        (
            "acidity a restart hides no doses that did nothing",
            "        self._cut_off = doubts.untold  # by",
            "        self._cut_off: Finding | None = None  # by",
            "tests/keeping/test_reservoir_effects.py::test_a_restart_does_not_hide_what_a_rest_would_have_told",
        ),
    ),
)

FEEDING = (
    *NEWEST,
    *STRENGTH,
    *WATER,
    *LEVEL,
    *STRENGTH_RESPONSE,
    *STAGES,
    *FEED,
    *RESERVOIR,
    *PERMITS,
    *PAIRS,
    *ACIDITY,
)
