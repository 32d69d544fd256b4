"""What holds the whole program back: reservoir, loop, desk, service, runs, links, alarms."""

# ruff: noqa: E501 - the code as it stands, in one piece

from __future__ import annotations

from daemon.desk.methods import METHODS
from daemon.desk.requests import Origin
from daemon.values import VerdictReason
from tests.mutants.mutant import mutants_of

RESERVOIR_TESTS = "tests/keeping/test_reservoir.py"
LOOP_TESTS = "tests/test_loop.py"
DESK_TESTS = "tests/desk/test_methods.py"
EFFECTS_TESTS = "tests/keeping/test_reservoir_effects.py"
SERVICE_TESTS = "tests/test_service.py"
MEASUREMENT_TESTS = "tests/hazards/test_measurement.py"

RESERVOIR = mutants_of(
    "daemon/keeping/reservoir.py",
    EFFECTS_TESTS,
    (
        # condition
        (
            "reservoir hold and lock",
            "        if standing is not None:\n            return standing.condition\n",
            "",
            f"{DESK_TESTS}::test_anyone_may_hold_and_look {LOOP_TESTS}::test_a_run_that_ends_badly_locks_the_reservoir",
        ),
        (
            "reservoir calibrating blocks dosing",
            "        if self.instruments.visit is not None:\n            return Condition.HELD\n",
            "",
            "tests/desk/test_probes.py::test_nothing_is_dosed_while_a_probe_is_in_a_standard "
            "tests/desk/test_probes.py::test_calibrating_ec_holds_the_dosing_too "
            "tests/desk/test_probes.py::test_a_short_hold_during_a_calibration_does_not_end_its_pause",
        ),
        (
            "reservoir only watches after bad ends",
            "return Condition.WATCHING if self._parts.only_watch(stamp) else self._starts_as",
            "return self._starts_as",
            "test_after_three_bad_ends_it_only_watches_until_cleared test_a_new_version_only_watches_for_an_hour",
        ),
        (
            "reservoir a wet tray locks",
            "        if self.instruments.tray_is_wet:\n            self.lock(WET, stamp)\n",
            "",
            "test_a_wet_tray_locks",
        ),
        (
            "reservoir exchanged plugs lock",
            "        if self.instruments.exchanged:\n            self.lock(EXCHANGED, stamp)\n",
            "",
            "tests/faulty/test_grid.py::test_a_fault_is_found_before_a_second_wrong_dose",
        ),
        (
            "reservoir pH waits until strength has told",
            "return fed if wish is None or self._feed.looking else (*fed, wish)",
            "return fed if wish is None else (*fed, wish)",
            "tests/keeping/test_feed.py::test_ph_waits_until_strength_that_was_away_has_told_again",
        ),
        (
            "reservoir what is doubted outlasts a restart",
            "        self._parts.doubts.keep(self.name, doubts)\n",
            "",
            "tests/hazards/test_measurement.py::test_h18_a_restart_forgets_no_disagreement",
        ),
        # doses and what they did
        (
            "reservoir a finding that latches locks",
            "finding.latches and condition is Condition.KEEPING:\n                self.lock(words.finding(finding), stamp)\n",
            "finding.latches and condition is Condition.KEEPING:\n                pass\n",
            "test_doses_without_effect_lock_after_three test_swapped_bottles_lock_after_one_dose",
        ),
        (
            "reservoir acid and base in turns lock",
            "(finding := reversals(self._record.acid_and_base(), self._parts.ledger.proven_s(stamp))) is not None:",
            "(finding := reversals({}, self._parts.ledger.proven_s(stamp))) is not None:",
            "test_acid_and_base_in_turns_lock",
        ),
        (
            "reservoir a hand that was told is not judged",
            "if at_work or self._record.hand_mixes(since_any_s):",
            "if at_work:",
            "tests/hazards/test_water.py::test_h40_a_hand_that_is_told_is_in_the_ledger",
        ),
        (
            "reservoir more than usual locks",
            "                self.lock(words.unusual(refused.request.pump, usual), stamp)\n",
            "                pass\n",
            "tests/hazards/test_measurement.py::test_h18_a_probe_that_drifts_is_found_by_how_far_pH_comes_back",
        ),
        (
            "reservoir what a dose should do",
            "        self._expect_effect(allowed, outcome, stamp)\n",
            "",
            "test_doses_without_effect_lock_after_three",
        ),
        (
            "reservoir no dose without its intent",
            "            self.last_decision = Refusal(allowed.request, Cap.LEDGER)\n            return None\n",
            "            number = 0\n",
            f"{LOOP_TESTS}::test_a_ledger_that_cannot_be_written_means_no_pump_edge",
        ),
        (
            "reservoir the intent before the run",
            "            number = self.last_entry = self._parts.ledger.intend(allowed, stamp, by)\n",
            "            if not stopping():\n                self._run(allowed)\n            number = self.last_entry = self._parts.ledger.intend(allowed, stamp, by)\n",
            f"{LOOP_TESTS}::test_a_dose_is_on_disk_as_intent_while_its_pump_runs_and_settled_after "
            f"{LOOP_TESTS}::test_a_ledger_that_cannot_be_written_means_no_pump_edge",
        ),
        (
            "reservoir told to stop after the intent",
            "(Outcome.FAILED, STOPPED) if stopping() else self._run(allowed)",
            "self._run(allowed)",
            f"{RESERVOIR_TESTS}::test_a_dose_asked_to_stop_after_its_intent_moves_no_pump",
        ),
        (
            "reservoir a lock holds where it cannot be written",
            '            self._parts.ledger.lock(self.name, reason, "evenwater", stamp)\n',
            '            if self._parts.ledger.fault is None:\n                self._parts.ledger.lock(self.name, reason, "evenwater", stamp)\n',
            f"{RESERVOIR_TESTS}::test_a_lock_holds_where_the_ledger_is_broken_already",
        ),
    ),
)

PERMITS = mutants_of(
    "daemon/keeping/permits.py",
    EFFECTS_TESTS,
    (
        (
            "permits the permit",
            "        allowed = permit(request, self._limits[request.pump], facts)\n",
            "        allowed: Permit | Refusal = Permit(request, request.ml, request.ml / self._limits[request.pump].ml_per_s)\n",
            f"{RESERVOIR_TESTS}::test_the_day_cap_calls_a_person {LOOP_TESTS}::test_low_water_stops_dosing",
        ),
        (
            "permits the level it has",
            "has_level_probe=instruments.has(Quantity.LEVEL),",
            "has_level_probe=False,",
            f"test_an_unplugged_sender_stops_dosing {LOOP_TESTS}::test_an_unplugged_level_switch_counts_as_low",
        ),
        (
            "permits the water that is there",
            "level_share=instruments.level_share,",
            "level_share=None,",
            "test_a_dose_is_scaled_to_the_water_that_is_there",
        ),
        (
            "permits caps of the water that is there",
            "return self._table.volume_l * self._water.instruments.share_of_water",
            "return self._table.volume_l",
            f"{RESERVOIR_TESTS}::test_the_share_of_the_water_is_of_the_water_that_is_there",
        ),
        (
            "permits since it was refilled",
            "since_refill_s=instruments.since_refill_s(stamp.at_s),",
            "since_refill_s=None,",
            "tests/keeping/test_feed.py::test_after_a_refill_no_stock_is_given_for_three_mixing_times",
        ),
        (
            "permits since it moved by itself",
            "since_moved_s=self._water.acidity.since_moved_s(stamp.at_s),",
            "since_moved_s=None,",
            "test_a_dose_by_hand_means_hands_off_and_no_lock",
        ),
        (
            "permits circulation that should be proven",
            "has_circulation=instruments.has_circulation,",
            "has_circulation=False,",
            "test_nothing_is_dosed_into_still_water",
        ),
        (
            "permits what is usual here",
            "            usual=usual,\n",
            "            usual=None,\n",
            "tests/hazards/test_measurement.py::test_h18_a_probe_that_drifts_is_found_by_how_far_pH_comes_back",
        ),
    ),
)

ACIDITY = mutants_of(
    "daemon/keeping/acidity.py",
    EFFECTS_TESTS,
    (
        (
            "acidity smaller steps of a pump too strong",
            "        return self._smaller(wish)\n",
            "        return wish\n",
            "test_a_pump_that_became_twice_as_fast_calls_and_its_doses_are_halved",
        ),
        (
            "acidity what cannot be told locks",
            "            return untold\n",
            "            return None\n",
            "test_water_that_comes_in_while_doses_are_in_doubt_locks",
        ),
        (
            "acidity a refill that mixes says nothing of acid",
            "        if refill_s is not None and refill_s < self._mixing_s:\n",
            "        if False:\n",
            "test_water_that_comes_in_while_a_dose_mixes_is_no_fault_of_it",
        ),
        (
            "acidity the margin of two only while they agree",
            "two_agree = self._instruments.two_agree(Quantity.PH)",
            "two_agree = True",
            "tests/hazards/test_measurement.py::test_h18_a_probe_that_drifts_is_found_by_how_far_pH_comes_back",
        ),
        (
            "acidity a step while the program was off does not count",
            "abs(ph - last.ph - last.shift_ph) >= JUMP_PH",
            "False",
            "tests/hazards/test_measurement.py::test_h18_a_step_while_the_program_was_off_is_no_drift",
        ),
        (
            "acidity what was before a calibration does not count",
            "        self.echo = Echo()\n        self._counts_from_s = proven_s\n",
            "        self.echo = Echo()\n",
            "tests/hazards/test_measurement.py::test_h18_the_step_that_a_calibration_makes_is_no_drift",
        ),
    ),
)

RECORD = mutants_of(
    "daemon/keeping/record.py",
    EFFECTS_TESTS,
    (
        (
            "record new water owes nothing",
            "for dose in doses if dose.number > water.after_entry)",
            "for dose in doses)",
            "tests/desk/test_change_out.py::test_done_goes_on_and_the_new_water_owes_nothing",
        ),
        (
            "record a word compares nothing",
            "agreed=words.doubts_ph(lock.reason) and",
            "agreed=True and",
            "tests/keeping/test_record.py::test_only_a_doubt_of_the_probe_that_was_wrong_grants_more",
        ),
        (
            "record a probe that was off agreed with nothing",
            " and not was_off)",
            ")",
            "tests/keeping/test_record.py::test_only_a_doubt_of_the_probe_that_was_wrong_grants_more",
        ),
    ),
)

INSTRUMENTS = mutants_of(
    "daemon/keeping/instruments.py",
    EFFECTS_TESTS,
    (
        (
            "instruments one probe agrees with nobody",
            "return kind.second in self.verdicts and agree(",
            "return agree(",
            "tests/hazards/test_measurement.py::test_h18_a_probe_that_drifts_is_found_by_how_far_pH_comes_back",
        ),
        (
            "instruments a stop-gap opens no lock",
            "        if isinstance(calibration, PhCalibration) and calibration.stop_gap:\n            return False\n",
            "",
            "tests/desk/test_probes.py::test_a_stop_gap_since_the_lock_will_not_do",
        ),
        (
            "instruments a probe out of service carries no dose",
            "                verdict = replace(verdict, quality=Quality.BAD, reason=VerdictReason.OUT_OF_SERVICE)\n",
            "                pass\n",
            "tests/desk/test_methods.py::test_nothing_is_dosed_by_a_probe_out_of_service",
            (VerdictReason.OUT_OF_SERVICE,),
        ),
        (
            "instruments a probe in a standard says nothing of the water",
            "                verdict, after = _calibrating(verdict), after._replace(normal=history.normal)\n",
            "                after = replace(after, normal=history.normal)\n",
            "tests/desk/test_probes.py::test_nothing_is_dosed_while_a_probe_is_in_a_standard",
            (VerdictReason.CALIBRATING,),
        ),
        (
            "instruments a probe back from a standard warms up",
            "            self._histories[quantity] = begun_anew(self._histories.get(quantity, ProbeHistory()))\n",
            "            pass\n",
            "tests/desk/test_probes.py::test_a_probe_that_comes_back_from_a_standard_warms_up_again",
        ),
        (
            "instruments a probe in a standard teaches nothing",
            "_calibrating(verdict), after._replace(normal=history.normal)\n",
            "_calibrating(verdict), after\n",
            "tests/desk/test_probes.py::test_a_probe_in_a_standard_teaches_nothing_of_the_water",
        ),
        (
            "instruments a probe that does not answer",
            "            return NotRead(_WHY_NOT_READ.get(error.fault, VerdictReason.NO_ANSWER), str(error))\n",
            "            return to_reading(Sample(quantity, 0.0, 0.0), None, None, self._compensation)\n",
            f"{LOOP_TESTS}::test_an_unplugged_probe_stops_dosing_and_calls_then_all_is_well_again "
            f"{RESERVOIR_TESTS}::test_a_missing_chip_is_told_and_the_other_reservoir_goes_on",
        ),
        (
            "instruments a reference that is off has a reason of its own",
            "_WHY_NOT_READ = {Fault.REFERENCE: VerdictReason.REFERENCE}",
            "_WHY_NOT_READ: dict[Fault, VerdictReason] = {}",
            f"{MEASUREMENT_TESTS}::test_h20_a_converter_whose_reference_drifted_carries_no_dose",
            (VerdictReason.REFERENCE,),
        ),
        (
            "instruments EC never by a guessed temperature",
            "            return self._measured_temperature_c()\n        return self.temperature_c()",
            "            return self.temperature_c()\n        return self.temperature_c()",
            "test_without_a_thermometer_ph_goes_on_and_ec_does_not",
        ),
        (
            "instruments a bad thermometer is not believed",
            "if verdict is not None and verdict.quality is not Quality.BAD and verdict.reading is not None:",
            "if verdict is not None and verdict.reading is not None:",
            f"{RESERVOIR_TESTS}::test_a_thermometer_that_is_stuck_is_not_believed",
        ),
        (
            "instruments the contact that proves stirring",
            "self.circulation_on = self._wired.circulation.closed() is means_on",
            "self.circulation_on = True",
            "test_nothing_is_dosed_into_still_water",
        ),
        (
            "instruments a refill is noticed",
            "            self._inflow = follow(self._inflow, level.reading.value, level.reading.at_s)\n",
            "            pass\n",
            "test_after_a_refill_nothing_is_dosed_for_three_mixing_times",
        ),
        (
            "instruments a level that is not usable is not known",
            "if verdict is None or not verdict.usable or verdict.reading is None:",
            "if verdict is None or verdict.reading is None:",
            f"{RESERVOIR_TESTS}::test_a_level_that_cannot_be_believed_counts_as_none",
        ),
        (
            "instruments the float switch",
            "return level >= LEVEL_STOP_SHARE if self.measures_share else level > LEVEL_ENOUGH",
            "return True",
            f"{LOOP_TESTS}::test_low_water_stops_dosing",
        ),
    ),
)

CAUSES = mutants_of(
    "daemon/keeping/causes.py",
    RESERVOIR_TESTS,
    (
        (
            "causes a lock calls a person",
            '        yield Cause(kind, known.name, "", f"{known.table.title} is {condition.value}: {reason}.")\n',
            "        pass\n",
            f"{LOOP_TESTS}::test_a_run_that_ends_badly_locks_the_reservoir {RESERVOIR_TESTS}::test_a_long_hold_reminds",
        ),
    ),
)

LOOP = mutants_of(
    "daemon/loop.py",
    LOOP_TESTS,
    (
        (
            "loop no dose once stopping",
            "if isinstance(decision, Permit) and not self.stopping.is_set():",
            "if isinstance(decision, Permit):",
            "test_no_dose_begins_once_stopping",
        ),
        (
            "loop probes settle after a run",
            "            self._let_settle()\n",
            "",
            "test_no_probe_is_looked_at_within_five_seconds_after_a_run",
        ),
        (
            "loop a bad end locks",
            "if outcome not in (None, Outcome.DONE) and not self.stopping.is_set():",
            "if False:",
            "test_a_run_that_ends_badly_locks_the_reservoir test_a_pump_line_that_cannot_be_driven_low_locks",
        ),
        (
            "loop a keeper that ended locks",
            "        if not ended or self.stopping.is_set():\n            return\n",
            "        return\n",
            "test_a_keeper_that_ended_between_doses_locks_within_a_pass",
        ),
        (
            "loop a keeper that ends while stopping",
            "        if not ended or self.stopping.is_set():",
            "        if not ended:",
            "test_a_keeper_that_ends_while_stopping_locks_nothing",
        ),
        (
            "loop ends when told",
            "        while not self.stopping.is_set():\n            self.one_pass()",
            "        for _ in range(3):\n            self.one_pass()",
            "test_a_stopped_loop_makes_no_pass",
        ),
        (
            "loop records that time passes",
            "                self.ledger.keep_time(stamp)\n",
            "                pass\n",
            "test_time_that_passes_without_a_dose_is_proven_too",
        ),
        (
            "loop a broken ledger calls a person",
            '            yield Cause(Kind.LEDGER, "", "", f"{self.ledger.fault}.")\n',
            "            pass\n",
            "test_a_ledger_that_cannot_be_written_means_no_pump_edge",
        ),
    ),
)

FROM_AFAR = "test_from_afar_nothing_can_make_it_dose_more"

DESK = (
    *mutants_of(
        "daemon/desk/asked.py",
        DESK_TESTS,
        (
            (
                "desk parameters are checked",
                'ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)',
                'ConfigDict(extra="ignore", frozen=True, allow_inf_nan=True)',
                "test_wrong_parameters_are_refused_by_name",
            ),
        ),
    ),
    *mutants_of(
        "daemon/desk/methods.py",
        DESK_TESTS,
        (
            (
                "desk a third lock within ten minutes",
                "if again := _locks_again(reservoir, loop):",
                "if again := False:",
                "test_clearing_a_third_lock_within_ten_minutes_does_not_go_on_dosing",
            ),
            (
                "desk only a person at the tank",
                "if not request.origin.is_at_least(least):",
                "if False:",
                FROM_AFAR,
            ),
            *(
                (
                    f"desk {method} only at the tank",
                    f'"{method}": ({model.__name__}, Origin.{least.name}, ',
                    f'"{method}": ({model.__name__}, Origin.REMOTE, ',
                    FROM_AFAR,
                )
                for method, (model, least, _) in METHODS.items()
                if least is not Origin.REMOTE
            ),
            (
                "desk a change of water pauses",
                "    loop.ledger.hold(reservoir.name, words.CHANGING, request.who, loop.stamp())\n",
                "",
                "tests/desk/test_change_out.py::test_it_pauses_and_says_what_to_do",
            ),
            (
                "desk no release while calibrating",
                "    no_probe_out(reservoir)\n    return loop",
                "    return loop",
                "tests/desk/test_probes.py::test_release_waits_for_the_end_of_a_calibration",
            ),
        ),
    ),
    *mutants_of(
        "daemon/desk/pumps.py",
        "tests/desk/test_pumps.py",
        (
            (
                "desk a long priming is refused",
                "    if not asked.ml <= allowed_ml:\n",
                "    if False:\n",
                "test_priming_is_short",
            ),
            (
                "desk no priming of nothing",
                "    if not asked.ml > 0.0:\n",
                "    if False:\n",
                "tests/page/test_app.py::test_a_tube_is_filled_over_a_cup_and_within_bounds",
            ),
            (
                "desk tells the ledger who primed",
                "loop.dose(reservoir, decision, request.who)",
                "loop.dose(reservoir, decision)",
                "tests/page/test_app.py::test_a_tube_is_filled_by_the_password_and_who_asked_is_written_down",
            ),
            (
                "desk a priming nobody waits for is not begun",
                '    if request.given_up.is_set():\n        raise RequestRefused("nobody waits for this any more: not begun")\n',
                "",
                "test_a_priming_that_nobody_waits_for_is_not_begun",
            ),
            (
                "desk no impossible amount by hand",
                "    if not 0.0 < asked.ml <= most_ml:\n",
                "    if False:\n",
                "test_an_amount_that_cannot_be_is_refused",
            ),
            (
                "desk more than a dose by hand is asked about",
                "    if not (asked.sure or asked.ml <= usual_ml):\n",
                "    if False:\n",
                "test_more_than_a_dose_is_asked_about",
            ),
            (
                "desk what nobody waits for is not noted",
                '    if request.given_up.is_set():\n        raise RequestRefused("nobody waits for this any more: not noted")\n',
                "",
                "test_what_nobody_waits_for_is_not_noted",
            ),
            (
                "desk what was poured is charged",
                "    reservoir.poured(asked.pump, asked.ml, note, loop.stamp())\n",
                "",
                "test_what_was_poured_counts_as_a_dose test_whatever_was_poured_is_waited_for",
            ),
            (
                "desk a priming meets the permit",
                '    if isinstance(decision, Refusal):\n        raise RequestRefused(f"{title}: {_no_priming',
                '    if False:\n        raise RequestRefused(f"{title}: {_no_priming',
                "test_priming_needs_a_pause test_priming_waits_for_the_last_dose_to_mix",
            ),
        ),
    ),
    *mutants_of(
        "daemon/desk/probes.py",
        "tests/desk/test_probes.py",
        (
            (
                "desk a probe in doubt needs a measurement",
                "    if standing is None or not words.doubts_ph(standing.reason):\n",
                "    if True:\n",
                "test_a_word_alone_does_not_clear_a_doubt_of_the_probe test_the_probe_must_agree_with_what_was_measured",
            ),
            (
                "desk a word is no measurement",
                "    if measured_ph is None:\n        return (\n",
                "    if measured_ph is None:\n        return '' and (\n",
                "test_a_word_alone_does_not_clear_a_doubt_of_the_probe",
            ),
            (
                "desk a measurement far from the reading",
                "    if not abs(ph.reading.value - measured_ph) <= MOST_OFF_PH + SLACK_PH:\n",
                "    if False:\n",
                "test_the_probe_must_agree_with_what_was_measured",
            ),
            (
                "desk a reading that is no good is not compared",
                "    if ph is None or ph.reading is None or not ph.usable:\n        why",
                "    if ph is None or ph.reading is None:\n        why",
                "test_a_reading_that_cannot_be_relied_on_is_not_compared",
            ),
            (
                "desk calibrating pauses",
                "    loop.ledger.hold(reservoir.name, CALIBRATING, THE_PROBE, loop.stamp())\n",
                "",
                "test_nothing_is_dosed_while_a_probe_is_in_a_standard test_a_restart_in_the_middle_of_a_calibration_stays_held",
            ),
            (
                "desk a refused calibration is not kept",
                "    if fit.calibration is None:\n        return",
                "    if False:\n        return",
                "test_swapped_buffers_are_refused_and_the_old_calibration_stays",
            ),
            (
                "desk what is odd is kept only by a person's word",
                "    if fit.quality is not Quality.GOOD and not asked.accept:\n",
                "    if False:\n",
                "test_what_is_odd_is_kept_only_when_a_person_accepts_it test_a_stop_gap_shows_and_doses_nothing",
            ),
            (
                "desk a float switch is not calibrated",
                "if quantity is Quantity.LEVEL and not instruments.measures_share:",
                "if False:",
                "test_only_probes_there_are_and_that_can_be_calibrated_are",
            ),
            (
                "desk only pH has a stop-gap",
                "    if asked.stop_gap and asked.quantity.kind is not Quantity.PH:\n",
                "    if False:\n",
                "test_only_ph_has_a_stop_gap",
            ),
            (
                "desk finished, it stays paused",
                "    visit.points, visit.before, visit.kept = [], fit.calibration, True\n",
                "    reservoir.instruments.end_visit()\n    release_own(reservoir, _request, loop)\n",
                "test_a_probe_left_in_its_buffer_after_the_finish_doses_nothing",
            ),
            (
                "desk cancelled, it stays paused",
                "    _visit(reservoir, asked.quantity)\n    reservoir.instruments.end_visit()\n    return {",
                "    _visit(reservoir, asked.quantity)\n    reservoir.instruments.end_visit()\n    release_own(reservoir, _request, loop)\n    return {",
                "test_nothing_is_dosed_while_a_probe_is_in_a_standard",
            ),
            (
                "desk a person's hold outlasts calibrating",
                "if standing is None or standing.who != THE_PROBE:\n        return False",
                "if standing is None:\n        return False",
                "test_a_remote_hold_during_calibration_survives_the_finish",
            ),
            (
                "desk a hold from before goes on",
                "        _hold_on(reservoir, visit.held_before, loop)\n",
                "        pass\n",
                "test_a_remote_hold_from_before_goes_on_after_the_finish",
            ),
            (
                "desk one probe at a time",
                "    no_probe_out(reservoir)\n    before",
                "    before",
                "test_one_probe_of_a_reservoir_at_a_time",
            ),
        ),
    ),
)

SERVICE = mutants_of(
    "daemon/service.py",
    SERVICE_TESTS,
    (
        (
            "service the references reach their converters",
            "Chips(self.rig, (one.named(name) for name, one in settings.reference.items()))",
            "Chips(self.rig)",
            f"{RESERVOIR_TESTS}::test_a_converter_that_is_off_stops_what_is_on_it_and_nothing_else",
        ),
        (
            "service the alarm of a converter that is off",
            "for bus_number, address, text in self._chips.off_references():",
            "for bus_number, address, text in ():",
            f"{RESERVOIR_TESTS}::test_a_converter_that_is_off_stops_what_is_on_it_and_nothing_else",
        ),
        (
            "service one daemon to a folder",
            "        keep.enter_context(StateLock(self.folder))\n",
            "",
            "test_a_second_start_on_the_same_folder_touches_no_line",
        ),
        (
            "service the lock before any line",
            "        keep.enter_context(StateLock(self.folder))\n",
            "        keep.enter_context(open_keeper(rig, {}, _pump_lines(settings)) and StateLock(self.folder))\n",
            "test_a_second_start_on_the_same_folder_touches_no_line",
        ),
        (
            "service pump lines for the stop program",
            "        write_pump_lines(self.folder, pump_lines)  # for the stop program, before any line is claimed\n",
            "",
            "tests/keeping/test_pump_lines.py::test_a_start_writes_them",
        ),
        (
            "service low before the first look",
            "self._keeper = open_keeper(self.rig, settings.rig_table(), _pump_lines(settings), *cut_out)",
            "self._keeper = open_keeper(self.rig, settings.rig_table(), (), *cut_out)",
            "test_every_pump_line_is_driven_low_before_the_first_look",
        ),
        (
            "service the cut-out in the keeper's care",
            "_pump_lines(settings), *cut_out)\n        keep.callback",
            "_pump_lines(settings))\n        keep.callback",
            "tests/hazards/test_too_much.py::test_h01_a_cut_out_bounds_it_by_the_runs",
        ),
        (
            "service the cut-out for the stop program",
            "pump_lines = [*_pump_lines(settings), *cut_out]",
            "pump_lines = _pump_lines(settings)",
            "tests/keeping/test_pump_lines.py::test_a_start_writes_the_cut_out_last",
        ),
        (
            "service a missing barrier only watches",
            "        if self._barriers:\n            return",
            "        if False:\n            return",
            "tests/test_service_barriers.py::test_what_should_be_kept_is_only_watched",
        ),
        (
            "service a missing barrier calls a person",
            '                yield Cause(Kind.BARRIER, name, "", text)\n',
            "                pass\n",
            "tests/test_service_barriers.py::test_what_should_be_kept_is_only_watched",
        ),
        (
            "service locked without a ledger",
            "        self._lock_without_ledger(stamp)\n",
            "",
            "test_a_ledger_that_cannot_be_read_locks",
        ),
        (
            "service a failed start closes all",
            "        except BaseException:\n            self._parts.close()\n            raise\n",
            "        except BaseException:\n            raise\n",
            "test_a_book_that_cannot_be_read_stops_the_start_with_the_next_step",
        ),
        (
            "service stop turns the pumps off",
            "        self.loop.stopping.set()\n        self._keeper.all_off()\n",
            "        self.loop.stopping.set()\n",
            f"{LOOP_TESTS}::test_stop_cuts_a_run_short_and_does_not_lock",
        ),
        (
            "service stop ends the loop",
            "        self.loop.stopping.set()\n        self._keeper.all_off()\n",
            "        self._keeper.all_off()\n",
            f"{LOOP_TESTS}::test_a_stopped_loop_makes_no_pass",
        ),
        (
            "service the watchdog is fed by the loop alone",
            "        notify.tell(notify.ALIVE)\n",
            "",
            "test_the_service_manager_hears_of_start_passes_and_end",
        ),
        (
            "service a run ends by saying so",
            "        keep.callback(self._end_run)\n",
            "",
            "test_restarts_by_a_person_are_no_bad_ends",
        ),
    ),
)

ALTERED = (
    *mutants_of(
        "daemon/altered.py",
        "tests/test_altered.py",
        (
            (
                "altered far from what it was",
                "return was * now > 0.0 and more <= less * (MOST_TIMES + SLACK)",
                "return was * now > 0.0",
                "test_more_than_three_times_or_another_sign_is_far",
            ),
            (
                "altered another sign",
                "return was * now > 0.0 and more <= less * (MOST_TIMES + SLACK)",
                "return more <= less * (MOST_TIMES + SLACK)",
                "test_more_than_three_times_or_another_sign_is_far",
            ),
            (
                "altered open to NaN",
                "return was * now > 0.0 and more <= less * (MOST_TIMES + SLACK)",
                "return not (was * now <= 0.0 or more > less * (MOST_TIMES + SLACK))",
                "test_more_than_three_times_or_another_sign_is_far",
            ),
        ),
    ),
    *mutants_of(
        "daemon/desk/methods.py",
        "tests/hazards/test_h27_settings_mutations.py",
        (
            (
                "desk a release takes changed settings over",
                "if _looked(loop, at_settings=False):",
                "if _looked(loop, at_settings=True):",
                "test_only_clear_at_the_tank_takes_changed_settings_over",
            ),
            (
                "desk clearing a lock takes changed settings over",
                "if _looked(loop, at_settings=not cleared) and not cleared:",
                "if _looked(loop, at_settings=True) and not cleared:",
                "test_clearing_a_lock_does_not_take_changed_settings_over",
            ),
        ),
    ),
)

UNHEARD = (
    *mutants_of(
        "daemon/loop.py",
        "tests/hazards/test_network.py",
        (
            (
                "loop locks beside an alarm that nobody heard",
                "        self._lock_unheard(stamp)\n",
                "",
                "test_h33_no_dosing_goes_on_beside_a_grave_alarm_that_nobody_heard",
            ),
        ),
    ),
    *mutants_of(
        "daemon/alarm/life.py",
        "tests/alarm/test_life.py",
        (
            (
                "life an alarm that nobody heard for a day",
                "and not now_s - alarm.raised_s < UNHEARD_S",
                "and False",
                "test_a_grave_alarm_that_nobody_heard_for_a_day",
            ),
        ),
    ),
)

RUNS = mutants_of(
    "daemon/runs.py",
    "tests/test_runs.py",
    (
        (
            "runs settings far from the last run's",
            "        if self.altered:\n            return Watch.SETTINGS\n",
            "",
            "test_settings_far_from_those_of_the_last_run_only_watch",
        ),
        (
            "runs numbers taken over without a word",
            "dose_numbers=before.dose_numbers if altered(before.dose_numbers, dose_numbers) else kept,",
            "dose_numbers=kept,",
            "test_settings_far_from_those_of_the_last_run_only_watch",
        ),
        (
            "runs a number left out for a while",
            "kept = {**before.dose_numbers, **dose_numbers}",
            "kept = dict(dose_numbers)",
            "test_a_number_left_out_for_a_while_is_not_forgotten",
        ),
        (
            "runs three bad ends",
            "latched=before.latched or len(ends_s) >= BAD_ENDS,",
            "latched=before.latched,",
            "test_three_bad_ends_within_ten_minutes_only_watch",
        ),
        (
            "runs latched until cleared",
            "latched=before.latched or len(ends_s) >= BAD_ENDS,",
            "latched=len(ends_s) >= BAD_ENDS,",
            "test_it_watches_until_a_person_clears_it",
        ),
        (
            "runs a time that went back",
            "if not proven_s - end_s > WITHIN_S)",
            "if 0.0 <= proven_s - end_s <= WITHIN_S)",
            "test_a_time_that_went_back_counts_as_just_now",
        ),
        (
            "runs a new version watches",
            "new_until_s=proven_s + AFTER_UPDATE_S if updated else before.new_until_s,",
            "new_until_s=before.new_until_s,",
            "test_a_new_version_watches_for_an_hour",
        ),
        (
            "runs a record that cannot be read",
            "self._readable = fault is None",
            "self._readable = True",
            "test_a_record_that_cannot_be_read_only_watches",
        ),
        (
            "runs a record that cannot be written",
            "if not (self._readable and self._written):",
            "if not self._readable:",
            "test_a_record_that_cannot_be_written_only_watches",
        ),
    ),
)

GATE = mutants_of(
    "daemon/link/gate.py",
    "tests/link/test_gate.py",
    (
        (
            "gate a retained command",
            "        if retained:\n            return Ignored.RETAINED\n",
            "",
            "test_a_retained_or_huge_one_is_not_even_read",
        ),
        (
            "gate a huge command",
            "        if len(payload) > LARGEST:\n            return Ignored.TOO_LARGE\n",
            "",
            "test_a_retained_or_huge_one_is_not_even_read",
        ),
        (
            "gate without the nonce",
            "            return Ignored.LATE\n",
            "            pass\n",
            "test_a_nonce_serves_once_and_for_a_minute",
        ),
        (
            "gate a nonce that serves twice",
            "        self._change_nonce(now_s)\n\n    def _change_nonce",
            "\n    def _change_nonce",
            "test_a_nonce_serves_once_and_for_a_minute",
        ),
        (
            "gate an id that serves twice",
            "            return Ignored.REPLAYED\n",
            "            pass\n",
            "test_an_id_serves_once_also_over_a_restart",
        ),
        (
            "gate more than one in a minute",
            "            return Ignored.TOO_SOON\n",
            "            pass\n",
            "test_one_in_a_minute",
        ),
        (
            "gate a release that nobody signed",
            "            return Ignored.UNSIGNED\n",
            "            pass\n",
            "test_release_is_signed_for_what_it_asks",
        ),
        (
            "gate a key for nobody",
            "        if key is None or command.signature is None:\n            return False\n",
            "        key = key or b''\n        if command.signature is None:\n            return False\n",
            "test_without_a_signature_or_a_key_nobody_releases",
        ),
    ),
)

LINKS = (
    *GATE,
    *mutants_of(
        "daemon/link/session.py",
        "tests/link/test_mqtt.py",
        (
            (
                "link a retained command",
                "        if message.retained:\n            self._gate.ignore(",
                "        if False:\n            self._gate.ignore(",
                "test_a_retained_hold_is_ignored_live_and_after_a_restart",
            ),
            (
                "link anything but true",
                'elif found is None or message.payload != b"true":',
                "elif found is None:",
                "test_anything_but_true_changes_nothing_and_is_counted",
            ),
            (
                "link a flood of commands",
                '        if now_s - self._held_s.get(reservoir, float("-inf")) < HOLD_GAP_S:\n            return\n',
                "",
                "test_a_flood_of_holds_is_one_request",
            ),
            (
                "link what comes over the network is from afar",
                'self._submit(Request("hold", params, Origin.REMOTE, _log_refusal))',
                'self._submit(Request("hold", params, Origin.LOCAL, _log_refusal))',
                "test_hold_true_becomes_a_remote_request",
            ),
        ),
    ),
    *mutants_of(
        "daemon/link/wire.py",
        "tests/link/test_mqtt.py",
        (
            (
                "link retained stays visible",
                "retainAsPublished=as_published",
                "retainAsPublished=False",
                "test_a_retained_hold_is_ignored_live_and_after_a_restart",
            ),
        ),
    ),
    *mutants_of(
        "daemon/ways/addresses.py",
        "tests/ways/test_addresses.py",
        (
            (
                "ways a file for all to read",
                "    if mode & 0o077:",
                "    if False:",
                "test_a_file_that_others_may_read_is_refused",
            ),
            (
                "ways an address with a repr",
                "    url: str = field(repr=False)",
                "    url: str = field()",
                "test_an_address_has_no_repr",
            ),
            (
                "ways a short password shown",
                "_pieces(private, 1)",
                "_pieces(private, 3)",
                "test_an_encoded_password_is_hidden_as_it_is_meant_too",
            ),
        ),
    ),
    *mutants_of(
        "daemon/ways/plan.py",
        "tests/ways/test_plan.py",
        (
            (
                "ways more than an hour may have",
                "    return of_the_hour < most_per_hour and",
                "    return",
                "test_never_more_than_the_settings_allow",
            ),
            (
                "ways more than a day may have",
                "of_the_hour < most_per_hour and len(memory.sent_s) < most_per_day",
                "of_the_hour < most_per_hour",
                "test_never_more_than_the_settings_allow",
            ),
            (
                "ways nothing kept for grave ones",
                "    if not grave:\n        most_per_hour",
                "    if False:\n        most_per_hour",
                "test_half_is_kept_for_grave_ones",
            ),
            (
                "ways no quiet hours",
                "    if _waits(alarm.priority.value, hour, settings):",
                "    if False:",
                "test_in_the_quiet_hours_what_may_wait_waits",
            ),
            (
                "ways over again and again",
                "over=() if over else memory.over",
                "over=memory.over",
                "test_that_one_is_over_is_told_once_of_those_that_went_out",
            ),
            (
                "ways over while it stands again",
                "(*memory.over, *memory.told)) if key not in there)",
                "(*memory.over, *memory.told)))",
                "test_what_is_there_again_is_not_over",
            ),
        ),
    ),
    *mutants_of(
        "daemon/ways/herald.py",
        "tests/ways/test_herald.py",
        (
            (
                "ways a service that hangs",
                "            timeout=within_s,\n",
                "",
                "test_a_service_that_hangs_is_given_up",
            ),
            (
                "ways no second try",
                "                self._waiting.appendleft(message)",
                "                pass",
                "test_what_got_out_nowhere_is_tried_again_until_it_does",
            ),
        ),
    ),
    *mutants_of(
        "daemon/ways/send.py",
        "tests/ways/test_send.py",
        (
            (
                "ways an address in the answer",
                'redacted(said, order["url"])',
                "said",
                "test_what_the_process_prints_holds_no_secret",
            ),
        ),
    ),
    *mutants_of(
        "daemon/broker/make.py",
        "tests/broker/test_make.py",
        (
            (
                "broker half of a group",
                "    if there and len(there) < len(group):",
                "    if False:",
                "test_half_of_what_belongs_together_is_refused test_half_of_the_certificates_is_refused",
            ),
            (
                "broker a box called as a user",
                "    if box in (texts.PANEL, texts.WATCH):",
                "    if False:",
                "test_a_box_called_as_a_user_is_refused",
            ),
            (
                "broker no key to sign with",
                "    if signed and authority_there and not (folder / texts.CA_KEY).exists():",
                "    if False:",
                "test_half_of_what_belongs_together_is_refused test_half_of_the_certificates_is_refused",
            ),
            (
                "broker a new authority beside old certificates",
                "        if (folder / name).exists():\n            raise BrokerError",
                "        if False:\n            raise BrokerError",
                "test_half_of_what_belongs_together_is_refused test_half_of_the_certificates_is_refused",
            ),
            (
                "broker passwords beside certificates",
                "    if there is not certificates:",
                "    if False:",
                "test_a_folder_goes_by_one_kind_only",
            ),
            (
                "broker any name in the certificate",
                '        if not name or not all(letter.isalnum() or letter in ".-:" for letter in name) or not '
                "name.isascii():",
                "        if False:",
                "test_a_name_that_is_none_is_refused",
            ),
            (
                "broker secrets for all to read",
                "os.O_CREAT | os.O_EXCL | os.O_WRONLY, mode",
                "os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o644",
                "test_secrets_are_for_their_owner_only test_with_certificates_there_is_no_password",
            ),
            (
                "broker a client's certificate serves as the broker's",
                "extendedKeyUsage = clientAuth",
                "extendedKeyUsage = clientAuth, serverAuth",
                "test_with_certificates_there_is_no_password",
            ),
        ),
    ),
    *mutants_of(
        "daemon/link/trust.py",
        "tests/link/test_trust.py",
        (
            (
                "link an empty password",
                "    if not password:\n        raise MqttSettingsError",
                "    if False:\n        raise MqttSettingsError",
                "test_without_its_password_the_link_fails_closed",
            ),
            (
                "link a credential elsewhere",
                "    if Path(name).name != name:",
                "    if False:",
                "test_without_its_password_the_link_fails_closed",
            ),
            (
                "link a short key",
                "    if len(key) < SHORTEST_KEY:",
                "    if False:",
                "test_keys_of_controllers_come_from_credentials",
            ),
            (
                "link an unchecked server",
                "ssl.create_default_context(cafile=self.ca_file)",
                "ssl._create_unverified_context(cafile=self.ca_file)",
                "test_the_server_is_always_checked "
                "test_another_authority_is_refused_and_a_new_file_of_the_right_one_serves_at_once",
            ),
        ),
    ),
    *mutants_of(
        "daemon/link/session.py",
        "tests/link/test_session.py",
        (
            (
                "link a value before the description",
                "        self.phase = Phase.DESCRIBING\n",
                "        self._fill()\n",
                "test_nothing_overtakes_the_description_and_nothing_is_ready_before_all_is_told",
            ),
        ),
    ),
    *mutants_of(
        "daemon/link/session.py",
        "tests/link/test_two_boxes.py",
        (
            (
                "link another's nonce",
                "and kept not in self._memory.told_nonces:",
                "and False:",
                "test_two_that_take_turns_both_know_and_do_so_ever_more_rarely",
            ),
            (
                "link another's heartbeat",
                "stored=False, of_others=True)",
                "stored=False)",
                "test_a_heartbeat_that_is_not_ours_is_a_stranger",
            ),
        ),
    ),
    *mutants_of(
        "daemon/link/mqtt.py",
        "tests/link/test_mqtt.py",
        (
            (
                "link a silent broker",
                "        if wire.oldest_wait_s() > patience_s:",
                "        if False:",
                "test_publishing_does_not_wait_for_a_frozen_broker tests/link/test_cut_link.py",
            ),
            (
                "link an error of its own",
                "        except Exception as error:\n            LOG.exception",
                "        except ZeroDivisionError as error:\n            LOG.exception",
                "test_an_error_of_our_own_does_not_end_the_link",
            ),
        ),
    ),
    *mutants_of(
        "daemon/link/control.py",
        "tests/link/test_control.py",
        (
            (
                "control socket an oversized line",
                "if len(line) > LARGEST_LINE:",
                "if False:",
                "test_a_line_has_a_largest_size",
            ),
            (
                "control socket for owner and group",
                "        fresh.chmod(MODE)\n",
                "",
                "test_the_socket_is_for_owner_and_group",
            ),
            (
                "control socket number of connections",
                "if len(self._clients) < MOST_CLIENTS:",
                "if True:",
                "test_the_seventeenth_connection_is_turned_away_and_the_next_after_one_left_is_served",
            ),
            (
                "control socket NaN is no number",
                "call = json.loads(line, parse_constant=_not_json, parse_float=_finite)",
                "call = json.loads(line)",
                "test_a_malformed_call_gets_the_code_of_the_standard",
            ),
            (
                "control socket of another daemon",
                "            _refuse_taken(self._path)\n",
                "            pass\n",
                "test_a_socket_that_answers_is_left_alone",
            ),
        ),
    ),
)

LOCK = mutants_of(
    "daemon/lock.py",
    "tests/test_lock.py",
    (
        (
            "lock of the state folder",
            "fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)",
            "fcntl.flock(self._file, fcntl.LOCK_SH | fcntl.LOCK_NB)",
            "",
        ),
    ),
)

ALARM = mutants_of(
    "daemon/alarm/life.py",
    "tests/alarm/test_life.py",
    (
        (
            "alarm acknowledging clears nothing",
            "            following[key] = replace(life, alarm=replace(life.alarm, state=seen))\n",
            "            del following[key]\n",
            "test_acknowledging_silences_and_clears_nothing",
        ),
        (
            "alarm on-delay",
            "if now_s - life.there_since_s < row.on_delay_s:",
            "if False:",
            "test_out_of_band_waits_for_its_delay",
        ),
        (
            "alarm raised at all",
            "return replace(life, cause=cause, alarm=_raised(cause, now_s, utc))",
            "return replace(life, cause=cause)",
            "test_a_dead_probe_alarms_at_once_and_says_what_to_do",
        ),
        (
            "alarm returned, not yet seen by anyone",
            "return replace(life, alarm=replace(life.alarm, state=AlarmState.RETURNED))",
            "return None",
            "test_a_cause_that_goes_returns_then_leaves_after_its_off_delay",
        ),
        (
            "alarm that is grave waits to be seen",
            "and not _waits_to_be_seen(life):",
            "and True:",
            "test_a_grave_alarm_that_went_by_itself_waits_until_it_is_seen",
        ),
        (
            "alarm only of low priority is shelved",
            " and life.alarm.priority is Priority.LOW",
            "",
            "test_only_low_priority_can_be_shelved",
        ),
        (
            "alarm shelved for ever",
            "    return replace(life, shelved_until_s=None)\n\n\ndef _explained",
            "    return life\n\n\ndef _explained",
            "test_a_shelved_alarm_is_silent_until_its_time",
        ),
        (
            "alarm recalled outlasts the start",
            "    if life.recalled and not (settled or TABLE[life.cause.kind].known_at_once):\n        return life\n",
            "",
            "test_a_recalled_alarm_waits_until_much_is_known",
        ),
        (
            "alarm that comes back",
            "        alarm = replace(alarm, state=AlarmState.UNACKNOWLEDGED)\n",
            "        pass\n",
            "test_a_cause_that_comes_back_is_the_same_alarm_again",
        ),
    ),
)

PROGRAM = (
    *RESERVOIR,
    *PERMITS,
    *ACIDITY,
    *RECORD,
    *INSTRUMENTS,
    *CAUSES,
    *LOOP,
    *DESK,
    *SERVICE,
    *ALTERED,
    *UNHEARD,
    *RUNS,
    *LINKS,
    *LOCK,
    *ALARM,
)
