"""The calibrations on disk."""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.measure import book as book_module
from daemon.measure.book import BookError, CalibrationBook
from daemon.measure.calibrate import Point
from daemon.measure.convert import (
    Calibration,
    EcCalibration,
    LevelCalibration,
    PhCalibration,
    TemperatureCalibration,
)
from daemon.measure.rate import PumpRate, TimedRun
from daemon.values import Quantity, Role

WHEN = datetime(2026, 3, 2, 9, 12, tzinfo=UTC)
ELECTRODE = PhCalibration(slope_percent=98.2, offset_mv=4.1, day="2026-03-02")
NEWER = PhCalibration(slope_percent=96.0, offset_mv=7.5, day="2026-04-02")
CELL = EcCalibration(cell_constant_per_cm=1.02, offset_ms=0.01, day="2026-03-03")
RATE = PumpRate(1.04, "2026-03-02", (TimedRun(214, 8.0, 8.3), TimedRun(215, 8.0, 8.34)))
BARE_RATE = PumpRate(18.5, "2026-03-04")
POINTS = (Point("7.00", 7.02, 2.9, 0.3, 20.1, WHEN), Point("4.01", 4.0, 176.0, 0.2, 20.3, WHEN))

BY_HAND = """
[reservoir.bed1.ph]
day = 2026-03-02
slope_percent = 98   # without a point
offset_mv = -4

[[reservoir.bed1.ph.point]]
standard = "7.00"
reference = 7.02
signal = 2.9
spread = 0.3
temperature_c = 20
utc = 2026-03-02T09:12:00Z

[reservoir.north-2.ec]
day = 2026-03-03
cell_constant_per_cm = 1.02
"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "calibrations.toml"


def test_the_wiring_is_kept_beside_a_calibration(path: Path) -> None:
    """Over a restart, until the next calibration; one written without it says none."""
    book = CalibrationBook(path)
    book.put("bed1", Quantity.PH, ELECTRODE, POINTS, "driver=ph_amplifier gain=5.0")
    book.put("bed1", Quantity.EC, CELL)
    for each in (book, CalibrationBook(path)):
        assert each.wiring("bed1", Quantity.PH) == "driver=ph_amplifier gain=5.0"
        assert each.wiring("bed1", Quantity.EC) == ""
        assert each.wiring("bed2", Quantity.PH) == ""
        assert each.get("bed1", Quantity.PH) == ELECTRODE


def test_a_missing_file_is_an_empty_book(path: Path) -> None:
    """And looking into it makes no file."""
    book = CalibrationBook(path)
    assert book.get("bed1", Quantity.PH) is None
    assert book.points("bed1", Quantity.PH) == ()
    assert not path.exists()


def test_what_is_put_is_there_after_a_restart(path: Path) -> None:
    """Calibrations and points of several reservoirs and both quantities."""
    book = CalibrationBook(path)
    book.put("bed1", Quantity.PH, ELECTRODE, POINTS)
    book.put("bed1", Quantity.EC, CELL)
    book.put("north-2", Quantity.PH, NEWER, POINTS[:1])
    for each in (book, CalibrationBook(path)):
        assert each.get("bed1", Quantity.PH) == ELECTRODE
        assert each.points("bed1", Quantity.PH) == POINTS
        assert each.get("bed1", Quantity.EC) == CELL
        assert each.points("bed1", Quantity.EC) == ()
        assert each.get("north-2", Quantity.PH) == NEWER
        assert each.get("north-2", Quantity.EC) is None


def test_rates_of_pumps_are_kept_beside(path: Path) -> None:
    """With their runs; the calibrations of probes stay, and the other way round."""
    book = CalibrationBook(path)
    book.put("bed1", Quantity.PH, ELECTRODE, POINTS)
    book.put_rate("bed1", Role.PH_DOWN, RATE)
    book.put_rate("north-2", Role.TOP_UP, BARE_RATE)
    book.put("bed1", Quantity.EC, CELL)
    for each in (book, CalibrationBook(path)):
        assert each.rate("bed1", Role.PH_DOWN) == RATE
        assert each.rate("north-2", Role.TOP_UP) == BARE_RATE
        assert each.rate("bed1", Role.PH_UP) is None
        assert each.points("bed1", Quantity.PH) == POINTS
        assert each.get("bed1", Quantity.EC) == CELL


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            "[reservoir.bed1.pump.bleach]\nday = 2026-03-02\nml_per_s = 1.0",
            "bleach: not known; known are ph_down",
        ),
        ("[reservoir.bed1.pump.ph_down]\nml_per_s = 1.0", "day is missing"),
        ("[reservoir.bed1.pump.ph_down]\nday = 2026-03-02\nml_per_s = 0.0", "ml_per_s = 0.0: must be"),
        ("[reservoir.bed1.pump.ph_down]\nday = 2026-03-02\nml_per_s = 20.1", "must be 1e-09 to 20"),
        ("[reservoir.bed1.pump.ph_down]\nday = 2026-03-02\nml_per_s = nan", "must be a finite number"),
        ("[reservoir.bed1.pump.ph_down]\nday = 2026-03-02\nml_per_s = 1\nspeed = 2", "speed = 2: not known"),
        ("[reservoir.bed1]\npump = 3", "pump = 3: must be a table"),
    ],
)
def test_a_rate_that_is_none_is_refused(path: Path, text: str, says: str) -> None:
    """By its key and what is allowed; the file is left alone."""
    path.write_text(text)
    with pytest.raises(BookError, match=says):
        CalibrationBook(path)
    assert path.read_text() == text


def test_the_file_before_is_kept(path: Path) -> None:
    """As `.previous`, and nothing else is left in the folder."""
    book = CalibrationBook(path)
    book.put("bed1", Quantity.PH, ELECTRODE)
    before = path.read_text()
    book.put("bed1", Quantity.PH, NEWER)
    assert path.with_name("calibrations.toml.previous").read_text() == before
    assert sorted(each.name for each in path.parent.iterdir()) == [
        "calibrations.toml",
        "calibrations.toml.previous",
    ]


def test_a_state_folder_is_made_where_there_is_none(tmp_path: Path) -> None:
    """The first calibration may come before anything else was written."""
    path = tmp_path / "var" / "calibrations.toml"
    CalibrationBook(path).put("bed1", Quantity.PH, ELECTRODE)
    assert CalibrationBook(path).get("bed1", Quantity.PH) == ELECTRODE


def test_a_hand_written_file_is_read(path: Path) -> None:
    """With whole numbers, comments, and without what may be left out."""
    path.write_text(BY_HAND)
    book = CalibrationBook(path)
    assert book.get("bed1", Quantity.PH) == PhCalibration(slope_percent=98.0, offset_mv=-4.0, day="2026-03-02")
    assert book.points("bed1", Quantity.PH) == (Point("7.00", 7.02, 2.9, 0.3, 20.0, WHEN),)
    assert book.get("north-2", Quantity.EC) == EcCalibration(cell_constant_per_cm=1.02, day="2026-03-03")


def test_the_documented_format_is_read(path: Path) -> None:
    """The example at the top of the module loads as it stands."""
    lines = (book_module.__doc__ or "").splitlines()
    path.write_text("\n".join(line.strip() for line in lines if line.startswith("    ")))
    book = CalibrationBook(path)
    assert book.get("bed1", Quantity.PH) == ELECTRODE
    assert len(book.points("bed1", Quantity.PH)) == 1
    assert book.get("bed1", Quantity.EC) == EcCalibration(cell_constant_per_cm=1.02, day="2026-03-02")
    assert book.get("bed1", Quantity.TEMPERATURE) == TemperatureCalibration(offset_k=-0.4, day="2026-03-02")
    level = LevelCalibration(scale=1.04, offset_share=-0.02, day="2026-03-02")
    assert book.get("bed1", Quantity.LEVEL) == level
    assert [point.settled_s for point in book.points("bed1", Quantity.PH)] == [50.0]


def test_every_kind_of_calibration_comes_back(path: Path) -> None:
    """A stop-gap as such, temperature and level, and how long a point took to settle."""
    kept: dict[Quantity, Calibration] = {
        Quantity.PH: replace(ELECTRODE, stop_gap=True),
        Quantity.EC: CELL,
        Quantity.TEMPERATURE: TemperatureCalibration(offset_k=2.9, day="2026-03-02"),
        Quantity.LEVEL: LevelCalibration(scale=0.5, offset_share=0.25, day="2026-03-02"),
    }
    points = (replace(POINTS[0], settled_s=61.5), POINTS[1])
    book = CalibrationBook(path)
    for quantity, calibration in kept.items():
        book.put("bed1", quantity, calibration, points)
    for quantity, calibration in kept.items():
        assert CalibrationBook(path).get("bed1", quantity) == calibration
        assert CalibrationBook(path).points("bed1", quantity) == points


def test_what_a_person_wrote_meanwhile_is_not_lost(path: Path) -> None:
    """Putting reads the file again first."""
    book = CalibrationBook(path)
    path.write_text(BY_HAND)
    book.put("bed1", Quantity.EC, CELL)
    assert CalibrationBook(path).get("bed1", Quantity.PH) is not None
    assert book.get("north-2", Quantity.EC) is not None


DAMAGED = {
    "torn": ("[reservoir.bed1.ph]\nday = 2026-03-02\nslope_per", "not valid TOML: Expected '='"),
    "not text": (b"\xff\xfe\x00", "UTF-8"),
    "empty key": (
        "[reservoir.bed1.ph]\n",
        "[reservoir.bed1.ph] slope_percent is missing: must be a finite number",
    ),
    "slope": (BY_HAND.replace("= 98 ", "= 84.9 "), "[reservoir.bed1.ph] slope_percent = 84.9: must be 85 to 105"),
    "offset": (BY_HAND.replace("= -4", "= -31"), "offset_mv = -31: must be -30 to 30"),
    "nan": (BY_HAND.replace("= -4", "= nan"), "offset_mv = nan: must be a finite number"),
    "truth": (BY_HAND.replace("= -4", "= true"), "offset_mv = True: must be a finite number"),
    "huge": (BY_HAND.replace("= -4", "= 1" + 400 * "0"), "must be a finite number"),
    "endless": (BY_HAND.replace("= -4", "= 1" + 5000 * "0"), "not valid TOML"),
    "cell": (
        BY_HAND.replace("1.02", "2.1"),
        "[reservoir.north-2.ec] cell_constant_per_cm = 2.1: must be 0.5 to 2",
    ),
    "EC offset": (
        BY_HAND + "offset_ms = 0.16\n",
        "[reservoir.north-2.ec] offset_ms = 0.16: must be -0.15 to 0.15",
    ),
    "quoted day": (BY_HAND.replace("2026-03-03", '"2026-03-03"'), "must be a date without quotes"),
    "time for day": (BY_HAND.replace("2026-03-03", "2026-03-03T10:00:00Z"), "must be a date without quotes"),
    "no such day": (BY_HAND.replace("2026-03-03", "2026-02-30"), "not valid TOML"),
    "no zone": (BY_HAND.replace("00Z", "00"), "[reservoir.bed1.ph.point 1] utc = "),
    "unknown key": (BY_HAND + "gain = 1\n", "[reservoir.north-2.ec] gain = 1: not known; known are day, cell_"),
    "unknown quantity": (
        BY_HAND.replace("-2.ec", "-2.light"),
        "[reservoir.north-2] light: not known; known are ph",
    ),
    "stop-gap no truth": (BY_HAND.replace("= -4", "= -4\nstop_gap = 1"), "stop_gap = 1: must be true or false"),
    "temperature": (
        "[reservoir.a.temperature]\nday = 2026-03-02\noffset_k = 3.1\n",
        "[reservoir.a.temperature] offset_k = 3.1: must be -3 to 3",
    ),
    "level scale": (
        "[reservoir.a.level]\nday = 2026-03-02\nscale = 0.4\noffset_share = 0.0\n",
        "[reservoir.a.level] scale = 0.4: must be 0.5 to 2",
    ),
    "level offset": (
        "[reservoir.a.level]\nday = 2026-03-02\nscale = 1.0\noffset_share = nan\n",
        "offset_share = nan: must be a finite number",
    ),
    "settled": (BY_HAND.replace("Z\n", "Z\nsettled_s = -1\n"), "settled_s = -1: must be 0 to"),
    "unknown top": ("[tank]\n", "tank: not known; known are reservoir"),
    "bad name": (BY_HAND.replace("north-2", "North"), "[reservoir] North: a reservoir's name may hold a-z"),
    "no table": ("reservoir = 3\n", "reservoir = 3: must be a table"),
    "point no list": ("[reservoir.a.ph]\npoint = 3\n", "point = 3: must be a list of tables"),
    "empty standard": (BY_HAND.replace('"7.00"', '""'), "standard = '': must be a text in quotes"),
}


@pytest.mark.parametrize(("content", "said"), DAMAGED.values(), ids=DAMAGED.keys())
def test_a_damaged_file_is_refused_and_left_alone(path: Path, content: str | bytes, said: str) -> None:
    """The message names file, key, what is allowed and the next step; the file is as it was, also after a put."""
    raw = content if isinstance(content, bytes) else content.encode()
    opened_before = CalibrationBook(path)
    path.write_bytes(raw)
    with pytest.raises(BookError) as refusal:
        CalibrationBook(path)
    assert str(refusal.value).startswith(str(path))
    assert said in str(refusal.value)
    assert "calibrate again" in str(refusal.value)
    with pytest.raises(BookError):
        opened_before.put("bed1", Quantity.PH, ELECTRODE)
    assert path.read_bytes() == raw
    assert opened_before.get("bed1", Quantity.PH) is None
    assert os.listdir(path.parent) == [path.name]


@pytest.mark.parametrize(
    ("reservoir", "quantity", "calibration"),
    [
        ("bed1", Quantity.PH, PhCalibration(slope_percent=float("nan"), offset_mv=0.0, day="2026-03-02")),
        ("bed1", Quantity.PH, PhCalibration(slope_percent=80.0, offset_mv=0.0, day="2026-03-02")),
        ("bed1", Quantity.PH, PhCalibration(slope_percent=98.0, offset_mv=0.0, day="soon")),
        ("bed1", Quantity.PH, CELL),
        ("bed1", Quantity.EC, ELECTRODE),
        ("bed1", Quantity.LEVEL, CELL),
        ("Bed 1", Quantity.PH, ELECTRODE),
    ],
)
def test_what_would_not_be_read_back_is_not_written(
    path: Path, reservoir: str, quantity: Quantity, calibration: Calibration
) -> None:
    """Out of limits, no number, no date, the wrong quantity, no name: the file and the book stay as they are."""
    book = CalibrationBook(path)
    book.put("bed1", Quantity.PH, NEWER)
    before = path.read_bytes()
    with pytest.raises(BookError, match=r"calibrations\.toml"):
        book.put(reservoir, quantity, calibration)
    assert path.read_bytes() == before
    assert book.get("bed1", Quantity.PH) == NEWER
    assert book.get("bed1", Quantity.EC) is None


@pytest.mark.parametrize("failing", range(1, 5))
def test_a_disk_that_fails_at_any_step_loses_nothing(
    path: Path, monkeypatch: pytest.MonkeyPatch, failing: int
) -> None:
    """Whichever sync fails, the file holds a whole calibration, old or new, and the book says that it failed."""
    book = CalibrationBook(path)
    book.put("bed1", Quantity.PH, ELECTRODE)
    book.put("bed1", Quantity.PH, ELECTRODE)
    calls = 0
    real = os.fsync

    def fsync(descriptor: int) -> None:
        nonlocal calls
        calls += 1
        if calls == failing:
            raise OSError(28, "No space left on device")
        real(descriptor)

    monkeypatch.setattr(os, "fsync", fsync)
    if failing == 4:  # one more than a put takes
        book.put("bed1", Quantity.PH, NEWER)
        assert calls == 3
        return
    with pytest.raises(BookError, match="No space left on device"):
        book.put("bed1", Quantity.PH, NEWER)
    assert CalibrationBook(path).get("bed1", Quantity.PH) in (ELECTRODE, NEWER)
    assert (CalibrationBook(path).get("bed1", Quantity.PH) == ELECTRODE) is (failing < 3)
    assert book.get("bed1", Quantity.PH) == ELECTRODE
    assert not path.with_name("calibrations.toml.new").exists()


def test_a_folder_in_its_place_cannot_be_read(path: Path) -> None:
    """Not taken for an empty book."""
    path.mkdir()
    with pytest.raises(BookError, match="cannot be read"):
        CalibrationBook(path)


@pytest.mark.parametrize("name", ['a "7.00"', "tab\tand\nline", "back\\slash", "\x7f\x00\x1f", "µS · ü", "# '''"])
def test_any_name_of_a_standard_comes_back(path: Path, name: str) -> None:
    """Quotes, control characters and other scripts survive the file."""
    CalibrationBook(path).put("bed1", Quantity.EC, CELL, [replace(POINTS[0], standard=name)])
    assert CalibrationBook(path).points("bed1", Quantity.EC)[0].standard == name


_finite = st.floats(-1e6, 1e6)
_text = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=20)
_points = st.builds(
    Point,
    standard=_text,
    reference=_finite,
    signal=_finite,
    spread=_finite,
    temperature_c=_finite,
    utc=st.datetimes(
        datetime(1970, 1, 2), timezones=st.just(UTC) | st.just(timezone(timedelta(hours=5, minutes=30)))
    ),
)
_days = st.dates(date(1, 1, 1)).map(date.isoformat)
_ph = st.builds(PhCalibration, slope_percent=st.floats(85.0, 105.0), offset_mv=st.floats(-30.0, 30.0), day=_days)
_ec = st.builds(
    EcCalibration, cell_constant_per_cm=st.floats(0.5, 2.0), offset_ms=st.floats(-0.15, 0.15), day=_days
)
_names = st.from_regex(r"[a-z0-9]{1,5}(-[a-z0-9]{1,3}){0,2}", fullmatch=True)
_pages = st.tuples(_names, _ph | _ec, st.lists(_points, max_size=3).map(tuple))


@settings(max_examples=30)  # each example syncs to a real disk
@given(pages=st.lists(_pages, min_size=1, max_size=3))
def test_any_calibration_comes_back_as_it_was(
    tmp_path_factory: pytest.TempPathFactory, pages: list[tuple[str, Calibration, tuple[Point, ...]]]
) -> None:
    """Round trip to the last bit of every number and the last character of every text."""
    path = tmp_path_factory.mktemp("book") / "calibrations.toml"
    expected = {}
    book = CalibrationBook(path)
    for reservoir, calibration, points in pages:
        quantity = Quantity.PH if isinstance(calibration, PhCalibration) else Quantity.EC
        book.put(reservoir, quantity, calibration, points)
        expected[reservoir, quantity] = (calibration, points)
    again = CalibrationBook(path)
    for key, (calibration, points) in expected.items():
        assert again.get(*key) == calibration
        assert again.points(*key) == points
