"""What keeps a crop's file and its diary from asking for more than there is, or than the settings allow."""

# ruff: noqa: E501 - the code as it stands, in one piece

from __future__ import annotations

from tests.mutants.mutant import mutants_of

BOUNDED = "test_no_crop_asks_for_more_than_the_settings_allow"
KEPT = "tests/test_cropping.py::test_a_reservoir_is_kept_at_what_its_youngest_batch_bears"

CROP = (
    *mutants_of(
        "config/gardening.py",
        "tests/config/test_gardening.py",
        (
            (
                "crop strength above the settings",
                "min(stage.ec_high_ms_per_cm, own.ec_high_ms_per_cm)",
                "stage.ec_high_ms_per_cm",
                f"{BOUNDED} {KEPT}",
            ),
            ("crop pH below the settings", "max(stage.ph_low, own.ph_low)", "stage.ph_low", BOUNDED),
            ("crop pH above the settings", "min(stage.ph_high, own.ph_high)", "stage.ph_high", BOUNDED),
            (
                "crop target at the edge of the band",
                "return min(max(target, low + slack), high - slack)",
                "return target",
                BOUNDED,
            ),
            (
                "crop bands apart",
                "if not bands[high] - bands[low] >= room:",
                "if False:",
                "test_bands_apart_from_the_crops_are_refused",
            ),
        ),
    ),
    *mutants_of(
        "daemon/crop/plan.py",
        "tests/crop/test_plan.py",
        (
            (
                "plan places",
                "if any(occupied(self.courses, kind, day) + course.heads > kind.places for day in days):",
                "if False:",
                "test_whatever_stands_already_nothing_is_promised_twice",
            ),
            (
                "plan plugs",
                "if any(plugs_taken(self.courses, day) + course.plugs > self.nursery.plugs for day in days):",
                "if False:",
                "test_a_plan_never_exceeds_places_or_plugs test_whatever_stands_already_nothing_is_promised_twice",
            ),
        ),
    ),
    *mutants_of(
        "daemon/crop/diary_file.py",
        "tests/crop/test_diary_file.py",
        (
            (
                "diary more plants than there are",
                "if (why := objection(lines, event, day)) is not None:",
                "if (why := objection(lines, event, day)) is not None and False:",
                "test_what_stands_is_never_rewritten",
            ),
            (
                "diary lock",
                "fcntl.flock(file, fcntl.LOCK_EX)",
                "pass",
                "test_two_who_write_at_once_get_a_line_each",
            ),
            (
                "diary torn end",
                'return "\\n" if _is_json(last) else f"{TORN.decode()}\\n"',
                'return "\\n"',
                "test_a_torn_last_line_is_passed_over_and_told",
            ),
        ),
    ),
    *mutants_of(
        "daemon/dose/stages.py",
        "tests/dose/test_stages.py",
        (
            (
                "stages a step by the diary",
                "self.targets = towards(before, wanted, (stamp.at_s - self._at_s) / HOUR_S)",
                "self.targets = wanted",
                "test_the_diary_says_from_when_the_stages_count",
            ),
        ),
    ),
)
