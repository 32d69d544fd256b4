"""`evenwater crop still`: sizes and tables as a grower reads them."""

from __future__ import annotations

import json
from typing import Any

import pytest

from daemon.cli.main import main

SIX = ["crop", "still", "--heads", "6"]


def shown(capsys: pytest.CaptureFixture[str], *words: str) -> Any:
    """The JSON of a command that is fine."""
    assert main([*SIX, *words, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_the_size_and_the_fall_are_told(capsys: pytest.CaptureFixture[str]) -> None:
    """6 heads of 150 g at 20 L/kg: 18 L, 9 to 36; 45 L to be sure, with a fifth left."""
    assert main(SIX) == 0
    out = capsys.readouterr().out
    assert "drink 18 L (9 to 36)" in out
    assert "45 L are enough for the thirstiest, 22.5 L for likely ones" in out
    assert "20% and 80%" in out
    assert "Never fill it to the top again" in out
    assert "too small" not in out


def test_a_box_that_is_there_is_judged(capsys: pytest.CaptureFixture[str]) -> None:
    """Too small is said, from which day; with its surface the gap in cm: 18 L over 900 cm² are 20 cm."""
    found = shown(capsys, "--litres", "22.5", "--surface", "900")
    assert found["full_l"] == 22.5
    assert 10 <= found["too_small_from_day"] <= 20
    assert found["days"][-1]["gap_cm"] == pytest.approx(20.0)
    assert found["days"][-1]["level"] == pytest.approx(0.2)
    main([*SIX, "--litres", "22.5", "--surface", "900"])
    out = capsys.readouterr().out
    assert "It may be too small" in out
    assert "20.0 cm" in out


def test_ones_own_litres_per_kg_count(capsys: pytest.CaptureFixture[str]) -> None:
    """And other weather shifts the days, not the litres."""
    assert shown(capsys, "--litres-per-kg", "10")["drunk_l"]["likely"] == pytest.approx(9.0)
    dim, bright = shown(capsys, "--lamp", "120"), shown(capsys, "--lamp", "300")
    assert dim["drunk_l"] == bright["drunk_l"]
    assert len(dim["days"]) > len(bright["days"])


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--heads", "0"], "must be a whole number, 1 to 5000"),
        (["--heads", "six"], "must be a whole number, 1 to 5000"),
        (["--grams", "nan"], "must be a number"),
        (["--litres", "0"], "must be 0.5 to 2000"),
        (["--lamp-hours", "25"], "must be 0.5 to 24"),
    ],
)
def test_what_cannot_be_is_refused(capsys: pytest.CaptureFixture[str], more: list[str], said: str) -> None:
    """Exit 2, and what is allowed."""
    with pytest.raises(SystemExit) as end:
        main([*SIX, *more])
    assert end.value.code == 2
    assert said in capsys.readouterr().err


def test_heads_that_never_weigh_so_much_are_refused(capsys: pytest.CaptureFixture[str]) -> None:
    """With what would help."""
    assert main([*SIX, "--lamp", "10", "--grams", "400"]) == 2
    assert "more light (--lamp, --lamp-hours)" in capsys.readouterr().err
