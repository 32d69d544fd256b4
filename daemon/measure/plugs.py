"""Whether the plugs of pH and EC probe have changed places. Pure.

    believed:   pH input 1.62 V   EC input 0.48 V
    now:        pH input 0.48 V   EC input 1.62 V      ->  exchanged

Both readings jump, and after a while look like new water. But each input shows, to a few mV, what the other one
showed before, which no water does.
"""

from __future__ import annotations

from dataclasses import dataclass

from daemon.values import Verdict, VerdictReason

SAME_V = 0.02  # noise, and what water does within a look or two
APART_V = 0.1  # nearer to each other than this, the two tell nothing
LOOKS = 3  # in a row


@dataclass(frozen=True, slots=True)
class Plugs:
    """Volts of both inputs (pH, EC) when both were last believed, and looks in a row that showed them crossed."""

    believed: tuple[float, float] | None = None
    crossed: int = 0

    @property
    def exchanged(self) -> bool:
        """Whether pH and EC have changed places."""
        return self.crossed >= LOOKS


def follow_plugs(plugs: Plugs, ph: Verdict, ec: Verdict) -> Plugs:
    """What is known after one more look at both. A probe without volts of its own tells nothing."""
    now = (_volts(ph), _volts(ec))
    if now[0] is None or now[1] is None:
        return plugs
    if plugs.believed is not None and _is_crossed(plugs.believed, (now[0], now[1])):
        return Plugs(plugs.believed, plugs.crossed + 1)
    if ph.usable and ec.usable:
        return Plugs((now[0], now[1]))
    return Plugs(plugs.believed)


def _volts(of: Verdict) -> float | None:
    if of.reading is None or not (of.usable or of.reason is VerdictReason.JUMPED):
        return None
    return of.reading.sample.volts


def _is_crossed(before: tuple[float, float], now: tuple[float, float]) -> bool:
    if not abs(before[0] - before[1]) > APART_V:
        return False
    return abs(now[0] - before[1]) <= SAME_V and abs(now[1] - before[0]) <= SAME_V
