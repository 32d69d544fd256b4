"""H26, H28, H29, H30: the loop stops, the program changes, EC or pumps are heard in the readings."""

from __future__ import annotations

from copy import deepcopy
from pathlib import Path

import pytest

from config.settings import Settings
from daemon import notify
from daemon.keeping.instruments import Instruments
from daemon.keeping.reservoir import KeptReservoir
from daemon.values import Condition, Quantity, Role
from sim_hw.ads1115_chip import Input
from tests.at_the_tank import TO_A_DOSE, at_the_tank, raw_settings, two_beds
from tests.hazards.conftest import Figure
from tests.hazards.kept import keep, true_ph

CELL_LINE = 5
PH_INPUT = 0


class HangsError(Exception):
    """From here on nothing of this pass is done."""


@pytest.mark.parametrize(
    ("part", "step"),
    [(Instruments, "look"), *((KeptReservoir, step) for step in ("decide", "dose", "causes", "state"))],
)
def test_h26_a_pass_that_does_not_end_feeds_no_watchdog(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, part: type, step: str, figure: Figure
) -> None:
    """Wherever the loop stands still, the service manager hears nothing more, and no pump is left on."""
    told: list[str] = []
    monkeypatch.setattr(notify, "tell", lambda *words: told.extend(words))
    with at_the_tank(tmp_path) as at:
        at.passes(2)
        assert told == [notify.ALIVE] * 2

        def hang(*_: object) -> None:
            raise HangsError

        monkeypatch.setattr(part, step, hang)
        with pytest.raises(HangsError):
            at.passes(TO_A_DOSE)
        assert at.loop.state is not None
        assert told == [notify.ALIVE] * at.loop.state.passes
        assert not at.pump_is_on()
    figure("0 signs of life from a pass that hangs")


def test_h28_a_new_version_finds_what_the_old_one_left(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It starts in the middle of the old one's day, a hold and its doses in force."""
    with at_the_tank(tmp_path) as at:
        at.passes(TO_A_DOSE)
        spent_ml = at.bed().caps[Role.PH_DOWN].last_day_ml
        at.ask("hold", reason="upgrade")
    monkeypatch.setattr("daemon.service.version", lambda _: "99.0.0")
    with at_the_tank(tmp_path) as at:
        state = at.passes(1)
        assert state.version == "99.0.0"
        assert at.bed().condition is Condition.HELD
        assert at.bed().caps[Role.PH_DOWN].last_day_ml == pytest.approx(spent_ml)
        at.ask("release")
        at.until(lambda _: at.runs() != [], within=60)


def off_by_ph(folder: Path, line: int | None) -> float:
    """How far the pH shown is off at most, in ten minutes beside an EC cell that moves the electrode by 12 mV."""
    folder.mkdir()
    switched = {} if line is None else {"excitation_line": line}
    raw = raw_settings()
    probes = deepcopy(raw["rig"]["tank"]["bed1"]["probe"])
    next(one for one in probes if one["kind"] == "ec_amplifier").update(disturbs_ph_mv=12.0, **switched)
    raw["reservoir"]["bed1"]["probe"]["ec"].update(switched)
    raw["reservoir"]["bed1"]["start"] = "watching"
    tank = {"probe": probes, "plants": 0, "co2_exchange_per_h": 0.0}
    worst = 0.0
    with at_the_tank(folder, Settings.model_validate(raw), tank=tank) as at:
        for _ in range(60):
            at.passes(1)
            readings = {of: at.bed().verdicts[of].reading for of in (Quantity.PH, Quantity.EC)}
            assert all(readings.values())
            worst = max(worst, abs(readings[Quantity.PH].value - true_ph(at)))  # type: ignore[union-attr]
        truth = at.bench.world.truth()["tanks"]["bed1"]["ec25_ms_per_cm"]
        assert readings[Quantity.EC].value == pytest.approx(truth, abs=0.02)  # type: ignore[union-attr]
    return worst


def test_h29_ph_is_undisturbed_where_the_current_of_ec_is_switched(tmp_path: Path, figure: Figure) -> None:
    """12 mV from the EC cell: pH is off where its current always flows, and right where it is switched."""
    always, switched = off_by_ph(tmp_path / "always", None), off_by_ph(tmp_path / "switched", CELL_LINE)
    assert always > 0.15
    assert switched <= 0.02
    figure(f"pH off by {always:.2f} with the current always on, by {switched:.3f} with it switched")


def test_h29_no_ph_is_read_while_any_cell_is_on(tmp_path: Path) -> None:
    """Two beds that share nothing but the bus, each cell with a line of its own."""
    settings = two_beds()
    lines = {"bed1": CELL_LINE, "bed2": CELL_LINE + 1}
    probes = {name: dict(bed.probe) for name, bed in settings.reservoir.items()}
    for name, line in lines.items():
        probes[name]["ec"] = probes[name]["ec"].model_copy(update={"excitation_line": line})
    beds = {name: bed.model_copy(update={"probe": probes[name]}) for name, bed in settings.reservoir.items()}
    with at_the_tank(tmp_path, settings.model_copy(update={"reservoir": beds})) as at:
        on: list[int] = []
        seen = 0

        def listening(around: Input) -> Input:
            def volts(now_s: float, lasting_s: float) -> float:
                nonlocal seen
                seen += 1
                on.extend(line for line in lines.values() if at.bench.pin_factory().pin(line).state)
                return around(now_s, lasting_s)

            return volts

        for address in (0x48, 0x49):
            inputs = at.bench.i2c(1).chips[address].inputs
            inputs[PH_INPUT] = listening(inputs[PH_INPUT])
        at.passes(30)
        assert seen >= 30 * 2 * 4
        assert on == []
        assert len(at.runs(CELL_LINE)) == len(at.runs(CELL_LINE + 1)) == 30


def test_h30_no_probe_is_read_while_a_pump_turns(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, figure: Figure
) -> None:
    """Not one conversion in two hours of doses; the first after a run comes after it has ended."""
    with at_the_tank(tmp_path) as at:
        conversions: list[bool] = []
        at_s: list[float] = []
        inputs = at.bench.i2c(1).chips[0x48].inputs
        for channel, probe in enumerate(list(inputs)):

            def listening(now_s: float, lasting_s: float, probe: Input = probe) -> float:
                conversions.append(at.pump_is_on() or at.pump_is_on(role="ph_up"))
                at_s.append(now_s)
                return probe(now_s, lasting_s)

            inputs[channel] = listening
        keep(at, 2.0, every_s=10.0)
        assert len(at.runs()) >= 3
        assert len(conversions) > 1000
        assert not any(conversions)
        ends_s = [edge.at_s for edge in at.bench.edges if not edge.on and edge.at_s > 1.0]
        quiet_s = min(min(s - end_s for s in at_s if s > end_s) for end_s in ends_s if end_s < at_s[-1])
        assert quiet_s >= 5.0
        figure(
            f"0 of {len(conversions)} conversions with a pump on; the first of all {quiet_s:.1f} s after a run"
        )
