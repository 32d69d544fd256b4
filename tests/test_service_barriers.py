"""A rig that misses a barrier: what should be kept is only watched, and a person is told (H2)."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from daemon.service import Service
from daemon.values import Condition, State
from sim_hw.bench import Bench, open_rig
from sim_hw.from_settings import bench_table
from tests.at_the_tank import CALIBRATIONS, TO_A_DOSE, one_bed

MISSING = "the kernel may leave a pump on"


@contextmanager
def started(folder: Path, start: str, *, barred: bool = True) -> Iterator[tuple[Bench, State]]:
    """The school garden, calibrated, after as many passes as it takes to dose; its last snapshot."""
    settings = one_bed(start=start)
    (folder / "calibrations.toml").write_text(CALIBRATIONS.format(name="bed1"), encoding="utf-8")
    bench = open_rig(bench_table(settings, seed=11))
    if barred:
        bench.missing_barriers = lambda: (MISSING,)  # type: ignore[attr-defined]
    with Service(settings, rig=bench, state_folder=folder, control=False, mqtt=False) as service:
        service.run(10.0 * (TO_A_DOSE + 6))
        assert service.loop.state is not None
        yield bench, service.loop.state


def turned_on(bench: Bench) -> bool:
    """Whether any line was ever high."""
    return any(edge.on for edge in bench.edges)


def test_what_should_be_kept_is_only_watched(tmp_path: Path) -> None:
    """No pump turns; an alarm and a note say why, and what to do."""
    with started(tmp_path, "keeping") as (bench, state):
        assert not turned_on(bench)
        assert state.reservoirs["bed1"].condition is Condition.WATCHING
        [alarm] = [alarm for alarm in state.alarms if alarm.kind == "barrier"]
        assert (alarm.key, alarm.reservoir) == ("bed1-barrier", "bed1")
        assert MISSING in alarm.text
        assert "evenwater check" in alarm.text
        assert any(MISSING in note for note in state.notes)


def test_nobody_is_called_where_nothing_was_to_be_dosed(tmp_path: Path) -> None:
    """Watching is what the settings ask for, so nothing is amiss."""
    with started(tmp_path, "watching") as (_, state):
        assert not any(alarm.kind == "barrier" for alarm in state.alarms)
        assert state.notes == ()


def test_with_every_barrier_it_is_kept(tmp_path: Path) -> None:
    """The same water, the same settings, and a rig that misses nothing: it doses."""
    with started(tmp_path, "keeping", barred=False) as (bench, state):
        assert turned_on(bench)
        assert state.reservoirs["bed1"].condition is Condition.KEEPING
