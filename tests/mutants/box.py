"""What stands outside the loop: the stop program, the barriers of the box, the repair of a ledger."""

from __future__ import annotations

from tests.mutants.mutant import mutants_of

STOP = mutants_of(
    "systemd/pumps-off",
    "tests/systemd/test_pumps_off.py",
    (
        (
            "stop program drives low",
            '--mode=exit "$1" "$2=0" ;;',
            '--mode=exit "$1" "$2=1" ;;',
            "test_the_first_gpioset_exits_at_once_by_its_mode",
        ),
        (
            "stop program does not hold a line",
            'gpioset --toggle 0 --chip "$1"',
            'gpioset --chip "$1"',
            "test_the_second_gpioset_is_told_not_to_hold",
        ),
        (
            "stop program goes on past a busy line",
            "cut the pumps' supply and look\" >&2\n        failed=1\n",
            "cut the pumps' supply and look\" >&2\n        exit 1\n",
            "test_a_busy_line_does_not_stop_the_others",
        ),
        (
            "stop program says that a line was not driven low",
            "cut the pumps' supply and look\" >&2\n        failed=1\n",
            "cut the pumps' supply and look\" >&2\n",
            "test_a_busy_line_does_not_stop_the_others",
        ),
        (
            "stop program without lines is an error",
            'if [ -z "$wanted" ]; then',
            "if false; then",
            "test_not_knowing_the_lines_is_an_error",
        ),
    ),
)

BARRIERS = mutants_of(
    "drivers/barriers.py",
    "tests/drivers/test_barriers.py",
    (
        (
            "barrier pin release",
            "if kept and not any(kept.values()):",
            "if kept:",
            "test_one_thing_amiss_is_told_alone_with_what_to_do",
        ),
        (
            "barrier pin release that cannot be seen",
            "if kept and not any(kept.values()):",
            "if not any(kept.values()):",
            "test_one_thing_amiss_is_told_alone_with_what_to_do",
        ),
        (
            "barrier stop program",
            "    elif not unit.stop_can_run:\n",
            "    elif False:\n",
            "test_one_thing_amiss_is_told_alone_with_what_to_do",
        ),
        (
            "barrier watchdog",
            "    elif setting in OFF or facts.watchdog_active is False:\n",
            "    elif False:\n",
            "test_one_thing_amiss_is_told_alone_with_what_to_do",
        ),
        (
            "barrier state folder in memory",
            "    elif state.file_system in GONE_AT_RESTART:\n",
            "    elif False:\n",
            "test_one_thing_amiss_is_told_alone_with_what_to_do",
        ),
        (
            "barrier state folder read-only",
            "    if state.read_only:\n",
            "    if False:\n",
            "test_one_thing_amiss_is_told_alone_with_what_to_do",
        ),
    ),
)

REPAIR = mutants_of(
    "daemon/dose/repair.py",
    "tests/dose/test_repair.py",
    (
        (
            "repair charges every pump for a day",
            '        "ml": hard_limits(role).per_day_ml,\n',
            '        "ml": 0.001,\n',
            "test_every_pump_is_spent_and_every_reservoir_locked",
        ),
        (
            "repair locks every reservoir",
            "        _lock(db, reservoir, boot, now)\n",
            "",
            "test_every_pump_is_spent_and_every_reservoir_locked",
        ),
        (
            "repair leaves a sound ledger alone",
            "    if fault is None:\n        return None\n",
            "",
            "test_a_sound_ledger_is_left_alone",
        ),
        (
            "repair leaves a newer ledger alone",
            "    if fault.fault not in MENDED:\n        raise fault\n",
            "",
            "test_a_ledger_of_a_newer_version_is_not_thrown_away",
        ),
        (
            "repair saves whole lines",
            "                if checksum(row[:-1]) == row[-1]:\n",
            "                if False:\n",
            "test_lines_that_are_whole_are_saved_and_counted_as_if_just_now",
        ),
        (
            "repair saves no spoiled line",
            "                if checksum(row[:-1]) == row[-1]:\n",
            "                if True:\n",
            "test_lines_that_are_whole_are_saved_and_counted_as_if_just_now",
        ),
        (
            "repair counts saved lines as of now",
            'write_row(db, "entries", {**row, **placed, "note": note,',
            'write_row(db, "entries", {**row, "boot": boot, "at_s": -1e6, "note": note,',
            "test_lines_that_are_whole_are_saved_and_counted_as_if_just_now",
        ),
        (
            "repair at no moment without a file",
            "    os.replace(stopper, path)\n",
            "    os.replace(stopper, path)\n    path.unlink()\n",
            "test_interrupted_anywhere_nothing_passes_for_an_old_or_empty_ledger",
        ),
        (
            "repair keeps the damaged file",
            "    aside.mkdir(parents=True)\n    _copy(path, aside)\n",
            "    aside.mkdir(parents=True)\n",
            "test_a_damaged_ledger_is_kept_aside_byte_for_byte",
        ),
    ),
)

BOX = (*STOP, *BARRIERS, *REPAIR)
