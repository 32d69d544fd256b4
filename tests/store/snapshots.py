"""Small snapshots of one bed with a pH probe."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from daemon.values import Quality, Quantity, State
from tests.link.states import good, reservoir, state, unknown

MIDNIGHT = datetime(2026, 3, 1, tzinfo=UTC)
"""Where monotonic 0 lies on the wall clock."""


def snapshot(
    at_s: float, ph: float | None, *, quality: Quality = Quality.GOOD, trusted: bool = True, off_s: float = 0.0
) -> State:
    """bed1 keeping, its pH read so; no reading for None. off_s: how far the wall clock is off."""
    verdict = unknown(Quantity.PH) if ph is None else replace(good(Quantity.PH, ph), quality=quality)
    utc = MIDNIGHT + timedelta(seconds=at_s + off_s)
    bed = reservoir(verdicts={Quantity.PH: verdict})
    return replace(state(1, bed), at_s=at_s, utc=utc, utc_trusted=trusted)
