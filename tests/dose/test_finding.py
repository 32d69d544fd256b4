"""What stops a reservoir, and what does not."""

from __future__ import annotations

from daemon.dose.finding import LATCHING, Surprise


def test_every_surprise_either_latches_or_waits() -> None:
    """All but two latch."""
    assert set(Surprise) - LATCHING == {Surprise.LITTLE_EFFECT, Surprise.TOO_STRONG, Surprise.STEPPED}
