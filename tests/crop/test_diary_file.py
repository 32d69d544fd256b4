"""The crop diary on the disk: added to, never rewritten; a torn end is passed over, damage is told."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from multiprocessing import get_context
from pathlib import Path

import pytest

from daemon.crop.diary import Done, Emerged, Event, Finding, Note, Sown, Thinned, Undone, Walked
from daemon.crop.diary_file import Diary, DiaryError, NotWrittenError, event_of, lines_as_json, read, write

DAY, AT = date(2026, 3, 1), datetime(2026, 3, 1, 6, 30, tzinfo=UTC)
SOWN = Sown(batch="spring-1", crop="lettuce", variety="butterhead", plugs=6)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A diary of three entries."""
    path = tmp_path / "state" / "crop-diary.jsonl"
    events: tuple[Event, ...] = (SOWN, Emerged(batch="spring-1", plugs=5), Note(text="Lampe höher gehängt"))
    for event in events:
        write(path, event, DAY, AT)
    return path


def test_what_was_written_is_read_again(path: Path) -> None:
    """Numbered from 1, with its moment and its day."""
    lines = read(path).lines
    assert [(line.number, line.kind, line.at, line.day) for line in lines] == [
        (number, kind, AT, DAY) for number, kind in enumerate(("sown", "emerged", "note"), start=1)
    ]
    assert lines[0].event == SOWN


def test_every_kind_comes_back_as_it_went(tmp_path: Path) -> None:
    """Tables within tables too."""
    walked = Walked(where="bed1", findings=(Finding(what="aphids", how_much="few"),), advice=("rinse them off",))
    events: list[Event] = [walked, Done(task="walk-2026-10"), Undone(entry=2, why="was another")]
    for event in events:
        write(tmp_path / "diary", event, DAY, AT)
    assert [line.event for line in read(tmp_path / "diary").lines] == events


def test_where_there_is_none_it_is_empty(tmp_path: Path) -> None:
    """No file is made by reading."""
    assert read(tmp_path / "diary") == Diary()
    assert not (tmp_path / "diary").exists()


def test_what_stands_is_never_rewritten(path: Path) -> None:
    """Each entry leaves all before it as it was, byte by byte."""
    before = path.read_bytes()
    write(path, Thinned(batch="spring-1"), DAY, AT)
    assert path.read_bytes().startswith(before)
    with pytest.raises(NotWrittenError, match="was never sown"):
        write(path, Thinned(batch="spring-2"), DAY, AT)
    assert path.read_bytes().count(b"\n") == 4


@pytest.mark.parametrize("kept", [1, 20, 60])
def test_a_torn_last_line_is_passed_over_and_told(path: Path, kept: int) -> None:
    """At any byte; the next entry closes it off, and takes the number it would have had."""
    raw = path.read_bytes()
    cut = raw.rindex(b'{"number": 3') + kept
    path.write_bytes(raw[:cut])
    diary = read(path)
    assert [line.number for line in diary.lines] == [1, 2]
    assert "line 3: was not written to its end" in diary.torn[0]
    assert write(path, Thinned(batch="spring-1"), DAY, AT).number == 3
    assert path.read_bytes().startswith(raw[:cut] + b" (torn)\n")
    after = read(path)
    assert [line.kind for line in after.lines] == ["sown", "emerged", "thinned"]
    assert len(after.torn) == 1


def test_a_line_torn_within_a_letter_is_passed_over(path: Path) -> None:
    """Half of a letter of two bytes stays when the line is closed off."""
    raw = path.read_bytes()
    path.write_bytes(raw[: raw.index("ö".encode()) + 1])
    write(path, Thinned(batch="spring-1"), DAY, AT)
    assert [line.number for line in read(path).lines] == [1, 2, 3]


def test_a_last_line_that_lacks_only_its_end_counts(path: Path) -> None:
    """It is whole."""
    path.write_bytes(path.read_bytes().rstrip(b"\n"))
    assert len(read(path).lines) == 3
    write(path, Thinned(batch="spring-1"), DAY, AT)
    assert [line.number for line in read(path).lines] == [1, 2, 3, 4]


@pytest.mark.parametrize("day", [date(1999, 12, 31), DAY + timedelta(days=2), date(9999, 12, 31)], ids=str)
def test_a_day_that_cannot_be_is_not_written(path: Path, day: date) -> None:
    """Yet to come, wherever on Earth the grower is, or long before there was a diary."""
    with pytest.raises(NotWrittenError, match="must be from 2000-01-01 to today"):
        write(path, Note(text="x"), day, AT)
    assert write(path, Note(text="x"), DAY + timedelta(days=1), AT).number == 4


DAMAGE = [
    (b'"plugs": 5', b'"plugs": -5', "plugs = -5: must be at least 0"),
    (b'"plugs": 5', b'"plugs": 5, "x": 1', "unknown key"),
    (b'"kind": "emerged"', b'"kind": "merged"', "did you mean emerged"),
    (b'"number": 2', b'"number": 1', "must follow 1"),
    (b'"number": 2, ', b"", "'number' is missing"),
    (b'"day": "2026-03-01"', b'"day": "1 March"', "damaged"),
    (b'"at": "2026-03-01T06:30:00.000Z"', b'"at": "2026-03-01T06:30:00"', "time zone"),
    (b'"day": "2026-03-01"', b'"day": "2026-03-03"', "to the day it was written, 2026-03-01"),
    (b'"day": "2026-03-01"', b'"day": "0001-01-01"', "must be from 2000-01-01"),
    (b'{"number": 2', b"[2]{", "damaged"),
    (b'{"number": 2', b"\x00\xff\x00", "damaged"),
]


@pytest.mark.parametrize(("was", "becomes", "why"), DAMAGE, ids=[row[2] for row in DAMAGE])
def test_a_damaged_line_is_refused_with_its_number(path: Path, was: bytes, becomes: bytes, why: str) -> None:
    """With what to do; and nothing is written after it."""
    first, second, rest = path.read_bytes().split(b"\n", 2)
    damaged = b"\n".join([first, second.replace(was, becomes), rest])
    path.write_bytes(damaged)
    for act in (lambda: read(path), lambda: write(path, Thinned(batch="spring-1"), DAY, AT)):
        with pytest.raises(DiaryError, match="line 2 is damaged") as refused:
            act()
        assert why in str(refused.value)
        assert "Keep a copy of the file" in str(refused.value)
    assert path.read_bytes() == damaged


def test_a_damaged_line_may_be_marked_so_that_it_counts_no_more(path: Path) -> None:
    """As the message says."""
    first, second, rest = path.read_bytes().split(b"\n", 2)
    path.write_bytes(b"\n".join([first, second[:-9] + b" (torn)", rest]))
    assert [line.number for line in read(path).lines] == [1, 3]


def test_a_folder_in_its_place_is_told(tmp_path: Path) -> None:
    """For reading and for writing."""
    for act in (lambda: read(tmp_path), lambda: write(tmp_path, Note(text="x"), DAY, AT)):
        with pytest.raises(DiaryError, match="cannot be used"):
            act()


def test_what_is_no_entry_is_told_with_what_is_allowed() -> None:
    """Each complaint with its kind."""
    with pytest.raises(NotWrittenError, match="did you mean sown"):
        event_of("swon", {})
    with pytest.raises(NotWrittenError, match="sown: plugs = 0: must be at least 1"):
        event_of("sown", {"batch": "a", "crop": "lettuce", "variety": "cos", "plugs": 0})


def test_programs_get_the_lines_as_they_stand(path: Path) -> None:
    """One object each."""
    first = next(lines_as_json(read(path).lines))
    assert first["kind"] == "sown"
    assert first["day"] == "2026-03-01"
    assert first["plugs"] == 6


def _write_some(path: Path, count: int) -> None:
    for _ in range(count):
        write(path, Note(text="at once"), DAY, AT)


def test_two_who_write_at_once_get_a_line_each(tmp_path: Path) -> None:
    """Numbers follow each other without a gap."""
    path = tmp_path / "diary"
    context = get_context("fork")
    writers = [context.Process(target=_write_some, args=(path, 15)) for _ in range(3)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    assert [line.number for line in read(path).lines] == list(range(1, 46))
