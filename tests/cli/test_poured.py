"""`evenwater poured` against the whole program on a stepped bench."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest

from tests.at_the_tank import AtTheTank
from tests.cli.test_prime import at_a_terminal

Evenwater = Callable[..., int]

POURED = ("poured", "bed1", "ph_up", "--ml")


def noted_ml(tank: AtTheTank) -> list[float]:
    """What the ledger says was poured by hand."""
    return [entry["ml"] for entry in tank.ask("ledger") if entry["reason"] == "by_hand"]


def test_a_small_amount_is_noted_at_once(
    tank: AtTheTank, evenwater: Evenwater, capsys: pytest.CaptureFixture[str]
) -> None:
    """With who told it and the note, which the ledger shows to people."""
    assert evenwater(*POURED, "3", "--note", "by eye") == 0
    assert "3 mL pH up by hand noted" in capsys.readouterr().out
    assert evenwater("ledger", "--last", "1") == 0
    assert "3.0 mL pH up, poured by hand (local: by eye)" in capsys.readouterr().out


def test_much_needs_a_word_more(
    tank: AtTheTank, evenwater: Evenwater, capsys: pytest.CaptureFixture[str]
) -> None:
    """From a script --yes; without it nothing is noted and the answer says so."""
    assert evenwater(*POURED, "40") == 1
    assert "is more than the 5 mL of one dose; not noted yet: if it is no slip, once more with --yes" in (
        capsys.readouterr().out
    )
    assert evenwater(*POURED, "40", "--json") == 1
    assert json.loads(capsys.readouterr().out)["accepted"] is False
    assert noted_ml(tank) == []
    assert evenwater(*POURED, "40", "--yes", "--json") == 0
    assert json.loads(capsys.readouterr().out)["accepted"] is True
    assert noted_ml(tank) == [40.0]


@pytest.mark.parametrize(("answer", "code"), [("yes", 0), ("", 1), ("no", 1)])
def test_at_a_terminal_it_asks_again(
    tank: AtTheTank, evenwater: Evenwater, monkeypatch: pytest.MonkeyPatch, answer: str, code: int
) -> None:
    """Only a plain yes notes more than one dose may be; a usual amount is not asked about."""
    asked = at_a_terminal(monkeypatch, answer)
    assert evenwater(*POURED, "4") == 0
    assert asked == []
    assert evenwater(*POURED, "40") == code
    assert "Is it no slip?" in asked[0]
    assert noted_ml(tank) == ([40.0, 4.0] if answer == "yes" else [4.0])


def test_an_impossible_amount_is_refused(
    tank: AtTheTank, evenwater: Evenwater, capsys: pytest.CaptureFixture[str]
) -> None:
    """With what is allowed, whatever was said before."""
    assert evenwater(*POURED, "0", "--yes") == 1
    assert evenwater(*POURED, "4000", "--yes") == 1
    assert "4000 mL pH up by hand: must be above 0 mL and at most 3000 mL" in capsys.readouterr().err
    assert noted_ml(tank) == []
