"""What a reservoir learned of its own water: kept over a restart, left behind with the water."""

from __future__ import annotations

from pathlib import Path

import pytest

from daemon import words
from daemon.measure.echo import EchoNote, heard
from daemon.values import Entry, Role
from tests.at_the_tank import AtTheTank, at_the_tank, one_bed
from tests.faulty.grid import PH_INPUT, inputs_of
from tests.hazards.kept import (
    keep,
    true_ph,
)

HOURS = 5.0
MIDDLE_V = 1.65  # of the amplifier, at 0 mV
CALM = {"start_ph": 6.2}


def doses(at: AtTheTank) -> list[Entry]:
    """The doses of acid so far, oldest first."""
    entries = at.service.ledger.recent(100, "bed1")
    return [entry for entry in reversed(entries) if entry.pump is Role.PH_DOWN]


def test_each_dose_says_what_was_reckoned(tmp_path: Path) -> None:
    """Drift, mL and where they should bring pH; the share grows once three doses have shown what they do."""
    with at_the_tank(tmp_path, tank=CALM) as at:
        keep(at, HOURS)
        entries = doses(at)
        assert [entry.numbers["lessons"] for entry in entries] == list(map(float, range(len(entries))))
        assert [entry.numbers["share_of_need"] for entry in entries[:3]] == [1 / 3] * 3
        assert entries[-1].numbers["share_of_need"] > 0.6
        ml, n = entries[-1].ml, entries[-1].numbers
        told = words.entry(entries[-1])
        assert told.startswith(f"{ml:.1f} mL pH down, pH {n['ph']:.2f}, aim 6.00; drifting +")
        assert told.endswith(
            f"/day; {ml:.1f} mL should move {n['ph']:.2f} to {n['ph'] - ml / n['ml_per_ph']:.2f}"
        )


def test_a_restart_remembers(tmp_path: Path) -> None:
    """The first dose of the next start is reckoned with what was learned before."""
    with at_the_tank(tmp_path, tank=CALM) as at:
        keep(at, HOURS)
        before = doses(at)[-1]
    with at_the_tank(tmp_path, tank=CALM) as at:
        given = len(doses(at))
        keep(at, 2.0)
        first = doses(at)[given]
        assert first.numbers["lessons"] >= before.numbers["lessons"]
        assert first.numbers["doubt"] > before.numbers["doubt"]
        assert not at.loop.state or not any("learned again" in note for note in at.loop.state.notes)


def test_a_damaged_file_is_told_and_learned_anew(tmp_path: Path) -> None:
    """No lock and no alarm: a note, and a third of the need as on the first day."""
    (tmp_path / "answers.json").write_text("{")
    with at_the_tank(tmp_path, tank=CALM) as at:
        keep(at, 1.0)
        assert at.loop.state is not None
        assert any("answers.json" in note for note in at.loop.state.notes)
        assert doses(at)[0].numbers["share_of_need"] == 1 / 3


def test_a_change_out_is_learned_anew(tmp_path: Path) -> None:
    """Drained and filled again, as the float switch tells twice over: the settings' guess holds again."""
    with at_the_tank(tmp_path, one_bed(), tank=CALM) as at:
        keep(at, HOURS)
        learned = doses(at)[-1].numbers["lessons"]
        tank = at.bench.world.basins["bed1"].tank
        for _ in range(2):
            with at.bench.world.lock:
                tank.drain(40.0)
            keep(at, 0.1)
            with at.bench.world.lock:
                tank.add_water(40.0)
            keep(at, 0.1)
        given = len(doses(at))
        keep(at, 8.0)
        assert doses(at)[given].numbers["lessons"] < learned


def test_new_water_is_noted_and_learned_anew(tmp_path: Path) -> None:
    """A person says that the water was changed: nothing of it is left, nor at the next start."""
    with at_the_tank(tmp_path, tank=CALM) as at:
        keep(at, HOURS)
        assert "ph_down" in (tmp_path / "answers.json").read_text()
        at.ask("change_out.done", reservoir="bed1")
        assert "ph_down" not in (tmp_path / "answers.json").read_text()
        given = len(doses(at))
        keep(at, 8.0)
        assert doses(at)[given].numbers["lessons"] == 0.0


@pytest.mark.parametrize("slope_share", [1.0, 0.7])
def test_what_doses_show_does_not_tell_a_lost_slope(tmp_path: Path, slope_share: float) -> None:
    """Held lower, the water buffers less: why that is evidence of a living probe, and of nothing more."""
    with at_the_tank(tmp_path) as at:
        keep(at, 4 * 24.0)
        inputs = inputs_of(at)
        clean = inputs[PH_INPUT]
        inputs[PH_INPUT] = lambda now_s, lasting_s: MIDDLE_V + slope_share * (clean(now_s, lasting_s) - MIDDLE_V)
        keep(at, 4 * 24.0)
        said = heard(at.service.loop.reservoirs["bed1"].echo)
        assert said.note is not EchoNote.WEAKER
        assert said.share is not None
        assert abs(true_ph(at) - 6.0) == pytest.approx(1.4 * (1.0 - slope_share), abs=0.1)
