"""Tests of config/load.py: a sound file becomes settings, anything else one line for each thing wrong."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from config.load import SettingsError, load, warnings

RIGS = Path(__file__).parents[2] / "config" / "rigs"
SOUND = (RIGS / "quince-lane.toml").read_text()
PH_DOWN = "[reservoir.bed1.pump.ph_down]"

Says = Callable[[str], list[str]]


@pytest.fixture
def says(tmp_path: Path) -> Says:
    """The lines of the complaint about a file with this text, without the file's name."""

    def _says(text: str) -> list[str]:
        file = tmp_path / "site.toml"
        file.write_text(text)
        with pytest.raises(SettingsError) as caught:
            load(file)
        lines = str(caught.value).splitlines()
        assert len(lines) == len(caught.value.complaints)
        assert all(line.startswith(str(file)) for line in lines)
        return [line.removeprefix(str(file)).lstrip(": ") for line in lines]

    return _says


def with_line(table: str, key: str, value: str) -> str:
    """The sound file with one key of a table set to something else, or added to it."""
    head, rest = SOUND.split(f"{table}\n", 1)
    body, gap, tail = rest.partition("\n\n")
    kept = [line for line in body.splitlines() if not line.startswith(f"{key} ")]
    return f"{head}{table}\n" + "\n".join([*kept, f"{key} = {value}"]) + gap + tail


def test_a_sound_file_loads() -> None:
    """The demo's file gives its numbers, and nothing to warn of."""
    settings = load(RIGS / "quince-lane.toml")
    bed = settings.reservoir["bed1"]
    assert bed.volume_l == 60.0
    assert bed.pump["ph_down"].line == 17
    assert settings.rig_table()["open"] == "sim_hw.bench:open_rig"
    assert warnings(settings) == ()


def test_the_pi_example_measures_only() -> None:
    """It starts watching, on real wires, and no pump of it has a cap."""
    settings = load(RIGS / "pi-example.toml")
    assert settings.rig.open == "drivers.pi:open_rig"
    for reservoir in settings.reservoir.values():
        assert reservoir.start == "watching"
        for pump in reservoir.pump.values():
            assert (pump.max_per_dose_ml, pump.max_per_hour_ml, pump.max_per_day_ml) == (None, None, None)
    assert len(warnings(settings)) == sum(len(reservoir.pump) for reservoir in settings.reservoir.values())


def test_the_pi_example_with_its_caps_uncommented_loads_without_a_warning(tmp_path: Path) -> None:
    """The advice in its remarks is itself within all bounds."""
    text = (RIGS / "pi-example.toml").read_text()
    assert text.count("\n# max_per_") == 3
    file = tmp_path / "site.toml"
    file.write_text(text.replace("\n# max_per_", "\nmax_per_"))
    assert warnings(load(file)) == ()


def test_a_missing_file_says_how_to_start(tmp_path: Path) -> None:
    """The next step is a command that can be typed."""
    file = tmp_path / "site.toml"
    with pytest.raises(SettingsError) as caught:
        load(file)
    assert str(caught.value) == (
        f"{file}: no such file; start from the example: cp config/rigs/pi-example.toml {file}"
    )


def test_a_folder_is_no_file(tmp_path: Path) -> None:
    """What the system says is passed on."""
    with pytest.raises(SettingsError, match="cannot be read \\(Is a directory\\)"):
        load(tmp_path)


def test_text_that_is_not_utf8_says_so(tmp_path: Path) -> None:
    """An old editor's encoding is named, not traced back."""
    file = tmp_path / "site.toml"
    file.write_bytes(SOUND.encode().replace(b"Bed 1", b"B\xe4d 1"))
    with pytest.raises(SettingsError, match="is not UTF-8 text"):
        load(file)


def test_the_mark_and_line_ends_of_other_editors_are_fine(tmp_path: Path) -> None:
    """A byte order mark and carriage returns do not matter."""
    file = tmp_path / "site.toml"
    file.write_bytes(b"\xef\xbb\xbf" + SOUND.replace("\n", "\r\n").encode())
    assert load(file) == load(RIGS / "quince-lane.toml")


def test_a_slip_of_syntax_names_line_and_column(says: Says) -> None:
    """A decimal comma is the likeliest, and is told."""
    row = SOUND.splitlines().index("ph_low = 5.5") + 1
    (line,) = says(SOUND.replace("ph_low = 5.5", "ph_low = 5,5"))
    assert line.startswith(f"line {row}, column 11: ")
    assert line.endswith("in: ph_low = 5,5; decimals take a point; correct that line")


def test_an_open_bracket_at_the_end_is_told(says: Says) -> None:
    """Where the parser can name no line, it still says what it missed."""
    (line,) = says(SOUND + "\nx = [1,")
    assert "is not TOML" in line
    assert "left open" in line


@pytest.mark.parametrize(
    ("table", "key", "value", "line"),
    [
        (
            PH_DOWN,
            "max_per_day_ml",
            "-5",
            "max_per_day_ml = -5: must be at least 0 mL (largest allowed 20000 mL); max_per_day_ml is the most "
            "in any 24 hours; left out, this pump does not dose",
        ),
        (
            PH_DOWN,
            "ml_per_s",
            "0",
            "ml_per_s = 0: must be above 0 mL/s (largest allowed 20 mL/s); ml_per_s is what the pump delivers, "
            "measured with a cylinder",
        ),
        (
            "[reservoir.bed1]",
            "volume_l",
            "60000.0",
            "volume_l = 60000.0: must be at most 2000 L (smallest allowed 2 L); volume_l is the water in the "
            "full reservoir",
        ),
        (
            PH_DOWN,
            "bottle_ml",
            "1e9",
            "bottle_ml = 1000000000.0: must be at most 20000 mL (and above 0 mL); bottle_ml is what a full "
            "bottle holds",
        ),
        (
            "[reservoir.bed1]",
            "mixing_time_s",
            "nan",
            "mixing_time_s = nan: must be a finite number in s; mixing_time_s is the time in which 95 % of a "
            "dose has spread through the whole reservoir",
        ),
        (
            PH_DOWN,
            "ml_per_s",
            '"0,8"',
            'ml_per_s = "0,8": must be a number in mL/s, without quotes or unit, with a point for decimals; '
            "ml_per_s is what the pump delivers, measured with a cylinder",
        ),
        (
            "[reservoir.bed1]",
            "system",
            '"ebb"',
            'system = "ebb": must be one of "ebb_and_flow", "deep_water", "film" or "still"',
        ),
        ("[mqtt]", "enabled", '"""a\n"b"""', 'enabled = "a\\n\\"b": must be true or false'),
        ("[mqtt]", "enabled", '"yes"', 'enabled = "yes": must be true or false'),
        ("[mqtt]", "port", "1883.5", "port = 1883.5: must be a whole number; port is the broker's port"),
        ("[mqtt]", "host", "7", 'host = 7: must be text in quotes, as "…"'),
        (
            "[rig]",
            "open",
            '"bench"',
            'open = "bench": must read "package.module:function", as "drivers.pi:open_rig"',
        ),
        (
            "[site]",
            "device_id",
            '"Quince Lane"',
            'device_id = "Quince Lane": may hold a-z, 0-9 and single hyphens between them',
        ),
        (
            "[reservoir.bed1.probe.ph]",
            "address",
            "0x40",
            "address = 0x40: must be at least 0x48 (largest allowed 0x4b); "
            "address is the converter, as its ADDR pin is wired",
        ),
        (
            "[reservoir.bed1.probe.ph]",
            "driver",
            '"ph_amplifer"',
            'driver = "ph_amplifer": known drivers are ph_amplifier, ec_amplifier, ntc_divider, '
            "ntc_steinhart_divider, pt1000_divider, platinum_source, ds18b20, level_sender, float_switch, "
            "sht3x_temperature, sht3x_humidity, light_sensor; did you mean ph_amplifier?",
        ),
    ],
)
def test_a_wrong_value_is_one_line(says: Says, table: str, key: str, value: str, line: str) -> None:
    """Table, key, value, unit, what is allowed and what it is for."""
    assert says(with_line(table, key, value)) == [f"{table} {line}"]


def test_a_driver_for_another_quantity_is_refused(says: Says) -> None:
    """A thermometer's circuit cannot stand under pH."""
    (line,) = says(
        SOUND.replace('driver = "float_switch"\nline = 23', 'driver = "ds18b20"\nsensor_id = "28-0316a2795cff"')
    )
    assert line == (
        "[reservoir.bed1.probe.level] driver ds18b20 measures temperature, not level: "
        "use one of level_sender, float_switch"
    )


@pytest.mark.parametrize(
    ("table", "key", "begins"),
    [
        (
            PH_DOWN,
            "max_per_day_l",
            "max_per_day_l = 1: unknown key; did you mean max_per_day_ml? (known here: line, ",
        ),
        ("[site]", "pass_every", "pass_every = 1: unknown key; did you mean pass_every_s? (known here: name, "),
        (
            "[reservoir.bed1.probe.level]",
            "lines",
            "lines = 1: unknown key; did you mean line? (known here: line, ",
        ),
        ("[mqtt]", "xyzzy", "xyzzy = 1: unknown key (known here: enabled, "),
    ],
)
def test_an_unknown_key_is_refused_with_the_nearest(says: Says, table: str, key: str, begins: str) -> None:
    """A slip in a key never passes as a default."""
    (line,) = says(with_line(table, key, "1"))
    assert line.startswith(f"{table} {begins}")


@pytest.mark.parametrize(
    ("wrong", "line"),
    [
        ("[reservoir.bed1.pump.acid]", 'the table\'s name "acid": must be one of ph_down, '),
        (
            "[reservoir.bed1.probe.temprature]",
            'the table\'s name "temprature": must be one of ph, ec, temperature, level, air_temperature, '
            "humidity, light, ph_2, ec_2, temperature_2; did you mean temperature?",
        ),
        ('[reservoir."Bed 2"]', 'the table\'s name "Bed 2": may hold a-z, 0-9 and single hyphens between them'),
    ],
)
def test_a_table_of_an_unknown_name_is_refused(says: Says, wrong: str, line: str) -> None:
    """Names of pumps and probes are fixed, those of reservoirs must fit MQTT."""
    lines = says(f"{SOUND}\n{wrong}\n")
    assert any(f"{wrong.replace(chr(34), '')} {line}" in said for said in lines)


@pytest.mark.parametrize(
    ("line", "says_missing"),
    [
        (
            "mixing_time_s = 120.0\nstart",
            "[reservoir.bed1] mixing_time_s: is missing; add mixing_time_s = … (30 to 7200 s, the time in which "
            "95 % of a dose has spread through the whole reservoir)",
        ),
        (
            'open = "sim_hw.bench:open_rig"',
            '[rig] open: is missing; add open = … (the function that opens the wiring, as "drivers.pi:open_rig")',
        ),
        (
            'driver = "float_switch"',
            "[reservoir.bed1.probe.level] driver: is missing; add driver = … (the circuit it is behind, as "
            '"ph_amplifier")',
        ),
    ],
)
def test_a_missing_key_says_what_to_add(says: Says, line: str, says_missing: str) -> None:
    """With its range and meaning."""
    assert SOUND.count(line) == 1
    assert says(SOUND.replace(line, "start" if line.endswith("start") else "")) == [says_missing]


def test_an_empty_file_lists_the_tables_to_add(says: Says) -> None:
    """Each of them, at once."""
    assert says("") == [f"{table}: is missing; add the table [{table}]" for table in ("site", "rig")] + [
        "reservoir: is missing; add a table [reservoir.NAME] for each"
    ]


def test_all_mistakes_are_said_at_once(says: Says) -> None:
    """Slips of shape, wires and contradictions come in one list, each once."""
    text = with_line(PH_DOWN, "line", "23").replace("pass_every_s = 10.0", "pass_every_s = 0")
    text = text.replace("target = 6.0", "target = 6.49").replace("beta_k = 3950.0", "beta_k = 39.5")
    keys = [line.split("] ", 1)[1].split(" = ")[0] for line in says(text)]
    assert keys == [
        "pass_every_s",
        "beta_k",
        "GPIO 23 is already used by [reservoir.bed1.pump.ph_down]; give each its own",
        "target",
    ]


REFERENCE = "\n[reference.shunt]\naddress = 0x48\ninput = 3\nexpected_v = 2.5\n"


def test_a_reference_on_a_spare_input_is_read(tmp_path: Path) -> None:
    """By its name; what is not said of it is usual."""
    file = tmp_path / "site.toml"
    file.write_text(SOUND + REFERENCE)
    shunt = load(file).reference["shunt"]
    assert (shunt.i2c_bus, shunt.address, shunt.input, shunt.expected_v, shunt.full_scale_v) == (
        (1, 0x48, 3, 2.5, 4.096)
    )


@pytest.mark.parametrize(
    ("was", "now", "line"),
    [
        (
            "input = 3",
            "input = 0",
            "[reference.shunt] input 0 of the converter at 0x48 on I2C bus 1 is already used by "
            "[reservoir.bed1.probe.ph]; give each its own",
        ),
        (
            "0x48",
            "0x4a",
            "[reference.shunt] no probe is on the converter at 0x4a on I2C bus 1: a reference vouches for no "
            "other converter than its own; wire it to the one with the probes",
        ),
        (
            "2.5",
            "4.0",
            "[reference.shunt] expected_v = 4: must be from 0.41 to 3.96 V where full_scale_v = 4.096; choose "
            "the range that it fits in",
        ),
        (
            "2.5",
            "2500.0",
            "[reference.shunt] expected_v = 2500.0: must be at most 6 V (smallest allowed 0.1 V); expected_v is "
            "the known voltage, as its data sheet or a good meter says",
        ),
        (
            "expected_v = 2.5",
            "",
            "[reference.shunt] expected_v: is missing; add expected_v = … (0.1 to 6 V, the known voltage, as its "
            "data sheet or a good meter says)",
        ),
    ],
)
def test_a_reference_that_makes_no_sense_is_told(says: Says, was: str, now: str, line: str) -> None:
    """A probe's input, a converter that no probe is on, volts beyond the range, no volts."""
    assert says(SOUND + REFERENCE.replace(was, now)) == [line]


# What may be off by a slip of the unit without a larger dose coming of it.
HARMLESS = {
    ("bottle_ml", 0.001),  # the bottle counts as empty sooner
    ("ml_per_ph", 0.001),  # less is asked for
    ("ec_low_ms_per_cm", 0.001),  # a wider band for alarms; nothing doses by it
    ("temperature_low_c", 0.001),
}
SLIPS = (1000.0, 0.001, -1.0, '"x"', "true", "nan", "inf", "[1]", "{}")


def numbers() -> Iterator[tuple[str, int, str, float]]:
    """Each number of the sound file that is ours to judge: table, line, key, value."""
    table = ""
    for number, line in enumerate(SOUND.splitlines()):
        if line.startswith("["):
            table = line.strip("[]")
        key, _, value = line.partition("#")[0].partition(" = ")
        ours = table.startswith(("site", "mqtt", "reservoir.")) and ".probe." not in table
        if ours and value[:1].isdigit():
            yield table, number, key, float(value)


@pytest.mark.parametrize(("table", "number", "key", "value"), list(numbers()))
def test_a_number_off_by_a_unit_is_refused(says: Says, table: str, number: int, key: str, value: float) -> None:
    """mL for L, minutes for seconds, a sign, a word: refused with its key, or known to do no harm (H27)."""
    for slip in SLIPS:
        if (key, slip) not in HARMLESS:
            lines = SOUND.splitlines()
            lines[number] = f"{key} = {slip if isinstance(slip, str) else value * slip!r}"
            assert any(table in line and key in line for line in says("\n".join(lines))), lines[number]


@pytest.mark.parametrize("contact", ["circulation", "tray"])
def test_a_contact_on_a_line_in_use_is_refused(says: Says, contact: str, tmp_path: Path) -> None:
    """A flow switch or a tray sensor cannot share the line of a pump."""
    (line,) = says(SOUND + f"\n[reservoir.bed1.{contact}]\nline = 17\n")
    assert line == (
        f"[reservoir.bed1.{contact}] GPIO 17 is already used by [reservoir.bed1.pump.ph_down]; give each its own"
    )
    free = tmp_path / "free.toml"
    free.write_text(SOUND + f"\n[reservoir.bed1.{contact}]\nline = 5\n")
    assert getattr(load(free).reservoir["bed1"], contact).line == 5


def test_a_cut_out_on_a_line_in_use_is_refused(says: Says, tmp_path: Path) -> None:
    """One line cannot both turn a pump and cut it out; on a line of its own it is read."""
    (line,) = says(SOUND + "\n[cut_out]\nline = 17\n")
    assert line == "[reservoir.bed1.pump.ph_down] GPIO 17 is already used by [cut_out]; give each its own"
    free = tmp_path / "free.toml"
    free.write_text(SOUND + "\n[cut_out]\nline = 20\n")
    cut_out = load(free).cut_out
    assert cut_out is not None
    assert cut_out.line == 20
