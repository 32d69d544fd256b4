"""The alarm table for people: `evenwater alarms --explain`, and docs/alarms.md (by running this module)."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from daemon.alarm.kinds import Kind
from daemon.alarm.table import TABLE
from daemon.keeping.causes import DEAD_BAND, DEAD_BAND_SHARE, LEVEL_DEAD_BAND
from daemon.values import Quantity

PAGE = Path(__file__).parents[2] / "docs" / "alarms.md"
MINUTE_S, HOUR_S = 60.0, 3600.0
HEAD = """\
# What calls for you

Made by `python -m daemon.alarm.describe`; not edited by hand.

Each kind of alarm: how grave it is, how long you have, which pumps stand still, what happens if nobody comes,
what the daemon did, what you do. An alarm is raised once its cause has lasted for the first time, and goes once
it has been gone for the second. A value has to come back inside its band by the dead band first.

`evenwater ack` silences, and clears nothing. One of high priority that went by itself stays until it is
acknowledged. Those that latch end at the tank only (`evenwater clear`). `evenwater shelve` silences one of low
priority for a day at most. An alarm that another one explains is listed with it and calls nobody. All of it
outlasts a restart.

The priority follows harm against time left (the matrix idea of IEC 60601-1-8); the words are those of ISA-18.2.
"""


def explained(kind: Kind) -> dict[str, str]:
    """What there is to say of a kind of alarm, by heading."""
    row = TABLE[kind]
    said = {
        "priority": row.priority.value,
        "you_have": row.within,
        "stops": row.stops,
        "if_nobody_comes": row.consequence,
        "the_daemon": row.done,
        "you": row.act,
        "raised_after": _span(row.on_delay_s),
        "over_after": _span(row.off_delay_s),
    }
    if band := _dead_band(kind):
        said["dead_band"] = band
    if row.latches:
        said["latches"] = "until it is cleared at the tank"
    if row.follows:
        said["calls_nobody_beside"] = ", ".join(sorted(other.value for other in row.follows))
    return said


def _span(seconds: float) -> str:
    if seconds <= 0.0:
        return "at once"
    if seconds < HOUR_S:
        return f"{seconds / MINUTE_S:g} min" if seconds >= MINUTE_S else f"{seconds:g} s"
    return f"{seconds / HOUR_S:g} h"


def _dead_band(kind: Kind) -> str:
    if kind is Kind.LEVEL_LOW:
        return f"{LEVEL_DEAD_BAND:.0%} of the volume"
    if kind not in (Kind.OUT_OF_BAND, Kind.FAR_OUT):
        return ""
    by_c = f", {DEAD_BAND[Quantity.TEMPERATURE]:g} °C" if kind is Kind.OUT_OF_BAND else ""
    return f"{DEAD_BAND[Quantity.PH]:g} pH, EC {DEAD_BAND_SHARE[Quantity.EC]:.0%} of the band's upper end{by_c}"


def page() -> str:
    """docs/alarms.md."""
    return "\n".join((HEAD, *_sections()))


def _sections() -> Iterator[str]:
    for kind in Kind:
        yield f"## `{kind.value}`\n"
        for name, text in explained(kind).items():
            yield f"- **{name.replace('_', ' ')}**: {text}"
        yield ""


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
    print(f"written: {PAGE}")
