"""What notices that a dose did not do what it should, or that something else moved the water."""

# ruff: noqa: E501 - the code as it stands, in one piece

from __future__ import annotations

from daemon.dose.finding import Surprise
from tests.mutants.mutant import mutants_of

JUMPS = "tests/dose/test_response_jumps.py"
DEAD = "test_a_dead_pump_is_found_after_three_doses_at_most"

RESPONSE = mutants_of(
    "daemon/dose/response.py",
    "tests/dose/test_response.py",
    (
        (
            "response no effect",
            "finding = _wrong_sign(pending, judged) or _no_effect(pending.pump, lesson, unproven=effects.unproven)",
            "finding = _wrong_sign(pending, judged)",
            DEAD,
            (Surprise.NO_EFFECT,),
        ),
        (
            "response the first dose after a jump",
            "        if enough or unproven:\n",
            "        if enough:\n",
            f"{JUMPS}::test_after_a_jump_the_first_dose_must_show",
            (Surprise.UNPROVEN,),
        ),
        (
            "response a far jump is to be proven",
            "unproven = effects.unproven or abs(now_ph - base.ph) >= JUMP_PH",
            "unproven = False",
            f"{JUMPS}::test_only_a_far_jump_has_to_be_proven",
        ),
        (
            "response nothing while it is being proven",
            "return effects.doubt is not None or (effects.unproven and effects.pending is not None)",
            "return effects.doubt is not None",
            f"{JUMPS}::test_nothing_is_dosed_while_the_dose_that_has_to_prove_it_mixes",
        ),
        (
            "response a jump outlasts people at work",
            "return Effects(moved_s=effects.moved_s, unproven=effects.unproven, lessons=effects.lessons)",
            "return Effects(moved_s=effects.moved_s, lessons=effects.lessons)",
            f"{JUMPS}::test_a_jump_that_a_person_told_of_needs_no_proof",
        ),
        (
            "response no effect after three small doses",
            "enough = expected_ph >= ENOUGH_PH or (count >= ENOUGH_DOSES and expected_ph >= ENOUGH_OF_THEM_PH)",
            "enough = expected_ph >= ENOUGH_PH",
            DEAD,
        ),
        (
            "response no effect of a large dose",
            "enough = expected_ph >= ENOUGH_PH or (count >= ENOUGH_DOSES and expected_ph >= ENOUGH_OF_THEM_PH)",
            "enough = count >= ENOUGH_DOSES and expected_ph >= ENOUGH_OF_THEM_PH",
            "test_a_wrong_way_of_less_than_half_the_expected_shift_is_no_wrong_bottle",
        ),
        (
            "response wrong sign",
            "finding = _wrong_sign(pending, judged) or _no_effect(pending.pump, lesson, unproven=effects.unproven)",
            "finding = _no_effect(pending.pump, lesson, unproven=effects.unproven)",
            "test_swapped_bottles_are_found_after_one_dose",
            (Surprise.WRONG_SIGN,),
        ),
        (
            "response runaway",
            "    if (finding := _runaway(pending, effects.points)) is not None:",
            "    if (finding := _runaway(pending, ())) is not None:",
            "test_a_pump_that_does_not_stop_is_found_while_its_dose_mixes",
            (Surprise.RUNAWAY,),
        ),
        (
            "response too strong",
            "        finding = _too_strong(pending.pump, judged, lesson)\n",
            "        pass\n",
            "test_a_pump_twice_as_fast_is_found_and_its_steps_halved",
            (Surprise.TOO_STRONG,),
        ),
        (
            "response too strong, smaller steps",
            "strong >= STRONG_IN_A_ROW else 1.0",
            "strong < 0 else 1.0",
            "test_a_pump_twice_as_fast_is_found_and_its_steps_halved",
        ),
        (
            "response far stronger than the first guess",
            "        return True\n    if lesson.learned < LESSONS_NEEDED",
            "        pass\n    if lesson.learned < LESSONS_NEEDED",
            "test_against_the_first_guess_only_far_more_counts",
        ),
        (
            "response moved alone",
            "    finding = moved_alone(points, aim, slow_s)\n",
            "    finding = None\n",
            "test_a_slow_siphon_is_found_within_half_an_hour test_a_pump_stuck_on_is_found_though_no_reading_can_be_used",
            (Surprise.MOVED_ALONE,),
        ),
        (
            "response stepped",
            "    if abs(now_ph - base.ph) < STEP_PH:\n",
            "    if True:\n",
            "test_a_hand_dose_is_a_step_and_never_latches",
            (Surprise.STEPPED,),
        ),
        (
            "response when it moved",
            "points=points, base=here, moved_s=point.at_s, unproven=unproven, drift_ph=0.0, drift_s=0.0",
            "points=points, base=here, unproven=unproven, drift_ph=0.0, drift_s=0.0",
            "test_a_hand_dose_is_a_step_and_never_latches",
        ),
        (
            "response a step is no drift",
            "moved_s=point.at_s, unproven=unproven, drift_ph=0.0, drift_s=0.0",
            "moved_s=point.at_s, unproven=unproven",
            "test_a_step_is_no_drift",
        ),
        (
            "response a drift that is long past",
            "sure_ph = seen_ph if holds else min(seen_ph, moved_ph)",
            "sure_ph = seen_ph",
            "test_a_dead_pump_is_found_though_a_little_water_had_come_in",
        ),
        (
            "response a rest that shows the usual",
            "    if by_rest.ph >= EACH_SHARE * usual * abs(rest.expected_ph):\n        return None\n",
            "",
            "test_a_pump_that_holds_against_a_steady_drift_is_not_taken_for_dead",
        ),
        (
            "response forgetting keeps when it moved",
            "return Effects(moved_s=effects.moved_s, unproven=effects.unproven, lessons=effects.lessons)",
            "return Effects(unproven=effects.unproven, lessons=effects.lessons)",
            "test_people_at_the_tank_do_not_end_the_wait_after_a_movement",
        ),
        (
            "response also of readings that jumped",
            "if not (ph.shows_water or ph.reason is VerdictReason.JUMPED):",
            "if not ph.shows_water:",
            "test_a_pump_stuck_on_is_found_though_no_reading_can_be_used",
        ),
        (
            "response also of readings that moved as never before",
            "if not (ph.shows_water or ph.reason is VerdictReason.JUMPED):",
            "if not (ph.usable or ph.reason is VerdictReason.JUMPED):",
            "test_a_pump_that_runs_on_is_found_by_ph_that_moves_as_never_before",
        ),
        (
            "response no reading of no number",
            "if reading is None or not isfinite(reading.value):",
            "if reading is None:",
            "test_what_is_no_number_teaches_nothing",
        ),
        (
            "response a voltage that stands still",
            "        finding = _stood_still(pending) or finding\n",
            "",
            "test_a_voltage_that_stands_still_through_a_dose_is_found_after_one",
            (Surprise.STILL,),
        ),
        (
            "response what a rest tells",
            "    if not is_effect(rest, by_rest):\n        return doubt.finding\n",
            "    if True:\n        return doubt.finding\n",
            "tests/dose/test_second_look.py::test_water_buffered_many_times_as_well_is_learned",
            (Surprise.LITTLE_EFFECT,),
        ),
    ),
)

MOVED_ALONE = mutants_of(
    "daemon/dose/moved_alone.py",
    "tests/dose/test_response.py",
    (
        (
            "moved alone, slowly",
            "LONG_FALL_PH, LONG_RISE_PH = 0.12, 0.5",
            "LONG_FALL_PH, LONG_RISE_PH = 9.0, 9.0",
            "test_a_slow_siphon_is_found_within_half_an_hour",
        ),
        (
            "moved alone, as a siphon does",
            "SLOW_FALL_PH, SLOW_RISE_PH = 0.08, 0.2",
            "SLOW_FALL_PH, SLOW_RISE_PH = 9.0, 9.0",
            "test_a_siphon_is_found_within_ten_minutes",
        ),
        (
            "moved alone, fast",
            "\nFAST_PH = 0.4",
            "\nFAST_PH = 9.0",
            "test_a_pump_stuck_on_is_found_though_no_reading_can_be_used",
        ),
        (
            "moved alone, a flood",
            "FAR_PH, AT_ONCE_SHARE = 1.5, 0.6",
            "FAR_PH, AT_ONCE_SHARE = 99.0, 0.6",
            "test_a_flood_is_found_whatever_its_shape",
        ),
    ),
)

REVERSALS = mutants_of(
    "daemon/dose/reversals.py",
    "tests/dose/test_reversals.py",
    (
        (
            "reversals a third in a day",
            "if not (turns and turns[-1] and count >= MOST_REVERSALS):",
            "if True:",
            "test_the_third_reversal_of_a_day_is_found",
            (Surprise.REVERSALS,),
        ),
        (
            "reversals a time that is no number",
            "if not (dose.by_hand or now_s - dose.end_s > DAY_S)]",
            "if not dose.by_hand and now_s - dose.end_s <= DAY_S]",
            "test_a_time_that_is_no_number_makes_no_dose_old",
        ),
    ),
)

FINDING = mutants_of(
    "daemon/dose/finding.py",
    "tests/dose/test_finding.py",
    (
        (
            "finding what latches",
            "LATCHING = frozenset(Surprise) - GOING_ON",
            "LATCHING = frozenset(Surprise) - GOING_ON - {Surprise.MOVED_ALONE}",
            "test_every_surprise_either_latches_or_waits",
        ),
    ),
)

INFLOW = mutants_of(
    "daemon/dose/inflow.py",
    "tests/dose/test_inflow.py",
    (
        (
            "inflow a rise",
            "        return Inflow(share, now_s, inflow.risen + share - inflow.lowest)\n",
            "        pass\n",
            "test_a_rise_is_noticed_at_once",
        ),
        (
            "inflow above the lowest, not the last",
            "    if inflow.lowest is not None and share >= inflow.lowest:\n        return inflow\n",
            "",
            "test_a_slow_refill_counts_until_its_end",
        ),
        (
            "inflow no number",
            "    if not -inf < share < inf:\n        return inflow\n",
            "",
            "test_what_is_no_number_changes_nothing",
        ),
    ),
)

SECOND_LOOK = mutants_of(
    "daemon/dose/second_look.py",
    "tests/dose/test_second_look.py",
    (
        (
            "second look beyond its noise",
            "of.ph > SURE_SDS * of.sd + SLACK_PH and",
            "True and",
            "test_an_effect_stands_out_of_its_noise",
        ),
        (
            "second look a share that can be",
            " and of.ph >= LEAST_SHARE * abs(rest.expected_ph)",
            "",
            "test_a_share_too_small_for_any_water_is_none",
        ),
    ),
)

EFFECTS = (*SECOND_LOOK, *RESPONSE, *MOVED_ALONE, *REVERSALS, *FINDING, *INFLOW)
