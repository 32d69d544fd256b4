"""What stands between a request and too much of it: permit, windows, ledger, control."""

# ruff: noqa: E501 - the code as it stands, in one piece

from __future__ import annotations

from daemon.values import Cap
from tests.mutants.mutant import mutants_of

HARD = "test_no_setting_lifts_a_limit_of_the_code"
AMOUNT = "TestAmountCap"
WAIT = "TestWait::test_too_soon_refuses_by_name"

PERMIT = mutants_of(
    "daemon/dose/permit.py",
    "tests/dose/test_permit.py",
    (
        # may it run at all
        (
            "permit request",
            '(Cap.REQUEST, 0.0 < request.ml < inf, {"asked_ml": request.ml}),',
            "",
            "test_only_a_finite_amount_above_zero_can_be_asked",
            (Cap.REQUEST,),
        ),
        (
            "permit request open to NaN",
            "(Cap.REQUEST, 0.0 < request.ml < inf,",
            "(Cap.REQUEST, not (request.ml <= 0.0 or request.ml == inf),",
            "test_only_a_finite_amount_above_zero_can_be_asked",
        ),
        (
            "permit not set",
            "(Cap.NOT_SET, not missing, dict.fromkeys(missing, 0.0)),",
            "",
            "test_a_missing_cap_counts_as_zero",
            (Cap.NOT_SET,),
        ),
        (
            "permit condition",
            "(Cap.CONDITION, _condition_allows(request, facts), {}),",
            "",
            "test_only_a_keeping_reservoir_is_dosed",
            (Cap.CONDITION,),
        ),
        (
            "permit condition while watching",
            "return facts.condition is Condition.KEEPING",
            "return facts.condition in (Condition.KEEPING, Condition.WATCHING)",
            "test_only_a_keeping_reservoir_is_dosed",
        ),
        (
            "permit condition while held",
            "return facts.condition is Condition.KEEPING",
            "return facts.condition in (Condition.KEEPING, Condition.HELD)",
            "test_only_a_keeping_reservoir_is_dosed",
        ),
        (
            "permit condition, priming while locked",
            "in (Condition.WATCHING, Condition.HELD)",
            "in Condition",
            "test_only_a_keeping_reservoir_is_dosed",
        ),
        (
            "permit ledger",
            "(Cap.LEDGER, facts.spent.ok is True, {}),",
            "",
            "test_an_unreliable_ledger_refuses",
            (Cap.LEDGER,),
        ),
        (
            "permit verdict",
            "(Cap.VERDICT, _verdict_allows(request, facts.verdict), {}),",
            "",
            "test_no_dose_without_a_usable_verdict",
            (Cap.VERDICT,),
        ),
        (
            "permit rate",
            "(Cap.RATE, facts.rate_usable is True or request.reason in INTO_A_CUP, {}),",
            "",
            "test_no_dose_by_an_expired_rate",
            (Cap.RATE,),
        ),
        (
            "permit acid and base in one cylinder",
            "if request.reason is DoseReason.MEASURE and cap is not Cap.OPPOSITE:",
            "if request.reason is DoseReason.MEASURE:",
            "test_a_timed_run_waits_for_no_mixing_but_for_every_amount_cap",
        ),
        (
            "permit priming as a timed run",
            "if request.reason is DoseReason.MEASURE and cap is not Cap.OPPOSITE:",
            "if request.reason is not DoseReason.PH_HIGH and cap is not Cap.OPPOSITE:",
            "tests/desk/test_pumps.py::test_priming_waits_for_the_last_dose_to_mix",
        ),
        (
            "permit verdict missing",
            "if verdict is None or verdict.reading is None or not verdict.usable:\n        return False",
            "if verdict is None:\n        return True\n    if verdict.reading is None or not verdict.usable:\n        return False",
            "test_no_dose_without_a_usable_verdict",
        ),
        (
            "permit verdict not usable",
            " or not verdict.usable:",
            ":",
            "test_no_dose_without_a_usable_verdict",
        ),
        (
            "permit verdict of no number",
            "return -inf < verdict.reading.value < inf",
            "return True",
            "test_no_dose_without_a_usable_verdict",
        ),
        (
            "permit level",
            "(Cap.LEVEL, _level_allows(facts), {}),",
            "",
            "test_low_water_refuses test_a_reservoir_nearly_empty_gets_nothing",
            (Cap.LEVEL,),
        ),
        (
            "permit level not known",
            "return not facts.has_level_probe",
            "return True",
            "test_low_water_refuses",
        ),
        (
            "permit level low",
            "return facts.level_enough is True and level_factor",
            "return level_factor",
            "test_low_water_refuses",
        ),
        (
            "permit circulation",
            "(Cap.CIRCULATION, facts.circulation_on is True or not facts.has_circulation, {}),",
            "",
            "test_no_dose_into_still_water",
            (Cap.CIRCULATION,),
        ),
        # how long ago
        (
            "permit gap",
            "(Cap.GAP, spent.since_pump_s, max(limits.min_gap_s, HARD_MIN_GAP_S)),",
            "",
            WAIT,
            (Cap.GAP,),
        ),
        (
            "permit mixing",
            "(Cap.MIXING, spent.since_any_s, MIXING_TIMES * facts.mixing_time_s),",
            "",
            WAIT,
            (Cap.MIXING,),
        ),
        (
            "permit opposite",
            "(Cap.OPPOSITE, spent.since_opposite_s, limits.opposite_gap_s),",
            "",
            WAIT,
            (Cap.OPPOSITE,),
        ),
        (
            "permit refill",
            "(Cap.REFILL, facts.since_refill_s, MIXING_TIMES * facts.mixing_time_s),",
            "",
            "test_hands_off_for_three_mixing_times",
            (Cap.REFILL,),
        ),
        (
            "permit hands off",
            "(Cap.HANDS_OFF, facts.since_moved_s, MIXING_TIMES * facts.mixing_time_s),",
            "",
            "test_hands_off_for_three_mixing_times",
            (Cap.HANDS_OFF,),
        ),
        (
            "permit a wait that is no number",
            "if not wait_s >= 0.0:",
            "if wait_s < 0.0:",
            "test_settings_that_are_no_numbers_fail_closed",
        ),
        (
            "permit a time since that is no number",
            "not since_s >= wait_s:",
            "since_s < wait_s:",
            "TestWait::test_no_number_refuses",
        ),
        # how much
        (
            "permit per dose",
            "(Cap.PER_DOSE, _bounded(limits.max_per_dose_ml, hard.per_day_ml)),",
            "",
            AMOUNT,
            (Cap.PER_DOSE,),
        ),
        (
            "permit per hour",
            "(Cap.PER_HOUR, _room(hour_cap_ml, spent.hour_ml)),",
            "",
            AMOUNT,
            (Cap.PER_HOUR,),
        ),
        ("permit per day", "(Cap.PER_DAY, _room(day_cap_ml, spent.day_ml)),", "", AMOUNT, (Cap.PER_DAY,)),
        ("permit share", "(Cap.SHARE, share_ml),", "", AMOUNT, (Cap.SHARE,)),
        (
            "permit share of one dose",
            "_room(volume_ml * hard.share_per_dose, 0.0),",
            "inf,",
            f"{AMOUNT} {HARD}",
        ),
        (
            "permit share of a day",
            "_room(volume_ml * hard.share_per_day, spent.day_ml),",
            "inf,",
            HARD,
        ),
        (
            "permit bottle",
            "(Cap.BOTTLE, _room(limits.bottle_ml * (1.0 - BOTTLE_STOP_SHARE), spent.since_refill_ml)),",
            "",
            AMOUNT,
            (Cap.BOTTLE,),
        ),
        ("permit bottle to the last drop", "BOTTLE_STOP_SHARE = 0.05", "BOTTLE_STOP_SHARE = 0.0", AMOUNT),
        (
            "permit room for water",
            "        rooms = (*rooms, (Cap.LEVEL, _empty_ml(facts)))\n",
            "        pass\n",
            "test_water_never_runs_over",
        ),
        (
            "permit room for water where none is measured",
            "if share is None or not 0.0 < share < 1.0:\n        return 0.0",
            "if share is None or not 0.0 < share < 1.0:\n        return inf",
            "test_water_never_runs_over",
        ),
        (
            "permit run time",
            "(Cap.RUN_TIME, _room(limits.ml_per_s * HARD_MAX_RUN_S, 0.0)),",
            "",
            AMOUNT,
            (Cap.RUN_TIME,),
        ),
        (
            "permit what is usual",
            " or _unusual(request, facts)\n",
            "\n",
            "test_ph_that_comes_back_further_than_usual_refuses",
            (Cap.USUAL,),
        ),
        (
            "permit too small",
            "if not (ml > 0.0 and ml >= limits.smallest_dose_ml):",
            "if not ml > 0.0:",
            "test_too_small_when_asked_so_little",
            (Cap.TOO_SMALL,),
        ),
        (
            "permit too small open to NaN",
            "if not (ml > 0.0 and ml >= limits.smallest_dose_ml):",
            "if ml <= 0.0 or ml < limits.smallest_dose_ml:",
            "test_a_smallest_dose_that_is_no_number_refuses",
        ),
        (
            "permit the smallest room",
            "cap, room_ml = min(rooms, key=lambda room: room[1])",
            "cap, room_ml = max(rooms, key=lambda room: room[1])",
            "test_the_smallest_of_several_caps_is_named",
        ),
        (
            "permit the room itself",
            "ml = min(request.ml, room_ml) * factor",
            "ml = request.ml * factor",
            f"{AMOUNT}::test_just_over_is_bound_and_named",
        ),
        (
            "permit less for less water",
            "ml = min(request.ml, room_ml) * factor",
            "ml = min(request.ml, room_ml)",
            "test_a_dose_is_scaled_to_the_measured_water",
        ),
        (
            "permit half of it below half",
            "return min(share, 1.0) if share >= LEVEL_HALF_SHARE else share / 2.0",
            "return min(share, 1.0)",
            "test_a_dose_is_scaled_to_the_measured_water",
        ),
        (
            "permit never more for more water",
            "return min(share, 1.0) if share",
            "return share if share",
            "test_a_dose_is_scaled_to_the_measured_water",
        ),
        (
            "permit nothing for an empty reservoir",
            "if not share >= LEVEL_STOP_SHARE:\n        return 0.0\n",
            "",
            "test_a_reservoir_nearly_empty_gets_nothing",
        ),
        (
            "permit a run of thirty seconds at most",
            "run_s = min(ml / limits.ml_per_s, HARD_MAX_RUN_S)",
            "run_s = ml / limits.ml_per_s",
            "test_the_longest_run_is_not_made_longer_by_rounding",
        ),
        (
            "permit a cap that is no number",
            "if cap_ml is None or not cap_ml >= 0.0:",
            "if cap_ml is None or cap_ml < 0.0:",
            "test_an_unsound_configured_cap_is_zero",
        ),
        ("permit a cap above the hard one", "return min(cap_ml, hard_ml)", "return cap_ml", HARD),
        (
            "permit a room that is no number",
            "if not (0.0 < cap_ml < inf and 0.0 <= spent_ml < cap_ml):",
            "if cap_ml <= 0.0 or spent_ml >= cap_ml:",
            "test_settings_that_are_no_numbers_fail_closed TestAmountCap::test_nothing_left_refuses_by_name",
        ),
        (
            "permit the least gap of the code",
            "max(limits.min_gap_s, HARD_MIN_GAP_S)),",
            "limits.min_gap_s),",
            HARD,
        ),
        (
            "permit opposite hours of the settings",
            "opposite_gap_s=reservoir.opposite_gap_h * HOUR_S,",
            "opposite_gap_s=reservoir.opposite_gap_h,",
            "test_limits_come_from_the_settings",
        ),
        (
            "permit a broken ledger shown as spent",
            "last_day_ml=spent.day_ml if spent.ok else day_ml,",
            "last_day_ml=spent.day_ml if spent.ok else 0.0,",
            "test_cap_use_shows_spent_and_left test_what_people_see_of_the_caps_is_never_more_than_the_hard_limits",
        ),
    ),
)

WINDOWS = mutants_of(
    "daemon/dose/windows.py",
    "tests/dose/test_windows.py",
    (
        (
            "windows a stamp that is no number",
            "if not isfinite(self.at_s):",
            "if False:",
            "test_a_stamp_needs_a_finite_time",
        ),
        (
            "windows a clock that went back",
            " and stamp.at_s >= boots[-1].last_s:\n        return boots",
            ":\n        return boots",
            "test_a_clock_that_went_back_is_another_boot_whatever_its_name",
        ),
        (
            "windows another boot",
            "if boots and boots[-1].boot_id == stamp.boot_id and stamp.at_s",
            "if boots and stamp.at_s",
            "test_across_boots_only_recorded_uptime_counts tests/dose/test_ledger_time.py::TestTime",
        ),
        (
            "windows time off only where it is proven",
            "if not stamp.utc_trusted or boot.doubted or not",
            "if boot.doubted or not",
            "test_off_time_counts_zero_unless_proven",
        ),
        (
            "windows a doubted wall clock stays doubted",
            "if not stamp.utc_trusted or boot.doubted or not",
            "if not stamp.utc_trusted or not",
            "test_a_wall_clock_that_steps_while_synchronised_loses_its_credit",
        ),
        (
            "windows a stepping wall clock loses its credit",
            "    return not abs(step_s) <= WALL_TOLERANCE_S",
            "    return False",
            "test_a_wall_clock_that_steps_while_synchronised_loses_its_credit",
        ),
        (
            "windows credit no more than once",
            "        + sum(boot.last_s - boot.first_s for boot in boots[first:-1])\n",
            "",
            "tests/dose/test_windows.py tests/dose/test_ledger_time.py::TestTime",
        ),
        (
            "windows the tolerance is not credited",
            "- counted_s - WALL_TOLERANCE_S",
            "- counted_s",
            "test_off_time_is_credited_when_both_ends_were_synchronised",
        ),
        (
            "windows the day in full",
            "if not now_s <= spent.until_s and spent is not _NOTHING:\n            spent.recount(now_s)",
            "spent.hour_ml = spent.day_ml = 0.0",
            "test_a_charge_leaves_the_hour_and_the_day_in_time_and_not_before",
        ),
        (
            "windows the day not too short",
            "> DAY_S + RUN_MARGIN_S:\n            self.charges",
            "> DAY_S - RUN_MARGIN_S:\n            self.charges",
            "test_sums_made_anew_hold_all_that_is_still_in_the_window",
        ),
        (
            "windows the hour not too short",
            "if now_s - charge[0] <= HOUR_S + RUN_MARGIN_S]",
            "if now_s - charge[0] <= HOUR_S - RUN_MARGIN_S]",
            "test_a_charge_leaves_the_hour_and_the_day_in_time_and_not_before",
        ),
        (
            "windows the newest end counts",
            "spent.last_end_s = max(spent.last_end_s, end_s)",
            "pass",
            "test_totals_tell_pumps_and_reservoirs_apart test_a_run_still_going_counts_as_just_ended",
        ),
        (
            "windows any pump of the reservoir",
            "self._last_end_s[reservoir] = max(self._last_end_s.get(reservoir, -inf), end_s)",
            "pass",
            "test_totals_tell_pumps_and_reservoirs_apart test_a_run_still_going_counts_as_just_ended",
        ),
        (
            "windows acid and base are opposites",
            "OPPOSITE = {Role.PH_DOWN: Role.PH_UP, Role.PH_UP: Role.PH_DOWN}",
            "OPPOSITE: dict[Role, Role] = {}",
            "test_totals_tell_pumps_and_reservoirs_apart",
        ),
        (
            "windows base has an opposite too",
            "OPPOSITE = {Role.PH_DOWN: Role.PH_UP, Role.PH_UP: Role.PH_DOWN}",
            "OPPOSITE = {Role.PH_DOWN: Role.PH_UP}",
            "test_acid_and_base_are_opposites_either_way",
        ),
        (
            "windows a broken ledger says spent",
            "SPENT = Totals(inf, inf, inf, 0.0, 0.0, 0.0, ok=False)",
            "SPENT = Totals(0.0, 0.0, 0.0)",
            "tests/dose/test_permit.py::test_an_unreliable_ledger_refuses",
        ),
    ),
)

BROKEN = "test_a_failed_write_breaks_the_ledger_until_it_is_read_again"

LEDGER = (
    *mutants_of(
        "daemon/dose/ledger.py",
        "tests/dose/test_ledger.py",
        (
            (
                "ledger a sound permit only",
                "if not (0.0 < permit.ml < inf and 0.0 < permit.run_s < inf):",
                "if False:",
                "TestDoses::test_only_a_sound_permit_is_written",
            ),
            (
                "ledger the intent is charged",
                "            self._tally.charge(request.reservoir, request.pump, end_s, permit.ml)\n",
                "",
                "TestDoses::test_an_intent_is_charged_before_its_outcome",
            ),
            (
                "ledger the commit",
                '            self._db.execute("COMMIT")\n            if not in_haste:\n                fold(self._db)\n',
                "            pass\n",
                "TestDoses::test_an_intent_is_on_disk_before_it_returns",
            ),
            (
                "ledger open doses are found at the start",
                '"WHERE outcome = ? ORDER BY e.number", Outcome.OPEN',
                '"WHERE outcome = ? ORDER BY e.number", ""',
                "TestDoses::test_an_intent_without_outcome_is_found_and_charged_in_full",
            ),
            (
                "ledger broken counts as spent",
                "        if self.fault is not None:\n            return SPENT\n",
                "",
                BROKEN,
            ),
            (
                "ledger broken after a failed write",
                "        except BaseException as error:\n            self._break(error)\n",
                "        except BaseException as error:\n            self.fault = None\n            self._db.rollback()\n",
                BROKEN,
            ),
            (
                "ledger broken from the first step of a write",
                "        self.fault = LedgerError(LedgerFault.INTERRUPTED, self.path)\n",
                "",
                "test_an_interrupt_between_file_and_memory_leaves_it_broken",
            ),
            (
                "ledger broken takes no intent",
                "        if self.fault is not None:\n            raise self.fault.with_traceback(None)\n",
                "",
                "test_a_broken_ledger_takes_nothing_even_once_the_cause_is_gone",
            ),
            (
                "ledger what was read is read anew after a write",
                "        if not of_time:\n            self._read.clear()\n",
                "",
                "TestDoses::test_recent_follows_what_is_written tests/dose/test_ledger_renewed.py::TestGiven::test_the_last_lock_that_a_person_cleared",
            ),
            (
                "ledger what was read follows the time that is proven",
                "            if self._time.write(db):\n                self._read.clear()\n",
                "            if self._time.write(db):\n",
                "tests/dose/test_ledger_renewed.py::TestGiven::test_time_that_is_proven_later_moves_what_was_read",
            ),
            (
                "ledger a file that was moved",
                "if not self.path.exists() or os.stat(self.path).st_ino != self._file:",
                "if False:",
                BROKEN,
            ),
            (
                "ledger a file another program wrote to",
                "if self._data_version() != self._seen:",
                "if False:",
                BROKEN,
            ),
            (
                "ledger a lock is in force before it is written",
                "        self._standings.add([asked])\n",
                "",
                "tests/dose/test_ledger_standing.py::TestConditions::test_a_lock_that_cannot_be_written_holds_and_is_written_later",
            ),
            (
                "ledger a lock that was not written is written later",
                "                self._standings.add(\n                    [write_standing(db, replace(s, since_s=now_s), self._time) for s in unwritten]\n                )\n",
                "                pass\n",
                "tests/dose/test_ledger_standing.py::TestConditions::test_a_lock_that_cannot_be_written_holds_and_is_written_later",
            ),
            (
                "ledger releasing opens no lock",
                "return self._end(reservoir, Condition.HELD, who, stamp)",
                "self._end(reservoir, Condition.LOCKED, who, stamp)\n        return self._end(reservoir, Condition.HELD, who, stamp)",
                "tests/dose/test_ledger_standing.py::TestConditions::test_a_lock_keeps_its_first_reason_and_outranks_a_hold",
            ),
            (
                "ledger a hold of no sound time",
                "if for_s is not None and not 0.0 < for_s < inf:",
                "if False:",
                "tests/dose/test_ledger_standing.py::TestConditions::test_a_hold_needs_a_sound_time",
            ),
            (
                "ledger a standing is read at the start",
                "            self._standings.read(self._db, self._time.proven_of)\n            self.left_open",
                "            self.left_open",
                "tests/dose/test_ledger_standing.py::TestConditions::test_a_hold_survives_a_restart_until_released",
            ),
        ),
    ),
    *mutants_of(
        "daemon/dose/ledger_doses.py",
        "tests/dose/test_ledger.py",
        (
            (
                "ledger the intent is written",
                '    write_row(db, "entries", row)\n',
                "",
                "TestDoses::test_an_intent_is_on_disk_before_it_returns",
            ),
            (
                "ledger an open dose counts in full",
                "boot, at_s FROM entries ORDER BY number",
                "boot, at_s FROM entries WHERE outcome != 'open' ORDER BY number",
                "TestDoses::test_an_intent_without_outcome_is_found_and_charged_in_full",
            ),
            (
                "ledger a failed dose counts in full",
                "boot, at_s FROM entries ORDER BY number",
                "boot, at_s FROM entries WHERE outcome != 'failed' ORDER BY number",
                "TestDoses::test_every_outcome_stays_charged_in_full",
            ),
            (
                "ledger a run cut short counts in full",
                "boot, at_s FROM entries ORDER BY number",
                "boot, at_s FROM entries WHERE outcome != 'cut_short' ORDER BY number",
                "TestDoses::test_every_outcome_stays_charged_in_full",
            ),
            (
                "ledger a dose ends once",
                'is_open = row is not None and row["outcome"] == Outcome.OPEN',
                "is_open = row is not None",
                "TestDoses::test_a_dose_ends_once",
            ),
        ),
    ),
    *mutants_of(
        "daemon/dose/ledger_time.py",
        "tests/dose/test_ledger_time.py",
        (
            (
                "ledger a foreign clock proves nothing",
                "ours = stamp.boot_id == boot.boot_id and stamp.at_s >= boot.last_s",
                "ours = stamp.at_s >= boot.last_s",
                "TestTime::test_a_foreign_or_backward_clock_proves_nothing",
            ),
            (
                "ledger a backward clock proves nothing",
                "ours = stamp.boot_id == boot.boot_id and stamp.at_s >= boot.last_s",
                "ours = stamp.boot_id == boot.boot_id",
                "TestTime::test_a_foreign_or_backward_clock_proves_nothing",
            ),
        ),
    ),
    *mutants_of(
        "daemon/dose/ledger_standing.py",
        "tests/dose/test_ledger_standing.py",
        (
            (
                "ledger a lock outranks a hold",
                "return locked[0] if locked else self.held(reservoir, now_s)",
                "return self.held(reservoir, now_s)",
                "TestConditions::test_a_lock_keeps_its_first_reason_and_outranks_a_hold",
            ),
            (
                "ledger a lock keeps its first reason",
                "s.ends_s >= asked.ends_s), None)",
                "s.ends_s > asked.ends_s), None)",
                "TestConditions::test_a_lock_keeps_its_first_reason_and_outranks_a_hold",
            ),
            (
                "ledger a hold lasts as long as asked",
                "if not now_s >= s.ends_s), None)",
                "if False), None)",
                "TestConditions::test_a_hold_survives_a_restart_until_released TestConditions::test_a_timed_hold_ends_in_proven_time",
            ),
            (
                "ledger a shorter hold does not shorten",
                "if s.ends_s >= asked.ends_s), None)",
                "if False), None)",
                "TestConditions::test_a_shorter_hold_does_not_shorten_a_longer_one",
            ),
        ),
    ),
    *mutants_of(
        "daemon/dose/ledger_renewed.py",
        "tests/dose/test_ledger_renewed.py",
        (
            (
                "ledger the hours of a tube go on",
                "    turned = rows(_TURNED, reservoir, pump, DoseReason.REPAIR, after)\n",
                "    turned = rows(_TURNED, reservoir, pump, DoseReason.REPAIR, 0)\n",
                "TestGiven::test_a_tube_counts_its_seconds_from_when_it_was_put_in",
            ),
            (
                "ledger what a hand poured did is not known",
                "is_known = not by_hand and ph",
                "is_known = ph",
                "TestGiven::test_what_was_poured_by_hand_is_known_as_such",
            ),
            (
                "ledger what a dose does is not known before a few have shown it",
                " and lessons >= CONFIRMED\n",
                "\n",
                "TestGiven::test_with_what_each_should_have_done",
            ),
            (
                "ledger in less water a dose does more",
                "shift_of_dose(role, ml, ml_per_ph, level_share)",
                "shift_of_dose(role, ml, ml_per_ph, 1.0)",
                "TestGiven::test_with_what_each_should_have_done",
            ),
        ),
    ),
)

LEDGER_FILE = mutants_of(
    "daemon/dose/ledger_file.py",
    "tests/dose/test_ledger_file.py",
    (
        (
            "ledger file each commit reaches the disk",
            '        db.execute("PRAGMA synchronous = FULL")\n',
            '        db.execute("PRAGMA synchronous = OFF")\n',
            "TestOpening::test_each_commit_waits_for_the_disk",
        ),
        (
            "ledger file a checksum in every line",
            "if row[0] != count or checksum(row[:-1]) != row[-1]:",
            "if row[0] != count:",
            "TestOpening::test_a_changed_figure_is_found",
        ),
        (
            "ledger file no line missing",
            "if row[0] != count or checksum(row[:-1]) != row[-1]:",
            "if checksum(row[:-1]) != row[-1]:",
            "TestOpening::test_a_missing_boot_is_found",
        ),
        (
            "ledger file no line missing at the end",
            "if table in NUMBERED and last_number(db, table) != count:",
            "if False:",
            "TestOpening::test_a_missing_line_is_found",
        ),
        (
            "ledger file whole pages",
            'if said != "ok":',
            "if False:",
            "TestOpening::test_pages_that_do_not_add_up_are_found",
        ),
        (
            "ledger file empty is damaged",
            "if path.stat().st_size == 0:",
            "if False:",
            "TestOpening::test_an_empty_file_is_damage_not_a_fresh_allowance",
        ),
        (
            "ledger file of another program",
            'if _pragma(db, "application_id") != APPLICATION_ID:',
            "if False:",
            "TestOpening::test_a_database_of_another_program_is_left_alone",
        ),
        (
            "ledger file of a newer version",
            "if version != SCHEMA_VERSION:",
            "if False:",
            "TestOpening::test_a_ledger_of_a_newer_version",
        ),
        (
            "ledger file lost beside its journal",
            'if path.with_name(path.name + "-wal").exists():',
            "if False:",
            "TestOpening::test_a_lost_file_whose_journal_is_there_is_not_started_over",
        ),
    ),
)

CONTROL = mutants_of(
    "daemon/dose/control.py",
    "tests/dose/test_control.py",
    (
        (
            "control a share of the need",
            "share = share_of_need(answer, aim.share_of_need, need_ph)",
            "share = 1.0",
            "test_asks_a_third_of_the_need_of_acid_above_the_dead_band",
        ),
        (
            "control never more than the largest dose",
            "ml = min(ml, aim.largest_ml)",
            "ml = ml",
            "test_never_asks_for_more_than_the_largest_dose",
        ),
        (
            "control the dead band",
            "if not off_ph > dead_band_ph(aim, state, pump):",
            "if not off_ph > 0.0:",
            "test_asks_nothing_near_the_target",
        ),
        (
            "control the dead band of the settings",
            "        dead_band=ph.dead_band,\n",
            "        dead_band=0.0,\n",
            "test_the_aim_comes_from_the_settings",
        ),
        (
            "control the dead band of the noise",
            "NOISE_SDS * state.trend.ph_sd, ",
            "",
            "test_the_dead_band_widens_with_noise",
        ),
        (
            "control the dead band of the smallest dose",
            ", smallest_ph / 2.0)",
            ")",
            "test_the_dead_band_is_never_narrower_than_the_smallest_dose_allows",
        ),
        (
            "control turning round takes more",
            "return pump is usual or",
            "return True or",
            "test_asks_nothing_near_the_target",
        ),
        (
            "control what comes back by itself is left alone",
            "min(off_ph, later_ph) > TURN_PH",
            "off_ph > TURN_PH",
            "test_what_comes_back_by_itself_is_not_turned_round",
        ),
        (
            "control never on one sample",
            "    median_ph = middle(newest, mixed_s)\n    if median_ph is None or state.trend.readings < READINGS:\n",
            "    median_ph = newest[-1][1]\n    if not newest[-1][0] >= mixed_s:\n",
            "test_never_asks_on_few_readings_or_outliers",
        ),
        (
            "control five readings of a new level",
            "if median_ph is None or state.trend.readings < READINGS:",
            "if median_ph is None:",
            "test_after_a_jump_the_new_level_needs_five_readings_of_its_own",
        ),
        (
            "control not before the mixing is over",
            "middle(newest, mixed_s)",
            "middle(newest)",
            "test_five_readings_from_before_the_end_of_the_mixing_ask_nothing",
        ),
        (
            "control the last dose shows",
            "gather(state.newest, ph, shows_s)",
            "gather(state.newest, ph, -inf)",
            "test_a_reading_of_the_mixing_looked_at_later_does_not_count",
        ),
        (
            "control the median as well",
            "off_ph = min(side * (state.trend.ph - aim.target), side * (median_ph - aim.target))",
            "off_ph = side * (state.trend.last - aim.target)",
            "test_never_asks_on_few_readings_or_outliers",
        ),
        (
            "control one reading counts once",
            "    if newest == state.newest:\n        return None, state\n",
            "",
            "test_the_same_reading_counts_once",
        ),
        (
            "control a disturbed dose teaches nothing",
            "return _afresh(state)._replace(pending=None)",
            "return _afresh(state)",
            "test_a_disturbed_dose_teaches_nothing",
        ),
        (
            "control a dose seen too late teaches nothing",
            "if not trend.at_s <= mixed_s + LATEST_S:",
            "if False:",
            "test_a_dose_seen_too_late_teaches_nothing",
        ),
    ),
)

MIXING = mutants_of(
    "daemon/dose/mixing.py",
    "tests/dose/test_control.py",
    (
        (
            "mixing three mixing times",
            "dosed_s + MIXING_TIMES * mixing_time_s",
            "dosed_s",
            "test_waits_three_mixing_times_and_for_readings_in_which_the_dose_shows",
        ),
        (
            "mixing the last dose shows",
            "dosed_s + SHOWS_TIMES * mixing_time_s",
            "dosed_s",
            "test_a_reading_of_the_mixing_looked_at_later_does_not_count",
        ),
    ),
)

LEARN = mutants_of(
    "daemon/dose/learn.py",
    "tests/dose/test_learn.py",
    (
        (
            "learn one lesson changes little",
            "held = max(1.0 / LARGER, min(1.0 / SMALLER, stronger))",
            "held = max(1e-3, stronger)",
            "test_one_lesson_is_never_trusted",
        ),
        (
            "learn never far from the guess",
            "return max(least, min(most, ml_per_ph))",
            "return ml_per_ph",
            "test_never_farther_from_the_guess_than_water_can_be",
        ),
        (
            "learn the settings' share until confirmed",
            "if answer.lessons < CONFIRMED:",
            "if False:",
            "test_the_share_grows_with_lessons_and_shrinks_with_doubt_and_distance",
        ),
        (
            "learn a change-out is another water",
            "if doubt < PRIOR_DOUBT else prior(answer.prior_ml_per_ph)",
            "",
            "test_a_change_out_is_another_water",
        ),
        (
            "learn nothing from what is no number",
            "if not (all(isfinite(number) for number in numbers) and",
            "if not (",
            "test_a_lesson_that_makes_no_sense_teaches_nothing",
        ),
        (
            "learn an odd dose is set aside",
            "return replace(before, odd=True)",
            "pass",
            "test_one_odd_dose_is_set_aside_and_a_second_believed",
        ),
        (
            "learn nothing from a dead pump",
            "    if not _shows(lesson):\n",
            "    if not lesson.expected_ph > 0.0:\n",
            "test_a_dose_that_shows_nothing_makes_the_next_no_larger",
        ),
    ),
)

ANSWERS = mutants_of(
    "daemon/dose/answer_file.py",
    "tests/dose/test_answer_file.py",
    (
        (
            "answers more doubt after a start",
            "age_s = max(0.0, self._begun_s - kept.proven_s) + DAY_S",
            "age_s = max(0.0, self._begun_s - kept.proven_s)",
            "test_a_start_knows_what_was_learned_with_more_doubt",
        ),
        (
            "answers only for the same guess",
            "if answer.prior_ml_per_ph == priors.get(role)",
            "if role in priors",
            "test_another_guess_in_the_settings_makes_a_new_beginning",
        ),
        (
            "answers only what can have been learned",
            "    if not (1.0 / FARTHEST <= times <= FARTHEST and",
            "    if not (",
            "test_a_damaged_file_is_left_with_a_note",
        ),
        (
            "answers a calibration that is yet to come hides nothing",
            "return counts_from_s if counts_from_s <= self._begun_s else 0.0",
            "return counts_from_s",
            "test_when_the_probe_was_calibrated_is_kept",
        ),
    ),
)

DISK = mutants_of(
    "daemon/disk.py",
    "tests/dose/test_answer_file.py",
    (
        (
            "answers only numbers",
            "if not isfinite(read):",
            "if False:",
            "test_a_damaged_file_is_left_with_a_note",
        ),
    ),
)

USUAL = mutants_of(
    "daemon/dose/usual.py",
    "tests/dose/test_usual.py",
    (
        (
            "usual what came back counts",
            "        against * _own_ph(",
            "        0.0 * _own_ph(",
            "test_what_came_back_is_what_the_doses_did_not_do",
        ),
        (
            "usual what doses should have done is taken off",
            " - sum(shift_ph for _, shift_ph in known)",
            "",
            "test_whatever_is_dosed_only_what_pH_did_of_its_own_counts",
        ),
        (
            "usual the way down to the target does not count",
            "    return ph - known[0][0] -",
            "    return -",
            "test_the_way_down_to_the_target_is_nothing_that_came_back",
        ),
        (
            "usual new water has an end of belief",
            "        return NEW_PH\n",
            "        return inf\n",
            "test_new_water_is_believed_more",
        ),
        (
            "usual water is new for a day and no longer",
            "    return YOUNG_PH if age_h < YOUNG_H else MOST_PH\n",
            "    return YOUNG_PH\n",
            "test_new_water_is_believed_more",
        ),
        (
            "usual a drift of yesterday is no measure",
            "else min(MOST_PH, _with_margin(usual_ph))",
            "else _with_margin(usual_ph)",
            "test_nothing_becomes_usual_that_water_does_not_do",
        ),
        (
            "usual a drift that is fast",
            "    return short if short_ph - short_most_ph > max(0.0, day_ph - most_ph) else day\n",
            "    return day\n",
            "test_a_drift_that_is_fast_is_found_within_hours",
        ),
        (
            "usual a quiet week is not held against water",
            "USUAL_TIMES * max(LEAST_PH, usual_ph)",
            "USUAL_TIMES * usual_ph",
            "test_where_nothing_was_dosed_a_little_is_believed",
        ),
        (
            "usual the newest day is no measure of itself",
            "        if dose.end_s > now_s - DAY_S:\n            break\n",
            "",
            "test_the_most_that_came_back_before_is_usual",
        ),
        (
            "usual the first days are no measure",
            "if age_h >= KNOWN_H else None",
            "if given else None",
            "test_new_water_is_believed_more",
        ),
        (
            "usual a word alone grants nothing",
            "    if cleared.agreed and now_s",
            "    if now_s",
            "test_after_a_lock_that_was_cleared_the_count_begins_anew",
        ),
        (
            "usual what was measured holds for a week",
            " and now_s - cleared.at_s < MOST_DAYS * DAY_S:",
            ":",
            "test_a_probe_that_was_found_right_makes_its_day_usual_for_a_week",
        ),
        (
            "usual what a hand poured is not known",
            "    since = 1 + max((place for place, dose in enumerate(doses) if dose.ph is None), default=-1)\n",
            "    since = 0\n",
            "test_what_was_before_a_dose_by_hand_does_not_count",
        ),
        (
            "usual one probe has a narrower margin than two",
            "    if two_agree:\n",
            "    if True:\n",
            "test_two_that_agree_have_a_wider_margin_and_not_any",
        ),
        (
            "usual two probes have an end of belief too",
            "        return AGREED_PH\n",
            "        return inf\n",
            "test_two_that_agree_have_a_wider_margin_and_not_any",
        ),
    ),
)

DOSES = (*PERMIT, *WINDOWS, *LEDGER, *LEDGER_FILE, *CONTROL, *MIXING, *LEARN, *ANSWERS, *DISK, *USUAL)
