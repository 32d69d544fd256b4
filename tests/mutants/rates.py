"""What a pump delivers in a second: measured, believed, grown old; the tube it was measured with."""

# ruff: noqa: E501 - the code as it stands, in one piece

from __future__ import annotations

from daemon.measure.rate import RateReason
from daemon.values import RateStanding
from tests.mutants.mutant import mutants_of

KEPT = "test_what_is_kept_and_what_is_not"
PROGRAM_TESTS = "tests/keeping/test_rates.py"

RATE = mutants_of(
    "daemon/measure/rate.py",
    "tests/measure/test_rate.py",
    (
        (
            "rate of too few runs",
            "    if not fewest <= len(runs) <= most:\n",
            "    if not runs:\n",
            KEPT,
            (RateReason.RUN_COUNT,),
        ),
        (
            "rate of no amount",
            "    if not all(0.0 < run.ml < inf and 0.0 < run.run_s < inf for run in runs):\n",
            "    if False:\n",
            KEPT,
            (RateReason.NOT_A_NUMBER,),
        ),
        (
            "rate of runs that disagree",
            "    if not spread_share <= SPREAD_SHARE:\n",
            "    if False:\n",
            KEPT,
            (RateReason.SPREAD,),
        ),
        (
            "rate far from the settings",
            "    if not near_guess(ml_per_s, guess_ml_per_s):\n",
            "    if False:\n",
            f"{KEPT} test_whatever_is_told_a_rate_kept_is_plausible",
            (RateReason.FAR_FROM_GUESS,),
        ),
        (
            "rate kept of another pump",
            "    if kept is not None and not near_guess(kept.ml_per_s, guess.ml_per_s):\n",
            "    if False:\n",
            f"test_settings_that_mean_another_pump {PROGRAM_TESTS}::test_settings_that_now_mean_another_pump",
            (RateStanding.UNLIKE,),
        ),
        (
            "rate of another tube",
            "    if tube is not None and tube.day and not _is_of(tube, rate):\n",
            "    if False:\n",
            "test_the_rate_of_another_tube_is_not_dosed_by",
            (RateStanding.OTHER_TUBE,),
        ),
        (
            "rate partly of another tube",
            "return min(run.entry for run in rate.runs) > tube.after_entry",
            "return max(run.entry for run in rate.runs) > tube.after_entry",
            "test_the_rate_of_another_tube_is_not_dosed_by",
        ),
        (
            "rate expired",
            "    if not _EARLIEST_DAYS <= age_days <= guess.expire_days:\n",
            "    if False:\n",
            f"test_a_rate_grows_old {PROGRAM_TESTS}::test_the_age_of_a_rate",
            (RateStanding.EXPIRED,),
        ),
        (
            "rate of a day to come",
            "    if not _EARLIEST_DAYS <= age_days <= guess.expire_days:\n",
            "    if not age_days <= guess.expire_days:\n",
            "test_a_rate_grows_old",
        ),
        (
            "rate due to be measured again",
            "return RateStanding.OLD if age_days >= guess.warn_days else RateStanding.DATED",
            "return RateStanding.DATED",
            f"test_a_rate_grows_old {PROGRAM_TESTS}::test_the_age_of_a_rate",
            (RateStanding.OLD,),
        ),
        (
            "rate without a day",
            "        return RateStanding.UNDATED\n",
            "        return RateStanding.DATED\n",
            f"test_a_rate_grows_old {PROGRAM_TESTS}::test_the_age_of_a_rate",
            (RateStanding.UNDATED,),
        ),
    ),
)

PROGRAM = (
    *mutants_of(
        "daemon/keeping/rates.py",
        PROGRAM_TESTS,
        (
            (
                "rates the driver goes on by the old one",
                "        self._pumps[role].ml_per_s = rate.ml_per_s\n",
                "",
                "test_the_next_dose_is_as_long_as_the_new_rate_makes_it",
            ),
            (
                "rates the caps go on by the old one",
                "replace(limits_of(role, self._table), ml_per_s=rate.ml_per_s)",
                "replace(limits_of(role, self._table))",
                "test_the_next_dose_is_as_long_as_the_new_rate_makes_it test_a_measured_rate_takes_the_place_of_the_guess_at_once",
            ),
            (
                "rates what a cylinder showed once is used twice",
                "        self.ran[role] = []\n        self._drive(role)\n",
                "        self._drive(role)\n",
                "test_runs_are_used_once",
            ),
        ),
    ),
    *mutants_of(
        "daemon/keeping/permits.py",
        PROGRAM_TESTS,
        (
            (
                "permits an expired rate",
                "rate_usable=self._rates.of(role, stamp.utc.date()).usable,",
                "",
                "test_the_age_of_a_rate test_a_new_tube_is_not_dosed_with_until_it_is_measured",
            ),
        ),
    ),
    *mutants_of(
        "daemon/keeping/reservoir.py",
        PROGRAM_TESTS,
        (
            (
                "reservoir what a cylinder got beyond its charge",
                '        self._charge(DoseRequest(self.name, role, ml, DoseReason.MEASURE, {"measured_ml": ml}), stamp, who)\n',
                "",
                "test_what_came_out_beyond_the_charge_is_charged_too",
            ),
        ),
    ),
    *mutants_of(
        "daemon/desk/pumps.py",
        PROGRAM_TESTS,
        (
            (
                "desk a new tube forgets the runs of the old",
                "    loop.ledger.change_tube(reservoir.name, asked.pump, request.who, loop.stamp())\n    reservoir.rates.ran[asked.pump].clear()\n",
                "    loop.ledger.change_tube(reservoir.name, asked.pump, request.who, loop.stamp())\n",
                "test_a_new_tube_is_not_dosed_with_until_it_is_measured",
            ),
            (
                "desk a run too short",
                "if isinstance(decision, Permit) and not decision.run_s >= RUN_S[0]:",
                "if False:",
                "test_a_run_too_short_to_say_anything_is_not_begun",
            ),
            (
                "desk amounts of other runs",
                "    if asked.first is not None and asked.first != ran[0].entry:\n",
                "    if False:\n",
                "test_amounts_of_other_runs_are_not_taken",
            ),
            (
                "desk a run asked for twice",
                "    if asked.runs is not None and asked.runs != len(ran):\n",
                "    if False:\n",
                "test_a_run_that_is_asked_for_twice_is_one",
            ),
            (
                "desk a run too many",
                "    if not len(ran) < RUNS[1]:\n",
                "    if False:\n",
                "test_amounts_and_runs_belong_together",
            ),
        ),
    ),
)

RATES = (*RATE, *PROGRAM)
