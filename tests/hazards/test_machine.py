"""H26, H28, H30: the loop stops, the program changes, and pumps are heard in the readings."""

from __future__ import annotations

from pathlib import Path

import pytest

from daemon import notify
from daemon.instruments import Instruments
from daemon.reservoir import KeptReservoir
from daemon.values import Condition, Role
from sim_hw.ads1115_chip import Input
from tests.at_the_tank import TO_A_DOSE, at_the_tank
from tests.hazards.conftest import Figure
from tests.hazards.kept import keep


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
