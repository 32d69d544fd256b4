"""`evenwater crop did` and `crop diary`, as a grower types them."""

from __future__ import annotations

import json
import shlex
from collections.abc import Callable
from pathlib import Path

import pytest

from daemon.cli.crop_diary import BY_HAND, DID
from daemon.cli.main import main

Crop = Callable[..., int]


@pytest.fixture
def crop(tmp_path: Path) -> Crop:
    """A `crop` command on a state folder of its own."""
    return lambda *words: main(["crop", *words, "--state", str(tmp_path)])


def test_the_examples_of_the_help_are_a_diary(crop: Crop, capsys: pytest.CaptureFixture[str]) -> None:
    """Each of them works, in that order, and shows every kind but those that other commands write."""
    examples = [
        line.split("   (")[0]
        for line in DID.partition("Without a plan")[2].splitlines()
        if line.startswith("  evenwater crop did")
    ]
    for example in examples:
        assert crop(*shlex.split(example)[2:], *_day(example)) == 0, example
    capsys.readouterr()
    assert crop("diary") == 0
    said = capsys.readouterr().out
    assert "7 · 2026-04-20 · picked spring-1: heads 3, grams 120, way leaves (undone)" in said
    assert (
        "spring-1: butterhead lettuce, sown 2026-03-01: 1 seedlings, 0 heads in bed1, 4 picked, 1 lost, "
        "610 g in all" in said
    )
    assert {word for example in examples for word in example.split() if word in BY_HAND} >= {*BY_HAND} - {
        "shared",
        "composted",
    }


def _day(example: str) -> list[str]:
    if "--day" in example:
        return []
    return ["--day", "2026-03-01" if " sown " in example else "2026-04-20"]


def test_it_is_json_for_programs(crop: Crop, capsys: pytest.CaptureFixture[str]) -> None:
    """Lines and batches."""
    assert crop("did", "sown", "a", "--crop", "lettuce", "--variety", "cos", "--plugs", "4", "--json") == 0
    assert json.loads(capsys.readouterr().out)["number"] == 1
    assert crop("diary", "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert [line["kind"] for line in told["lines"]] == ["sown"]
    assert told["batches"][0]["seedlings"] == 4
    assert told["batches"][0]["transplanted_on"] is None


WRONG = [
    (["did", "jumped", "a"], "is nothing to write down"),
    (["did", "walked", "a"], "is written by `evenwater crop walk`"),
    (
        ["did", "sown", "a", "--crop", "lettuce", "--plugs", "3"],
        "sown: nothing was written; add --variety (one of the crop's varieties, as butterhead)",
    ),
    (["did", "thinned"], "thinned: nothing was written; add the name of the BATCH"),
    (["did", "thinned", "a", "--heads", "3"], "unknown key"),
    (["did", "thinned", "a"], "was never sown"),
    (["did", "note", "--text", "x", "--day", "2999-01-01"], "is yet to come"),
    (["did", "eaten"], "says no amount"),
    (["diary", "--batch", "b"], "was never sown"),
]


@pytest.mark.parametrize(("words", "why"), WRONG, ids=[" ".join(row[0]) for row in WRONG])
def test_what_cannot_be_written_is_two(
    crop: Crop, words: list[str], why: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With what is allowed; nothing is written."""
    assert crop(*words) == 2
    assert why in capsys.readouterr().err
    assert not any(tmp_path.glob("*.jsonl")) or not (tmp_path / "crop-diary.jsonl").read_bytes()


def test_the_state_folder_is_named_after_the_command_it_is_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Before it, it would be passed over without a word."""
    with pytest.raises(SystemExit) as ended:
        main(["crop", "--state", str(tmp_path), "diary"])
    assert ended.value.code == 2
    assert "usage: evenwater" in capsys.readouterr().err


def test_a_damaged_diary_is_one(crop: Crop, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """On standard error, with its line."""
    (tmp_path / "crop-diary.jsonl").write_text("nonsense\n")
    assert crop("diary") == 1
    assert "line 1 is damaged" in capsys.readouterr().err


def test_a_torn_diary_says_so_and_goes_on(crop: Crop, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """On standard error."""
    (tmp_path / "crop-diary.jsonl").write_text('{"number": 1, "at')
    assert crop("diary") == 0
    said = capsys.readouterr()
    assert "was not written to its end" in said.err
    assert "Nothing was sown yet" in said.out
