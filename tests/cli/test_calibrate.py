"""`evenwater calibrate`: step by step from a script, and guided at the tank."""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest

from daemon.cli import calibrate_guide
from daemon.cli.main import main
from daemon.measure.convert import EcCalibration, PhCalibration, TemperatureCalibration
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
        return tank.while_answering(lambda: main(typed), passing=len(words) == 1 or words[1].startswith("--"))

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
    said = capsys.readouterr().out.rstrip()
    assert "(at most 3.00), drifts " in said
    assert said.endswith(" a minute (at most 1.50), 6 of 6 samples")


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (("ph", "point", "7.00", "--buffer", "4.01"), 2, "one bottle at a time, as in: point 7.00"),
        (("ph", "point"), 1, "pH is not being calibrated; begin first"),
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


Does = Callable[[AtTheTank], object]


def dips(standard: str, probe: str = "ph") -> Does:
    """Put the probe into that bottle."""
    return lambda tank: tank.bench.play("dip", tank="bed1", probe=probe, standard=standard)


def puts_back(probe: str = "ph") -> Does:
    """Put the probe back into the water."""
    return lambda tank: tank.bench.play("back", tank="bed1", probe=probe)


def nothing(_tank: AtTheTank) -> None:
    """Only type."""


Answer = tuple[Does, str]
AT_7: Answer = (dips("7.00"), "")
IS_7: Answer = (nothing, "7.00")
AT_4: Answer = (dips("4.01"), "")
NO_MORE: Answer = (nothing, "")
YES: Answer = (nothing, "yes")
BACK: Answer = (puts_back(), "")


class AtTheTerminal(io.StringIO):
    """A person who does and types one answer after the other; then they leave, as by Ctrl-C or a closed line."""

    def __init__(self, tank: AtTheTank, answers: Sequence[Answer], ending: type[BaseException]) -> None:
        super().__init__()
        self._tank, self._answers, self._ending = tank, list(answers), ending

    def isatty(self) -> bool:
        return True

    def readline(self, *_size: object) -> str:  # type: ignore[override]  # a text stream
        if not self._answers:
            if self._ending is EOFError:
                return ""
            raise self._ending
        does, typed = self._answers.pop(0)
        does(self._tank)
        return typed + "\n"


@pytest.fixture
def guided(
    evenwater: Evenwater, tank: AtTheTank, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., tuple[int, str]]:
    """Be guided with these answers: the exit code, and what was shown."""

    def being(
        *answers: Answer, words: Sequence[str] = ("ph",), ending: type[BaseException] = KeyboardInterrupt
    ) -> tuple[int, str]:
        monkeypatch.setattr("sys.stdin", AtTheTerminal(tank, answers, ending))
        monkeypatch.setattr(calibrate_guide, "LOOK_EVERY_S", 0.001)
        code = evenwater(*words)
        return code, " ".join(capsys.readouterr().out.split())  # however wide the terminal is

    return being


Guided = Callable[..., tuple[int, str]]


def test_the_guide_leads_through_both_buffers(guided: Guided, tank: AtTheTank) -> None:
    """It waits until each has settled, asks about 7.00 and 6.86, knows 4.01, shows, asks, and goes on dosing."""
    code, said = guided(AT_7, IS_7, AT_4, NO_MORE, YES, BACK)
    assert code == 0
    told = ("put it into fresh 7.00", "7.00 or 6.86", "7.00 taken", "By its signal this is 4.01", "4.01 taken")
    outlook = "nothing to say against the probe"
    places = [said.index(one) for one in (*told, "would have read", "kept: ", outlook)]
    assert places == sorted(places)
    fit = tank.service.book.get("bed1", Quantity.PH)
    assert isinstance(fit, PhCalibration)
    assert fit.slope_percent == pytest.approx(97.0, abs=1.5)
    assert said.rstrip().endswith("(corrects by itself)")


def test_a_third_bottle_is_offered(guided: Guided, tank: AtTheTank) -> None:
    """And taken where it is there."""
    code, said = guided(AT_7, IS_7, AT_4, (nothing, "y"), (dips("10.01"), ""), YES, BACK)
    assert code == 0
    assert "Is 10.01 there too? It makes the result surer. [y/N]" in said
    names = [point.standard for point in tank.service.book.points("bed1", Quantity.PH)]
    assert names == ["7.00", "4.01", "10.01"]


def test_named_bottles_are_not_asked_for_and_accept_asks_nothing(guided: Guided, tank: AtTheTank) -> None:
    """--buffer for each, in their order, and --accept."""
    words = ("ph", "--buffer", "7.00", "--buffer", "4.01", "--accept")
    code, said = guided(AT_7, AT_4, BACK, words=words)
    assert code == 0
    assert "Which does the label say" not in said
    assert tank.service.book.get("bed1", Quantity.PH) is not None


def test_another_bottle_than_asked_for_is_taken_as_what_it_is(guided: Guided, tank: AtTheTank) -> None:
    """The person took 4.01 first: said so, and it still makes a calibration."""
    code, said = guided(AT_4, AT_7, IS_7, NO_MORE, YES, BACK)
    assert code == 0
    assert "By its signal this is 4.01, not the 7.00 asked for." in said
    assert tank.service.book.get("bed1", Quantity.PH) is not None


def test_a_refused_result_lets_a_bottle_be_taken_again(guided: Guided, tank: AtTheTank) -> None:
    """Both times 7.00: too alike; then 4.01 by its name."""
    code, said = guided(AT_7, IS_7, AT_7, IS_7, NO_MORE, (nothing, "4.01"), AT_4, YES, BACK)
    assert code == 0
    assert "1 points, needed are 2 to 3" in said
    assert tank.service.book.get("bed1", Quantity.PH) is not None


def test_a_stop_gap_is_guided_too(guided: Guided, tank: AtTheTank) -> None:
    """One buffer that shows a dead bulb; it says what it is before it is kept."""
    code, said = guided(AT_4, YES, BACK, words=("ph", "--stop-gap"))
    assert code == 0
    assert said.index("nothing is dosed by it, and after 7 days") < said.index("kept: ")
    fit = tank.service.book.get("bed1", Quantity.PH)
    assert isinstance(fit, PhCalibration)
    assert fit.stop_gap


def test_ec_is_guided_in_two_standards(guided: Guided, tank: AtTheTank) -> None:
    """The first is asked about where nothing is known of the cell; the second is offered."""
    first = ((dips("1.413", "ec"), ""), (nothing, "1413"))
    second = ((nothing, "y"), (dips("2.765", "ec"), ""), (nothing, "2765"))
    code, _ = guided(*first, *second, YES, (puts_back("ec"), ""), words=("ec",))
    assert code == 0
    fit = tank.service.book.get("bed1", Quantity.EC)
    assert isinstance(fit, EcCalibration)
    assert fit.cell_constant_per_cm == pytest.approx(0.98, rel=0.02)
    assert len(tank.service.book.points("bed1", Quantity.EC)) == 2


def test_a_thermometer_is_guided(guided: Guided, tank: AtTheTank) -> None:
    """What is not a number is asked again."""
    answers = (NO_MORE, (nothing, "warm"), (nothing, "20,1"), YES, NO_MORE)
    code, said = guided(*answers, words=("temperature",))
    assert code == 0
    assert "a number, as 20.4" in said
    assert isinstance(tank.service.book.get("bed1", Quantity.TEMPERATURE), TemperatureCalibration)


LEAVES = {
    "at the first bottle": (),
    "in the first bottle": (AT_7,),
    "at the second bottle": (AT_7, IS_7),
    "at the third": (AT_7, IS_7, AT_4),
    "at the question": (AT_7, IS_7, AT_4, NO_MORE),
    "by a no": (AT_7, IS_7, AT_4, NO_MORE, (nothing, "no")),
}


@pytest.mark.parametrize("ending", [KeyboardInterrupt, EOFError])
@pytest.mark.parametrize("answers", LEAVES.values(), ids=LEAVES.keys())
def test_leaving_the_guide_changes_nothing_and_stays_held(
    guided: Guided, tank: AtTheTank, answers: Sequence[Answer], ending: type[BaseException]
) -> None:
    """At any point, by Ctrl-C or a closed terminal: exit 1, no calibration, and dosing waits for `release`."""
    code, said = guided(*answers, ending=ending)
    assert code == 1
    assert "nothing changed" in said
    assert tank.service.book.get("bed1", Quantity.PH) is None
    assert tank.loop.reservoirs["bed1"].instruments.visit is None
    tank.passes(1)
    assert tank.bed().condition is Condition.HELD


def test_a_guide_that_was_killed_leaves_all_as_it_was(
    guided: Guided, evenwater: Evenwater, tank: AtTheTank, capsys: pytest.CaptureFixture[str]
) -> None:
    """kill -9 sends nothing: still held, the old one in force; begin says what goes on, cancel ends it."""
    assert evenwater("ph", "begin") == 0
    stand_in(tank, "ph", "7.00")
    assert evenwater("ph", "point", "7.00") == 0
    capsys.readouterr()
    tank.passes(10)
    assert tank.service.book.get("bed1", Quantity.PH) is None
    assert tank.bed().condition is Condition.HELD
    assert evenwater("ph", "begin") == 1
    assert "pH is being calibrated" in capsys.readouterr().err
    assert evenwater("ph", "cancel") == 0
    assert guided(AT_7, IS_7, AT_4, NO_MORE, YES, BACK)[0] == 0


def test_what_is_odd_needs_accept_from_a_script(
    evenwater: Evenwater, tank: AtTheTank, capsys: pytest.CaptureFixture[str]
) -> None:
    """A stop-gap: result shows it, finish refuses with 1, finish --accept keeps it; all as JSON."""
    assert evenwater("ph", "begin", "--json") == 0
    stand_in(tank, "ph", "4.01")
    assert evenwater("ph", "point", "--buffer", "4.01", "--json") == 0
    for words, code in ((("result",), 0), (("finish",), 1), (("finish", "--accept"), 0)):
        capsys.readouterr()
        assert evenwater("ph", *words, "--stop-gap", "--json") == code
    assert json.loads(capsys.readouterr().out)["fit"]["calibration"]["stop_gap"] is True


def test_a_slip_in_a_name_costs_nothing(guided: Guided, tank: AtTheTank) -> None:
    """Asked again, with what is known; the points before stay."""
    slip: Answer = (nothing, "7.77")
    code, said = guided(AT_7, slip, IS_7, AT_4, NO_MORE, YES, BACK)
    assert code == 0
    assert 'ph standard "7.77": not known' in said
    assert tank.service.book.get("bed1", Quantity.PH) is not None
