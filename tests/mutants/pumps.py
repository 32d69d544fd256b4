"""What bounds a pump that turns, and what the settings may not say of one."""

# ruff: noqa: E501 - the code as it stands, in one piece

from __future__ import annotations

from tests.mutants.mutant import mutants_of

PROCESS = "tests/drivers/test_keeper_process.py"
NONSENSE = "test_every_kind_of_nonsense_turns_off"
CUT_OUT = "test_a_cut_out_is_on_around_each_run_and_at_no_other_time"
WAYS_OUT = "test_the_cut_out_goes_off_on_every_way_out"

KEEPER = mutants_of(
    "drivers/keeper.py",
    "tests/drivers/test_keeper.py",
    (
        (
            "keeper low first",
            "        _each(self._cut_out | self._pins, lambda pin: pin.output_with_state(False))\n",
            "",
            f"test_drives_every_line_low_first {PROCESS}::test_every_line_is_low_before_it_is_ready",
        ),
        (
            "keeper unknown line",
            "        if line not in self._pins:\n",
            "        if False:\n",
            "test_refuses_a_line_that_is_no_pump",
        ),
        (
            "keeper longest run",
            "if not 0.0 < run_s <= MAX_RUN_S:",
            "if not 0.0 < run_s:",
            "test_refuses_a_run_outside_its_bounds",
        ),
        (
            "keeper a run of nothing or less",
            "if not 0.0 < run_s <= MAX_RUN_S:",
            "if not run_s <= MAX_RUN_S:",
            "test_refuses_a_run_outside_its_bounds",
        ),
        (
            "keeper a run of no number",
            "if not 0.0 < run_s <= MAX_RUN_S:",
            "if run_s <= 0.0 or run_s > MAX_RUN_S:",
            "test_refuses_a_run_outside_its_bounds",
        ),
        (
            "keeper longest run is that of the settings",
            "MAX_RUN_S: Final = 30.0",
            "MAX_RUN_S: Final = 300.0",
            "test_its_bounds_and_words_are_those_of_the_settings_and_the_ledger",
        ),
        (
            "keeper one at a time",
            "        if self._run is not None:\n            raise RunRefused",
            "        if False:\n            raise RunRefused",
            "test_one_pump_at_a_time",
        ),
        (
            "keeper lease",
            "if run.started_s <= now_s < min(due_s, self._lease_until_s):",
            "if run.started_s <= now_s < due_s:",
            "test_a_lease_that_lapses_turns_off",
        ),
        (
            "keeper lease of two seconds",
            "LEASE_S: Final = 2.0",
            "LEASE_S: Final = 20.0",
            f"test_a_lease_that_lapses_turns_off {PROCESS}::test_silence_turns_off",
        ),
        (
            "keeper end of a run",
            "if run.started_s <= now_s < min(due_s, self._lease_until_s):",
            "if run.started_s <= now_s < self._lease_until_s:",
            "test_a_lease_is_renewed_but_never_past_the_end",
        ),
        (
            "keeper a clock that went back",
            "if run.started_s <= now_s < min(due_s, self._lease_until_s):",
            "if now_s < min(due_s, self._lease_until_s):",
            "test_a_clock_that_is_no_number_or_goes_back_turns_off",
        ),
        (
            "keeper a clock of no number",
            "if run.started_s <= now_s < min(due_s, self._lease_until_s):",
            "if run.started_s <= now_s and not now_s >= min(due_s, self._lease_until_s) or now_s != now_s:",
            "test_a_clock_that_is_no_number_or_goes_back_turns_off",
        ),
        (
            "keeper looks in time",
            "        return max(0.0, until_s - self._now())",
            "        return IDLE_S",
            "test_says_when_to_look_next",
        ),
        (
            "keeper read-back",
            "    if pin.state:\n        raise LineStuck",
            "    if False:\n        raise LineStuck",
            "test_a_line_that_stays_high_is_told_after_the_others_are_off",
        ),
        (
            "keeper every line in spite of one",
            '            failed.append(f"GPIO {line} ({error})")\n',
            '            failed.append(f"GPIO {line} ({error})")\n            break\n',
            "test_a_line_that_stays_high_is_told_after_the_others_are_off",
        ),
        (
            "keeper a stuck line is told",
            "    if failed:\n",
            "    if False:\n",
            "test_a_line_that_stays_high_is_told_after_the_others_are_off",
        ),
        (
            "keeper off drives low",
            "        _each(self._pins | self._cut_out, _drive_low)\n",
            "",
            "test_a_run_ends_by_itself test_all_off_cuts_a_run_short_and_may_be_said_twice",
        ),
        (
            "keeper cut-out low first",
            "_each(self._cut_out | self._pins, lambda pin",
            "_each(self._pins, lambda pin",
            f"{CUT_OUT} {PROCESS}::test_a_successor_drives_the_cut_out_low_first",
        ),
        (
            "keeper cut-out off after a run",
            "_each(self._pins | self._cut_out, _drive_low)",
            "_each(self._pins, _drive_low)",
            f"{CUT_OUT} test_a_cut_out_goes_off_with_a_lapsed_lease_too {PROCESS}::{WAYS_OUT}",
        ),
        (
            "keeper cut-out off after the pump",
            "_each(self._pins | self._cut_out, _drive_low)",
            "_each(self._cut_out | self._pins, _drive_low)",
            f"{CUT_OUT} {PROCESS}::{WAYS_OUT}",
        ),
        (
            "keeper cut-out on before the pump",
            "(*self._cut_out.values(), self._pins[line])",
            "(self._pins[line], *self._cut_out.values())",
            f"{CUT_OUT} {PROCESS}::{WAYS_OUT}",
        ),
        (
            "keeper cut-out is no pump",
            "        if line not in self._pins:",
            "        if line not in self._pins | self._cut_out:",
            "test_a_cut_out_is_no_pump",
        ),
    ),
)

KEEPER_PROCESS = mutants_of(
    "drivers/keeper_process.py",
    PROCESS,
    (
        (
            "keeper all off at its end, exceptions too",
            "        finally:\n            self._keeper.all_off()\n",
            "        finally:\n            pass\n",
            f"{NONSENSE} test_a_broken_pin_library_turns_off_and_ends_it",
        ),
        (
            "keeper end of input",
            '                if block == b"":\n                    return "the commands ended"\n',
            "",
            "test_end_of_file_turns_off",
        ),
        (
            "keeper oversized command",
            "if len(command) > MAX_COMMAND_BYTES:",
            "if False:",
            NONSENSE,
        ),
        (
            "keeper unfinished command without end",
            "for command in (*commands, unread):",
            "for command in commands:",
            "test_nonsense_turns_off_and_ends_it",
        ),
        (
            "keeper malformed command",
            '                raise ValueError(f"not a command: {command!r}")',
            "                pass",
            "test_nonsense_turns_off_and_ends_it",
        ),
        (
            "keeper numbers that are none",
            "self._start(int(number), int(line), float(run_s))",
            "self._start(9, 17, 1.0)",
            NONSENSE,
        ),
        (
            "keeper process hears of the cut-out",
            "time.monotonic, cut_out)",
            "time.monotonic)",
            WAYS_OUT,
        ),
        (
            "keeper a repeated run",
            "if number <= self._number:",
            "if False:",
            "test_the_same_run_twice_runs_once",
        ),
        (
            "keeper a refused run turns off",
            '            self._tell(self._keeper.all_off("another run was asked for meanwhile"))\n',
            "",
            "test_a_refused_run_turns_off_and_says_why",
        ),
        (
            "keeper told to stop",
            'self._tell(self._keeper.all_off("told to stop"))',
            "pass",
            "test_off_turns_off",
        ),
        (
            "keeper SIGTERM",
            "SIGNALS_TO_END: Final = (signal.SIGTERM, signal.SIGHUP)",
            "SIGNALS_TO_END: Final = (signal.SIGHUP,)",
            "test_a_signal_to_end_turns_off",
        ),
        (
            "keeper SIGHUP",
            "SIGNALS_TO_END: Final = (signal.SIGTERM, signal.SIGHUP)",
            "SIGNALS_TO_END: Final = (signal.SIGTERM,)",
            "test_a_signal_to_end_turns_off",
        ),
        (
            "keeper a signal ends it",
            '                if self._signals in readable:\n                    return "told to end by a signal"\n',
            "",
            "test_a_signal_to_end_turns_off",
        ),
        (
            "keeper a parent that does not read",
            "        os.set_blocking(answers, False)",
            "        os.set_blocking(answers, True)",
            "test_a_parent_that_does_not_read_holds_nothing_up",
        ),
    ),
)

KEEPING = (
    *mutants_of(
        "drivers/keeping.py",
        "tests/drivers/test_keeping.py",
        (
            (
                "keeping here, off whatever happens",
                "        finally:\n            self._keeper.all_off()\n",
                "        finally:\n            pass\n",
                "test_an_exception_in_the_middle_turns_off",
            ),
            (
                "keeping here, a clock that stands still",
                "for _ in range(MOST_SLICES):",
                "for _ in iter(int, 1):",
                "test_a_clock_that_stands_still_does_not_hold_the_loop",
            ),
            (
                "keeping here, nothing once closed",
                '        if not self._open:\n            raise PumpError("the pump keeper is closed")\n',
                "",
                "test_closed_it_runs_nothing",
            ),
        ),
    ),
    *mutants_of(
        "drivers/keeping.py",
        PROCESS,
        (
            (
                "keeping a dead child is an error",
                "        if not self.alive():\n            raise PumpError",
                "        if False:\n            raise PumpError",
                "test_a_child_that_died_idle_is_an_error_at_the_next_run",
            ),
            (
                "keeping looks after an idle child",
                'return self._replaced(self._child.last_words()) if self._open and not self._child.running() else ""',
                'return ""',
                "test_a_child_that_died_idle_is_found_and_replaced_between_runs",
            ),
            (
                "keeping a successor drives every line low",
                "            self._child = _Child(self._arguments)\n        except (_Gone, OSError) as error:\n            what",
                "            pass\n        except (_Gone, OSError) as error:\n            what",
                "test_a_killed_child_is_noticed_and_its_line_driven_low",
            ),
            (
                "keeping a hung child is killed",
                "        for insist in (self._process.terminate, self._process.kill):",
                "        for insist in (self._process.terminate,):",
                "test_a_hung_child_is_noticed_and_replaced",
            ),
            (
                "keeping a hung child is given up",
                "        while time.monotonic() < latest_s:",
                "        while True:",
                "test_a_hung_child_is_noticed_and_replaced",
            ),
            (
                "keeping an interrupted parent turns off",
                "        except BaseException:  # from elsewhere, as Ctrl-C\n            self.all_off()\n            raise\n",
                "",
                "test_an_interrupted_parent_turns_off",
            ),
            (
                "keeping ready before anything is asked",
                'if self.answer(START_WITHIN_S) != "ready":',
                "if False:",
                "test_a_keeper_that_cannot_start_says_why",
            ),
        ),
    ),
)

PUMP = mutants_of(
    "drivers/pump.py",
    "tests/drivers/test_pump.py",
    (
        (
            "pump a volume that is none",
            'if not 0.0 < ml < float("inf"):',
            "if False:",
            "test_refuses_a_volume_that_is_none",
        ),
        (
            "pump a rate that is none",
            'if not 0.0 < ml_per_s < float("inf"):',
            "if False:",
            "test_refuses_a_rate_that_is_none",
        ),
    ),
)

LOAD = "tests/config/test_load.py"
SLIPS = f"{LOAD}::test_a_number_off_by_a_unit_is_refused"
CODE = "test_the_limits_of_the_code_are_these"

TABLE = mutants_of(
    "config/table.py",
    "tests/config/test_settings.py",
    (
        (
            "settings nothing unknown",
            'ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, strict=True)',
            'ConfigDict(extra="ignore", frozen=True, allow_inf_nan=False, strict=True)',
            f"{LOAD}::test_an_unknown_key_is_refused_with_the_nearest",
        ),
        (
            "settings no NaN, no infinity",
            'ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, strict=True)',
            'ConfigDict(extra="forbid", frozen=True, strict=True)',
            f"{LOAD}::test_a_wrong_value_is_one_line",
        ),
        (
            "settings no text for a number",
            'ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, strict=True)',
            'ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)',
            f"{LOAD}::test_a_wrong_value_is_one_line {SLIPS}",
        ),
    ),
)

PUMP_TABLE = mutants_of(
    "config/pump.py",
    "tests/config/test_settings.py",
    (
        (
            "settings MIXING_TIMES",
            "MIXING_TIMES = 3.0",
            "MIXING_TIMES = 2.0",
            "tests/dose/test_permit.py::TestWait::test_too_soon_refuses_by_name "
            "tests/dose/test_permit.py::test_hands_off_for_three_mixing_times",
        ),
        ("settings HARD_MAX_RUN_S", "HARD_MAX_RUN_S = 30.0", "HARD_MAX_RUN_S = 60.0", CODE),
        ("settings HARD_MAX_PER_DAY_ML", "HARD_MAX_PER_DAY_ML = 500.0", "HARD_MAX_PER_DAY_ML = 5000.0", CODE),
        (
            "settings HARD_MAX_SHARE_PER_DOSE",
            "HARD_MAX_SHARE_PER_DOSE = 0.001",
            "HARD_MAX_SHARE_PER_DOSE = 0.01",
            CODE,
        ),
        (
            "settings HARD_MAX_SHARE_PER_DAY",
            "HARD_MAX_SHARE_PER_DAY = 0.01",
            "HARD_MAX_SHARE_PER_DAY = 0.1",
            CODE,
        ),
        (
            "settings HARD_MAX_WATER_PER_DAY_ML",
            "HARD_MAX_WATER_PER_DAY_ML = 20_000.0",
            "HARD_MAX_WATER_PER_DAY_ML = 90_000.0",
            CODE,
        ),
        (
            "settings HARD_MAX_WATER_SHARE_PER_DOSE",
            "HARD_MAX_WATER_SHARE_PER_DOSE = 0.02",
            "HARD_MAX_WATER_SHARE_PER_DOSE = 0.2",
            CODE,
        ),
        (
            "settings HARD_MAX_WATER_SHARE_PER_DAY",
            "HARD_MAX_WATER_SHARE_PER_DAY = 0.25",
            "HARD_MAX_WATER_SHARE_PER_DAY = 1.0",
            CODE,
        ),
        ("settings HARD_MIN_GAP_S", "HARD_MIN_GAP_S = 60.0", "HARD_MIN_GAP_S = 6.0", CODE),
        ("settings least gap", "        ge=HARD_MIN_GAP_S,\n", "", "test_no_key_of_a_pump_goes_beyond_the_code"),
        (
            "settings dose of at most",
            'default=None,\n        ge=0.0,\n        le=HARD_MAX_WATER_PER_DAY_ML,\n        description="the most one dose',
            'default=None,\n        ge=0.0,\n        description="the most one dose',
            "test_no_key_of_a_pump_goes_beyond_the_code",
        ),
        (
            "settings hour of at most",
            'default=None,\n        ge=0.0,\n        le=HARD_MAX_WATER_PER_DAY_ML,\n        description="the most in any hour',
            'default=None,\n        ge=0.0,\n        description="the most in any hour',
            "test_no_key_of_a_pump_goes_beyond_the_code",
        ),
        (
            "settings day of at most",
            'default=None,\n        ge=0.0,\n        le=HARD_MAX_WATER_PER_DAY_ML,\n        description="the most in any 24',
            'default=None,\n        ge=0.0,\n        description="the most in any 24',
            "test_no_key_of_a_pump_goes_beyond_the_code",
        ),
        (
            "settings a pump where the board holds it low",
            '    if reason is not None:\n        raise ValueError(f"GPIO',
            '    if False:\n        raise ValueError(f"GPIO',
            "test_a_pump_may_not_sit_where_it_would_turn_at_power_on",
        ),
    ),
)

SETTINGS = mutants_of(
    "config/settings.py",
    "tests/config/test_settings.py",
    (
        (
            "settings a line of the cut-out that is low at power-on",
            '    line: PumpLine = Field(\n        ge=0,\n        le=27,\n        description="the GPIO (BCM) number of the driver of the relay',
            '    line: int = Field(\n        ge=0,\n        le=27,\n        description="the GPIO (BCM) number of the driver of the relay',
            "test_a_cut_out_needs_a_line_as_a_pump_does",
        ),
        (
            "settings a reservoir only watches until told",
            '        default="watching", description="watching measures only',
            '        default="keeping", description="watching measures only',
            "test_a_reservoir_watches_until_told_to_keep",
        ),
        (
            "settings half the need at most",
            "        default=1 / 3,\n        gt=0.0,\n        le=0.5,\n",
            "        default=1 / 3,\n        gt=0.0,\n",
            "test_never_more_than_half_the_need_is_asked_for_at_a_time",
        ),
        (
            "settings an hour between acid and base",
            "default=6.0, ge=1.0, le=72.0,",
            "default=6.0, le=72.0,",
            "test_acid_and_base_are_an_hour_apart_at_least",
        ),
    ),
)

PLAUSIBLE = mutants_of(
    "config/plausible.py",
    "tests/config/test_plausible.py",
    (
        (
            "plausible stocks in pairs",
            "if has in reservoir.pump and lacks not in reservoir.pump:",
            "if False:",
            "test_one_stock_without_the_other_is_refused",
        ),
        (
            "plausible order of caps",
            "if not less <= more:",
            "if False:",
            "test_a_smaller_window_never_allows_more",
        ),
        (
            "plausible no reagent beyond its limit",
            "if cap_ml is not None and not cap_ml <= hard.per_day_ml:",
            "if False:",
            "test_no_reagent_beyond_its_built_in_limit",
        ),
        (
            "plausible nothing pumped into still water",
            'if reservoir.system == "still" and reservoir.pump:',
            "if False:",
            "test_nothing_is_pumped_into_still_water",
        ),
        (
            "plausible strength within the band",
            "if is_dosed and not low - SLACK <= ec.target_ms_per_cm <= high + SLACK:",
            "if False:",
            "test_a_strength_too_near_the_band_is_refused",
        ),
        (
            "plausible stages with room for the ramp",
            "if not soonest_day <= after.from_day:",
            "if False:",
            "test_stages_follow_each_other_with_room_for_the_ramp",
        ),
        (
            "plausible stages within the band",
            "if target is not None and not low + dead_band - SLACK <= target <= high - dead_band + SLACK:",
            "if False:",
            "test_a_stage_aims_within_the_band",
        ),
        (
            "plausible filled above where filling begins",
            "if not water.top_up_below_share < water.fill_to_share:",
            "if False:",
            "test_filling_ends_above_where_it_begins",
        ),
        (
            "plausible share of the water",
            "if cap_ml is not None and not cap_ml <= most_ml + SLACK:",
            "if False:",
            "test_no_cap_exceeds_its_share_of_the_water",
        ),
        (
            "plausible longest run",
            "if pump.max_per_dose_ml is not None and not pump.max_per_dose_ml <= most_ml + SLACK:",
            "if False:",
            "test_no_dose_runs_longer_than_the_longest_run",
        ),
        (
            "plausible one wire, one user",
            "if wire in taken:",
            "if False:",
            "test_a_wire_used_twice_names_both_tables",
        ),
        (
            "plausible lines of the bus",
            "if on_bus and wire in taken:",
            "if False:",
            "test_the_lines_of_a_bus_in_use_are_taken",
        ),
        (
            "plausible target within the band",
            "elif not low - SLACK <= control.target <= high + SLACK:",
            "elif False:",
            "test_a_target_too_near_the_band_is_refused",
        ),
        (
            "plausible warned before expired",
            "if not warn_days <= expire_days:",
            "if False:",
            "test_a_calibration_expires_after_its_warning",
        ),
    ),
)

LOADING = mutants_of(
    "config/load.py",
    LOAD,
    (
        (
            "load the cut-out's line is in use",
            '    for name in ("cut_out", "signal"):\n',
            '    for name in ("signal",):\n',
            "test_a_cut_out_on_a_line_in_use_is_refused",
        ),
    ),
)

PUMPS = (*KEEPER, *KEEPER_PROCESS, *KEEPING, *PUMP, *TABLE, *PUMP_TABLE, *SETTINGS, *LOADING, *PLAUSIBLE)
