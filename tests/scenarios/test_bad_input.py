"""What stops a start, or locks it: one clear message with the next step, nothing lost, no pump turned."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from daemon.dose.ledger import Ledger
from daemon.dose.windows import Stamp
from daemon.values import DoseReason, DoseRequest, Outcome, Permit, Role
from tests.scenarios.site import Site, every_edge
from tests.strategies import NOON


def refused(site: Site) -> str:
    """The one complaint of an `evenwater run` that did not start; no line was ever driven high."""
    done = site.evenwater("run", str(site.settings))
    assert done.returncode == 1
    assert "Traceback" not in done.stderr
    assert not any(edge.on for edge in every_edge(site.pins))
    said = [line for line in done.stderr.splitlines() if line.startswith("evenwater run: ")]
    [complaint] = said
    assert done.stderr.rstrip().endswith(complaint), "more was said after it"
    return complaint.removeprefix("evenwater run: ")


def test_a_second_daemon_on_the_same_state_folder(folder: Path) -> None:
    """It names the first by its process id and ends; the first goes on."""
    site = Site(folder)
    with site.running() as first:
        edges = every_edge(site.pins)
        complaint = refused(site)
        assert f"is in use by process {first.pid}: stop that daemon first" in complaint
        assert every_edge(site.pins) == edges
        site.until_passes(1)
        assert first.poll() is None


# The ledger


def a_ledger(path: Path) -> bytes:
    """The bytes of a ledger with three doses in it."""
    clock = Stamp("a boot", 1000.0, NOON, True)
    ledger = Ledger(path, clock, version="0")
    for number in range(3):
        asked = DoseRequest("bed1", Role.PH_DOWN, 4.0, DoseReason.PH_HIGH)
        stamp = Stamp("a boot", 1000.0 + 1000.0 * number, NOON, True)
        ledger.settle(ledger.intend(Permit(asked, 4.0, 4.0), stamp), Outcome.DONE)
    ledger.close()
    return path.read_bytes()


def garbage(whole: bytes) -> bytes:
    """Not a ledger at all."""
    return b"pH 6.02, EC 1.2\n" * (len(whole) // 16)


def truncated(whole: bytes) -> bytes:
    """Its second half is missing."""
    return whole[: len(whole) // 2]


def flipped(whole: bytes) -> bytes:
    """One letter of a dose's reason has a flipped bit: SQLite itself sees nothing wrong."""
    place = whole.index(DoseReason.PH_HIGH.encode())
    return whole[:place] + bytes([whole[place] ^ 0x04]) + whole[place + 1 :]


DAMAGES: dict[Callable[[bytes], bytes], str] = {
    garbage: "is not a ledger of this program",
    truncated: "is damaged",
    flipped: "is damaged, so what was dosed is not known (entries, line 3)",
}


def mend(site: Site, left: bytes) -> None:
    """As the alarm says: the damaged file is kept, and the new ledger is locked."""
    done = site.evenwater("repair", str(site.settings))
    assert done.returncode == 0, done.stderr
    [aside] = site.state.glob("damaged-*")
    assert (aside / "ledger.db").read_bytes() == left
    with site.running():
        site.until_passes(2)
        assert site.bed()["condition"] == "locked"
        assert "ledger" not in site.alarms()
    assert not any(edge.on for edge in every_edge(site.pins))


def test_a_corrupt_ledger(folder: Path) -> None:
    """Garbage, cut in half, or a flipped bit: it runs, locked, with an alarm that names the next step.

    The water is measured, no line is ever driven high, and the file stays as it was. `repair` then makes a
    ledger that can be relied on, still locked.
    """

    def meet(damage: Callable[[bytes], bytes]) -> str:
        own = folder / damage.__name__
        own.mkdir()
        site = Site(own)
        ledger = site.state / "ledger.db"
        left = damage(a_ledger(ledger))
        ledger.write_bytes(left)
        with site.running():
            site.until_passes(5)
            bed, alarms = site.bed(), site.alarms()
            assert bed["verdicts"]["ph"]["quality"] != "bad"
            assert (bed["condition"], bed["condition_reason"][:10]) == ("locked", "the ledger")
            assert "bed1-locked" in alarms
            refused_repair = site.evenwater("repair", str(site.settings))
            assert "is in use by process" in refused_repair.stderr
        assert ledger.read_bytes() == left
        assert not any(edge.on for edge in every_edge(site.pins))
        if damage is flipped:
            mend(site, left)
        return alarms["ledger"]

    with ThreadPoolExecutor() as pool:
        for expected, text in zip(DAMAGES.values(), pool.map(meet, DAMAGES), strict=True):
            assert expected in text
            assert "evenwater repair" in text


# Settings and calibrations


def wrong_number(site: Site) -> str:
    """A cap below nothing."""
    site.set("reservoir.bed1.pump.ph_down", max_per_day_ml=-5.0)
    return "[reservoir.bed1.pump.ph_down] max_per_day_ml = -5"


def unknown_key(site: Site) -> str:
    """A key that no table has."""
    site.set("reservoir.bed1.ph", targett=6.0)
    return "[reservoir.bed1.ph] targett"


def no_toml(site: Site) -> str:
    """A file broken off in the middle of a text."""
    site.settings.write_text(site.settings.read_text() + '\n[more]\nname = "cut o')
    return "site.toml"


def no_such_rig(site: Site) -> str:
    """A rig that cannot be imported."""
    site.set("rig", open="sim_hw.bench:open_rigg")
    return "sim_hw.bench has no function open_rigg; correct the name after the colon"


def damaged_calibrations(site: Site) -> str:
    """Calibrations that are no TOML."""
    (site.state / "calibrations.toml").write_bytes(b"\x00" * 512)
    return "calibrations.toml"


def impossible_calibration(site: Site) -> str:
    """A slope that no electrode has."""
    book = site.state / "calibrations.toml"
    book.write_text(book.read_text().replace("slope_percent = 97.0", "slope_percent = nan"))
    return "[reservoir.bed1.ph] slope_percent = nan"


MISTAKES = (
    wrong_number,
    unknown_key,
    no_toml,
    no_such_rig,
    damaged_calibrations,
    impossible_calibration,
)


def test_wrong_settings_and_damaged_calibrations(folder: Path) -> None:
    """Each is named in one line, with its file, and the files stay as they were."""

    def meet(mistake: Callable[[Site], str]) -> tuple[str, str]:
        own = folder / mistake.__name__
        own.mkdir()
        site = Site(own)
        named = mistake(site)
        book = (site.state / "calibrations.toml").read_bytes()
        complaint = refused(site)
        assert (site.state / "calibrations.toml").read_bytes() == book
        return named, complaint

    with ThreadPoolExecutor(max_workers=3) as pool:
        for named, complaint in pool.map(meet, MISTAKES):
            assert named in complaint
