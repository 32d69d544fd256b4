"""Opening a ledger: what is whole, and what is found out."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from daemon.dose import ledger_file
from daemon.dose.ledger import LedgerError, LedgerFault
from daemon.values import Condition, Outcome, Role
from tests.dose.ledgers import opened, permitted
from tests.strategies import stamp


class TestOpening:
    """What is wrong with the file, said clearly, and nothing changed in it."""

    def test_a_folder_that_is_not_there(self, tmp_path: Path) -> None:
        """The message says that it cannot be opened and to look at the folder."""
        with pytest.raises(LedgerError, match=r"missing/ledger\.db cannot be opened .*check that its folder"):
            opened(tmp_path / "missing")

    def test_a_folder_in_its_place(self, tmp_path: Path) -> None:
        """A folder called ledger.db is not a ledger."""
        (tmp_path / "ledger.db").mkdir()
        with pytest.raises(LedgerError):
            opened(tmp_path)

    def test_an_empty_file_is_damage_not_a_fresh_allowance(self, tmp_path: Path) -> None:
        """A ledger cut to nothing does not start over."""
        (tmp_path / "ledger.db").touch()
        with pytest.raises(LedgerError, match=r"damaged.*empty.*evenwater repair") as caught:
            opened(tmp_path)
        assert caught.value.fault is LedgerFault.DAMAGED

    def test_a_lost_file_whose_journal_is_there_is_not_started_over(self, tmp_path: Path) -> None:
        """A -wal file without its ledger means that someone took the ledger away."""
        (tmp_path / "ledger.db-wal").write_bytes(b"x")
        with pytest.raises(LedgerError) as caught:
            opened(tmp_path)
        assert caught.value.fault is LedgerFault.MOVED

    def test_a_file_of_something_else(self, tmp_path: Path) -> None:
        """Text is not a database."""
        path = tmp_path / "ledger.db"
        path.write_text("shopping list: lettuce seed\n" * 100)
        with pytest.raises(LedgerError, match="not a ledger") as caught:
            opened(tmp_path)
        assert caught.value.fault is LedgerFault.NOT_A_LEDGER
        assert path.read_text().startswith("shopping list")

    def test_a_database_of_another_program_is_left_alone(self, tmp_path: Path) -> None:
        """Its tables and its journal mode stay as they were."""
        path = tmp_path / "ledger.db"
        other = sqlite3.connect(path)
        other.execute("CREATE TABLE notes (text)")
        other.close()
        before = path.read_bytes()
        with pytest.raises(LedgerError) as caught:
            opened(tmp_path)
        assert caught.value.fault is LedgerFault.NOT_A_LEDGER
        assert path.read_bytes() == before

    def test_a_ledger_of_a_newer_version(self, tmp_path: Path) -> None:
        """Refused, with both format numbers, and unchanged."""
        opened(tmp_path).close()
        db = sqlite3.connect(tmp_path / "ledger.db")
        db.execute("PRAGMA user_version = 9")
        db.close()
        with pytest.raises(LedgerError, match="format 9, this program knows 1") as caught:
            opened(tmp_path)
        assert caught.value.fault is LedgerFault.NEWER

    def test_each_commit_waits_for_the_disk(self, tmp_path: Path) -> None:
        """Every connection asks SQLite for 2 (FULL) and a -wal file: a power cut takes back no commit."""
        opened(tmp_path).close()
        with closing(ledger_file.open_file(tmp_path / "ledger.db")) as db:
            assert db.execute("PRAGMA synchronous").fetchone() == (2,)
            assert db.execute("PRAGMA journal_mode").fetchone() == ("wal",)

    def test_a_half_made_ledger_is_made_again(self, tmp_path: Path) -> None:
        """What a crash during the very first start left behind is no obstacle."""
        (tmp_path / "ledger.db.new").write_bytes(b"half")
        opened(tmp_path).close()
        assert not (tmp_path / "ledger.db.new").exists()

    def test_a_truncated_file(self, tmp_path: Path) -> None:
        """Cut anywhere, the ledger is refused, or (the empty end of its last page) says all it said before."""
        path = self.filled(tmp_path)
        whole = path.read_bytes()
        for size in (1, 50, 100, 4096, len(whole) // 2, len(whole) - 4096):
            path.write_bytes(whole[:size])
            assert self.found_out(tmp_path), size
        path.write_bytes(whole[:-1])
        self.found_out(tmp_path)

    def test_a_changed_figure_is_found(self, tmp_path: Path) -> None:
        """SQLite sees nothing wrong with 4 mL turned into 0.4; the checksum does."""
        path = self.filled(tmp_path)
        db = sqlite3.connect(path)
        db.execute("UPDATE entries SET ml = 0.4 WHERE number = 3")
        db.commit()
        db.close()
        with pytest.raises(LedgerError, match="entries, line 3"):
            opened(tmp_path)

    @pytest.mark.parametrize("number", [1, 3, 20])
    def test_a_missing_line_is_found(self, tmp_path: Path, number: int) -> None:
        """The first, one in between and the last: none can go unnoticed."""
        path = self.filled(tmp_path)
        db = sqlite3.connect(path)
        db.execute("DELETE FROM entries WHERE number = ?", (number,))
        db.commit()
        db.close()
        with pytest.raises(LedgerError, match="entries"):
            opened(tmp_path)

    def test_a_missing_boot_is_found(self, tmp_path: Path) -> None:
        """Proven time that is gone would put every dose at another age."""
        for number in range(1, 4):
            opened(tmp_path, stamp(0.0, boot=f"boot-{number}")).close()
        with closing(sqlite3.connect(tmp_path / "ledger.db")) as db:
            db.execute("DELETE FROM boots WHERE number = 2")
            db.commit()
        with pytest.raises(LedgerError, match="boots, line 2"):
            opened(tmp_path)

    def test_pages_that_do_not_add_up_are_found(self, tmp_path: Path) -> None:
        """Free pages that are not there, by the file's header: no line is spoiled, yet the file is."""
        path = self.filled(tmp_path)
        whole = path.read_bytes()
        path.write_bytes(whole[:36] + (7).to_bytes(4, "big") + whole[40:])
        with pytest.raises(LedgerError, match="damaged"):
            opened(tmp_path)

    def test_flipped_bits_never_make_it_say_less(self, tmp_path: Path) -> None:
        """A bit flipped anywhere is either found, or changes nothing that dosing rests on."""
        path = self.filled(tmp_path)
        whole, found = path.read_bytes(), 0
        places = [*range(0, 110, 3), *range(110, len(whole), 97)]
        for place in places:
            path.write_bytes(whole[:place] + bytes([whole[place] ^ (1 << place % 8)]) + whole[place + 1 :])
            found += self.found_out(tmp_path)
            for side in ("-wal", "-shm"):
                path.with_name(path.name + side).unlink(missing_ok=True)
        assert found > 30

    def found_out(self, folder: Path) -> bool:
        """Whether the spoiled ledger is refused; if it is not, it must say what `filled` wrote."""
        try:
            ledger = opened(folder, stamp(300.0))
        except LedgerError:
            return True
        got, standing = ledger.totals("bed1", Role.PH_DOWN, stamp(300.0)), ledger.standing("bed1", stamp(300.0))
        ledger.close()
        assert (got.day_ml, got.since_refill_ml, got.since_pump_s) == (80.0, 80.0, 106.0)
        assert standing is not None
        assert standing.condition is Condition.LOCKED
        return False

    def filled(self, folder: Path) -> Path:
        """A closed ledger with twenty doses and a lock."""
        ledger = opened(folder)
        for i in range(20):
            ledger.settle(ledger.intend(permitted(), stamp(10.0 * i)), Outcome.DONE)
        ledger.lock("bed1", "no effect", "daemon", stamp(200.0))
        ledger.close()
        return folder / "ledger.db"
