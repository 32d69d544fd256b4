"""What the ledger tells of one reservoir."""

from __future__ import annotations

from dataclasses import replace
from math import inf
from pathlib import Path

import pytest

from config.settings import Reservoir as Table
from daemon import words
from daemon.dose.ledger import Ledger
from daemon.dose.reversals import reversals
from daemon.dose.usual import LEAST_PH, MARGIN_PH, USUAL_TIMES, Usual
from daemon.dose.windows import DAY_S, HOUR_S
from daemon.keeping.record import Record
from daemon.values import Permit, Role
from tests.dose.ledgers import opened, permitted
from tests.strategies import request, stamp

TABLE = Table(title="Bed 1", system="deep_water", volume_l=20.0, mixing_time_s=300.0)
DRIFTS = words.unusual(Role.PH_DOWN, Usual(back_ph=0.9, most_ph=0.5, usual_ph=0.2))


def dosed(ledger: Ledger, at_days: float, ml: float = 4.0) -> None:
    """A dose of acid into bed1, on pH 6.1, which should move it by 0.01 a mL."""
    asked = replace(request(ml), numbers={"ph": 6.1, "ml_per_ph": 100.0, "lessons": 3.0})
    ledger.intend(Permit(asked, ml, ml), stamp(at_days * DAY_S))


@pytest.mark.parametrize(
    ("reason", "calibrated", "granted_ph"),
    [
        (DRIFTS, False, 0.8),
        (DRIFTS, True, 0.0),
        ("3 doses of pH down without effect", False, 0.0),
    ],
)
def test_only_a_doubt_of_the_probe_that_was_wrong_grants_more(
    tmp_path: Path, reason: str, calibrated: bool, granted_ph: float
) -> None:
    """Any other opens to a word, which proves nothing of the reading; a probe that was calibrated was off."""
    ledger = opened(tmp_path)
    for at_days in (0.0, 1.5, 2.5):
        dosed(ledger, at_days)
    for at_days in (3.6, 3.7, 3.8):
        dosed(ledger, at_days, 40.0)
    ledger.lock("bed1", reason, "evenwater", stamp(4.0 * DAY_S))
    ledger.clear("bed1", "local", stamp(4.1 * DAY_S))
    dosed(ledger, 4.2)
    record = Record("bed1", TABLE, ledger, lambda since, until: calibrated)
    usual = record.usual(Role.PH_DOWN, 6.12, -inf, stamp(4.3 * DAY_S))
    later = record.usual(Role.PH_DOWN, 6.12, 4.25 * DAY_S, stamp(4.3 * DAY_S))
    ledger.close()
    assert usual is not None
    assert later is not None
    assert usual.back_ph == pytest.approx(0.06)
    assert later.back_ph == 0.0
    known_ph = USUAL_TIMES * max(LEAST_PH, usual.usual_ph or 0.0) + MARGIN_PH
    assert usual.most_ph == pytest.approx(max(known_ph, USUAL_TIMES * granted_ph + MARGIN_PH))
    assert known_ph < USUAL_TIMES * 0.8 + MARGIN_PH


@pytest.mark.parametrize(("for_h", "turned"), [(1.0, True), (16.0, False)])
def test_acid_and_base_age_by_time_that_is_proven_and_by_no_other(
    tmp_path: Path, for_h: float, turned: bool
) -> None:
    """Three turns, the last after a night without power and a clock that nobody set: off, no dose grows older."""
    ledger = opened(tmp_path)
    for hour, pump in enumerate((Role.PH_DOWN, Role.PH_UP, Role.PH_DOWN)):
        ledger.intend(permitted(pump=pump), stamp(hour * HOUR_S))
    ledger.keep_time(stamp((2.0 + for_h) * HOUR_S))
    ledger.close()
    ledger = opened(tmp_path, stamp(0.0, boot="boot-2"))
    now = stamp(9.0 * HOUR_S, boot="boot-2")
    ledger.intend(permitted(pump=Role.PH_UP), now)
    record = Record("bed1", TABLE, ledger, lambda since, until: False)
    finding = reversals(record.acid_and_base(), ledger.proven_s(now))
    ledger.close()
    assert (finding is not None) is turned


def test_of_a_ledger_that_cannot_be_read_nothing_is_told(tmp_path: Path) -> None:
    """Every permit refuses by itself then."""
    ledger = opened(tmp_path)
    ledger.intend(permitted(), stamp(0.0))
    ledger.close()
    record = Record("bed1", TABLE, ledger, lambda since, until: False)
    assert record.acid_and_base() == ()
    assert record.usual(Role.PH_DOWN, 6.1, -inf, stamp(1.0)) is None
    assert record.doses() == ()


def test_what_went_into_the_water_before_is_left_out(tmp_path: Path) -> None:
    """From the last change on, newest first: of doses before and after it only those after, and at first none."""
    ledger = opened(tmp_path)
    record = Record("bed1", TABLE, ledger, lambda since, until: True)
    seen = [[dose.ml for dose in record.doses_into_this_water()]]
    for at_days in (0.0, 1.0):
        dosed(ledger, at_days, 8.0 + at_days)
    seen.append([dose.ml for dose in record.doses_into_this_water()])
    ledger.change_water("bed1", "local", stamp(1.5 * DAY_S))
    seen.append([dose.ml for dose in record.doses_into_this_water()])
    for at_days in (2.0, 3.0):
        dosed(ledger, at_days, 8.0 + at_days)
    seen.append([dose.ml for dose in record.doses_into_this_water()])
    ledger.close()
    assert seen == [[], [9.0, 8.0], [], [11.0, 10.0]]
