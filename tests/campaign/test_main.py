"""The campaign's command: one report for people, one for programs."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.campaign.__main__ import main
from tests.campaign.keep import TOP, Kept
from tests.campaign.report import summed


def test_the_report_for_programs_is_one_object_with_each_month(capsys: pytest.CaptureFixture[str]) -> None:
    """Two seeds in two processes, in the order of their seeds; no cap crossed, exit 0."""
    assert main(["--first", "18", "--seeds", "2", "--jobs", "2", "--days", "0.1", "--json"]) == 0
    report = json.loads(capsys.readouterr().out)
    assert report.keys() >= summed([]).keys()
    assert [month["seed"] for month in report["months"]] == [18, 19]
    assert report["runs"] == 2
    assert report["doses"] == sum(month["doses"] for month in report["months"])
    assert report["happened"] == report["months"][0]["happened"]


def test_when_time_is_up_what_is_over_is_reported(capsys: pytest.CaptureFixture[str]) -> None:
    """None at all here, and the table says so."""
    assert main(["--seeds", "1", "--days", "30", "--minutes", "0.001"]) == 0
    assert "runs" in capsys.readouterr().out


@pytest.mark.parametrize("wrong", [["--seeds", "0"], ["--days", "0"], ["--days", "nan"], ["--jobs", "-1"]])
def test_numbers_that_mean_nothing_are_refused(wrong: list[str]) -> None:
    """As used wrongly."""
    with pytest.raises(SystemExit) as end:
        main(wrong)
    assert end.value.code == 2


def test_a_kept_campaign_goes_on_with_the_seeds_that_are_missing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The report is over all of the file, and the months of before are not lived again."""
    asked = ["--days", "0.1", "--json", "--keep", str(tmp_path / "months")]
    assert main(["--first", "18", "--seeds", "1", *asked]) == 0
    first = json.loads(capsys.readouterr().out)
    assert main(["--first", "18", "--seeds", "2", *asked]) == 0
    both = json.loads(capsys.readouterr().out)
    assert both["runs"] == 2
    assert [month["seed"] for month in both["months"]] == [18, 19]
    assert both["months"][0] == first["months"][0]
    assert len((tmp_path / "months").read_text().splitlines()) == 2


def test_a_killed_campaign_keeps_the_months_that_are_over_and_leaves_no_process(tmp_path: Path) -> None:
    """SIGKILL in a later one: the first is in the file, and the process that lived them ends with its own."""
    kept = tmp_path / "months"
    command = [sys.executable, "-m", "tests.campaign", "--first", "18", "--seeds", "9000", "--days", "0.5"]
    with subprocess.Popen([*command, "--keep", str(kept)], stderr=subprocess.PIPE, cwd=TOP) as campaign:
        while not (kept.is_file() and kept.read_bytes()):
            assert campaign.poll() is None
        campaign.kill()
        assert campaign.stderr is not None
        campaign.stderr.read()  # until no process is left that could write to it
    with Kept(kept, 0.5) as again:
        assert 18 in again.months


def test_a_file_that_cannot_be_gone_on_with_is_used_wrongly(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Notes, a folder that is not there, or stories, which are not kept."""
    (tmp_path / "notes").write_text("dear diary\n")
    for wrong in (["notes"], ["gone/months"], ["months", "--story"]):
        with pytest.raises(SystemExit) as end:
            main(["--keep", str(tmp_path / wrong[0]), *wrong[1:]])
        assert end.value.code == 2
    told = capsys.readouterr().err
    assert ("notes, line 1 is not a month" in told, "gone/months" in told, "stories are not kept" in told) == (
        True,
        True,
        True,
    )
