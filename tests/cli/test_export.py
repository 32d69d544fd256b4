"""`evenwater export`."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

from daemon.cli.main import main
from daemon.store.history import History
from tests.store.snapshots import snapshot


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Ten minutes of pH 6 on 2026-03-01."""
    history = History(tmp_path, keep_days=800)
    for minute in range(10):
        history.see(snapshot(minute * 60.0, 6.0))
    history.close()
    return tmp_path


def test_readings_as_csv(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each minute with its unit."""
    assert main(["export", "--state", str(folder), "--since", "2026-03-01", "--until", "2026-03-02"]) == 0
    table = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert len(table) == 10
    assert table[1] == {
        "time_utc": "2026-03-01T00:01:00.000Z",
        "reservoir": "bed1",
        "quantity": "ph",
        "value": "6.0",
        "unit": "",
        "doubted": "0",
    }


def test_into_a_new_file(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """How many rows is said; one that is there is not overwritten."""
    words = ["export", "--state", str(folder), "--since", "2026-03-01", "--file", str(tmp_path / "out.csv")]
    assert main([*words, "--events"]) == 0
    assert "1 rows" in capsys.readouterr().out
    assert (tmp_path / "out.csv").read_text(encoding="utf-8").splitlines()[
        0
    ] == "time_utc,reservoir,what,alarm,text"
    assert main(words) == 1
    assert "out.csv" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("more", "code", "said"),
    [
        (["--quantity", "light"], 1, "there are: ph"),
        (["--reservoir", "bed7"], 1, "there are: bed1"),
        (["--until", "2020-01-01"], 2, "must be before"),
    ],
)
def test_what_cannot_be(
    folder: Path, capsys: pytest.CaptureFixture[str], more: list[str], code: int, said: str
) -> None:
    """It says what there is, or is allowed."""
    assert main(["export", "--state", str(folder), "--since", "2026-03-01", *more]) == code
    assert said in capsys.readouterr().err


def test_nothing_in_that_time(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Said on the side, so that a pipe stays clean."""
    assert main(["export", "--state", str(folder), "--since", "2027-01-01", "--until", "2027-01-02"]) == 0
    printed = capsys.readouterr()
    assert printed.out.count("\n") == 1
    assert "nothing was kept" in printed.err


def test_no_history(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The next step is named."""
    assert main(["export", "--state", str(tmp_path)]) == 1
    assert "--state" in capsys.readouterr().err
    with pytest.raises(SystemExit):
        main(["export", "--since", "yesterday"])
    assert "2026-03-01" in capsys.readouterr().err
