"""The campaign's command: one report for people, one for programs."""

from __future__ import annotations

import json

import pytest

from tests.campaign.__main__ import main
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
