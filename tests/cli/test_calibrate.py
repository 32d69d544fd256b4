"""`evenwater calibrate`: step by step from a script, and guided at the tank."""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from daemon.cli import calibrate
from daemon.cli.main import main
from daemon.measure.convert import EcCalibration, PhCalibration
from daemon.values import Condition, Quantity
from tests.at_the_tank import AtTheTank, at_the_tank

Evenwater = Callable[..., int]
A_MINUTE = 8  # passes until a probe has settled in its standard


@pytest.fixture
def tank(tmp_path: Path) -> Iterator[AtTheTank]:
    """The school garden, not calibrated, listening on its control socket."""
    with at_the_tank(tmp_path, control=True, calibrated=False) as at:
        at.passes(3)
        yield at


@pytest.fixture
def evenwater(tank: AtTheTank, tmp_path: Path) -> Evenwater:
    """Gives the exit code of `evenwater calibrate …` typed in another shell; time passes only when guided."""

    def calibrated(*words: str) -> int:
        typed = ["calibrate", *words, "--state", str(tmp_path)]
        return tank.while_answering(lambda: main(typed), passing=len(words) == 1)

    return calibrated


def stand_in(tank: AtTheTank, quantity: str, standard: str) -> None:
    """The probe has stood in that standard for more than a minute."""
    tank.bench.play("dip", tank="bed1", probe=quantity, standard=standard)
    tank.passes(2 * A_MINUTE)


def test_two_buffers_step_by_step(
    evenwater: Evenwater, tank: AtTheTank, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each step exits 0 and says what was taken; the fit is kept."""
    assert evenwater("ph", "begin") == 0
    for buffer in ("7.00", "4.01"):
        stand_in(tank, "ph", buffer)
        assert evenwater("ph", "point", buffer) == 0
    assert evenwater("ph", "finish") == 0
    assert evenwater("ph", "back") == 0
    said = capsys.readouterr().out.splitlines()
    assert said[0] == "Bed 1: dosing paused while the probe is out of the water"
    assert said[1].startswith("7.00 taken: ")
    assert said[2].startswith("4.01 taken: ")
    assert said[3].startswith("kept: slope 9")
    assert said[4].startswith("Bed 1 is ")
    assert isinstance(tank.service.book.get("bed1", Quantity.PH), PhCalibration)


def test_swapped_buffers_fail_and_keep_the_reservoir_held(
    evenwater: Evenwater, tank: AtTheTank, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit 1, with the reason and no calibration; `cancel` leaves it held until released."""
    assert evenwater("ph", "begin") == 0
    for buffer, label in (("7.00", "4.01"), ("4.01", "7.00")):
        stand_in(tank, "ph", buffer)
        assert evenwater("ph", "point", label) == 0
    capsys.readouterr()
    assert evenwater("ph", "finish") == 1
    assert "the buffers were swapped" in capsys.readouterr().out
    assert tank.service.book.get("bed1", Quantity.PH) is None
    assert evenwater("ph", "cancel") == 0
    assert "evenwater release" in capsys.readouterr().out
    tank.passes(1)
    assert tank.bed().condition is Condition.HELD


def test_ec_in_one_standard_with_its_temperature_given(
    evenwater: Evenwater, tank: AtTheTank, capsys: pytest.CaptureFixture[str]
) -> None:
    """As JSON: the point and the fit in plain values."""
    tank.bench.play("unplug", probe="temperature")
    assert evenwater("ec", "begin", "--reservoir", "bed1") == 0
    tank.bench.play("dip", tank="bed1", probe="ec", standard="1.413", temperature_c=25.0)
    tank.passes(2 * A_MINUTE)
    capsys.readouterr()
    assert evenwater("ec", "point", "1.413", "--temperature-c", "25", "--json") == 0
    assert json.loads(capsys.readouterr().out)["point"]["reference"] == pytest.approx(1.413, abs=0.002)
    assert evenwater("ec", "finish", "--json") == 0
    assert json.loads(capsys.readouterr().out)["accepted"] is True
    fit = tank.service.book.get("bed1", Quantity.EC)
    assert isinstance(fit, EcCalibration)
    assert fit.cell_constant_per_cm == pytest.approx(0.98, rel=0.02)


def test_a_look_says_how_far_it_has_settled(
    evenwater: Evenwater, tank: AtTheTank, capsys: pytest.CaptureFixture[str]
) -> None:
    """The signal, how much it moved, and how much it may."""
    evenwater("ph", "begin")
    stand_in(tank, "ph", "7.00")
    capsys.readouterr()
    assert evenwater("ph", "look") == 0
    assert capsys.readouterr().out.rstrip().endswith("(at most 3.00) over 6 of 6 samples")


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (("ph", "point"), 2, "`point` needs the standard, as in: point 7.00"),
        (("ph", "point", "7.00"), 1, "pH is not being calibrated; begin first"),
        (("ph", "finish"), 1, "begin first"),
        (("ph", "begin", "--reservoir", "bed9"), 1, "no reservoir bed9"),
    ],
)
def test_a_step_that_cannot_be_says_what_to_do(
    evenwater: Evenwater, words: tuple[str, ...], code: int, says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """1 where the daemon refuses, 2 where the command line is incomplete."""
    assert evenwater(*words) == code
    said = capsys.readouterr()
    assert said.err.startswith("evenwater calibrate: ")
    assert says in said.err


class AtTheTerminal(io.StringIO):
    """A person who does what the guide asks, then presses Enter; after `patience` questions they leave."""

    def __init__(self, tank: AtTheTank, patience: int = 3) -> None:
        super().__init__()
        self._tank, self._buffers, self._patience = tank, iter(("7.00", "4.01")), patience

    def isatty(self) -> bool:
        return True

    def readline(self, *_size: object) -> str:  # type: ignore[override]  # a text stream
        self._patience -= 1
        if self._patience < 0:
            raise KeyboardInterrupt
        buffer = next(self._buffers, None)
        if buffer is None:
            self._tank.bench.play("back", tank="bed1", probe="ph")
        else:
            self._tank.bench.play("dip", tank="bed1", probe="ph", standard=buffer)
        return "\n"


def test_the_guide_leads_through_both_buffers(
    evenwater: Evenwater, tank: AtTheTank, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It waits until each has settled; Enter takes the usual standard."""
    monkeypatch.setattr("sys.stdin", AtTheTerminal(tank))
    monkeypatch.setattr(calibrate, "LOOK_EVERY_S", 0.001)
    assert evenwater("ph") == 0
    said = capsys.readouterr().out
    assert (
        said.index("(usual: 7.00)") < said.index("7.00 taken") < said.index("4.01 taken") < said.index("kept: ")
    )
    fit = tank.service.book.get("bed1", Quantity.PH)
    assert isinstance(fit, PhCalibration)
    assert fit.slope_percent == pytest.approx(97.0, abs=1.5)
    assert said.rstrip().endswith("(corrects by itself)")


def test_leaving_the_guide_changes_nothing_and_stays_held(
    evenwater: Evenwater, tank: AtTheTank, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Ctrl-C at the second buffer: cancelled, exit 1, no calibration, and dosing waits for `release`."""
    monkeypatch.setattr("sys.stdin", AtTheTerminal(tank, patience=1))
    monkeypatch.setattr(calibrate, "LOOK_EVERY_S", 0.001)
    assert evenwater("ph") == 1
    assert "nothing changed" in capsys.readouterr().out
    assert tank.service.book.get("bed1", Quantity.PH) is None
    assert tank.loop.reservoirs["bed1"].instruments.visit is None
    tank.passes(1)
    assert tank.bed().condition is Condition.HELD
