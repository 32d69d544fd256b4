"""A garden of one batch in one bed, kept as the program keeps it: diary, ledger and history in a folder."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from config.load import load
from daemon.crop.diary import Event, Finding, Lost, Note, Sown, Walked
from daemon.crop.diary_file import FILE_NAME, write
from daemon.report.facts import Facts
from daemon.report.gather import gather
from daemon.store.history import History
from daemon.values import Condition, Quality, Quantity, Role, State
from tests.crop.diaries import picked, transplanted
from tests.dose.ledgers import opened, permitted
from tests.link.states import alarm
from tests.store.snapshots import MIDNIGHT, snapshot
from tests.strategies import stamp

FED = load(Path(__file__).parents[2] / "config" / "rigs" / "quince-lane-fed.toml")
DAYS = 6  # that the heads stood, all of them read
HIGH, AIR, STILL = 1, 2, 3  # the day on which pH was high for a quarter of it; a probe in the air; dosing paused
NASTY = "<script>alert('slugs')</script> & \"snails\""
NOW = datetime(2026, 3, 20, 12, tzinfo=UTC)
EVERY_S = 600.0

APHIDS = Finding(what="aphids", how_much="few", note=NASTY)
DIARY: tuple[tuple[int, Event], ...] = (
    (-20, Sown(batch="spring-1", crop="lettuce", variety="butterhead", plugs=8)),
    (0, transplanted("spring-1", 6)),
    (
        2,
        Walked(where="bed1", findings=(APHIDS,), advice=("wash off",)),
    ),
    (2, Walked(where="bed7", findings=(Finding(what="thrips", how_much="many"),))),
    (3, Note(batch="spring-1", text=NASTY)),
    (4, Lost(batch="spring-1", heads=1, cause=NASTY)),
    (DAYS - 1, picked("spring-1", 5, 600.0)),
)


def garden(folder: Path, *, with_history: bool = True, entries: Iterable[tuple[int, Event]] = DIARY) -> Path:
    """All of it in this folder. Days count from MIDNIGHT, at which the heads were set out."""
    for after, event in entries:
        write(folder / FILE_NAME, event, MIDNIGHT.date() + timedelta(days=after), NOW)
    ledger = opened(folder)
    for number in range(5):  # stamps are of NOON, the second day
        ledger.intend(permitted(4.0, Role.PH_DOWN), stamp(1000.0 * (number + 1)))
    ledger.intend(permitted(7.0, Role.PH_DOWN), stamp(DAYS * 86400.0))  # a day after the last head was cut
    ledger.close()
    if with_history:
        _history(folder)
    return folder


def told(folder: Path, *batches: str) -> Facts:
    """What a report of it says."""
    return gather(folder, FED, batches or None, NOW)


def _history(folder: Path) -> None:
    history = History(folder, keep_days=800)
    for number in range(int(DAYS * 86400.0 / EVERY_S)):
        history.see(_seen(number * EVERY_S))
    history.close()


def _seen(at_s: float) -> State:
    """pH 6.0 within its band of 5.5 to 6.5, but for the days with something to tell."""
    day, hour = divmod(at_s / 3600.0, 24.0)
    if day == AIR and hour < 12.0:
        seen = snapshot(at_s, 12.0, quality=Quality.BAD)
        return replace(seen, alarms=(alarm("bed1-ph-probe", text=f"pH probe gone. {NASTY}"),))
    seen = snapshot(at_s, 7.0 if day == HIGH and hour < 6.0 else 6.0)
    bed = seen.reservoirs["bed1"]
    bed = replace(bed, bands={Quantity.PH: (5.5, 6.5)})
    if day == STILL and hour < 2.0:
        bed = replace(bed, condition=Condition.HELD, condition_reason=NASTY)
    return replace(seen, reservoirs={"bed1": bed})
