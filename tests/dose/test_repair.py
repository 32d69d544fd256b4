"""A damaged ledger made anew: nothing is lost, nothing is dosed for a day, and no moment fails open."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest

from daemon.disk import sync
from daemon.dose.ledger import Ledger
from daemon.dose.ledger_file import LedgerError, LedgerFault
from daemon.dose.repair import repair
from daemon.dose.windows import Stamp
from daemon.values import Condition, DoseReason, DoseRequest, Outcome, Permit, Role
from tests.strategies import NOON

PUMPS = {"bed1": [Role.PH_DOWN, Role.PH_UP], "bed2": [Role.PH_DOWN]}
Damage = Callable[[bytes], bytes]


def stamp(at_s: float, boot: str = "boot-1") -> Stamp:
    """The clocks at a monotonic time."""
    return Stamp(boot, at_s, NOON + timedelta(seconds=at_s), False)


def a_ledger(folder: Path, doses: int = 5, backup_after: int | None = None) -> Path:
    """A closed ledger with some doses of 4 mL, and a backup made in between."""
    path = folder / "ledger.db"
    ledger = Ledger(path, stamp(0.0), version="0")
    for number in range(doses):
        asked = DoseRequest("bed1", Role.PH_DOWN, 4.0, DoseReason.PH_HIGH)
        ledger.settle(ledger.intend(Permit(asked, 4.0, 4.0), stamp(1000.0 * (number + 1))), Outcome.DONE)
        if number + 1 == backup_after:
            (folder / "backup").mkdir()
            ledger.backup(folder / "backup" / "ledger-mon.db")
    ledger.close()
    return path


def flipped(whole: bytes) -> bytes:
    """One letter of one dose's reason has a flipped bit."""
    place = whole.index(DoseReason.PH_HIGH.encode())
    return whole[:place] + bytes([whole[place] ^ 0x04]) + whole[place + 1 :]


def garbage(whole: bytes) -> bytes:
    """Not a ledger at all."""
    return b"pH 6.02, EC 1.2\n" * (len(whole) // 16)


def halved(whole: bytes) -> bytes:
    """Its second half is missing."""
    return whole[: len(whole) // 2]


def mended(path: Path) -> Ledger:
    """The ledger after its repair, opened as the daemon does."""
    assert repair(path, path.parent / "backup", PUMPS, NOON, "1") is not None
    return Ledger(path, stamp(10.0, "boot-2"), version="1")


@pytest.mark.parametrize("damage", [flipped, garbage, halved])
def test_a_damaged_ledger_is_kept_aside_byte_for_byte(tmp_path: Path, damage: Damage) -> None:
    """Never deleted."""
    path = a_ledger(tmp_path)
    left = damage(path.read_bytes())
    path.write_bytes(left)
    done = repair(path, tmp_path / "backup", PUMPS, NOON, "1")
    assert done is not None
    assert (done.aside / "ledger.db").read_bytes() == left
    assert done.fault.fault in (LedgerFault.DAMAGED, LedgerFault.NOT_A_LEDGER)


@pytest.mark.parametrize("damage", [flipped, garbage, halved])
def test_every_pump_is_spent_and_every_reservoir_locked(tmp_path: Path, damage: Damage) -> None:
    """Until 24 h of proven time have passed, and a person has cleared it."""
    path = a_ledger(tmp_path)
    path.write_bytes(damage(path.read_bytes()))
    ledger = mended(path)
    for reservoir, roles in PUMPS.items():
        standing = ledger.standing(reservoir, stamp(20.0, "boot-2"))
        assert standing is not None
        assert standing.condition is Condition.LOCKED
        for role in roles:
            assert ledger.totals(reservoir, role, stamp(86000.0, "boot-2")).day_ml >= 500.0
            assert ledger.totals(reservoir, role, stamp(90000.0, "boot-2")).day_ml == 0.0
    assert ledger.clear("bed1", "local", stamp(90000.0, "boot-2"))
    ledger.close()


def test_lines_that_are_whole_are_saved_and_counted_as_if_just_now(tmp_path: Path) -> None:
    """Of five doses one cannot be read; the other four follow, with where they stood."""
    path = a_ledger(tmp_path)
    path.write_bytes(flipped(path.read_bytes()))
    ledger = mended(path)
    saved = [entry for entry in ledger.recent(20, "bed1") if entry.reason is DoseReason.PH_HIGH]
    assert len(saved) == 4
    assert all("before the repair" in entry.note for entry in saved)
    assert ledger.totals("bed1", Role.PH_DOWN, stamp(20.0, "boot-2")).day_ml == pytest.approx(500.0 + 16.0)
    ledger.close()


def test_it_begins_from_the_newest_good_backup(tmp_path: Path) -> None:
    """Its three doses as they were; a newer copy that is broken is passed over."""
    path = a_ledger(tmp_path, backup_after=3)
    (tmp_path / "backup" / "ledger-tue.db").write_bytes(b"torn")
    os.utime(tmp_path / "backup" / "ledger-mon.db", (1.0, 1.0))
    whole = path.read_bytes()
    place = whole.index(b"entries")  # the table's name in the schema: nothing of it can be read
    path.write_bytes(whole[:place] + b"eatries" + whole[place + 7 :])
    done = repair(path, tmp_path / "backup", PUMPS, NOON, "1")
    assert done is not None
    assert done.backup == tmp_path / "backup" / "ledger-mon.db"
    ledger = Ledger(path, stamp(10.0, "boot-2"), version="1")
    doses = [entry.note for entry in ledger.recent(20, "bed1") if entry.reason is DoseReason.PH_HIGH]
    assert doses == [""] * 3
    ledger.close()


def test_lines_after_the_backup_are_saved(tmp_path: Path) -> None:
    """Those of the backup are not written twice."""
    path = a_ledger(tmp_path, backup_after=3)
    path.write_bytes(flipped(path.read_bytes()))
    done = repair(path, tmp_path / "backup", PUMPS, NOON, "1")
    assert done is not None
    assert done.lines_saved in (1, 2)
    ledger = Ledger(path, stamp(10.0, "boot-2"), version="1")
    assert sum(entry.reason is DoseReason.PH_HIGH for entry in ledger.recent(20, "bed1")) == 3 + done.lines_saved
    ledger.close()


def test_a_sound_ledger_is_left_alone(tmp_path: Path) -> None:
    """Byte for byte; so is none at all."""
    path = a_ledger(tmp_path)
    before = path.read_bytes()
    assert repair(path, tmp_path / "backup", PUMPS, NOON, "1") is None
    assert path.read_bytes() == before
    assert sorted(found.name for found in tmp_path.iterdir()) == ["ledger.db"]
    assert repair(tmp_path / "none.db", tmp_path / "backup", PUMPS, NOON, "1") is None


def test_a_ledger_of_a_newer_version_is_not_thrown_away(tmp_path: Path) -> None:
    """It is whole: install that version again."""
    path = a_ledger(tmp_path)
    whole = bytearray(path.read_bytes())
    whole[60:64] = (99).to_bytes(4, "big")  # user_version in the file's header
    path.write_bytes(bytes(whole))
    with pytest.raises(LedgerError) as caught:
        repair(path, tmp_path / "backup", PUMPS, NOON, "1")
    assert caught.value.fault is LedgerFault.NEWER
    assert path.read_bytes() == bytes(whole)


def test_interrupted_anywhere_nothing_passes_for_an_old_or_empty_ledger(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Stopped after each step on the disk: what lies there is refused, or is the new one, locked."""

    class CutError(Exception):
        """The power fails."""

    steps = 0
    for most in range(40):
        folder = tmp_path / str(most)
        folder.mkdir()
        path = a_ledger(folder)
        path.write_bytes(flipped(path.read_bytes()))
        left = most

        def counted(step: Callable[..., object]) -> Callable[..., object]:
            def run(*arguments: object) -> object:
                nonlocal left, steps
                left, steps = left - 1, steps + 1
                if left < 0:
                    raise CutError
                return step(*arguments)

            return run

        with monkeypatch.context() as patch:
            patch.setattr("daemon.dose.repair.sync", counted(sync))
            patch.setattr(os, "replace", counted(os.replace))
            try:
                repair(path, folder / "backup", PUMPS, NOON, "1")
            except CutError:
                cut = True
            else:
                cut = False
        ledger = Ledger(path, stamp(10.0, "boot-2"), version="1", or_broken=True)
        standing = ledger.standing("bed1", stamp(20.0, "boot-2"))
        assert ledger.fault is not None or (standing is not None and standing.condition is Condition.LOCKED)
        ledger.close()
        if not cut:
            break
    assert not cut
    assert steps > 10
